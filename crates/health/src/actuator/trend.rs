//! Whether the answers became slower from the beginning of a drive to its end.
//!
//! In: answers of one direction with warm oil, in order of time. Out: [`Trend`], how many times as
//! long the last took as the first, with its 90 % interval. A line is fitted to the logarithm of
//! the time over the time of the drive, with a level of its own for moves of like size: where the
//! motor runs at its greatest speed a large move takes longer, and driving brings large and small
//! ones in any order. What colder oil and a weaker supply explain of it stands beside. It refuses a time that
//! the samples are too slow for: which of them fall on the way then makes it.

use halfshaft_driveline::median::median;
use halfshaft_driveline::response::Response;
use halfshaft_driveline::response::resolution::{StatedTime, stated_time};

use crate::limits::{ActuatorLimits, SDS_OF_90};
use crate::reason::{Counted, Reason};

/// Ends of the bands of like moves, share of full: within one a move is at most 1.6 times another.
const SIZES: [f64; 4] = [0.25, 0.4, 0.6, 0.85];

/// A time further from the line than this is one freak fit, and left out once. Source: common
/// practice, no source; of 300 normal ones one lies beyond.
const FREAK_SDS: f64 = 3.0;

/// How a time went over a drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Moves it is taken from.
    pub n_moves: usize,
    /// How many times as long the last move took as the first, by the line.
    pub ratio: f64,
    /// Its 90 % interval.
    pub band: (f64, f64),
    /// How many times as long colder oil and a weaker supply may make them at the most.
    pub explained: f64,
    /// Medians of the first and the last third, s.
    pub thirds_s: [f64; 2],
}

/// One move on its way into the line.
#[derive(Clone, Copy, Debug)]
struct Point {
    band: usize,
    // Since the first move, as a share of the time to the last.
    x: f64,
    // Logarithm of its time.
    y: f64,
}

/// A slope with its standard error, over the bands.
struct Line {
    slope: f64,
    error: f64,
    sd: f64,
    n_free: f64,
}

/// The trend of a time over these moves, or why none can be judged.
pub fn trend(
    moves: &[Response],
    time: fn(&Response) -> Option<f64>,
    limits: &ActuatorLimits,
) -> Result<Trend, Reason> {
    let timed: Vec<(&Response, f64)> = moves
        .iter()
        .filter_map(|response| Some((response, time(response).filter(|time_s| *time_s > 0.0)?)))
        .collect();
    let few = |n: usize| Reason::TooFew {
        what: Counted::MovesOfTrend,
        found: n,
        needed: limits.trend_moves as usize,
    };
    let n_third = timed.len() / 3;
    if timed.len() < limits.trend_moves as usize || n_third == 0 {
        return Err(few(timed.len()));
    }
    let (first, last) = (&timed[..n_third], &timed[timed.len() - n_third..]);
    let of = |third: &[(&Response, f64)], value: fn(&Response) -> Option<f64>| {
        let mut values: Vec<f64> = third.iter().filter_map(|(one, _)| value(one)).collect();
        median(&mut values)
    };
    // Both thirds' medians, where both know it.
    let both = |value: fn(&Response) -> Option<f64>| of(first, value).zip(of(last, value));
    let cold =
        |oil_c: f64| 1.0 + limits.cold_growth_per_k * (limits.trend_cold_below_c - oil_c).max(0.0);
    let by_oil = both(|response| response.oil_c).map_or(1.0, |(was, is)| cold(is) / cold(was));
    let by_supply = both(|response| response.supply_v).map_or(1.0, |(was, is)| was / is);
    let times: Vec<f64> = timed.iter().map(|(_, time_s)| *time_s).collect();
    let resolution = timed.iter().find_map(|(response, _)| response.resolution);
    if let Some(resolution) = resolution
        && let StatedTime::BelowResolution { below_s } = stated_time(&times, resolution, true)
    {
        return Err(Reason::BelowResolution {
            below_s,
            period_s: resolution.deciding_period_s(),
        });
    }
    let start = timed[0].0.time();
    let length_s = timed[timed.len() - 1].0.time().since(start);
    let mut points: Vec<Point> = timed
        .iter()
        .map(|(response, time_s)| {
            let size = (response.edge.to - response.edge.from).abs();
            Point {
                band: SIZES.iter().filter(|end| size >= **end).count(),
                x: response.time().since(start) / length_s,
                y: time_s.ln(),
            }
        })
        .collect();
    let rough = line(&points).ok_or_else(|| few(timed.len()))?;
    let centred = centred(&points);
    let mut near = centred
        .iter()
        .map(|(x, y)| (y - rough.slope * x).abs() <= FREAK_SDS * rough.sd);
    points.retain(|_| near.next().unwrap_or(true));
    let found = line(&points).ok_or_else(|| few(points.len()))?;
    // Student's factor for the 90 % interval, to within 2 % from five free moves on (Cornish and
    // Fisher's expansion, from memory).
    let factor = SDS_OF_90 + 0.25 * (SDS_OF_90.powi(3) + SDS_OF_90) / found.n_free;
    let half = factor * found.error;
    let median_s = |third: &[(&Response, f64)]| {
        median(
            &mut third
                .iter()
                .map(|(_, time_s)| *time_s)
                .collect::<Vec<f64>>(),
        )
        .unwrap_or(0.0)
    };
    Ok(Trend {
        n_moves: points.len(),
        ratio: found.slope.exp(),
        band: ((found.slope - half).exp(), (found.slope + half).exp()),
        explained: by_oil.max(1.0) * by_supply.max(1.0),
        thirds_s: [median_s(first), median_s(last)],
    })
}

