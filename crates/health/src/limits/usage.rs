//! The class of use, from idle to competition.

limits! {
    /// The class of use, from idle to competition.
    usage: Usage;

    /// Shortest drive that is given a class of use.
    least_km: f64 = 10.0, "km", from 0.1 to 10000.0;

    /// Length of a stretch that is given its own class.
    stretch_km: f64 = 10.0, "km", from 0.1 to 10000.0;

    /// Gauges read at the least for a class that is no lower bound.
    least_needles: u32 = 3, "count", from 2.0 to 5.0,
        reason: "with two, one of them odd decides";

    /// Gauges read at the least for a class that is a lower bound.
    lower_bound_needles: u32 = 2, "count", from 2.0 to 5.0,
        reason: "the second highest decides";

    /// Upper edges of the levels of use 0 to 4 by slipping under load.
    partial_s_per_100_km: [f64; 5] = [5.0, 20.0, 60.0, 180.0, 600.0], "s/100 km", from 0.0 to 1000000.0,
        reason: "each is two to four times the one before, so that a level is a kind of use and not a shade",
        sensitivity: "a reading on an edge moves the class by one, and then both classes are stated";

    /// The same by heat.
    heat_kj_per_km: [f64; 5] = [0.3, 1.0, 3.0, 8.0, 25.0], "kJ/km", from 0.0 to 100000.0;

    /// The same by engagements.
    events_per_100_km: [f64; 5] = [10.0, 40.0, 120.0, 300.0, 800.0], "1/100 km", from 0.0 to 1000000.0;

    /// The same by oil temperature passed in 1 % of the time.
    oil_p99_c: [f64; 5] = [80.0, 90.0, 100.0, 115.0, 130.0], "°C", from -60.0 to 300.0,
        reason: "the oil wears faster with every ten to fifteen kelvin (disputed)";

    /// The same by peak power per net lining area that one event in a hundred passes.
    power_w_per_mm2: [f64; 5] = [0.05, 0.15, 0.3, 0.7, 1.5], "W/mm²", from 0.0 to 1000.0,
        reason: "the last is that of a hard hit";
}
