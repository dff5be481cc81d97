//! The truth about the unit's inner life: what findings should and should not say.
//!
//! In: the state after every step. Out: [`UnitTruth`]: times of the actuator as they really
//! were, delays, temperatures, energy per lining area, and how often each kind of trouble
//! truly occurred. It counts what happened and judges nothing; its thresholds only say what
//! is counted.

use crate::actuator::ActuatorParameters;
use crate::episodes::{Chatter, Cuts, Delays, Dragging, Holding, Lasting, Launches, NotMoving};
use crate::events::{EventTruth, rounded};
use crate::faults::Faults;
use crate::moment::Moment;
use crate::scenario::Scenario;

use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Powers per area are means over this time, s.
const POWER_WINDOW_S: f64 = 0.3;
/// Pack above oil from which a drive shows the pack's own temperature, K.
const PACK_ABOVE_OIL_K: f64 = 30.0;
/// Slower than this a wheel stands, rad/s.
const STANDS_RAD_PER_S: f64 = 0.1;
/// Road speed from which straight running counts, m/s: 50 km/h; and its curvature, 1/m.
const STRAIGHT_M_PER_S: f64 = 50.0 / 3.6;
const STRAIGHT_PER_M: f64 = 1.0 / 500.0;
/// Slip that makes heat and preloads the pack must carry for it.
const WORKING_SLIP_RAD_PER_S: f64 = 0.3;
const WORKING_PRELOADS: f64 = 1.5;
/// 10 to 90 % of a first-order lag in time constants: ln 9 (derived).
const RISE_PER_LAG: f64 = 2.197;
/// 100 to 10 % of it: ln 10 (derived).
const RELEASE_PER_LAG: f64 = 2.303;

/// What truly happened in the unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnitTruth {
    /// Time constant of each engagement half a second after it began, s, in order.
    pub lags_s: Vec<f64>,
    /// Oil temperature then, °C.
    pub lag_oil_c: Vec<f64>,
    /// Median of ln 9 times the lags, s: 10 to 90 % of a step.
    pub rise_time_median_s: Option<f64>,
    /// Standard deviation of the lags over their mean.
    pub lag_variation: Option<f64>,
    /// From a dropped command to 10 % left, dead time included, at 13.5 V and warm, s.
    pub release_time_s: f64,
    /// Greatest voltage lost to the motor while it turned, V.
    pub sag_max_v: f64,
    /// Current that holds full position, A.
    pub holding_current_a: f64,
    /// Times a command of half or more stood for a second and the position did not follow.
    pub n_not_moving: u32,
    /// From throttle past 10 % to a command of 10 %, median, s; presses that are answered.
    pub throttle_on_delay_s: Option<f64>,
    /// How many presses.
    pub n_throttle_on: u32,
    /// From throttle below 5 % to a command below 5 %, median, s.
    pub lift_off_delay_s: Option<f64>,
    /// How many lifts.
    pub n_lift_off: u32,
    /// Time within two seconds of command with more than six reversals of 10 %, s.
    pub chatter_s: f64,
    /// Times the command fell from 20 % to nothing under throttle and slip.
    pub n_cuts: u32,
    /// True torque over the table's.
    pub torque_share: f64,
    /// Reported torque over the table's.
    pub reported_torque_share: f64,
    /// Times command and position were at 80 % for a second with a difference to hold.
    pub n_asked: u32,
    /// Of these, times the difference did not fall by 30 % in that second.
    pub n_not_holding: u32,
    /// Times an open command held for 2 s in a bend while the difference was less than half
    /// of the bend's own.
    pub n_dragging: u32,
    /// Time the slip swung by judder, s.
    pub judder_s: f64,
    /// Stretches of it of a second or more.
    pub n_judder: u32,
    /// Greatest pack temperature above oil, K.
    pub pack_above_oil_max_k: f64,
    /// Time with the pack 30 K or more above the oil, s.
    pub pack_above_oil_30_k_s: f64,
    /// Net area of the linings, mm².
    pub lining_area_mm2: f64,
    /// Greatest heat per area, mean over 0.3 s, W/mm².
    pub power_per_area_max_w_per_mm2: f64,
    /// Greatest energy of an engagement per area, J/mm².
    pub energy_per_area_max_j_per_mm2: f64,
    /// Times a wheel spun by 10 rad/s for a second below 20 km/h.
    pub n_launches: u32,
    /// Work done on the axle by the engine and by its drag, both positive, kJ.
    pub axle_work_kj: f64,
    /// Heat of gears and churning, kJ.
    pub gear_heat_kj: f64,
    /// Time constant of oil and housing cooling at standstill, s.
    pub standing_time_constant_s: f64,
    /// Time constant of pack and oil becoming equal, s.
    pub equalisation_s: f64,
    /// Time straight on above 50 km/h, s.
    pub straight_s: f64,
    /// Part of it in slipping under load, s.
    pub straight_working_s: f64,
    /// Longest time one rear wheel stood while the other turned above 5 km/h, s.
    pub one_wheel_stands_s: f64,
    /// Front wheels faster than rear ones by this share.
    pub front_faster: f64,
    /// ln(ωR/ωL) of the tyres at the end.
    pub tyre_mismatch_at_end: f64,
    /// Amplitude of the ripple of one rear wheel as a share of its speed.
    pub wheel_ripple: f64,
}

