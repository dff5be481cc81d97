//! How hard the drive was on the discs: what they took, how often, and as a bench cycle.
//!
//! In: rows, events, and samples of torque or temperature. Out: cycles counted by rainflow, the
//! damage sum for an exponent of the user, exceedance per 100 km, a table of steps that
//! reproduces the duty on a bench, and the severity index. It says how hard the use was
//! and never whether anything is wrong; time and heat by torque and slip are in
//! [`crate::duty_picture`].
//!
//! ```text
//! samples -> turning_points -> rainflow -> cycle_count (cycles, matrix) -> miner (damage)
//! rows    -> bench_sums -> bench_cycle -> bench_csv
//! events  -> exceedance
//! figures -> severity
//! ```

pub mod bench_csv;
pub mod bench_cycle;
mod bench_sums;
pub mod cycle_count;
pub mod exceedance;
pub mod limits;
pub mod miner;
pub mod rainflow;
pub mod severity;
mod turning_points;
pub mod watch;

pub use bench_cycle::{BenchCycle, BenchPack, BenchStep, bench_cycle};
pub use cycle_count::{Cycle, CycleCount, CycleMatrix, Levels};
pub use exceedance::{Exceedance, Guide, energy_exceedance, power_exceedance};
pub use miner::{LifeLine, miner_sum};
pub use severity::{Ramp, SeverityIndex, severity_index};
pub use watch::{Duty, DutyInput, DutyWatch};
