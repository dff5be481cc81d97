//! Measured channels to derived ones: axle speed difference, slip, torque, heat.
//!
//! In: blocks of columns on the vehicle's clock. Out: [`Row`]s in order of time, events of
//! the command, the noise floor and the tyre ratio. Works block by block with carried
//! state; how the blocks are cut changes nothing in what comes out. Pure: no files, no
//! clock, no printing. It does not judge: `health` does.
//!
//! ```text
//! Block -> align -> smooth -> Row        (track: one channel; derive: the physics)
//!       -> engagement -> events
//!       -> response -> how quickly the clutch answers each edge of the command
//! ```

pub mod align;
pub mod basis;
pub mod derive;
pub mod doubt;
pub mod engagement;
pub mod heat_by_floor;
pub mod median;
pub mod noise_floor;
mod octaves;
pub mod period;
pub mod random;
pub mod response;
pub mod row;
pub mod smooth;
pub mod thermal;
pub mod track;
pub mod tyre_ratio;

use std::collections::VecDeque;

use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

use crate::align::{Aligned, Aligner};
pub use crate::basis::Basis;
use crate::derive::axle_speed_difference::{
    case_speed, kinematic_difference, raw_difference, road_referred_difference,
    yaw_rate_from_wheels,
};
use crate::derive::openness::openness;
pub use crate::engagement::{CommandEvent, CommandTime, CommandWatch};
pub use crate::heat_by_floor::{Evidence, HeatByFloor, HeatNearFloor, SIGNIFICANT_SDS};
use crate::noise_floor::NoiseFloor;
pub use crate::period::Period;
pub use crate::row::Row;
use crate::smooth::{DEFINITION, Slipping, Smoothed, Smoother};
pub use crate::tyre_ratio::{
    Calibration, CommandCollapse, Mode, RatioEstimate, RatioPoint, RatioStep,
};
use crate::tyre_ratio::{Rolling, TyreRatio};

/// Time constant with which the yaw sensor's bias is learned at standstill, s.
/// Source: none, engineering guess; a stop of a few seconds settles it.
const YAW_BIAS_TIME_S: f64 = 2.0;

/// A rear wheel that is faster than the other by this share and this much on top, rad/s,
/// spins: the slower one then tells the road speed. Source: none, engineering guess.
const SPINS_FROM: (f64, f64) = (0.15, 3.0);

/// Tyre mismatch that may be there as long as it has not been learned, as a share of the
/// wheel speed. Source: none, engineering guess: tyres of one size, unevenly worn.
pub const MISMATCH_NOT_LEARNED: f64 = 0.01;

/// How much more than a longer one a mean shorter than that of definition must stand above
/// the noise before it gives heat its sign. Source: none, engineering guess: it follows a
/// wheel that hops and slips to and fro within 0.2 s, and leaves all else to the longer means.
const SHARP_CAUTION: f64 = 5.0 / 3.0;

/// Derives rows from blocks.
#[derive(Clone, Debug)]
pub struct Driveline {
    basis: Basis,
    aligner: Aligner,
    smoother: Smoother,
    floor: NoiseFloor,
    ratio: TyreRatio,
    yaw_bias: f64,
    yaw_bias_weight_s: f64,
    latest: Option<Aligned>,
    latest_wheel_sample: Option<Time>,
    // Cuts of the clock that the samples have not reached yet.
    cuts: VecDeque<Time>,
    // Kept between calls for their memory only.
    aligned: Vec<Aligned>,
    smoothed: Vec<Smoothed>,
}

