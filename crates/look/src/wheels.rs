//! Wheel speeds among all signals, by what wheels do.
//!
//! Four of a kind ("twins") run close to each other and are not the same; they are wide and
//! smooth, change over seconds and not at once, and stand together in a frame or in frames
//! alike. In a bend the wheels of one side run ahead of those of the other, on both axles
//! alike; the road speed runs halfway between. Out: the four, or the two of one axle, in sides
//! where turning shows them. Which side is the left one no log of wheel speeds can show.

mod other_axle;
mod over_time;
mod sides;

use crate::curve::{PER_SLOT, Together, quantile, second_means};
use crate::field::Order;
use crate::signal::Signal;
use other_axle::with_the_other_axle;
use over_time::at_rest;
use sides::{beside_speed, is_turning_both_ways};

/// What a wheel speed must be at the least; see the module.
const FEWEST_SMOOTH_BITS: f64 = 3.3;
const FEWEST_VALUES: usize = 20;
/// Change in half a second as a share of the range, of all but one of a hundred: a car needs some
/// seconds to its highest speed, a pressure or a pedal does not.
const QUICKEST_HALF_SECOND: f64 = 0.45;
/// Range within four seconds as a share of the whole: less is a temperature or a tyre pressure.
const SLOWEST_SLOT: f64 = 0.015;
/// Twins lie this close, as a share of the range: a wheel on the inside of a turn of 5 m radius runs a
/// third slower.
const FURTHEST_TWIN: f64 = 0.15;
/// A driven wheel that spins runs away from the others for a while.
const LEAST_CORRELATION: f64 = 0.6;
/// Twins have one scale: range, and the range of the middle nine tenths.
const MOST_OFF_RANGE: f64 = 3.0;
const MOST_OFF_SLOPE: f64 = 1.5;
/// Of a flock of twins as many are tried in fours.
const LARGEST_FLOCK: usize = 14;

/// Wheel speeds found.
#[derive(Clone, Debug, PartialEq)]
pub struct Wheels {
    /// The signals: two or four. Of four the first two are one axle, and first and third one side.
    pub signals: Vec<usize>,
    /// What is taken from each so that all are on one level: bits that never changed may differ.
    pub offsets: Vec<f64>,
    /// Correlation of the two differences across the axles, over so many seconds.
    pub alike: Option<(f64, usize)>,
    /// Whether turning shows which run together on one side.
    pub are_sides_known: bool,
    /// Median distance of the furthest twins, as a share of the range.
    pub distance: f64,
    /// Code while the car stands, and for how long, s.
    pub at_rest: Option<(f64, f64)>,
    /// How well it all fits.
    pub score: f64,
    /// Others that run as close: copies, filtered ones, the road speed.
    pub others: Vec<usize>,
}

/// How near two signals are.
#[derive(Clone, Copy, Debug)]
struct Twins {
    offset: f64,
    distance: f64,
    slope: f64,
}

/// The wheel speeds, where there are any.
pub fn find(signals: &[Signal]) -> Option<Wheels> {
    let speeds: Vec<usize> = (0..signals.len())
        .filter(|index| is_like_a_speed(&signals[*index]))
        .collect();
    let n = speeds.len();
    let mut twins: Vec<Vec<Option<Twins>>> = vec![vec![None; n]; n];
    for one in 0..n {
        for other in one + 1..n {
            let pair = twins_of(&signals[speeds[one]], &signals[speeds[other]]);
            twins[one][other] = pair;
            twins[other][one] = pair.map(|pair| Twins {
                offset: -pair.offset,
                slope: 1.0 / pair.slope,
                ..pair
            });
        }
    }
    let mut best: Option<Wheels> = None;
    for flock in flocks(&twins) {
        let lags = lags(signals, &speeds, &twins, &flock);
        let flock = Flock {
            signals,
            speeds: &speeds,
            twins: &twins,
            members: the_nearest(&twins, &flock),
            lags,
        };
        if let Some(found) = flock.four().or_else(|| flock.two())
            && best.as_ref().is_none_or(|best| found.score > best.score)
        {
            best = Some(found);
        }
    }
    let mut best = best?;
    if best.signals.len() == 2 {
        with_the_other_axle(signals, &speeds, &twins, &mut best);
    }
    best.at_rest = at_rest(signals, &best);
    Some(best)
}

