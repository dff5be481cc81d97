//! A fleet of drawn cars through the whole program, and the table of evidence.
//!
//! In: a seed and how many cars. Out: how often the program was right about them. Cars, drives
//! and their truth come from `halfshaft-simulate`; nothing here computes a figure of a drive.

pub mod chains;
pub mod changes;
pub mod evidence;
pub mod figures;
pub mod pairs;
pub mod right;
pub mod run;
pub mod table;
