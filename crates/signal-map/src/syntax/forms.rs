//! Every sentence of the language: where it may stand, what it opens, how it is written.
//!
//! The parser, the formatter and the reference in `docs/signal-map.md` all follow this
//! table; to add a fact, add its row, and read it in `check`. In a pattern, words stand
//! for themselves, `<…>` is a slot and `[…]` may be left out.

use super::slots::SlotKind;
use std::sync::LazyLock;

/// What a line stands under.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Place {
    /// Not indented.
    Top,
    /// Under `map`.
    Identity,
    /// Under `vehicle`.
    Vehicle,
    /// Under `torque from …`.
    Torque,
    /// Under `clutch geared`.
    Geared,
    /// Under `bus`.
    Bus,
    /// Under `frame`.
    Frame,
    /// Under `page`.
    Page,
    /// Under a signal of a frame.
    Signal,
    /// Under `prove`.
    Proof,
    /// Under `sheet`.
    Sheet,
    /// Under a column of a sheet.
    Column,
    /// Under `table`.
    Table,
    /// Under `work out`.
    Derived,
    /// Under a line that takes no facts.
    Nothing,
}

impl Place {
    /// What the place is called in messages.
    pub fn describe(self) -> &'static str {
        match self {
            Place::Top => "at the left margin",
            Place::Identity => "under `map`",
            Place::Vehicle => "under `vehicle`",
            Place::Torque => "under `torque from`",
            Place::Geared => "under `clutch geared`",
            Place::Bus => "under `bus`",
            Place::Frame => "under `frame`",
            Place::Page => "under `page`",
            Place::Signal => "under a signal",
            Place::Proof => "under `prove`",
            Place::Sheet => "under `sheet`",
            Place::Column => "under a column of a sheet",
            Place::Table => "under `table`",
            Place::Derived => "under `work out`",
            Place::Nothing => "nowhere",
        }
    }
}

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
    pub places: &'static [Place],
    /// What its indented lines stand under.
    pub opens: Place,
    /// As in the documentation.
    pub pattern: &'static str,
    /// The pattern in pieces.
    pub pieces: Vec<Piece>,
}

impl Form {
    /// The first word, when the sentence begins with one.
    pub fn first_word(&self) -> Option<&'static str> {
        match self.pieces.first() {
            Some(Piece::Literal(word)) => Some(word),
            _ => None,
        }
    }
}

macro_rules! forms {
    ($($name:ident [$($place:ident)*] $opens:ident $pattern:literal)*) => {
        /// Names of the sentences.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum FormName { $(#[doc = $pattern] $name,)* }

        /// Every sentence, in the order of the documentation.
        pub static FORMS: LazyLock<Vec<Form>> = LazyLock::new(|| vec![$(
            Form {
                name: FormName::$name,
                places: &[$(Place::$place),*],
                opens: Place::$opens,
                pattern: $pattern,
                pieces: pieces(&mut $pattern.split(' ')),
            },
        )*]);
    };
}

