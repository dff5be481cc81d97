//! What a reader of a report gets to see, from hand-made results.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod golden;
mod hard_day;
mod hostile;
mod pages;
mod sample;
mod schema;
mod words;
