//! Numbers of the normal distribution. Source: any table of it.

/// Half width of its 90 % interval, in standard deviations.
pub const SDS_OF_90: f64 = 1.645;

/// From its tenth to its ninetieth percentile, in standard deviations.
pub const SDS_OF_10_TO_90: f64 = 2.563;
