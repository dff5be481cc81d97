//! Every sentence of the language: where it may stand, what it opens, how it is written,
//! and, of a figure, what it may be and where it goes.
//!
//! The parser, the formatter, the checker and the reference in `docs/signal-map.md` all
//! follow this table. A plain fact of the vehicle is one row and the field it fills; any
//! other is read in `check`. A fact stands once under its line, or `many` times; one that
//! names another excludes it. In a pattern, words stand for themselves, `<…>` is a slot and
//! `[…]` may be left out.

use super::figure::{Fill, Rule, figure, scaled, value};
use super::slots::SlotKind;
use halfshaft_model::vehicle::Pack;
use halfshaft_model::{Dimension, Layout};
use std::sync::LazyLock;

halfshaft_model::codes! { "What a line stands under: its name in the grammar, and in messages." Section {
    Top "top" "at the left margin"
    Identity "identity" "under `map`"
    Vehicle "vehicle" "under `vehicle`"
    Torque "torque" "under `torque from`"
    Geared "geared" "under `clutch geared`"
    Table "table" "under `table`"
    Bus "bus" "under `bus`"
    Frame "frame" "under `frame`"
    Page "page" "under `page`"
    Signal "signal" "under a signal"
    Proof "proof" "under `prove`"
    Sheet "sheet" "under `sheet`"
    Column "column-fact" "under a column of a sheet"
    Derived "derived" "under `work out`"
    Nothing "nothing" "nowhere"
} }

/// A piece of a pattern.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// This word.
    Literal(&'static str),
    /// A slot.
    Slot(SlotKind),
    /// These, or none of them; the first is a literal.
    Optional(Vec<Piece>),
}

/// A sentence of the language.
#[derive(Clone, Debug)]
pub struct Form {
    /// Which.
    pub name: FormName,
    /// Where it may stand.
    pub sections: &'static [Section],
    /// What its indented lines stand under.
    pub opens: Section,
    /// Of which kind it can stand once under a line, where it cannot stand there again.
    pub once: Option<FormName>,
    /// As in the documentation.
    pub pattern: &'static str,
    /// The pattern in pieces.
    pub pieces: Vec<Piece>,
    /// What it fills in, where that is all there is to it.
    pub fill: Option<Fill>,
}

impl Form {
    /// Its words before the first slot.
    pub fn words(&self) -> &'static str {
        self.pattern.split(" <").next().unwrap_or(self.pattern)
    }

    /// The first word, when the sentence begins with one.
    pub fn first_word(&self) -> Option<&'static str> {
        match self.pieces.first() {
            Some(Piece::Literal(word)) => Some(word),
            _ => None,
        }
    }
}

impl FormName {
    /// The row of that name.
    pub fn form(self) -> &'static Form {
        &FORMS[self as usize]
    }
}

macro_rules! once {
    ($name:ident) => {
        Some(FormName::$name)
    };
    ($name:ident many) => {
        None
    };
    ($name:ident $kind:ident) => {
        Some(FormName::$kind)
    };
}

macro_rules! forms {
    ($($name:ident [$($section:ident)*] $opens:ident $($once:ident)? $pattern:literal $({ $fill:expr })?)*) => {
        /// Names of the sentences.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum FormName { $(#[doc = $pattern] $name,)* }

        /// Every sentence, in the order of the documentation.
        pub static FORMS: LazyLock<Vec<Form>> = LazyLock::new(|| vec![$(
            Form {
                name: FormName::$name,
                sections: &[$(Section::$section),*],
                opens: Section::$opens,
                once: once!($name $($once)?),
                pattern: $pattern,
                pieces: pieces(&mut $pattern.split(' ')),
                fill: [$(Fill::from($fill))?].into_iter().next(),
            },
        )*]);
    };
}

/// Tolerance of a rolling radius that states none, as a share: tyre wear and pressure.
/// Source: none, engineering guess. It scales heat of wheel speeds in km/h alike.
pub const RADIUS_SHARE: f64 = 0.02;
/// Tolerance of a preload that states none. Source: none, engineering guess.
const PRELOAD_SHARE: f64 = 0.15;
/// A pack of which nothing is stated yet; `check` drops it when too little follows.
pub const NO_PACK: Pack = Pack {
    n_faces: 0,
    outer_radius_m: 0.0,
    inner_radius_m: 0.0,
    groove_share: 0.0,
    friction: None,
};

