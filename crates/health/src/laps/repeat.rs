//! Finds laps by the path that repeats.
//!
//! In: the path. Out: where laps begin, all at the same place of the road. Three steps.
//! Lengths after which the curvature looks alike are candidates. A candidate is followed
//! along the drive, both passes side by side, because measured distance runs away by a per
//! cent or so from lap to lap. What stays alike and closes is a lap: half an oval looks like
//! the other half, and turns by half a turn only. Of several the one that covers most of the
//! drive, and of those that cover about as much the shortest.

use std::cmp::Reverse;

use halfshaft_driveline::median::upper_median;

use super::alike::{FLAT, Match, View, same_place};
use super::corners::smoothed;
use super::grid::STEP_M;
use super::path::Path;
use crate::limits::LapLimits;

/// Grids for candidates: cell, m, and up to which lap length, m; the last goes to the longest. A
/// longer lap drifts by more metres, so it is compared more coarsely.
const GRIDS: [(f64, f64); 4] = [
    (10.0, 800.0),
    (20.0, 2500.0),
    (60.0, 10_000.0),
    (150.0, f64::INFINITY),
];

/// Half width of the window in which two passes are compared: share of the lap, and limits, m.
const WINDOW: (f64, f64, f64) = (1.0 / 6.0, 60.0, 250.0);

/// How far off a gap may have put the distance, m; and how far off a lap start may be, m.
const GAP_REACH_M: f64 = 80.0;
const START_REACH_M: f64 = 25.0;

/// Half window in which lap starts are aligned, m, and how much of the nearest bend it holds at
/// least, m. Reason for no more: a lap of another scale slides over the first.
const START_WINDOW_M: f64 = 150.0;
const BEND_IN_VIEW_M: f64 = 100.0;

/// Radius below which a stretch is a bend to align by, m. Part of the method and no judgement:
/// a gentler one has no place.
const VIEWED_BEND_RADIUS_M: f64 = 300.0;

/// How much the last lap may lack, m: places along a straight are known no better.
const LAST_LAP_SLACK_M: f64 = 20.0;

/// A lap length worth a closer look.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    lag_m: f64,
    // Where the lap begins that is most like the next, m.
    start_m: f64,
    // How far off the length may be, m.
    reach_m: f64,
}

/// Two passes side by side.
#[derive(Clone, Debug)]
struct Tracked {
    // Places (cells) and how far on (cells) the same place comes next.
    pairs: Vec<(f64, f64)>,
    correlation: f64,
}

/// Where laps begin, m, and where the last one ends; `None` when the path does not repeat.
pub fn lap_starts(path: &Path, limits: &LapLimits) -> Option<Vec<f64>> {
    let curvature = smoothed(&path.curvature);
    let found: Vec<Vec<f64>> = candidates(path, limits)
        .into_iter()
        .filter_map(|candidate| {
            let tracked = track(&curvature, path, candidate, limits)?;
            let (lines, to_bend) = lines(&curvature, &tracked, candidate.lag_m)?;
            // The way out of the pits may look like a lap that began there, and does not close: then
            // the line lies where there is one lap fewer.
            let most = lines.iter().map(|line| line.0).max()?;
            (0..=1)
                .filter_map(|fewer| {
                    let few = lines.iter().filter(|line| line.0 + fewer <= most);
                    let line = best_line(few)?;
                    starts(&curvature, &tracked, line, &to_bend, limits)
                })
                .find(|starts| closes(path, starts, tracked.correlation, limits))
        })
        .collect();
    // The block driven round twice on the way is not what the day was about.
    let covered = |starts: &[f64]| starts[starts.len() - 1] - starts[0];
    let most = found
        .iter()
        .map(|starts| covered(starts))
        .fold(0.0, f64::max);
    found
        .into_iter()
        .find(|starts| covered(starts) >= limits.covered * most)
}

