//! Launches one after the other.

use halfshaft_model::constants::M_PER_S_PER_KM_PER_H;

limits! {
    /// Launches one after the other.
    launch: Launch;

    /// Excess of the axle speed difference that makes a launch.
    excess_rad_per_s: f64 = 10.0, "rad/s", from 0.5 to 200.0,
        reason: "some 11 km/h between the wheels";

    /// How long it must last to be a launch.
    least_s: f64 = 1.0, "s", from 0.0 to 60.0,
        reason: "a wheel that slips for less while pulling out over a wet line makes little heat",
        sensitivity: "pulling out over twelve slippery metres in a simulated drive spins a wheel for 0.8 s";

    /// Road speed below which it is a launch.
    below_km_per_h: f64 = 20.0, "km/h", from 1.0 to 200.0;

    /// Launches within the window that make the finding.
    count: u32 = 3, "count", from 1.0 to 1000.0,
        sensitivity: "the count itself";

    /// The window they are counted in.
    window_s: f64 = 600.0, "s", from 1.0 to 36000.0,
        reason: "half a time constant of a standing housing";

    /// Quiet time that parts two launches; and the time within which a launch must have moved the
    /// car, or it was a wheel in the air.
    apart_s: f64 = 3.0, "s", from 0.1 to 600.0;
}

impl Launch {
    /// Road speed below which it is a launch, m/s.
    pub fn below(&self) -> f64 {
        self.below_km_per_h * M_PER_S_PER_KM_PER_H
    }
}
