//! Whether a wheel speed rises and falls with the turns of its wheel.
//!
//! In: rows. Out: [`Ripple`], the wheel that does, how much and how often a turn. The angle of
//! a wheel is the sum of its measured speed; a stretch of some turns is kept, its trend taken
//! out, and the amplitude of the first orders of the turn read off. A damaged tone ring comes
//! round in every turn at any speed, and on one wheel; road and judder do neither. It refuses
//! orders that the samples are too few to tell, and stretches with a gap.

use crate::reason::{Counted, Reason};
use halfshaft_driveline::Row;
use halfshaft_model::Time;

use crate::evidence::{Strongest, counts, window};
use crate::limits::Limits;
use crate::nouns::EvidenceWindow;
use crate::part::{Part, Passage};

/// Orders of the turn looked at. Source: none, engineering guess: a crack is one, a bent or
/// oval ring two, its lugs three to six.
const N_ORDERS: usize = 6;
/// Turns of a stretch: one order is a twelfth of its spectrum, and neighbours lie apart.
const TURNS: f64 = 6.0;
/// Bound on samples kept of a stretch.
const MOST_SAMPLES: usize = 600;
/// Pause between stretches, s: what lasts a drive need not be looked for all the time.
const PAUSE_S: f64 = 2.0;
/// Samples that one turn of an order needs to be told. Source: derived, two and a margin.
const SAMPLES_PER_CYCLE: f64 = 2.5;
/// A wheel speed that ripples.
#[derive(Clone, Debug, PartialEq)]
pub struct Ripple {
    /// Whether it is the right rear wheel; else the left one.
    pub is_right: bool,
    /// Times a turn.
    pub order: usize,
    /// Amplitude as a share of the wheel speed, mean over the stretches that show it.
    pub share: f64,
    /// The same order of the other wheel, mean over the same stretches.
    pub share_of_other: f64,
    /// Stretches that show it.
    pub n_showing: usize,
    /// Stretches judged.
    pub n_judged: usize,
    /// The stretches that show most.
    pub evidence: Vec<EvidenceWindow>,
}

