//! What a reader of a report gets to see, from hand-made results.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod golden;
mod hostile;
mod sample;
mod schema;
mod words;
