//! Stick and slip of the pack in slow turns under load.
//!
//! In stretches of 0.8 s of wheel samples the slip, its trend taken out, is held against sines
//! from 3 to 27 Hz. What comes once or twice per turn of a wheel is the ring or the tyre, not
//! the pack, and is not counted. Fewer than 50 samples a second show a false frequency, so it
//! refuses them.

use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::Row;
use halfshaft_model::Time;
use halfshaft_model::constants::M_PER_S_PER_KM_PER_H;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::limits::{Limits, rounded};
use crate::nouns::Severity;
use crate::trust::{COMMAND, HEAT, SLIP, TURNING};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::Judder,
        title: "Judder, stick and slip",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.judder;
            format!(
                "the slip swings by more than {} rad/s either way at {} to {} Hz in {} slow turns under load or more (below \
                 {} km/h), not in step with a wheel",
                limits.amplitude_rad_per_s,
                limits.from_hz,
                limits.to_hz,
                limits.turns,
                limits.below_km_per_h
            )
        },
        needs: "both rear wheel speeds 50 times a second or more, torque or command of the clutch, slow turns under load",
        could_also_be: "wheel hop, a rough road, a control that pulses",
        next_check: "Change the oil, drive ten figures of eight each way, and listen again.",
        owner_sees: "The clutch grabs and releases in jerks in slow turns.",
        owner_does: "Have the axle oil changed. If slow figures of eight still jerk after that, have the clutch pack looked at.",
        withdrawn_if: "it is gone with fresh oil, or a wheel speed is found at fault",
    },
    on: SLIP | COMMAND | TURNING | HEAT,
    begin: |setup| Box::new(Judder::new(setup)),
};

/// Length of a stretch, s: frequencies 2.5 Hz apart are told.
const STRETCH_S: f64 = 0.8;
/// Bound on samples kept.
const MOST_SAMPLES: usize = 1000;
/// How far beyond the band is looked, Hz: a peak at its edge must be one.
const BEYOND_HZ: f64 = 2.0;
const STEP_HZ: f64 = 0.5;
/// Least and greatest of no command.
const COMMAND_UNSEEN: (f64, f64) = (f64::INFINITY, f64::NEG_INFINITY);

/// A turn in which judder was seen.
#[derive(Clone, Copy, Debug)]
struct Turn {
    start: Time,
    end: Time,
    amplitude: f64,
    frequency_hz: f64,
    speed: f64,
}

#[derive(Clone, Debug)]
struct Judder {
    limits: Limits,
    torque_floor_nm: f64,
    start: Time,
    samples: Vec<(f64, f64)>,
    case_speed: f64,
    road_speed: f64,
    // Least and greatest command of the stretch.
    command: (f64, f64),
    latest_in_turn: Option<Time>,
    turn: Option<Turn>,
    turns: Strongest,
    n_stretches: usize,
    is_coarse: bool,
}

impl Judder {
    fn new(setup: &Setup) -> Judder {
        Judder {
            limits: *setup.limits,
            torque_floor_nm: setup.limits.slip.torque_floor_nm,
            start: Time(0),
            samples: Vec::new(),
            case_speed: 0.0,
            road_speed: 0.0,
            command: COMMAND_UNSEEN,
            latest_in_turn: None,
            turn: None,
            turns: Strongest::default(),
            n_stretches: 0,
            is_coarse: false,
        }
    }

    fn is_slow_turn(&self, row: &Row) -> bool {
        let slow = self.limits.judder.below_km_per_h * M_PER_S_PER_KM_PER_H;
        let asks = self.limits.holding.opportunity_rad_per_s;
        let differs = |difference: f64| difference.abs() >= asks;
        let is_loaded = match (row.torque_nm, row.command) {
            (Some(torque_nm), _) => torque_nm > self.torque_floor_nm,
            (None, Some(command)) => command >= self.limits.slip.command_floor,
            (None, None) => false,
        };
        row.is_joined
            && row.is_turning
            && is_loaded
            && counts(row, &self.limits.driving)
            && row.road_speed.is_some_and(|speed| speed < slow)
            && (differs(row.difference_mean) || row.kinematic_difference.is_some_and(differs))
    }

