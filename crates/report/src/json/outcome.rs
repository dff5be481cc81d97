//! An answer, or why there is none.

use halfshaft_health::Reason;
use serde::Serialize;

/// Exactly one of the two is null.
#[derive(Serialize)]
pub(super) struct Outcome<T> {
    result: Option<T>,
    why_null: Option<String>,
}

impl<T> Outcome<T> {
    pub fn found(result: T) -> Self {
        Outcome {
            result: Some(result),
            why_null: None,
        }
    }

    pub fn of<'a, S>(outcome: &'a Result<S, Reason>, shape: impl FnOnce(&'a S) -> T) -> Self {
        match outcome {
            Ok(found) => Outcome::found(shape(found)),
            Err(why) => Outcome {
                result: None,
                why_null: Some(why.to_string()),
            },
        }
    }
}
