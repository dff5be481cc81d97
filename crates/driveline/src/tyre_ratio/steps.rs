//! Changes of the ratio within a drive: a step, slow drift, and a slide that begins on the way.
//!
//! In: the ratio window by window, as measured and with what the bend shows taken out. Out: the
//! greatest change within two kilometres of road, if it is large, stays, and is there without
//! taking anything out, too; the slope over the whole drive; and the slope from where the ratio
//! begins to slide to the end. A step is a tyre that lost its air or was changed, a slide one
//! that loses it slowly; warming tyres drift.

use halfshaft_model::Time;

use super::regression::{Fit, Line, fit, robust_sd};
use super::shortest_third::crowd;
use crate::median::median;

/// Smallest change that is a step: 0.3 %. Source: none, engineering guess; warming up
/// changes a tyre pair by less than 0.2 %.
const LEAST_STEP: f64 = 0.003;

/// Road looked at on each side, km: the middles are then two kilometres apart.
const SIDE_KM: f64 = 2.0;

/// Windows looked at on each side.
const LEAST_WINDOWS: usize = 6;
const LEAST_WINDOWS_OF_CROWD: usize = 24;
const MOST_WINDOWS: usize = 40;

/// A change must be this many times its own error.
const SIGNIFICANT: f64 = 5.0;

/// A step must be there in the ratio as measured, too, by this part of it at least: one that only
/// taking out the bends makes is none. Source: none, engineering guess.
const MEASURED_PART: f64 = 0.5;

/// Road needed before drift is known, km.
const LEAST_DRIFT_KM: f64 = 5.0;

/// Road, km, and windows needed of a slide, and places tried for where it begins. Source: none,
/// engineering guess.
const LEAST_SLIDE_KM: f64 = 3.0;
const LEAST_SLIDE_WINDOWS: usize = 24;
const N_PLACES: usize = 64;

/// A change of the ratio that stays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioStep {
    /// Where, km from the start.
    pub km: f64,
    /// When.
    pub time: Time,
    /// ln(ωR/ωL) before.
    pub before: f64,
    /// ln(ωR/ωL) after.
    pub after: f64,
}

impl RatioStep {
    /// Change of ln(ωR/ωL).
    pub fn size(&self) -> f64 {
        self.after - self.before
    }
}

/// A ratio that slides away from somewhere on to the end of the drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioSlide {
    /// Where it begins, km from the start.
    pub km: f64,
    /// When.
    pub time: Time,
    /// Change of ln(ωR/ωL) per km from there on, with its deviation.
    pub per_km: (f64, f64),
    /// Change of ln(ωR/ωL) to the end.
    pub change: f64,
}

/// A window of the series.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    pub km: f64,
    pub time: Time,
    /// With what the bend shows taken out.
    pub ratio_log: f64,
    /// As measured.
    pub measured: f64,
    pub block: u32,
}

/// How the middle of a few windows is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Middle {
    /// Straights only: the median.
    Median,
    /// Bends among them: where a third crowds.
    Crowd,
}

/// Middle and its error; `None` for too few.
fn middle(points: &[Point], how: Middle) -> Option<(f64, f64)> {
    middle_of(points.iter().map(|point| point.ratio_log), how)
}

fn middle_of(values: impl Iterator<Item = f64>, how: Middle) -> Option<(f64, f64)> {
    let mut values: Vec<f64> = values.collect();
    match how {
        Middle::Median if values.len() >= LEAST_WINDOWS => {
            let sd = robust_sd(&values);
            Some((
                median(&mut values)?,
                1.25 * sd / (values.len() as f64).sqrt(),
            ))
        }
        Middle::Crowd if values.len() >= LEAST_WINDOWS_OF_CROWD => {
            values.sort_by(f64::total_cmp);
            let (middle, width) = crowd(&values);
            Some((middle, width))
        }
        _ => None,
    }
}