impl Ripple {
    /// The wheel in words.
    pub fn side(&self) -> &'static str {
        if self.is_right { "right" } else { "left" }
    }

    /// How often, in words.
    pub fn rhythm(&self) -> String {
        match self.order {
            1 => "once per turn".to_owned(),
            2 => "twice per turn".to_owned(),
            order => format!("{order} times per turn"),
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Sample {
    time_s: f64,
    // Left and right.
    speed: [f64; 2],
    angle: [f64; 2],
}

/// What was seen of one wheel and order.
#[derive(Clone, Debug, Default)]
struct Tally {
    n_judged: usize,
    n_showing: usize,
    share: f64,
    share_of_other: f64,
    strongest: Strongest,
}

/// Gathers while the drive goes by.
#[derive(Clone, Debug)]
pub struct RippleWatch {
    limits: Limits,
    samples: Vec<Sample>,
    start: Time,
    paused_until: Option<Time>,
    tallies: [[Tally; N_ORDERS]; 2],
}

impl Part for RippleWatch {
    fn rows(&mut self, passage: &Passage) {
        passage.rows.iter().for_each(|row| self.add(row));
    }
}

impl RippleWatch {
    /// Nothing seen yet.
    pub fn new(limits: &Limits) -> RippleWatch {
        RippleWatch {
            limits: *limits,
            samples: Vec::new(),
            start: Time(0),
            paused_until: None,
            tallies: Default::default(),
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row) {
        let speed = [
            row.case_speed - 0.5 * row.difference,
            row.case_speed + 0.5 * row.difference,
        ];
        let may_count = row.is_turning
            && !row.is_braking
            && counts(row, &self.limits.driving)
            && speed
                .iter()
                .all(|speed| *speed > self.limits.ripple.from_rad_per_s);
        if !row.is_joined || !may_count {
            self.samples.clear();
        }
        if !may_count || !row.is_wheel_sample {
            return;
        }
        if self.paused_until.is_some_and(|until| row.time < until) {
            return;
        }
        self.paused_until = None;
        let Some(last) = self.samples.last().copied() else {
            self.start = row.time;
            self.samples.push(Sample {
                time_s: 0.0,
                speed,
                angle: [0.0; 2],
            });
            return;
        };
        let time_s = row.time.since(self.start);
        let step_s = time_s - last.time_s;
        let angle =
            [0, 1].map(|side| last.angle[side] + 0.5 * step_s * (last.speed[side] + speed[side]));
        self.samples.push(Sample {
            time_s,
            speed,
            angle,
        });
        let is_whole = angle
            .iter()
            .all(|angle| *angle >= TURNS * std::f64::consts::TAU);
        if is_whole {
            self.judge(row.time);
        }
        if is_whole || self.samples.len() >= MOST_SAMPLES {
            self.samples.clear();
            self.paused_until = Some(row.time.plus(PAUSE_S));
        }
    }

    fn judge(&mut self, end: Time) {
        let n = self.samples.len() as f64;
        let shares = [0, 1].map(|side| amplitudes(&self.samples, side));
        let limits = &self.limits.ripple;
        for side in 0..2 {
            let turns =
                self.samples.last().map_or(0.0, |last| last.angle[side]) / std::f64::consts::TAU;
            for order in 1..=N_ORDERS {
                if turns * order as f64 * SAMPLES_PER_CYCLE > n {
                    break;
                }
                let [own, other] = [shares[side][order - 1], shares[1 - side][order - 1]];
                let tally = &mut self.tallies[side][order - 1];
                tally.n_judged += 1;
                if own <= limits.share || other >= limits.other_wheel * own {
                    continue;
                }
                tally.n_showing += 1;
                tally.share += own;
                tally.share_of_other += other;
                let speed = self
                    .samples
                    .iter()
                    .map(|sample| sample.speed[side])
                    .sum::<f64>()
                    / n;
                let values = [
                    ("ripple", 100.0 * own, "% of the wheel speed"),
                    ("the other wheel", 100.0 * other, "% of its speed"),
                    ("times a turn", order as f64, ""),
                    ("wheel speed", speed, "rad/s"),
                ];
                tally.strongest.add(own, window(self.start, end, &values));
            }
        }
    }

    /// The wheel that ripples most, none, or why that cannot be told.
    pub fn outcome(&self) -> Result<Option<Ripple>, Reason> {
        let limits = &self.limits.ripple;
        let n_judged = self.tallies[0][0].n_judged;
        if n_judged < limits.stretches as usize {
            return Err(Reason::TooFew {
                what: Counted::WheelStretches { turns: TURNS },
                found: n_judged,
                needed: limits.stretches as usize,
            });
        }
        let mut found: Option<Ripple> = None;
        for (side, tallies) in self.tallies.iter().enumerate() {
            for (index, tally) in tallies.iter().enumerate() {
                let is_enough = tally.n_judged >= limits.stretches as usize
                    && tally.n_showing as f64 >= limits.of_stretches * tally.n_judged as f64;
                let n = tally.n_showing as f64;
                let share = tally.share / n.max(1.0);
                if !is_enough || found.as_ref().is_some_and(|found| found.share >= share) {
                    continue;
                }
                found = Some(Ripple {
                    is_right: side == 1,
                    order: index + 1,
                    share,
                    share_of_other: tally.share_of_other / n.max(1.0),
                    n_showing: tally.n_showing,
                    n_judged: tally.n_judged,
                    evidence: tally.strongest.windows(),
                });
            }
        }
        Ok(found)
    }
}

/// Amplitude of each order as a share of the wheel speed: speed over its straight-line trend,
/// less 1, against sine and cosine of the angle under a raised-cosine weight.
fn amplitudes(samples: &[Sample], side: usize) -> [f64; N_ORDERS] {
    let n = samples.len() as f64;
    let mean = |of: &dyn Fn(&Sample) -> f64| samples.iter().map(of).sum::<f64>() / n;
    let (time, speed) = (mean(&|s| s.time_s), mean(&|s| s.speed[side]));
    let spread = mean(&|s| (s.time_s - time).powi(2));
    let slope = if spread > 0.0 {
        mean(&|s| (s.time_s - time) * (s.speed[side] - speed)) / spread
    } else {
        0.0
    };
    let whole = samples.last().map_or(0.0, |last| last.angle[side]);
    let mut sums = [(0.0, 0.0); N_ORDERS];
    let mut weights = 0.0;
    for sample in samples {
        let trend = speed + slope * (sample.time_s - time);
        let angle = sample.angle[side];
        let weight = 0.5 - 0.5 * (std::f64::consts::TAU * angle / whole).cos();
        let rest = weight * (sample.speed[side] / trend - 1.0);
        weights += weight;
        let (sine, cosine) = angle.sin_cos();
        // Each order is the turn once more: one multiplication instead of another sine.
        let (mut re, mut im) = (1.0, 0.0);
        for sum in &mut sums {
            (re, im) = (re * cosine - im * sine, re * sine + im * cosine);
            sum.0 += rest * re;
            sum.1 += rest * im;
        }
    }
    sums.map(|(re, im)| 2.0 * re.hypot(im) / weights.max(1e-12))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;

    /// 120 s at 100 Hz with wheels of `at(time, left angle, right angle)`.
    fn watch(seconds: f64, at: impl Fn(f64, f64, f64) -> (f64, f64)) -> RippleWatch {
        let mut watch = RippleWatch::new(&Limits::default());
        let (mut left_angle, mut right_angle) = (0.0, 0.0);
        for index in 0..(seconds * 100.0) as i32 {
            let time = f64::from(index) * 0.01;
            let (left, right) = at(time, left_angle, right_angle);
            // The wheels themselves turn evenly; what is measured ripples.
            left_angle += 0.01 * 40.0;
            right_angle += 0.01 * 41.0;
            let mut row = row(time);
            row.case_speed = 0.5 * (left + right);
            row.difference = right - left;
            watch.add(&row);
        }
        watch
    }

    #[test]
    fn a_ripple_of_three_per_cent_is_told_with_its_wheel_and_order() {
        for order in [1, 2] {
            let watch = watch(120.0, |_, left, _| {
                (40.0 * (1.0 + 0.03 * (order as f64 * left).sin()), 41.0)
            });
            let ripple = watch.outcome().unwrap().unwrap();
            assert_eq!((ripple.is_right, ripple.order), (false, order));
            assert!((ripple.share - 0.03).abs() < 0.002, "{}", ripple.share);
            assert!(ripple.share_of_other < 0.003);
            assert_eq!(ripple.evidence.len(), 5);
        }
        let right = watch(120.0, |_, _, right| {
            (40.0, 41.0 * (1.0 + 0.03 * right.sin()))
        });
        assert!(right.outcome().unwrap().unwrap().is_right);
    }

    #[test]
    fn little_ripple_shaking_of_both_and_a_fixed_frequency_are_none() {
        let little = watch(120.0, |_, left, _| {
            (40.0 * (1.0 + 0.015 * left.sin()), 41.0)
        });
        assert_eq!(little.outcome(), Ok(None));
        let both = watch(120.0, |_, left, _| {
            let shake = 0.03 * left.sin();
            (40.0 * (1.0 + shake), 41.0 * (1.0 - shake))
        });
        assert_eq!(both.outcome(), Ok(None));
        let speeds_up = watch(120.0, |time, _, _| (40.0 + 0.5 * time, 41.0 + 0.5 * time));
        assert_eq!(speeds_up.outcome(), Ok(None));
    }

    #[test]
    fn a_short_drive_is_not_judged() {
        let reason = watch(20.0, |_, _, _| (40.0, 41.0)).outcome().unwrap_err();
        assert!(reason.to_string().contains("10 are needed"), "{reason}");
    }
}
