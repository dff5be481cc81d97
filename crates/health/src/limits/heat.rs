//! Heat: what the thermal model is judged by.

limits! {
    /// Heat of pack, oil and housing.
    heat: Heat;

    /// Rise of the oil per pack heat, against earlier drives, from which oil may be missing.
    rise_ratio: f64 = 1.25, "ratio", from 1.0 to 10.0,
        reason: "less oil stores less heat";

    /// Least share of the pack in all heat for that rise to count.
    rise_pack_share: f64 = 0.5, "share", from 0.0 to 1.0,
        reason: "gears heat the oil too, and none of it is in the pack's heat";

    /// Time in which pack and oil become equal, against earlier drives, from which oil may be
    /// missing.
    equalisation_ratio: f64 = 1.4, "ratio", from 1.0 to 10.0,
        reason: "a pack out of the oil hands on its heat slowly";

    /// Estimated temperature of the pack that is too hot.
    pack_limit_c: f64 = 200.0, "°C", from 60.0 to 600.0,
        reason: "oil cracks and linings fade",
        source: "from memory";

    /// Oil temperature that needs a cause.
    hot_oil_c: f64 = 110.0, "°C", from 40.0 to 300.0,
        source: "from memory";

    /// Share of the pack in all heat below which the clutch is not the cause.
    clutch_share: f64 = 0.2, "share", from 0.0 to 1.0;

    /// Oil temperature to cool down to.
    cooled_c: f64 = 90.0, "°C", from 20.0 to 200.0,
        source: "common practice, no source";

    /// Road speed of cooling on the move.
    cooling_speed_m_per_s: f64 = 22.0, "m/s", from 1.0 to 60.0,
        reason: "80 km/h without work for the pack";

    /// Loss of the gears, of the power through them, above which they run hotter than they
    /// should.
    gear_loss_share: f64 = 0.05, "share", from 0.01 to 0.5,
        reason: "below it hot oil is what hard driving makes of sound gears",
        source: "published efficiency of loaded, warm axles, 95 to 97 %";

    /// Distance below which heat per km says nothing.
    per_km_from_km: f64 = 0.1, "km", from 0.001 to 100.0;

    /// Turning below which heat per degree says nothing.
    per_degree_from_deg: f64 = 90.0, "deg", from 1.0 to 100000.0;

    /// Share of the heat whose bend must be known to split it by cause.
    split_share: f64 = 0.9, "share", from 0.0 to 1.0;
}
