//! What `halfshaft compare` says: one document, three forms; `docs/compare.md` explains them.

mod json;
mod terminal;

pub use self::json::{SCHEMA, json};
pub use self::terminal::terminal;
pub use crate::compared::ComparisonDocument;
pub use crate::html::comparison::render as html;
