//! What truly happened on a drive of the fleet, added up at every millisecond of the plant.
//!
//! In: the plant's states. Out: [`Truth`]. Definitions are those of the report's figures
//! (docs/report.md); nothing is computed from what the sensors show.

use super::actuator::{STEP_S, rise_s, transition_s};
use super::car::Car;
use super::plant::State;
use super::signals::Quantity;
use super::slip_only::SlipOnly;
use crate::episodes::Chatter;
use crate::events::Commands;
use serde::Serialize;

const MOVING_M_PER_S: f64 = 5.0 / 3.6;
const BEND_PER_M: f64 = 1.0 / 150.0;
const SLIP_RAD_PER_S: f64 = 0.3;
const FLOOR_NM: f64 = 50.0;
const FLOOR_PRELOADS: f64 = 1.5;
/// The plant's own chatter between sticking and sliding is shorter than this, s.
const SHARP_S: f64 = 0.005;
/// Slip beyond the bend is a mean over this, s.
const MEAN_S: f64 = 0.2;
/// A hit lasts this long at least, s.
const HIT_S: f64 = 0.3;
/// Upper ends of the ranges of slip that heat is sorted by, rad/s; the last range is open.
pub const SLIP_EDGES: [f64; 9] = [0.05, 0.1, 0.3, 0.6, 1.0, 2.0, 5.0, 10.0, 20.0];

/// The truth.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Truth {
    /// Time above 5 km/h, s.
    pub moving_s: f64,
    /// Distance, km.
    pub distance_km: f64,
    /// Heading change in bends below 150 m, left and right added, deg.
    pub turned_deg: f64,
    /// Heading change in all, deg.
    pub heading_deg: f64,
    /// Highest slip of a pack while a rear wheel turns above 5 km/h, rad/s.
    pub slip_peak: f64,
    /// Time with the command from 5 to 95 %, s.
    pub partial_by_command_s: f64,
    /// Time slipping under load, s.
    pub partial_s: f64,
    /// Engagements.
    pub engagements: f64,
    /// Heat of all packs, kJ.
    pub heat_kj: f64,
    /// Its highest rate, kW.
    pub heat_peak_kw: f64,
    /// Heat by preload, command, tyres, wheelspin, kJ.
    pub parts_kj: [f64; 4],
    /// Heat by the slip of the moment while a rear wheel turns above 5 km/h, kJ.
    pub heat_by_slip_kj: [f64; SLIP_EDGES.len() + 1],
    /// Highest mean over 0.3 s, W/mm².
    pub hit_w_per_mm2: f64,
    /// Highest rate, W/mm².
    pub specific_power: f64,
    /// Highest energy of one event, an engagement or slip without one, J/mm².
    pub specific_energy: f64,
    /// Highest oil temperature, degC.
    pub oil_max_c: f64,
    /// Highest pack temperature, degC.
    pub pack_max_c: f64,
    /// Rolling ratio of the rear tyres, right over left, at the start.
    pub tyre_ratio: f64,
    /// Fronts over rears: rolling speeds on a straight.
    pub front_ratio: f64,
    /// Dead time, s; this and the next three are not a number with a speed limit.
    pub dead_s: f64,
    /// Rise from 10 to 90 %, s.
    pub rise_s: f64,
    /// From the command to 90 %, s.
    pub transition_s: f64,
    /// From the command to 10 % when releasing, s.
    pub release_s: f64,
    /// How much slower closing is with the coldest oil than with the warmest.
    pub cold_ratio: f64,
    /// Oil above 130 degC, s.
    pub oil_hot_s: f64,
    /// Starts with a rear wheel spinning 10 rad/s beyond the bend for 0.8 s.
    pub n_spinning_starts: u32,
    /// Share of straight running above 50 km/h spent slipping under load.
    pub straight_share: f64,
    /// Time with half or more asked and 1 rad/s or more to hold, s.
    pub asked_s: f64,
    /// Time for which the controller cut the clutch to save it, s.
    pub cut_s: f64,
    /// Time with the command reversing by 10 % more than three times a second, s.
    pub chatter_s: f64,
}

/// Adds it up.
pub struct Witness<'a> {
    car: &'a Car,
    truth: Truth,
    commands: Commands,
    energy_j: f64,
    parts_j: [f64; 4],
    sharp: Mean,
    sharp_slip: Mean,
    hit: Mean,
    excess: Mean,
    slip_only: SlipOnly,
    chatter: Chatter,
    last_command: f64,
    oil_at_steps: (f64, f64),
    oil_range_c: [f64; 2],
    straight_s: [f64; 2],
    spin_s: f64,
    quiet_s: f64,
}

