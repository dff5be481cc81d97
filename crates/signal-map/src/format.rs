//! A map in standard form.
//!
//! In: the lines of a tree. Out: text with two spaces a level, one space between words,
//! units in their first spelling, one empty line between blocks, notes kept. Formatting
//! twice changes nothing, and a formatted map means the same.

use crate::mistakes::{Fault, Gathered, MistakeCode};
use crate::syntax::lines::{LONGEST_LINE, LONGEST_TEXT};
use crate::syntax::tree::Printed;

/// The standard form, notes kept. A line that would grow too long to be read again is a
/// mistake.
pub fn standard(lines: &[Printed], gathered: &mut Gathered) -> String {
    let mut out = String::new();
    for (index, line) in lines.iter().enumerate() {
        // A block at the left margin, with the notes above it, stands apart.
        let above = index.checked_sub(1).map(|at| &lines[at]);
        let begins_block = line.level == 0
            && above.is_some_and(|above| above.level > 0 || !above.sentence.is_empty());
        if index > 0 && (line.after_blank || begins_block) {
            out.push('\n');
        }
        let start = out.len();
        for _ in 0..line.level {
            out.push_str("  ");
        }
        out.push_str(&line.sentence);
        if let Some(note) = &line.note {
            if !line.sentence.is_empty() {
                out.push_str("  ");
            }
            out.push('#');
            out.push_str(note);
        }
        if out.len() - start > LONGEST_LINE || out.len() > LONGEST_TEXT {
            let message = "in standard form the line, or the map up to it, is too long";
            gathered.mistake(Fault::new(line.span, MistakeCode::LineTooLong, message));
            return out;
        }
        out.push('\n');
    }
    out
}

/// The facts alone: the standard form without notes and empty lines.
pub fn bare(lines: &[Printed]) -> String {
    let mut out = String::new();
    for line in lines.iter().filter(|line| !line.sentence.is_empty()) {
        for _ in 0..line.level {
            out.push_str("  ");
        }
        out.push_str(&line.sentence);
        out.push('\n');
    }
    out
}
