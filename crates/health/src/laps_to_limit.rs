//! How many laps are left until the oil is too hot.
//!
//! In: the oil where it is hottest in each of the last laps, in order. Out: laps until a limit
//! with a 90 % interval, or where the oil levels off. In laps driven alike the hottest point is
//! always the same, and there the limit is passed first: at the line the oil may be ten degrees
//! cooler. A unit heated alike in every lap rises as an exponential, T = L + B·q^n, and never
//! on a straight line, which would warn too early. The interval is the likelihood's profile
//! over the laps left: every q is tried. Laps out of the pits and into them are no laps of the pace.
//! It refuses fewer than three laps driven alike, and a last lap of another pace.

use crate::figure_id::FigureId;
use crate::reason::{Counted, DriveFact, Reason};
use halfshaft_driveline::median::upper_median;

use crate::limits::{LapsLeft, SDS_OF_90};
use crate::nouns::{Estimate, Figure, Grade, Lap};

/// Steps of a lap that are tried.
const STEPS_PER_LAP: f64 = 10.0;

/// Time constants tried, in laps, each a tenth longer than the one before: a unit takes 6 to
/// 30 min, a lap 1 to 10.
const TIME_CONSTANTS: (f64, f64, f64) = (0.5, 60.0, 1.1);

/// Laps after the pace, at the most: one in to the pits and one out again.
const MOST_AFTER: usize = 2;

/// What the laps say.
#[derive(Clone, Debug, PartialEq)]
pub struct LapsToLimit {
    /// The limit, °C.
    pub limit_c: f64,
    /// Highest oil of the last lap, °C.
    pub now_c: f64,
    /// Laps it was made from.
    pub n_laps: usize,
    /// Scatter of the oil about the exponential, K.
    pub scatter_k: f64,
    /// The answer.
    pub ahead: LapsAhead,
}

/// What comes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LapsAhead {
    /// The limit is reached already.
    Reached,
    /// It will be reached.
    In {
        /// Laps after the last one: 1.4 is in the second of them.
        laps: f64,
        /// Low end of the 90 % interval.
        low: f64,
        /// High end; `None` when it may as well never be reached.
        high: Option<f64>,
    },
    /// The oil levels off lower.
    LevelsOff {
        /// Where, °C.
        at_c: f64,
        /// Fewest laps after which the limit may be reached all the same.
        least_laps: Option<f64>,
    },
}

/// Highest oil of the last laps driven alike, oldest first, °C.
///
/// The pace is that of the last laps that follow on each other and are alike. An out lap before them
/// and a lap in and one out again after them are slower, and no part of it: what is found counts
/// from the last lap of the pace. A quicker lap, or more slow ones, is another pace. All are of the
/// last stint: after a mark the car may be another.
pub fn lap_peaks(laps: &[Lap], limits: &LapsLeft) -> Result<Vec<f64>, Reason> {
    let Some(last) = laps.last() else {
        return Err(DriveFact::Laps.into());
    };
    let needed = limits.least_laps as usize;
    let stint = laps.iter().rev().find_map(|lap| lap.stint);
    let mut best = 0;
    for n_after in 0..=MOST_AFTER.min(laps.len() - 1) {
        let (before, after) = laps.split_at(laps.len() - n_after);
        let run = alike_at_the_end(before, limits);
        let usual_s = upper_median(run.iter().map(|lap| lap.span.seconds())).unwrap_or(0.0);
        let is_slow =
            |lap: &Lap| lap.stint.is_none() || is_out_or_in(lap.span.seconds(), usual_s, limits);
        if run.first().is_some_and(|lap| lap.stint != stint) {
            continue;
        }
        if !after.iter().all(is_slow) {
            continue;
        }
        if n_after == 0 || run.len() >= needed {
            best = best.max(run.len());
        }
        if run.len() < needed {
            continue;
        }
        let run = &run[run.len().saturating_sub(limits.most_laps as usize)..];
        let known = run.iter().rev().map_while(|lap| lap.oil_max_c);
        let mut peaks: Vec<f64> = known.collect();
        if peaks.is_empty() {
            return Err(DriveFact::OilInLastLap.into());
        }
        if peaks.len() < needed {
            return Err(too_few(peaks.len(), needed));
        }
        peaks.reverse();
        return Ok(peaks);
    }
    let usual_s = upper_median(laps.iter().map(|lap| lap.span.seconds())).unwrap_or(0.0);
    let seconds = last.span.seconds();
    match (seconds / usual_s - 1.0).abs() > limits.alike {
        true => Err(Reason::LastLapUnlike { seconds, usual_s }),
        false => Err(too_few(best, needed)),
    }
}

