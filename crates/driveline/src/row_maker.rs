//! From a sample among its neighbours to a row: the physics, and what the drive teaches.
//!
//! In: smoothed samples in order of time. Out: [`Row`]s; and, learned on the way, the noise
//! floor, the tyre ratio and the bias of the yaw sensor.

use std::collections::VecDeque;

use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Time};
use wide::f64x4;

use crate::align::Aligned;
use crate::basis::Basis;
use crate::derive::axle_speed_difference::{
    case_speed, kinematic_difference, raw_difference, road_referred_difference,
    yaw_rate_from_wheels,
};
use crate::derive::openness::openness;
use crate::heat_by_floor::{Evidence, SIGNIFICANT_SDS};
use crate::late_torque::LateTorque;
use crate::noise_floor::NoiseFloor;
use crate::row::Row;
use crate::smooth::{DEFINITION, N_WINDOWS, Slipping, Smoothed};
use crate::tyre_ratio::{Rolling, TyreRatio};

/// Time constant with which the yaw sensor's bias is learned at standstill, s.
/// Source: none, engineering guess; a stop of a few seconds settles it.
const YAW_BIAS_TIME_S: f64 = 2.0;

/// A rear wheel that is faster than the other by this share and this much on top, rad/s,
/// spins: the slower one then gives the road speed. Source: none, engineering guess.
const SPINS_FROM: (f64, f64) = (0.15, 3.0);

/// Tyre mismatch that may be there as long as it has not been learned, as a share of the
/// wheel speed. Source: none, engineering guess: tyres of one size, unevenly worn.
pub const MISMATCH_NOT_LEARNED: f64 = 0.01;

/// How much more than a longer one a mean shorter than that of definition must stand above
/// the noise before it gives heat its sign. Source: none, engineering guess: it follows a
/// wheel that hops and slips to and fro within 0.2 s, and leaves all else to the longer means.
const SHARP_CAUTION: f64 = 5.0 / 3.0;

/// How far the mean over each window must stand above the noise, 1 for one that is not short.
const CAUTIONS: [f64; N_WINDOWS] = {
    let mut cautions = [1.0; N_WINDOWS];
    let mut window = 0;
    while window < DEFINITION {
        cautions[window] = SHARP_CAUTION;
        window += 1;
    }
    cautions
};

/// Makes rows.
#[derive(Clone, Debug)]
pub(crate) struct RowMaker {
    pub(crate) basis: Basis,
    pub(crate) floor: NoiseFloor,
    pub(crate) ratio: TyreRatio,
    // Cuts of the clock that the samples have not reached yet.
    pub(crate) cuts: VecDeque<Time>,
    yaw_bias: f64,
    yaw_bias_weight_s: f64,
    latest_wheel_sample: Option<Time>,
    late_torque: LateTorque,
}

impl RowMaker {
    pub(crate) fn new(basis: Basis, channels: &[ChannelSpec]) -> RowMaker {
        let step = |name: &str| {
            let mut channels = channels.iter();
            let found = channels.find(|channel| channel.name == name);
            found.and_then(|channel| channel.step).unwrap_or(0.0)
        };
        RowMaker {
            basis,
            floor: NoiseFloor::default(),
            // Front wheels that tell the bends tell none of less than a step of theirs.
            ratio: TyreRatio::new(
                step(name::YAW_RATE),
                step(name::WHEEL_REAR_LEFT).max(step(name::WHEEL_FRONT_LEFT)),
            ),
            cuts: VecDeque::new(),
            yaw_bias: 0.0,
            yaw_bias_weight_s: 0.0,
            late_torque: LateTorque::default(),
            latest_wheel_sample: None,
        }
    }

