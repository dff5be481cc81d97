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

    /// Torque that an open pack holds by the tyres, low end of the 90 % band, that is drag.
    held_nm: f64 = 180.0, "N·m", from 10.0 to 5000.0;

    /// The same as a multiple of the preload.
    held_ratio: f64 = 1.3, "ratio", from 1.0 to 20.0,
        reason: "the band knows that tyres are softer or harder than usual by a factor of 1.6";

    /// Heat per degree turned, as a multiple of what the stated preload makes, that is heavy.
    preload_ratio: f64 = 2.0, "ratio", from 1.0 to 20.0;

    /// Torque beyond that multiple which a measured torque may be off by near zero.
    preload_off_nm: f64 = 25.0, "N·m", from 0.0 to 500.0,
        reason: "two per cent of the full torque of a common pack; a small preload drowns in it";
}
