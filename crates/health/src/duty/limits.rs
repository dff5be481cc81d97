//! The limits and policies that duty and oil are judged by: value, unit, reason, source.

/// Levels of the pack torque for rainflow, N·m: width, lowest, highest.
///
/// Reason: a level is finer than any torque table is true. Source: none, engineering
/// guess. Sensitivity: ranges are rounded to the width; memory grows with the levels.
pub const TORQUE_LEVELS_NM: (f64, f64, f64) = (10.0, 0.0, 6000.0);

/// Smallest range of torque that counts, N·m. Source: none, engineering guess: below it
/// stand noise and the step of a signal. Sensitivity: the count of small cycles only.
pub const TORQUE_LEAST_RANGE_NM: f64 = 20.0;

/// Levels of the pack temperature for rainflow, °C: width, lowest, highest.
///
/// Source: none, engineering guess: a sensor's step. Sensitivity: as [`TORQUE_LEVELS_NM`].
pub const TEMPERATURE_LEVELS_C: (f64, f64, f64) = (1.0, -60.0, 600.0);

/// Smallest range of temperature that counts, K. Source: none, engineering guess.
pub const TEMPERATURE_LEAST_RANGE_K: f64 = 3.0;

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

/// Shortest drive that is told per 100 km, km. Source: as the class of use.
pub const EXCEEDANCE_LEAST_KM: f64 = crate::limits::CLASS_LEAST_KM;

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

/// Quiet and limit of the severity's ramp of peak power per net lining area, W/mm²; the
/// limit is that of a hard hit.
///
/// Source: from memory for paper, brief peaks of 1 to 2 W/mm². Sensitivity of this ramp
/// and the three below: the index follows them in proportion.
pub const SEVERITY_POWER_W_PER_MM2: (f64, f64) = (0.1, 1.5);

/// The same for heat, kJ/km. Source: none, engineering guess.
pub const SEVERITY_HEAT_KJ_PER_KM: (f64, f64) = (1.0, 40.0);

/// The same for the oil temperature passed in 1 % of the time, °C. Source: from memory,
/// the usual limit of the oil.
pub const SEVERITY_OIL_C: (f64, f64) = (90.0, 150.0);

/// The same for heat-making partial engagement, % of moving time. Source: none,
/// engineering guess.
pub const SEVERITY_PARTIAL_PERCENT: (f64, f64) = (0.5, 20.0);

/// Ramps that must be known for a severity. Source: none, engineering guess.
pub const SEVERITY_LEAST_RAMPS: usize = 2;

/// Distance the oil serves when nothing ages it faster, km: 60,000 miles.
///
/// Source: practice of the trade, an editable policy. Sensitivity: every oil distance
/// follows it in proportion.
pub const OIL_BASE_KM: f64 = 96_000.0;

/// Oil temperature at which the oil ages as the policy takes for granted, °C.
///
/// Source: none, policy. Sensitivity: 10 K lower make the oil age 1.6 to 2 times faster.
pub const OIL_REFERENCE_C: f64 = 80.0;

/// Rise of temperature that doubles the ageing of the oil, K: lowest, central, highest.
///
/// Source: published as 10 K, and disputed: hence a band. Sensitivity: at 110 °C the
/// factor is 8, 5.7 or 4.
pub const OIL_DOUBLING_K: [f64; 3] = [10.0, 12.0, 15.0];

/// Least and greatest factor by temperature. Source: none, policy.
pub const OIL_TEMPERATURE_FACTOR: (f64, f64) = (0.5, 8.0);

/// Band of the factor by temperature, about 1, where no temperature is known. Source:
/// none, policy.
pub const OIL_NO_TEMPERATURE: (f64, f64) = (0.7, 4.0);

/// Heat of the pack that makes the factor by work one greater, kJ/km. Source: none,
/// policy. Sensitivity: at 8 kJ/km the factor is 1.8.
pub const OIL_WORK_KJ_PER_KM: f64 = 10.0;

/// Greatest factor by work. Source: none, policy.
pub const OIL_MOST_WORK_FACTOR: f64 = 4.0;

/// Age at which the oil is used up without being driven, years. Source: none, policy.
pub const OIL_CALENDAR_YEARS: f64 = 10.0;
