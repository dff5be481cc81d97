//! How to read a sheet: the part of a map that `logs` needs.
//!
//! A sheet is delimited text. Its rows are either samples of channels or frames. What
//! is `None` here is found out from the first lines of the file, and said.

/// Which column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ColumnRef {
    /// By header text: any of these, compared without regard to case and outer blanks.
    Header(Vec<String>),
    /// By position, the first column being 1.
    Position(usize),
}

/// How the time column is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimeKind {
    /// A number; one unit is this many seconds (1 for s, 0.001 for ms).
    Number {
        /// Seconds per unit.
        seconds_per_unit: f64,
    },
    /// Clock time, `hh:mm:ss` with decimals; passing midnight adds a day.
    ClockTime,
    /// Date and time by ISO 8601.
    Iso8601,
    /// No time column: row `n` was taken `n × period` after the first.
    RowClock {
        /// Seconds from row to row.
        period_s: f64,
    },
}

/// Number base of an identifier or a payload.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Base {
    /// Decimal digits.
    Decimal,
    /// Hexadecimal digits, with or without `0x`.
    Hexadecimal,
}

/// What the rows are.
#[derive(Clone, Debug, PartialEq)]
pub enum SheetContent {
    /// Samples of channels: the columns, in the order of the map.
    Channels(Vec<ColumnRef>),
    /// Frames.
    Frames {
        /// Which bus; `None` when the sheet has one bus only, which is then called `""`.
        bus: Option<ColumnRef>,
        /// Identifier.
        id: ColumnRef,
        /// Base of the identifier.
        id_base: Base,
        /// Payload: digits, or bytes parted by blanks. One column, or one per byte.
        payload: Vec<ColumnRef>,
        /// Base of the payload.
        payload_base: Base,
        /// Payload length, when the sheet states it.
        length: Option<ColumnRef>,
        /// Column that is `1`, `true`, `x` or `29` for 29-bit identifiers; without it
        /// identifiers above 0x7FF are 29-bit ones.
        extended: Option<ColumnRef>,
    },
}

/// How to read one sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetSpec {
    /// Its name in the map.
    pub name: String,
    /// What parts the columns.
    pub delimiter: Option<char>,
    /// Decimal mark, `.` or `,`.
    pub decimal_mark: Option<char>,
    /// Column of the time; unused with a row clock.
    pub time_column: Option<ColumnRef>,
    /// How the time is written.
    pub time_kind: TimeKind,
    /// Whether a row of units follows the header.
    pub unit_row: bool,
    /// Whether there is a header row; without one all columns go by position.
    pub has_header: bool,
    /// A line that begins with this is a comment.
    pub comment: Option<String>,
    /// Marks for "nothing here", beside the empty cell.
    pub missing_marks: Vec<String>,
    /// What the rows are.
    pub content: SheetContent,
}
