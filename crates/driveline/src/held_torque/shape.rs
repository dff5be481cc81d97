//! What the pack holds over the torque the map states, as one curve: does it drag, is it weak?
//!
//! In: pieces of even bends. Out: [`Shape`]. All of it is torque at the axle, whatever the layout.
//! Of the difference a bend asks for, as a share of the rolling speed, is missing
//!
//! ```text
//! min(max(T, D) / (C·r), share) + a·lateral + b·side + c·share
//! ```
//!
//! T the stated torque of the moment, D what the pack never falls below, C·r stiffness and radius
//! of a tyre, a what load does to the radii, b what unlike tyres and yaw bias do, c what track and
//! radius of the map are off by. A pack that drags makes the curve flat at its lower end; a weak one
//! flattens all of it, as harder tyres would. So the drag is known as far as more than one torque was
//! driven, and the rest comes from what tyres usually are. Where the pack is stuck all of the share is
//! missing, and D is at least that. All D and C·r of a grid are tried, and the band is where the
//! misfit grows by [`BAND`]. Source: profile likelihood, from memory.

use std::sync::{Arc, OnceLock};

use super::Piece;
use crate::basis::Basis;
use crate::linear::{factor, solve};
use crate::median::median;
use crate::normal::SDS_OF_90;
use crate::tyre_ratio::regression::robust_sd;

/// Growth of the misfit, in squares of deviations, at the ends of a 90 % band: 1.645².
const BAND: f64 = 2.706;

/// Neighbouring pieces are alike: four tell as much as one. Engineering guess.
const ALIKE: f64 = 4.0;

/// Residuals beyond this many deviations are weighted down. Source: Huber, from memory.
const HUBER: f64 = 1.345;
const ROUNDS: usize = 3;

/// Pieces needed, and stretches of [`super::BLOCK_S`] that they come from; and pieces used, spread over
/// the drive. Engineering guess.
const LEAST_PIECES: usize = 12;
const LEAST_BLOCKS: usize = 4;
const MOST_PIECES: usize = 256;

/// A tenth of the pieces must be driven at this lateral acceleration or above, m/s²: below, it may be
/// ice, where a sound preload sticks. Engineering guess.
const FIRM_ROAD: f64 = 1.5;

/// Scatter of the pieces, as a share of the rolling speed: least that is believed, and most of bends in
/// which no wheel spins. Source: none, engineering guess; 0.0045 are 130 N·m.
const SCATTER: (f64, f64) = (0.001, 0.0045);

/// What is not torque, and its deviation: load per m/s², tyres and yaw bias, track and radius.
/// Source: none, engineering guess; the load as in [`super::LOAD_PER_M_PER_S2`].
const BESIDE: [(f64, f64); 3] = [(-0.0008, 0.0012), (0.0, 0.005), (0.0, 0.025)];

/// What the difference of a bend is off by that does not grow in proportion to it, as a share of it: the
/// wheels' toe and the front wheels' angle. In the bends of a figure of eight, all alike, it looks like
/// torque. Engineering guess.
const BEND_SD: f64 = 0.01;

/// Doubt of a tyre's stiffness where the map states it, and that of the stated torque: deviations as a share.
/// Source: none, engineering guess.
const STATED_STIFFNESS_DOUBT: f64 = 0.2;
const TORQUE_DOUBT: f64 = 0.1;

/// Drags tried, N·m: none, and from the first in steps of a quarter.
const DRAGS: usize = 16;
const LEAST_DRAG_NM: f64 = 60.0;
const DRAG_STEP: f64 = 1.25;

/// Stiffnesses tried, as logarithms of their ratio to the expected one. A pack that holds an eighth of
/// its torque looks like tyres eight times as hard.
const STIFFNESSES: usize = 21;
const LEAST_STIFFNESS: f64 = -0.75;
const STIFFNESS_STEP: f64 = 0.15;
const EXPECTED: usize = 5;

/// Held over stated torque of the softest tyre that is tried, less what rounding takes: there nothing is found.
/// Derived: e^0.75.
pub const OVER_STATED_TRIED: f64 = 2.11;

