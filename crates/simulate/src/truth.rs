//! What really happened, from the continuous inner state and never from the frames.
//!
//! In: the state after every step, and every command. Out: [`Truth`], which is written
//! beside the log as JSON. Times count from the first frame of the log.

use crate::events::{Commands, END_COMMAND, EventTruth, PEAK_WINDOW_S, rounded};
use crate::faults::Faults;
use crate::moment::Moment;
use crate::unit_truth::UnitTruth;
use crate::vehicle::VehicleTrue;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Name and version of the truth file.
pub const TRUTH_SCHEMA: &str = "halfshaft-truth/1";

/// Road speed above which the car is moving: 5 km/h.
const MOVING_M_PER_S: f64 = 5.0 / 3.6;
/// Curvature above which a stretch is a bend: a radius of 150 m.
const BEND_PER_M: f64 = 1.0 / 150.0;
/// Slip above which partial engagement makes heat, rad/s.
const WORKING_SLIP_RAD_PER_S: f64 = 0.3;
/// Least capacity of slipping under load: this, or 1.5 times preload, N·m.
const WORKING_TORQUE_NM: f64 = 50.0;
/// Command from which the pack counts as fully closed.
const FULL_COMMAND: f64 = 0.95;

/// The truth about one simulated drive.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Name and version of this file's form.
    pub schema: String,
    /// Name of the drive.
    pub name: String,
    /// What it shows, in a line.
    pub title: String,
    /// Seed of its random numbers.
    pub seed: u64,
    /// From the first frame to the last, s.
    pub duration_s: f64,
    /// Time faster than 5 km/h, s.
    pub moving_time_s: f64,
    /// Distance, km.
    pub distance_km: f64,
    /// Sum of |heading change| in bends tighter than 150 m, deg.
    pub turn_total_deg: f64,
    /// Greatest |slip| of the pack while the faster rear wheel turns above 5 km/h, rad/s.
    pub slip_peak_rad_per_s: f64,
    /// Time with 0.05 ≤ command < 0.95, s.
    pub partial_by_command_s: f64,
    /// The same while faster than 5 km/h, s.
    pub partial_by_command_moving_s: f64,
    /// Time with |slip| > 0.3 rad/s and a capacity above 50 N·m and 1.5 preload while
    /// the faster rear wheel turns above 5 km/h, s.
    pub partial_heat_making_s: f64,
    /// Number of engagement events.
    pub engagements: u32,
    /// Heat of all packs, kJ.
    pub heat_total_kj: f64,
    /// Part of it by wheelspin beyond the bend's own difference, kJ.
    pub heat_spin_kj: f64,
    /// Part of it by unequal tyres, kJ.
    pub heat_mismatch_kj: f64,
    /// Part of the rest by preload, kJ.
    pub heat_preload_kj: f64,
    /// Part of the rest by the command, kJ. The four parts make the whole.
    pub heat_commanded_kj: f64,
    /// Greatest heat, kW: that of the moment, but for what changes within 5 ms.
    pub heat_peak_kw: f64,
    /// Heat per distance, kJ/km; none for a car that stood.
    pub heat_per_km_kj: Option<f64>,
    /// Highest oil temperature, °C.
    pub oil_temp_max_c: f64,
    /// Highest pack temperature, °C; no sensor sees it.
    pub pack_temp_max_c: f64,
    /// Share of the heat made while the faster rear wheel turned below 5 km/h.
    pub heat_share_below_5_km_per_h: f64,
    /// Share of the heat made at a slip below 0.3 rad/s.
    pub heat_share_below_0_3_rad_per_s: f64,
    /// Time moving with the pack stuck: exactly no slip, s.
    pub stuck_moving_s: f64,
    /// Time moving through bends with the inside wheel turning faster than the outside one, s.
    pub inside_wheel_faster_s: f64,
    /// ln(ωR/ωL) of the tyres: positive when the right one is the smaller.
    pub tyre_mismatch: f64,
    /// Dead time of the actuator, s.
    pub dead_time_s: f64,
    /// 10 to 90 % of its first-order answer, 2.197 τ, s.
    pub rise_time_s: f64,
    /// Dead time and answer to 90 %, θ + 2.303 τ, s.
    pub transition_time_s: f64,
    /// Yaw bias of the sensor, deg/s.
    pub yaw_bias_deg_per_s: f64,
    /// Standard deviation of the noise of one wheel speed, km/h.
    pub wheel_noise_km_per_h: f64,
    /// Sampling periods of the frames: rear wheels, command, position, ms.
    pub period_rear_ms: u32,
    /// Period of the command, ms.
    pub period_command_ms: u32,
    /// Period of the position, ms; none when the car does not send it.
    pub period_position_ms: Option<u32>,
    /// Number of frames in the log.
    pub n_frames: u64,
    /// Every engagement event.
    pub events: Vec<EventTruth>,
    /// The unit's inner life, of drives that tell it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<UnitTruth>,
}

