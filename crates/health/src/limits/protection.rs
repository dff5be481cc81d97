//! A controller that saves the clutch.

limits! {
    /// A controller that protects the clutch by opening it.
    protection: Protection;

    /// Oil temperature from which opening may be meant to protect the clutch.
    oil_from_c: f64 = 100.0, "°C", from 20.0 to 250.0;

    /// Command before it opened, at least.
    command_from: f64 = 0.2, "share", from 0.05 to 1.0;

    /// How quickly it opened.
    within_s: f64 = 0.5, "s", from 0.02 to 10.0;

    /// How long it then stayed open while the need went on.
    stays_s: f64 = 0.5, "s", from 0.02 to 60.0;

    /// Axle speed difference beyond the bend that is a need to lock.
    excess_rad_per_s: f64 = 1.0, "rad/s", from 0.1 to 50.0;

    /// Throttle that is a need to lock, where it is logged.
    throttle_from: f64 = 0.4, "share", from 0.05 to 1.0;

    /// Times it must have been seen.
    occurrences: u32 = 3, "count", from 1.0 to 1000.0,
        reason: "once is chance";

    /// Age above which a throttle value no longer counts.
    throttle_reach_s: f64 = 0.5, "s", from 0.01 to 10.0;
}
