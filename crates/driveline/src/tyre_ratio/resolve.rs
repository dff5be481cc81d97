//! Resolves the calibration of a drive from the windows kept.
//!
//! In: windows and the vehicle. Out: the [`Calibration`]. The order matters: bends are parted
//! first, then spinning wheels, then a step, and only then is the ratio solved for.

use super::bends::{Bend, are_sides_swapped, factor_found};
use super::calibration::{Calibration, Mode};
use super::geometry::{Geometry, is_straight};
use super::judge::{judge, n_stretches, part_at_step, usable};
use super::kept::Kept;
use super::proof::{collapse, points, too_few};
use super::solve::{graded, least_windows, solve};
use super::steps::{Point, drift, slide};
use super::under_command::under_command;
use super::window::Window;
use crate::basis::Basis;
use crate::refusal::Refusal;
use crate::refusal::Under;

/// Time in bends with wheels exactly equal after which both signals are one, s.
const EQUAL_IN_BENDS_S: f64 = 5.0;

/// Time in bends the outer wheel must be the slower one, s, and how many times as long as
/// it is the faster one: an inside wheel that breaks away does so for moments.
/// Engineering guess.
const AGAINST_BENDS: (f64, f64) = (10.0, 4.0);

/// Resolves the calibration.
pub fn resolve(kept: &Kept, basis: &Basis, cuts_km: &[f64]) -> Calibration {
    let geometry = Geometry::choose(kept, &kept.fit, basis);
    let least_torque = kept
        .fit
        .iter()
        .filter_map(Window::torque_nm)
        .reduce(f64::min);
    let preload_nm = if basis.preload_nm > 0.0 {
        basis.preload_nm
    } else {
        least_torque.unwrap_or(0.0)
    };
    let hidden = basis.tied_share(preload_nm).unwrap_or(0.0);
    let mut judged = judge(&kept.fit, &geometry, basis, preload_nm);
    let are_signals_identical = !kept.do_wheels_differ && kept.equal_in_bends_s >= EQUAL_IN_BENDS_S;
    let has_witness = geometry.mode != Mode::ShortestThird;
    let bends: Vec<Bend> = judged
        .iter()
        .filter(|judged| judged.under != Some(Under::Torque))
        .filter_map(|judged| {
            Some(Bend {
                ratio_log: judged.ratio_log,
                share: judged.share?,
                block: judged.block,
                is_free: judged.under != Some(Under::Excess),
            })
        })
        .collect();
    let step = part_at_step(&mut judged, &geometry, cuts_km);
    let straight = solve(&usable(&judged), &geometry);
    if let (Mode::ShortestThird, Some(Ok(solved))) = (geometry.mode, &straight) {
        for judged in &mut judged {
            if judged.under.is_none() && !is_straight(judged.ratio_log - solved.ratio_log) {
                judged.under = Some(Under::Bend);
            }
        }
    }
    let accepted = usable(&judged);
    let mut n_under = kept.n_under;
    for judged in &judged {
        if let Some(under) = judged.under {
            n_under[under as usize] += 1;
        }
    }
    let rejected: Vec<(Under, u32)> = Under::ALL
        .iter()
        .zip(n_under)
        .filter(|(_, n)| *n > 0)
        .map(|(under, n)| (*under, n))
        .collect();
    let n_windows = accepted.len() as u32;
    let n_stretches = n_stretches(&accepted);
    let needed = least_windows(geometry.mode);
    let refusal = || too_few(n_windows, needed, &rejected);
    let outcome = if basis.radius_m.is_none() {
        Err(Refusal::NoRadius)
    } else if are_signals_identical {
        Err(Refusal::OneSignal)
    } else if n_windows < needed {
        Err(refusal())
    } else {
        match &straight {
            None => Err(refusal()),
            Some(Err(reason)) => Err(reason.clone()),
            Some(Ok(solved)) => graded(solved, n_windows, n_stretches, hidden),
        }
    };
    let solved = straight.and_then(Result::ok);
    let bend_part = solved.as_ref().map_or(1.0, |solved| solved.bend_part);
    let series: Vec<Point> = accepted
        .iter()
        .map(|judged| judged.point(bend_part))
        .collect();
    let offset = solved
        .as_ref()
        .map_or(geometry.offset, |solved| solved.offset);
    Calibration {
        mode: geometry.mode,
        n_windows,
        n_stretches,
        rejected,
        yaw_bias: (geometry.mode == Mode::YawRegression).then_some(offset),
        track_found_m: (geometry.mode == Mode::YawRegression)
            .then(|| factor_found(&bends, hidden))
            .flatten()
            .map(|(factor, sd)| (factor * geometry.factor(), sd * geometry.factor())),
        front_ratio_log: (geometry.mode == Mode::FrontWheels).then_some(geometry.offset),
        are_sides_swapped: has_witness && (goes_against_bends(kept) || are_sides_swapped(&bends)),
        are_signals_identical,
        hidden_by_preload: hidden,
        step,
        drift_per_km: drift(&series),
        slide: slide(&series),
        collapses_with_command: outcome
            .as_ref()
            .ok()
            .and_then(|estimate| collapse(kept, &geometry, estimate.ratio_log)),
        points: points(
            kept,
            &judged,
            &accepted,
            &geometry.with_offset(offset),
            basis,
        ),
        under_command: under_command(kept, basis),
        outcome,
    }
}

/// Whether the outer wheel was the slower one through the bends of the drive, at any speed.
fn goes_against_bends(kept: &Kept) -> bool {
    kept.against_bend_s >= AGAINST_BENDS.0
        && kept.against_bend_s > AGAINST_BENDS.1 * kept.with_bend_s
}

#[cfg(test)]
mod tests;
