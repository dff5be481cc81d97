//! Parts a drive from what is no driving: towed, one wheel up, on rollers.
//!
//! In: rows. Out: the rows of the drive, in order; and the stretches that were none, which
//! no figure of duty, no event and no other finding may count. Whether a stretch is one is
//! known only when it has lasted; until then its rows are held, a few hundred of them.

use std::collections::VecDeque;

use halfshaft_driveline::{Basis, Row};

use crate::evidence::{Strongest, window};
use crate::lasting::{Lasting, Stretch};
use crate::limits::{Driving, Limits};

/// Rows come no later than this after the samples of their time, s; those that have not come
/// by then never will.
pub(crate) const ROWS_LATE_S: f64 = 60.0;

/// Why wheels turn as no driven car's do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One rear wheel stands while the other or the car goes.
    WheelStands,
    /// The car stands while its rear wheels turn.
    CarStands,
}

/// Of a run of rows of one kind.
#[derive(Clone, Copy, Debug)]
struct Run {
    kind: Kind,
    // Highest speeds of left, right and car, km/h.
    highest: [f64; 3],
}

/// Parts the rows.
#[derive(Clone, Debug)]
pub struct Parting {
    limits: Driving,
    radius_m: Option<f64>,
    run: Lasting<Run>,
    held: VecDeque<Row>,
    // The first row of driving after a stretch that was left out.
    is_after: bool,
    stretches: [Strongest; 2],
    left_out_s: f64,
}

impl Parting {
    /// Nothing seen yet.
    pub fn new(basis: &Basis, limits: &Limits) -> Parting {
        Parting {
            limits: limits.driving,
            radius_m: basis.radius_m,
            run: Lasting::default(),
            held: VecDeque::new(),
            is_after: false,
            stretches: Default::default(),
            left_out_s: 0.0,
        }
    }

    /// Whether a row is plainly driving, so that it need not be held.
    pub fn is_plain(&self, row: &Row) -> bool {
        self.run.going_on().is_none()
            && !self.is_after
            && self
                .radius_m
                .is_none_or(|radius| kind(row, radius, &self.limits).is_none())
    }

    /// Takes a row and hands on those that are known to be driving.
    pub fn add(&mut self, row: Row, drives: &mut dyn FnMut(Row)) {
        let found = self
            .radius_m
            .and_then(|radius| Some((kind(&row, radius, &self.limits)?, radius)));
        let goes_on = row.is_joined
            && self
                .run
                .going_on()
                .is_some_and(|run| found.is_some_and(|(kind, _)| kind == run.gathered.kind));
        if !goes_on {
            self.end(drives);
        }
        let Some((kind, radius_m)) = found else {
            self.hand_on(row, drives);
            return;
        };
        let run = self.run.hold(row.time, row.seconds, || Run {
            kind,
            highest: [0.0; 3],
        });
        let [left, right] = wheels(&row);
        let speeds = [
            left * radius_m,
            right * radius_m,
            row.road_speed.unwrap_or(0.0),
        ];
        for (highest, speed) in run.gathered.highest.iter_mut().zip(speeds) {
            *highest = highest.max(3.6 * speed);
        }
        let is_long = run.length_s() > self.limits.not_driving_s;
        self.held.push_back(row);
        if is_long {
            self.leave_out();
        }
    }

    /// Hands on what is still held: the log has ended.
    pub fn finish(&mut self, drives: &mut dyn FnMut(Row)) {
        self.end(drives);
    }

    fn end(&mut self, drives: &mut dyn FnMut(Row)) {
        let Some(run) = self.run.end() else { return };
        if run.length_s() <= self.limits.not_driving_s {
            while let Some(row) = self.held.pop_front() {
                self.hand_on(row, drives);
            }
            return;
        }
        keep_strongest(&mut self.stretches, &run);
    }

    fn leave_out(&mut self) {
        self.left_out_s += self.held.drain(..).map(|row| row.seconds).sum::<f64>();
        self.is_after = true;
    }

    fn hand_on(&mut self, mut row: Row, drives: &mut dyn FnMut(Row)) {
        // Nothing reaches over what was left out.
        if std::mem::take(&mut self.is_after) {
            row.is_joined = false;
        }
        drives(row);
    }

    /// The stretches so far, and whether they can be told at all.
    pub fn outcome(&self) -> NotDriving {
        let mut stretches = self.stretches.clone();
        if let Some(run) = self
            .run
            .going_on()
            .filter(|run| run.length_s() > self.limits.not_driving_s)
        {
            keep_strongest(&mut stretches, run);
        }
        NotDriving {
            can_be_told: self.radius_m.is_some(),
            stretches,
            seconds: self.left_out_s,
        }
    }
}

/// What was no driving.
#[derive(Clone, Debug, Default)]
pub struct NotDriving {
    /// The rolling radius is known, without which it cannot be told.
    pub can_be_told: bool,
    /// Stretches by [`Kind`], longest kept.
    pub stretches: [Strongest; 2],
    /// Their time, s.
    pub seconds: f64,
}