/// The state after a step, as this truth needs it.
#[derive(Clone, Copy, Debug)]
pub struct UnitMoment {
    /// What the common truth sees.
    pub moment: Moment,
    /// Throttle, 0 to 1.
    pub throttle: f64,
    /// Position, a share of full.
    pub position: f64,
    /// Time constant of the actuator now, s.
    pub lag_s: f64,
    /// Voltage lost to the motor while it turns, V.
    pub sag_v: f64,
    /// Power through the case, W.
    pub axle_power_w: f64,
    /// Heat of gears and churning, W.
    pub gear_heat_w: f64,
    /// Whether judder is at work.
    pub is_juddering: bool,
}

/// Adds up the truth of the unit.
#[derive(Clone, Debug)]
pub struct UnitWitness {
    step_s: f64,
    radius_m: f64,
    track_m: f64,
    working_torque_nm: f64,
    lags: Vec<[f64; 2]>,
    since_engaged_s: Option<f64>,
    sag_max_v: f64,
    not_moving: NotMoving,
    delays: Delays,
    chatter: Chatter,
    cuts: Cuts,
    holding: Holding,
    dragging: Dragging,
    judder: Lasting,
    above_oil_max_k: f64,
    above_oil_s: f64,
    energy_j: f64,
    window: VecDeque<f64>,
    power_max_w: f64,
    launches: Launches,
    axle_j: f64,
    gear_j: f64,
    straight_s: f64,
    straight_working_s: f64,
    stands: Lasting,
    mismatch: f64,
}