/// Whether it is wide, smooth, and changes over seconds.
pub fn is_like_a_speed(signal: &Signal) -> bool {
    let quality = &signal.quality;
    if quality.smooth_bits < FEWEST_SMOOTH_BITS
        || quality.n_values < FEWEST_VALUES
        || !(0.02..=0.98).contains(&quality.rising)
    {
        return false;
    }
    let range = quality.range;
    let jumps = signal.curve.chunks(PER_SLOT).flat_map(|slot| {
        slot.windows(11)
            .map(|half| f64::from((half[10] - half[0]).abs()))
    });
    let quickest = quantile(jumps, 0.99);
    let ranges = signal.curve.chunks(PER_SLOT).map(|slot| {
        let known = slot.iter().map(|value| f64::from(*value));
        quantile(known.clone(), 0.98) - quantile(known, 0.02)
    });
    let ranges: Vec<f64> = ranges.filter(|range| !range.is_nan()).collect();
    let mean = ranges.iter().sum::<f64>() / ranges.len().max(1) as f64;
    quickest <= QUICKEST_HALF_SECOND * range && mean >= SLOWEST_SLOT * range
}

fn twins_of(one: &Signal, other: &Signal) -> Option<Twins> {
    let ratio = one.quality.range / other.quality.range;
    if !(1.0 / MOST_OFF_RANGE..=MOST_OFF_RANGE).contains(&ratio) {
        return None;
    }
    let together = Together::of_curves(&one.curve, &other.curve);
    if together.n < 60 || together.r() < LEAST_CORRELATION {
        return None;
    }
    // Of the middle nine tenths: a wheel that spins or locks now and then has one scale all the same.
    let spread = |signal: &Signal| {
        let known = || signal.curve.iter().map(|value| f64::from(*value));
        quantile(known(), 0.95) - quantile(known(), 0.05)
    };
    let slope = spread(other) / spread(one);
    if !slope.is_finite() || slope.max(1.0 / slope) > MOST_OFF_SLOPE {
        return None;
    }
    let differences = || {
        one.curve
            .iter()
            .zip(&other.curve)
            .map(|(a, b)| f64::from(*b) - f64::from(*a))
    };
    let middle = quantile(differences(), 0.5);
    // Bits above that never changed are left out, and may differ: whole powers of two.
    let offset = match (one.n_bits(), other.n_bits()) {
        (Some(a), Some(b)) => {
            let unit = (1_u64 << a.min(b)) as f64;
            (middle / unit).round() * unit
        }
        _ => 0.0,
    };
    let distance = quantile(
        differences().map(|difference| (difference - offset).abs()),
        0.5,
    );
    let range = one.quality.range.min(other.quality.range);
    let distance = distance / range;
    (distance <= FURTHEST_TWIN).then_some(Twins {
        offset,
        distance,
        slope,
    })
}

/// Signals that are twins of each other, over however many.
fn flocks(twins: &[Vec<Option<Twins>>]) -> Vec<Vec<usize>> {
    let n = twins.len();
    let mut flock_of: Vec<Option<usize>> = vec![None; n];
    let mut flocks: Vec<Vec<usize>> = Vec::new();
    for first in 0..n {
        if flock_of[first].is_some() {
            continue;
        }
        let mut members = vec![first];
        flock_of[first] = Some(flocks.len());
        let mut at = 0;
        while let Some(&member) = members.get(at) {
            for other in 0..n {
                if flock_of[other].is_none() && twins[member][other].is_some() {
                    flock_of[other] = Some(flocks.len());
                    members.push(other);
                }
            }
            at += 1;
        }
        flocks.push(members);
    }
    flocks
}

