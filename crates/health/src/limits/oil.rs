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

    /// Time on end after which an oil temperature that reads one number to the end is stuck, if the
    /// car was driven as below meanwhile, or the housing moved.
    stuck_after_s: f64 = 260.0, "s", from 60.0 to 36000.0,
        reason: "of 170 simulated sound drives none read one number for as long while it was driven so; jams, ice \
                 and figures of eight did for up to 470 s",
        sensitivity: "a sensor that froze four minutes before the end passes";

    /// Distance in that time.
    stuck_over_m: f64 = 1500.0, "m", from 100.0 to 1000000.0,
        reason: "in a jam, and at a steady end temperature, oil may well rest";

    /// Swings of the road speed in that time, up and down counted apart.
    stuck_swings: u32 = 6, "count", from 1.0 to 1000.0,
        reason: "from standing to driving the gears' heat grows from none to some hundred watts, 2 K and more of the \
                 oil over the housing";

    /// A swing is at least this.
    stuck_swing_m_per_s: f64 = 8.0, "m/s", from 1.0 to 100.0,
        reason: "a start from a traffic light makes it, a motorway does not";

    /// Steps of the sensor's number above which a rest proves nothing unless the housing moved.
    stuck_step_k: f64 = 1.0, "K", from 0.01 to 20.0,
        reason: "in steps of 2 K a town drive may stay within one";

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

    /// The same where the oil reads what the housing would in °F.
    housing_apart_in_fahrenheit_k: f64 = 20.0, "K", from 5.0 to 200.0,
        reason: "to be so far apart in frost takes 2 kW from the start to the end";

    /// A mean of the oil that near to the housing's in °F counts as such.
    near_fahrenheit_k: f64 = 8.0, "K", from 0.5 to 50.0;

    /// An oil temperature that begins that near to the air's in °F, and rises, is in °F.
    starts_in_fahrenheit_k: f64 = 2.0, "K", from 0.5 to 20.0,
        reason: "a warm axle begins there by chance once in thirty drives, and then mostly cools first",
        sensitivity: "twice as wide, twice as many false ones";

    /// Rise by which a start in °F shows itself as a cold one.
    cold_rise_k: f64 = 2.0, "K", from 0.5 to 50.0;

    /// Mean road speed up to which a warm axle cools at first.
    gentle_m_per_s: f64 = 15.0, "m/s", from 1.0 to 100.0,
        reason: "in town the gears make some 200 W, and an axle 40 K above the air loses 300 and more";

    /// An oil temperature that begins that near to the air's is in the map's unit.
    cold_start_k: f64 = 10.0, "K", from 0.5 to 30.0,
        reason: "in °F it would begin 20 K and more above, but in deep frost";

    /// Coldest axle at the start of a drive where no air temperature is logged.
    coldest_start_c: f64 = -10.0, "°C", from -60.0 to 60.0;
}

impl Oil {
    /// Whether a change over some seconds is more than oil can make.
    pub fn is_jump(&self, change_k: f64, seconds: f64) -> bool {
        change_k.abs() > self.jump_k.max(self.slew_k_per_s * seconds)
    }
}
