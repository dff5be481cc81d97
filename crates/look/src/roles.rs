//! What other fields may be, by how they run beside the wheels.
//!
//! With the mean wheel speed v, how much one side runs ahead d, and the change of v: the yaw rate
//! follows d, lateral acceleration d·v, steering d/v; longitudinal acceleration the change of v;
//! an engine's speed over v takes a few values, one a gear. Each is a candidate, with the figure
//! that speaks for it.

use std::collections::BTreeMap;

use crate::curve::{PER_SLOT, RATE_HZ, Together, quantile, second_means, seconds};
use crate::found::{Candidate, Kind};
use crate::signal::{Place, Signal};
use crate::wheels::Wheels;

/// Correlation from which something turns with the car.
const TURNS_FROM: f64 = 0.6;
/// Explained better than by the next by so much of what is left, or it is not known which.
const CLEARLY: f64 = 0.7;
/// Correlation from which a field is proportional to road speed.
const SPEED_FROM: f64 = 0.995;
/// Correlation from which a field follows the change of speed.
const PUSHES_FROM: f64 = 0.5;
/// Share of the time a pedal is up.
const PEDAL_UP_SHARE: f64 = 0.08;
/// Share of the time in which an engine's speed over the road speed is at one of six values.
const IN_GEAR_SHARE: f64 = 0.6;
/// Range within four seconds as a share of the whole, below which a field is slow.
const SLOW_SLOT: f64 = 0.08;
/// Longest lag of a follower in instants of the curve, and fields that are tried as one.
const LONGEST_LAG: usize = RATE_HZ / 2;
const MOST_FOLLOWERS: usize = 40;

fn candidate(kind: Kind, signal: usize, evidence: String) -> Candidate {
    Candidate {
        kind,
        signal,
        evidence: vec![evidence],
        corner: None,
        km_per_h: None,
        zero: None,
    }
}

/// Candidates beside the wheels, the surest of each kind first.
pub fn find(signals: &[Signal], wheels: Option<&Wheels>, taken: &[usize]) -> Vec<Candidate> {
    let mut all: Vec<(f64, Candidate)> = Vec::new();
    let left = |all: &[(f64, Candidate)]| -> Vec<usize> {
        let is_left = |signal: &usize| {
            !taken.contains(signal) && !all.iter().any(|(_, known)| known.signal == *signal)
        };
        (0..signals.len()).filter(is_left).collect()
    };
    if let Some(wheels) = wheels {
        let motion = Motion::of(signals, wheels);
        for signal in left(&all) {
            let found = motion.role(&signals[signal]);
            all.extend(
                found.map(|(sureness, kind, words)| (sureness, candidate(kind, signal, words))),
            );
        }
    }
    for signal in left(&all) {
        if let Some(words) = slow(&signals[signal]) {
            all.push((
                signals[signal].quality.smooth_bits / 100.0,
                candidate(Kind::Slow, signal, words),
            ));
        }
    }
    let rest = left(&all);
    all.extend(followers(signals, &rest));
    all.sort_by(|one, other| {
        one.1
            .kind
            .cmp(&other.1.kind)
            .then(other.0.total_cmp(&one.0))
    });
    all.into_iter().map(|(_, candidate)| candidate).collect()
}

/// How the car moved, second by second.
struct Motion {
    turns: Vec<f64>,
    turns_by_speed: Vec<f64>,
    bend: Vec<f64>,
    change: Vec<f64>,
    lowest_speed: f64,
    at_instants: Vec<f64>,
}

impl Motion {
    fn of(signals: &[Signal], wheels: &Wheels) -> Motion {
        let mean = wheels.mean(signals);
        let rest = wheels.at_rest.map(|(code, _)| code);
        let lowest = quantile(mean.iter().copied(), 0.001);
        // Where it never stood, the offset of the codes stays unknown; most have none.
        let zero = rest.unwrap_or(0.0_f64.min(lowest));
        let at_instants: Vec<f64> = mean.iter().map(|code| code - zero).collect();
        let speed = second_means(at_instants.iter().copied());
        let turns = match wheels.alike {
            Some((r, _)) if r < 0.1 => vec![f64::NAN; speed.len()],
            _ => wheels.turning(signals),
        };
        let top = quantile(speed.iter().copied(), 0.99);
        let pairs = || turns.iter().zip(&speed);
        let turns_by_speed = pairs().map(|(turn, speed)| turn * speed).collect();
        let bend = pairs().map(|(turn, speed)| match *speed > 0.1 * top {
            true => turn / speed,
            false => f64::NAN,
        });
        let bend = bend.collect();
        let change = changes(&at_instants);
        Motion {
            turns_by_speed,
            bend,
            change,
            lowest_speed: 0.1 * top,
            turns,
            at_instants,
        }
    }