    fn judge(&mut self, end: Time) {
        let n = self.samples.len() as f64;
        let limits = &self.limits.judder;
        let per_s = (n - 1.0) / end.since(self.start);
        // A tenth of jitter in the times is no coarser sampling.
        if per_s < 0.9 * limits.samples_per_s {
            self.is_coarse = true;
            return;
        }
        self.n_stretches += 1;
        let highest_hz = (limits.to_hz + BEYOND_HZ).min(0.5 * per_s);
        let (frequency_hz, amplitude) =
            strongest(&self.samples, limits.from_hz - BEYOND_HZ, highest_hz);
        let turns_hz = self.case_speed / n / std::f64::consts::TAU;
        let is_of_wheel = [1.0, 2.0]
            .iter()
            .any(|order| (frequency_hz - order * turns_hz).abs() < limits.wheel_within_hz);
        let is_in_band = limits.from_hz <= frequency_hz && frequency_hz <= limits.to_hz;
        if amplitude <= limits.amplitude_rad_per_s || !is_in_band || is_of_wheel {
            return;
        }
        // A controller that catches a spin makes slip swing as well, and by its own command.
        if self.command.1 - self.command.0 > limits.command_swing {
            return;
        }
        let speed = 3.6 * self.road_speed / n;
        let turn = self.turn.get_or_insert(Turn {
            start: self.start,
            end,
            amplitude,
            frequency_hz,
            speed,
        });
        turn.end = end;
        if amplitude > turn.amplitude {
            (turn.amplitude, turn.frequency_hz, turn.speed) = (amplitude, frequency_hz, speed);
        }
    }

    fn end_turn(&mut self) {
        let Some(turn) = self.turn.take() else {
            return;
        };
        let values = [
            ("amplitude of the slip", turn.amplitude, "rad/s"),
            ("frequency", turn.frequency_hz, "Hz"),
            ("speed", turn.speed, "km/h"),
        ];
        self.turns
            .add(turn.amplitude, window(turn.start, turn.end, &values));
    }
}

/// The frequency at which the samples (s, value) swing most, Hz, and the amplitude there.
fn strongest(samples: &[(f64, f64)], from_hz: f64, to_hz: f64) -> (f64, f64) {
    let n = samples.len() as f64;
    let (time, value) = samples.iter().fold((0.0, 0.0), |sum, sample| {
        (sum.0 + sample.0, sum.1 + sample.1)
    });
    let (time, value) = (time / n, value / n);
    let (spread, along) = samples.iter().fold((0.0, 0.0), |sum, sample| {
        let off = sample.0 - time;
        (sum.0 + off * off, sum.1 + off * (sample.1 - value))
    });
    let slope = if spread > 0.0 { along / spread } else { 0.0 };
    let length_s = samples.last().map_or(0.0, |last| last.0);
    // Raised cosine: what lies at other frequencies stays there.
    let weighted: Vec<(f64, f64)> = samples
        .iter()
        .map(|sample| {
            let weight = 0.5 - 0.5 * (std::f64::consts::TAU * sample.0 / length_s).cos();
            let rest = sample.1 - value - slope * (sample.0 - time);
            (sample.0, weight * rest)
        })
        .collect();
    let mut best = (0.0, 0.0);
    let n_steps = ((to_hz - from_hz) / STEP_HZ).floor() as i32;
    for step in 0..=n_steps {
        let hz = from_hz + f64::from(step) * STEP_HZ;
        let (re, im) = weighted.iter().fold((0.0, 0.0), |sum, &(time_s, value)| {
            let (sine, cosine) = (std::f64::consts::TAU * hz * time_s).sin_cos();
            (sum.0 + value * cosine, sum.1 + value * sine)
        });
        // The weights sum to n/2.
        let amplitude = 4.0 * f64::hypot(re, im) / n;
        if amplitude > best.1 {
            best = (hz, amplitude);
        }
    }
    best
}

