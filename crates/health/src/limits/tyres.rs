//! Rear tyres: unlike sizes, and lost pressure.

limits! {
    /// Rear tyres of unlike size, and lost pressure.
    tyres: Tyres;

    /// Tyre mismatch worth a note, as a share of the rolling speed.
    mismatch_note: f64 = 0.005, "share", from 0.0001 to 0.2,
        reason: "two tyres of one make and size, one half worn, differ by about that",
        sensitivity: "at 100 N·m and a radius of 0.32 m it costs 0.8 kJ/km (derived: T·ε·1000/(2r))";

    /// Tyre mismatch to act on.
    mismatch_act: f64 = 0.010, "share", from 0.0001 to 0.2,
        sensitivity: "1.6 kJ/km at 100 N·m and 0.32 m (derived)";

    /// Standard deviation of the tyre ratio above which nothing is said of the tyres.
    mismatch_sd: f64 = 0.0015, "share", from 0.00001 to 0.1,
        reason: "three of them stay below the mismatch worth a note";

    /// Difference of front and rear rolling speed worth a look, as a share.
    front_rear: f64 = 0.010, "share", from 0.001 to 0.2,
        reason: "driven wheels run ahead by a few thousandths while pulling at steady speed";

    /// Acceleration either way above which driven wheels slip too much to compare the axles.
    front_rear_steady_m_per_s2: f64 = 0.5, "m/s²", from 0.05 to 5.0;

    /// Steady straight running needed to compare the axles.
    front_rear_least_km: f64 = 2.0, "km", from 0.1 to 1000.0;

    /// Change of the tyre ratio within two kilometres that means lost pressure.
    pressure_step: f64 = 0.003, "share", from 0.0001 to 0.2,
        reason: "tyres that warm up change by less than 0.2 %",
        sensitivity: "about a fifth of the pressure of one tyre (from memory)";

    /// Slope of the tyre ratio per km that means losing pressure; its 90 % interval must lie
    /// above.
    pressure_slope_per_km: f64 = 0.0005, "share/km", from 0.00001 to 0.1;

    /// Width within which half of the stretches must lie, as a share, for the axles to be compared.
    front_rear_scatter: f64 = 0.006, "share", from 0.0001 to 0.2;
}