    fn role(&self, signal: &Signal) -> Option<(f64, Kind, String)> {
        let quality = &signal.quality;
        if quality.n_values < 6 || quality.range <= 0.0 {
            return None;
        }
        let means = seconds(&signal.curve);
        let by_speed = Together::of_curves(
            &self
                .at_instants
                .iter()
                .map(|value| *value as f32)
                .collect::<Vec<_>>(),
            &signal.curve,
        );
        if by_speed.n > 60 && by_speed.r() > SPEED_FROM && quality.n_values >= 12 {
            let words = format!(
                "proportional to the wheels, correlation {:.4}",
                by_speed.r()
            );
            return Some((by_speed.r(), Kind::RoadSpeed, words));
        }
        if quality.smooth_bits < 1.5 {
            return None;
        }
        self.turn(&means)
            .or_else(|| self.engine(signal))
            .or_else(|| self.push(signal, &means))
    }

    fn turn(&self, means: &[f64]) -> Option<(f64, Kind, String)> {
        let of = |row: &[f64]| Together::of_rows(row, means);
        let mut ways = [
            (
                of(&self.turns),
                Kind::YawRate,
                "the difference across the car",
            ),
            (
                of(&self.turns_by_speed),
                Kind::LateralAcceleration,
                "the difference across the car times speed",
            ),
            (
                of(&self.bend),
                Kind::Steering,
                "the difference across the car over speed",
            ),
        ];
        ways.sort_by(|one, other| other.0.r().abs().total_cmp(&one.0.r().abs()));
        let (best, kind, words) = ways[0];
        if best.r().abs() < TURNS_FROM || !best.is_significant() {
            return None;
        }
        let left = |together: &Together| 1.0 - together.r().powi(2);
        let kind = match left(&best) < CLEARLY * left(&ways[1].0) {
            true => kind,
            false => Kind::Turning,
        };
        let words = format!(
            "follows {words}, correlation {:+.2} over {} s",
            best.r(),
            best.n
        );
        Some((best.r().abs(), kind, words))
    }

    fn engine(&self, signal: &Signal) -> Option<(f64, Kind, String)> {
        if signal.quality.smooth_bits < 3.0 || signal.quality.n_values < 30 {
            return None;
        }
        let ratios: Vec<i64> = self
            .at_instants
            .iter()
            .zip(&signal.curve)
            .filter(|(speed, value)| **speed > self.lowest_speed && **value > 0.0)
            // Steps of 3 %.
            .map(|(speed, value)| ((f64::from(*value) / speed).ln() / 0.03).round() as i64)
            .collect();
        if ratios.len() < 200 {
            return None;
        }
        let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
        for ratio in &ratios {
            *counts.entry(*ratio).or_default() += 1;
        }
        let mut sorted = ratios.clone();
        sorted.sort_unstable();
        let spread = sorted[sorted.len() * 95 / 100] - sorted[sorted.len() * 5 / 100];
        let mut in_gear = 0;
        let mut n_gears = 0;
        while n_gears < 6 {
            let Some((&gear, &n)) = counts.iter().max_by_key(|(_, n)| **n) else {
                break;
            };
            if n < ratios.len() / 50 {
                break;
            }
            in_gear += (gear - 1..=gear + 1)
                .filter_map(|near| counts.remove(&near))
                .sum::<usize>();
            n_gears += 1;
        }
        let share = in_gear as f64 / ratios.len() as f64;
        // Over less than a third of spread anything near a constant would do.
        (share >= IN_GEAR_SHARE && spread > 12 && n_gears >= 2).then(|| {
            let words = format!(
                "over the road speed it is at one of {n_gears} values for {:.0} % of the time, as in gears",
                share * 100.0
            );
            (share, Kind::EngineSpeed, words)
        })
    }

    fn push(&self, signal: &Signal, means: &[f64]) -> Option<(f64, Kind, String)> {
        let both = Together::of_rows(&self.change, means);
        if !both.is_significant() {
            return None;
        }
        let known = || signal.curve.iter().map(|value| f64::from(*value));
        let (low, high) = (quantile(known(), 0.005), quantile(known(), 0.995));
        let n_known = known().filter(|value| !value.is_nan()).count().max(1);
        let at_low = known()
            .filter(|value| *value <= low + 0.02 * (high - low))
            .count();
        let up_share = at_low as f64 / n_known as f64;
        let half = |sign: f64| {
            let row = self.change.iter().map(|change| (sign * change).max(0.0));
            Together::of(row, means.iter().copied())
        };
        let (pushed, braked) = (half(1.0), half(-1.0));
        let is_pedal = up_share >= PEDAL_UP_SHARE;
        if is_pedal && braked.r() > PUSHES_FROM && braked.r() > pushed.r() {
            let words = format!(
                "up {:.0} % of the time, else the car slows down, correlation {:+.2}",
                up_share * 100.0,
                braked.r()
            );
            return Some((braked.r(), Kind::Brake, words));
        }
        if is_pedal && pushed.r() > PUSHES_FROM {
            let words = format!(
                "up {:.0} % of the time, else the car speeds up, correlation {:+.2}",
                up_share * 100.0,
                pushed.r()
            );
            return Some((pushed.r(), Kind::Accelerator, words));
        }
        if both.r().abs() < TURNS_FROM {
            return None;
        }
        let words = format!(
            "follows the change of speed, correlation {:+.2} over {} s",
            both.r(),
            both.n
        );
        let kind = match !is_pedal && both.r().abs() > 0.7 {
            true => Kind::LongitudinalAcceleration,
            false => Kind::Accelerator,
        };
        Some((both.r().abs(), kind, words))
    }
}

