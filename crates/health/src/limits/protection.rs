//! A controller that saves the clutch.

limits! {
    /// A controller that saves the clutch by letting go.
    protection: Protection;

    /// Oil temperature from which letting go may be meant to save the clutch.
    oil_from_c: f64 = 100.0, "°C", from 20.0 to 250.0,
        source: "none, engineering guess";

    /// Command before it let go, at least.
    command_from: f64 = 0.2, "share", from 0.05 to 1.0,
        source: "none, engineering guess";

    /// How quickly it let go.
    within_s: f64 = 0.5, "s", from 0.02 to 10.0,
        source: "none, engineering guess";

    /// How long it then stayed open while the need went on.
    stays_s: f64 = 0.5, "s", from 0.02 to 60.0,
        source: "none, engineering guess";

    /// Axle speed difference beyond the bend that is a need to lock.
    excess_rad_per_s: f64 = 1.0, "rad/s", from 0.1 to 50.0,
        source: "none, engineering guess";

    /// Throttle that is a need to lock, where it is logged.
    throttle_from: f64 = 0.4, "share", from 0.05 to 1.0,
        source: "none, engineering guess";

    /// Times it must have been seen.
    occurrences: u32 = 3, "count", from 1.0 to 1000.0,
        reason: "once is chance",
        source: "none, engineering guess";
}
