//! What the car did since its oil temperature last changed.
//!
//! In: readings of the oil, rows of driving. Out: the distance, and how often the road speed swung:
//! each swing changes the heat of gears and churned oil by a multiple. It does not judge.

use halfshaft_model::Time;

use crate::part::{Came, Part, Passage};

/// Gathers while the drive goes by.
#[derive(Clone, Debug, Default)]
pub struct SinceOil {
    least_swing_m_per_s: f64,
    // What it reads, and since when.
    reads_c: Option<f64>,
    since: Time,
    metres: f64,
    n_swings: u32,
    // The swing going on: its direction, and how far it came, m/s.
    is_up: bool,
    farthest: Option<f64>,
}

impl SinceOil {
    /// Nothing seen yet.
    pub fn new(least_swing_m_per_s: f64) -> SinceOil {
        SinceOil {
            least_swing_m_per_s,
            ..SinceOil::default()
        }
    }

    /// Distance, m.
    pub fn metres(&self) -> f64 {
        self.metres
    }

    /// Swings of the road speed, up and down.
    pub fn n_swings(&self) -> u32 {
        self.n_swings
    }

    fn reads(&mut self, time: Time, celsius: f64) {
        if self.reads_c != Some(celsius) {
            *self = SinceOil {
                reads_c: Some(celsius),
                since: time,
                ..SinceOil::new(self.least_swing_m_per_s)
            };
        }
    }

    fn drives(&mut self, time: Time, seconds: f64, speed: f64) {
        // Readings run ahead of the rows.
        if time < self.since {
            return;
        }
        self.metres += speed * seconds;
        let farthest = self.farthest.get_or_insert(speed);
        let back = match self.is_up {
            true => *farthest - speed,
            false => speed - *farthest,
        };
        if back >= self.least_swing_m_per_s {
            (self.is_up, self.n_swings) = (!self.is_up, self.n_swings + 1);
        }
        if back < 0.0 || back >= self.least_swing_m_per_s {
            *farthest = speed;
        }
    }
}

impl Part for SinceOil {
    fn block(&mut self, came: &Came) {
        for reading in came.oil_believed() {
            self.reads(reading.time, reading.celsius);
        }
    }

    fn rows(&mut self, passage: &Passage) {
        for row in passage.rows {
            if let Some(speed) = row.road_speed {
                self.drives(row.time, row.seconds, speed);
            }
        }
    }
}

/// One that saw so much.
#[cfg(test)]
pub(crate) fn driven(metres: f64, n_swings: u32) -> SinceOil {
    SinceOil {
        metres,
        n_swings,
        ..SinceOil::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_and_swings_begin_anew_with_each_change_of_the_oil() {
        let mut since = SinceOil::new(8.0);
        let mut drive = |readings: &[(f64, f64)], speeds: &[f64]| {
            for &(time, celsius) in readings {
                since.reads(Time::from_seconds(time), celsius);
            }
            for (second, speed) in speeds.iter().enumerate() {
                since.drives(Time::from_seconds(second as f64), 1.0, *speed);
            }
            (since.metres(), since.n_swings())
        };
        // Up by 8, down by 8, up by less.
        assert_eq!(
            drive(&[(0.0, 20.0)], &[0.0, 4.0, 8.0, 7.5, 0.0, 7.5]),
            (27.0, 2)
        );
        // The same number again is no change; another one is, and rows before it do not count.
        assert_eq!(drive(&[(6.0, 20.0)], &[]), (27.0, 2));
        assert_eq!(
            drive(&[(4.0, 21.0)], &[9.0, 9.0, 9.0, 9.0, 1.0, 9.0]),
            (10.0, 1)
        );
    }
}
