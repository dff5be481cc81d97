//! Divisions and guide values of the duty: value, unit, reason, source. None of them judges,
//! so none of them is a setting.

/// Levels of the pack torque for rainflow, N·m: width, lowest, highest.
///
/// Reason: a level is finer than any torque table is true. Source: none, engineering
/// guess. Sensitivity: ranges are rounded to the width; memory grows with the levels.
pub const TORQUE_LEVELS_NM: (f64, f64, f64) = (10.0, 0.0, 6000.0);

/// Levels of the pack temperature for rainflow, °C: width, lowest, highest.
///
/// Source: none, engineering guess: a sensor's step. Sensitivity: as [`TORQUE_LEVELS_NM`].
pub const TEMPERATURE_LEVELS_C: (f64, f64, f64) = (1.0, -60.0, 600.0);

/// Upper edges of the cells of torque range, N·m. Source: none, a sensible division.
pub const TORQUE_RANGE_EDGES_NM: [f64; 10] = [
    50.0, 100.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1250.0, 1500.0,
];

/// Upper edges of the cells of mean torque, N·m. Source: none, a sensible division.
pub const TORQUE_MEAN_EDGES_NM: [f64; 6] = [100.0, 200.0, 400.0, 600.0, 800.0, 1000.0];

/// Upper edges of the cells of temperature range, K. Source: none, a sensible division.
pub const TEMPERATURE_RANGE_EDGES_K: [f64; 8] = [5.0, 10.0, 20.0, 40.0, 60.0, 80.0, 120.0, 160.0];

/// Upper edges of the cells of mean temperature, °C. Source: none, a sensible division.
pub const TEMPERATURE_MEAN_EDGES_C: [f64; 7] = [40.0, 60.0, 80.0, 100.0, 120.0, 150.0, 200.0];

/// Levels of exceedance: the lowest, how many to the factor of ten, and how many in all;
/// 0.001 to 10, for W/mm² and for J/mm².
///
/// Source: none, a sensible division. Sensitivity: how finely the curve is drawn.
pub const EXCEEDANCE_LEVELS: (f64, u32, u32) = (1e-3, 6, 25);

/// Power per net lining area that paper bears all the time, W/mm².
///
/// Source: from memory. A guide, not a limit: oil flow and grooves move it.
pub const PAPER_CONTINUOUS_W_PER_MM2: (f64, f64) = (0.1, 0.3);

/// Power per net lining area that paper bears for a moment, W/mm². Source: from memory.
pub const PAPER_BRIEF_W_PER_MM2: (f64, f64) = (1.0, 2.0);

/// Energy of one event per net lining area that paper bears, J/mm². Source: from memory.
pub const PAPER_EVENT_J_PER_MM2: (f64, f64) = (0.5, 1.0);

/// How many times as much carbon bears. Source: from memory.
pub const CARBON_TIMES_PAPER: (f64, f64) = (1.5, 2.0);

/// Lower edges of the ranges of power of a bench cycle, as shares of the highest; the rest is the
/// last.
///
/// Reason: with cells of 3 % the mean of the highest is the peak within 5 %; below, a step is at most a factor of two off.
/// Source: none, a sensible division.
pub const BENCH_POWER_SHARES: [f64; 9] = [0.985, 0.8, 0.65, 0.5, 0.35, 0.25, 0.15, 0.08, 0.04];

/// Upper edges of the ranges of slip of a bench cycle, rad/s; the last is open. Source: none, a
/// sensible division.
pub const BENCH_SLIP_EDGES: [f64; 5] = [1.0, 2.0, 5.0, 10.0, 20.0];

/// A step of a bench cycle with a smaller share of the heat is left out, unless it is the peak.
///
/// Reason: sixty of them are 6 % of the heat at the most. Source: none, engineering guess.
pub const BENCH_LEAST_SHARE: f64 = 0.001;