/// The curve, as far as the bends show it; of none by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shape {
    /// Torque at the axle that the pack does not fall below, N·m: low end, likeliest, high end.
    pub drag_nm: [f64; 3],
    /// Torque at the axle that the map states without command, N·m.
    pub resting_nm: Option<f64>,
    /// Torque at the axle that the map states for the least command of these bends, N·m: a controller need
    /// never let go.
    pub least_asked_nm: f64,
    /// A weaker pack, or harder tyres, explain the bends better than a drag.
    pub is_weak: bool,
    /// Held over stated torque, likeliest.
    pub over_stated: f64,
    /// Deviation of its logarithm, the tyres' doubt within.
    pub over_stated_sd: f64,
    /// Pieces under a command that asks for plainly more than none.
    pub n_commanded: usize,
    /// Share of the pieces that bend the way most of them do: with one way alone unlike tyres and a drag
    /// look alike.
    pub one_way: f64,
    // For what would have shown.
    lines: Vec<Line>,
    likeliest: Model,
    beside: [f64; 3],
    scatter: f64,
    doubt: f64,
    shows: Shows,
}

/// A limit, and the least drag that shows beside it: worked out once for a shape and its copies, since it takes as
/// much as the shape itself. It follows from the rest and makes no other shape.
#[derive(Clone, Debug, Default)]
struct Shows(Arc<OnceLock<(f64, Option<f64>)>>);

