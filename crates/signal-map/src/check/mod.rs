//! The tree of facts to a checked map.
//!
//! In: a [`Tree`]. Out: a [`Map`] with every name resolved and every unit in SI, and all
//! mistakes and warnings. Order: the vehicle's figures first, because wheel speeds need
//! its rolling radius; then buses, tables, frames, sheets; then channels worked out from
//! those; then where torque comes from; the proofs last.

mod channels;
mod derived;
mod figures;
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
use crate::mistakes::MistakeCode::{MissingFact, Twice};
use crate::mistakes::{Fault, Gathered, MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::Slot;
use crate::syntax::tree::{Fact, Tree};
use channels::Sources;
use halfshaft_model::Unit;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use tables::KnownTable;

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
    // `None` is a table with a mistake of its own.
    tables: BTreeMap<String, Option<KnownTable>>,
    buses: BTreeMap<String, usize>,
    // Signals and columns by channel, for `same as`.
    signals: BTreeMap<&'t str, &'t Fact>,
    columns: BTreeMap<&'t str, &'t Fact>,
    // Channels that `work out` lines name, sound or not.
    worked_out: BTreeSet<&'t str>,
    // Channels that the formula at hand names.
    inputs: Vec<usize>,
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
        inputs: Vec::new(),
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
                // Its words before the text are its label.
                let label = under.form.form().words();
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
                self.mistake(*span, Twice, format!("bus `{name}` is described twice"));
            }
            self.map.buses.push(bus);
        }
    }

    /// Complains about facts that hold once and are stated twice.
    fn repeats(&mut self, facts: &'t [Fact]) {
        let mut seen: HashMap<FormName, usize> = HashMap::new();
        for fact in facts {
            self.repeats(&fact.facts);
            let Some(kind) = fact.form.form().once else {
                continue;
            };
            if let Some(line) = seen.insert(kind, fact.line) {
                let message = format!("line {line} has already said this");
                self.mistake_with(fact.span, Twice, message, "keep one of them");
            }
        }
    }

    fn mistake(&mut self, span: Span, code: MistakeCode, message: impl Into<String>) {
        self.gathered.mistake(Fault::new(span, code, message));
    }

    fn mistake_with(
        &mut self,
        span: Span,
        code: MistakeCode,
        message: impl Into<String>,
        suggestion: impl Into<String>,
    ) {
        self.gathered
            .mistake(Fault::with(span, code, message, suggestion));
    }

    fn missing(&mut self, fact: &Fact, message: &str, suggestion: &str) {
        // A line that was not understood may be the very one.
        if !fact.is_damaged {
            self.mistake_with(fact.head, MissingFact, message, suggestion);
        }
    }

    /// The index of a channel that the map gives; else a mistake.
    fn known_channel(&mut self, name: &str, span: Span) -> Option<usize> {
        if let Some(index) = self.by_name.get(name) {
            return Some(*index);
        }
        let message = format!("this map gives no channel `{name}`");
        let known = self.by_name.keys().map(String::as_str);
        let fault = self.tree.unknown_name(name, span, message, known, "");
        self.gathered.mistakes(fault);
        None
    }
}
