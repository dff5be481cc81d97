//! When the car moves, bends and drives.

use halfshaft_model::constants::M_PER_S_PER_KM_PER_H;

limits! {
    /// When the car moves, bends and drives.
    driving: Driving;

    /// Road speed above which the car counts as moving.
    moving_from_km_per_h: f64 = 5.0, "km/h", from 0.5 to 50.0,
        reason: "many wheel-speed signals read 0 below two to three km/h",
        sensitivity: "moving time, and what counts as a bend";

    /// A rear wheel slower than this stands; 0.1 is 0.1 km/h at the tyre.
    wheel_stands_rad_per_s: f64 = 0.1, "rad/s", from 0.0 to 5.0;

    /// How long the wheels must disagree with a drive before the car counts as towed, lifted or
    /// on rollers.
    not_driving_s: f64 = 10.0, "s", from 1.0 to 600.0,
        reason: "longer than any start on ice";

    /// Bend radius below which heading change counts as turning, and a bend as a corner.
    bend_radius_m: f64 = 150.0, "m", from 10.0 to 2000.0,
        sensitivity: "turn_total, heat_per_degree and the corners";

    /// Of the slip of a bend, tyre compliance may eat a tenth: bends count where
    /// track/radius is at least this many times bias/(stiffness·radius of the tyre).
    compliance_margin: f64 = 10.0, "ratio", from 1.0 to 100.0;

    /// A stretch at the start or the end of a log in which a channel is not there counts as
    /// hidden from this length on.
    uncovered_from_s: f64 = 0.5, "s", from 0.0 to 60.0;
}

impl Driving {
    /// Road speed above which the car counts as moving, m/s.
    pub fn moving_from(&self) -> f64 {
        self.moving_from_km_per_h * M_PER_S_PER_KM_PER_H
    }
}