// What is believed is what no road car's axle is outside of: else a digit too many or another
// unit than was meant. A car at the edge of it would be the first. Source: none, engineering
// guess.
forms! {
    Map [Top] Identity "map <text>"
    WrittenBy [Identity] Nothing many "written by <text>"
    WrittenOn [Identity] Nothing "written on <text>"
    KnownFrom [Identity] Nothing many "known from <text>"
    CheckedAgainst [Identity] Nothing many "checked against <text>"
    Remark [Identity] Nothing many "remark <text>"

    Vehicle [Top] Vehicle "vehicle <text>"
    AxleUnit [Vehicle] Nothing "unit <text>" { Fill::Text(|v, name| v.unit = Some(name)) }
    RearTrack [Vehicle] Nothing "rear track <measure>" {
        figure("a track", Dimension::LENGTH, |v, f| v.track_rear_m = Some(f))
            .believed(0.5, 3.0, "m").help("distance of the rear wheels from each other")
    }
    FrontTrack [Vehicle] Nothing "front track <measure>" {
        figure("a track", Dimension::LENGTH, |v, f| v.track_front_m = Some(f))
            .believed(0.5, 3.0, "m").help("the same of the front wheels")
    }
    RollingRadius [Vehicle] Nothing "rolling radius <measure>" {
        figure("a rolling radius", Dimension::LENGTH, |v, f| v.rolling_radius_m = Some(f))
            .believed(0.1, 1.0, "m").tolerance(RADIUS_SHARE).help("radius the car divides road speed by")
    }
    RollOut [Vehicle] Nothing RollingRadius "roll-out <measure>" {
        // One turn of the wheel rolls out 2πr.
        figure("a roll-out", Dimension::LENGTH, |v, f| {
            v.rolling_radius_m = Some(scaled(f, 1.0 / std::f64::consts::TAU));
        }).believed(0.6, 6.3, "m").tolerance(RADIUS_SHARE).help("way of one turn of a wheel")
    }
    Tyre [Vehicle] Nothing "tyre <tyre>"
    FinalDrive [Vehicle] Nothing "final drive <number>"
    Mass [Vehicle] Nothing "mass <quantity>" {
        figure("a mass", Dimension::MASS, |v, f| v.mass_kg = Some(f.value))
            .believed(100.0, 40_000.0, "kg").help("mass of the car")
    }
    TyreStiffness [Vehicle] Nothing "tyre stiffness <quantity>" {
        figure("a tyre's stiffness (per unit of slip)", Dimension::FORCE, |v, f| {
            v.tyre_stiffness_n = Some(f.value);
        }).believed(1e3, 2e6, "kN").help("force along the road per unit of slip, of one tyre")
    }
    ClutchOneSide [Vehicle] Nothing "clutch between case and one side gear" { Fill::Plain(|v| v.layout = Some(Layout::CaseToOneSide)) }
    ClutchLeft [Vehicle] Nothing ClutchOneSide "clutch between case and left side gear" { Fill::Plain(|v| v.layout = Some(Layout::CaseToOneSide)) }
    ClutchRight [Vehicle] Nothing ClutchOneSide "clutch between case and right side gear" { Fill::Plain(|v| v.layout = Some(Layout::CaseToOneSide)) }
    ClutchBothSides [Vehicle] Nothing ClutchOneSide "clutches between case and both side gears" { Fill::Plain(|v| v.layout = Some(Layout::CaseToBothSides)) }
    ClutchShafts [Vehicle] Nothing ClutchOneSide "clutch between left and right shaft" { Fill::Plain(|v| v.layout = Some(Layout::ShaftToShaft)) }
    ClutchGeared [Vehicle] Geared ClutchOneSide "clutch geared"
    SlipPerDifference [Geared] Nothing "slip per difference <number>"
    SlipPerCase [Geared] Nothing "slip per case speed <number>"
    BiasPerTorque [Geared] Nothing "bias per pack torque <number>"
    Faces [Vehicle] Nothing "faces <integer>"
    OuterRadius [Vehicle] Nothing "outer radius <quantity>" {
        figure("an outer radius", Dimension::LENGTH, |v, f| {
            v.pack.get_or_insert(NO_PACK).outer_radius_m = f.value;
        }).believed(0.01, 0.3, "mm").help("outer radius of the lining")
    }
    InnerRadius [Vehicle] Nothing "inner radius <quantity>" {
        figure("an inner radius", Dimension::LENGTH, |v, f| {
            v.pack.get_or_insert(NO_PACK).inner_radius_m = f.value;
        }).believed(0.005, 0.3, "mm").help("inner radius of the lining")
    }
    GrooveShare [Vehicle] Nothing "groove share <quantity>" {
        figure("a share", Dimension::NONE, |v, f| {
            v.pack.get_or_insert(NO_PACK).groove_share = f.value;
        }).rule(Rule::Only(
            |share| (0.0..1.0).contains(&share),
            "a share of grooves is at least 0 and below 100 %",
        ))
            .help("part of the lining that is groove, below 100 %")
    }
    Friction [Vehicle] Nothing "friction <ratio>"
    Preload [Vehicle] Nothing "preload <measure>" {
        figure("a preload", Dimension::TORQUE, |v, f| v.preload_nm = Some(f))
            .rule(Rule::NotBelowZero).believed(0.0, 5000.0, "N.m").tolerance(PRELOAD_SHARE).help("torque of one pack without a command")
    }
    BreakAway [Vehicle] Nothing Preload "break-away at one wheel <measure>" {
        // `check` turns it into the preload.
        figure("a break-away torque", Dimension::TORQUE, |v, f| v.preload_nm = Some(f))
            .rule(Rule::NotBelowZero).believed(0.0, 5000.0, "N.m").tolerance(PRELOAD_SHARE).help("torque that turns one wheel on the bench")
    }
    TorqueTable [Vehicle] Torque many "torque from table <name> of <name> [and <name>]"
    TorqueClamp [Vehicle] Torque many "torque from clamp force <name>"
    TorqueReported [Vehicle] Torque many "torque from <name>"
    GivesPack [Torque] Nothing "gives pack torque"
    GivesBias [Torque] Nothing GivesPack "gives axle bias"
    Trust [Torque] Nothing "trust +/- <quantity>"
    OilQuantity [Vehicle] Nothing "oil <quantity>" {
        figure("a quantity of oil", Dimension::VOLUME, |v, f| v.oil_volume_m3 = Some(f.value))
            .believed(5e-5, 0.02, "l").help("oil in the unit")
    }
    OilNamed [Vehicle] Nothing "oil named <text>" { Fill::Text(|v, name| v.oil_name = Some(name)) }
    OilWarn [Vehicle] Nothing "oil warn at <quantity>" {
        figure("an oil temperature", Dimension::TEMPERATURE, |v, f| v.oil_warn_c = Some(f.value))
            .rule(Rule::Any).believed(40.0, 250.0, "degC").help("oil temperature to warn at")
    }
    OilLimit [Vehicle] Nothing "oil limit <quantity>" {
        figure("an oil temperature", Dimension::TEMPERATURE, |v, f| v.oil_limit_c = Some(f.value))
            .rule(Rule::Any).believed(40.0, 250.0, "degC").help("oil temperature never to pass")
    }
    MotorRated [Vehicle] Nothing many "motor rated <quantity>"
    MotorResistance [Vehicle] Nothing "motor resistance <quantity>" {
        figure("a resistance", Dimension::RESISTANCE, |v, f| v.motor_resistance_ohm = Some(f.value))
            .believed(1e-3, 100.0, "ohm").help("rated resistance of the winding of the motor at 20 °C")
    }
    RatedRise [Vehicle] Nothing "rated rise time <quantity>" {
        figure("a rise time", Dimension::TIME, |v, f| v.rated_rise_s = Some(f.value))
            .believed(0.005, 5.0, "s").help("rated time from the command to 90 % of the way")
    }

    Table [Top] Table many "table <name>"
    Input [Table] Nothing "input <unit>"
    SecondInput [Table] Nothing "second input <unit> at <numbers>"
    Output [Table] Nothing "output <unit>"
    Hold [Table] Nothing "hold beyond its ends"
    Refuse [Table] Nothing Hold "refuse beyond its ends"
    At [Table] Nothing many "at <number> gives <numbers>"

    Bus [Top] Bus many "bus <name>"
    InTheLog [Bus] Nothing many "in the log <text>"
    BitRate [Bus] Nothing "bit rate <bitrate>"

    Frame [Top] Frame many "frame <id> [on <name>]"
    Length [Frame] Nothing "length <integer> bytes"
    Every [Frame Page] Nothing "every <quantity>" {
        value("a period", Dimension::TIME)
    }
    IgnoreIdBits [Frame] Nothing many "ignore id bits <idbits>"
    Counter [Frame] Nothing "counter <bits> steps by <integer>"
    Checksum [Frame] Nothing "checksum <bits> is <rule> of bytes <integer> to <integer> [from <code>]"
    Page [Frame Page] Page many "page <bits> is <codes>"
    Signal [Frame Page] Signal many "<name> in <bits>"
    Prove [Frame] Proof many "prove <bytes>"
    ProofMissing [Proof] Nothing many "<name> is missing"
    ProofValue [Proof] Nothing many "<name> is <quantity> [within <quantity>]"

    Unsigned [Signal] Nothing "unsigned"
    Signed [Signal] Nothing Unsigned "signed"
    SignMagnitude [Signal] Nothing Unsigned "sign and magnitude"
    Float [Signal] Nothing Unsigned "float"
    Step [Signal Column] Nothing "step <quantity>"
    Unit [Signal Column] Nothing Step "unit <unit>"
    Zero [Signal Column] Nothing "zero at <quantity>"
    SameAs [Signal Column] Nothing "same as <name>"
    Absent [Signal] Nothing many "absent <codes>"
    Broken [Signal] Nothing many "broken <codes>"
    Believe [Signal Column] Nothing "believe <range>"
    Changes [Signal Column] Nothing "changes at most <quantity> per <unit>"
    ValidWhen [Signal] Nothing many "valid when <bits> is <codes>"
    Late [Signal Column] Nothing "late by <quantity>" {
        value("a delay", Dimension::TIME)
            .rule(Rule::Only(|s| (0.0..=60.0).contains(&s), "a delay is between 0 and 60 s"))
    }
    SharesBits [Signal] Nothing "shares its bits"
    AnotherSource [Signal] Nothing "another source"
    Means [Signal Column Derived] Nothing "means <meaning>"
    Full [Signal Column Derived] Nothing "full at <quantity>"
    SensorOil [Signal Column Derived] Nothing "sensor in oil"
    SensorHousing [Signal Column Derived] Nothing SensorOil "sensor in housing"
    Modelled [Signal Column Derived] Nothing SensorOil "modelled by the car"
    Corrected [Signal Column Derived] Nothing "corrected by the car"
    BelievedFrom [Signal Column Derived] Nothing "believed from <quantity>" {
        value("this road speed", Dimension::SPEED).rule(Rule::Any)
    }
    Holds [Signal Column Derived] Nothing "holds between samples"

    Sheet [Top] Sheet many "sheet <text>"
    Parted [Sheet] Nothing "columns parted by <delimiter>"
    DecimalMark [Sheet] Nothing "decimal mark <text>"
    UnitRow [Sheet] Nothing "unit row"
    NoHeader [Sheet] Nothing "no header"
    NotesBegin [Sheet] Nothing "notes begin with <text>"
    MissingIs [Sheet] Nothing many "missing is <text>"
    TimeIn [Sheet] Nothing "time in <column> as <timekind>"
    RowEvery [Sheet] Nothing TimeIn "row every <quantity>" {
        value("the time from row to row", Dimension::TIME)
    }
    RowsAreFrames [Sheet] Nothing "rows are frames"
    BusIn [Sheet] Nothing "bus in <column>"
    IdIn [Sheet] Nothing "id in <column> as <base>"
    BytesIn [Sheet] Nothing many "bytes in <columns> as <base>"
    LengthIn [Sheet] Nothing "length in <column>"
    ExtendedIn [Sheet] Nothing "extended in <column>"
    Column [Sheet] Column many "<name> in <column>"

    WorkOut [Top] Derived many "work out <name> = <formula>"
}

