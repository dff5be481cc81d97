//! The policy by which the oil is used up.

limits! {
    /// The policy by which the oil is used up: no chemical test.
    oil_distance: OilPolicy;

    /// Distance the oil serves when nothing ages it faster: 60,000 miles.
    base_km: f64 = 96000.0, "km", from 1000.0 to 1000000.0,
        source: "practice of the trade, an editable policy",
        sensitivity: "every oil distance follows it in proportion";

    /// Oil temperature at which the oil ages as the policy takes for granted.
    reference_c: f64 = 80.0, "°C", from 0.0 to 200.0,
        source: "none, policy",
        sensitivity: "10 K lower make the oil age 1.6 to 2 times faster";

    /// Least rise of temperature that doubles the ageing of the oil.
    doubling_least_k: f64 = 10.0, "K", from 1.0 to 100.0,
        reason: "the doubling per 10 K is disputed, hence a band",
        source: "published as 10 K, and disputed";

    /// The rise that the figure is given for.
    doubling_k: f64 = 12.0, "K", from 1.0 to 100.0,
        source: "none, policy",
        sensitivity: "at 110 °C the factor is 8, 5.7 or 4 for 10, 12 or 15 K";

    /// Greatest rise that doubles it.
    doubling_most_k: f64 = 15.0, "K", from 1.0 to 100.0,
        source: "none, policy";

    /// Least factor by temperature.
    temperature_least: f64 = 0.5, "ratio", from 0.01 to 1.0,
        source: "none, policy";

    /// Low end of the factor by temperature where no temperature is known.
    no_temperature_low: f64 = 0.7, "ratio", from 0.01 to 1.0,
        source: "none, policy";

    /// Its high end.
    no_temperature_high: f64 = 4.0, "ratio", from 1.0 to 1000.0,
        source: "none, policy";

    /// Heat of the pack that makes the factor by work one greater.
    work_kj_per_km: f64 = 10.0, "kJ/km", from 0.1 to 100000.0,
        source: "none, policy",
        sensitivity: "at 8 kJ/km the factor is 1.8";

    /// High end of the factor by work where the heat is not known.
    no_work_high: f64 = 4.0, "ratio", from 1.0 to 1000.0,
        source: "none, policy";

    /// Distance of a day on the track.
    track_day_km: f64 = 200.0, "km", from 10.0 to 2000.0,
        reason: "five runs of twenty minutes at 120 km/h",
        source: "none, engineering guess";

    /// Most track days to which the oil distance of a drive in laps is counted in them.
    track_days_most: f64 = 10.0, "days", from 1.0 to 1000.0,
        reason: "beyond a season kilometres mean more",
        source: "none, policy";

    /// Age at which the oil is used up without being driven.
    calendar_years: f64 = 10.0, "a", from 0.1 to 100.0,
        source: "none, policy";
}

impl OilPolicy {
    /// Rises that double the ageing, K: least, told, greatest.
    pub fn doublings_k(&self) -> [f64; 3] {
        [self.doubling_least_k, self.doubling_k, self.doubling_most_k]
    }
}
