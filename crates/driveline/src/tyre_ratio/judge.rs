//! What each window is worth once the whole drive is known.
//!
//! In: the fit windows and the witness of bends. Out: the same, each with the reason why
//! it is no straight of free wheels, if it is none; and the part of the road to leave out
//! when a tyre changed on the way.

use super::calibration::{Mode, RatioStep};
use super::geometry::{Geometry, blocks, is_straight, is_straight_throughout};
use super::regression::{Line, fit};
use super::solve::FREE_ROLLING;
use super::steps::{Middle, Point, find_step};
use super::window::{WINDOW_M, Window};
use crate::basis::Basis;
use crate::median::median;
use crate::refusal::Under;

/// Torque above that of preload at which a window is left out, N·m: the pack then ties
/// the wheels. Source: none, engineering guess.
const TORQUE_ABOVE_PRELOAD_NM: f64 = 60.0;

/// Difference beyond bend and tyres at which a wheel spins or drags, rad/s. Engineering guess.
const SPINNING: f64 = 2.0;

/// Straights no farther apart are neighbours, km.
const NEAR_KM: f64 = 0.3;

/// Neighbours on each side whose median says what the tyres do there.
const N_NEIGHBOURS: usize = 10;

/// A fit window with all that is known of it.
#[derive(Clone, Copy)]
pub struct Judged<'a> {
    pub window: &'a Window,
    pub ratio_log: f64,
    pub share: Option<f64>,
    pub block: u32,
    pub under: Option<Under>,
}

/// Those that nothing speaks against.
pub fn usable<'a>(judged: &[Judged<'a>]) -> Vec<Judged<'a>> {
    judged
        .iter()
        .filter(|judged| judged.under.is_none())
        .copied()
        .collect()
}

impl Judged<'_> {
    /// Its place in the series, with the part of its bend taken out that straights show.
    pub fn point(&self, bend_part: f64) -> Point {
        Point {
            km: self.window.start_km,
            time: self.window.start,
            ratio_log: self.ratio_log - bend_part * self.share.unwrap_or(0.0),
            measured: self.ratio_log,
            block: self.block,
        }
    }
}

/// What each fit window is worth once the whole drive is known.
pub fn judge<'a>(
    windows: &'a [Window],
    geometry: &Geometry,
    basis: &Basis,
    preload_nm: f64,
) -> Vec<Judged<'a>> {
    let blocks = blocks(windows.iter());
    let mut judged: Vec<Judged> = windows
        .iter()
        .zip(blocks)
        .map(|(window, block)| {
            let share = geometry.share(window);
            let is_tied = window
                .torque_nm()
                .is_some_and(|torque| torque > preload_nm + TORQUE_ABOVE_PRELOAD_NM);
            let under = match share {
                _ if is_tied => Some(Under::Torque),
                None => Some(Under::Unseen),
                Some(share) if !is_straight(share) || !is_straight_throughout(geometry, window) => {
                    Some(Under::Bend)
                }
                Some(_) => None,
            };
            Judged {
                window,
                ratio_log: window.ratio_log(),
                share,
                block,
                under,
            }
        })
        .collect();
    leave_out_spinning(&mut judged, basis);
    judged
}

/// Leaves out the windows in which a wheel spins or is dragged.
fn leave_out_spinning(judged: &mut [Judged], basis: &Basis) {
    let Some(radius_m) = basis.radius_m else {
        return;
    };
    // Tyres as the straights around show them, not as the drive does: a tyre that has lost
    // its air is not a spinning wheel.
    let tyres: Vec<(usize, f64)> = judged
        .iter()
        .enumerate()
        .filter(|(_, judged)| judged.under.is_none())
        .map(|(index, judged)| (index, judged.ratio_log - judged.share.unwrap_or(0.0)))
        .collect();
    let mut near = 0;
    for (index, judged) in judged.iter_mut().enumerate() {
        while near < tyres.len() && tyres[near].0 < index {
            near += 1;
        }
        let around = near.saturating_sub(N_NEIGHBOURS)..(near + N_NEIGHBOURS + 1).min(tyres.len());
        let mut values: Vec<f64> = tyres[around].iter().map(|(_, ratio)| *ratio).collect();
        let Some((low, high)) = judged.window.excess else {
            continue;
        };
        // A road without a straight shows no tyres: alike, then; a spinning wheel is far beyond.
        let ratio = median(&mut values).unwrap_or(0.0);
        let by_tyres = ratio * judged.window.case_speed(radius_m);
        let is_excess = (low - by_tyres).abs().max((high - by_tyres).abs()) > SPINNING;
        if is_excess && matches!(judged.under, None | Some(Under::Bend)) {
            judged.under = Some(Under::Excess);
        }
    }
}

/// Looks for a step, and leaves out the shorter side of it. A change across a cut of the
/// log is another day's and no step.
pub fn part_at_step(
    judged: &mut [Judged],
    geometry: &Geometry,
    cuts_km: &[f64],
) -> Option<RatioStep> {
    let how = match geometry.mode {
        Mode::ShortestThird => Middle::Crowd,
        Mode::YawRegression | Mode::FrontWheels => Middle::Median,
    };
    let bend_part = bend_part(judged);
    let series: Vec<Point> = judged
        .iter()
        .filter(|judged| judged.under.is_none())
        .map(|judged| judged.point(bend_part))
        .collect();
    let (first_after, step) = find_step(&series, how)?;
    let is_later_kept = 2 * first_after < series.len();
    for judged in judged.iter_mut().filter(|judged| judged.under.is_none()) {
        if (judged.window.start_km >= step.km) != is_later_kept {
            judged.under = Some(Under::OtherTyres);
        }
    }
    let between = series[first_after - 1].km..=series[first_after].km + 1e-9;
    let is_cut = cuts_km.iter().any(|cut| between.contains(cut));
    (!is_cut).then_some(step)
}

/// Part of what their bend asks for that the straights show, from one to the next: preload ties the
/// axle in gentle bends, and a step between two of them hardly counts.
fn bend_part(judged: &[Judged]) -> f64 {
    let straights: Vec<&Judged> = judged.iter().filter(|one| one.under.is_none()).collect();
    let lines: Vec<Line<1>> = straights
        .windows(2)
        .filter_map(|pair| {
            let [one, next] = pair else { return None };
            let is_near = next.window.start_km - one.window.start_km < NEAR_KM;
            Some(Line {
                x: [next.share? - one.share?],
                y: next.ratio_log - one.ratio_log,
                weight: 1.0,
                block: one.block,
            })
            .filter(|_| is_near)
        })
        .collect();
    fit(&lines, &[Some(FREE_ROLLING)]).map_or(FREE_ROLLING.0, |fit| fit.unknowns[0])
}

/// Stretches: runs of windows with none left out between.
pub fn n_stretches(accepted: &[Judged]) -> u32 {
    let mut end_km = f64::NEG_INFINITY;
    let mut n = 0;
    for judged in accepted {
        let start_km = judged.window.start_km;
        n += u32::from(start_km - end_km > 0.5e-3 * WINDOW_M);
        end_km = start_km + 1e-3 * judged.window.distance_m();
    }
    n
}
