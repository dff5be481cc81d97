//! The four ramps of the severity of a drive.

limits! {
    /// The four ramps of the severity of a drive, 0 points at quiet and 100 at the limit.
    severity: SeverityRamps;

    /// Peak power per net lining area that is quiet.
    power_quiet_w_per_mm2: f64 = 0.1, "W/mm²", from 0.0 to 1000.0,
        source: "from memory for paper",
        sensitivity: "the index follows each ramp in proportion";

    /// The same at its limit.
    power_limit_w_per_mm2: f64 = 1.5, "W/mm²", from 0.0 to 1000.0,
        reason: "that of a hard hit",
        source: "from memory for paper, brief peaks of 1 to 2 W/mm²";

    /// Heat that is quiet.
    heat_quiet_kj_per_km: f64 = 1.0, "kJ/km", from 0.0 to 100000.0;

    /// The same at its limit.
    heat_limit_kj_per_km: f64 = 40.0, "kJ/km", from 0.0 to 100000.0;

    /// Oil temperature passed in 1 % of the time that is quiet.
    oil_quiet_c: f64 = 90.0, "°C", from -60.0 to 300.0;

    /// The same at its limit.
    oil_limit_c: f64 = 150.0, "°C", from -60.0 to 300.0,
        source: "from memory, the usual limit of the oil";

    /// Time slipping under load, of the moving time, that is quiet.
    partial_quiet_percent: f64 = 0.5, "%", from 0.0 to 100.0;

    /// The same at its limit.
    partial_limit_percent: f64 = 20.0, "%", from 0.0 to 100.0;

    /// Ramps that must be known for a severity.
    least_ramps: u32 = 2, "count", from 1.0 to 4.0;
}
