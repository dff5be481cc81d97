//! Slip, and what makes it slipping under load.

limits! {
    /// Slip, and what makes it slipping under load.
    slip: Slip;

    /// Slip above which the pack counts as slipping.
    working_rad_per_s: f64 = 0.3, "rad/s", from 0.01 to 10.0,
        reason: "parts slow creep from slip under load",
        sensitivity: "sorts regions and partial time only; heat is never cut here, since a tenth and more of an ordinary drive's heat lies below it";

    /// Torque of one pack above which slip makes heat worth counting as partial.
    torque_floor_nm: f64 = 50.0, "N·m", from 0.0 to 5000.0;

    /// The same as a multiple of the preload; the higher of the two counts.
    torque_floor_preloads: f64 = 1.5, "ratio", from 0.0 to 20.0;

    /// Command from which slip counts as slipping under load when torque is unknown.
    command_floor: f64 = 0.10, "share", from 0.0 to 1.0;

    /// Excess slip that starts an event without command, at the axle.
    event_from_rad_per_s: f64 = 1.5, "rad/s", from 0.05 to 50.0;

    /// Excess slip below which it ends.
    event_below_rad_per_s: f64 = 0.75, "rad/s", from 0.0 to 50.0;

    /// Excess slip this soon before or after a command belongs to it, unless it lasts as long as
    /// an event of its own.
    fringe_s: f64 = 0.3, "s", from 0.0 to 10.0;

    /// How long excess slip beside a command must last to be an event of its own.
    own_event_s: f64 = 1.0, "s", from 0.0 to 60.0;

    /// Noise floor taken while none has been learned: standard deviation of one slip sample.
    usual_sd_rad_per_s: f64 = 0.03, "rad/s", from 0.0001 to 5.0,
        reason: "about 0.05 km/h of noise per wheel";

    /// Excess slip that side slip of the tyres, lag between sensors and noise may make, at the axle.
    smallest_excess_rad_per_s: f64 = 0.05, "rad/s", from 0.0 to 5.0,
        reason: "spin below it may be none",
        sensitivity: "the bands of the causes only";
}
