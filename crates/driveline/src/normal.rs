//! Numbers of the normal distribution. Source: any table of it.

/// Half width of its 90 % interval, in standard deviations.
pub const SDS_OF_90: f64 = 1.645;

/// From its tenth to its ninetieth percentile, in standard deviations.
pub const SDS_OF_10_TO_90: f64 = 2.563;

/// Standard error of a median over that of the mean of as many: √(π/2).
pub const MEDIAN_ERROR: f64 = 1.2533;
