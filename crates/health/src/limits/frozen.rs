//! A signal that stands still while the car goes on.

limits! {
    /// A signal that stands still while the car goes on.
    frozen: Frozen;

    /// Driving through which the signal must stand still.
    lasts_s: f64 = 20.0, "s", from 1.0 to 3600.0;

    /// A state of the clutch below this is at rest.
    rest_below: f64 = 0.1, "share", from 0.0 to 1.0,
        reason: "an end stop reads alike";

    /// What command or state must move through while the other stands still.
    moves_by: f64 = 0.5, "share", from 0.01 to 1.0;

    /// How far command and state must be apart at their farthest.
    apart_by: f64 = 0.3, "share", from 0.0 to 1.0,
        reason: "at its end stop a mechanism need not follow";

    /// What the axle speed difference must move through while the yaw rate stands still.
    bends_by_rad_per_s: f64 = 1.5, "rad/s", from 0.1 to 50.0,
        reason: "bends both ways, or one and a straight; noise of wheel speeds is a tenth of it";

    /// Driving for which command and state must be that far apart.
    apart_s: f64 = 3.0, "s", from 0.0 to 3600.0,
        reason: "what passes in a moment proves nothing: a mechanism on its way, the end of a wheelspin";

    /// The other signal counts only this long after the one has come to stand.
    settles_s: f64 = 3.0, "s", from 0.0 to 600.0,
        reason: "a mechanism on its way back proves nothing; the slowest release that is still one takes 2 s";

    /// What is read from the signal that stands still is wrong from where command and state are this
    /// far apart.
    doubt_from: f64 = 0.1, "share", from 0.0 to 1.0,
        reason: "a position that follows is nearer";

    /// What is not proved within this time is believed.
    proved_within_s: f64 = 40.0, "s", from 1.0 to 55.0,
        reason: "twice the least proof, and less than rows may be late";

    /// Tightest radius a car drives.
    tightest_m: f64 = 5.0, "m", from 1.0 to 50.0,
        reason: "a difference beyond that of the tightest bend is a spinning wheel and no bend",
        source: "from memory, turning circles of 10 to 12 m";

    /// Highest lateral acceleration of a car.
    sideways_m_per_s2: f64 = 12.0, "m/s²", from 1.0 to 50.0,
        source: "from memory, racing tyres";
}
