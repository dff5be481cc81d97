//! Wheel speeds that cannot be: a signal that drops to 0 at speed, or stands still.
//!
//! In: both rear wheel speeds. Out: whether one of them is in doubt, so that no
//! difference is taken from it. A lost wheel signal at 60 km/h would read as wheelspin
//! and cost kilojoules that never were.

use halfshaft_model::Time;

/// A wheel that reads exactly 0 straight after more than this, rad/s, while the other one
/// rolls on, has dropped out and not stopped. Source: none, engineering guess.
const DROPPED_FROM: f64 = 4.0;

/// A wheel that repeats one number for longer than this, s, while the car changes its
/// speed, is stuck. Source: none, engineering guess.
const STUCK_AFTER_S: f64 = 2.0;

/// Change of the car's speed that counts, as a share. The other rear wheel will not do as
/// a witness: it may be the one that spins. Source: none, engineering guess.
const SPEED_CHANGES: f64 = 0.10;

/// Watches both rear wheels.
#[derive(Clone, Copy, Debug, Default)]
pub struct WheelDoubt {
    wheels: [Wheel; 2],
    was_in_doubt: bool,
    /// How often doubt began.
    pub n_doubted: u32,
}

#[derive(Clone, Copy, Debug, Default)]
struct Wheel {
    latest: f64,
    // Since when it repeats its number, and how fast the car was then.
    repeats: Option<(Time, Option<f64>)>,
    is_dropped: bool,
}

impl WheelDoubt {
    /// Takes both wheel speeds, left and right, and what else tells the speed of the car
    /// (front wheels or its own channel, in any unit); says whether a wheel is in doubt.
    pub fn is_in_doubt(&mut self, time: Time, speeds: [f64; 2], car: Option<f64>) -> bool {
        let doubts = [
            self.wheels[0].is_in_doubt(time, speeds[0], speeds[1], car),
            self.wheels[1].is_in_doubt(time, speeds[1], speeds[0], car),
        ];
        let is_in_doubt = doubts[0] || doubts[1];
        self.n_doubted += u32::from(is_in_doubt && !self.was_in_doubt);
        self.was_in_doubt = is_in_doubt;
        is_in_doubt
    }
}

impl Wheel {
    fn is_in_doubt(&mut self, time: Time, speed: f64, other: f64, car: Option<f64>) -> bool {
        let latest = std::mem::replace(&mut self.latest, speed);
        if speed == 0.0 {
            self.is_dropped |= latest.abs() > DROPPED_FROM && other.abs() > DROPPED_FROM;
        } else {
            self.is_dropped = false;
        }
        if speed != latest || speed == 0.0 {
            self.repeats = None;
            return self.is_dropped;
        }
        let (since, car_then) = *self.repeats.get_or_insert((time, car));
        let has_changed = |(now, then): (f64, f64)| (now - then).abs() > SPEED_CHANGES * then.abs();
        time.since(since) > STUCK_AFTER_S && car.zip(car_then).is_some_and(has_changed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds in doubt of a drive sampled every 10 ms.
    fn in_doubt(speeds: impl Fn(f64) -> [f64; 2], car: impl Fn(f64) -> Option<f64>) -> f64 {
        let mut doubt = WheelDoubt::default();
        let n = (0..1000).filter(|index| {
            let time = f64::from(*index) * 0.01;
            doubt.is_in_doubt(Time::from_seconds(time), speeds(time), car(time))
        });
        n.count() as f64 * 0.01
    }

    #[test]
    fn a_signal_lost_at_speed_is_in_doubt_and_a_stop_is_not() {
        let unknown = |_: f64| None;
        let lost = in_doubt(
            |time| {
                [
                    50.0,
                    if (3.0..3.5).contains(&time) {
                        0.0
                    } else {
                        50.0
                    },
                ]
            },
            unknown,
        );
        assert!((lost - 0.5).abs() < 0.02, "{lost}");
        let stop = in_doubt(|time| [(50.0 - 10.0 * time).max(0.0); 2], unknown);
        assert_eq!(stop, 0.0);
        let one_spins = in_doubt(|time| [0.0, 10.0 * time], unknown);
        assert_eq!(one_spins, 0.0);
    }

    #[test]
    fn a_stuck_signal_is_in_doubt_once_the_car_moves_on() {
        let rolling = |time: f64| 40.0 + 2.0 * time;
        let stuck = in_doubt(
            |time| [rolling(time), rolling(time.min(2.0))],
            |time| Some(rolling(time)),
        );
        // From 2 s on it repeats; at 44 rad/s the car must gain 4.4, which takes 2.2 s.
        assert!((stuck - 5.8).abs() < 0.2, "{stuck}");
        let spin_on_the_spot = in_doubt(|time| [40.0, 40.0 + 5.0 * time], |_| Some(40.0));
        assert_eq!(spin_on_the_spot, 0.0);
    }
}