/// Whether a lap that took so long, beside the usual one of its pace, is one out of the pits or into them.
fn is_out_or_in(seconds: f64, usual_s: f64, limits: &LapsLeft) -> bool {
    seconds > usual_s * (1.0 + limits.alike)
}

/// Which laps of these times, s, were driven at their pace: none out of the pits or into them.
pub fn at_pace(seconds: &[f64], limits: &LapsLeft) -> Vec<usize> {
    let usual_s = upper_median(seconds.iter().copied()).unwrap_or(0.0);
    let is_slow = |index: &usize| is_out_or_in(seconds[*index], usual_s, limits);
    (0..seconds.len()).filter(|index| !is_slow(index)).collect()
}

fn too_few(found: usize, needed: usize) -> Reason {
    Reason::TooFew {
        what: Counted::LapsAlike,
        found,
        needed,
    }
}

/// The last laps that follow on each other with the pace of the last of them, in its stint.
fn alike_at_the_end<'a>(laps: &'a [Lap], limits: &LapsLeft) -> &'a [Lap] {
    let Some(last) = laps.last() else {
        return laps;
    };
    let (mut first, mut next) = (laps.len(), last.span.end);
    for (index, lap) in laps.iter().enumerate().rev() {
        let is_next = lap.span.end.since(next).abs() < 1.0;
        let apart = lap.span.seconds() / last.span.seconds() - 1.0;
        let is_in_stint = lap.stint.is_some() && lap.stint == last.stint;
        if !is_next || !is_in_stint || apart.abs() > limits.alike {
            break;
        }
        (first, next) = (index, lap.span.start);
    }
    &laps[first..]
}

/// Laps until the oil is at `limit_c`, from its highest in each lap, oldest first, in °C.
pub fn laps_to_limit(
    lap_peaks: &[f64],
    limit_c: f64,
    limits: &LapsLeft,
) -> Result<LapsToLimit, Reason> {
    let (n_laps, needed) = (lap_peaks.len(), limits.least_laps as usize);
    let most_laps = f64::from(limits.ahead_laps);
    let Some(now_c) = lap_peaks.last().copied().filter(|_| n_laps >= needed) else {
        return Err(Reason::TooFew {
            what: Counted::Laps,
            found: n_laps,
            needed,
        });
    };
    // Laps before now, and the temperature over the limit.
    let points: Vec<(f64, f64)> = lap_peaks
        .iter()
        .enumerate()
        .map(|(index, celsius)| (index as f64 + 1.0 - n_laps as f64, celsius - limit_c))
        .collect();
    let free = best_free(&points);
    let n_free = (points.len() as f64 - 3.0).max(1.0);
    let scatter_k = (free.squares / n_free).sqrt().max(limits.least_scatter_k);
    let told = |ahead| LapsToLimit {
        limit_c,
        now_c,
        n_laps,
        scatter_k,
        ahead,
    };
    if now_c >= limit_c {
        return Ok(told(LapsAhead::Reached));
    }
    let allowed = SDS_OF_90 * SDS_OF_90 * scatter_k * scatter_k;
    let n_steps = (most_laps * STEPS_PER_LAP) as usize;
    let reaching: Vec<(f64, f64)> = (1..=n_steps)
        .map(|step| step as f64 / STEPS_PER_LAP)
        .map(|laps| (laps, squares_reaching(&points, laps)))
        .collect();
    let never = best_never(&points);
    let best = reaching
        .iter()
        .copied()
        .reduce(|best, next| if next.1 < best.1 { next } else { best })
        .unwrap_or((most_laps, f64::INFINITY));
    let least = best.1.min(never.squares);
    let mut possible = reaching
        .iter()
        .filter(|(_, squares)| squares - least <= allowed)
        .map(|(laps, _)| *laps);
    let low = possible.next();
    let high = possible.next_back().or(low);
    Ok(told(if never.squares <= best.1 {
        LapsAhead::LevelsOff {
            at_c: limit_c + never.level,
            least_laps: low,
        }
    } else {
        let may_be_never = never.squares - least <= allowed;
        LapsAhead::In {
            laps: best.0,
            low: low.unwrap_or(best.0),
            high: high.filter(|high| !may_be_never && *high < most_laps - 1.0 / STEPS_PER_LAP),
        }
    }))
}

