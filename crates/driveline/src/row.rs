//! A derived sample: what the pack did at one time.

use halfshaft_model::Time;

use crate::heat_by_floor::{Evidence, SIGNIFICANT_SDS};

/// The pack and the axle at one time. Missing is `None`, never zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// The time.
    pub time: Time,
    /// How much time this sample stands for: half of each joined neighbour interval, s.
    pub seconds: f64,
    /// The interval to the sample before it holds no gap.
    pub is_joined: bool,
    /// The right rear wheel was sampled here, so noise is fresh.
    pub is_wheel_sample: bool,
    /// The faster rear wheel turns fast enough for differences to be believed.
    pub is_turning: bool,
    /// Speed of the car over the road, m/s.
    pub road_speed: Option<f64>,
    /// Turning rate, mean over 0.2 s, sensor bias removed, rad/s.
    pub yaw_rate: Option<f64>,
    /// The bias that was removed, as it was known by then, rad/s; `None` where the front wheels
    /// give the turning rate.
    pub yaw_bias: Option<f64>,
    /// Mean of both front wheels, rad/s.
    pub front_speed: Option<f64>,
    /// Speed of the case: mean of both rear wheels, rad/s.
    pub case_speed: f64,
    /// Axle speed difference right − left, raw, rad/s.
    pub difference: f64,
    /// The same, mean over 0.2 s.
    pub difference_mean: f64,
    /// What the bend alone makes, mean over 0.2 s, rad/s.
    pub kinematic_difference: Option<f64>,
    /// The difference with the tyre mismatch taken out, mean over 0.2 s, rad/s.
    pub road_referred_difference: f64,
    /// Openness: road-referred over kinematic difference, where the bend makes enough.
    pub openness: Option<f64>,
    /// Difference that a tyre mismatch not learned yet may make, rad/s; 0 once it is.
    pub unknown_mismatch: f64,
    /// Slip of the pack, rad/s.
    pub slip: f64,
    /// The same, mean over 0.2 s.
    pub slip_mean: f64,
    /// The same as sharp in time as the noise allows: for limits and their edges.
    pub slip_sharp: f64,
    /// Noise of that as a share of that of one sample.
    pub noise_in_sharp: f64,
    /// Command, 0 to 1.
    pub command: Option<f64>,
    /// State, 0 to 1.
    pub state: Option<f64>,
    /// Torque one pack can carry now, N·m.
    pub torque_nm: Option<f64>,
    /// The torque comes from the command for want of a state.
    pub is_torque_by_command: bool,
    /// Heat rate of all packs, mean over 0.2 s, W.
    pub heat_rate_w: Option<f64>,
    /// Heat rate of all packs of the moment, W: `slip_sharp` times the torque. By a torque read
    /// from the command, which the pack follows late, the least it can be, the likely rate and
    /// the most; else three times the same.
    pub heat_rate_sharp_w: Option<[f64; 3]>,
    /// Torque × slip × time of this sample, all packs, J, signed as the slip: give it
    /// the sign of `evidence` to make it heat. `None` where the torque is not known.
    pub work_j: Option<f64>,
    /// Torque × time of this sample, all packs, N·m·s.
    pub impulse_nms: f64,
    /// Evidence for the direction of slip.
    pub evidence: Evidence,
    /// Noise of the mean over 0.2 s as a share of that of one sample: 1/√n of the wheel
    /// samples in it.
    pub noise_in_mean: f64,
    /// Noise floor as learned up to here: standard deviation of one slip sample, rad/s.
    pub slip_sd: Option<f64>,
    /// Brake applied.
    pub is_braking: bool,
    /// Anti-lock, traction or stability control at work.
    pub is_controlled: bool,
}

impl Row {
    /// Sign of the slip, −1, 0 or 1, for a floor of `slip_sd` (one sample, rad/s): that of
    /// the shortest significant window, as the heat sum takes it.
    pub fn slip_sign(&self, slip_sd: f64) -> f64 {
        self.evidence.sign(slip_sd)
    }

    /// Largest mean slip that noise alone makes for a floor of `slip_sd` (one sample,
    /// rad/s), rad/s.
    pub fn mean_noise(&self, slip_sd: f64) -> f64 {
        mean_noise(slip_sd, self.noise_in_mean)
    }
}

/// Largest mean slip that noise alone makes, rad/s, in a mean that keeps `noise_in_mean` of the
/// noise of one sample, whose standard deviation is `slip_sd`, rad/s.
pub fn mean_noise(slip_sd: f64, noise_in_mean: f64) -> f64 {
    SIGNIFICANT_SDS * slip_sd * noise_in_mean
}
