//! The tree of facts to a checked map.
//!
//! In: a [`Tree`]. Out: a [`Map`] with every name resolved and every unit in SI, and all
//! mistakes and warnings. Order: the vehicle's figures first, because wheel speeds need
//! its rolling radius; then buses, tables, frames, sheets; then channels worked out from
//! those; then where torque comes from; the proofs last.

mod channels;
mod derived;
mod formulas;
mod frames;
mod overlap;
mod proofs;
mod sheets;
mod signals;
mod tables;
mod torque;
mod vehicle;
mod warnings;

use crate::map::{Bus, Map};
use crate::mistakes::{Gathered, MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Quantity, Slot, did_you_mean, spelled};
use crate::syntax::tree::{Fact, Tree};
use channels::Sources;
use halfshaft_model::{Dimension, Unit};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use tables::TableInfo;

/// Everything known while a map is checked.
struct Check<'t> {
    tree: &'t Tree,
    gathered: &'t mut Gathered,
    map: Map,
    // Channel name to index, and where each comes from.
    by_name: BTreeMap<String, usize>,
    sources: Vec<Sources>,
    // The unit each channel is written in, where it is first.
    written_in: Vec<Option<&'static Unit>>,
    tables: BTreeMap<String, TableInfo>,
    buses: BTreeMap<String, usize>,
    // Signals and columns by channel, for `same as`.
    signals: BTreeMap<&'t str, &'t Fact>,
    columns: BTreeMap<&'t str, &'t Fact>,
    // Channels that `work out` lines name, sound or not.
    worked_out: BTreeSet<&'t str>,
    // Frames by their index in the map, for the proofs.
    frame_facts: Vec<&'t Fact>,
}

/// Checks a tree; the map is whole only when no mistake was gathered.
pub fn check(tree: &Tree, gathered: &mut Gathered) -> Map {
    let mut check = Check {
        tree,
        gathered,
        map: Map::default(),
        by_name: BTreeMap::new(),
        sources: Vec::new(),
        written_in: Vec::new(),
        tables: BTreeMap::new(),
        buses: BTreeMap::new(),
        signals: BTreeMap::new(),
        columns: BTreeMap::new(),
        worked_out: BTreeSet::new(),
        frame_facts: Vec::new(),
    };
    check.repeats(&tree.facts);
    check.vehicle();
    check.identity();
    check.buses();
    check.all_tables();
    check.index_signals();
    check.frames();
    check.sheets();
    check.derived();
    check.torque_sources();
    check.warnings();
    check.proofs();
    check.map
}

impl<'t> Check<'t> {
    fn top(&self, form: FormName) -> impl Iterator<Item = &'t Fact> + use<'t> {
        let tree: &'t Tree = self.tree;
        tree.facts.iter().filter(move |fact| fact.form == form)
    }

    fn identity(&mut self) {
        for fact in self.top(FormName::Map) {
            if let [Slot::Text(title, _)] = fact.slots.as_slice() {
                self.map.title = title.clone();
            }
            for under in &fact.facts {
                let label = match under.form {
                    FormName::WrittenBy => "written by",
                    FormName::WrittenOn => "written on",
                    FormName::KnownFrom => "known from",
                    FormName::CheckedAgainst => "checked against",
                    _ => "remark",
                };
                if let [Slot::Text(text, _)] = under.slots.as_slice() {
                    self.map.identity.push((label.to_owned(), text.clone()));
                }
            }
        }
        if self.map.title.is_empty() {
            self.map.title = self.map.vehicle.name.clone();
        }
    }

    fn buses(&mut self) {
        for fact in self.top(FormName::Bus) {
            let [Slot::Name(name, span)] = fact.slots.as_slice() else {
                continue;
            };
            let mut bus = Bus {
                name: name.clone(),
                in_log: Vec::new(),
                bit_rate: None,
            };
            for under in &fact.facts {
                match under.slots.as_slice() {
                    [Slot::Text(text, _)] => bus.in_log.push(text.clone()),
                    [Slot::BitRate(rate)] => bus.bit_rate = Some(*rate),
                    _ => {}
                }
            }
            if self
                .buses
                .insert(name.clone(), self.map.buses.len())
                .is_some()
            {
                self.gathered.mistake(
                    *span,
                    MistakeCode::Twice,
                    format!("bus `{name}` is described twice"),
                );
            }
            self.map.buses.push(bus);
        }
    }

