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

/// Classes of peak power of a bench cycle: each reaches down to half of the one above it,
/// from the highest peak of the drive; the last takes the rest.
///
/// Reason: within a class a step is then at most a factor of two off. Source: none,
/// engineering guess.
pub const BENCH_POWER_CLASSES: usize = 6;

/// Upper edges of the classes of duration of a bench cycle, s; the last is open. Source:
/// none, a sensible division.
pub const BENCH_DURATION_EDGES_S: [f64; 4] = [0.5, 1.0, 2.0, 5.0];