/// Adds up the truth.
#[derive(Clone, Debug)]
pub struct Witness {
    step_s: f64,
    radius_m: f64,
    track_m: f64,
    preload_nm: f64,
    working_torque_nm: f64,
    by_cause_j: [f64; 4],
    window: VecDeque<f64>,
    commands: Commands,
    energy_j: f64,
    moving_s: f64,
    distance_m: f64,
    turn_rad: f64,
    slip_peak: f64,
    partial_s: f64,
    partial_moving_s: f64,
    heat_making_s: f64,
    peak_w: f64,
    oil_max_c: f64,
    pack_max_c: f64,
    slow_road_j: f64,
    slow_slip_j: f64,
    stuck_s: f64,
    inside_faster_s: f64,
}

/// What sticks and slides in turn changes within this, s.
const SHARP_S: f64 = 0.005;

impl Witness {
    /// Nothing seen yet.
    pub fn new(vehicle: &VehicleTrue, faults: &Faults, step_s: f64) -> Witness {
        let n = (PEAK_WINDOW_S / step_s).round() as usize;
        Witness {
            step_s,
            radius_m: vehicle.radius_m,
            track_m: vehicle.track_rear_m,
            preload_nm: vehicle.preload_nm() * faults.pack.torque_share,
            by_cause_j: [0.0; 4],
            working_torque_nm: WORKING_TORQUE_NM.max(1.5 * vehicle.preload_nm()),
            window: std::iter::repeat_n(0.0, n).collect(),
            commands: Commands::default(),
            energy_j: 0.0,
            moving_s: 0.0,
            distance_m: 0.0,
            turn_rad: 0.0,
            slip_peak: 0.0,
            partial_s: 0.0,
            partial_moving_s: 0.0,
            heat_making_s: 0.0,
            peak_w: 0.0,
            oil_max_c: f64::NEG_INFINITY,
            pack_max_c: f64::NEG_INFINITY,
            slow_road_j: 0.0,
            slow_slip_j: 0.0,
            stuck_s: 0.0,
            inside_faster_s: 0.0,
        }
    }

    /// A command that holds from `time_s` on.
    pub fn command(&mut self, time_s: f64, command: f64) {
        self.commands.push(time_s, command, self.energy_j);
    }

    /// The state after a step.
    pub fn step(&mut self, moment: &Moment) {
        let step_s = self.step_s;
        let heat_j = moment.heat_w * step_s;
        self.energy_j += heat_j;
        if heat_j > 0.0 {
            self.blame(moment, heat_j);
        }
        self.window.push_back(self.energy_j);
        let before_j = self.window.pop_front().unwrap_or(0.0);
        let mean_w = (self.energy_j - before_j) / PEAK_WINDOW_S;
        let n = ((SHARP_S / step_s).round() as usize).clamp(1, self.window.len() - 1);
        let sharp_j = self.energy_j - self.window[self.window.len() - 1 - n];
        self.peak_w = self.peak_w.max(sharp_j / (n as f64 * step_s));
        self.commands.heat(moment.heat_w, mean_w);
        let is_moving = moment.speed_m_per_s > MOVING_M_PER_S;
        let faster = moment.wheel_rad_per_s[0].max(moment.wheel_rad_per_s[1]) * self.radius_m;
        let slip = moment.slip_rad_per_s.abs();
        self.distance_m += moment.speed_m_per_s * step_s;
        self.oil_max_c = self.oil_max_c.max(moment.oil_c);
        self.pack_max_c = self.pack_max_c.max(moment.pack_c);
        let is_partial = (END_COMMAND..FULL_COMMAND).contains(&moment.command);
        if is_partial {
            self.partial_s += step_s;
        }
        if is_moving {
            self.moving_s += step_s;
            if is_partial {
                self.partial_moving_s += step_s;
            }
            if moment.is_stuck {
                self.stuck_s += step_s;
            }
            let turned = moment.yaw_rad_per_s.abs();
            if turned > BEND_PER_M * moment.speed_m_per_s {
                self.turn_rad += turned * step_s;
                let difference = moment.wheel_rad_per_s[1] - moment.wheel_rad_per_s[0];
                if difference * moment.yaw_rad_per_s < 0.0 {
                    self.inside_faster_s += step_s;
                }
            }
        }
        if slip < WORKING_SLIP_RAD_PER_S {
            self.slow_slip_j += heat_j;
        }
        if faster > MOVING_M_PER_S {
            self.slip_peak = self.slip_peak.max(slip);
            if slip > WORKING_SLIP_RAD_PER_S && moment.capacity_nm > self.working_torque_nm {
                self.heat_making_s += step_s;
            }
        } else {
            self.slow_road_j += heat_j;
        }
    }

