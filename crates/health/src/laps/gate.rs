//! Lap starts from the car's position: a line across the track.
//!
//! In: fixes. Out: times of lap starts. The user names a point on the track; the line lies
//! across the way the car took when it first passed. Passing the other way, or on another
//! road further off, is none. The time is that of the nearest point of the way, between two
//! fixes. A fix that no car could have come to is none, and positions that stand still while the
//! wheels turn give no laps.

use crate::reason::{DriveFact, Reason};
use halfshaft_model::{Fix, Position, Span, Time};

use super::grid::MOST_MARKS;
use crate::limits::LapLimits;

/// Least move between two fixes that has a direction, m: a receiver at rest wanders.
/// Source: none, engineering guess.
const LEAST_MOVE_M: f64 = 0.5;

/// East and north of the point, m.
type Metres = (f64, f64);

/// The nearest point of a passing that is not over yet.
#[derive(Clone, Copy, Debug)]
struct Nearest {
    distance_m: f64,
    time: Time,
    direction: Metres,
}

/// Watches the line.
#[derive(Clone, Debug)]
pub struct Gate {
    point: Position,
    limits: LapLimits,
    // The latest fix that was a move away from the one before.
    before: Option<(Time, Metres)>,
    nearest: Option<Nearest>,
    direction: Option<Metres>,
    starts: Vec<Time>,
    n_dropped: u64,
    nearest_m: f64,
    n_fixes: u64,
    // From the first fix to the latest, and the way between.
    seen: Option<Span>,
    way_m: f64,
}

impl Gate {
    /// A line at a point of the track.
    pub fn new(point: Position, limits: &LapLimits) -> Gate {
        Gate {
            point,
            limits: *limits,
            before: None,
            nearest: None,
            direction: None,
            starts: Vec::new(),
            n_dropped: 0,
            nearest_m: f64::INFINITY,
            n_fixes: 0,
            seen: None,
            way_m: 0.0,
        }
    }

    /// Takes a fix.
    pub fn add(&mut self, fix: &Fix) {
        self.n_fixes += 1;
        let now = fix.position.east_north_m(self.point);
        let seen = self.seen.get_or_insert(Span {
            start: fix.time,
            end: fix.time,
        });
        seen.end = fix.time;
        let Some((time, was)) = self.before else {
            self.before = Some((fix.time, now));
            self.nearest_m = self.nearest_m.min(now.0.hypot(now.1));
            return;
        };
        let step = (now.0 - was.0, now.1 - was.1);
        let length_m = step.0.hypot(step.1);
        // A receiver that finds itself again jumps; one wrong fix jumps there and back.
        let farthest_m = self.limits.position_top_speed_m_per_s * fix.time.since(time).max(0.0);
        let is_jump = length_m > farthest_m + self.limits.line_reach_m;
        if !fix.is_joined || is_jump {
            self.pass();
            self.before = Some((fix.time, now));
            // What lies between was driven, though not seen.
            self.way_m += if is_jump { 0.0 } else { length_m };
            return;
        }
        self.nearest_m = self.nearest_m.min(now.0.hypot(now.1));
        if length_m < LEAST_MOVE_M {
            return;
        }
        self.way_m += length_m;
        // Foot of the perpendicular from the point, kept between the two fixes.
        let along = -(was.0 * step.0 + was.1 * step.1) / length_m.powi(2);
        let along = along.clamp(0.0, 1.0);
        let foot = (was.0 + along * step.0, was.1 + along * step.1);
        let distance_m = foot.0.hypot(foot.1);
        self.nearest_m = self.nearest_m.min(distance_m);
        if distance_m > self.limits.line_reach_m {
            self.pass();
        } else if self
            .nearest
            .is_none_or(|nearest| distance_m < nearest.distance_m)
        {
            self.nearest = Some(Nearest {
                distance_m,
                time: time.plus(along * fix.time.since(time)),
                direction: (step.0 / length_m, step.1 / length_m),
            });
        }
        self.before = Some((fix.time, now));
    }

    /// The car has left the reach of the line.
    fn pass(&mut self) {
        let Some(nearest) = self.nearest.take() else {
            return;
        };
        let direction = *self.direction.get_or_insert(nearest.direction);
        let same_way = direction.0 * nearest.direction.0 + direction.1 * nearest.direction.1;
        if same_way <= 0.0 {
            return;
        }
        if self.starts.len() < MOST_MARKS {
            self.starts.push(nearest.time);
        } else {
            self.n_dropped += 1;
        }
    }

