//! How fast the unit cooled, from the readings alone.
//!
//! In: readings while the pack makes no heat, the air. Out: the time constant of
//! T = air + A·exp(−t/τ) with its standard deviation. It needs no thermal model. It refuses
//! less than five minutes, and less of a fall than parts a curve from a line of sensor steps.
//! While the car moves its gears go on heating, which makes τ look longer: the mean speed
//! stands beside it, and only like speeds compare.

use super::heat_series::{HeatSeries, Readings};
use crate::refusal::Refusal;

/// Shortest decay that counts, s. Source: common practice.
const LEAST_S: f64 = 300.0;

/// Readings nearer to the air than this are left out, and a decay must fall by at least this, K.
/// Source: none, engineering guess: some steps of a sensor of 1 °C.
const LEAST_K: f64 = 5.0;

/// Pack heat that counts as none, W. Source: none, engineering guess: 30 W hold a unit 1 K
/// above the air while it moves.
const NO_HEAT_W: f64 = 30.0;

/// Time without heat after which pack and oil are one, s: five time constants.
const EQUAL_AFTER_S: f64 = 60.0;

/// A gap in readings or heat that ends a decay, s.
const LONGEST_GAP_S: f64 = 10.0;

/// A cooling curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decay {
    /// Time constant, s.
    pub time_constant_s: f64,
    /// Its standard deviation from the scatter of the readings, s.
    pub sd_s: f64,
    /// When it began, s on the vehicle's clock.
    pub start_s: f64,
    /// How long it was watched, s.
    pub seconds: f64,
    /// How far it fell, K.
    pub fell_k: f64,
    /// Mean road speed, m/s.
    pub mean_speed_m_per_s: Option<f64>,
}

/// Time to cool from one temperature to another with a time constant, s: τ·ln((from − air)/(to −
/// air)). `None` where the target is not above the air or not below the start.
pub fn time_to_cool_s(time_constant_s: f64, from_c: f64, to_c: f64, ambient_c: f64) -> Option<f64> {
    let is_possible = ambient_c < to_c && to_c <= from_c;
    is_possible.then(|| time_constant_s * ((from_c - ambient_c) / (to_c - ambient_c)).ln())
}

/// Fits a decay to times in s and temperatures in °C, in air of `ambient_c`.
///
/// A straight line through ln(T − air), each point weighted by (T − air)² because the
/// scatter of the sensor is one in T and not in its logarithm.
pub fn decay_of(points: &[(f64, f64)], ambient_c: f64) -> Result<Decay, Refusal> {
    let above: Vec<(f64, f64)> = points
        .iter()
        .map(|(time, celsius)| (*time, celsius - ambient_c))
        .filter(|(_, above)| *above > LEAST_K)
        .collect();
    let (Some((start_s, first)), Some((end_s, last))) = (above.first(), above.last()) else {
        return Err(Refusal::NeverWarm { needed_k: LEAST_K });
    };
    let seconds = end_s - start_s;
    if seconds < LEAST_S {
        return Err(Refusal::ShortCooling {
            found_s: seconds,
            needed_s: LEAST_S,
        });
    }
    if first - last < LEAST_K {
        return Err(Refusal::FellLittle {
            found_k: first - last,
            needed_k: LEAST_K,
        });
    }
    let [mut w, mut t, mut y] = [0.0; 3];
    for (time, above) in &above {
        let weight = above * above;
        w += weight;
        t += weight * (time - start_s);
        y += weight * above.ln();
    }
    let (mean_t, mean_y) = (t / w, y / w);
    let [mut tt, mut ty, mut yy] = [0.0; 3];
    for (time, above) in &above {
        let weight = above * above;
        let (dt, dy) = (time - start_s - mean_t, above.ln() - mean_y);
        tt += weight * dt * dt;
        ty += weight * dt * dy;
        yy += weight * dy * dy;
    }
    let slope = ty / tt;
    if slope >= 0.0 {
        return Err(Refusal::NotCooling);
    }
    let scatter = (yy - slope * ty).max(0.0) / (above.len() as f64 - 2.0).max(1.0);
    let slope_sd = (scatter / tt).sqrt();
    Ok(Decay {
        time_constant_s: -1.0 / slope,
        sd_s: slope_sd / (slope * slope),
        start_s: *start_s,
        seconds,
        fell_k: first - last,
        mean_speed_m_per_s: None,
    })
}

