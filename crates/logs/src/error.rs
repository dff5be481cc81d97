//! Why a log gives no result at all. Damage that leaves a result is a notice instead.
//!
//! Every text is a fragment that fits after "could not read the log:", begins with the
//! name of the input, and says what was found and what was wanted.

use std::io;

use halfshaft_model::LogPlace;

/// No entry can be had from an input, or from any of the inputs.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// No input was named.
    #[error("no input was named")]
    NoInput,
    /// The operating system refused.
    #[error("{name}: {cause}")]
    Unreadable {
        /// The input.
        name: String,
        /// What the operating system says.
        cause: io::Error,
    },
    /// Not one byte.
    #[error("{name}: the input is empty")]
    Empty {
        /// The input.
        name: String,
    },
    /// A folder with several drives.
    #[error("{name}: there are {n_drives} drives in this folder; name one of them:{list}")]
    SeveralDrives {
        /// The folder.
        name: String,
        /// How many.
        n_drives: usize,
        /// Each on a line of its own.
        list: String,
    },
    /// Content that is no log this program knows.
    #[error("{name}: cannot read this as a log: {found}")]
    Unknown {
        /// The input.
        name: String,
        /// What it looks like, and what was wanted.
        found: String,
    },
    /// A sheet, and no sheet of the map fits it.
    #[error(
        "{name}: this is a sheet that no sheet of the map fits: its header is {header}; {wanted}"
    )]
    NoSheetFits {
        /// The input.
        name: String,
        /// The header as it stands.
        header: String,
        /// What each sheet of the map needs.
        wanted: String,
    },
    /// A column the map names stands twice.
    #[error(
        "{place}: the header `{header}` stands over columns {first} and {second}; name the column by its position in the map"
    )]
    ColumnTwice {
        /// Where the header stands.
        place: LogPlace,
        /// The header text.
        header: String,
        /// First column with it, from 1.
        first: usize,
        /// Second column with it.
        second: usize,
    },
    /// A comma that can be a decimal mark or a thousands mark.
    #[error(
        "{place}: `{cell}` can be read in two ways ({reason}); state `decimal mark` for this sheet in the map"
    )]
    DecimalsUndecided {
        /// Where the cell stands.
        place: LogPlace,
        /// The cell.
        cell: String,
        /// Which two ways.
        reason: String,
    },
    /// The form was known and nothing in it could be used.
    #[error("{name}: nothing usable: {n_parts} {parts}, 0 {entries}{first_bad}")]
    NothingUsable {
        /// The input.
        name: String,
        /// Lines or blocks read.
        n_parts: u64,
        /// Which of them: `lines` or `blocks`.
        parts: &'static str,
        /// What was looked for: `frames` or `rows`.
        entries: &'static str,
        /// The first line that could not be read, ready to append; may be empty.
        first_bad: String,
    },
    /// Several inputs, none of them usable.
    #[error("none of the {} inputs can be read: {}", .0.len(), joined(.0))]
    NoneUsable(Vec<Error>),
}

fn joined(errors: &[Error]) -> String {
    let texts: Vec<String> = errors.iter().map(Error::to_string).collect();
    texts.join("; ")
}

impl Error {
    /// The stable word for this kind of error.
    pub fn code(&self) -> &'static str {
        match self {
            Error::NoInput => "no-input",
            Error::Unreadable { .. } => "input-unreadable",
            Error::Empty { .. } => "input-empty",
            Error::SeveralDrives { .. } => "several-drives",
            Error::Unknown { .. } => "log-unknown",
            Error::NoSheetFits { .. } => "sheet-unknown",
            Error::ColumnTwice { .. } => "column-twice",
            Error::DecimalsUndecided { .. } => "decimals-undecided",
            Error::NothingUsable { .. } => "nothing-usable",
            Error::NoneUsable(_) => "no-input-usable",
        }
    }
}
