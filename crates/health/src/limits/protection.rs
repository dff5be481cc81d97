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

    /// How far the pedal may come up while it counts as staying down.
    lift_below: f64 = 0.05, "share", from 0.0 to 1.0;

    /// The command follows a foot that rises within this time.
    lift_within_s: f64 = 0.7, "s", from 0.0 to 10.0,
        reason: "controllers that let go when the foot begins to rise do so for about half a second";

    /// How long the command stays away under a pedal that stays down.
    stays_under_pedal_s: f64 = 1.5, "s", from 0.1 to 60.0,
        reason: "a gear change takes less";

    /// How many times as often it must happen with hot oil as with cooler, for the time the command was given.
    times_as_often: f64 = 10.0, "ratio", from 1.0 to 1000.0;

    /// As many by chance with hot oil would be seen in less than this share of drives.
    chance: f64 = 0.0001, "share", from 0.0 to 0.1,
        reason: "many drives are looked at, and the finding calls for action";

    /// Time with hot oil and the pedal down that is needed.
    pedal_s: f64 = 3.0, "s", from 0.1 to 600.0;

    /// Age above which a throttle value no longer counts.
    throttle_reach_s: f64 = 0.5, "s", from 0.01 to 10.0;
}
