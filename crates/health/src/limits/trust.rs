//! How far a log and its figures can be trusted.

limits! {
    /// How far a log and its figures can be trusted.
    trust: Trust;

    /// Minutes of moving that show a unit: fewer lower the grade of the log in proportion.
    enough_moving_min: f64 = 10.0, "min", from 0.1 to 600.0;

    /// Engagements needed before a log can speak of the clutch at all.
    enough_events: u32 = 5, "count", from 1.0 to 1000.0;

    /// Factor of a log in which no signal gives the command of the clutch.
    unseen_command: f64 = 0.5, "share", from 0.0 to 1.0,
        reason: "never better than C";

    /// Factor of a log of which a sensor drops out.
    doubted_wheels: f64 = 0.8, "share", from 0.0 to 1.0,
        reason: "never better than B";

    /// Factor of a log in which a wheel speed ripples with the turns of its wheel.
    rippling_wheel: f64 = 0.6, "share", from 0.0 to 1.0,
        reason: "never better than C: the ripple reads as slip and as heat";

    /// Share of frames that a recorder may lose, by its own count, before the log is the worse for
    /// it.
    most_lost_frames: f64 = 0.01, "share", from 0.0 to 1.0,
        reason: "coverage finds a stretch without samples; frames lost one by one it may take for a slow sensor, and what they would have shown of short slips is gone";

    /// Factor of a log whose recorder lost more.
    lossy_log: f64 = 0.6, "share", from 0.0 to 1.0,
        reason: "never better than C";

    /// Factor of figures that rest on a geometry found wrong.
    wrong_geometry: f64 = 0.3, "share", from 0.0 to 1.0,
        reason: "grade D";

    /// Turning in open bends needed to judge track, radius, scales and signs of the map.
    geometry_turn_deg: f64 = 180.0, "deg", from 10.0 to 100000.0;

    /// Lowest median openness in open bends that track, radius, scales and signs of the map may
    /// have.
    right_geometry_from: f64 = 0.75, "ratio", from -1.0 to 1.0,
        reason: "freely rolling wheels make 1; preload through the tyres' compliance takes a tenth and a little more";

    /// Highest median openness that they may have.
    right_geometry_to: f64 = 1.12, "ratio", from 1.0 to 3.0;

    /// How far heat summed on the command may run above the heat of the mechanism.
    command_heat_excess: f64 = 1.73, "ratio", from 1.0 to 10.0,
        reason: "heat summed on the command read 14 to 73 % high on simulated drives; the upper end bounds the band",
        source: "simulation",
        sensitivity: "the low end of every heat figure by command";

    /// How much more or less than when it closes a pack may be behind its command when it opens.
    unknown_lag_s: f64 = 0.15, "s", from 0.0 to 10.0,
        reason: "actuators are behind their command by 0.1 to 0.4 s, and by as much more or less when they release",
        sensitivity: "the band of partial time by command";

    /// Relative standard deviation of a rolling radius the map states without tolerance, and of a
    /// road speed.
    usual_radius_sd: f64 = 0.02, "share", from 0.0 to 0.5,
        reason: "tread, load, pressure";

    /// Relative standard deviation of the scale of a yaw-rate sensor.
    yaw_scale_sd: f64 = 0.02, "share", from 0.0 to 0.5;

    /// Standard deviation of an oil temperature sensor.
    oil_sensor_sd_k: f64 = 2.0, "K", from 0.0 to 50.0;

    /// Pieces of a log shorter than this are not judged as of another car.
    piece_least_s: f64 = 60.0, "s", from 1.0 to 36000.0,
        reason: "units on a bus wake up one by one";

    /// Pieces with less than this share of channels in common are of two cars.
    common_channels: f64 = 0.5, "share", from 0.0 to 1.0;

    /// Period of wheel samples up to which nothing is lost to blur; slower ones lower the grade in
    /// proportion.
    sharp_period_s: f64 = 0.02, "s", from 0.001 to 1.0,
        reason: "50 Hz";

    /// Period of wheel samples above which a highest value is a lower bound.
    peak_period_s: f64 = 0.055, "s", from 0.001 to 10.0,
        reason: "slips last 50 to 150 ms: 20 Hz hit each of them, but for a tenth by which periods stray";
}