/// An exponential through the points, with the sum of its squares.
#[derive(Clone, Copy, Debug)]
struct Curve {
    squares: f64,
    // Where it levels off, over the limit.
    level: f64,
}

/// The factors q that are tried: e^(−1/τ), τ in laps.
fn factors() -> impl Iterator<Item = f64> {
    let (shortest, longest, ratio) = TIME_CONSTANTS;
    std::iter::successors(Some(shortest), move |tau| Some(tau * ratio))
        .take_while(move |tau| *tau <= longest)
        .map(|tau: f64| (-1.0 / tau).exp())
}

fn least(curves: impl Iterator<Item = Curve>) -> Curve {
    let none = Curve {
        squares: f64::INFINITY,
        level: f64::NAN,
    };
    curves.fold(none, |best, next| {
        if next.squares < best.squares {
            next
        } else {
            best
        }
    })
}

/// Straight line through (q^n, T): L and B by least squares.
fn line(points: &[(f64, f64)], q: f64) -> Curve {
    let n = points.len() as f64;
    let x = |lap: f64| q.powf(lap);
    let mean_x = points.iter().map(|(lap, _)| x(*lap)).sum::<f64>() / n;
    let mean_y = points.iter().map(|(_, over)| over).sum::<f64>() / n;
    let (xx, xy) = points.iter().fold((0.0, 0.0), |(xx, xy), (lap, over)| {
        let away = x(*lap) - mean_x;
        (xx + away * away, xy + away * (over - mean_y))
    });
    let slope = xy / xx;
    let level = mean_y - slope * mean_x;
    let squares = points
        .iter()
        .map(|(lap, over)| (over - level - slope * x(*lap)).powi(2))
        .sum();
    Curve { squares, level }
}

fn best_free(points: &[(f64, f64)]) -> Curve {
    least(factors().map(|q| line(points, q)))
}

/// The best curve that never reaches the limit.
fn best_never(points: &[(f64, f64)]) -> Curve {
    least(
        factors()
            .map(|q| line(points, q))
            .filter(|curve| curve.level < 0.0),
    )
}

/// Sum of squares of the best rising curve that is at the limit after so many laps.
fn squares_reaching(points: &[(f64, f64)], laps: f64) -> f64 {
    factors()
        .map(|q| {
            let at = q.powf(laps);
            let (xx, xy) = points.iter().fold((0.0, 0.0), |(xx, xy), (lap, over)| {
                let x = q.powf(*lap) - at;
                (xx + x * x, xy + x * over)
            });
            // q^n falls with n: a rising temperature has a negative factor.
            let slope = (xy / xx).min(0.0);
            points
                .iter()
                .map(|(lap, over)| (over - slope * (q.powf(*lap) - at)).powi(2))
                .sum()
        })
        .fold(f64::INFINITY, f64::min)
}