impl Driveline {
    /// A driveline for the vehicle and the channels of a map.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Driveline {
        Driveline {
            basis: Basis::new(vehicle, channels),
            aligner: Aligner::new(vehicle, channels),
            smoother: Smoother::default(),
            floor: NoiseFloor::default(),
            ratio: TyreRatio::new(
                channels
                    .iter()
                    .find(|channel| channel.name == "yaw.rate")
                    .and_then(|channel| channel.step)
                    .unwrap_or(0.0),
            ),
            yaw_bias: 0.0,
            yaw_bias_weight_s: 0.0,
            latest: None,
            latest_wheel_sample: None,
            cuts: VecDeque::new(),
            aligned: Vec::new(),
            smoothed: Vec::new(),
        }
    }

    /// What the derivation rests on.
    pub fn basis(&self) -> &Basis {
        &self.basis
    }

    /// How often a rear wheel speed came into doubt and was left out.
    pub fn n_doubted(&self) -> u32 {
        self.aligner.n_doubted()
    }

    /// The noise floor learned so far.
    pub fn noise_floor(&self) -> &NoiseFloor {
        &self.floor
    }

    /// ln(ωR/ωL) learned so far, running straight.
    pub fn tyre_ratio_log(&self) -> Option<f64> {
        self.ratio.ratio_log()
    }

    /// What the drive so far says of the rear tyres. It takes a walk over all windows kept,
    /// so ask at the end, or now and then.
    pub fn tyre_calibration(&self) -> Calibration {
        self.ratio.calibration(&self.basis)
    }

    /// Takes a block and appends the rows that are settled by now, some two seconds late.
    pub fn push(&mut self, block: &Block, rows: &mut Vec<Row>) {
        self.cuts.extend(&block.cuts);
        let mut aligned = std::mem::take(&mut self.aligned);
        self.aligner.push(block, &mut aligned);
        self.take(&aligned);
        aligned.clear();
        self.aligned = aligned;
        self.give(rows);
    }

    /// The log has ended: appends the last rows.
    pub fn finish(&mut self, rows: &mut Vec<Row>) {
        let mut aligned = Vec::new();
        self.aligner.finish(&mut aligned);
        self.take(&aligned);
        self.smoother.finish(&mut self.smoothed);
        self.give(rows);
    }

    fn take(&mut self, aligned: &[Aligned]) {
        let (per_difference, per_case) = *self.basis.slip.as_ref().unwrap_or(&(0.5, 0.0));
        for sample in aligned {
            let slip = per_difference * raw_difference(sample.left, sample.right)
                + per_case * case_speed(sample.left, sample.right);
            let from_front = || {
                let (left, right) = sample.front?;
                Some(yaw_rate_from_wheels(
                    left,
                    right,
                    self.basis.track_front_m?,
                    self.basis.radius_m?,
                ))
            };
            let yaw_rate = sample.yaw_rate.or_else(from_front);
            let is_joined = self
                .latest
                .is_some_and(|latest| latest.wheel_runs == sample.wheel_runs);
            self.latest = Some(*sample);
            self.smoother.push(
                Slipping {
                    aligned: *sample,
                    slip,
                    yaw_rate,
                },
                is_joined,
                &mut self.smoothed,
            );
        }
    }

    fn give(&mut self, rows: &mut Vec<Row>) {
        let mut smoothed = std::mem::take(&mut self.smoothed);
        rows.extend(smoothed.iter().map(|smoothed| self.row(smoothed)));
        smoothed.clear();
        self.smoothed = smoothed;
    }

    /// Road speed, m/s: free-rolling front wheels, else the car's own, else the rear wheels.
    fn road_speed(&self, sample: &Aligned) -> Option<f64> {
        let rolling = |left: f64, right: f64| Some(case_speed(left, right) * self.basis.radius_m?);
        sample
            .front
            .and_then(|(left, right)| rolling(left, right))
            .or(sample.speed_m_per_s)
            .or_else(|| {
                // With nothing else to go by: the mean, unless one wheel plainly spins.
                let (slow, fast) = (
                    sample.left.abs().min(sample.right.abs()),
                    sample.left.abs().max(sample.right.abs()),
                );
                if fast - slow > SPINS_FROM.0 * slow + SPINS_FROM.1 {
                    rolling(slow, slow)
                } else {
                    rolling(sample.left, sample.right)
                }
            })
            .map(f64::abs)
    }

    fn row(&mut self, smoothed: &Smoothed) -> Row {
        let sample = &smoothed.sample.aligned;
        let seconds = 0.5 * (smoothed.before_s + smoothed.after_s);
        let is_joined = smoothed.before_s > 0.0;
        let is_turning = sample.left.abs().max(sample.right.abs()) >= self.basis.turning_from;
        let yaw_rate = self.yaw_rate(smoothed, sample);
        let kinematic = match (yaw_rate, self.basis.track_rear_m, self.basis.radius_m) {
            (Some(yaw), Some(track), Some(radius)) => {
                Some(kinematic_difference(track, yaw, radius))
            }
            _ => None,
        };
        self.learn(
            smoothed,
            sample,
            is_joined && is_turning,
            kinematic,
            seconds,
        );
        let difference = raw_difference(sample.left, sample.right);
        let ratio_log = self.ratio.ratio_log().unwrap_or(0.0);
        // The mean difference, tyre-corrected at the present wheel speeds.
        let correction =
            road_referred_difference(sample.left, sample.right, ratio_log) - difference;
        let road_referred = smoothed.difference_mean + correction;
        let unknown_mismatch = match self.ratio.ratio_log() {
            Some(_) => 0.0,
            None => MISMATCH_NOT_LEARNED * case_speed(sample.left, sample.right).abs(),
        };
        let n_packs = self.basis.n_packs;
        let impulse = |torque: Option<f64>, length: f64| match torque {
            Some(torque) => Some(0.5 * n_packs * torque * length),
            None if length == 0.0 => Some(0.0),
            None => None,
        };
        let impulse_nms = impulse(smoothed.torque_before_nm, smoothed.before_s)
            .zip(impulse(smoothed.torque_after_nm, smoothed.after_s))
            .map(|(before, after)| before + after);
        let slip = smoothed.sample.slip;
        let evidence = std::array::from_fn(|window| {
            let mean = smoothed.slip_means[window];
            // Rounding to steps leaves an error of q/√6 in the difference, drawn anew
            // whenever a number changes; at steady speed it stays, and is no slip.
            // Here and below squares are compared: roots cost more than all else in a row.
            let step = SIGNIFICANT_SDS * self.basis.slip_step;
            let is_beyond_a_step =
                6.0 * (1.0 + smoothed.n_changes[window]) * mean * mean > step * step;
            let caution = if window < DEFINITION {
                SHARP_CAUTION
            } else {
                1.0
            };
            let strength = mean.abs() * smoothed.n_in_window[window].sqrt() / caution;
            Evidence::new(
                if is_beyond_a_step { strength } else { 0.0 },
                if mean == 0.0 { 0.0 } else { mean.signum() },
            )
        });
        Row {
            time: sample.time,
            seconds,
            is_joined,
            is_wheel_sample: sample.is_wheel_sample,
            is_turning,
            road_speed: self.road_speed(sample),
            yaw_rate,
            front_speed: sample.front.map(|(left, right)| case_speed(left, right)),
            case_speed: case_speed(sample.left, sample.right),
            difference,
            difference_mean: smoothed.difference_mean,
            kinematic_difference: kinematic,
            road_referred_difference: road_referred,
            openness: kinematic
                .filter(|kinematic| unknown_mismatch <= kinematic.abs() / 3.0)
                .and_then(|kinematic| openness(road_referred, kinematic)),
            unknown_mismatch,
            slip,
            slip_sharp: self.slip_sharp(smoothed),
            slip_mean: smoothed.slip_means[DEFINITION],
            command: sample.command,
            state: sample.state,
            torque_nm: sample.torque.map(|torque| torque.torque_nm),
            is_torque_by_command: sample.torque.is_some_and(|torque| torque.is_by_command),
            heat_rate_w: smoothed.power_mean.map(|power| n_packs * power.abs()),
            work_j: impulse_nms.map(|impulse| impulse * slip),
            impulse_nms: impulse_nms.unwrap_or(0.0),
            evidence,
            n_in_mean: smoothed.n_in_window[DEFINITION],
            slip_sd: self.floor.so_far(),
            is_braking: sample.is_braking,
            is_controlled: sample.is_controlled,
        }
    }

    /// Slip as sharp in time as the noise allows: the mean of definition where the samples
    /// around agree with it but for noise; where they do not, an edge is near, and it is
    /// the shorter mean if that fits the sample, else the sample itself.
    fn slip_sharp(&self, smoothed: &Smoothed) -> f64 {
        let noise = SIGNIFICANT_SDS * self.floor.so_far().unwrap_or(0.0);
        let [short, mean, ..] = smoothed.slip_means;
        let sample = smoothed.sample.slip;
        let fits = |longer: f64| (sample - longer).abs() <= noise;
        if fits(mean) && (short - mean).powi(2) * smoothed.n_in_window[0] <= noise * noise {
            return mean;
        }
        if fits(short) { short } else { sample }
    }

    /// The yaw rate with the sensor's bias, learned at standstill, removed.
    fn yaw_rate(&mut self, smoothed: &Smoothed, sample: &Aligned) -> Option<f64> {
        let yaw = smoothed.yaw_mean?;
        if sample.yaw_rate.is_none() {
            return Some(yaw);
        }
        let stands = |pair: (f64, f64)| pair.0 == 0.0 && pair.1 == 0.0;
        if stands((sample.left, sample.right)) && sample.front.is_none_or(stands) {
            let weight = smoothed.before_s.min(YAW_BIAS_TIME_S);
            self.ratio.stands(yaw, weight);
            self.yaw_bias_weight_s = (self.yaw_bias_weight_s + weight).min(YAW_BIAS_TIME_S);
            if self.yaw_bias_weight_s > 0.0 {
                self.yaw_bias += (yaw - self.yaw_bias) * weight / self.yaw_bias_weight_s;
            }
        }
        Some(yaw - self.yaw_bias)
    }

    fn learn(
        &mut self,
        smoothed: &Smoothed,
        sample: &Aligned,
        is_usable: bool,
        kinematic: Option<f64>,
        seconds: f64,
    ) {
        if !is_usable {
            self.floor.interrupt();
            self.ratio.interrupt();
            self.latest_wheel_sample = None;
            return;
        }
        while self.cuts.pop_front_if(|cut| *cut <= sample.time).is_some() {
            self.ratio.cut();
        }
        if sample.is_wheel_sample {
            let interval = self
                .latest_wheel_sample
                .map_or(smoothed.before_s, |latest| sample.time.since(latest));
            self.floor.note(smoothed.sample.slip, interval);
            self.latest_wheel_sample = Some(sample.time);
        }
        if let Some(radius_m) = self.basis.radius_m {
            let rolling = Rolling {
                time: sample.time,
                left: sample.left,
                right: sample.right,
                difference_mean: smoothed.difference_mean,
                kinematic,
                yaw_rate: sample.yaw_rate,
                front: sample.front,
                command: sample.command,
                torque_nm: sample.torque.map(|torque| torque.torque_nm),
                is_braking: sample.is_braking,
                is_controlled: sample.is_controlled,
                radius_m,
            };
            self.ratio.note(&rolling, seconds);
        }
    }
}
