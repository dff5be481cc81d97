//! The temperatures over a whole drive for one set of values.
//!
//! In: the drive laid out, values of the unknowns. Out: each stretch's end to whoever looks.

use halfshaft_model::Site;

use super::pack_excess::at_time;
use super::prepared::{Prepared, Stretch};
use super::step::{Load, Temperatures};
use super::unknowns::Values;

/// What a run shows of one stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// The temperatures at its end.
    pub end: Temperatures,
    /// The hottest the pack was in it, °C.
    pub pack_peak_c: f64,
    /// The hottest the oil was in it, °C.
    pub oil_peak_c: f64,
    /// What the sensor says at its start and its end, °C.
    pub sensor_c: (f64, f64),
}

/// The load of a stretch for a set of values.
pub fn load(stretch: &Stretch, values: &Values) -> Load {
    Load {
        pack_w: stretch.pack_w * values.pack_heat,
        gear_w: values
            .parameters
            .gear_heat_w(stretch.axle_w, stretch.case_squared),
        air_flow: stretch.air_flow,
        ambient_c: stretch.ambient_c + values.air_offset_k,
    }
}

/// Runs the drive and shows every stretch with its index. `site` is where the sensor sits.
pub fn run(prepared: &Prepared, values: &Values, site: Site, mut look: impl FnMut(usize, &Seen)) {
    let parameters = &values.parameters;
    let at_sensor = |now: &Temperatures| match site {
        Site::Housing => now.housing_c,
        Site::Oil | Site::ModelledByCar => now.oil_c,
    };
    let mut now = values.start;
    let mut sensor_c = at_sensor(&now);
    // One stretch is as long as the next, but for gaps.
    let mut faded = (0.0, 0.0);
    for (index, stretch) in prepared.stretches.iter().enumerate() {
        if let Some(reading_c) = stretch.starts_anew_c {
            // Pack and oil are one by then; the housing cooled as the model says.
            match site {
                Site::Housing => {
                    let over = now.oil_c - now.housing_c;
                    now.housing_c = reading_c;
                    now.oil_c = reading_c + over;
                }
                Site::Oil | Site::ModelledByCar => now.oil_c = reading_c,
            }
            now.pack_c = now.oil_c;
            sensor_c = reading_c;
        }
        let before = now;
        now.step(parameters, &load(stretch, values), stretch.seconds);
        if faded.0 != stretch.seconds {
            faded = (stretch.seconds, fading(stretch.seconds, values.sensor_s));
        }
        // Exact for a temperature that runs straight over the stretch.
        let (from, to) = (at_sensor(&before), at_sensor(&now));
        let behind = (to - from) / stretch.seconds * values.sensor_s;
        let sensor_end_c = to - behind + (sensor_c - from + behind) * faded.1;
        let surplus_k = at_time(&stretch.surplus_j, parameters.pack_time_s()) * values.pack_heat
            / parameters.pack_j_per_k;
        look(
            index,
            &Seen {
                end: now,
                pack_peak_c: before.pack_c.max(now.pack_c) + surplus_k,
                oil_peak_c: before.oil_c.max(now.oil_c),
                sensor_c: (sensor_c, sensor_end_c),
            },
        );
        sensor_c = sensor_end_c;
    }
}

/// What is left of a difference after a time, 0 for a sensor that takes none.
fn fading(seconds: f64, sensor_s: f64) -> f64 {
    if sensor_s > 0.0 {
        (-seconds / sensor_s).exp()
    } else {
        0.0
    }
}

