//! Drag and preload in bends.

limits! {
    /// Drag and preload in bends.
    drag: Drag;

    /// Bends in which an open pack must hold.
    bends: u32 = 3, "count", from 1.0 to 1000.0,
        reason: "once is chance";

    /// How far openness must lie below what the preload explains.
    below_preload: f64 = 0.25, "ratio", from 0.0 to 1.0;

    /// Share of the open bends held above which track and radius are as likely to be wrong.
    every_bend: f64 = 0.8, "share", from 0.1 to 1.0;

    /// Share of the missing difference by which the rear wheels may run ahead of the road; a pack
    /// that drags makes none of it, an inside wheel that spins a half.
    ahead_share: f64 = 0.25, "share", from 0.01 to 1.0,
        source: "derived";

    /// Torque at the axle that the pack never falls below by the tyres, low end of the 90 % band, that is
    /// drag.
    held_nm: f64 = 150.0, "N·m", from 10.0 to 5000.0,
        reason: "of 150 simulated sound drives the low end was 146 N·m or less";

    /// The same as a multiple of what the map states without command.
    held_ratio: f64 = 1.3, "ratio", from 1.0 to 20.0,
        reason: "a preload is stated to 10 %, the torque of a table to 15 %";

    /// The same where the map states no torque without command.
    held_unstated_nm: f64 = 280.0, "N·m", from 10.0 to 5000.0,
        reason: "a preload of 220 N·m at the axle is no fault";

    /// Share of the bends that may go one way: with more nothing is said of a drag by the tyres.
    one_way_most: f64 = 0.9, "share", from 0.5 to 1.0,
        reason: "on an oval unlike tyres lack the same difference in every bend, as a drag does";

    /// A drag of this much must be told from the limit by the bends of a log, or a drag counts as not
    /// checked.
    must_show_nm: f64 = 250.0, "N·m", from 50.0 to 5000.0,
        reason: "more than any usual preload: felt in a car park";

    /// Share of the open bends held that is drag.
    held_share: f64 = 0.15, "share", from 0.0 to 1.0,
        reason: "a pack that drags does so in like bends; the few that follow right after a command do not count";

    /// Heat per degree turned, as a multiple of what the stated preload makes, that is heavy.
    preload_ratio: f64 = 2.0, "ratio", from 1.0 to 20.0;

    /// Torque beyond that multiple which a measured torque may be off by near zero.
    preload_off_nm: f64 = 25.0, "N·m", from 0.0 to 500.0,
        reason: "two per cent of the full torque of a common pack; a small preload drowns in it";
}
