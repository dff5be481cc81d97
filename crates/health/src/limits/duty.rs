//! Cycles of the pack.

limits! {
    /// Cycles of the pack.
    duty: DutyLimits;

    /// Smallest range of torque that counts as a cycle.
    torque_range_nm: f64 = 20.0, "N·m", from 0.1 to 1000.0,
        reason: "below it stand noise and the step of a signal",
        sensitivity: "the count of small cycles only";

    /// Smallest range of the pack temperature that counts as a cycle.
    temperature_range_k: f64 = 3.0, "K", from 0.1 to 100.0;
}
