//! What is missing, in the words of the report.

use halfshaft_health::Reason;
use halfshaft_report::words::{clean, sentence};

/// Why something is missing, as a sentence.
pub fn reason(why: &Reason) -> String {
    sentence(&clean(why))
}
