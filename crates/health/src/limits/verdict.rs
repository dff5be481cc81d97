//! The verdict of a drive.

limits! {
    /// The verdict: when nothing wrong was found, and by when to act on a finding.
    verdict: VerdictLimits;

    /// Engagements below which nothing can be called sound.
    least_engagements: u32 = 10, "count", from 1.0 to 10000.0,
        reason: "with 5, a unit that fails every third time passes one time in eight";

    /// Trust in the log, as its grade has it, below which nothing can be called sound: 0.7 is grade B.
    least_trust: f64 = 0.7, "share", from 0.0 to 1.0;

    /// Share of the checks that were not made above which "nothing wrong" has no tick beside it.
    most_unchecked: f64 = 0.33, "share", from 0.0 to 1.0;

    /// Days in which to act.
    act_days: u32 = 14, "d", from 1.0 to 3650.0,
        source: "none, the custom of a careful workshop",
        sensitivity: "a longer time costs more of the part that suffers";

    /// The same as a distance.
    act_km: f64 = 500.0, "km", from 1.0 to 100000.0,
        source: "none, the custom of a careful workshop";

    /// Days in which to look at what is to be looked at soon.
    look_soon_days: u32 = 90, "d", from 1.0 to 3650.0,
        source: "none, the custom of a careful workshop",
        sensitivity: "a longer time costs more of the part that suffers";

    /// The same as a distance.
    look_soon_km: f64 = 3000.0, "km", from 1.0 to 100000.0,
        source: "none, the custom of a careful workshop";
}