impl UnitWitness {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario, step_s: f64) -> UnitWitness {
        let vehicle = &scenario.vehicle;
        let n = (POWER_WINDOW_S / step_s).round() as usize;
        UnitWitness {
            step_s,
            radius_m: vehicle.radius_m,
            track_m: vehicle.track_rear_m,
            working_torque_nm: WORKING_PRELOADS * vehicle.preload_nm(),
            lags: Vec::new(),
            since_engaged_s: None,
            sag_max_v: 0.0,
            not_moving: NotMoving::default(),
            delays: Delays::default(),
            chatter: Chatter::default(),
            cuts: Cuts::default(),
            holding: Holding::default(),
            dragging: Dragging::default(),
            judder: Lasting::default(),
            above_oil_max_k: 0.0,
            above_oil_s: 0.0,
            energy_j: 0.0,
            window: std::iter::repeat_n(0.0, n).collect(),
            power_max_w: 0.0,
            launches: Launches::default(),
            axle_j: 0.0,
            gear_j: 0.0,
            straight_s: 0.0,
            straight_working_s: 0.0,
            stands: Lasting::default(),
            mismatch: vehicle.tyre_mismatch,
        }
    }

    /// The state after a step.
    pub fn step(&mut self, now: &UnitMoment) {
        let (step_s, moment) = (self.step_s, &now.moment);
        let [left, right] = moment.wheel_rad_per_s;
        let difference = right - left;
        let asked_by_bend = self.track_m * moment.yaw_rad_per_s / self.radius_m;
        self.note_lag(now);
        self.sag_max_v = self.sag_max_v.max(now.sag_v);
        self.not_moving.step(moment.command, now.position, step_s);
        self.delays
            .step(moment.time_s, now.throttle, moment.command);
        self.chatter.step(moment.time_s, moment.command, step_s);
        let excess = difference - asked_by_bend;
        self.cuts
            .step(moment.time_s, moment.command, now.throttle, excess);
        let is_asked = moment.command.min(now.position) >= 0.8;
        self.holding.step(is_asked, difference, step_s);
        let is_open = moment.command < 0.05 && moment.speed_m_per_s > 5.0 / 3.6;
        self.dragging
            .step(is_open, difference, asked_by_bend, step_s);
        self.judder.step(now.is_juddering, step_s);
        self.launches.step(moment.speed_m_per_s, excess, step_s);
        let above_k = moment.pack_c - moment.oil_c;
        self.above_oil_max_k = self.above_oil_max_k.max(above_k);
        if above_k >= PACK_ABOVE_OIL_K {
            self.above_oil_s += step_s;
        }
        self.energy_j += moment.heat_w * step_s;
        self.window.push_back(self.energy_j);
        let before_j = self.window.pop_front().unwrap_or(0.0);
        self.power_max_w = self
            .power_max_w
            .max((self.energy_j - before_j) / POWER_WINDOW_S);
        self.axle_j += now.axle_power_w.abs() * step_s;
        self.gear_j += now.gear_heat_w * step_s;
        self.mismatch = moment.tyre_mismatch;
        let slower = left.abs().min(right.abs());
        let faster_m_per_s = left.abs().max(right.abs()) * self.radius_m;
        let stands = slower < STANDS_RAD_PER_S && faster_m_per_s > 5.0 / 3.6;
        self.stands.step(stands, step_s);
        let is_straight = moment.speed_m_per_s > STRAIGHT_M_PER_S
            && moment.yaw_rad_per_s.abs() < STRAIGHT_PER_M * moment.speed_m_per_s;
        if is_straight {
            self.straight_s += step_s;
            if moment.slip_rad_per_s.abs() > WORKING_SLIP_RAD_PER_S
                && moment.capacity_nm > self.working_torque_nm
            {
                self.straight_working_s += step_s;
            }
        }
    }

    // The lag that an engagement has once its dead time is over.
    fn note_lag(&mut self, now: &UnitMoment) {
        let moment = &now.moment;
        if moment.command < 0.05 {
            self.since_engaged_s = None;
            return;
        }
        let before_s = self.since_engaged_s;
        let since_s = before_s.map_or(0.0, |seconds| seconds + self.step_s);
        self.since_engaged_s = Some(since_s);
        let is_due = before_s.is_some_and(|before_s| before_s < 0.5) && since_s >= 0.5;
        if is_due && moment.command >= 0.1 {
            self.lags.push([now.lag_s, moment.oil_c]);
        }
    }

    /// The truth of the unit, of a drive whose common truth is `truth`.
    pub fn truth(self, scenario: &Scenario, events: &[EventTruth]) -> UnitTruth {
        let vehicle = &scenario.vehicle;
        let faults = &scenario.faults;
        let thermal = &vehicle.thermal;
        let pack = &vehicle.pack;
        let ring_m2 =
            pack.outer_radius_m * pack.outer_radius_m - pack.inner_radius_m * pack.inner_radius_m;
        let lining_area_mm2 = f64::from(pack.n_faces)
            * std::f64::consts::PI
            * ring_m2
            * (1.0 - pack.groove_share)
            * 1e6;
        let event_j = events.iter().map(|event| event.energy_j);
        let lags: Vec<f64> = self.lags.iter().map(|lag| rounded(lag[0])).collect();
        let (throttle_on, lift_off) = self.delays.found();
        let pack_and_oil = thermal.pack_j_per_k * thermal.oil_j_per_k
            / (thermal.pack_j_per_k + thermal.oil_j_per_k);
        let oil_and_housing = thermal.oil_j_per_k + thermal.housing_j_per_k;
        UnitTruth {
            rise_time_median_s: median(&lags).map(|lag_s| rounded(RISE_PER_LAG * lag_s)),
            lag_variation: variation(&lags).map(rounded),
            lag_oil_c: self.lags.iter().map(|lag| rounded(lag[1])).collect(),
            lags_s: lags,
            release_time_s: rounded(release_time_s(&vehicle.actuator, faults)),
            sag_max_v: rounded(self.sag_max_v),
            holding_current_a: vehicle.actuator.holding_current_a,
            n_not_moving: self.not_moving.n,
            throttle_on_delay_s: median(throttle_on).map(rounded),
            n_throttle_on: throttle_on.len() as u32,
            lift_off_delay_s: median(lift_off).map(rounded),
            n_lift_off: lift_off.len() as u32,
            chatter_s: rounded(self.chatter.seconds),
            n_cuts: self.cuts.n,
            torque_share: faults.pack.torque_share,
            reported_torque_share: faults.reported_torque_share,
            n_asked: self.holding.n_asked,
            n_not_holding: self.holding.n_not_holding,
            n_dragging: self.dragging.n,
            judder_s: rounded(self.judder.total_s),
            n_judder: self.judder.n_over_a_second,
            pack_above_oil_max_k: rounded(self.above_oil_max_k),
            pack_above_oil_30_k_s: rounded(self.above_oil_s),
            lining_area_mm2: rounded(lining_area_mm2),
            power_per_area_max_w_per_mm2: rounded(self.power_max_w / lining_area_mm2),
            energy_per_area_max_j_per_mm2: rounded(event_j.fold(0.0, f64::max) / lining_area_mm2),
            n_launches: self.launches.n,
            axle_work_kj: rounded(self.axle_j / 1e3),
            gear_heat_kj: rounded(self.gear_j / 1e3),
            standing_time_constant_s: rounded(oil_and_housing / thermal.still_air_w_per_k),
            equalisation_s: rounded(pack_and_oil / thermal.pack_to_oil_w_per_k),
            straight_s: rounded(self.straight_s),
            straight_working_s: rounded(self.straight_working_s),
            one_wheel_stands_s: rounded(self.stands.longest_s),
            front_faster: faults.wheels.front_faster,
            tyre_mismatch_at_end: rounded(self.mismatch),
            wheel_ripple: faults.wheels.ripple.map_or(0.0, |ripple| ripple.share),
        }
    }
}

fn release_time_s(actuator: &ActuatorParameters, faults: &Faults) -> f64 {
    let lag_s = faults.actuator.release_lag_s.unwrap_or(actuator.lag_s);
    actuator.dead_time_s + RELEASE_PER_LAG * lag_s
}

fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

// Standard deviation over mean, from three values on.
fn variation(values: &[f64]) -> Option<f64> {
    if values.len() < 3 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|x| (x - mean) * (x - mean)).sum();
    Some((squares / (n - 1.0)).sqrt() / mean)
}
