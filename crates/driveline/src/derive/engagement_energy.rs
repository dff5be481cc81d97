//! Closed forms of one engagement: how long it takes and what it turns into heat.
//!
//! They judge the integrator, and say what a launch or a lock-up should have cost.
//! Source of the equations: Shigley, "Energy Considerations" and "Temperature Rise"
//! (from memory; arithmetic verified).

/// Time to equal speeds under a constant torque, s: t = I₁·I₂·Δω/(T·(I₁ + I₂)).
pub fn lock_up_time(
    inertia_1: f64,
    inertia_2: f64,
    difference_rad_per_s: f64,
    torque_nm: f64,
) -> f64 {
    inertia_1 * inertia_2 * difference_rad_per_s / (torque_nm * (inertia_1 + inertia_2))
}

/// Heat of a lock-up, J: E = ½·I₁·I₂/(I₁ + I₂)·Δω². Independent of how the torque ran,
/// as long as nothing else acts on the two inertias.
pub fn lock_up_energy(inertia_1: f64, inertia_2: f64, difference_rad_per_s: f64) -> f64 {
    0.5 * inertia_1 * inertia_2 / (inertia_1 + inertia_2) * difference_rad_per_s.powi(2)
}

/// Common speed after a lock-up, rad/s.
pub fn common_speed(inertia_1: f64, speed_1: f64, inertia_2: f64, speed_2: f64) -> f64 {
    (inertia_1 * speed_1 + inertia_2 * speed_2) / (inertia_1 + inertia_2)
}

/// Temperature rise of a mass that takes all of an energy, K.
pub fn temperature_rise(energy_j: f64, mass_kg: f64, heat_capacity_j_per_kg_k: f64) -> f64 {
    energy_j / (mass_kg * heat_capacity_j_per_kg_k)
}

/// Settled peak over ambient when a rise of `rise_k` is repeated every `period_s` and
/// decays with `time_constant_s` between, K: ΔT/(1 − e^(−t/τ)).
pub fn repeated_peak(rise_k: f64, period_s: f64, time_constant_s: f64) -> f64 {
    rise_k / -(-period_s / time_constant_s).exp_m1()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    /// Integrates two inertias joined by a clutch torque until their speeds meet.
    fn integrate(torque: impl Fn(f64) -> f64, drive_nm: f64, load_nm: f64) -> (f64, f64) {
        let (inertia_1, inertia_2) = (0.5, 2.0);
        let (mut speed_1, mut speed_2) = (150.0, 50.0);
        let (step, mut time, mut energy) = (1e-6, 0.0, 0.0);
        while speed_1 > speed_2 {
            // Midpoint torque, trapezoid on the product: exact enough for 1e-6 of the energy.
            let clutch = torque(time + 0.5 * step);
            let before = speed_1 - speed_2;
            speed_1 += (drive_nm - clutch) / inertia_1 * step;
            speed_2 += (clutch - load_nm) / inertia_2 * step;
            let after = speed_1 - speed_2;
            let share = if after < 0.0 {
                before / (before - after)
            } else {
                1.0
            };
            energy += clutch * 0.5 * (before + after.max(0.0)) * step * share;
            time += step * share;
        }
        (time, energy)
    }

    #[test]
    fn textbook_lock_up() {
        // Source, from memory: Shigley, "Energy Considerations". 0.5 and 2 kg·m², 150 to
        // 50 rad/s, 120 N·m: 0.33333 s, 2000 J, 70 rad/s.
        near(lock_up_time(0.5, 2.0, 100.0, 120.0), 0.33333, 1e-5);
        near(lock_up_energy(0.5, 2.0, 100.0), 2000.0, 1e-9);
        near(common_speed(0.5, 150.0, 2.0, 50.0), 70.0, 1e-12);
        // Published inputs, derived result: discs 4 and 2 kg·m², 60 rpm and 0: 40 rpm, 26.319 J.
        near(common_speed(4.0, 60.0, 2.0, 0.0), 40.0, 1e-12);
        near(
            lock_up_energy(4.0, 2.0, 60.0 * std::f64::consts::TAU / 60.0),
            26.319,
            1e-3,
        );
    }

    #[test]
    fn energy_does_not_depend_on_the_shape_of_the_torque() {
        // Source: derived. Constant 120; ramp 300 t; 100·(1 + 0.8 sin 30 t): 2000 J each.
        for (torque, time) in [
            (Box::new(|_: f64| 120.0) as Box<dyn Fn(f64) -> f64>, 0.3333),
            (Box::new(|t: f64| 300.0 * t), 0.5164),
            (
                Box::new(|t: f64| 100.0 * (1.0 + 0.8 * (30.0 * t).sin())),
                0.3915,
            ),
        ] {
            let (got_time, got_energy) = integrate(torque, 0.0, 0.0);
            near(got_time, time, 1e-4);
            near(got_energy / 2000.0, 1.0, 1e-5);
        }
    }

    #[test]
    fn an_outside_torque_breaks_the_closed_form() {
        // Source: derived. +40 N·m in and 10 N·m of load, torque 120: 2790.7 J in 0.46512 s;
        // torque 240: 2330.1 J in 0.19417 s.
        for (torque, energy, time) in [(120.0, 2790.7, 0.46512), (240.0, 2330.1, 0.19417)] {
            let (got_time, got_energy) = integrate(|_| torque, 40.0, 10.0);
            near(got_time, time, 1e-4);
            near(got_energy, energy, 0.1);
        }
    }

    #[test]
    fn temperature_rises() {
        // Source, from memory: Shigley, "Temperature Rise". 2000 J, 1.2 kg, 500 J/kgK: 3.333 K.
        near(temperature_rise(2000.0, 1.2, 500.0), 3.333, 1e-3);
        // Source, from memory: Shigley, caliper example, in its own units: inertia
        // 289 lbf·in·s², 250 rpm, 9336 lbf·in to the Btu: 10.61 Btu into a disc of
        // 5.980 lbm at 0.108 Btu/(lbm·°F): 16.43 °F.
        let speed: f64 = 250.0 * std::f64::consts::TAU / 60.0;
        let btu = 289.0 * speed.powi(2) / 2.0 / 9336.0;
        near(btu, 10.61, 0.01);
        let disc_lbm = std::f64::consts::PI * 6.0_f64.powi(2) / 4.0 * 0.75 * 0.282;
        near(disc_lbm, 5.980, 1e-3);
        near(temperature_rise(btu, disc_lbm, 0.108), 16.43, 0.02);
        // Source, from memory: 12 K every 60 s with τ 600 s settles at 126.10 K, valley 114.10.
        near(repeated_peak(12.0, 60.0, 600.0), 126.10, 0.01);
        near(repeated_peak(12.0, 60.0, 600.0) - 12.0, 114.10, 0.01);
    }
}