forms! {
    Map [Top] Identity "map <text>"
    WrittenBy [Identity] Nothing "written by <text>"
    WrittenOn [Identity] Nothing "written on <text>"
    KnownFrom [Identity] Nothing "known from <text>"
    CheckedAgainst [Identity] Nothing "checked against <text>"
    Remark [Identity] Nothing "remark <text>"

    Vehicle [Top] Vehicle "vehicle <text>"
    AxleUnit [Vehicle] Nothing "unit <text>"
    RearTrack [Vehicle] Nothing "rear track <measure>"
    FrontTrack [Vehicle] Nothing "front track <measure>"
    RollingRadius [Vehicle] Nothing "rolling radius <measure>"
    RollOut [Vehicle] Nothing "roll-out <measure>"
    Tyre [Vehicle] Nothing "tyre <tyre>"
    FinalDrive [Vehicle] Nothing "final drive <number>"
    Mass [Vehicle] Nothing "mass <quantity>"
    TyreStiffness [Vehicle] Nothing "tyre stiffness <quantity>"
    ClutchOneSide [Vehicle] Nothing "clutch between case and one side gear"
    ClutchLeft [Vehicle] Nothing "clutch between case and left side gear"
    ClutchRight [Vehicle] Nothing "clutch between case and right side gear"
    ClutchBothSides [Vehicle] Nothing "clutches between case and both side gears"
    ClutchShafts [Vehicle] Nothing "clutch between left and right shaft"
    ClutchGeared [Vehicle] Geared "clutch geared"
    SlipPerDifference [Geared] Nothing "slip per difference <number>"
    SlipPerCase [Geared] Nothing "slip per case speed <number>"
    BiasPerTorque [Geared] Nothing "bias per pack torque <number>"
    Faces [Vehicle] Nothing "faces <integer>"
    OuterRadius [Vehicle] Nothing "outer radius <quantity>"
    InnerRadius [Vehicle] Nothing "inner radius <quantity>"
    GrooveShare [Vehicle] Nothing "groove share <quantity>"
    Friction [Vehicle] Nothing "friction <ratio>"
    Preload [Vehicle] Nothing "preload <measure>"
    BreakAway [Vehicle] Nothing "break-away at one wheel <measure>"
    TorqueTable [Vehicle] Torque "torque from table <name> of <name> [and <name>]"
    TorqueClamp [Vehicle] Torque "torque from clamp force <name>"
    TorqueReported [Vehicle] Torque "torque from <name>"
    GivesPack [Torque] Nothing "gives pack torque"
    GivesBias [Torque] Nothing "gives axle bias"
    Trust [Torque] Nothing "trust +/- <quantity>"
    OilQuantity [Vehicle] Nothing "oil <quantity>"
    OilNamed [Vehicle] Nothing "oil named <text>"
    OilWarn [Vehicle] Nothing "oil warn at <quantity>"
    OilLimit [Vehicle] Nothing "oil limit <quantity>"
    MotorRated [Vehicle] Nothing "motor rated <quantity>"
    MotorResistance [Vehicle] Nothing "motor resistance <quantity>"
    RatedRise [Vehicle] Nothing "rated rise time <quantity>"

    Table [Top] Table "table <name>"
    Input [Table] Nothing "input <unit>"
    SecondInput [Table] Nothing "second input <unit> at <numbers>"
    Output [Table] Nothing "output <unit>"
    Hold [Table] Nothing "hold beyond its ends"
    Refuse [Table] Nothing "refuse beyond its ends"
    At [Table] Nothing "at <number> gives <numbers>"

    Bus [Top] Bus "bus <name>"
    InTheLog [Bus] Nothing "in the log <text>"
    BitRate [Bus] Nothing "bit rate <bitrate>"

    Frame [Top] Frame "frame <id> [on <name>]"
    Length [Frame] Nothing "length <integer> bytes"
    Every [Frame Page] Nothing "every <quantity>"
    IgnoreIdBits [Frame] Nothing "ignore id bits <idbits>"
    Counter [Frame] Nothing "counter <bits> steps by <integer>"
    Checksum [Frame] Nothing "checksum <bits> is <rule> of bytes <integer> to <integer> [from <code>]"
    Page [Frame Page] Page "page <bits> is <codes>"
    Signal [Frame Page] Signal "<name> in <bits>"
    Prove [Frame] Proof "prove <bytes>"
    ProofMissing [Proof] Nothing "<name> is missing"
    ProofValue [Proof] Nothing "<name> is <quantity> [within <quantity>]"

    Unsigned [Signal] Nothing "unsigned"
    Signed [Signal] Nothing "signed"
    SignMagnitude [Signal] Nothing "sign and magnitude"
    Float [Signal] Nothing "float"
    Step [Signal Column] Nothing "step <quantity>"
    Unit [Signal Column] Nothing "unit <unit>"
    Zero [Signal Column] Nothing "zero at <quantity>"
    SameAs [Signal Column] Nothing "same as <name>"
    Absent [Signal] Nothing "absent <codes>"
    Broken [Signal] Nothing "broken <codes>"
    Believe [Signal Column] Nothing "believe <range>"
    Changes [Signal Column] Nothing "changes at most <quantity> per <unit>"
    ValidWhen [Signal] Nothing "valid when <bits> is <codes>"
    Late [Signal Column] Nothing "late by <quantity>"
    SharesBits [Signal] Nothing "shares its bits"
    AnotherSource [Signal] Nothing "another source"
    Means [Signal Column Derived] Nothing "means <meaning>"
    Full [Signal Column Derived] Nothing "full at <quantity>"
    SensorOil [Signal Column Derived] Nothing "sensor in oil"
    SensorHousing [Signal Column Derived] Nothing "sensor in housing"
    Modelled [Signal Column Derived] Nothing "modelled by the car"
    Corrected [Signal Column Derived] Nothing "corrected by the car"
    BelievedFrom [Signal Column Derived] Nothing "believed from <quantity>"
    Holds [Signal Column Derived] Nothing "holds between samples"

    Sheet [Top] Sheet "sheet <text>"
    Parted [Sheet] Nothing "columns parted by <delimiter>"
    DecimalMark [Sheet] Nothing "decimal mark <text>"
    UnitRow [Sheet] Nothing "unit row"
    NoHeader [Sheet] Nothing "no header"
    NotesBegin [Sheet] Nothing "notes begin with <text>"
    MissingIs [Sheet] Nothing "missing is <text>"
    TimeIn [Sheet] Nothing "time in <column> as <timekind>"
    RowEvery [Sheet] Nothing "row every <quantity>"
    RowsAreFrames [Sheet] Nothing "rows are frames"
    BusIn [Sheet] Nothing "bus in <column>"
    IdIn [Sheet] Nothing "id in <column> as <base>"
    BytesIn [Sheet] Nothing "bytes in <columns> as <base>"
    LengthIn [Sheet] Nothing "length in <column>"
    ExtendedIn [Sheet] Nothing "extended in <column>"
    Column [Sheet] Column "<name> in <column>"

    WorkOut [Top] Derived "work out <name> = <formula>"
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

    #[test]
    fn every_pattern_falls_into_pieces_and_every_place_has_one() {
        // Building the table would panic on a slot nobody knows.
        assert!(FORMS.len() > 90);
        for form in FORMS.iter() {
            assert!(
                !form.pieces.is_empty() && !form.places.is_empty(),
                "{}",
                form.pattern
            );
            let opens_something = form.opens == Place::Nothing
                || FORMS.iter().any(|other| other.places.contains(&form.opens));
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
}
