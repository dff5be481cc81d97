//! Drives made for the tests of this folder.

use halfshaft_model::Time;

use super::heat_series::{HeatSample, HeatSeries, Readings};

/// A drive at 20 m/s with 20 kW through the axle and a given pack heat at ten samples a
/// second; `None` is a gap.
pub fn heat_of(seconds: f64, pack_w: impl Fn(f64) -> Option<f64>) -> HeatSeries {
    let mut series = HeatSeries::default();
    let n_samples = (seconds * 10.0).round() as u32;
    for index in 0..n_samples {
        let time_s = 0.05 + 0.1 * f64::from(index);
        let Some(pack_power_w) = pack_w(time_s) else {
            continue;
        };
        series.push(&HeatSample {
            time: Time::from_seconds(time_s),
            seconds: 0.1,
            pack_power_w: Some(pack_power_w),
            axle_power_w: Some(20_000.0),
            case_speed_rad_per_s: Some(60.0),
            road_speed_m_per_s: Some(20.0),
        });
    }
    series
}

/// Readings every `period_s`.
pub fn readings_of(seconds: f64, period_s: f64, celsius: impl Fn(f64) -> f64) -> Readings {
    let mut readings = Readings::default();
    let n_readings = (seconds / period_s).round() as u32;
    for index in 0..n_readings {
        let time_s = period_s * f64::from(index);
        readings.push(Time::from_seconds(time_s), celsius(time_s));
    }
    readings
}

/// Numbers that look random and are the same everywhere (xorshift*).
pub struct Random(pub u64);

impl Random {
    /// Evenly in 0..1.
    pub fn even(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}
