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
}