    // Shares the heat among spin, mismatch, preload and command, in proportion to the parts
    // of the wheel speed difference and then of the torque.
    fn blame(&mut self, moment: &Moment, heat_j: f64) {
        let [left, right] = moment.wheel_rad_per_s;
        let difference = right - left;
        let half = 0.5 * moment.tyre_mismatch;
        let on_the_road = right * (1.0 - half) - left * (1.0 + half);
        let excess = on_the_road - self.track_m * moment.yaw_rad_per_s / self.radius_m;
        let whole = difference.abs();
        let sign = difference.signum();
        let spin = (sign * excess).clamp(0.0, whole);
        let mismatch =
            (sign * moment.tyre_mismatch * 0.5 * (left + right)).clamp(0.0, whole - spin);
        let rest_j = heat_j * (whole - spin - mismatch) / whole;
        let preload = (self.preload_nm / moment.capacity_nm).min(1.0);
        self.by_cause_j[0] += heat_j * spin / whole;
        self.by_cause_j[1] += heat_j * mismatch / whole;
        self.by_cause_j[2] += rest_j * preload;
        self.by_cause_j[3] += rest_j * (1.0 - preload);
    }

    /// The truth of a drive whose last frame is stamped `duration_s` after the first.
    pub fn truth(self, scenario: &crate::Scenario, duration_s: f64, n_frames: u64) -> Truth {
        let events = self.commands.events(duration_s, self.energy_j);
        let share = |part: f64| {
            if self.energy_j > 0.0 {
                rounded(part / self.energy_j)
            } else {
                0.0
            }
        };
        let distance_km = self.distance_m / 1e3;
        let actuator = &scenario.vehicle.actuator;
        Truth {
            schema: TRUTH_SCHEMA.to_owned(),
            name: scenario.name.clone(),
            title: scenario.title.clone(),
            seed: scenario.seed,
            duration_s,
            moving_time_s: rounded(self.moving_s),
            distance_km: rounded(distance_km),
            turn_total_deg: rounded(self.turn_rad.to_degrees()),
            slip_peak_rad_per_s: rounded(self.slip_peak),
            partial_by_command_s: rounded(self.partial_s),
            partial_by_command_moving_s: rounded(self.partial_moving_s),
            partial_heat_making_s: rounded(self.heat_making_s),
            engagements: events.len() as u32,
            heat_total_kj: rounded(self.energy_j / 1e3),
            heat_spin_kj: rounded(self.by_cause_j[0] / 1e3),
            heat_mismatch_kj: rounded(self.by_cause_j[1] / 1e3),
            heat_preload_kj: rounded(self.by_cause_j[2] / 1e3),
            heat_commanded_kj: rounded(self.by_cause_j[3] / 1e3),
            heat_peak_kw: rounded(self.peak_w / 1e3),
            heat_per_km_kj: (distance_km > 0.0).then(|| rounded(self.energy_j / 1e3 / distance_km)),
            oil_temp_max_c: rounded(self.oil_max_c),
            pack_temp_max_c: rounded(self.pack_max_c),
            heat_share_below_5_km_per_h: share(self.slow_road_j),
            heat_share_below_0_3_rad_per_s: share(self.slow_slip_j),
            stuck_moving_s: rounded(self.stuck_s),
            inside_wheel_faster_s: rounded(self.inside_faster_s),
            tyre_mismatch: scenario.vehicle.tyre_mismatch,
            dead_time_s: actuator.dead_time_s,
            rise_time_s: rounded(2.197 * actuator.lag_s),
            transition_time_s: rounded(actuator.dead_time_s + 2.303 * actuator.lag_s),
            yaw_bias_deg_per_s: scenario.sensors.yaw_bias_deg_per_s,
            wheel_noise_km_per_h: scenario.sensors.wheel_noise_km_per_h,
            period_rear_ms: scenario.rates.rear_ms,
            period_command_ms: scenario.rates.command_ms,
            period_position_ms: scenario.rates.position_ms,
            n_frames,
            events,
            unit: None,
        }
    }
}

impl Truth {
    /// The truth file's text.
    pub fn to_json(&self) -> String {
        let mut text = serde_json::to_string_pretty(self)
            .expect("a truth holds finite numbers and string keys only");
        text.push('\n');
        text
    }
}
