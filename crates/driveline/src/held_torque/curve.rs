//! What the torque gauge found: the torque held at each command, from pieces of bends.

use super::{Piece, Shape};
use crate::engagement::OPEN_BELOW;
use crate::median::median;
use crate::tyre_ratio::regression::robust_sd;

/// Upper edges of the classes of command, share of full; the first is "no command".
const CLASSES: [f64; 6] = [OPEN_BELOW, 0.2, 0.4, 0.6, 0.8, f64::INFINITY];

/// Pieces needed for a point of the curve. Engineering guess.
pub(super) const LEAST_OF_POINT: usize = 8;

/// Neighbouring pieces are alike: four tell as much as one. Engineering guess.
const ALIKE: f64 = 4.0;

/// A number with its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The number.
    pub value: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// A point of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeldPoint {
    /// Mean command, share of full.
    pub command: f64,
    /// Torque one pack holds, N·m.
    pub held_nm: Found,
    /// The pack was mostly stuck: it could hold more.
    pub is_at_least: bool,
    /// Torque it could hold by the map, N·m.
    pub stated_nm: Option<f64>,
    /// Pieces of half a second.
    pub n: usize,
}

/// What the pack holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// Stiffness of a tyre times rolling radius, N·m per unit slip, as used.
    pub stiffness_nm: Found,
    /// It comes from bends of this drive without command.
    pub is_calibrated: bool,
    /// Torque held without command by the stiffness the map states or usual tyres have, N·m.
    pub without_command_nm: Option<Found>,
    /// The curve, in order of command.
    pub points: Vec<HeldPoint>,
    /// Steady pieces whose command asks for plainly more than none.
    pub n_commanded: usize,
    /// All of it as one curve, by even bends of up to twice the lateral acceleration.
    pub shape: Option<Shape>,
    /// The same with bends in which the command moved, where the torque does not follow from it.
    pub wide_shape: Option<Shape>,
}

/// The middle of numbers that neighbours share, with its deviation: scatter, a share of it, and what
/// all of them are off by.
pub(super) fn middle(values: &mut [f64], doubt: f64, off: f64) -> Option<Found> {
    let sd = robust_sd(values);
    let value = median(values)?;
    let of_scatter = 1.25 * sd * (ALIKE / values.len() as f64).sqrt();
    Some(Found {
        value,
        sd: of_scatter.hypot(doubt * value).hypot(off),
    })
}

/// The points of the curve.
pub(super) fn points(
    pieces: &[Piece],
    torque_nm: &impl Fn(&Piece) -> f64,
    doubt: f64,
    off_nm: f64,
) -> Vec<HeldPoint> {
    let mut below = f64::NEG_INFINITY;
    let mut points = Vec::new();
    for edge in CLASSES {
        let of_class: Vec<(&Piece, f64)> = pieces
            .iter()
            .filter_map(|piece| Some((piece, piece.command?)))
            .filter(|(_, command)| (below..edge).contains(command))
            .collect();
        below = edge;
        let n = of_class.len();
        if n < LEAST_OF_POINT {
            continue;
        }
        let mut held: Vec<f64> = of_class.iter().map(|(piece, _)| torque_nm(piece)).collect();
        let mut stated: Vec<f64> = of_class
            .iter()
            .filter_map(|(piece, _)| piece.torque_nm)
            .collect();
        let n_stuck = of_class.iter().filter(|(piece, _)| piece.is_stuck).count();
        let command = of_class.iter().map(|(_, command)| command).sum::<f64>() / n as f64;
        if let Some(held_nm) = middle(&mut held, doubt, off_nm) {
            points.push(HeldPoint {
                command,
                held_nm,
                is_at_least: 2 * n_stuck > n,
                stated_nm: median(&mut stated),
                n,
            });
        }
    }
    points
}
