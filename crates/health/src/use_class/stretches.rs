//! The class of each ten kilometres, for a drive of mixed use.
//!
//! In: rows and oil temperatures. Out: km by class. Stretches pair up when there are many,
//! so that memory does not grow with the drive. A last stretch of less than half the
//! length goes with the one before.

use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_model::{Span, Time};

use super::meter::class;
use super::oil::OilTime;
use crate::driving::ROWS_LATE_S;
use crate::limits::{Limits, Usage};
use crate::nouns::{Event, EventKind};
use crate::partial::{PartialJudgement, PartialLimits, PartialTime};
use crate::trust::{COMMAND, Gate, HEAT, Kept, OIL, SLIP};

/// Stretches kept at the most.
const MOST: usize = 500;

/// Sums of a stretch of road.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    span: Span,
    km: f64,
    by_torque: Kept<PartialTime, { HEAT | SLIP }>,
    by_command: Kept<PartialTime, { COMMAND | SLIP }>,
    heat_j: Kept<f64, HEAT>,
    has_heat: bool,
    oil_c: Kept<Option<f64>, OIL>,
}

impl Stretch {
    fn begin(at: Time) -> Stretch {
        Stretch {
            span: Span { start: at, end: at },
            km: 0.0,
            by_torque: Kept::default(),
            by_command: Kept::default(),
            heat_j: Kept::default(),
            has_heat: false,
            oil_c: Kept::default(),
        }
    }

    fn join(mut self, next: &Stretch) -> Stretch {
        self.span.end = next.span.end;
        self.km += next.km;
        self.by_torque.join(&next.by_torque, PartialTime::join);
        self.by_command.join(&next.by_command, PartialTime::join);
        self.heat_j.join(&next.heat_j, |sum, part| *sum += part);
        self.has_heat |= next.has_heat;
        self.oil_c.join(&next.oil_c, |own, next| {
            *own = match (*own, *next) {
                (Some(one), Some(other)) => Some(one.max(other)),
                (one, other) => one.or(other),
            }
        });
        self
    }

    fn level(&self, gate: &Gate, events: &[Event], by_torque: bool, drive: &Known) -> Option<u8> {
        let first = events.partition_point(|event| event.span.start < self.span.start);
        let end = events.partition_point(|event| event.span.start < self.span.end);
        let events = &events[first..end.max(first)];
        let partial = match by_torque {
            true => self.by_torque.ask(gate),
            false => self.by_command.ask(gate),
        };
        let partial = partial.ok().filter(|partial| partial.judged_s > 0.0);
        let heat_j = self.heat_j.ask(gate).ok().filter(|_| self.has_heat);
        let per_100_km = 100.0 / self.km;
        let n = events
            .iter()
            .filter(|event| event.kind == EventKind::Command)
            .count();
        let readings = [
            partial.map(|partial| partial.seconds[0] * per_100_km),
            heat_j.map(|heat_j| heat_j * 1e-3 / self.km),
            drive.events.then_some(n as f64 * per_100_km),
            self.oil_c.ask(gate).ok().copied().flatten(),
            drive
                .area_mm2
                .and_then(|area_mm2| super::power_p99(events, area_mm2)),
        ];
        class(&readings, drive.usage)
    }
}

/// What is known over the whole drive.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The levels.
    pub usage: &'a Usage,
    /// Engagements can be seen.
    pub events: bool,
    /// Lining area of all packs, where the heat is known too.
    pub area_mm2: Option<f64>,
}

/// Sums by stretch.
#[derive(Clone, Debug)]
pub struct Stretches {
    length_km: f64,
    finished: Vec<Stretch>,
    open: Option<Stretch>,
    oil: OilTime,
    // Samples that run ahead of the rows.
    ahead: VecDeque<(Time, f64)>,
}

impl Stretches {
    /// Nothing driven yet.
    pub fn new(oil_reach_s: f64, limits: &Limits) -> Stretches {
        Stretches {
            length_km: limits.usage.stretch_km,
            finished: Vec::new(),
            open: None,
            oil: OilTime::new(oil_reach_s),
            ahead: VecDeque::new(),
        }
    }