/// Signals that are twins of each other.
struct Flock<'a> {
    signals: &'a [Signal],
    speeds: &'a [usize],
    twins: &'a [Vec<Option<Twins>>],
    members: Vec<usize>,
    // How much later than the first of them each runs, s, by member of all speeds.
    lags: Vec<f64>,
}

/// How much later than the first each of a flock runs, s: what is sent on or filtered runs late.
/// Where b runs late by τ, a − b is τ times the change of either.
fn lags(
    signals: &[Signal],
    speeds: &[usize],
    twins: &[Vec<Option<Twins>>],
    flock: &[usize],
) -> Vec<f64> {
    let mut lags = vec![0.0; speeds.len()];
    let first = flock[0];
    // Half a second before and half a second behind.
    const REACH: usize = 10;
    let about = &signals[speeds[first]].curve;
    for &member in &flock[1..] {
        let curve = &signals[speeds[member]].curve;
        let offset = twins[first][member].map_or(0.0, |pair| pair.offset);
        let far = 0.1 * signals[speeds[first]].quality.range;
        let (mut sum_xx, mut sum_xy) = (0.0, 0.0);
        for slot in 0..curve.len() / PER_SLOT {
            for at in slot * PER_SLOT + REACH..(slot + 1) * PER_SLOT - REACH {
                let change = |curve: &[f32]| f64::from(curve[at + REACH] - curve[at - REACH]);
                let x = change(about) + change(curve);
                let y = f64::from(about[at]) - f64::from(curve[at]) + offset;
                // A wheel that spins is not late.
                if !(x + y).is_nan() && y.abs() < far {
                    sum_xx += x * x;
                    sum_xy += x * y;
                }
            }
        }
        // The changes are of a second each, and two of them are added.
        lags[member] = if sum_xx > 0.0 {
            2.0 * sum_xy / sum_xx
        } else {
            0.0
        };
    }
    // From the middle one: a pedal that moved like them leads by far and says nothing of the others.
    let middle = quantile(flock.iter().map(|member| lags[*member]), 0.5);
    lags.iter_mut().for_each(|lag| *lag -= middle);
    lags
}

/// What being late costs, each second, and at most.
const COST_OF_LAG: f64 = 20.0;
const HIGHEST_COST: f64 = 3.0;