// A running mean over so many steps.
struct Mean {
    ring: Vec<f64>,
    at: usize,
    sum: f64,
}

impl Mean {
    fn over(seconds: f64) -> Mean {
        Mean {
            ring: vec![0.0; (seconds / STEP_S) as usize],
            at: 0,
            sum: 0.0,
        }
    }

    fn take(&mut self, value: f64) -> f64 {
        self.sum += value - self.ring[self.at];
        self.ring[self.at] = value;
        self.at = (self.at + 1) % self.ring.len();
        self.sum / self.ring.len() as f64
    }
}

impl Witness<'_> {
    /// Nothing seen yet.
    pub fn new(car: &Car) -> Witness<'_> {
        Witness {
            car,
            truth: Truth {
                oil_max_c: f64::NEG_INFINITY,
                pack_max_c: f64::NEG_INFINITY,
                ..Truth::default()
            },
            commands: Commands::default(),
            energy_j: 0.0,
            parts_j: [0.0; 4],
            sharp: Mean::over(SHARP_S),
            sharp_slip: Mean::over(SHARP_S),
            hit: Mean::over(HIT_S),
            excess: Mean::over(MEAN_S),
            slip_only: SlipOnly::default(),
            chatter: Chatter::default(),
            last_command: 0.0,
            oil_at_steps: (0.0, 0.0),
            oil_range_c: [f64::INFINITY, f64::NEG_INFINITY],
            straight_s: [0.0; 2],
            spin_s: 0.0,
            quiet_s: 0.0,
        }
    }

    /// The state after a step.
    pub fn see(&mut self, step: u64, state: &State) {
        let car = self.car;
        let place = car.pack.place;
        let speed = state.speed_m_per_s.abs();
        let [_, _, left, right] = state.wheels;
        let difference = right - left;
        let slip = place.slip() * difference.abs();
        let is_moving = speed > MOVING_M_PER_S;
        let is_turning = left.abs().max(right.abs()) * car.body.radius_m > MOVING_M_PER_S;
        let floor_nm = FLOOR_NM.max(FLOOR_PRELOADS * car.pack.preload_nm);
        let is_slipping = slip > SLIP_RAD_PER_S && state.capacity_nm > floor_nm;
        let truth = &mut self.truth;
        truth.distance_km += speed * STEP_S / 1e3;
        if is_moving {
            truth.moving_s += STEP_S;
            truth.heading_deg += state.yaw_rad_per_s.abs().to_degrees() * STEP_S;
            if state.yaw_rad_per_s.abs() > BEND_PER_M * speed {
                truth.turned_deg += state.yaw_rad_per_s.abs().to_degrees() * STEP_S;
            }
        }
        let sharp_slip = place.slip() * self.sharp_slip.take(difference).abs();
        if is_turning {
            let range = SLIP_EDGES.partition_point(|edge| *edge < sharp_slip);
            truth.heat_by_slip_kj[range] += state.heat_w * STEP_S / 1e3;
            truth.slip_peak = truth.slip_peak.max(slip);
            truth.partial_s += STEP_S * f64::from(u8::from(is_slipping));
        }
        if speed > 50.0 / 3.6 && state.curvature.abs() < 1.0 / 500.0 {
            self.straight_s[0] += STEP_S;
            self.straight_s[1] += STEP_S * f64::from(u8::from(is_slipping));
        }
        if (0.05..0.95).contains(&state.command) {
            truth.partial_by_command_s += STEP_S;
        }
        let ratio = state.tyre_ratio;
        let road = right * (1.0 - 0.5 * ratio) - left * (1.0 + 0.5 * ratio);
        let excess = road - state.bend_rad_per_s;
        if state.command >= 0.5 && excess.abs().max(state.bend_rad_per_s.abs()) > 1.0 && is_moving {
            truth.asked_s += STEP_S;
        }
        truth.cut_s += STEP_S * f64::from(u8::from(state.is_cut));
        // Heat and its causes.
        let heat_j = state.heat_w * STEP_S;
        self.energy_j += heat_j;
        let whole = difference.abs();
        if heat_j > 0.0 && whole > 0.0 {
            let sign = difference.signum();
            let spin = (sign * excess).clamp(0.0, whole);
            let tyres = (sign * ratio * 0.5 * (left + right)).clamp(0.0, whole - spin);
            let rest_j = heat_j * (whole - spin - tyres) / whole;
            let preload =
                (car.pack.preload_nm * car.knobs.torque_share / state.capacity_nm).min(1.0);
            let parts = [
                rest_j * preload,
                rest_j * (1.0 - preload),
                heat_j * tyres / whole,
                heat_j * spin / whole,
            ];
            for (sum, part) in self.parts_j.iter_mut().zip(parts) {
                *sum += part;
            }
        }
        let sharp_w = self.sharp.take(state.heat_w);
        let area_mm2 = car.pack.area_mm2() * place.n_packs();
        truth.heat_peak_kw = truth.heat_peak_kw.max(sharp_w / 1e3);
        truth.hit_w_per_mm2 = truth
            .hit_w_per_mm2
            .max(self.hit.take(state.heat_w) / area_mm2);
        // Temperatures.
        let oil_c = state.temperatures.oil_c;
        truth.oil_max_c = truth.oil_max_c.max(oil_c);
        truth.pack_max_c = truth.pack_max_c.max(state.temperatures.pack_c);
        self.oil_range_c = [
            self.oil_range_c[0].min(oil_c),
            self.oil_range_c[1].max(oil_c),
        ];
        truth.oil_hot_s += STEP_S * f64::from(u8::from(oil_c > 130.0));
        // Commands.
        let mean = self.excess.take(excess);
        if step.is_multiple_of(10) {
            let beyond = if is_turning { mean.abs() } else { 0.0 };
            self.slip_only
                .tick(state.time_s, state.command, beyond, self.energy_j);
            self.commands
                .push(state.time_s, state.command, self.energy_j);
            self.chatter
                .step(state.time_s, state.command, 10.0 * STEP_S);
            let before = std::mem::replace(&mut self.last_command, state.command);
            let moved = (state.command - before).max(0.0);
            self.oil_at_steps.0 += moved;
            self.oil_at_steps.1 += moved * oil_c;
        }
        self.commands.heat(state.heat_w, sharp_w);
        // Spinning starts.
        if speed < 20.0 / 3.6 && excess.abs() > 10.0 {
            let before_s = self.spin_s;
            self.spin_s += STEP_S;
            self.quiet_s = 0.0;
            self.truth.n_spinning_starts += u32::from(before_s < 0.8 && self.spin_s >= 0.8);
        } else {
            self.quiet_s += STEP_S;
            if self.quiet_s > 3.0 {
                self.spin_s = 0.0;
            }
        }
    }

    /// The truth of the whole drive.
    pub fn truth(self) -> Truth {
        let car = self.car;
        let n_steps = (car.route.duration_s / STEP_S).floor();
        let events = self.commands.events(n_steps * STEP_S, self.energy_j);
        let area_mm2 = car.pack.area_mm2() * car.pack.place.n_packs();
        let most_j = events
            .iter()
            .map(|event| event.energy_j)
            .fold(self.slip_only.most_j(), f64::max);
        let oil_c = match self.oil_at_steps {
            (weight, sum) if weight > 0.0 => sum / weight,
            _ => 40.0,
        };
        // With a speed limit there is no lag for steps of any size.
        // The times are those of what the car sends: where it sends no position but a torque, that
        // of a curved table comes later than the position.
        let has_position = car.signals.has(Quantity::Position);
        let sent = |position: f64| match has_position {
            true => position,
            false => car.pack.torque_nm(position),
        };
        let fitted = |is_release| match car.actuator.is_limited() {
            true => (f64::NAN, f64::NAN),
            false => car.actuator.fitted(&car.knobs, oil_c, is_release, sent),
        };
        let (dead_s, lag_s) = fitted(false);
        let (release_dead_s, release_lag_s) = fitted(true);
        let [coldest, warmest] = self.oil_range_c.map(|oil_c| car.actuator.cold(oil_c));
        let [fl, fr, rear] = car.body.wear;
        Truth {
            engagements: events.len() as f64,
            heat_kj: self.energy_j / 1e3,
            parts_kj: self.parts_j.map(|part| part / 1e3),
            specific_power: self.truth.heat_peak_kw * 1e3 / area_mm2,
            specific_energy: most_j / area_mm2,
            tyre_ratio: (car.body.tyre_ratio + car.knobs.tyre_ratio).exp(),
            front_ratio: (1.0 + rear) / (1.0 + 0.5 * (fl + fr)),
            dead_s,
            rise_s: rise_s(lag_s),
            transition_s: transition_s(dead_s, lag_s),
            release_s: transition_s(release_dead_s, release_lag_s),
            cold_ratio: coldest / warmest,
            chatter_s: self.chatter.seconds,
            straight_share: self.straight_s[1] / self.straight_s[0].max(1.0),
            ..self.truth
        }
    }
}

impl Truth {
    /// As JSON.
    pub fn to_json(&self) -> String {
        let mut text =
            serde_json::to_string_pretty(self).expect("numbers and plain keys make JSON");
        text.push('\n');
        text
    }
}
