//! Sensors that drop out.

limits! {
    /// Sensors that drop out.
    sensor: SensorLimits;

    /// Samples no car can make that are too many for chance.
    bad_samples: u32 = 5, "count", from 1.0 to 1000000.0,
        reason: "none was left out of any wheel of a hundred healthy cars";

    /// The same as a share of all samples.
    bad_share: f64 = 0.0001, "share", from 0.0 to 1.0,
        reason: "a sound bus loses one frame in millions; one sample in 10,000 is one in minutes";

    /// Share of the samples of a rear wheel left out from which highest values are withheld.
    peaks_share: f64 = 0.003, "share", from 0.0 to 1.0,
        reason: "of a hundred bad samples some are near the true ones and pass, and one makes a highest value";

    /// Samples of a rear wheel bad beyond doubt beside which those that look alike count.
    suspect_beside: u32 = 1, "count", from 1.0 to 1000000.0,
        reason: "a car makes none; samples that look like bad ones it makes where wheels spin and samples are slow";

    /// Share of the samples of such a wheel that look like bad ones and stay, from which heat and slip are withheld.
    suspect_share: f64 = 0.00005, "share", from 0.0 to 1.0,
        reason: "one sample of 0.1 s in 2,000 s, of 30 rad/s and 200 N·m, makes 600 J";

    /// Time in which a signal was stuck or had dropped out that is too long for chance.
    lost_s: f64 = 1.0, "s", from 0.0 to 3600.0;
}