/// Change of a curve over each second, from its half a second before to that behind.
fn changes(curve: &[f64]) -> Vec<f64> {
    let of = |second: &[f64]| {
        let ends = second.first().zip(second.last());
        ends.map_or(f64::NAN, |(first, last)| last - first)
    };
    curve.chunks(RATE_HZ).map(of).collect()
}

/// Why it is slow, if it is.
fn slow(signal: &Signal) -> Option<String> {
    let quality = &signal.quality;
    if quality.n_values < 3 || quality.range <= 0.0 {
        return None;
    }
    let n_bits = signal.n_bits().unwrap_or(16);
    let slots = signal.curve.chunks(PER_SLOT);
    let n_slots = slots.len();
    let means: Vec<f64> = slots
        .map(|slot| {
            let known: Vec<f64> = slot
                .iter()
                .map(|v| f64::from(*v))
                .filter(|v| !v.is_nan())
                .collect();
            known.iter().sum::<f64>() / known.len() as f64
        })
        .collect();
    let steps = quantile(means.windows(2).map(|pair| (pair[1] - pair[0]).abs()), 0.9);
    let range = quantile(means.iter().copied(), 0.99) - quantile(means.iter().copied(), 0.01);
    let is_slow = n_slots >= 8 && n_bits >= 5 && range > 0.0;
    // From slot to slot it hardly moves, and over the log it does; what rises for ever counts.
    let is_count = quality.rising > 0.98
        && matches!(signal.place, Place::Bits { .. })
        && quality.n_values > 200;
    (is_slow && !is_count && steps < SLOW_SLOT * 3.0 * range && quality.roughness < range)
        .then(|| format!("moves over minutes, {} to {}", signal.span.0, signal.span.1))
}

/// Pairs of which one runs behind the other by a lag.
fn followers(signals: &[Signal], left: &[usize]) -> Vec<(f64, Candidate)> {
    let mut moving: Vec<usize> = left.to_vec();
    moving.retain(|signal| {
        let quality = &signals[*signal].quality;
        quality.n_values >= 8 && quality.smooth_bits > 1.5 && (0.02..0.98).contains(&quality.rising)
    });
    moving.sort_by(|one, other| {
        let bits = |signal: &usize| signals[*signal].quality.smooth_bits;
        bits(other).total_cmp(&bits(one))
    });
    moving.truncate(MOST_FOLLOWERS);
    let mut found = Vec::new();
    for (at, &one) in moving.iter().enumerate() {
        for &other in &moving[at + 1..] {
            let (a, b) = (&signals[one].curve, &signals[other].curve);
            let now = Together::of_curves(a, b).r();
            if now < 0.7 {
                continue;
            }
            let behind = |lag: usize, a: &[f32], b: &[f32]| {
                Together::of_curves(&a[..a.len() - lag], &b[lag..]).r()
            };
            let best = (1..=LONGEST_LAG)
                .flat_map(|lag| {
                    [
                        (behind(lag, a, b), lag, one, other),
                        (behind(lag, b, a), lag, other, one),
                    ]
                })
                .max_by(|x, y| x.0.total_cmp(&y.0));
            let Some((r, lag, first, second)) = best else {
                continue;
            };
            if r < 0.9 || (1.0 - now) < 1.3 * (1.0 - r) {
                continue;
            }
            let lag_ms = lag * 1000 / RATE_HZ;
            let words =
                format!("one runs behind the other by about {lag_ms} ms, correlation {r:.2}");
            found.push((r, candidate(Kind::Command, first, words.clone())));
            found.push((r, candidate(Kind::Follower, second, words)));
        }
    }
    found.sort_by(|one, other| other.0.total_cmp(&one.0));
    let mut known: Vec<usize> = Vec::new();
    found.retain(|(_, candidate)| {
        let is_new = !known.contains(&candidate.signal);
        known.push(candidate.signal);
        is_new
    });
    found
}
