//! Cooling at standstill.

limits! {
    /// Cooling at standstill.
    cooling: Cooling;

    /// Standing time after which the oil and the housing are of one temperature.
    settles_s: f64 = 60.0, "s", from 0.0 to 3600.0,
        reason: "pack and oil settle within some 20 s",
        source: "derived from the guessed heat capacities";

    /// Cooling needed to fit its time constant.
    least_s: f64 = 300.0, "s", from 10.0 to 36000.0;

    /// How much warmer than the air the oil must be at the end of it.
    least_above_air_k: f64 = 20.0, "K", from 1.0 to 200.0,
        reason: "a step of 1 K is then a small part";

    /// By how much the oil must fall.
    least_fall_k: f64 = 2.0, "K", from 0.1 to 200.0;

    /// Time constant of a standing axle while no drive of the same car tells it.
    usual_time_s: f64 = 1350.0, "s", from 60.0 to 36000.0,
        reason: "22 min: 10.8 kJ/K of oil and housing at 8 W/K",
        sensitivity: "the finding follows it in proportion";

    /// How many times the usual time constant does not cool.
    ratio: f64 = 1.5, "ratio", from 1.0 to 20.0;

    /// A car that is slower than this on the average stands.
    stands_below_m_per_s: f64 = 0.5, "m/s", from 0.0 to 10.0;
}