/// Lap lengths to look at, shortest first.
fn candidates(path: &Path, limits: &LapLimits) -> Vec<Candidate> {
    let mut found = Vec::new();
    let mut from_m = limits.shortest_m;
    for (cell_m, to_m) in GRIDS {
        let to_m = to_m.min(limits.longest_m);
        if to_m <= from_m {
            continue;
        }
        let cells = smoothed(&path.curvature_by(cell_m));
        let sums = [
            prefix(cells.iter().copied()),
            prefix(cells.iter().map(|cell| cell * cell)),
        ];
        let (first, last) = ((from_m / cell_m) as usize, (to_m / cell_m) as usize);
        let best: Vec<(f64, usize)> = (first - 1..=last + 1)
            .map(|lag| best_correlation(&cells, &sums, lag))
            .collect();
        for (place, three) in best.windows(3).enumerate() {
            let (before, (here, start), after) = (three[0].0, three[1], three[2].0);
            let lag_m = (first + place) as f64 * cell_m;
            let start_m = start as f64 * cell_m;
            let is_peak = here >= limits.candidate_correlation && here >= before && here >= after;
            if is_peak && may_close(path, start_m, lag_m, limits) {
                found.push(Candidate {
                    lag_m,
                    start_m,
                    reach_m: 1.5 * cell_m + limits.distance_drift * lag_m,
                });
            }
        }
        from_m = to_m;
    }
    found
}

fn prefix(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sum = 0.0;
    let sums = values.map(|value| {
        sum += value;
        sum
    });
    std::iter::once(0.0).chain(sums).collect()
}

/// Highest correlation of a whole lap with the next, and where that lap begins (cell).
fn best_correlation(cells: &[f64], sums: &[Vec<f64>; 2], lag: usize) -> (f64, usize) {
    let n_pairs = cells.len().saturating_sub(lag);
    // The second lap may be cut a little short.
    let window = lag.min(n_pairs);
    if 10 * window < 9 * lag || window < 3 {
        return (0.0, 0);
    }
    let products = prefix((0..n_pairs).map(|cell| cells[cell] * cells[cell + lag]));
    let over = |sums: &[f64], start: usize| sums[start + window] - sums[start];
    let n = window as f64;
    let mut best = (0.0, 0);
    for start in 0..=n_pairs - window {
        let (one, other) = (over(&sums[0], start), over(&sums[0], start + lag));
        let energy =
            |start: usize, sum: f64| over(&sums[1], start) - sum * sum / n + n * FLAT * FLAT;
        let product = over(&products, start) - one * other / n;
        let correlation = product / (energy(start, one) * energy(start + lag, other)).sqrt();
        if correlation > best.0 {
            best = (correlation, start);
        }
    }
    best
}

/// A coarse look at the heading: a length a little off cuts through a corner.
fn may_close(path: &Path, start_m: f64, lag_m: f64, limits: &LapLimits) -> bool {
    let turned = path.turned_deg(start_m, start_m + lag_m).abs();
    let tolerance = 2.0 * limits.closing_most_deg;
    turned < tolerance || (turned - 360.0).abs() < tolerance
}