/// The figure of it.
pub fn figure(found: &Result<LapsToLimit, Reason>, limits: &LapsLeft) -> Figure {
    let outcome = found.clone().and_then(|found| match found.ahead {
        LapsAhead::Reached => Err(Reason::LapsOver {
            at_c: found.now_c,
            limit_c: found.limit_c,
        }),
        LapsAhead::In {
            laps,
            low,
            high: Some(high),
        } => Ok(Estimate {
            value: laps,
            low,
            high,
            is_at_least: false,
        }),
        LapsAhead::In {
            laps,
            low,
            high: None,
        } => Err(Reason::MayLevelOff {
            laps,
            least_laps: low,
            limit_c: found.limit_c,
        }),
        LapsAhead::LevelsOff { at_c, least_laps } => Err(Reason::LevelsOff {
            at_c,
            limit_c: found.limit_c,
            least_laps,
        }),
    });
    let n_laps = found.as_ref().map_or(0, |found| found.n_laps);
    Figure {
        id: FigureId::LapsToLimit,
        title: "Laps left",
        unit: "laps",
        grade: outcome
            .is_ok()
            .then_some(match n_laps >= limits.most_laps as usize {
                true => Grade::B,
                false => Grade::C,
            }),
        outcome,
        method: format!(
            "an exponential through the highest oil of each of the last {n_laps} laps, counted from the last"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::says;
    use halfshaft_model::{Span, Time};

    /// 150 − 60·e^(−n/4) where `n` laps are hottest, in steps of the sensor.
    fn warming(n: usize, step_k: f64) -> Vec<f64> {
        (0..n)
            .map(|lap| 150.0 - 60.0 * (-(lap as f64) / 4.0).exp())
            .map(|celsius| (celsius / step_k).round() * step_k)
            .collect()
    }

    #[test]
    fn an_exponential_gives_its_laps() {
        // Derived: 130 °C at n = 4·ln(60/20) = 4.394; from the fourth lap, n = 3, 1.394 more. A
        // straight line through the last two laps would say 1.15.
        let found = laps_to_limit(&warming(4, 1e-6), 130.0, &LapsLeft::default()).unwrap();
        let LapsAhead::In { laps, low, high } = found.ahead else {
            panic!("{found:?}");
        };
        assert!((laps - 1.394).abs() < 0.11, "{found:?}");
        let high = high.unwrap();
        assert!(low < 1.394 && 1.394 < high && high < 2.5, "{found:?}");
    }

    #[test]
    fn it_levels_off_below_a_high_limit() {
        let settled = [119.5, 119.9, 120.1, 120.0, 120.1, 120.0];
        let found = laps_to_limit(&settled, 150.0, &LapsLeft::default()).unwrap();
        let LapsAhead::LevelsOff { at_c, .. } = found.ahead else {
            panic!("{found:?}");
        };
        assert!((at_c - 120.0).abs() < 0.5, "{found:?}");
        says(
            &figure(&Ok(found), &LapsLeft::default())
                .outcome
                .unwrap_err(),
            "levels off at 120 °C",
        );
        let reached = laps_to_limit(&settled, 119.0, &LapsLeft::default()).unwrap();
        assert_eq!(reached.ahead, LapsAhead::Reached);
        // Never a bare 0.
        says(
            &figure(&Ok(reached), &LapsLeft::default())
                .outcome
                .unwrap_err(),
            "no laps left: the oil was at 120 °C in the last lap of the pace, and 119 °C is its warning",
        );
    }

    #[test]
    fn the_interval_holds_the_truth_nine_times_in_ten() {
        let (mut n_in, mut n_open) = (0, 0);
        let mut state = 7u64;
        for _ in 0..200 {
            let noisy: Vec<f64> = warming(6, 1e-6)
                .iter()
                .map(|celsius| {
                    // A sum of twelve uniform numbers has a standard deviation of 1.
                    let noise: f64 = (0..12)
                        .map(|_| {
                            state = state
                                .wrapping_mul(6364136223846793005)
                                .wrapping_add(1442695040888963407);
                            (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
                        })
                        .sum();
                    celsius + 0.5 * noise
                })
                .collect();
            // Derived: 142 °C at 4·ln(60/8) = 8.06, 3.06 after the sixth lap, n = 5.
            match laps_to_limit(&noisy, 142.0, &LapsLeft::default())
                .unwrap()
                .ahead
            {
                LapsAhead::In { low, high, .. } => {
                    n_open += usize::from(high.is_none());
                    n_in += usize::from(low <= 3.06 && high.is_none_or(|high| 3.06 <= high));
                }
                LapsAhead::LevelsOff { least_laps, .. } => {
                    n_open += 1;
                    n_in += usize::from(least_laps.is_some_and(|least| least <= 3.06));
                }
                LapsAhead::Reached => {}
            }
        }
        assert!(n_in >= 170, "{n_in} of 200");
        assert!(n_open < 190, "{n_open} of 200 say nothing above");
    }

    #[test]
    fn how_many_laps_it_takes_is_a_limit() {
        let own = LapsLeft {
            least_laps: 5,
            ..LapsLeft::default()
        };
        let found = laps_to_limit(&warming(4, 1e-6), 130.0, &own);
        says(&found.unwrap_err(), "5");
        assert!(laps_to_limit(&warming(5, 1e-6), 130.0, &own).is_ok());
    }

    #[test]
    fn only_laps_driven_alike_count() {
        let lap = |number: u32, start: f64, end: f64| Lap {
            number,
            stint: Some(1),
            span: Span {
                start: Time::from_seconds(start),
                end: Time::from_seconds(end),
            },
            length_m: 3000.0,
            heat_kj: None,
            oil_max_c: Some(80.0 + 0.1 * end),
            oil_rise_k: None,
            throttle: None,
            is_at_least: false,
        };
        let mut laps: Vec<Lap> = (0..7)
            .map(|index| {
                lap(
                    index + 1,
                    90.0 * f64::from(index),
                    90.0 * f64::from(index + 1),
                )
            })
            .collect();
        // Derived: the last five of seven laps of 90 s end from 270 to 630 s.
        let found = lap_peaks(&laps, &LapsLeft::default()).unwrap();
        assert_eq!(found.len(), 5);
        assert!((found[0] - 107.0).abs() < 1e-9 && (found[4] - 143.0).abs() < 1e-9);
        laps[4].oil_max_c = None;
        says(
            &lap_peaks(&laps, &LapsLeft::default()).unwrap_err(),
            "2 laps driven alike",
        );
        laps[6].oil_max_c = None;
        says(
            &lap_peaks(&laps, &LapsLeft::default()).unwrap_err(),
            "no oil temperature",
        );
        // A quicker last lap is another pace.
        laps.push(lap(8, 630.0, 690.0));
        says(
            &lap_peaks(&laps, &LapsLeft::default()).unwrap_err(),
            "60 s and the others 90 s",
        );
        // Out, four laps, in, and out again: derived, the four end from 240 to 510 s.
        let times = [0.0, 150.0, 240.0, 330.0, 420.0, 510.0, 680.0, 840.0];
        let session: Vec<Lap> = (1..8)
            .map(|number| lap(number, times[number as usize - 1], times[number as usize]))
            .collect();
        let found = lap_peaks(&session, &LapsLeft::default()).unwrap();
        assert_eq!(found.len(), 4);
        assert!((found[0] - 104.0).abs() < 1e-9 && (found[3] - 131.0).abs() < 1e-9);
        // Two laps of the pace are too few, whatever the laps beside them.
        assert!(lap_peaks(&session[..3], &LapsLeft::default()).is_err());
        says(
            &lap_peaks(&[], &LapsLeft::default()).unwrap_err(),
            "no laps",
        );
    }
}
