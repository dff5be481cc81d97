//! The clutch controller: what it commands, at its own rate.
//!
//! In: what the controller's sensors say. Out: the command, a share of full, already
//! rounded to the step it has on the bus, so that log and truth carry the same number.
//! It has three moods, and stays in each for a while, as a calibration avoids chatter.

use crate::faults::{Chatter, ControllerFaults};
use std::collections::VecDeque;

/// Smallest step of the command. Chosen so that no code falls on 0.05, 0.10, 0.15 or
/// 0.95, where an event or a state begins: truth then never hangs on a rounding.
pub const COMMAND_STEP: f64 = 0.0011;

/// How the controller decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Strategy {
    /// Throttle decides first, slip adds to it.
    Road(Gains),
    /// Always the same command, for closed-form tests.
    Constant(f64),
}

/// Gains of the controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gains {
    /// Command at full throttle and low speed.
    pub per_throttle: f64,
    /// Command per rad/s of speed difference beyond the bend's own.
    pub per_excess_s_per_rad: f64,
    /// Command held ready while the driver accelerates; 0 for none.
    pub ready: f64,
}

/// What the controller sees.
#[derive(Clone, Copy, Debug)]
pub struct Sensed {
    /// Road speed, m/s.
    pub speed_m_per_s: f64,
    /// Accelerator, 0 to 1.
    pub throttle: f64,
    /// Brake pedal pressed.
    pub is_braking: bool,
    /// Wheel speed difference less the one of the bend, rad/s.
    pub excess_rad_per_s: f64,
    /// Oil temperature, °C.
    pub oil_c: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Mood {
    Open,
    Ready,
    Working,
}

// Shortest stay in each mood, s. Open lasts longer than the 300 ms within which two
// events are one, so that the number of events is no matter of taste.
const STAY_OPEN_S: f64 = 0.7;
const STAY_READY_S: f64 = 0.4;
const STAY_WORKING_S: f64 = 0.35;
// Working begins above this and ends below that; its command is never below the last.
const BEGIN_WORKING: f64 = 0.18;
const END_WORKING: f64 = 0.08;
const LEAST_WORKING: f64 = 0.2;
// Greatest change of the command, 1/s.
const RISE_PER_S: f64 = 7.0;
const FALL_PER_S: f64 = 9.0;
// Throttle that makes it ready.
const READY_THROTTLE: f64 = 0.3;
// Differences below this are left alone, rad/s.
const DEAD_BAND_RAD_PER_S: f64 = 1.0;
// Speeds between which the share of the throttle fades to a third, m/s.
const FADE_M_PER_S: [f64; 2] = [15.0, 40.0];

// Road speed from which a command may rest on the pack, m/s: 50 km/h.
const CRUISE_M_PER_S: f64 = 50.0 / 3.6;
// Command and excess from which releasing to save the clutch makes a difference.
const PROTECTS_FROM_COMMAND: f64 = 0.25;
const PROTECTS_FROM_EXCESS_RAD_PER_S: f64 = 1.0;
// After releasing it works this long again, s.
const PROTECTION_APART_S: f64 = 4.0;

/// The controller with its memory.
#[derive(Clone, Debug)]
pub struct Controller {
    strategy: Strategy,
    faults: ControllerFaults,
    // Throttle of the last ticks; what is believed of it with its brake; newest last.
    throttles: VecDeque<f64>,
    pedals: VecDeque<(f64, bool)>,
    chatter_s: f64,
    lets_go_s: f64,
    works_again_s: f64,
    mood: Mood,
    in_mood_s: f64,
    level: f64,
}

impl Controller {
    /// A controller that has just woken.
    pub fn new(strategy: Strategy) -> Controller {
        Controller {
            strategy,
            faults: ControllerFaults::NONE,
            throttles: VecDeque::new(),
            pedals: VecDeque::new(),
            chatter_s: 0.0,
            lets_go_s: 0.0,
            works_again_s: 0.0,
            mood: Mood::Open,
            in_mood_s: STAY_OPEN_S,
            level: 0.0,
        }
    }

    /// The same with something wrong.
    pub fn with_faults(self, faults: ControllerFaults) -> Controller {
        Controller { faults, ..self }
    }

