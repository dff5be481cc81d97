//! What goes with the ratio so that it can be checked: the reason of a refusal, the
//! ratio under command, the windows for drawing.

use super::calibration::{CommandCollapse, Mode, RatioPoint};
use super::geometry::{Geometry, is_straight};
use super::judge::Judged;
use super::kept::Kept;
use crate::basis::Basis;
use crate::median::median;
use crate::refusal::Refusal;
use crate::refusal::Under;

/// Windows under command needed to say whether the ratio collapses there.
const LEAST_COMMANDED: usize = 10;

/// Ratio below which a collapse cannot be told from nothing.
const LEAST_RATIO_TO_COLLAPSE: f64 = 0.001;

/// Causes given for stretches that were left out.
const MOST_CAUSES: usize = 3;

/// Points given for drawing.
pub const MOST_POINTS: usize = 1000;

/// How many stretches were usable and what most of the others were unfit for.
pub fn too_few(n_windows: u32, needed: u32, rejected: &[(Under, u32)]) -> Refusal {
    let mut left_out = rejected.to_vec();
    left_out.sort_by_key(|&(_, n)| std::cmp::Reverse(n));
    left_out.truncate(MOST_CAUSES);
    Refusal::FewStraights {
        found: n_windows,
        needed,
        left_out,
    }
}

/// The ratio on straights under command beside that without.
pub fn collapse(kept: &Kept, geometry: &Geometry, open: f64) -> Option<CommandCollapse> {
    let shown = if geometry.mode == Mode::FrontWheels {
        open + geometry.factor() * geometry.offset
    } else {
        open
    };
    let mut values: Vec<f64> = kept
        .commanded
        .iter()
        .filter_map(|window| {
            let share = geometry.share(window)?;
            let ratio_log = window.ratio_log();
            let is_usable = match geometry.mode {
                // Between tied and free: anything else is a bend.
                Mode::ShortestThird => {
                    is_straight(ratio_log - ratio_log.clamp(shown.min(0.0), shown.max(0.0)))
                }
                Mode::YawRegression | Mode::FrontWheels => is_straight(share),
            };
            is_usable.then_some(ratio_log)
        })
        .collect();
    let n_commanded = values.len() as u32;
    if values.len() < LEAST_COMMANDED {
        return None;
    }
    let commanded = median(&mut values)?;
    Some(CommandCollapse {
        open: shown,
        commanded,
        n_commanded,
        is_collapsed: shown.abs() > LEAST_RATIO_TO_COLLAPSE && commanded.abs() < 0.5 * shown.abs(),
    })
}

/// Windows for drawing, thinned evenly.
pub fn points(
    kept: &Kept,
    judged: &[Judged],
    accepted: &[Judged],
    geometry: &Geometry,
    basis: &Basis,
) -> Vec<RatioPoint> {
    let mut accepted = accepted.iter().map(|judged| judged.window.start).peekable();
    let all = kept
        .warm_up
        .iter()
        .chain(judged.iter().map(|judged| judged.window));
    let n = kept.warm_up.len() + judged.len();
    let every = n.div_ceil(MOST_POINTS).max(1);
    all.map(|window| {
        let is_accepted = accepted.next_if_eq(&window.start).is_some();
        let track = match geometry.mode {
            Mode::FrontWheels => basis.track_rear_m,
            Mode::YawRegression => Some(geometry.factor()),
            Mode::ShortestThird => None,
        };
        RatioPoint {
            km: window.start_km,
            time: window.start,
            ratio_log: window.ratio_log(),
            heading_per_m: geometry
                .share(window)
                .zip(track)
                .map(|(share, track)| share / track),
            is_accepted,
        }
    })
    .step_by(every)
    .collect()
}