/// The longest stretch of a drive in which the pack made no heat and the sensor fell, fitted.
pub fn longest_cooling(
    heat: &HeatSeries,
    sensor: &Readings,
    ambient_c: f64,
) -> Result<Decay, Refusal> {
    let heat = heat.with_open_bins();
    let width = heat.width_s();
    let mut longest: Option<(f64, f64, f64, f64)> = None;
    let mut now: Option<(f64, f64, f64, f64)> = None;
    for (index, bin) in heat.bins() {
        let start = *index as f64 * width;
        let is_quiet = bin.pack_known_s > 0.0 && bin.pack_j <= NO_HEAT_W * bin.pack_known_s;
        if !is_quiet {
            now = None;
            continue;
        }
        let (from, _, road_s, road_m) = match now {
            Some(so_far) if start - so_far.1 <= LONGEST_GAP_S => so_far,
            _ => (start, start, 0.0, 0.0),
        };
        let so_far = (
            from,
            start + width,
            road_s + bin.road_known_s,
            road_m + bin.road_m,
        );
        now = Some(so_far);
        if longest.is_none_or(|(from, until, _, _)| so_far.1 - so_far.0 > until - from) {
            longest = Some(so_far);
        }
    }
    let Some((from, until, road_s, road_m)) = longest else {
        return Err(Refusal::NeverWithoutHeat);
    };
    // The first of it belongs to pack and oil coming together.
    if until - from < EQUAL_AFTER_S + LEAST_S {
        return Err(Refusal::ShortWithoutHeat {
            found_s: until - from,
            needed_s: EQUAL_AFTER_S + LEAST_S,
        });
    }
    let points: Vec<(f64, f64)> = sensor
        .grid()
        .bins()
        .iter()
        .map(|(_, bin)| (bin.mean_s(), bin.mean_c()))
        .filter(|(time, _)| (from + EQUAL_AFTER_S..until).contains(time))
        .collect();
    let decay = decay_of(&points, ambient_c)?;
    Ok(Decay {
        mean_speed_m_per_s: (road_s > 0.0).then(|| road_m / road_s),
        ..decay
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{heat_of, readings_of};
    use super::*;

    #[test]
    fn golden_cool_down() {
        // Derived: 120 to 90 °C in air of 20 °C: 6·ln(100/70) = 2.1 min moving, 7.8 standing.
        let minutes = |tau: f64| time_to_cool_s(tau * 60.0, 120.0, 90.0, 20.0).unwrap() / 60.0;
        assert!((minutes(6.0) - 2.140).abs() < 1e-3);
        assert!((minutes(22.0) - 7.847).abs() < 1e-3);
        assert_eq!(time_to_cool_s(360.0, 120.0, 20.0, 20.0), None);
        assert_eq!(time_to_cool_s(360.0, 80.0, 90.0, 20.0), None);
    }

    #[test]
    fn a_decay_in_steps_gives_its_time_constant() {
        let points: Vec<(f64, f64)> = (0..900)
            .map(|index| {
                let time = f64::from(index);
                (time, (20.0 + 90.0 * (-time / 1320.0).exp()).round())
            })
            .collect();
        let decay = decay_of(&points, 20.0).unwrap();
        assert!(
            (decay.time_constant_s / 1320.0 - 1.0).abs() < 0.01,
            "{decay:?}"
        );
        assert!(decay.sd_s > 0.0 && decay.sd_s < 40.0, "{decay:?}");
    }

    #[test]
    fn short_flat_and_rising_are_refused() {
        let of = |seconds: i32, rate: f64| {
            let points: Vec<(f64, f64)> = (0..seconds)
                .map(|index| (f64::from(index), 80.0 + rate * f64::from(index)))
                .collect();
            decay_of(&points, 20.0).unwrap_err()
        };
        let short = of(200, -0.05);
        assert!(
            matches!(short, Refusal::ShortCooling { found_s, .. } if (found_s - 199.0).abs() < 1e-9),
            "{short:?}"
        );
        for (rate, fell_k) in [(-0.001, 0.599), (0.01, -5.99)] {
            let flat = of(600, rate);
            assert!(
                matches!(flat, Refusal::FellLittle { found_k, .. } if (found_k - fell_k).abs() < 1e-9),
                "{flat:?}"
            );
        }
        let never = decay_of(&[], 20.0).unwrap_err();
        assert_eq!(never, Refusal::NeverWarm { needed_k: 5.0 });
    }

    #[test]
    fn the_longest_quiet_stretch_is_found() {
        // Heat until 300 s, quiet until 1300 s, heat again.
        let heat = heat_of(1500.0, |time| {
            Some(if (300.0..1300.0).contains(&time) {
                0.0
            } else {
                2000.0
            })
        });
        let curve = |time: f64| match time {
            ..300.0 => 60.0 + 0.2 * time,
            ..1300.0 => 20.0 + 100.0 * (-(time - 300.0) / 800.0).exp(),
            _ => 70.0,
        };
        let sensor = readings_of(1500.0, 1.0, curve);
        let decay = longest_cooling(&heat, &sensor, 20.0).unwrap();
        assert!(
            (decay.time_constant_s / 800.0 - 1.0).abs() < 0.001,
            "{decay:?}"
        );
        assert!((decay.start_s - 360.0).abs() < 1.5, "{decay:?}");
        assert!((decay.mean_speed_m_per_s.unwrap() - 20.0).abs() < 0.1);
        let busy = heat_of(1500.0, |_| Some(2000.0));
        let refused = longest_cooling(&busy, &sensor, 20.0).unwrap_err();
        assert_eq!(refused, Refusal::NeverWithoutHeat);
        // Two minutes of quiet, in which the unit was hot: too short, and not "never hot".
        let brief = heat_of(1500.0, |time| {
            Some(if (300.0..420.0).contains(&time) {
                0.0
            } else {
                2000.0
            })
        });
        let refused = longest_cooling(&brief, &sensor, 20.0).unwrap_err();
        assert!(
            matches!(refused, Refusal::ShortWithoutHeat { found_s, .. } if (found_s - 120.0).abs() < 1.5),
            "{refused:?}"
        );
    }
}
