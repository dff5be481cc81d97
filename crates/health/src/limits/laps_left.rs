//! Laps left until the oil is too hot.

limits! {
    /// Laps left until the oil is too hot.
    laps_left: LapsLeft;

    /// Laps used, at the least.
    least_laps: u32 = 3, "count", from 3.0 to 100.0,
        source: "job practice, over the last 3 to 5 laps";

    /// Laps used, at the most.
    most_laps: u32 = 5, "count", from 3.0 to 100.0,
        source: "job practice, over the last 3 to 5 laps";

    /// Laps are alike whose times differ by no more than this share.
    alike: f64 = 0.15, "share", from 0.0 to 1.0;

    /// Least scatter of the oil from lap to lap.
    least_scatter_k: f64 = 0.5, "K", from 0.01 to 20.0,
        reason: "half a step of the usual sensor, and no two laps heat alike";

    /// Laps looked ahead; what comes later counts as never.
    ahead_laps: u32 = 100, "count", from 1.0 to 1000.0;
}
