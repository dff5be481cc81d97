//! What a bend alone makes of the ratio, from the best witness there is.
//!
//! In: the windows and the vehicle. Out: for each window the part of ln(dR/dL) that its
//! bend explains, and whether it is straight. The yaw sensor is best; the front wheels
//! know it but for their own tyres; with neither, straight running is where windows crowd.

use super::calibration::Mode;
use super::kept::Kept;
use super::regression;
use super::shortest_third::{Crowd, shortest_third};
use super::window::Window;
use crate::basis::Basis;

/// Greatest share of the difference that a straight may ask for: a radius of some 500 m.
/// Source: none, engineering guess; closer to straight weighs more anyway.
const STRAIGHT_SHARE: f64 = 0.003;

/// Share of the windows that must have the witness before it is relied on.
const LEAST_SHARE: f64 = 0.5;

/// Yaw bias of a sensor that was not seen standing: its deviation, rad/s (0.3 deg/s), and
/// the greatest that is believed (1 deg/s). Source: none, engineering guess.
const UNKNOWN_BIAS_SD: f64 = 0.3 * RAD_PER_DEG;
const GREATEST_BIAS: f64 = RAD_PER_DEG;

/// How well a bias seen at standstill holds for the drive, rad/s (0.01 deg/s), and one
/// seen where the car ran straightest (0.02 deg/s). Source: none, engineering guess.
const STANDING_BIAS_SD: f64 = 0.01 * RAD_PER_DEG;
const CROWD_BIAS_SD: f64 = 0.02 * RAD_PER_DEG;

const RAD_PER_DEG: f64 = std::f64::consts::PI / 180.0;

/// Length of the blocks that are resampled, km: neighbours in a block err alike.
const BLOCK_KM: f64 = 2.0;

/// The witness of bends.
#[derive(Clone, Copy, Debug)]
pub struct Geometry {
    pub mode: Mode,
    /// Rear track, m, or rear over front track.
    factor: f64,
    /// Yaw bias, rad/s, or what the front wheels show straight.
    pub offset: f64,
    pub offset_sd: f64,
}

impl Geometry {
    /// The best witness that these windows of the drive have.
    pub fn choose(kept: &Kept, windows: &[Window], basis: &Basis) -> Geometry {
        let n_least = (LEAST_SHARE * windows.len() as f64).max(1.0);
        let with = |has: fn(&Window) -> bool| -> Vec<&Window> {
            windows.iter().filter(|window| has(window)).collect()
        };
        let yawed = with(Window::has_yaw);
        if let Some(track) = basis.track_rear_m.filter(|_| yawed.len() as f64 >= n_least) {
            let (offset, offset_sd) = yaw_bias(kept, &yawed);
            return Geometry {
                mode: Mode::YawRegression,
                factor: track,
                offset,
                offset_sd,
            };
        }
        let fronted = with(Window::has_front);
        if let (Some(rear), Some(front), Some(crowd)) = (
            basis.track_rear_m,
            basis.track_front_m,
            crowd_of(&fronted, Window::front_ratio_log).filter(|_| fronted.len() as f64 >= n_least),
        ) {
            return Geometry {
                mode: Mode::FrontWheels,
                factor: rear / front,
                offset: crowd.middle,
                offset_sd: crowd.sd,
            };
        }
        Geometry {
            mode: Mode::ShortestThird,
            factor: 0.0,
            offset: 0.0,
            offset_sd: 0.0,
        }
    }

    /// The same with the offset that was solved for.
    pub fn with_offset(self, offset: f64) -> Geometry {
        Geometry { offset, ..self }
    }

    /// What the bend of a window explains of its ratio; `None` where the witness is missing.
    pub fn share(&self, window: &Window) -> Option<f64> {
        match self.mode {
            Mode::YawRegression => window.has_yaw().then(|| {
                let heading = window.heading - self.offset * window.seconds;
                self.factor * heading / window.distance_m()
            }),
            Mode::FrontWheels => window
                .has_front()
                .then(|| self.factor * (window.front_ratio_log() - self.offset)),
            Mode::ShortestThird => Some(0.0),
        }
    }

    /// How the share moves with the offset.
    pub fn per_offset(&self, window: &Window) -> f64 {
        match self.mode {
            Mode::YawRegression => self.factor * window.seconds / window.distance_m(),
            Mode::FrontWheels => self.factor,
            Mode::ShortestThird => 0.0,
        }
    }

    /// Track or ratio of tracks as stated.
    pub fn factor(&self) -> f64 {
        self.factor
    }
}

/// Whether the share wavers too much in a window for a straight: bends to both sides
/// cancel in the mean, not in what the preload does. Only the yaw sensor is quiet enough
/// to tell.
pub fn is_straight_throughout(geometry: &Geometry, window: &Window) -> bool {
    geometry.mode != Mode::YawRegression
        || window
            .bend
            .is_none_or(|(low, high)| high - low <= 2.0 * STRAIGHT_SHARE)
}

/// Whether a share is that of a straight.
pub fn is_straight(share: f64) -> bool {
    share.abs() <= STRAIGHT_SHARE
}

/// Blocks of road of the windows, numbered from 0 without holes.
pub fn blocks<'a>(windows: impl Iterator<Item = &'a Window>) -> Vec<u32> {
    regression::blocks(windows.map(|window| (window.start_km / BLOCK_KM).floor()))
}

fn crowd_of(windows: &[&Window], value: fn(&Window) -> f64) -> Option<Crowd> {
    let values: Vec<f64> = windows.iter().map(|window| value(window)).collect();
    shortest_third(&values, &blocks(windows.iter().copied()))
}

/// The yaw bias before any regression, and its deviation.
fn yaw_bias(kept: &Kept, yawed: &[&Window]) -> (f64, f64) {
    if let Some((bias, _)) = kept.standing_yaw() {
        let rounding = kept.yaw_step / 12.0_f64.sqrt();
        return (bias, STANDING_BIAS_SD.hypot(rounding));
    }
    match crowd_of(yawed, |window| window.heading / window.seconds) {
        Some(crowd) if crowd.middle.abs() <= GREATEST_BIAS => {
            (crowd.middle, crowd.sd.hypot(CROWD_BIAS_SD))
        }
        _ => (0.0, UNKNOWN_BIAS_SD),
    }
}
