//! Whether the pack holds: at nearly full command, and without command.

limits! {
    /// Whether the pack holds at nearly full command, and whether it holds without command.
    holding: Holding;

    /// Command that counts as nearly full.
    asked_for_all: f64 = 0.8, "share", from 0.1 to 1.0;

    /// Time the pack is given to hold after the mechanism has settled.
    within_s: f64 = 1.0, "s", from 0.0 to 60.0;

    /// Share by which slip must have fallen by then.
    fall: f64 = 0.30, "share", from 0.0 to 1.0;

    /// Openness below which an open pack counts as holding.
    openness_below: f64 = 0.5, "ratio", from 0.0 to 1.0;

    /// How long it must do so in a bend.
    least_s: f64 = 2.0, "s", from 0.0 to 60.0;

    /// Axle speed difference, of a bend or seen before a command, from which there is
    /// something to hold.
    opportunity_rad_per_s: f64 = 1.0, "rad/s", from 0.0 to 50.0;

    /// How long before a command a difference still counts as seen before it.
    opportunity_before_s: f64 = 0.5, "s", from 0.0 to 60.0;

    /// Breaks shorter than this do not part one stretch from the next.
    break_s: f64 = 1.0, "s", from 0.0 to 60.0;

    /// Share of the command that the state must have reached to count as settled.
    settled_share: f64 = 0.9, "share", from 0.1 to 1.0;

    /// With no state in the log, the mechanism is given this long to follow.
    settled_after_s: f64 = 0.5, "s", from 0.0 to 60.0;
}
