//! What the bends say about the map: sides, and track.
//!
//! In: windows with the share their bend explains. Out: the slope of the measured ratio on
//! that share. It is 1 for a right map, and −1 when left and right are swapped. It
//! judges nothing that only a few bends could tell.

use super::regression::{Fit, Line, fit};

/// Windows with bends needed before their slope is believed.
const LEAST_BENDS: usize = 6;

/// The bend of a window counts from this share on: a radius of some 400 m. Engineering guess.
const BEND_SHARE: f64 = 0.004;

/// A slope is significant beyond this many deviations.
const SIGNIFICANT: f64 = 3.0;

/// Slope below which the sides are swapped. It is −1 then, nearer to 0 the more preload ties the
/// axle; a pack that ties it wholly, the right way round, wavers about 0. Engineering guess.
const SWAPPED_BELOW: f64 = -0.4;

/// Bends needed each way before the track is freed.
const BENDS_EACH_WAY: u32 = 10;

/// A window as the bends see it.
#[derive(Clone, Copy, Debug)]
pub struct Bend {
    /// ln(dR/dL).
    pub ratio_log: f64,
    /// What the bend explains of it.
    pub share: f64,
    /// Block of road.
    pub block: u32,
    /// No wheel spins or drags.
    pub is_free: bool,
}

/// Whether the ratio falls, significantly, where the bend says it should rise. A spinning wheel
/// says nothing of the sides.
pub fn are_sides_swapped(bends: &[Bend]) -> bool {
    let free = || bends.iter().filter(|bend| bend.is_free);
    let n_bends = free().filter(|bend| bend.share.abs() > BEND_SHARE).count();
    let lines: Vec<Line<2>> = free()
        .map(|bend| Line {
            x: [1.0, bend.share],
            y: bend.ratio_log,
            weight: 1.0,
            block: bend.block,
        })
        .collect();
    match fit(&lines, &[None, None]) {
        Some(Fit { unknowns, sds, .. }) if n_bends >= LEAST_BENDS => {
            unknowns[1] < SWAPPED_BELOW && unknowns[1] + SIGNIFICANT * sds[1] < 0.0
        }
        _ => false,
    }
}

/// Measured over stated factor of the bends, with its deviation, when there are enough
/// bends both ways. `hidden` is what preload takes from the difference in each bend; as
/// it changes sign with the bend it is an unknown of its own.
pub fn factor_found(bends: &[Bend], hidden: f64) -> Option<(f64, f64)> {
    let from = BEND_SHARE.max(2.0 * hidden);
    let (mut n_left, mut n_right, mut side) = (0, 0, 0.0);
    for bend in bends {
        let now = if bend.share.abs() > from {
            bend.share.signum()
        } else {
            0.0
        };
        if now != side {
            n_left += u32::from(now > 0.0);
            n_right += u32::from(now < 0.0);
            side = now;
        }
    }
    if n_left.min(n_right) < BENDS_EACH_WAY {
        return None;
    }
    let lines: Vec<Line<3>> = bends
        .iter()
        .filter(|bend| bend.is_free && bend.share.abs() > from)
        .map(|bend| Line {
            x: [1.0, bend.share, -bend.share.signum()],
            y: bend.ratio_log,
            weight: 1.0,
            block: bend.block,
        })
        .collect();
    let found = fit(&lines, &[None, None, None])?;
    Some((found.unknowns[1], found.sds[1]))
}
