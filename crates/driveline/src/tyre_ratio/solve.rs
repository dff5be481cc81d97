//! The ratio from straight windows, and its grade.
//!
//! In: windows judged straight and free. Out: the ratio with its deviation. With a witness
//! of bends it is a robust regression in which the straightest windows weigh most; without
//! one it is where the windows crowd.

use super::calibration::{Mode, RatioEstimate};
use super::geometry::{Geometry, blocks};
use super::judge::Judged;
use super::regression::{Line, fit, robust_sd};
use super::shortest_third::shortest_third;
use super::window::WINDOW_M;
use crate::normal::SDS_OF_90;
use crate::refusal::Refusal;

/// How far a bend's own difference may be off, as a share of it: track, radius, the
/// tyres' give. It makes the straightest windows weigh most. Engineering guess.
const BEND_DOUBT: f64 = 0.1;

/// Width of the interval that holds a third of the windows above which no straight
/// running stands out from the bends. Engineering guess.
const WIDEST_CROWD: f64 = 0.001;

/// Straight windows must give this part of what their bend makes: 1 while the pack
/// slips, 0 while it sticks. The guess and its deviation.
pub const FREE_ROLLING: (f64, f64) = (1.0, 0.5);

/// Grade A: the deviation, the windows, the stretches. Source: none, engineering guess; a
/// simulated five minutes give a deviation of 0.004 %.
const GRADE_A: (f64, u32, u32) = (0.0005, 200, 3);

/// Grade B: the deviation, without which there is no ratio, and the windows.
const GRADE_B: (f64, u32) = (0.0015, 40);

/// Grade C: the least deviation that so few windows are believed to have, since tyres that warm up make 0.04 %
/// of it alone, and the windows, without which there is no ratio. Source: simulated drives, in which 28 to 32
/// windows were within 0.028 %.
const LEAST_SD: f64 = 0.0005;
pub const LEAST_WINDOWS: u32 = 15;

/// Windows without which there is no ratio. Where windows crowd, a third of fifteen is chance.
pub fn least_windows(mode: Mode) -> u32 {
    match mode {
        Mode::ShortestThird => GRADE_B.1,
        Mode::YawRegression | Mode::FrontWheels => LEAST_WINDOWS,
    }
}

/// What no amount of road takes away: crown of the road, crosswind, tracking; standard
/// deviation. Source: none, engineering guess, for an error of 0.05 % on real roads.
const FIELD_SD: f64 = 0.0003;

/// What the straights gave.
pub struct Solved {
    pub ratio_log: f64,
    pub sd: f64,
    /// Part of what their bend makes that the straights show.
    pub bend_part: f64,
    /// Offset of the witness, perhaps solved for.
    pub offset: f64,
}

/// The ratio from the straights; `None` for too few, `Err` with the reason when they do
/// not stand out from the bends.
pub fn solve(straights: &[Judged], geometry: &Geometry) -> Option<Result<Solved, Refusal>> {
    if geometry.mode == Mode::ShortestThird {
        let values: Vec<f64> = straights.iter().map(|judged| judged.ratio_log).collect();
        let blocks = blocks(straights.iter().map(|judged| judged.window));
        let crowd = shortest_third(&values, &blocks)?;
        if crowd.width > WIDEST_CROWD {
            return Some(Err(Refusal::NoStraightStandsOut {
                width: crowd.width,
                needed: WIDEST_CROWD,
            }));
        }
        return Some(Ok(Solved {
            ratio_log: crowd.middle,
            sd: crowd.sd,
            bend_part: 0.0,
            offset: 0.0,
        }));
    }
    let blocks = blocks(straights.iter().map(|judged| judged.window));
    let left: Vec<f64> = straights
        .iter()
        .map(|judged| judged.ratio_log - judged.share.unwrap_or(0.0))
        .collect();
    let noise = robust_sd(&left).max(1e-5);
    let line = |judged: &Judged, block: u32| {
        let share = judged.share.unwrap_or(0.0);
        let doubt = BEND_DOUBT * share / noise;
        Line {
            x: [1.0, share],
            y: judged.ratio_log,
            weight: judged.window.distance_m() / WINDOW_M / (1.0 + doubt * doubt),
            block,
        }
    };
    let lines: Vec<Line<2>> = straights
        .iter()
        .zip(&blocks)
        .map(|(judged, &block)| line(judged, block))
        .collect();
    let pinned = fit(&lines, &[None, Some(FREE_ROLLING)])?;
    let [ratio_log, bend_part] = pinned.unknowns;
    let (mut weight, mut sum) = (0.0, 0.0);
    for (judged, line) in straights.iter().zip(&lines) {
        weight += line.weight;
        sum += line.weight * geometry.per_offset(judged.window);
    }
    let per_offset = sum / weight;
    if geometry.mode == Mode::FrontWheels {
        // Where the pack sticks the front tyres' own ratio is not in what the rear shows.
        let not_shown = (1.0 - bend_part).abs() * per_offset * geometry.offset_sd;
        return Some(Ok(Solved {
            ratio_log: ratio_log - geometry.factor() * geometry.offset,
            sd: pinned.sds[0].hypot(not_shown),
            bend_part,
            offset: geometry.offset,
        }));
    }
    let pinned_sd = pinned.sds[0].hypot(bend_part * per_offset * geometry.offset_sd);
    // The bias can be told from the ratio as it goes with time and the ratio with distance;
    // that takes a drive at many speeds.
    let lines: Vec<Line<3>> = straights
        .iter()
        .zip(&lines)
        .map(|(judged, line)| Line {
            x: [1.0, line.x[1], geometry.per_offset(judged.window)],
            y: line.y,
            weight: line.weight,
            block: line.block,
        })
        .collect();
    let free = fit(&lines, &[None, Some(FREE_ROLLING), None])
        .filter(|free| free.sds[0] < pinned_sd && free.unknowns[1].abs() > 0.3);
    Some(Ok(match free {
        Some(free) => Solved {
            ratio_log: free.unknowns[0],
            sd: free.sds[0],
            bend_part: free.unknowns[1],
            offset: geometry.offset - free.unknowns[2] / free.unknowns[1],
        },
        None => Solved {
            ratio_log,
            sd: pinned_sd,
            bend_part,
            offset: geometry.offset,
        },
    }))
}

/// The estimate with its grade, or that it is too uncertain.
pub fn graded(
    solved: &Solved,
    n_windows: u32,
    n_stretches: u32,
    hidden: f64,
) -> Result<RatioEstimate, Refusal> {
    let is_a = solved.sd <= GRADE_A.0 && n_windows >= GRADE_A.1 && n_stretches >= GRADE_A.2;
    let is_few = n_windows < GRADE_B.1;
    let sd = solved.sd.max(if is_few { LEAST_SD } else { 0.0 });
    let grade_factor = if is_a {
        1.0 - 0.1 * sd / GRADE_A.0
    } else if sd <= GRADE_B.0 {
        let best = if is_few { 0.69 } else { 0.89 };
        best - 0.19 * sd / GRADE_B.0
    } else {
        return Err(Refusal::StraightsDisagree {
            n_straights: n_windows,
            sd,
            needed: GRADE_B.0,
        });
    };
    let reach = SDS_OF_90 * sd.hypot(FIELD_SD) + hidden;
    Ok(RatioEstimate {
        ratio_log: solved.ratio_log,
        sd,
        low: solved.ratio_log - reach,
        high: solved.ratio_log + reach,
        grade_factor,
    })
}