impl Flock<'_> {
    /// The best four of a flock.
    fn four(&self) -> Option<Wheels> {
        let mut best: Option<Wheels> = None;
        let flock = &self.members;
        let n = flock.len();
        for a in 0..n {
            for b in a + 1..n {
                for c in b + 1..n {
                    for d in c + 1..n {
                        let four = [flock[a], flock[b], flock[c], flock[d]];
                        if let Some(found) = self.weigh(four)
                            && best.as_ref().is_none_or(|best| found.score > best.score)
                        {
                            best = Some(found);
                        }
                    }
                }
            }
        }
        let mut best = best?;
        best.others = rest_of(self.speeds, flock, &best.signals);
        Some(best)
    }

    /// What being late costs these.
    fn cost_of_lag(&self, members: &[usize]) -> f64 {
        let lags = || members.iter().map(|member| self.lags[*member]);
        let mean = lags().sum::<f64>() / members.len() as f64;
        let highest = lags().fold(f64::NEG_INFINITY, f64::max);
        let lowest = lags().fold(f64::INFINITY, f64::min);
        // Twins are measured and sent together.
        (COST_OF_LAG * mean).clamp(-HIGHEST_COST, HIGHEST_COST)
            + (COST_OF_LAG * (highest - lowest)).min(HIGHEST_COST)
    }

    fn weigh(&self, four: [usize; 4]) -> Option<Wheels> {
        let Flock {
            signals,
            speeds,
            twins,
            ..
        } = *self;
        let mut distance = 0.0_f64;
        let mut off = 0.0_f64;
        for one in 0..4 {
            for other in one + 1..4 {
                let pair = twins[four[one]][four[other]]?;
                distance = distance.max(pair.distance);
                off = off.max(pair.slope.ln().abs());
            }
        }
        let chosen = four.map(|member| speeds[member]);
        let arrangement = arrangement(signals, &chosen);
        if arrangement < LEAST_ARRANGEMENT {
            return None;
        }
        let offset = |member: usize| twins[four[0]][member].map_or(0.0, |pair| pair.offset);
        let offsets = four.map(offset);
        let level = |place: usize| {
            let curve = &signals[chosen[place]].curve;
            let offset = offsets[place];
            curve.iter().map(move |value| f64::from(*value) - offset)
        };
        let level = &level;
        let mean = second_means((0..signals[chosen[0]].curve.len()).map(|at| {
            let of = |place: usize| f64::from(signals[chosen[place]].curve[at]) - offsets[place];
            (of(0) + of(1) + of(2) + of(3)) / 4.0
        }));
        let across = |a: usize, c: usize| {
            beside_speed(
                second_means(level(a).zip(level(c)).map(|(a, c)| a - c)),
                &mean,
            )
        };
        // The sides: the split whose halves differ most, on both axles alike.
        let splits = [[0, 1, 2, 3], [0, 2, 1, 3], [0, 3, 1, 2]];
        let mut ways = splits.map(|split| {
            // a and b are one side: a − c and b − d both cross the car, and so do a − d and b − c.
            let [a, b, c, d] = split;
            let straight = Together::of_rows(&across(a, c), &across(b, d));
            let other_way = Together::of_rows(&across(a, d), &across(b, c));
            (split, straight, straight.cov.min(other_way.cov))
        });
        ways.sort_by(|one, other| other.2.total_cmp(&one.2));
        let (split, together, cov) = ways[0];
        let is_clear = cov > CLEARLY_MORE * ways[1].2.max(0.0)
            && is_turning_both_ways(&across(split[0], split[2]), &mean);
        let concordance = together.concordance().max(0.0);
        let smooth = chosen
            .iter()
            .map(|signal| signals[*signal].quality.smooth_bits);
        let smooth = smooth.fold(f64::INFINITY, f64::min);
        let score =
            arrangement + 2.0 * concordance - 10.0 * distance - 3.0 * off - self.cost_of_lag(&four)
                + 0.1 * smooth.min(10.0);
        if score < LEAST_SCORE {
            return None;
        }
        let are_sides_known = is_clear && together.is_significant() && together.r() > 0.5;
        let places = in_axles(signals, &chosen, split, are_sides_known);
        Some(Wheels {
            signals: places.iter().map(|place| chosen[*place]).collect(),
            offsets: places.iter().map(|place| offsets[*place]).collect(),
            alike: Some((together.r(), together.n)),
            are_sides_known,
            distance,
            at_rest: None,
            score,
            others: Vec::new(),
        })
    }

    /// The best two of a flock: one axle is all that is sent, or only one turned.
    fn two(&self) -> Option<Wheels> {
        let Flock {
            signals,
            speeds,
            twins,
            ..
        } = *self;
        let flock = &self.members[..];
        let mut best: Option<Wheels> = None;
        for (at, &one) in flock.iter().enumerate() {
            for &other in &flock[at + 1..] {
                let Some(pair) = twins[one][other] else {
                    continue;
                };
                let two = [speeds[one], speeds[other]];
                let arrangement = arrangement(signals, &two);
                let smooth = two.map(|signal| signals[signal].quality.smooth_bits);
                // A pair is weaker evidence than a four, whatever it comes to.
                let score =
                    arrangement - 2.0 - 10.0 * pair.distance - self.cost_of_lag(&[one, other])
                        + 0.1 * smooth[0].min(smooth[1]);
                if arrangement >= 2.2
                    && pair.distance > 0.0
                    && best.as_ref().is_none_or(|best| score > best.score)
                {
                    best = Some(Wheels {
                        signals: two.to_vec(),
                        offsets: vec![0.0, pair.offset],
                        alike: None,
                        are_sides_known: false,
                        distance: pair.distance,
                        at_rest: None,
                        score,
                        others: rest_of(speeds, flock, &two),
                    });
                }
            }
        }
        best
    }
}

