//! Rows and a gate for tests.

use halfshaft_driveline::{Evidence, Row};
use halfshaft_model::Time;

use crate::reason::Reason;
use crate::trust::{Gate, Source, Still, Verdict};

/// A gate at which all is sound but what is missing, for a noise floor of nothing.
pub fn gate(missing: &[Source]) -> Gate {
    gate_at(0.0, missing)
}

/// The same for a noise floor, rad/s.
pub fn gate_at(slip_sd: f64, missing: &[Source]) -> Gate {
    let mut gate = Gate::new(slip_sd, Still::default());
    for source in Source::ALL {
        let verdict = match missing.contains(&source) {
            true => Verdict::Missing(Reason::NotJudged),
            false => Verdict::Sound,
        };
        gate.judge(source, verdict);
    }
    gate
}

/// A joined row of 10 ms at `time_s`: rolling straight at 20 m/s, open, quiet.
pub fn row(time_s: f64) -> Row {
    Row {
        time: Time::from_seconds(time_s),
        seconds: 0.01,
        is_joined: time_s > 0.0,
        is_wheel_sample: true,
        is_turning: true,
        road_speed: Some(20.0),
        yaw_rate: Some(0.0),
        yaw_bias: Some(0.0),
        front_speed: Some(60.0),
        case_speed: 60.0,
        difference: 0.0,
        difference_mean: 0.0,
        kinematic_difference: Some(0.0),
        road_referred_difference: 0.0,
        openness: None,
        unknown_mismatch: 0.0,
        slip: 0.0,
        slip_mean: 0.0,
        slip_sharp: 0.0,
        noise_in_sharp: 1.0,
        command: Some(0.0),
        state: None,
        torque_nm: None,
        is_torque_by_command: false,
        heat_rate_w: None,
        heat_rate_sharp_w: None,
        work_j: None,
        impulse_nms: 0.0,
        evidence: Evidence::new([0.0; 4]),
        noise_in_mean: 1.0 / 20.0_f64.sqrt(),
        slip_sd: Some(0.01),
        is_braking: false,
        is_controlled: false,
    }
}