/// Each point less the mean of its band, in the order of the points.
fn centred(points: &[Point]) -> Vec<(f64, f64)> {
    let means: Vec<(f64, f64)> = (0..=SIZES.len())
        .map(|band| {
            let of_band = || points.iter().filter(|point| point.band == band);
            let n = of_band().count().max(1) as f64;
            let sum = |of: fn(&Point) -> f64| of_band().map(of).sum::<f64>();
            (sum(|point| point.x) / n, sum(|point| point.y) / n)
        })
        .collect();
    points
        .iter()
        .map(|point| (point.x - means[point.band].0, point.y - means[point.band].1))
        .collect()
}

/// The line of least squares with a level for each band; `None` where too little is left over to
/// say how well it is known.
fn line(points: &[Point]) -> Option<Line> {
    let centred = centred(points);
    let n_bands = (0..=SIZES.len())
        .filter(|band| points.iter().any(|point| point.band == *band))
        .count();
    let n_free = points
        .len()
        .checked_sub(n_bands + 1)
        .filter(|n| *n >= LEAST_FREE)? as f64;
    let xx: f64 = centred.iter().map(|(x, _)| x * x).sum();
    let slope = centred.iter().map(|(x, y)| x * y).sum::<f64>() / xx;
    let squares: f64 = centred.iter().map(|(x, y)| (y - slope * x).powi(2)).sum();
    let sd = (squares / n_free).sqrt();
    (xx > 0.0).then(|| Line {
        slope,
        error: sd / xx.sqrt(),
        sd,
        n_free,
    })
}

/// Moves beyond levels and slope from which a scatter is known. Source: derived: Student's factor
/// is then within a quarter of that of a normal distribution.
const LEAST_FREE: usize = 5;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::answer;
    use crate::limits::Limits;
    use halfshaft_driveline::response::Direction;

    fn found(n: usize, of: impl Fn(f64, usize) -> (f64, f64, f64)) -> Result<Trend, Reason> {
        let moves: Vec<Response> = (0..n)
            .map(|index| {
                let (lag_s, oil_c, size) = of(index as f64 / (n - 1) as f64, index);
                let mut one = answer(index, Direction::Engage, (0.05, lag_s), (oil_c, 13.5));
                one.edge.to = one.edge.from + size;
                one
            })
            .collect();
        trend(&moves, Response::rise_time_s, &Limits::default().actuator)
    }

    /// Scatter of 10 % either way, in no order.
    fn scattered(index: usize) -> f64 {
        1.0 + 0.1 * (2.0 * (index as f64 * 0.618).fract() - 1.0)
    }

    #[test]
    fn a_lag_that_doubles_is_seen_with_its_band() {
        let got = found(30, |x, index| {
            (0.08 * (1.0 + x) * scattered(index), 70.0, 0.8)
        })
        .unwrap();
        assert!((got.ratio - 2.0).abs() < 0.15, "{got:?}");
        assert!(got.band.0 > 1.7 && got.band.1 < 2.4, "{got:?}");
        // Derived: of 1 + x the medians of the thirds are 7/6 and 11/6 of 2.197·0.08 s.
        assert!((got.thirds_s[1] / got.thirds_s[0] - 11.0 / 7.0).abs() < 0.15);
    }

    #[test]
    fn scatter_alone_is_no_trend() {
        let got = found(30, |_, index| (0.08 * scattered(index), 70.0, 0.8)).unwrap();
        assert!(got.band.0 < 1.0 && got.band.1 > 1.0, "{got:?}");
    }

    #[test]
    fn large_moves_late_in_the_drive_are_no_trend() {
        // At its greatest speed a move of 0.8 takes four times one of 0.2.
        let got = found(40, |x, index| {
            let size = if (index as f64 * 0.414).fract() < x {
                0.8
            } else {
                0.2
            };
            (0.1 * size * scattered(index), 70.0, size)
        });
        let got = got.unwrap();
        assert!(got.band.0 < 1.1 && (got.ratio - 1.0).abs() < 0.1, "{got:?}");
    }

    #[test]
    fn colder_oil_explains_some_and_few_or_slow_samples_are_not_judged() {
        // Derived: from 70 to 50 °C over the drive; in the middle of the last third 53 °C, 7 K below 60 °C.
        let colder = found(31, |x, _| (0.08 * (1.0 + x), 70.0 - 20.0 * x, 0.8)).unwrap();
        assert!((colder.explained - 1.14).abs() < 0.01, "{colder:?}");
        let few = found(9, |x, _| (0.08 * (1.0 + x), 70.0, 0.8));
        assert!(matches!(few, Err(Reason::TooFew { found: 9, .. })));
        // Samples 10 ms apart show no rise of 7 ms.
        let quick = found(12, |x, _| (0.003 * (1.0 + x), 70.0, 0.8));
        assert!(
            matches!(quick, Err(Reason::BelowResolution { .. })),
            "{quick:?}"
        );
    }
}