/// The greatest step of the series, in order of road, and the index of its first window.
pub fn find_step(points: &[Point], how: Middle) -> Option<(usize, RatioStep)> {
    let side_km = match how {
        Middle::Median => SIDE_KM,
        // A third of the windows is straight: it takes more road to have as many.
        Middle::Crowd => 2.0 * SIDE_KM,
    };
    let mut best: Option<(usize, f64, f64, f64)> = None;
    for at in 1..points.len() {
        let mut first = at.saturating_sub(MOST_WINDOWS);
        while points[at].km - points[first].km > side_km {
            first += 1;
        }
        let mut end = (at + MOST_WINDOWS).min(points.len());
        while points[end - 1].km - points[at].km > side_km {
            end -= 1;
        }
        let (Some((before, before_error)), Some((after, after_error))) = (
            middle(&points[first..at], how),
            middle(&points[at..end], how),
        ) else {
            continue;
        };
        let size = (after - before).abs();
        let is_step = size > LEAST_STEP && size > SIGNIFICANT * before_error.hypot(after_error);
        if is_step
            && best.is_none_or(|best| size > best.1)
            && is_measured(&points[first..at], &points[at..end], after - before, how)
        {
            best = Some((at, size, before, after));
        }
    }
    let (at, _, before, after) = best?;
    let at = sharpest(points, at, before, after);
    // A step stays: what comes and goes is the road.
    let (all_before, _) = middle(&points[..at], how)?;
    let (all_after, _) = middle(&points[at..], how)?;
    let stays = (all_after - all_before) / (after - before) > 0.5;
    let point = points[at];
    stays.then_some((
        at,
        RatioStep {
            km: point.km,
            time: point.time,
            before,
            after,
        },
    ))
}

/// Whether the ratio as measured steps likewise.
fn is_measured(before: &[Point], after: &[Point], step: f64, how: Middle) -> bool {
    let measured = |points: &[Point]| {
        let values = points.iter().map(|point| point.measured);
        middle_of(values, how).map(|(middle, _)| middle)
    };
    measured(before)
        .zip(measured(after))
        .is_some_and(|(before, after)| (after - before) / step > MEASURED_PART)
}

/// The window near `at` that best parts what is near `before` from what is near `after`.
fn sharpest(points: &[Point], at: usize, before: f64, after: f64) -> usize {
    let first = at.saturating_sub(MOST_WINDOWS);
    let end = (at + MOST_WINDOWS).min(points.len());
    let mut best = (at, f64::INFINITY);
    let mut cost = 0.0;
    for (index, point) in points.iter().enumerate().take(end).skip(first) {
        if cost < best.1 {
            best = (index, cost);
        }
        let distance = |middle: f64| (point.ratio_log - middle).abs().min(LEAST_STEP);
        cost += distance(before) - distance(after);
    }
    best.0
}

/// Slope of the ratio along the road, per km, with its deviation.
pub fn drift(points: &[Point]) -> Option<(f64, f64)> {
    let (first, last) = (points.first()?, points.last()?);
    if points.len() < MOST_WINDOWS || last.km - first.km < LEAST_DRIFT_KM {
        return None;
    }
    let centre = 0.5 * (first.km + last.km);
    let lines: Vec<Line<2>> = points
        .iter()
        .map(|point| Line {
            x: [1.0, point.km - centre],
            y: point.ratio_log,
            weight: 1.0,
            block: point.block,
        })
        .collect();
    let found = fit(&lines, &[None, None])?;
    Some((found.unknowns[1], found.sds[1]))
}

/// Where the ratio begins to slide, and how quickly it does from there on; the place that leaves
/// least.
pub fn slide(points: &[Point]) -> Option<RatioSlide> {
    let last = points.last()?;
    let n_places = points.len().checked_sub(LEAST_SLIDE_WINDOWS)?;
    let beyond = |point: &Point, km: f64| (point.km - km).max(0.0);
    let left = |km: f64| {
        let n = points.len() as f64;
        let mean = |of: &dyn Fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / n;
        let (x, y) = (
            mean(&|point| beyond(point, km)),
            mean(&|point| point.ratio_log),
        );
        let square = mean(&|point| (beyond(point, km) - x).powi(2));
        let product = mean(&|point| (beyond(point, km) - x) * (point.ratio_log - y));
        -product * product / square.max(f64::MIN_POSITIVE)
    };
    let places = (0..=n_places).step_by(n_places / N_PLACES + 1);
    let km = places
        .map(|place| points[place].km)
        .filter(|km| last.km - km >= LEAST_SLIDE_KM)
        .min_by(|one, two| left(*one).total_cmp(&left(*two)))?;
    let lines: Vec<Line<2>> = points
        .iter()
        .map(|point| Line {
            x: [1.0, beyond(point, km)],
            y: point.ratio_log,
            weight: 1.0,
            block: point.block,
        })
        .collect();
    let Fit { unknowns, sds } = fit(&lines, &[None, None])?;
    let first = points.iter().find(|point| point.km >= km)?;
    Some(RatioSlide {
        km,
        time: first.time,
        per_km: (unknowns[1], sds[1]),
        change: unknowns[1] * (last.km - km),
    })
}
