//! Command and response under each other's name.

limits! {
    /// Command and response under each other's name in the map.
    swapped: Swapped;

    /// Full strokes, there or back, that the command must have moved.
    strokes: f64 = 10.0, "count", from 1.0 to 10000.0;

    /// How many times as well changes of the command must go with earlier changes of the response as
    /// with later ones.
    ratio: f64 = 1.5, "ratio", from 1.0 to 20.0,
        reason: "the right way round it is less than half as well on every simulated drive";

    /// Least correlation that shows it.
    correlation: f64 = 0.1, "share", from 0.0 to 1.0;

    /// The response counts as moved before the command when it has gone this share of the command's
    /// way as that is half way.
    gone_from: f64 = 0.8, "share", from 0.1 to 1.0,
        reason: "of a lag of first order swapped with its step nothing less than all is gone";

    /// Share of the moves in which the response must have moved first.
    lead_share: f64 = 0.8, "share", from 0.1 to 1.0;

    /// Moves of the command from which that is judged.
    lead_moves: u32 = 5, "count", from 1.0 to 10000.0;
}
