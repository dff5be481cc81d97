//! A car's own past: when a drive departs from it, and which drives are alike.

limits! {
    /// Earlier drives of the same car as what a drive is compared with.
    past: PastLimits;

    /// Earlier drives that are needed to compare with.
    least_drives: u32 = 3, "count", from 2.0 to 1000.0,
        reason: "of two nobody can tell how far a value wanders from drive to drive",
        source: "the usual rule for oil loss, from memory";

    /// So many of the first drives say what is usual.
    first_drives: u32 = 5, "count", from 2.0 to 1000.0,
        reason: "a median of all drives would creep along with what wears";

    /// Drives, with the latest, from which a drift is judged.
    drift_drives: u32 = 5, "count", from 4.0 to 1000.0,
        reason: "of four drives in rising order chance makes one in 24";

    /// How many times what it was a value has become at least, over all drives, to drift.
    drift_ratio: f64 = 1.1, "ratio", from 1.0 to 10.0,
        reason: "with nothing changed values wander by a twentieth, and over 12 drives one car in 300 then seems to \
                 drift; with a tenth of wander one in 40",
        source: "derived from 1,500 chains drawn from a normal distribution",
        sensitivity: "at 1.2 half of the oil is gone on two cars of seven before it shows";

    /// Difference of the air up to which two drives are alike for what heat does.
    like_air_k: f64 = 10.0, "K", from 0.0 to 100.0,
        reason: "colder air cools the oil while it rises";

    /// Difference of the oil at the start up to which they are alike for its rise.
    like_start_k: f64 = 10.0, "K", from 0.0 to 100.0,
        reason: "warm oil loses heat from the start, and rises less";
}
