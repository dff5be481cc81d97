//! How laps and corners are found.

limits! {
    /// How laps and corners are found.
    laps: LapLimits;

    /// Of a gap longer than this only so much is bridged by the speed around it.
    longest_bridge_s: f64 = 60.0, "s", from 0.0 to 3600.0;

    /// Length above which a bend is a corner.
    corner_from_m: f64 = 15.0, "m", from 5.0 to 1000.0;

    /// A corner goes on down to this share of the curvature it began with.
    corner_stays: f64 = 0.8, "share", from 0.1 to 1.0,
        reason: "noise does not cut it in two";

    /// A dip below that no longer than this does not end a corner.
    corner_dip_m: f64 = 10.0, "m", from 0.0 to 500.0;

    /// Shortest lap looked for.
    shortest_m: f64 = 200.0, "m", from 100.0 to 100000.0,
        reason: "a kart track";

    /// Longest lap looked for.
    longest_m: f64 = 30000.0, "m", from 200.0 to 100000.0,
        reason: "the longest circuits";

    /// Correlation of the curvature of two laps, one after the other, before they are aligned: from
    /// here on a lap length is worth a closer look.
    candidate_correlation: f64 = 0.5, "share", from 0.1 to 1.0;

    /// Correlation of aligned laps from which the path repeats.
    correlation: f64 = 0.8, "share", from 0.1 to 1.0;

    /// The same for a path that crosses itself and turns as much to the left as to the right.
    eight_correlation: f64 = 0.9, "share", from 0.1 to 1.0;

    /// How far the heading change of a lap may be from a full turn, or from none.
    closing_deg: f64 = 20.0, "deg", from 0.0 to 180.0,
        reason: "scale and bias of the yaw sensor";

    /// And how much further for each second of the lap.
    closing_deg_per_s: f64 = 0.2, "deg/s", from 0.0 to 10.0,
        reason: "bias of the yaw sensor";

    /// The most that both together may be.
    closing_most_deg: f64 = 60.0, "deg", from 0.0 to 180.0;

    /// Share of the laps that must close.
    closing_share: f64 = 0.75, "share", from 0.0 to 1.0;

    /// How far from its start, as a share of its length, dead reckoning may end a lap that turns as
    /// much to the left as to the right.
    eight_closing: f64 = 0.2, "share", from 0.0 to 1.0,
        reason: "a winding road that repeats its bends turns by nothing as well, and goes somewhere";

    /// How fast the measured distance of one lap may run away from that of another.
    distance_drift: f64 = 0.025, "share", from 0.0 to 0.2,
        reason: "tyre slip and line, twice 1 %";

    /// How alike two pieces of road must be, 1 for equal and about 0 for strangers, to be the same.
    same_road: f64 = 0.6, "share", from 0.1 to 1.0;

    /// Share of the longest stretch of laps that a shorter lap must cover to go before.
    covered: f64 = 0.75, "share", from 0.0 to 1.0,
        reason: "the block driven round twice on the way is not what the day was about";

    /// Two changes of the marker within this time are one passing.
    marker_passing_s: f64 = 5.0, "s", from 0.0 to 600.0,
        reason: "a pulse, a pressed button";

    /// A start line reaches this far to either side of its point.
    line_reach_m: f64 = 30.0, "m", from 1.0 to 1000.0,
        reason: "half the width of a wide track, and what a receiver is off by";

    /// A position further from the one before than this speed allows is a jump and no way driven.
    position_top_speed_m_per_s: f64 = 120.0, "m/s", from 10.0 to 1000.0,
        reason: "no car on a road is quicker";

    /// Positions must have moved at least this share of the way by the wheels, or give no laps.
    position_least_way: f64 = 0.5, "share", from 0.0 to 1.0,
        reason: "a fix every five seconds cuts hairpins short by a third; one that stands still moves nowhere";

    /// Laps of this much other length than the usual one are not stretched to it.
    same_length: f64 = 0.03, "share", from 0.0 to 0.5;

    /// Corners of two laps are the same when their middles lie within this, and the share below.
    same_place_m: f64 = 25.0, "m", from 0.0 to 1000.0;

    /// What is added to that, as a share of the lap.
    same_place: f64 = 0.005, "share", from 0.0 to 0.5;

    /// And when their heading changes lie within this.
    same_turn_deg: f64 = 20.0, "deg", from 0.0 to 180.0;

    /// Or within this share.
    same_turn: f64 = 0.35, "share", from 0.0 to 1.0;
}
