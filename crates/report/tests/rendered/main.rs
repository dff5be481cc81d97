//! What a reader of a report gets to see, from hand-made results.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod golden;
mod hard_day;
mod hostile;
mod pages;
#[path = "../../../../tests/common/rewriting.rs"]
mod rewriting;
mod sample;
mod schema;
mod words;
