//! The text of a map to a tree of facts, each in its standard form and with its place.
//!
//! In: text. Out: facts with their slots filled, notes kept beside them, and every line
//! that is no sentence of the language as a mistake. Names, units of channels and bits
//! are not looked at here; `check` does that.

pub mod expression;
pub mod figure;
pub mod forms;
pub mod grammar;
pub mod lexer;
pub mod lines;
pub mod sentence;
pub mod slots;
pub mod tree;