    /// Lap starts, or why there are none; with the way by the wheels, m, from a time to another.
    pub fn starts(&self, driven_m: impl Fn(Span) -> f64) -> Result<Vec<Time>, Reason> {
        let mut settled = self.clone();
        settled.pass();
        if settled.seen.is_some_and(|seen| {
            let driven_m = driven_m(seen);
            driven_m >= self.limits.shortest_m
                && self.way_m < self.limits.position_least_way * driven_m
        }) {
            return Err(DriveFact::PositionThatMoves.into());
        }
        if settled.n_fixes == 0 {
            return Err(DriveFact::Position.into());
        }
        if settled.n_dropped > 0 {
            return Err(DriveFact::LineOfLaps.into());
        }
        match settled.starts.len() {
            0 => Err(Reason::LineNotReached {
                nearest_m: settled.nearest_m,
                reach_m: settled.limits.line_reach_m,
            }),
            1 => Err(DriveFact::SecondPassing.into()),
            _ => Ok(settled.starts),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINT: (f64, f64) = (50.0, 7.0);

    /// A car on a circle of `radius_m` whose easternmost point lies at the point, one round
    /// in a minute, a fix every `period_s`; and the lap starts.
    fn round(radius_m: f64, period_s: f64, seconds: f64, side: f64) -> Gate {
        let point = Position::from_degrees(POINT.0, POINT.1).unwrap();
        let mut gate = Gate::new(point, &LapLimits::default());
        let metre = 1.0 / 6_371_008.8;
        for index in 0..(seconds / period_s) as i64 {
            let time = index as f64 * period_s;
            let angle = side * std::f64::consts::TAU * (time - 20.3) / 60.0;
            let (east, north) = (radius_m * (angle.cos() - 1.0), radius_m * angle.sin());
            gate.add(&Fix {
                time: Time::from_seconds(time),
                position: Position {
                    latitude: point.latitude + north * metre,
                    longitude: point.longitude + east * metre / point.latitude.cos(),
                },
                is_joined: index > 0,
            });
        }
        gate
    }

    #[test]
    fn laps_begin_at_the_line_between_two_fixes() {
        for (period_s, side) in [(0.1, 1.0), (1.0, 1.0), (1.0, -1.0)] {
            let starts = round(300.0, period_s, 240.0, side).starts(|_| 0.0).unwrap();
            let wanted = [20.3, 80.3, 140.3, 200.3];
            assert_eq!(starts.len(), wanted.len());
            for (start, wanted) in starts.iter().zip(wanted) {
                // The chord of a second is 31 m long; between fixes the way is straight.
                let error = start.seconds() - wanted;
                assert!(error.abs() < 0.02, "{period_s}: {error}");
            }
        }
    }

    #[test]
    fn the_other_way_is_no_passing() {
        // There once, and the same way back.
        let there = round(300.0, 0.5, 50.0, 1.0);
        let back = round(300.0, 0.5, 240.0, -1.0);
        let mut gate = there.clone();
        for start in back.starts(|_| 0.0).expect("four passings the other way") {
            gate.nearest = back_at(start);
            gate.pass();
        }
        assert!(
            gate.starts(|_| 0.0)
                .unwrap_err()
                .to_string()
                .contains("once")
        );
    }

    fn back_at(time: Time) -> Option<Nearest> {
        Some(Nearest {
            distance_m: 0.0,
            time,
            direction: (0.0, -1.0),
        })
    }

    #[test]
    fn a_line_the_car_never_came_near_says_how_near() {
        let mut gate = Gate::new(
            Position::from_degrees(50.0, 7.0).unwrap(),
            &LapLimits::default(),
        );
        for index in 0..10 {
            gate.add(&Fix {
                time: Time::from_seconds(f64::from(index)),
                position: Position::from_degrees(50.001, 7.0 + 0.0001 * f64::from(index)).unwrap(),
                is_joined: index > 0,
            });
        }
        let reason = gate.starts(|_| 0.0).unwrap_err();
        assert!(
            reason.to_string().contains("no nearer than 111 m"),
            "{reason}"
        );
    }

    #[test]
    fn standing_on_the_line_is_one_passing() {
        let mut gate = Gate::new(
            Position::from_degrees(50.0, 7.0).unwrap(),
            &LapLimits::default(),
        );
        let metre = 180.0 / std::f64::consts::PI / 6_371_008.8;
        for index in 0..400 {
            let time = f64::from(index);
            // Ten minutes of way, with three minutes of standing a metre from the point.
            let north_m = match time {
                ..100.0 => 10.0 * (time - 100.0) + 1.0,
                100.0..300.0 => 1.0 + 0.8 * (time * 2.3).sin(),
                _ => 10.0 * (time - 300.0) + 1.0,
            };
            gate.add(&Fix {
                time: Time::from_seconds(time),
                position: Position::from_degrees(50.0 + north_m * metre, 7.0).unwrap(),
                is_joined: index > 0,
            });
        }
        assert!(
            gate.starts(|_| 0.0)
                .unwrap_err()
                .to_string()
                .contains("once")
        );
    }

    #[test]
    fn one_wrong_fix_is_no_passing_and_positions_that_stand_give_no_laps() {
        let sound = round(300.0, 0.1, 240.0, 1.0).starts(|_| 7000.0).unwrap();
        // At the far side of the circle one fix in a hundred claims to be at the line.
        let mut gate = Gate::new(
            Position::from_degrees(POINT.0, POINT.1).unwrap(),
            &LapLimits::default(),
        );
        let mut fixes = Vec::new();
        let metre = 1.0 / 6_371_008.8;
        for index in 0..2400 {
            let time = f64::from(index) * 0.1;
            let angle = std::f64::consts::TAU * (time - 20.3) / 60.0;
            let (east, north) = (300.0 * (angle.cos() - 1.0), 300.0 * angle.sin());
            let is_wrong = east < -300.0 && index % 100 == 0;
            let (east, north) = if is_wrong { (0.0, 0.0) } else { (east, north) };
            fixes.push(Fix {
                time: Time::from_seconds(time),
                position: Position {
                    latitude: gate.point.latitude + north * metre,
                    longitude: gate.point.longitude + east * metre / gate.point.latitude.cos(),
                },
                is_joined: index > 0,
            });
        }
        fixes.iter().for_each(|fix| gate.add(fix));
        assert_eq!(gate.starts(|_| 7000.0).unwrap(), sound);
        // 31.4 m/s for 240 s are 7540 m; half of the way by the wheels is asked for.
        assert!(gate.starts(|_| 14_500.0).is_ok());
        let reason = gate.starts(|_| 15_500.0).unwrap_err();
        assert_eq!(reason, DriveFact::PositionThatMoves.into());
    }
}
