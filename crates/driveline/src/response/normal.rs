//! Brings times to one oil temperature and one supply voltage, to compare like with like.
//!
//! In: times with oil temperature and supply voltage. Out: how they change with both,
//! learned where the events are spread enough, else by default; and times as they would be
//! 60 °C, or any temperature from [`COLD_BELOW_C`] on, and [`NORMAL_SUPPLY_V`]. It refuses a
//! time without temperature or voltage.

/// Supply voltage times are brought to, V. Engineering default.
pub const NORMAL_SUPPLY_V: f64 = 13.5;
/// Below this oil temperature times grow, °C. Engineering default.
pub const COLD_BELOW_C: f64 = 20.0;
/// Growth per K below [`COLD_BELOW_C`], as a share. Engineering default.
pub const GROWTH_PER_K: f64 = 0.01;
/// Times go with (13.5 V / supply) to this power. Engineering default.
pub const VOLTAGE_POWER: f64 = 1.0;

/// A slope is learned from so many events. Source: common practice, no source.
pub const LEARNED_FROM: usize = 10;
/// And where oil temperatures below [`COLD_BELOW_C`] are spread over so much, K, from the
/// first to the ninth tenth. Source: none, engineering guess: 10 % of time by default.
pub const LEAST_COLD_SPREAD_K: f64 = 10.0;
/// And supply voltages over so much, V. Source: none, engineering guess: 7 % of time.
pub const LEAST_VOLTAGE_SPREAD_V: f64 = 1.0;

/// A time and where it was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The time, s.
    pub time_s: f64,
    /// Oil temperature, °C.
    pub oil_c: f64,
    /// Supply voltage, V.
    pub supply_v: f64,
}

/// How times change: t = t₀·(1 + g·max(0, 20 °C − T))·(13.5 V/U)^p.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slopes {
    /// Growth g per K below [`COLD_BELOW_C`], as a share.
    pub growth_per_k: f64,
    /// It was learned from the events.
    pub growth_is_learned: bool,
    /// Power p of the voltage.
    pub voltage_power: f64,
    /// It was learned from the events.
    pub power_is_learned: bool,
}

impl Default for Slopes {
    fn default() -> Slopes {
        Slopes {
            growth_per_k: GROWTH_PER_K,
            growth_is_learned: false,
            voltage_power: VOLTAGE_POWER,
            power_is_learned: false,
        }
    }
}

fn cold_k(oil_c: f64) -> f64 {
    (COLD_BELOW_C - oil_c).max(0.0)
}

impl Slopes {
    fn cold_factor(&self, measured: &Measured) -> f64 {
        1.0 + self.growth_per_k * cold_k(measured.oil_c)
    }

    fn voltage_factor(&self, measured: &Measured) -> f64 {
        (NORMAL_SUPPLY_V / measured.supply_v).powf(self.voltage_power)
    }

    /// The time as it would be with warm oil and at [`NORMAL_SUPPLY_V`], s; `None` where
    /// the voltage is not above 0.
    pub fn normal_s(&self, measured: &Measured) -> Option<f64> {
        (measured.supply_v > 0.0)
            .then(|| measured.time_s / self.cold_factor(measured) / self.voltage_factor(measured))
    }

