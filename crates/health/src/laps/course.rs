//! The course as it is driven lap by lap: its outline, and where along it the heat is made.
//!
//! In: the path and its laps. Out: [`Course`]. The outline comes from turning rate and speed, so it
//! needs no positions and shows none: north is wherever the first lap began. Laps are laid over each
//! other by the share of their length, since measured distance differs by a per cent from lap to
//! lap. What heading and distance drift by over a lap is spread over it; where the ends of a lap lie
//! too far apart even so there is no outline.

use std::f64::consts::TAU;

use super::Place;
use super::grid::STEP_M;
use super::path::Path;
use crate::nouns::Course;

/// Cells of a lap: as fine as the path where it is short, and as many as a picture shows.
const CELLS: (f64, f64) = (40.0, 400.0);

/// Laps drawn one by one at the most; the mean is that of all.
const MOST_LAPS: usize = 30;

/// How far the ends of a lap may lie apart before it is closed, as a share of its length. Source:
/// none, engineering guess: a yaw rate 2 % off its scale leaves some per cent.
const OPEN_SHARE: f64 = 0.15;

/// The course of some laps; nothing without laps, or where their path does not close.
pub(super) fn course(path: &Path, places: &[Place]) -> Option<Course> {
    // A lap with a gap bridges it straight, and its heat is not whole.
    let is_whole = |place: &&Place| !path.has_gap(place.start_m, place.end_m);
    let whole: Vec<&Place> = places.iter().filter(is_whole).collect();
    let n_whole = whole.len() as f64;
    let lengths = whole.iter().map(|place| place.end_m - place.start_m);
    let length_m = lengths.sum::<f64>() / n_whole;
    if whole.is_empty() || length_m <= 0.0 {
        return None;
    }
    let n_cells = (length_m / STEP_M).clamp(CELLS.0, CELLS.1) as usize;
    let share = |cell: f64| cell / n_cells as f64;
    let at_m =
        |place: &Place, cell: f64| place.start_m + share(cell) * (place.end_m - place.start_m);
    let turned = |cell: f64| {
        let one = |place: &&Place| path.heading(at_m(place, cell)) - path.heading(place.start_m);
        whole.iter().map(one).sum::<f64>() / n_whole
    };
    let all = turned(n_cells as f64);
    let drift = all - (all / TAU).round() * TAU;
    let cell_m = length_m / n_cells as f64;
    let mut outline_m = vec![[0.0, 0.0]];
    let [mut x, mut y] = outline_m[0];
    for cell in 0..n_cells {
        let middle = cell as f64 + 0.5;
        let heading = turned(middle) - drift * share(middle);
        x += cell_m * heading.cos();
        y += cell_m * heading.sin();
        outline_m.push([x, y]);
    }
    if x.hypot(y) > OPEN_SHARE * length_m {
        return None;
    }
    for (cell, point) in outline_m.iter_mut().enumerate() {
        point[0] -= x * share(cell as f64);
        point[1] -= y * share(cell as f64);
    }
    let heat = |place: &Place| {
        let cells = (0..n_cells).map(|cell| {
            let (from, to) = (at_m(place, cell as f64), at_m(place, cell as f64 + 1.0));
            path.heat_kj(from, to).map(|heat| heat * 1e3 / (to - from))
        });
        cells.collect::<Option<Vec<f64>>>()
    };
    let believed = whole
        .iter()
        .filter(|place| !path.is_hidden(place.start_m, place.end_m));
    let by_lap: Vec<Vec<f64>> = believed.filter_map(|place| heat(place)).collect();
    let mean = |cell: usize| by_lap.iter().map(|lap| lap[cell]).sum::<f64>() / by_lap.len() as f64;
    let heat_j_per_m = (!by_lap.is_empty()).then(|| (0..n_cells).map(mean).collect());
    Some(Course {
        cell_m,
        outline_m,
        heat_j_per_m,
        by_lap: by_lap.into_iter().take(MOST_LAPS).collect(),
    })
}
