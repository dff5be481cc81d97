//! A regular rate, and the times of its grid.

use std::fmt;

use halfshaft_model::Time;

/// Slowest and fastest rate, Hz. Buses do not speak faster, and a slower grid than one row
/// in a quarter of an hour shows nothing.
const RANGE_HZ: (f64, f64) = (0.001, 1000.0);

/// A rate in whole millionths of a hertz.
///
/// Invariant: within [`RANGE_HZ`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rate {
    micro_hz: i128,
}

/// Nanoseconds of a period times millionths of a hertz of its rate.
const NS_MICRO_HZ: i128 = 1_000_000_000_000_000;

impl Rate {
    /// The rate nearest to `hz`; an error in words when it is out of range.
    pub fn new(hz: f64) -> Result<Rate, String> {
        if !(RANGE_HZ.0..=RANGE_HZ.1).contains(&hz) {
            let (least, most) = RANGE_HZ;
            return Err(format!("expected a rate from {least} to {most} Hz"));
        }
        let micro_hz = (hz * 1e6).round() as i128;
        Ok(Rate { micro_hz })
    }

    /// Time of grid point `index`, to the nanosecond.
    pub(crate) fn time(self, index: i64) -> Time {
        let ns = (i128::from(index) * NS_MICRO_HZ + self.micro_hz / 2) / self.micro_hz;
        Time(i64::try_from(ns).unwrap_or(i64::MAX))
    }

    /// The first grid point at or after `time`.
    pub(crate) fn first_from(self, time: Time) -> i64 {
        let index = i128::from(time.0) * self.micro_hz / NS_MICRO_HZ;
        let index = i64::try_from(index).unwrap_or(i64::MAX);
        // Rounding of the times may have moved it past by one.
        let from = index.saturating_sub(1).max(0);
        (from..=index.saturating_add(1))
            .find(|&index| self.time(index) >= time)
            .unwrap_or(index.saturating_add(1))
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.micro_hz as f64 / 1e6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_do_not_drift() {
        let rate = Rate::new(50.0).unwrap();
        assert_eq!(rate.time(3), Time(60_000_000));
        assert_eq!(rate.time(50 * 86_400), Time(86_400_000_000_000));
        // A third of a second, to the nearest nanosecond; three of them are a second again.
        let rate = Rate::new(3.0).unwrap();
        let times: Vec<i64> = (0..4).map(|index| rate.time(index).0).collect();
        assert_eq!(times, [0, 333_333_333, 666_666_667, 1_000_000_000]);
        assert_eq!(rate.to_string(), "3");
    }

    #[test]
    fn finds_the_first_point_from_a_time() {
        for hz in [0.001, 3.0, 33.3, 50.0, 1000.0] {
            let rate = Rate::new(hz).unwrap();
            for index in [0, 1, 2, 1000, 8_765_432] {
                let time = rate.time(index);
                assert_eq!(rate.first_from(time), index, "{hz} Hz");
                assert_eq!(rate.first_from(Time(time.0 + 1)), index + 1, "{hz} Hz");
            }
        }
    }

    #[test]
    fn refuses_what_is_no_rate() {
        for hz in [0.0, -1.0, 1e-9, 1001.0, f64::NAN, f64::INFINITY] {
            assert!(Rate::new(hz).is_err(), "{hz}");
        }
    }
}