    /// Slopes learned from the events as far as they are spread enough, else the default.
    pub fn learned(events: &[Measured]) -> Slopes {
        let events: Vec<Measured> = events
            .iter()
            .copied()
            .filter(|event| event.time_s > 0.0 && event.supply_v > 0.0)
            .collect();
        let mut slopes = Slopes::default();
        if events.len() < LEARNED_FROM {
            return slopes;
        }
        let spread = |of: fn(&Measured) -> f64| {
            let mut values: Vec<f64> = events.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            values[values.len() * 9 / 10] - values[values.len() / 10]
        };
        let learns_growth = spread(|event| cold_k(event.oil_c)) >= LEAST_COLD_SPREAD_K;
        let learns_power = spread(|event| event.supply_v) >= LEAST_VOLTAGE_SPREAD_V;
        // Each with the other taken out, in turn; where one is pinned a single round is all.
        for _ in 0..ROUNDS {
            if learns_growth {
                let line = line(events.iter().map(|event| {
                    let time_s = event.time_s / slopes.voltage_factor(event);
                    (cold_k(event.oil_c), time_s)
                }));
                if let Some((at_warm_s, per_k)) = line.filter(|line| line.0 > 0.0) {
                    // Oil that thickens never makes it quicker: what says so is chance.
                    slopes.growth_per_k = (per_k / at_warm_s).max(0.0);
                    slopes.growth_is_learned = true;
                }
            }
            if learns_power {
                let line = line(events.iter().map(|event| {
                    let time_s = event.time_s / slopes.cold_factor(event);
                    ((NORMAL_SUPPLY_V / event.supply_v).ln(), time_s.ln())
                }));
                if let Some((_, power)) = line {
                    slopes.voltage_power = power;
                    slopes.power_is_learned = true;
                }
            }
        }
        slopes
    }
}

/// Rounds of learning; 30 leave less than a thousandth where both are well spread.
const ROUNDS: usize = 30;

/// Value at 0 and slope of the line of least squares; `None` where x does not spread.
fn line(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<(f64, f64)> {
    let (mut n, mut x_sum, mut y_sum) = (0.0, 0.0, 0.0);
    for (x, y) in points.clone() {
        n += 1.0;
        x_sum += x;
        y_sum += y;
    }
    let (x_mean, y_mean) = (x_sum / n, y_sum / n);
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in points {
        xx += (x - x_mean) * (x - x_mean);
        xy += (x - x_mean) * (y - y_mean);
    }
    (xx > 0.0).then(|| (y_mean - xy / xx * x_mean, xy / xx))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(base_s: f64, growth_per_k: f64, power: f64, oil_c: f64, supply_v: f64) -> Measured {
        let cold = 1.0 + growth_per_k * (20.0 - oil_c).max(0.0);
        Measured {
            time_s: base_s * cold * (13.5 / supply_v).powf(power),
            oil_c,
            supply_v,
        }
    }

    #[test]
    fn default_slopes() {
        // By hand: 0.3 s at 0 °C and 12 V: 0.3/1.2·12/13.5 = 0.2222 s.
        let measured = Measured {
            time_s: 0.3,
            oil_c: 0.0,
            supply_v: 12.0,
        };
        let got = Slopes::default().normal_s(&measured).unwrap();
        assert!((got - 0.222_222).abs() < 1e-6, "{got}");
        // Warmer than 20 °C nothing changes.
        let warm = Measured {
            oil_c: 95.0,
            supply_v: 13.5,
            ..measured
        };
        assert_eq!(Slopes::default().normal_s(&warm), Some(0.3));
        let dead = Measured {
            supply_v: 0.0,
            ..measured
        };
        assert_eq!(Slopes::default().normal_s(&dead), None);
    }

    #[test]
    fn slopes_are_learned_where_events_are_spread() {
        // Warms up while the voltage wanders: both at once.
        let spread: Vec<Measured> = (0..40)
            .map(|n| {
                let oil_c = -15.0 + f64::from(n);
                let supply_v = 11.5 + 0.6 * f64::from(n % 5);
                event(0.2, 0.025, 1.6, oil_c, supply_v)
            })
            .collect();
        let got = Slopes::learned(&spread);
        assert!((got.growth_per_k - 0.025).abs() < 2e-4, "{got:?}");
        assert!((got.voltage_power - 1.6).abs() < 0.02, "{got:?}");
        assert!(got.growth_is_learned && got.power_is_learned);
        // Too few, or all alike: the default.
        assert_eq!(Slopes::learned(&spread[..9]), Slopes::default());
        let alike = vec![event(0.2, 0.025, 1.6, 70.0, 13.8); 40];
        assert_eq!(Slopes::learned(&alike), Slopes::default());
    }
}