fn pieces(words: &mut dyn Iterator<Item = &'static str>) -> Vec<Piece> {
    let mut found = Vec::new();
    let mut optional: Option<Vec<Piece>> = None;
    for word in words {
        if word.starts_with('[') {
            optional = Some(Vec::new());
        }
        let bare = word.trim_start_matches('[').trim_end_matches(']');
        let piece = match bare
            .strip_prefix('<')
            .and_then(|rest| rest.strip_suffix('>'))
        {
            Some(slot) => {
                Piece::Slot(SlotKind::find(slot).expect("the test below finds every slot"))
            }
            None => Piece::Literal(bare),
        };
        match &mut optional {
            Some(group) => group.push(piece),
            None => found.push(piece),
        }
        if word.ends_with(']') {
            found.extend(optional.take().map(Piece::Optional));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::Unit;

    #[test]
    fn every_pattern_falls_into_pieces_and_every_section_has_one() {
        // Building the table would panic on an unknown slot.
        assert!(FORMS.len() > 90);
        for form in FORMS.iter() {
            assert!(
                !form.pieces.is_empty() && !form.sections.is_empty(),
                "{}",
                form.pattern
            );
            let opens_something = form.opens == Section::Nothing
                || FORMS
                    .iter()
                    .any(|other| other.sections.contains(&form.opens));
            assert!(opens_something, "{}", form.pattern);
        }
    }

    #[test]
    fn options_begin_with_a_word() {
        for form in FORMS.iter() {
            for piece in &form.pieces {
                if let Piece::Optional(group) = piece {
                    assert!(
                        matches!(group.first(), Some(Piece::Literal(_))),
                        "{}",
                        form.pattern
                    );
                }
            }
        }
    }

    #[test]
    fn figures_have_help_and_a_range_in_a_unit_of_their_own() {
        for form in FORMS.iter() {
            let Some(Fill::Figure(figure)) = &form.fill else {
                continue;
            };
            let is_of_vehicle = form.sections == [Section::Vehicle];
            assert_eq!(!figure.help.is_empty(), is_of_vehicle, "{}", form.pattern);
            if let Some((low, high, unit)) = figure.believed {
                let unit = Unit::find(unit).map(|unit| unit.dimension);
                assert!(low < high, "{}", form.pattern);
                assert_eq!(unit, Some(figure.dimension), "{}", form.pattern);
            }
        }
    }
}