impl PartialEq for Shows {
    fn eq(&self, _: &Shows) -> bool {
        true
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    missing: f64,
    share: f64,
    stated_nm: f64,
    x: [f64; 3],
}

/// A tenth of the bends were driven with no more than this asked.
fn least_asked(lines: &[Line]) -> f64 {
    let mut stated: Vec<f64> = lines.iter().map(|line| line.stated_nm).collect();
    stated.sort_by(f64::total_cmp);
    stated.get(stated.len() / 10).copied().unwrap_or(0.0)
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Model {
    drag_nm: f64,
    stiffness_nm: f64,
}

impl Model {
    // The share of the rolling speed that the torque takes.
    fn takes(&self, line: &Line) -> f64 {
        (line.stated_nm.max(self.drag_nm) / self.stiffness_nm).min(line.share)
    }
}

impl Shape {
    /// Of even pieces; `None` where they are too few, on ice, or of spinning wheels.
    pub(super) fn of(pieces: &[&Piece], basis: &Basis, resting_nm: Option<f64>) -> Option<Shape> {
        let expected_nm = basis.tyre_stiffness_n * basis.radius_m?;
        let stride = pieces.len().div_ceil(MOST_PIECES).max(1);
        let used: Vec<&&Piece> = pieces.iter().step_by(stride).collect();
        let mut blocks: Vec<i64> = used
            .iter()
            .map(|piece| (piece.start.seconds() / super::BLOCK_S) as i64)
            .collect();
        blocks.dedup();
        let n_fast = used
            .iter()
            .filter(|piece| piece.lateral >= FIRM_ROAD)
            .count();
        if used.len() < LEAST_PIECES || blocks.len() < LEAST_BLOCKS || 10 * n_fast < used.len() {
            return None;
        }
        let bias_factor = basis.bias_factor;
        let lines: Vec<Line> = used
            .iter()
            .filter_map(|piece| {
                Some(Line {
                    missing: piece.missing,
                    share: piece.share,
                    stated_nm: bias_factor * piece.torque_nm?,
                    x: [piece.lateral, piece.side, piece.share],
                })
            })
            .collect();
        let stiffness_doubt = match basis.is_stiffness_stated {
            true => STATED_STIFFNESS_DOUBT,
            false => super::STIFFNESS_DOUBT,
        };
        let doubt = stiffness_doubt.hypot(TORQUE_DOUBT);
        let scatter = scatter(&lines, expected_nm, doubt)?;
        if scatter > SCATTER.1 {
            return None;
        }
        let model = |drag: usize, stiffness: usize| Model {
            drag_nm: drag_nm(drag),
            stiffness_nm: expected_nm * stiffness_ratio(stiffness).exp(),
        };
        let mut misfits = [[0.0; STIFFNESSES]; DRAGS];
        for (drag, row) in misfits.iter_mut().enumerate() {
            for (stiffness, misfit) in row.iter_mut().enumerate() {
                *misfit = fit(&lines, &model(drag, stiffness), scatter)?.misfit;
            }
        }
        let by_tyre: [f64; STIFFNESSES] =
            std::array::from_fn(|index| (stiffness_ratio(index) / doubt).powi(2));
        // The best stiffness of each drag, by the bends and by what tyres usually are.
        let of_drags: Vec<(f64, usize)> = misfits
            .iter()
            .map(|row| least(row.iter().zip(&by_tyre).map(|(misfit, tyre)| misfit + tyre)))
            .collect();
        let of_drag: Vec<f64> = of_drags.iter().map(|(misfit, _)| *misfit).collect();
        let (best, at) = least(of_drag.iter().copied());
        let likeliest = model(at, of_drags[at].1);
        let [low, high] = band(&of_drag, best).map(|place| {
            let below = drag_nm(place as usize);
            below + place.fract() * (drag_nm(place as usize + 1) - below)
        });
        let mut shares: Vec<f64> = lines.iter().map(|line| line.share).collect();
        let off_nm = SDS_OF_90 * BEND_SD * median(&mut shares)? * likeliest.stiffness_nm;
        // At the end of what was tried stands a pack that is stuck, or something that is no drag.
        let n_stuck = lines
            .iter()
            .filter(|line| line.missing >= (1.0 - super::STUCK_BELOW) * line.share)
            .count();
        let low = match at + 1 == DRAGS && 2 * n_stuck < lines.len() {
            true => 0.0,
            false => likeliest.drag_nm - (likeliest.drag_nm - low).hypot(off_nm),
        };
        // By the bends alone, whatever the tyres.
        let of_stiffness: Vec<f64> = (0..STIFFNESSES)
            .map(|index| least(misfits.iter().map(|row| row[index])).0)
            .collect();
        let (best_alone, alone) = least(of_stiffness.iter().copied());
        let softest = band(&of_stiffness, best_alone)[0];
        let (weak, _) = least(misfits[0].iter().skip(EXPECTED).copied());
        let compared_nm =
            super::COMPARED_FROM_NM.max(super::COMPARED_FROM * resting_nm.unwrap_or(0.0));
        let n_commanded = lines
            .iter()
            .zip(&used)
            .filter(|(line, piece)| line.stated_nm >= compared_nm && !piece.is_stuck)
            .count();
        Some(Shape {
            drag_nm: [low, likeliest.drag_nm, high],
            resting_nm,
            least_asked_nm: least_asked(&lines),
            is_weak: weak < best,
            over_stated: (-stiffness_ratio(alone)).exp(),
            // At the end of what was tried nothing is found: torque and load grew together.
            over_stated_sd: match alone + 1 == STIFFNESSES {
                true => f64::INFINITY,
                false => {
                    stiffness_doubt.hypot(STIFFNESS_STEP * (alone as f64 - softest) / SDS_OF_90)
                }
            },
            n_commanded,
            one_way: {
                let n_left = lines.iter().filter(|line| line.x[1] > 0.0).count();
                n_left.max(lines.len() - n_left) as f64 / lines.len().max(1) as f64
            },
            beside: fit(&lines, &likeliest, scatter)?.beside,
            lines,
            likeliest,
            scatter,
            doubt,
            shows: Shows::default(),
        })
    }

    /// The least drag that these bends would tell from one of `limit_nm`, N·m; `None` where they would
    /// tell none.
    pub fn shows_from_nm(&self, limit_nm: f64) -> Option<f64> {
        let kept = || (limit_nm, self.work_out_shows_from(limit_nm));
        match self.shows.0.get_or_init(kept) {
            (limit, nm) if *limit == limit_nm => *nm,
            _ => self.work_out_shows_from(limit_nm),
        }
    }

    fn work_out_shows_from(&self, limit_nm: f64) -> Option<f64> {
        let tyre = |stiffness_nm: f64| {
            let ratio = (stiffness_nm / self.likeliest.stiffness_nm).ln();
            (ratio / self.doubt).powi(2)
        };
        let told = |drag_nm: f64| {
            let truth = Model {
                drag_nm,
                ..self.likeliest
            };
            let lines: Vec<Line> = self
                .lines
                .iter()
                .map(|line| Line {
                    missing: truth.takes(line)
                        + (0..3).map(|i| self.beside[i] * line.x[i]).sum::<f64>(),
                    ..*line
                })
                .collect();
            let misfit = |stiffness_nm: f64, drag_nm: f64| {
                let model = Model {
                    drag_nm,
                    stiffness_nm,
                };
                Some(fit(&lines, &model, self.scatter)?.misfit + tyre(stiffness_nm))
            };
            let own = misfit(truth.stiffness_nm, drag_nm)?;
            let rivals = (0..STIFFNESSES).filter_map(|index| {
                misfit(truth.stiffness_nm * stiffness_ratio(index).exp(), limit_nm)
            });
            Some(least(rivals).0 > own + BAND)
        };
        let [_, _, high] = self.drag_nm;
        (1..DRAGS)
            .map(drag_nm)
            .filter(|nm| *nm > limit_nm)
            .find(|nm| told(*nm) == Some(true))
            .map(|nm| nm.max(high))
    }
}

fn drag_nm(index: usize) -> f64 {
    match index {
        0 => 0.0,
        _ => LEAST_DRAG_NM * DRAG_STEP.powi(index as i32 - 1),
    }
}

// Logarithm of a stiffness over the expected one.
fn stiffness_ratio(index: usize) -> f64 {
    LEAST_STIFFNESS + index as f64 * STIFFNESS_STEP
}

fn least(values: impl Iterator<Item = f64>) -> (f64, usize) {
    let mut found = (f64::INFINITY, 0);
    for (index, value) in values.enumerate() {
        if value < found.0 {
            found = (value, index);
        }
    }
    found
}

// Places in the row between which the misfit lies within the band of the best.
fn band(misfits: &[f64], best: f64) -> [f64; 2] {
    let within = |index: &usize| misfits[*index] <= best + BAND;
    let last = misfits.len() - 1;
    let first_within = (0..=last).find(within).unwrap_or(0);
    let last_within = (0..=last).rev().find(within).unwrap_or(last);
    let beyond = |inner: usize, outer: usize| {
        (best + BAND - misfits[inner]) / (misfits[outer] - misfits[inner])
    };
    let low = match first_within {
        0 => 0.0,
        first => first as f64 - beyond(first, first - 1),
    };
    let high = match last_within {
        at if at == last => last as f64,
        at => at as f64 + beyond(at, at + 1),
    };
    [low, high]
}

struct Fitted {
    // Squares of deviations, those of what is not torque within.
    misfit: f64,
    beside: [f64; 3],
    residuals: Vec<f64>,
}

// Fits what is not torque, robustly.
fn fit(lines: &[Line], model: &Model, scatter: f64) -> Option<Fitted> {
    let per_square = 1.0 / (scatter * scatter * ALIKE);
    let torque: Vec<f64> = lines.iter().map(|line| model.takes(line)).collect();
    let mut weights = vec![1.0; lines.len()];
    let mut residuals = vec![0.0; lines.len()];
    let mut beside = [0.0; 3];
    for _ in 0..ROUNDS {
        let mut matrix = [[0.0; 3]; 3];
        let mut right = [0.0; 3];
        for i in 0..3 {
            let (expected, sd) = BESIDE[i];
            matrix[i][i] = 1.0 / (sd * sd);
            right[i] = expected / (sd * sd);
        }
        for ((line, torque), weight) in lines.iter().zip(&torque).zip(&weights) {
            let y = line.missing - torque;
            for i in 0..3 {
                for (sum, x) in matrix[i].iter_mut().zip(line.x) {
                    *sum += weight * per_square * line.x[i] * x;
                }
                right[i] += weight * per_square * line.x[i] * y;
            }
        }
        beside = solve(&factor(&matrix, 0.0)?, &right);
        for (index, line) in lines.iter().enumerate() {
            let explained: f64 = (0..3).map(|i| beside[i] * line.x[i]).sum();
            residuals[index] = line.missing - torque[index] - explained;
            let size = residuals[index].abs() / scatter;
            weights[index] = (HUBER / size).min(1.0);
        }
    }
    let squares: f64 = residuals
        .iter()
        .map(|residual| {
            let size = residual.abs() / scatter;
            match size < HUBER {
                true => size * size,
                false => HUBER * (2.0 * size - HUBER),
            }
        })
        .sum();
    let expected: f64 = (0..3)
        .map(|i| ((beside[i] - BESIDE[i].0) / BESIDE[i].1).powi(2))
        .sum();
    Some(Fitted {
        misfit: squares / ALIKE + expected,
        beside,
        residuals,
    })
}

// Scatter about the likeliest curve of a coarse grid.
fn scatter(lines: &[Line], expected_nm: f64, doubt: f64) -> Option<f64> {
    let mut scatter = 0.004;
    for _ in 0..3 {
        let mut best: Option<(f64, Vec<f64>)> = None;
        for stiffness in (0..STIFFNESSES).step_by(2) {
            for drag in (0..DRAGS).step_by(3) {
                let ratio = stiffness_ratio(stiffness);
                let model = Model {
                    drag_nm: drag_nm(drag),
                    stiffness_nm: expected_nm * ratio.exp(),
                };
                let fitted = fit(lines, &model, scatter)?;
                let misfit = fitted.misfit + (ratio / doubt).powi(2);
                if best.as_ref().is_none_or(|(least, _)| misfit < *least) {
                    best = Some((misfit, fitted.residuals));
                }
            }
        }
        scatter = robust_sd(&best?.1).max(SCATTER.0);
    }
    Some(scatter)
}