    /// One tick; the command holds until the next.
    pub fn tick(&mut self, sensed: &Sensed, period_s: f64) -> f64 {
        let gains = match self.strategy {
            Strategy::Constant(level) => return rounded(level),
            Strategy::Road(gains) => gains,
        };
        let sensed = &self.believed(sensed, period_s);
        if self.lets_go(sensed, period_s) {
            (self.level, self.mood, self.in_mood_s) = (0.0, Mood::Open, 0.0);
            return 0.0;
        }
        let want = wanted(&gains, sensed);
        self.in_mood_s += period_s;
        let next = match self.mood {
            Mood::Open if self.in_mood_s < STAY_OPEN_S => Mood::Open,
            Mood::Ready if self.in_mood_s < STAY_READY_S => Mood::Ready,
            Mood::Working if self.in_mood_s < STAY_WORKING_S => Mood::Working,
            Mood::Working if want > END_WORKING => Mood::Working,
            Mood::Open | Mood::Ready if want > BEGIN_WORKING => Mood::Working,
            _ if gains.ready > 0.0 && sensed.throttle > READY_THROTTLE && !sensed.is_braking => {
                Mood::Ready
            }
            _ => Mood::Open,
        };
        if next != self.mood {
            self.mood = next;
            self.in_mood_s = 0.0;
        }
        let aim = match self.mood {
            Mood::Open => 0.0,
            Mood::Ready => gains.ready,
            Mood::Working => want.max(LEAST_WORKING),
        };
        let is_cruising = sensed.speed_m_per_s > CRUISE_M_PER_S && !sensed.is_braking;
        let aim = if is_cruising {
            aim.max(self.faults.cruise_command)
        } else {
            aim
        };
        let change = (aim - self.level).clamp(-FALL_PER_S * period_s, RISE_PER_S * period_s);
        self.level = (self.level + change).clamp(0.0, 1.0);
        match self.faults.chatter {
            Some(chatter) if self.mood == Mood::Working => {
                self.chatter_s += period_s;
                rounded((self.level + swing(&chatter, self.chatter_s)).clamp(0.0, 1.0))
            }
            _ => rounded(self.level),
        }
    }

    // What it takes the pedals for: a press counts once the throttle has been there for the
    // whole delay, so the least of that time is believed; a lift likewise.
    fn believed(&mut self, sensed: &Sensed, period_s: f64) -> Sensed {
        let n_ticks = |delay_s: f64| (delay_s / period_s).round() as usize;
        let on = n_ticks(self.faults.throttle_on_delay_s);
        let off = n_ticks(self.faults.lift_off_delay_s);
        if on.max(off) == 0 {
            return *sensed;
        }
        self.throttles.push_back(sensed.throttle);
        while self.throttles.len() > on + 1 {
            self.throttles.pop_front();
        }
        let pressed = self.throttles.iter().copied().fold(1.0, f64::min);
        self.pedals.push_back((pressed, sensed.is_braking));
        while self.pedals.len() > off + 1 {
            self.pedals.pop_front();
        }
        Sensed {
            throttle: self
                .pedals
                .iter()
                .map(|pedals| pedals.0)
                .fold(0.0, f64::max),
            is_braking: self.pedals.iter().all(|pedals| pedals.1),
            ..*sensed
        }
    }

