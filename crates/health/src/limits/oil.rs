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
        reason: "parts heat from a spike of the sensor";

    /// Silence of the oil temperature that ends a stretch, or three of the channel's own periods
    /// where that is longer.
    reach_s: f64 = 5.0, "s", from 0.1 to 600.0,
        reason: "oil moves slowly";

    /// Fastest believable change of the oil temperature.
    slew_k_per_s: f64 = 5.0, "K/s", from 0.1 to 100.0,
        reason: "9 kW into a litre of oil alone";

    /// A change below this is never a jump.
    jump_k: f64 = 10.0, "K", from 0.0 to 200.0;

    /// Oil temperature above which the reading is not believed.
    believable_to_c: f64 = 200.0, "°C", from 120.0 to 400.0,
        reason: "gear oil is spoilt in minutes there; a number in °F passes it on a warm drive";

    /// Air temperature above which the reading is not believed, if it never falls below.
    air_believable_to_c: f64 = 60.0, "°C", from 40.0 to 100.0,
        reason: "a number in °F passes it on a mild day";

    /// Driving after which an oil temperature that never changes is stuck.
    stuck_after_s: f64 = 900.0, "s", from 60.0 to 36000.0;

    /// Heat of the pack in that time; without it the oil may rest.
    stuck_from_kj: f64 = 10.0, "kJ", from 0.0 to 100000.0;

    /// An oil temperature that moved before must read one number for so many times the longest
    /// that it did before.
    stuck_runs: f64 = 4.0, "count", from 1.0 to 1000.0,
        reason: "oil that nears its end temperature takes twice as long for each step";

    /// Readings in a row that must agree with each other before a jump is believed.
    jump_agreeing: u32 = 3, "count", from 1.0 to 1000.0;

    /// Share of the readings that may jump; with more, none is believed.
    jumps_share: f64 = 0.05, "share", from 0.0 to 1.0,
        reason: "a bad plug makes a tenth and more";

    /// Fewer jumps than this are no fault of the sensor.
    jumps_least: u32 = 10, "count", from 1.0 to 100000.0;

    /// Most that oil and housing of one unit may be apart on average.
    housing_apart_k: f64 = 50.0, "K", from 5.0 to 200.0,
        reason: "some mm of metal washed by the oil lie between; cold starts with hard work reach half of it";
}

impl Oil {
    /// Whether a change over some seconds is more than oil can make.
    pub fn is_jump(&self, change_k: f64, seconds: f64) -> bool {
        change_k.abs() > self.jump_k.max(self.slew_k_per_s * seconds)
    }
}
