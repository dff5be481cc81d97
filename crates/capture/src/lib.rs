//! Socket to crash-safe raw segments, and live figures from the same pipeline.
//!
//! This crate holds its place: listening to a bus comes with a version of its own. No
//! code path here or anywhere in the project sends on a bus.