    // Whether the clutch is being saved.
    fn lets_go(&mut self, sensed: &Sensed, period_s: f64) -> bool {
        let Some(protection) = self.faults.protection else {
            return false;
        };
        self.works_again_s = (self.works_again_s - period_s).max(0.0);
        if self.lets_go_s > 0.0 {
            self.lets_go_s -= period_s;
            if self.lets_go_s <= 0.0 {
                self.works_again_s = PROTECTION_APART_S;
            }
            return true;
        }
        let begins = self.works_again_s == 0.0
            && sensed.oil_c > protection.above_oil_c
            && sensed.throttle > protection.from_throttle
            && sensed.excess_rad_per_s.abs() > PROTECTS_FROM_EXCESS_RAD_PER_S
            && self.level > PROTECTS_FROM_COMMAND;
        if begins {
            self.lets_go_s = protection.lasts_s;
        }
        begins
    }
}

fn wanted(gains: &Gains, sensed: &Sensed) -> f64 {
    if sensed.is_braking {
        return 0.0;
    }
    let fade = (sensed.speed_m_per_s - FADE_M_PER_S[0]) / (FADE_M_PER_S[1] - FADE_M_PER_S[0]);
    let share = 1.0 - 0.67 * fade.clamp(0.0, 1.0);
    let pedal = ((sensed.throttle - 0.15) / 0.85).max(0.0);
    let excess = (sensed.excess_rad_per_s.abs() - DEAD_BAND_RAD_PER_S).max(0.0);
    // Without throttle a difference is the road's doing, not wheelspin.
    let excess = if sensed.throttle > 0.1 { excess } else { 0.0 };
    (gains.per_throttle * share * pedal + gains.per_excess_s_per_rad * excess).min(1.0)
}

// A triangle about 0.
fn swing(chatter: &Chatter, time_s: f64) -> f64 {
    let turns = time_s / chatter.period_s;
    let phase = turns - turns.floor();
    let triangle = if phase < 0.5 {
        4.0 * phase - 1.0
    } else {
        3.0 - 4.0 * phase
    };
    0.5 * chatter.swing * triangle
}

fn rounded(level: f64) -> f64 {
    (level / COMMAND_STEP).round() * COMMAND_STEP
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::faults::Protection;

    #[test]
    fn no_code_stands_on_a_threshold() {
        for threshold in [0.05, 0.10, 0.15, 0.95] {
            let codes: f64 = threshold / COMMAND_STEP;
            assert!((codes - codes.round()).abs() > 0.05, "{threshold}");
        }
    }

    #[test]
    fn command_rises_with_throttle_and_slip_and_falls_with_the_brake() {
        let gains = Gains {
            per_throttle: 0.6,
            per_excess_s_per_rad: 0.1,
            ready: 0.07,
        };
        let settle = |throttle: f64, is_braking: bool, excess: f64| {
            let mut controller = Controller::new(Strategy::Road(gains));
            let sensed = Sensed {
                speed_m_per_s: 10.0,
                throttle,
                is_braking,
                excess_rad_per_s: excess,
                oil_c: 60.0,
            };
            (0..200)
                .map(|_| controller.tick(&sensed, 0.02))
                .last()
                .unwrap()
        };
        assert_eq!(settle(0.0, false, 0.5), 0.0);
        assert!((settle(0.32, false, 0.0) - 0.07).abs() < COMMAND_STEP);
        assert!((settle(1.0, false, 0.0) - 0.6).abs() < COMMAND_STEP);
        assert!(settle(0.6, false, 5.0) > settle(0.6, false, 2.0));
        assert_eq!(settle(1.0, true, 20.0), 0.0);
    }

    const EAGER: Strategy = Strategy::Road(Gains {
        per_throttle: 0.6,
        per_excess_s_per_rad: 0.1,
        ready: 0.0,
    });

    // Commands every 20 ms for a throttle that is pressed from 2 s to 6 s.
    fn commands(faults: ControllerFaults, oil_c: f64) -> Vec<f64> {
        let mut controller = Controller::new(EAGER).with_faults(faults);
        (0..500)
            .map(|tick| {
                let sensed = Sensed {
                    speed_m_per_s: 20.0,
                    throttle: if (100..300).contains(&tick) { 0.9 } else { 0.0 },
                    is_braking: false,
                    excess_rad_per_s: 3.0,
                    oil_c,
                };
                controller.tick(&sensed, 0.02)
            })
            .collect()
    }

    fn span(commands: &[f64]) -> (usize, usize) {
        let first = commands.iter().position(|&u| u >= 0.1).unwrap();
        (first, commands.iter().rposition(|&u| u >= 0.05).unwrap())
    }

    #[test]
    fn delays_are_the_ones_asked_for() {
        let (first, last) = span(&commands(ControllerFaults::NONE, 60.0));
        assert!(first < 103 && last < 306, "{first} {last}");
        let late = ControllerFaults {
            throttle_on_delay_s: 0.4,
            ..ControllerFaults::NONE
        };
        assert_eq!(span(&commands(late, 60.0)), (first + 20, last));
        let hanging = ControllerFaults {
            lift_off_delay_s: 0.7,
            ..ControllerFaults::NONE
        };
        assert_eq!(span(&commands(hanging, 60.0)), (first, last + 35));
    }

    #[test]
    fn it_lets_go_when_hot_only_and_hunts_when_told() {
        let saving = ControllerFaults {
            protection: Some(Protection {
                above_oil_c: 120.0,
                from_throttle: 0.5,
                lasts_s: 1.0,
            }),
            ..ControllerFaults::NONE
        };
        assert_eq!(
            commands(saving, 60.0),
            commands(ControllerFaults::NONE, 60.0)
        );
        let n_zero = |commands: &[f64]| commands[110..300].iter().filter(|&&u| u == 0.0).count();
        assert_eq!(n_zero(&commands(saving, 60.0)), 0);
        assert!(n_zero(&commands(saving, 130.0)) >= 40);
        let hunting = ControllerFaults {
            chatter: Some(Chatter {
                swing: 0.3,
                period_s: 0.4,
            }),
            ..ControllerFaults::NONE
        };
        let hunted = &commands(hunting, 60.0)[150..250];
        let most = hunted.iter().copied().fold(0.0, f64::max);
        let least = hunted.iter().copied().fold(1.0, f64::min);
        assert!((most - least - 0.3).abs() < 0.035, "{least} {most}");
    }

    #[test]
    fn it_rests_on_the_pack_at_speed_when_told() {
        let resting = ControllerFaults {
            cruise_command: 0.2,
            ..ControllerFaults::NONE
        };
        let command = commands(resting, 60.0)[90];
        assert!((command - 0.2).abs() < COMMAND_STEP, "{command}");
    }
}
