//! One drive for another pack, beside the car as it is: what `halfshaft whatif` says in every form.
//!
//! In: an [`Answer`] and the facts of the run. Out: the words of its numbers, so that terminal,
//! JSON and page say the same.

use halfshaft_health::Reason;
use halfshaft_health::what_if::{Answer, Asked, Line, Other, Standing, Value};

use crate::document::{InputRecord, MapRecord};
use crate::words::{exact_number, number, unit};

/// Everything the comparison says, in whichever form.
#[derive(Clone, Debug)]
pub struct Document<'a> {
    /// The figures side by side.
    pub answer: &'a Answer,
    /// The logs, in the order they were given.
    pub inputs: Vec<InputRecord>,
    /// The signal map.
    pub map: MapRecord,
    /// Version of the program.
    pub program_version: &'a str,
    /// The command that makes this again.
    pub command: String,
    /// Names of the files written beside this text; shown on the terminal only.
    pub files_written: Vec<String>,
}

impl Document<'_> {
    /// Whether the same clamp force carries another torque: without that both assumptions
    /// are one.
    pub(crate) fn has_two_columns(&self) -> bool {
        self.answer.capacity != 1.0
    }
}

/// A number without its unit; a count in full.
pub(crate) fn plain(line: &Line, value: f64) -> String {
    match line.unit {
        "count" => exact_number(value),
        _ => number(value),
    }
}

/// A value with its unit, or a dash.
pub(crate) fn value_text(line: &Line, value: &Value) -> String {
    match (value, unit(line.unit)) {
        (Err(_), _) => "–".to_owned(),
        (Ok(value), "") => plain(line, *value),
        (Ok(value), unit) => format!("{}\u{a0}{unit}", plain(line, *value)),
    }
}

/// By how much the other value differs: `+12 %`, `−3.1 K`, `same`; nothing when not known. Of a temperature that
/// was worked out the band comes along.
pub(crate) fn difference(line: &Line, other: &Other) -> String {
    let unit = if line.unit == "°C" { "K" } else { "%" };
    let text = match line.difference(&other.value) {
        None => return String::new(),
        // Less than the last of three digits shows.
        Some(little) if little.abs() < 0.005 => return "same".to_owned(),
        Some(more) if more > 0.0 => format!("+{}\u{a0}{unit}", number(more)),
        Some(less) => format!("{}\u{a0}{unit}", number(less)),
    };
    match other.band {
        Some([low, high]) => format!("{text} ({} to {})", plain(line, low), plain(line, high)),
        None => text,
    }
}

/// `16 instead of 12`.
pub(crate) fn change_text(asked: &Asked) -> String {
    let with_unit = |value: f64| match asked.unit {
        "" => exact_number(value),
        "×" => format!("{}×", number(value)),
        unit => format!("{}\u{a0}{unit}", number(value)),
    };
    match asked.logged {
        Some(logged) => format!(
            "{} instead of {}",
            with_unit(asked.other),
            with_unit(logged)
        ),
        None => format!(
            "{}; the map does not state what it is",
            with_unit(asked.other)
        ),
    }
}

/// Why a line has a value missing, the car as it is first. What is not known of another pack has its reason once,
/// with how it is worked out.
pub(crate) fn why(line: &Line) -> Option<&Reason> {
    let others = [&line.same_torque, &line.same_force];
    let missing = others
        .into_iter()
        .filter(|other| other.standing != Standing::Unknown)
        .map(|other| &other.value);
    std::iter::once(&line.logged)
        .chain(missing)
        .find_map(|value| value.as_ref().err())
}

/// Head of the column of the same torque.
pub(crate) const SAME_TORQUE: &str = "same torque";

/// Head of the column of the same clamp force.
pub(crate) const SAME_FORCE: &str = "same force";