    /// A sample with its slip.
    pub(crate) fn slipping(&self, sample: &Aligned) -> Slipping {
        let (per_difference, per_case) = *self.basis.slip.as_ref().unwrap_or(&(0.5, 0.0));
        let from_front = || {
            let (left, right) = sample.front?;
            let (track_m, radius_m) = (self.basis.track_front_m?, self.basis.radius_m?);
            Some(yaw_rate_from_wheels(left, right, track_m, radius_m))
        };
        Slipping {
            slip: per_difference * raw_difference(sample.left, sample.right)
                + per_case * case_speed(sample.left, sample.right),
            yaw_rate: sample.yaw_rate.or_else(from_front),
            aligned: *sample,
        }
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

    /// The row of a sample.
    pub(crate) fn row(&mut self, smoothed: &Smoothed) -> Row {
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
        let (evidence, noises) = self.evidence(smoothed);
        let (slip_sharp, noise_in_sharp) = self.slip_sharp(smoothed, &noises);
        let torque_nm = self.late_torque.at(sample.time, sample.torque, is_joined);
        Row {
            time: sample.time,
            seconds,
            is_joined,
            is_wheel_sample: sample.is_wheel_sample,
            is_turning,
            road_speed: self.road_speed(sample),
            yaw_rate,
            yaw_bias: sample.yaw_rate.map(|_| self.yaw_bias),
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
            slip_sharp,
            noise_in_sharp,
            slip_mean: smoothed.slip_means[DEFINITION],
            command: sample.command,
            state: sample.state,
            torque_nm: sample.torque.map(|torque| torque.torque_nm),
            is_torque_by_command: sample.torque.is_some_and(|torque| torque.is_by_command),
            heat_rate_w: smoothed.power_mean.map(|power| n_packs * power.abs()),
            heat_rate_sharp_w: torque_nm
                .map(|torque_nm| torque_nm.map(|torque| n_packs * torque * slip_sharp.abs())),
            work_j: impulse_nms.map(|impulse| impulse * slip),
            impulse_nms: impulse_nms.unwrap_or(0.0),
            evidence,
            noise_in_mean: noises[DEFINITION],
            slip_sd: self.floor.so_far(),
            is_braking: sample.is_braking,
            is_controlled: sample.is_controlled,
        }
    }

    /// What each window says of the direction of slip; and how much of a sample's noise its mean
    /// keeps.
    fn evidence(&self, smoothed: &Smoothed) -> (Evidence, [f64; N_WINDOWS]) {
        let means = f64x4::from(smoothed.slip_means);
        let roots = f64x4::from(smoothed.n_in_window).sqrt();
        // Rounding to steps leaves an error of q/√6 in the difference, drawn anew whenever a
        // number changes; at steady speed it stays, and is no slip.
        let step = SIGNIFICANT_SDS * self.basis.slip_step;
        let n_drawn = f64x4::ONE + f64x4::from(smoothed.n_changes);
        let is_beyond_a_step = (6.0 * n_drawn * means * means).simd_gt(f64x4::splat(step * step));
        let strengths = means * roots / f64x4::from(CAUTIONS);
        let strengths = is_beyond_a_step.select(strengths, f64x4::ZERO);
        let kept = f64x4::ONE / roots;
        (Evidence::new(strengths.to_array()), kept.to_array())
    }

    /// Slip as sharp in time as the noise allows: the mean of definition where the samples
    /// around agree with it but for noise; where they do not, an edge is near, and it is
    /// the shorter mean if that fits the sample, else the sample itself. With it its noise, as a
    /// share of that of one sample.
    fn slip_sharp(&self, smoothed: &Smoothed, noises: &[f64; N_WINDOWS]) -> (f64, f64) {
        let noise = SIGNIFICANT_SDS * self.floor.so_far().unwrap_or(0.0);
        let [short, mean, ..] = smoothed.slip_means;
        let sample = smoothed.sample.slip;
        let fits = |longer: f64| (sample - longer).abs() <= noise;
        if fits(mean) && (short - mean).powi(2) * smoothed.n_in_window[0] <= noise * noise {
            return (mean, noises[DEFINITION]);
        }
        match fits(short) {
            true => (short, noises[0]),
            false => (sample, 1.0),
        }
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
            self.floor.add(smoothed.sample.slip, interval);
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
            self.ratio.add(&rolling, seconds);
        }
    }
}
