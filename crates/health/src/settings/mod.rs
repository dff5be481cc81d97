//! A settings file: every limit as text that people edit, and back.
//!
//! In: text. Out: [`Limits`], or every mistake in it with its place. The form is TOML, one
//! table a subject; a key left out keeps its usual value. This module has no file and no
//! usual place for one; an unknown key is never passed over in silence.

mod read;
mod write;

use std::fmt;

use crate::limits::{Limits, all};
use crate::nouns::SettingChanged;

pub use read::read;
pub use write::write;

/// Something wrong in a settings file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mistake {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What was found and what was wanted; it quotes the file as it is.
    pub text: String,
}

/// Line, column and text, to stand behind the name of the file.
impl fmt::Display for Mistake {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}:{}: {}", self.line, self.column, self.text)
    }
}

/// What differs from the usual values, in the order of the file.
pub fn changed(limits: &Limits) -> Vec<SettingChanged> {
    all()
        .map(|(_, about)| SettingChanged {
            key: about.name(),
            default: about.default_value(),
            value: (about.get)(limits),
            unit: about.unit,
        })
        .filter(|setting| setting.value != setting.default)
        .collect()
}