fn keep_strongest(stretches: &mut [Strongest; 2], run: &Stretch<Run>) {
    let [left, right, car] = run.gathered.highest;
    let values = [
        ("rear left, highest", left, "km/h"),
        ("rear right, highest", right, "km/h"),
        ("car, highest", car, "km/h"),
    ];
    stretches[run.gathered.kind as usize]
        .add(run.length_s(), window(run.start, run.latest, &values));
}

fn wheels(row: &Row) -> [f64; 2] {
    [
        (row.case_speed - 0.5 * row.difference).abs(),
        (row.case_speed + 0.5 * row.difference).abs(),
    ]
}

fn kind(row: &Row, radius_m: f64, limits: &Driving) -> Option<Kind> {
    let [left, right] = wheels(row);
    let (slow, fast) = (left.min(right), left.max(right));
    let car = row.road_speed.unwrap_or(0.0);
    if slow < limits.wheel_stands_rad_per_s && (fast * radius_m).max(car) > limits.moving_from() {
        return Some(Kind::WheelStands);
    }
    let stands = |car: f64| car < limits.wheel_stands_rad_per_s * radius_m;
    (row.road_speed.is_some_and(stands) && fast * radius_m > limits.moving_from())
        .then_some(Kind::CarStands)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;
    use halfshaft_model::{Time, Toleranced, Vehicle};

    fn basis() -> Basis {
        let vehicle = Vehicle {
            rolling_radius_m: Some(Toleranced::exact(0.32)),
            ..Vehicle::default()
        };
        Basis::new(&vehicle, &[])
    }

    /// Rear wheels in rad/s and the car in m/s for `seconds` of 30, then rolling on: seconds
    /// that stay, and what was left out.
    fn part(left: f64, right: f64, car: Option<f64>, seconds: f64) -> (f64, NotDriving) {
        let mut parting = Parting::new(&basis(), &Limits::default());
        let mut kept_s = 0.0;
        let mut take = |row: Row| kept_s += row.seconds;
        for index in 0..300 {
            let time = f64::from(index) * 0.1;
            let mut row = row(time);
            row.seconds = 0.1;
            let is_on = time <= seconds;
            row.case_speed = if is_on { 0.5 * (left + right) } else { 30.0 };
            row.difference = if is_on { right - left } else { 0.0 };
            row.road_speed = if is_on { car } else { car.map(|_| 9.6) };
            parting.add(row, &mut take);
        }
        parting.finish(&mut take);
        (kept_s, parting.outcome())
    }

    #[track_caller]
    fn check_left_out(left: f64, right: f64, car: Option<f64>, seconds: f64, wanted: [usize; 2]) {
        let (kept_s, found) = part(left, right, car, seconds);
        let n = [found.stretches[0].n(), found.stretches[1].n()];
        assert_eq!(n, wanted);
        assert!((kept_s + found.seconds - 30.0).abs() < 1e-9, "{kept_s}");
        let is_none = wanted == [0, 0];
        assert_eq!(is_none, found.seconds == 0.0);
        assert!(is_none || (found.seconds - seconds - 0.1).abs() < 1e-9);
    }

    #[test]
    fn one_wheel_up_rollers_and_towing_are_left_out() {
        check_left_out(0.0, 10.0, Some(0.0), 12.0, [1, 0]);
        check_left_out(30.0, 30.0, Some(0.0), 12.0, [0, 1]);
        check_left_out(0.0, 0.0, Some(8.0), 12.0, [1, 0]);
        let (_, found) = part(0.0, 10.0, Some(0.0), 12.0);
        let right = found.stretches[0].windows()[0].values[1].value;
        // 10 rad/s at 0.32 m.
        assert!((right - 11.52).abs() < 1e-9, "{right}");
    }

    #[test]
    fn driving_standing_and_short_spins_stay() {
        check_left_out(30.0, 31.0, Some(9.8), 12.0, [0, 0]);
        check_left_out(0.0, 0.0, Some(0.0), 12.0, [0, 0]);
        check_left_out(0.0, 30.0, Some(0.0), 9.0, [0, 0]);
        // An unknown road speed is not zero.
        check_left_out(30.0, 30.0, None, 12.0, [0, 0]);
    }

    #[test]
    fn nothing_reaches_over_what_was_left_out() {
        let mut parting = Parting::new(&basis(), &Limits::default());
        let mut unjoined = Vec::new();
        for index in 0..400 {
            let mut row = row(f64::from(index) * 0.1);
            row.is_joined = true;
            row.road_speed = Some(9.6);
            let is_on = (100..250).contains(&index);
            row.case_speed = if is_on { 5.0 } else { 30.0 };
            row.difference = if is_on { 10.0 } else { 0.0 };
            parting.add(row, &mut |row: Row| {
                if !row.is_joined {
                    unjoined.push(row.time);
                }
            });
        }
        assert_eq!(unjoined, [Time::from_seconds(25.0)]);
    }

    #[test]
    fn without_a_radius_everything_stays() {
        let mut parting = Parting::new(&Basis::new(&Vehicle::default(), &[]), &Limits::default());
        let mut n = 0;
        for index in 0..300 {
            let mut row = row(f64::from(index) * 0.1);
            (row.case_speed, row.difference) = (5.0, 10.0);
            parting.add(row, &mut |_| n += 1);
        }
        assert_eq!((n, parting.outcome().can_be_told), (300, false));
    }
}
