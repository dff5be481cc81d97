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

    /// What the command must move through while a state at rest stands still.
    rest_moves_by: f64 = 0.3, "share", from 0.01 to 1.0,
        reason: "from its rest a mechanism must come, whatever its way to the first torque";

    /// What the state must move through, and how far it must be from it, while the command stands still.
    command_apart_by: f64 = 0.2, "share", from 0.01 to 1.0,
        reason: "no mechanism moves by itself, and steps of a command are smaller";

    /// How far command and state must be apart at their farthest while the state stands still.
    apart_by: f64 = 0.3, "share", from 0.0 to 1.0,
        reason: "at its end stop a mechanism need not follow";

    /// What the axle speed difference must move through while the yaw rate stands still.
    bends_by_rad_per_s: f64 = 1.5, "rad/s", from 0.1 to 50.0,
        reason: "bends both ways, or one and a straight; noise of wheel speeds is a tenth of it";

    /// The same where the last digits of the yaw rate moved all the time before.
    lively_bends_by_rad_per_s: f64 = 0.4, "rad/s", from 0.05 to 50.0,
        reason: "at 36 km/h a bend of 120 m; a sensor that never stood before need not be asked for more";

    /// Driving with a yaw rate after which it is known whether it does.
    lively_s: f64 = 60.0, "s", from 10.0 to 3600.0;

    /// Driving for which command and state must be that far apart.
    apart_s: f64 = 3.0, "s", from 0.0 to 3600.0,
        reason: "what passes in a moment proves nothing: a mechanism on its way, the end of a wheelspin";

    /// Driving for which a command must be that far from a state that stands still.
    state_apart_s: f64 = 1.5, "s", from 0.0 to 3600.0,
        reason: "a mechanism on its way changes its last digit; the longest dead time is less than half of it";

    /// A state at rest stands still by its signal where it stands so many times as long as its last digits
    /// ever stood at rest before.
    flicker_times: f64 = 5.0, "ratio", from 1.0 to 1000.0,
        reason: "by chance a digit that moves once a second on average stands 5 times its longest of 20 s in no drive";

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
