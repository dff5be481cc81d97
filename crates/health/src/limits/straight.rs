//! Work of the pack on straight roads.

use halfshaft_model::constants::M_PER_S_PER_KM_PER_H;

limits! {
    /// Work of the pack on straight roads.
    straight: Straight;

    /// Share of straight running spent in slipping under load that is too much.
    partial_share: f64 = 0.10, "share", from 0.001 to 1.0,
        sensitivity: "a healthy simulated drive shows less than a hundredth";

    /// Road speed from which straight running is looked at.
    from_km_per_h: f64 = 50.0, "km/h", from 5.0 to 300.0,
        reason: "below it launches and junctions rule";

    /// Axle speed difference of a bend below which the road counts as straight.
    difference_rad_per_s: f64 = 0.3, "rad/s", from 0.01 to 10.0,
        reason: "the pack of a straight road then slips by less than half of slip.working_rad_per_s",
        source: "derived";

    /// Bend radius above which the road counts as straight.
    radius_m: f64 = 500.0, "m", from 50.0 to 10000.0;

    /// Straight running needed to judge it.
    least_s: f64 = 60.0, "s", from 1.0 to 36000.0;

    /// Stretches of slipping under load on the straight needed, unless one is sustained.
    occurrences: u32 = 3, "count", from 1.0 to 1000.0,
        reason: "once is chance";

    /// How long one stretch must last to count without others.
    sustained_s: f64 = 5.0, "s", from 0.1 to 3600.0;
}

impl Straight {
    /// Road speed from which straight running is looked at, m/s.
    pub fn from(&self) -> f64 {
        self.from_km_per_h * M_PER_S_PER_KM_PER_H
    }

    /// Curvature below which the road counts as straight, 1/m.
    pub fn curvature(&self) -> f64 {
        1.0 / self.radius_m
    }
}
