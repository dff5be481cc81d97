//! Results and columns to and from Parquet, and the store of trips.
//!
//! This crate holds its place: the Parquet tables come with their own issue, and
//! Arrow will live here only.
