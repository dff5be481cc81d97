//! Torque as the car reports it, beside that of the table.

limits! {
    /// Torque as the car reports it, beside that of the map's table.
    torque_report: TorqueReport;

    /// Disagreement, as a share of the table's torque, that is too much.
    disagreement: f64 = 0.25, "share", from 0.01 to 5.0;

    /// The torque is steady while it changes by less than this share.
    steady: f64 = 0.10, "share", from 0.005 to 1.0;

    /// How long it must have been steady before it counts.
    steady_s: f64 = 0.3, "s", from 0.02 to 10.0,
        reason: "lets what comes later over the bus catch up";

    /// Steady torque above the preload needed to judge.
    least_s: f64 = 5.0, "s", from 0.1 to 3600.0;

    /// A report older than this, and than three of its periods, says nothing.
    reach_s: f64 = 0.25, "s", from 0.01 to 10.0;
}