/// Follows a candidate to both sides for as long as the road stays the same.
fn track(
    curvature: &[f64],
    path: &Path,
    candidate: Candidate,
    limits: &LapLimits,
) -> Option<Tracked> {
    let same_road = limits.same_road;
    let cells = |metres: f64| (metres / STEP_M).round() as isize;
    let (lag, reach) = (cells(candidate.lag_m), cells(candidate.reach_m));
    let half = cells((WINDOW.0 * candidate.lag_m).clamp(WINDOW.1, WINDOW.2));
    let start = cells(candidate.start_m);
    let end = (start + 2 * lag).min(curvature.len() as isize);
    let lap = &curvature[start.min(end) as usize..end as usize];
    let usual = lap.iter().map(|cell| cell * cell).sum::<f64>() / lap.len().max(1) as f64;
    let view = View {
        curvature,
        half,
        floor: 0.5 * usual,
    };
    // Begin where there is most to see.
    let (seed, first) = (0..8)
        .map(|eighth| start + eighth * lag / 8)
        .filter_map(|at| Some((at, view.compare(at, lag, reach)?)))
        .max_by(|one, other| one.1.product.total_cmp(&other.1.product))?;
    if first.likeness < same_road {
        return None;
    }
    let mut tracked: Vec<(isize, Match)> = vec![(seed, first)];
    let patience = (2 * half).max(lag / 10);
    for side in [-1, 1] {
        let (mut latest_at, mut latest) = (seed, first);
        let mut at = seed;
        let mut doubtful = Vec::new();
        loop {
            let limit = if side < 0 {
                0
            } else {
                curvature.len() as isize - latest.lag
            };
            let next = if side < 0 {
                (at - half).max(limit)
            } else {
                (at + half).min(limit)
            };
            if (next - at) * side <= 0 {
                break;
            }
            at = next;
            let apart = (at - latest_at).abs();
            let (low, high) = (at.min(latest_at) - half, at.max(latest_at) + half);
            let is_gap = [0, latest.lag]
                .iter()
                .any(|lag| path.has_gap((low + lag) as f64 * STEP_M, (high + lag) as f64 * STEP_M));
            let reach = 2
                + (limits.distance_drift * apart as f64).ceil() as isize
                + if is_gap { cells(GAP_REACH_M) } else { 0 };
            let Some(found) = view.compare(at, latest.lag, reach) else {
                break;
            };
            doubtful.push((at, found));
            if found.likeness >= same_road {
                (latest_at, latest) = (at, found);
                tracked.append(&mut doubtful);
            } else if apart > patience + if is_gap { 2 * half } else { 0 } {
                break;
            }
        }
        // The last window that fits may end well before the road parts.
        let close = View {
            half: half / 3,
            ..view
        };
        for third in 1..=3 {
            let at = latest_at + side * third * close.half;
            let limit = curvature.len() as isize - latest.lag;
            match close.compare(at, latest.lag, 2) {
                Some(found) if found.likeness >= same_road && (0..=limit).contains(&at) => {
                    tracked.push((at, found));
                }
                _ => break,
            }
        }
    }
    tracked.sort_by_key(|(at, _)| *at);
    let sum = |part: fn(&Match) -> f64| tracked.iter().map(|(_, found)| part(found)).sum::<f64>();
    let correlation = 1.0 - sum(|found| found.difference) / sum(|found| found.energy).max(1e-12);
    let pairs = tracked
        .iter()
        .filter(|(_, found)| found.likeness >= same_road)
        .map(|(at, found)| (*at as f64, found.lag as f64))
        .collect();
    Some(Tracked { pairs, correlation })
}

impl Tracked {
    /// How far on the same place comes next, in cells, as a straight line between the pairs.
    fn lag(&self, at: f64) -> f64 {
        let after = self.pairs.partition_point(|(place, _)| *place <= at);
        match (
            after.checked_sub(1).map(|index| self.pairs[index]),
            self.pairs.get(after).copied(),
        ) {
            (Some((low, low_lag)), Some((high, high_lag))) => {
                low_lag + (at - low) / (high - low) * (high_lag - low_lag)
            }
            (Some((_, lag)), None) | (None, Some((_, lag))) => lag,
            (None, None) => 0.0,
        }
    }

    fn follow(&self, first: f64) -> Vec<f64> {
        let end = self.pairs.last().map_or(0.0, |(at, _)| *at);
        let slack = LAST_LAP_SLACK_M / STEP_M;
        let mut starts = vec![first];
        let mut at = first;
        while at <= end + slack && self.lag(at) > 1.0 {
            at += self.lag(at);
            starts.push(at);
        }
        starts
    }
}

/// A place for the line: how often it is passed, how much the last lap lacks there, how straight the road
/// is, and the place (cell).
type Line = (usize, Reverse<usize>, usize, f64);

/// Every place for the line in the first lap, and the cells to the nearest bend.
fn lines(curvature: &[f64], tracked: &Tracked, lag_m: f64) -> Option<(Vec<Line>, Vec<usize>)> {
    let first = tracked.pairs.first()?.0;
    let to_bend = cells_to_bend(curvature);
    let n_places = (lag_m / STEP_M) as usize;
    let n_cells = curvature.len() as f64;
    let line = |at: f64| {
        let starts = tracked.follow(at);
        let lacking = starts.last().map_or(0.0, |last| (last - n_cells).max(0.0));
        let place = (at as usize).min(to_bend.len() - 1);
        let edge = place.min(to_bend.len() - 1 - place);
        (
            starts.len(),
            Reverse(lacking as usize),
            to_bend[place].min(edge),
            at,
        )
    };
    let lines = (0..n_places).map(|cell| line(first + cell as f64));
    Some((lines.collect(), to_bend))
}