    /// Takes a sample of the oil temperature.
    pub fn note_oil(&mut self, time: Time, celsius: f64) {
        self.ahead.push_back((time, celsius));
        while let Some((time, celsius)) = self
            .ahead
            .pop_front_if(|(oldest, _)| time.since(*oldest) > ROWS_LATE_S)
        {
            self.oil.add(time, celsius);
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row, partial: &PartialLimits, judgement: &PartialJudgement) {
        while let Some((time, celsius)) = self.ahead.pop_front_if(|(time, _)| *time <= row.time) {
            self.oil.add(time, celsius);
        }
        let stretch = self.open.get_or_insert_with(|| Stretch::begin(row.time));
        stretch.span.end = row.time;
        stretch.km += row.road_speed.unwrap_or(0.0) * row.seconds * 1e-3;
        if row.is_turning {
            stretch
                .by_torque
                .gather()
                .add(judgement.by_torque, row.seconds);
            stretch
                .by_command
                .gather()
                .add(judgement.by_command, row.seconds);
            if let Some(work_j) = row.work_j {
                stretch.has_heat = true;
                *stretch.heat_j.gather() += work_j
                    * row.slip_sign(
                        row.slip_sd
                            .unwrap_or(partial.limits.slip.usual_sd_rad_per_s),
                    );
            }
        }
        if stretch.km >= self.length_km {
            let mut stretch = *stretch;
            stretch.oil_c = Kept::new(self.oil.p99_c());
            self.oil.restart();
            self.open = None;
            self.finished.push(stretch);
            self.pair_up();
        }
    }

    fn pair_up(&mut self) {
        if self.finished.len() < MOST {
            return;
        }
        self.length_km *= 2.0;
        self.finished = self
            .finished
            .chunks(2)
            .map(|pair| pair.get(1).map_or(pair[0], |next| pair[0].join(next)))
            .collect();
    }

    /// Km by class, lowest class first; empty when fewer than two stretches have one.
    pub fn classes(&self, gate: &Gate, events: &[Event], known: &Known) -> Vec<(u8, f64)> {
        let mut stretches = self.finished.clone();
        if let Some(mut last) = self.open.filter(|last| last.km > 0.0) {
            last.oil_c = Kept::new(self.oil.p99_c());
            match stretches.last_mut() {
                Some(before) if last.km < 0.5 * self.length_km => *before = before.join(&last),
                _ => stretches.push(last),
            }
        }
        if let Some(last) = stretches.last_mut() {
            last.span.end = Time(i64::MAX);
        }
        // As the figure of the whole drive: by torque where it was ever known.
        let by_torque = stretches
            .iter()
            .filter_map(|stretch| stretch.by_torque.ask(gate).ok())
            .any(|partial| partial.judged_s > 0.0);
        let mut km = [0.0; 6];
        let mut n = 0;
        for stretch in &stretches {
            if let Some(level) = stretch.level(gate, events, by_torque, known) {
                km[usize::from(level)] += stretch.km;
                n += 1;
            }
        }
        if n < 2 {
            return Vec::new();
        }
        (0..).zip(km).filter(|(_, km)| *km > 0.0).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::Scene;
    use crate::testing::{gate, row};
    use halfshaft_driveline::Evidence;

    /// Km by class, all being believed.
    fn classes(stretches: &Stretches) -> Vec<(u8, f64)> {
        let known = Known {
            usage: &Usage::default(),
            events: true,
            area_mm2: None,
        };
        stretches.classes(&gate(&[]), &[], &known)
    }

    /// One row a second at 100 km/h for `km`, the heat as `kj_per_km` says by km.
    fn drive(km: f64, kj_per_km: impl Fn(f64) -> f64) -> Stretches {
        let scene = Scene::whole();
        let partial = scene.setup().partial;
        let mut stretches = Stretches::new(5.0, &scene.limits);
        let speed = 100.0 / 3.6;
        for second in 0..(km * 36.0) as i32 {
            let mut row = row(f64::from(second));
            row.seconds = 1.0;
            row.road_speed = Some(speed);
            let heat = kj_per_km(f64::from(second) / 36.0);
            row.torque_nm = Some(200.0);
            // Slip for a share of the time that grows with the heat.
            row.slip_sharp = if f64::from(second % 36) < heat {
                2.0
            } else {
                0.0
            };
            row.work_j = Some(1e3 * heat * speed * 1e-3);
            row.evidence = Evidence::new([9.0; 4]);
            stretches.add(&row, &partial, &partial.judge(&row));
        }
        stretches
    }

    #[test]
    fn a_commuter_with_one_track_day_is_called_neither() {
        // 2 kJ/km and 200 s/100 km: normal by the second highest; 30 and 3000: competition.
        let mixed = drive(100.0, |km| if km < 80.0 { 2.0 } else { 30.0 });
        let classes = classes(&mixed);
        assert_eq!(
            classes.iter().map(|(level, _)| *level).collect::<Vec<_>>(),
            [2, 5]
        );
        assert!(
            (classes[0].1 - 80.0).abs() < 0.5 && (classes[1].1 - 20.0).abs() < 0.5,
            "{classes:?}"
        );
    }

    #[test]
    fn a_short_end_goes_with_the_stretch_before() {
        let classes_of = |km| classes(&drive(km, |_| 2.0));
        let classes = classes_of(34.0);
        assert_eq!(classes.len(), 1);
        assert!((classes[0].1 - 34.0).abs() < 0.1);
        assert!(classes_of(14.0).is_empty());
    }

    #[test]
    fn memory_does_not_grow() {
        let long = drive(6000.0, |_| 2.0);
        assert!(long.finished.len() < MOST);
        // Paired up at 5,000 km, and of that length from then on.
        assert!(
            long.finished
                .iter()
                .all(|stretch| (stretch.km - 20.0).abs() < 0.1)
        );
        let classes = classes(&long);
        assert!((classes[0].1 - 6000.0).abs() < 1.0, "{classes:?}");
    }
}