fn rest_of(speeds: &[usize], flock: &[usize], chosen: &[usize]) -> Vec<usize> {
    let all = flock.iter().map(|member| speeds[*member]);
    all.filter(|signal| !chosen.contains(signal)).collect()
}

/// Of a large flock those with the most and nearest twins.
fn the_nearest(twins: &[Vec<Option<Twins>>], flock: &[usize]) -> Vec<usize> {
    let mut flock = flock.to_vec();
    let nearness = |member: usize| -> f64 {
        let near = twins[member].iter().flatten();
        near.map(|pair| FURTHEST_TWIN - pair.distance).sum()
    };
    flock.sort_by(|one, other| nearness(*other).total_cmp(&nearness(*one)));
    flock.truncate(LARGEST_FLOCK);
    flock.sort_unstable();
    flock
}

/// How well four stand together in frames: one, two with two each, or four alike.
fn arrangement(signals: &[Signal], four: &[usize]) -> f64 {
    let frames: Vec<usize> = four.iter().map(|signal| signals[*signal].frame()).collect();
    let n_in = |frame: usize| frames.iter().filter(|other| **other == frame).count();
    let layouts: Vec<_> = four
        .iter()
        .filter_map(|signal| signals[*signal].layout())
        .collect();
    if layouts.len() < four.len() {
        return 2.4;
    }
    let widths: Vec<usize> = layouts.iter().map(|layout| layout.0).collect();
    let (narrow, wide) = (widths.iter().min(), widths.iter().max());
    let spread = wide.unwrap_or(&0) - narrow.unwrap_or(&0);
    let low_first = layouts
        .iter()
        .filter(|layout| layout.1 == Order::LowFirst)
        .count();
    let one_order = low_first == 0 || low_first == four.len();
    let periods = four.iter().map(|signal| signals[*signal].period_s);
    let slowest = periods.clone().fold(0.0, f64::max);
    let quickest = periods.fold(f64::INFINITY, f64::min);
    let one_period = slowest < 1.15 * quickest;
    let alike = match frames.iter().map(|frame| n_in(*frame)).min() {
        Some(n) if n == four.len() => 3.0,
        Some(2) => 2.3,
        Some(1) if frames.iter().all(|frame| n_in(*frame) == 1) => {
            let ends: Vec<usize> = layouts.iter().map(|layout| layout.2).collect();
            if ends.iter().all(|end| *end == ends[0]) {
                2.3
            } else {
                1.2
            }
        }
        _ => 0.0,
    };
    alike
        - 0.4 * spread.saturating_sub(2).min(4) as f64
        - if one_order { 0.0 } else { 0.8 }
        - if one_period { 0.0 } else { 0.5 }
}

/// The least that the frames of four are alike.
const LEAST_ARRANGEMENT: f64 = 1.1;
/// The least that four come to; below that they are chance.
const LEAST_SCORE: f64 = -1.0;

/// By how much the split into sides must be the clearer one.
const CLEARLY_MORE: f64 = 2.5;

/// Axle by axle: two of one frame are one axle; of four in a frame the first two, when they are
/// of different sides, as they then are nearly always.
fn in_axles(
    signals: &[Signal],
    chosen: &[usize; 4],
    split: [usize; 4],
    are_known: bool,
) -> [usize; 4] {
    if !are_known {
        return [0, 1, 2, 3];
    }
    let [a, b, c, d] = split;
    let side = |place: usize| place == a || place == b;
    // Whoever stands nearest to `a` on the other side.
    let far = |place: usize| {
        let (one, other) = (&signals[chosen[a]], &signals[chosen[place]]);
        (
            one.frame() != other.frame(),
            place.abs_diff(a) != 1 || place / 2 != a / 2,
        )
    };
    let partner = if far(d) < far(c) { d } else { c };
    let third = if partner == c { d } else { c };
    let first = if side(a) { a } else { b };
    [first, partner, b, third]
}