/// The line with most laps, on the straightest road of those.
fn best_line<'a>(lines: impl Iterator<Item = &'a Line>) -> Option<f64> {
    let best = lines.max_by(|one, other| {
        // The earliest among equals.
        (one.0, one.1, one.2)
            .cmp(&(other.0, other.1, other.2))
            .then(other.3.total_cmp(&one.3))
    });
    best.map(|line| line.3)
}

/// Lap starts, m, of a line.
fn starts(
    curvature: &[f64],
    tracked: &Tracked,
    best: f64,
    to_bend: &[usize],
    limits: &LapLimits,
) -> Option<Vec<f64>> {
    let rough = tracked.follow(best);
    if rough.len() < 3 {
        return None;
    }
    // A straight alone has no place: the window holds a bend at least.
    let nearest_m = to_bend[(best as usize).min(to_bend.len() - 1)] as f64 * STEP_M;
    let window_m = START_WINDOW_M.max(nearest_m + BEND_IN_VIEW_M);
    let mut starts = vec![best * STEP_M];
    for at in &rough[1..] {
        let found = same_place(
            curvature,
            best * STEP_M,
            at * STEP_M,
            window_m,
            START_REACH_M,
            limits.same_road,
        );
        let limit = curvature.len() as f64 * STEP_M;
        starts.push(found.unwrap_or(at * STEP_M).min(limit));
    }
    Some(starts)
}

/// Cells to the nearest bend, for each cell.
fn cells_to_bend(curvature: &[f64]) -> Vec<usize> {
    let is_bend = |index: usize| curvature[index].abs() > 1.0 / VIEWED_BEND_RADIUS_M;
    let mut nearest = vec![curvature.len(); curvature.len()];
    let mut sweep = |indices: &mut dyn Iterator<Item = usize>| {
        let mut run = curvature.len();
        for index in indices {
            run = if is_bend(index) { 0 } else { run + 1 };
            nearest[index] = nearest[index].min(run);
        }
    };
    sweep(&mut (0..curvature.len()));
    sweep(&mut (0..curvature.len()).rev());
    nearest
}

/// Whether laps end where they began.
fn closes(path: &Path, starts: &[f64], correlation: f64, limits: &LapLimits) -> bool {
    let lengths = limits.shortest_m..=limits.longest_m;
    let laps: Vec<(f64, f64)> = starts.windows(2).map(|ends| (ends[0], ends[1])).collect();
    if laps
        .iter()
        .any(|(start, end)| !lengths.contains(&(end - start)))
    {
        return false;
    }
    let mut whole: Vec<(f64, f64)> = laps
        .iter()
        .copied()
        .filter(|(start, end)| !path.has_gap(*start, *end))
        .collect();
    if whole.is_empty() {
        whole = laps;
    }
    let seconds = whole
        .iter()
        .map(|(start, end)| path.span(*start, *end).seconds());
    let seconds = upper_median(seconds).unwrap_or(0.0);
    let tolerance =
        (limits.closing_deg + limits.closing_deg_per_s * seconds).min(limits.closing_most_deg);
    let most_turn_by = |wanted: f64| {
        let is_so = |(start, end): &&(f64, f64)| {
            (path.turned_deg(*start, *end).abs() - wanted).abs() <= tolerance
        };
        whole.iter().filter(is_so).count() as f64 >= limits.closing_share * whole.len() as f64
    };
    if most_turn_by(360.0) {
        return correlation >= limits.correlation;
    }
    let (start, end) = whole[0];
    let drift = path.heading(end) - path.heading(start);
    most_turn_by(0.0)
        && correlation >= limits.eight_correlation
        && path.displacement_m(start, end, drift) <= limits.eight_closing * (end - start)
}
