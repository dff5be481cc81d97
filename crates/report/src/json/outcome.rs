//! An answer, or why there is none.

use serde::Serialize;

/// Exactly one of the two is null.
#[derive(Serialize)]
pub(super) struct Outcome<'a, T> {
    result: Option<T>,
    why_null: Option<&'a str>,
}

impl<'a, T> Outcome<'a, T> {
    pub fn found(result: T) -> Self {
        Outcome {
            result: Some(result),
            why_null: None,
        }
    }

    pub fn of<S>(outcome: &'a Result<S, String>, shape: impl FnOnce(&'a S) -> T) -> Self {
        match outcome {
            Ok(found) => Outcome::found(shape(found)),
            Err(why) => Outcome {
                result: None,
                why_null: Some(why),
            },
        }
    }
}
