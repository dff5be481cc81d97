//! A pack that does not grip under command.

limits! {
    /// A pack that does not grip at nearly full command.
    grip: Grip;

    /// Times the pack must have failed to grip.
    occurrences: u32 = 3, "count", from 1.0 to 1000.0,
        reason: "once is chance";

    /// How long each must last.
    least_s: f64 = 0.5, "s", from 0.0 to 60.0;

    /// Share of the command that the state must show all the while.
    follows: f64 = 0.8, "share", from 0.1 to 1.0;

    /// The slower rear wheel this much ahead of the road, as a share: both wheels spin, and the
    /// road slips before the pack does.
    both_spin: f64 = 0.05, "share", from 0.01 to 1.0;

    /// Command from which the mechanism is expected to follow and slip to fall, for the picture of
    /// both together.
    asked: f64 = 0.5, "share", from 0.1 to 1.0;

    /// Time the mechanism and the slip are given for that.
    answers_within_s: f64 = 1.0, "s", from 0.1 to 10.0;

    /// Times each must have been seen before it is spoken of.
    judged_from: u32 = 3, "count", from 1.0 to 1000.0;

    /// Torque held over torque stated, by the tyres, below which its whole 90 % band must lie for a pack
    /// that does not hold.
    held_act: f64 = 0.6, "ratio", from 0.05 to 1.0,
        reason: "a torque table is good to 15 %, and tyres near their grip take a quarter off";

    /// The same for one that holds less than stated.
    held_look: f64 = 0.8, "ratio", from 0.05 to 1.0;

    /// Half seconds of bends under command that it needs.
    held_pieces: u32 = 8, "count", from 3.0 to 10000.0;

    /// A pack that holds this share of the stated torque must show in the bends of a log, or its grip counts
    /// as not checked.
    must_show: f64 = 0.5, "ratio", from 0.05 to 1.0;

    /// Torque that could hold is that of the map over this: table and tyres may both be off.
    could_hold_room: f64 = 1.7, "ratio", from 1.0 to 5.0,
        source: "derived",
        reason: "15 % of a table and 30 % of a tyre make 34 %, of which 1.645 times are a factor of 1.7";

    /// Share of what it held over the stated torque in earlier drives, below which the pack has lost hold.
    holding_share: f64 = 0.7, "ratio", from 0.05 to 1.0;

    /// How long the mechanism and the slip are then looked at.
    answers_over_s: f64 = 0.3, "s", from 0.02 to 10.0;
}