impl Check for Judder {
    fn note(&mut self, row: &Row) {
        let is_over = |latest: &Time| row.time.since(*latest) > self.limits.judder.apart_s;
        if self.latest_in_turn.as_ref().is_some_and(is_over) {
            self.latest_in_turn = None;
            self.end_turn();
        }
        if !self.is_slow_turn(row) {
            self.samples.clear();
            return;
        }
        self.latest_in_turn = Some(row.time);
        if !row.is_wheel_sample {
            return;
        }
        if self.samples.is_empty() {
            self.start = row.time;
            (self.case_speed, self.road_speed) = (0.0, 0.0);
            self.command = COMMAND_UNSEEN;
        }
        if let Some(command) = row.command {
            self.command = (self.command.0.min(command), self.command.1.max(command));
        }
        let time_s = row.time.since(self.start);
        self.samples.push((time_s, row.slip));
        self.case_speed += row.case_speed;
        self.road_speed += row.road_speed.unwrap_or(0.0);
        if time_s >= STRETCH_S {
            self.judge(row.time);
        }
        if time_s >= STRETCH_S || self.samples.len() >= MOST_SAMPLES {
            self.samples.clear();
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.turns);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.basis.slip.clone()?;
        drive.road_speed()?;
        drive.steady_wheels()?;
        let limits = &drive.limits.judder;
        let mut settled = self.clone();
        settled.end_turn();
        if settled.n_stretches == 0 {
            return Err(match self.is_coarse {
                true => Reason::SlowWheels {
                    needed_per_s: limits.samples_per_s,
                },
                false => DriveFact::SlowTurn.into(),
            });
        }
        let turns = &settled.turns;
        if turns.n() < limits.turns as usize {
            return Ok(None);
        }
        let windows = turns.windows();
        let mut frequencies: Vec<f64> = windows.iter().map(|turn| turn.values[1].value).collect();
        frequencies.sort_by(f64::total_cmp);
        Ok(Some(Fired {
            severity: Severity::LookSoon,
            grade: drive.quality.grade,
            summary: format!(
                "In {} slow turns under load the slip swung by up to {:.1} rad/s either way at about {:.0} Hz (limit {} \
                 turns of more than {} rad/s at {} to {} Hz), not in step with a wheel.",
                turns.n(),
                turns.greatest().unwrap_or(0.0),
                frequencies[frequencies.len() / 2],
                limits.turns,
                rounded(limits.amplitude_rad_per_s, 1),
                limits.from_hz,
                limits.to_hz
            ),
            evidence: windows,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    /// Five slow turns of 3 s in 50 s; the slip swings about 1 rad/s.
    fn outcome(scene: &Scene, period_s: f64, swing: impl Fn(f64) -> f64) -> Outcome {
        driven(scene, period_s, swing, |_| 0.5)
    }

    /// The same under a command.
    fn driven(
        scene: &Scene,
        period_s: f64,
        swing: impl Fn(f64) -> f64,
        command: impl Fn(f64) -> f64,
    ) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..(50.0 / period_s) as i32 {
            let time = f64::from(index) * period_s;
            let mut row = row(time);
            row.seconds = period_s;
            row.command = Some(command(time));
            (row.road_speed, row.case_speed) = (Some(5.0), 15.6);
            if time % 10.0 < 3.0 {
                row.kinematic_difference = Some(2.0);
                row.torque_nm = Some(150.0);
                row.slip = 1.0 + swing(time);
            }
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    fn sine(amplitude: f64, hz: f64) -> impl Fn(f64) -> f64 {
        move |time| amplitude * (std::f64::consts::TAU * hz * time).sin()
    }

    #[test]
    fn slip_that_swings_with_the_command_is_the_controllers() {
        let scene = Scene::whole();
        let swings = |time: f64| 0.5 + 0.2 * (std::f64::consts::TAU * 8.0 * time).sin();
        assert!(outcome(&scene, 0.01, sine(1.4, 8.0)).unwrap().is_some());
        assert_eq!(driven(&scene, 0.01, sine(1.4, 8.0), swings), Ok(None));
    }

    #[test]
    fn swings_of_twelve_hertz_are_judder_of_that_size() {
        let scene = Scene::whole();
        for hz in [7.0, 12.0, 21.0] {
            let fired = outcome(&scene, 0.01, sine(1.4, hz)).unwrap().unwrap();
            says(&fired.summary, "In 5 slow turns");
            let [amplitude, found_hz] = [0, 1].map(|index| fired.evidence[0].values[index].value);
            assert!((amplitude - 1.4).abs() < 0.1, "{hz} Hz: {amplitude}");
            assert!((found_hz - hz).abs() <= 0.5, "{hz} Hz: {found_hz}");
        }
    }

    #[test]
    fn small_slow_and_wheel_bound_swings_are_none() {
        let scene = Scene::whole();
        assert_eq!(outcome(&scene, 0.01, sine(0.8, 12.0)), Ok(None));
        assert_eq!(outcome(&scene, 0.01, sine(2.0, 2.0)), Ok(None));
        // Twice per turn: 15.6 rad/s are 2.48 turns a second.
        assert_eq!(outcome(&scene, 0.01, sine(2.0, 5.0)), Ok(None));
    }

    #[test]
    fn slow_samples_a_rippling_wheel_or_no_turn_refuse() {
        let mut scene = Scene::whole();
        says(
            &outcome(&scene, 0.025, sine(2.0, 12.0)).unwrap_err(),
            "less than 50 times",
        );
        scene.ripple = Ok(Some(crate::ripple::Ripple {
            is_right: false,
            order: 1,
            share: 0.03,
            share_of_other: 0.0,
            n_showing: 20,
            n_judged: 20,
            evidence: Vec::new(),
        }));
        says(
            &outcome(&scene, 0.01, sine(2.0, 12.0)).unwrap_err(),
            "ripples with the turns",
        );
        let scene = Scene::whole();
        let check = scene.check(&ENTRY);
        says(&check.outcome(&scene.drive()).unwrap_err(), "no slow turn");
    }
}
