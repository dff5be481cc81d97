//! Oil temperature.

limits! {
    /// Oil temperature.
    oil: Oil;

    /// Oil temperature to warn at where the map states none.
    warn_c: f64 = 130.0, "°C", from 40.0 to 300.0,
        source: "from memory; the map may state its own",
        sensitivity: "the finding and its severity follow it degree by degree";

    /// Oil temperature never to pass where the map states none.
    limit_c: f64 = 150.0, "°C", from 40.0 to 300.0,
        source: "from memory; the map may state its own";

    /// How long the oil must stay above.
    above_s: f64 = 10.0, "s", from 0.0 to 3600.0,
        reason: "parts heat from a spike of the sensor",
        source: "none, engineering guess";

    /// Silence of the oil temperature that ends a stretch, or three of the channel's own periods
    /// where that is longer.
    reach_s: f64 = 5.0, "s", from 0.1 to 600.0,
        reason: "oil moves slowly",
        source: "none, engineering guess";

    /// Fastest believable change of the oil temperature.
    slew_k_per_s: f64 = 5.0, "K/s", from 0.1 to 100.0,
        reason: "9 kW into a litre of oil alone",
        source: "none, engineering guess";

    /// A change below this is never a jump.
    jump_k: f64 = 10.0, "K", from 0.0 to 200.0,
        source: "none, engineering guess";

    /// Oil temperature above which the reading is not believed.
    believable_to_c: f64 = 200.0, "°C", from 120.0 to 400.0,
        reason: "gear oil is spoilt in minutes there; a number in °F passes it on a warm drive",
        source: "none, engineering guess";

    /// Air temperature above which the reading is not believed, if it never falls below.
    air_believable_to_c: f64 = 60.0, "°C", from 40.0 to 100.0,
        reason: "a number in °F passes it on a mild day",
        source: "none, engineering guess";

    /// Driving after which an oil temperature that never changes is stuck.
    stuck_after_s: f64 = 900.0, "s", from 60.0 to 36000.0,
        source: "none, engineering guess";

    /// Heat of the pack in that time; without it the oil may rest.
    stuck_from_kj: f64 = 10.0, "kJ", from 0.0 to 100000.0,
        source: "none, engineering guess";
}

impl Oil {
    /// Whether a change over some seconds is more than oil can make.
    pub fn is_jump(&self, change_k: f64, seconds: f64) -> bool {
        change_k.abs() > self.jump_k.max(self.slew_k_per_s * seconds)
    }
}
