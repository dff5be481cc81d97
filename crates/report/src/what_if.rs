//! What `halfshaft whatif` says: one document, three forms.

pub use crate::beside::Document;
pub use crate::html::what_if::render as html;
pub use crate::json::what_if::{SCHEMA, render as json};
pub use crate::terminal::what_if::render as terminal;
