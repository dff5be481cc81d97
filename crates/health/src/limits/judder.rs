//! Stick and slip of the pack.

limits! {
    /// Stick and slip of the pack in slow turns under load.
    judder: JudderLimits;

    /// Amplitude of the slip that is judder.
    amplitude_rad_per_s: f64 = 1.0, "rad/s", from 0.05 to 50.0;

    /// Lowest frequency of judder.
    from_hz: f64 = 5.0, "Hz", from 1.0 to 50.0;

    /// Highest frequency of judder.
    to_hz: f64 = 25.0, "Hz", from 2.0 to 200.0;

    /// Turns in which it must be seen.
    turns: u32 = 3, "count", from 1.0 to 1000.0,
        reason: "once is chance";

    /// Road speed below which a turn is slow.
    below_km_per_h: f64 = 30.0, "km/h", from 5.0 to 150.0,
        reason: "slip is small and the friction of a worn oil falls with it";

    /// Wheel samples a second needed.
    samples_per_s: f64 = 50.0, "Hz", from 10.0 to 1000.0,
        reason: "half of it is the highest frequency that does not look like a lower one",
        source: "derived";

    /// Swing of the command in a stretch from which slip that swings is the controller's, as a
    /// share of full.
    command_swing: f64 = 0.1, "share", from 0.01 to 1.0;

    /// A frequency nearer than this to once or twice per turn of a wheel belongs to the wheel.
    wheel_within_hz: f64 = 0.7, "Hz", from 0.0 to 10.0;

    /// Turns further apart than this count as two.
    apart_s: f64 = 1.5, "s", from 0.0 to 60.0;
}
