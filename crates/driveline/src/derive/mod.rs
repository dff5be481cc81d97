//! The physics, one quantity a file: equation, sign, range, assumption, source, tests.
//!
//! Every function here is pure and total; units are SI. To add a derived quantity add
//! its file and its line below.

pub mod axle_speed_difference;
pub mod clutch_torque;
pub mod openness;
pub mod quantisation;