/// What the sensor should have said at every observation, °C.
pub fn sensor_at_observations(
    prepared: &Prepared,
    values: &Values,
    site: Site,
    modelled: &mut Vec<f64>,
) {
    modelled.clear();
    let observations = &prepared.observations;
    run(prepared, values, site, |index, seen| {
        while let Some(observation) = observations.get(modelled.len())
            && observation.stretch == index
        {
            let (from, to) = seen.sensor_c;
            modelled.push(from + (to - from) * observation.share);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::super::parameters::ThermalParameters;
    use super::super::testing::{heat_of, readings_of};
    use super::*;

    fn values() -> Values {
        Values {
            parameters: ThermalParameters::default(),
            pack_heat: 1.0,
            sensor_s: 4.0,
            air_offset_k: 0.0,
            start: Temperatures::all(20.0),
        }
    }

    fn peak(prepared: &Prepared) -> f64 {
        let mut peak = f64::NEG_INFINITY;
        run(prepared, &values(), Site::Oil, |_, seen| {
            peak = peak.max(seen.pack_peak_c);
        });
        peak
    }

    #[test]
    fn wide_bins_show_the_peak_of_narrow_ones() {
        // Bursts of 9 kW for 2 s on a warm-up: wide bins alone would show it 2 K and more too cool.
        let burst = |time: f64| Some(if time % 60.0 < 2.0 { 9000.0 } else { 300.0 });
        let heat = heat_of(1800.0, burst).with_open_bins();
        let none = readings_of(0.0, 1.0, |_| 0.0);
        let of = |width_s: f64| {
            let grid = heat.coarse(width_s, 10_000);
            Prepared::new(&grid, none.grid(), &[(0.0, 20.0)])
        };
        let fine = peak(&of(0.5));
        for width_s in [2.0, 8.0, 16.0] {
            let mut wide = of(width_s);
            let got = peak(&wide);
            assert!(
                (got - fine).abs() < if width_s > 8.0 { 1.5 } else { 0.5 },
                "{width_s} s: {got} for {fine}"
            );
            for stretch in &mut wide.stretches {
                stretch.surplus_j = Default::default();
            }
            if width_s >= 8.0 {
                assert!(peak(&wide) < fine - 2.0, "the test shows nothing");
            }
        }
    }

    #[test]
    fn after_a_long_gap_pack_and_oil_start_from_the_reading() {
        // Hard work, five minutes of nothing, and a reading of 70 °C where the model has less.
        let heat = heat_of(700.0, |time| {
            (!(200.0..500.0).contains(&time)).then_some(if time < 200.0 { 4000.0 } else { 0.0 })
        });
        let sensor = readings_of(700.0, 1.0, |time| if time < 500.0 { 40.0 } else { 70.0 });
        let prepared = Prepared::new(&heat.with_open_bins(), sensor.grid(), &[(0.0, 20.0)]);
        for (site, oil_c) in [(Site::Oil, 70.0), (Site::Housing, 73.0)] {
            let (mut before, mut after) = (values().start, None);
            run(&prepared, &values(), site, |index, seen| {
                let stretch = &prepared.stretches[index];
                if stretch.is_gap {
                    before = seen.end;
                } else if stretch.start_s >= 500.0 && after.is_none() {
                    after = Some(*seen);
                }
            });
            let after = after.unwrap();
            assert!(before.oil_c < 66.0, "{before:?}");
            assert!((after.end.oil_c - oil_c).abs() < 3.0, "{after:?}");
            assert!(
                (after.end.pack_c - after.end.oil_c).abs() < 0.5,
                "{after:?}"
            );
            assert!((after.sensor_c.0 - 70.0).abs() < 1e-9, "{after:?}");
        }
    }

    #[test]
    fn the_sensor_trails_a_ramp_by_its_time_constant() {
        // Housing and oil held by huge capacities but for the oil's steady heating.
        let parameters = ThermalParameters {
            oil_j_per_k: 1e6,
            pack_to_oil_w_per_k: 1e-6,
            oil_to_housing_w_per_k: 1e-6,
            churn_w_s2: 1.0,
            gear_loss_share: 0.0,
            ..ThermalParameters::default()
        };
        let heat = heat_of(200.0, |_| Some(0.0));
        let none = readings_of(0.0, 1.0, |_| 0.0);
        let mut prepared = Prepared::new(&heat.with_open_bins(), none.grid(), &[(0.0, 20.0)]);
        for stretch in &mut prepared.stretches {
            stretch.case_squared = 1e5;
        }
        let mut latest = (0.0, 0.0);
        let values = Values {
            parameters,
            ..values()
        };
        run(&prepared, &values, Site::Oil, |_, seen| {
            latest = (seen.end.oil_c, seen.sensor_c.1);
        });
        // 100 kW into 1 MJ/K are 0.1 K/s; 4 s behind are 0.4 K.
        assert!((latest.0 - 40.0).abs() < 1e-3, "{latest:?}");
        assert!((latest.0 - latest.1 - 0.4).abs() < 1e-3, "{latest:?}");
    }
}
