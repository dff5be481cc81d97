//! Whether the pack holds: when asked for nearly all, and when not asked.

limits! {
    /// Whether the pack holds when asked for nearly all, and whether it holds when not asked.
    holding: Holding;

    /// Command from which nearly all is asked for.
    asked_for_all: f64 = 0.8, "share", from 0.1 to 1.0,
        source: "none, engineering guess";

    /// Time the pack is given to hold after the mechanism has settled.
    within_s: f64 = 1.0, "s", from 0.0 to 60.0,
        source: "none, engineering guess";

    /// Share by which slip must have fallen by then.
    fall: f64 = 0.30, "share", from 0.0 to 1.0,
        source: "none, engineering guess";

    /// Openness below which an open pack counts as holding.
    openness_below: f64 = 0.5, "ratio", from 0.0 to 1.0,
        source: "none, engineering guess";

    /// How long it must do so in a bend.
    least_s: f64 = 2.0, "s", from 0.0 to 60.0,
        source: "none, engineering guess";

    /// Axle speed difference, asked by a bend or seen before a command, from which there is
    /// something to hold.
    opportunity_rad_per_s: f64 = 1.0, "rad/s", from 0.0 to 50.0,
        source: "none, engineering guess";

    /// How long before a command a difference still counts as seen before it.
    opportunity_before_s: f64 = 0.5, "s", from 0.0 to 60.0,
        source: "none, engineering guess";
}
