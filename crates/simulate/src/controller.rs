//! The clutch controller: what it asks of the pack, at its own rate.
//!
//! In: what the controller's sensors say. Out: the command, a share of full, already
//! rounded to the step it has on the bus, so that log and truth carry the same number.
//! It has three moods, and stays in each for a while, as a calibration avoids chatter.

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
// Working begins above this and ends below that; it never asks for less than the last.
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

/// The controller with its memory.
#[derive(Clone, Debug)]
pub struct Controller {
    strategy: Strategy,
    mood: Mood,
    in_mood_s: f64,
    level: f64,
}

impl Controller {
    /// A controller that has just woken.
    pub fn new(strategy: Strategy) -> Controller {
        Controller {
            strategy,
            mood: Mood::Open,
            in_mood_s: STAY_OPEN_S,
            level: 0.0,
        }
    }

    /// One tick; the command holds until the next.
    pub fn tick(&mut self, sensed: &Sensed, period_s: f64) -> f64 {
        let gains = match self.strategy {
            Strategy::Constant(level) => return rounded(level),
            Strategy::Road(gains) => gains,
        };
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
        let change = (aim - self.level).clamp(-FALL_PER_S * period_s, RISE_PER_S * period_s);
        self.level = (self.level + change).clamp(0.0, 1.0);
        rounded(self.level)
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

fn rounded(level: f64) -> f64 {
    (level / COMMAND_STEP).round() * COMMAND_STEP
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