    /// Complains about facts that hold once and are stated twice.
    fn repeats(&mut self, facts: &'t [Fact]) {
        let mut seen: HashMap<FormName, usize> = HashMap::new();
        for fact in facts {
            self.repeats(&fact.facts);
            let Some(kind) = said_once(fact.form) else {
                continue;
            };
            if let Some(line) = seen.insert(kind, fact.line) {
                let message = format!("line {line} has already said this");
                self.gathered.mistake_with(
                    fact.span,
                    MistakeCode::Twice,
                    message,
                    "keep one of them",
                );
            }
        }
    }

    /// The quantity in SI, when its unit is one of a `wanted` dimension.
    fn si(&mut self, quantity: Quantity, wanted: &[Dimension], what: &str) -> Option<f64> {
        self.fits(quantity, wanted, what)
            .then(|| quantity.unit.to_si(quantity.value))
    }

    /// Like `si`, and above zero.
    fn positive(&mut self, quantity: Quantity, wanted: Dimension, what: &str) -> Option<f64> {
        let si = self.si(quantity, &[wanted], what)?;
        if si > 0.0 {
            return Some(si);
        }
        self.gathered.mistake(
            quantity.span,
            MistakeCode::RangeEmpty,
            format!("{what} must be above zero"),
        );
        None
    }

    fn fits(&mut self, quantity: Quantity, wanted: &[Dimension], what: &str) -> bool {
        if wanted.contains(&quantity.unit.dimension) {
            return true;
        }
        let kinds: Vec<String> = wanted
            .iter()
            .map(|dimension| dimension.describe())
            .collect();
        let symbol = spelled(quantity.unit);
        let found = quantity.unit.dimension.describe();
        self.gathered.mistake_with(
            quantity.unit_span,
            MistakeCode::UnitMisfit,
            format!(
                "`{symbol}` is {found}, but {what} is {}",
                kinds.join(", or ")
            ),
            suggest_units(wanted),
        );
        false
    }

    fn missing(&mut self, fact: &Fact, message: String, suggestion: &str) {
        // A line that was not understood may be the very one.
        if !fact.is_damaged {
            self.gathered
                .mistake_with(fact.head, MistakeCode::MissingFact, message, suggestion);
        }
    }

    /// The index of a channel that the map gives; else a mistake.
    fn known_channel(&mut self, name: &str, span: Span) -> Option<usize> {
        if let Some(index) = self.by_name.get(name) {
            return Some(*index);
        }
        if !self.tree.lost.contains(name) {
            let suggestion = did_you_mean(name, self.by_name.keys().map(String::as_str));
            let message = format!("this map gives no channel `{name}`");
            self.gathered
                .mistake_with(span, MistakeCode::UnknownName, message, suggestion);
        }
        None
    }
}

fn suggest_units(wanted: &[Dimension]) -> String {
    let symbols = halfshaft_model::unit::UNITS
        .iter()
        .filter(|unit| wanted.contains(&unit.dimension))
        .map(spelled);
    let listed = crate::suggest::list(symbols, 6);
    if listed.is_empty() {
        String::new()
    } else {
        format!("units that fit: {listed}")
    }
}

/// The kind of thing a fact says that can be said once under one line; `None` when it
/// may be said again. Facts that exclude one another are of one kind.
fn said_once(form: FormName) -> Option<FormName> {
    use FormName as F;
    match form {
        F::WrittenBy | F::KnownFrom | F::CheckedAgainst | F::Remark => None,
        F::Table | F::Bus | F::Frame | F::Sheet | F::WorkOut | F::InTheLog => None,
        F::Page | F::Signal | F::Prove | F::ProofMissing | F::ProofValue | F::IgnoreIdBits => None,
        F::Absent | F::Broken | F::ValidWhen | F::MissingIs | F::BytesIn | F::Column => None,
        F::TorqueTable | F::TorqueClamp | F::TorqueReported | F::MotorRated | F::At => None,
        F::ClutchLeft | F::ClutchRight | F::ClutchBothSides | F::ClutchShafts | F::ClutchGeared => {
            Some(F::ClutchOneSide)
        }
        F::RollOut => Some(F::RollingRadius),
        F::BreakAway => Some(F::Preload),
        F::GivesBias => Some(F::GivesPack),
        F::Refuse => Some(F::Hold),
        F::Signed | F::SignMagnitude | F::Float => Some(F::Unsigned),
        F::Unit => Some(F::Step),
        F::SensorHousing | F::Modelled => Some(F::SensorOil),
        F::RowEvery => Some(F::TimeIn),
        other => Some(other),
    }
}
