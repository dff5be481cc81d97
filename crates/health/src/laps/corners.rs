//! Corners: where the road bends, and which corner of one lap is which of another.
//!
//! In: the path, and laps when there are any. Out: stretches that bend one way, and a
//! number for each corner of the lap that means the same corner in every lap.

use halfshaft_driveline::median::upper_median;

use super::grid::STEP_M;
use super::path::Path;
use crate::limits::{LapLimits, Limits};

/// A stretch that bends one way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// Where it begins, m from the start of the drive.
    pub start_m: f64,
    /// Where it ends, m.
    pub end_m: f64,
    /// Heading change, deg, positive to the left.
    pub turned_deg: f64,
}

impl Bend {
    /// Its middle, m.
    pub fn middle_m(&self) -> f64 {
        0.5 * (self.start_m + self.end_m)
    }
}

/// All corners of a path, in order.
pub fn bends(path: &Path, limits: &Limits) -> Vec<Bend> {
    let smooth = smoothed(&path.curvature);
    let enter = 1.0 / limits.driving.bend_radius_m;
    let stay = limits.laps.corner_stays * enter;
    let dip = (limits.laps.corner_dip_m / STEP_M) as usize;
    let mut bends = Vec::new();
    let mut cell = 0;
    while cell < smooth.len() {
        if smooth[cell].abs() <= enter {
            cell += 1;
            continue;
        }
        let side = smooth[cell].signum();
        let mut start = cell;
        while start > 0 && side * smooth[start - 1] > stay {
            start -= 1;
        }
        let mut last = cell;
        let mut next = cell + 1;
        while next < smooth.len() && next - last <= dip + 1 && side * smooth[next] > -stay {
            if side * smooth[next] > stay {
                last = next;
            }
            next += 1;
        }
        cell = last + 1;
        let (start_m, end_m) = (start as f64 * STEP_M, cell as f64 * STEP_M);
        if end_m - start_m > limits.laps.corner_from_m {
            bends.push(Bend {
                start_m,
                end_m,
                turned_deg: path.turned_deg(start_m, end_m),
            });
        }
    }
    bends
}

/// Averaged over neighbours by 1 : 2 : 1.
pub fn smoothed(values: &[f64]) -> Vec<f64> {
    let at = |index: usize| values[index.min(values.len() - 1)];
    (0..values.len())
        .map(|index| 0.25 * (at(index.saturating_sub(1)) + 2.0 * at(index) + at(index + 1)))
        .collect()
}

/// A corner as the laps so far have it.
#[derive(Clone, Debug)]
struct Known {
    middle_m: f64,
    turned_deg: f64,
    n_laps: usize,
    latest_lap: usize,
}

/// Where each bend belongs: lap (index) and number within it, from 1. Laps are stretches
/// of the drive, m. A corner that some laps lack keeps its number to itself; numbers follow
/// the lap for corners that most laps have, the others come after.
pub fn numbered(
    bends: &[Bend],
    laps: &[(f64, f64)],
    limits: &LapLimits,
) -> Vec<Option<(usize, u32)>> {
    let usual = usual_length(laps);
    let mut known: Vec<Known> = Vec::new();
    let mut places: Vec<Option<(usize, usize)>> = Vec::with_capacity(bends.len());
    for bend in bends {
        let Some(lap) = lap_of(laps, bend.middle_m()) else {
            places.push(None);
            continue;
        };
        let (start, end) = laps[lap];
        let stretch = usual / (end - start);
        let stretch = if (stretch - 1.0).abs() < limits.same_length {
            stretch
        } else {
            1.0
        };
        // Counted from the start and from the end of the lap: where a gap put the distance
        // off, one of them is right.
        let places_m = [
            (bend.middle_m() - start) * stretch,
            usual - (end - bend.middle_m()) * stretch,
        ];
        let reach = limits.same_place_m + limits.same_place * usual;
        let found = known
            .iter()
            .enumerate()
            .filter(|(_, known)| known.latest_lap != lap)
            .filter(|(_, known)| is_same_turn(known.turned_deg, bend.turned_deg, limits))
            .flat_map(|(index, known)| {
                places_m.map(|at_m| (index, at_m, (known.middle_m - at_m).abs()))
            })
            .filter(|(.., apart)| *apart < reach)
            .min_by(|one, other| one.2.total_cmp(&other.2));
        let (index, middle_m) = match found {
            Some((index, at_m, _)) => (index, at_m),
            None => {
                known.push(Known {
                    middle_m: places_m[0],
                    turned_deg: bend.turned_deg,
                    n_laps: 0,
                    latest_lap: lap,
                });
                (known.len() - 1, places_m[0])
            }
        };
        let corner = &mut known[index];
        corner.n_laps += 1;
        corner.latest_lap = lap;
        let share = 1.0 / corner.n_laps as f64;
        corner.middle_m += share * (middle_m - corner.middle_m);
        corner.turned_deg += share * (bend.turned_deg - corner.turned_deg);
        places.push(Some((lap, index)));
    }
    let mut order: Vec<usize> = (0..known.len()).collect();
    order.sort_by(|one, other| {
        let is_rare = |index: usize| 2 * known[index].n_laps < laps.len();
        is_rare(*one)
            .cmp(&is_rare(*other))
            .then(known[*one].middle_m.total_cmp(&known[*other].middle_m))
    });
    let mut numbers = vec![0; known.len()];
    for (place, index) in order.into_iter().enumerate() {
        numbers[index] = place as u32 + 1;
    }
    places
        .into_iter()
        .map(|place| place.map(|(lap, index)| (lap, numbers[index])))
        .collect()
}

/// Median length of the laps, m.
pub fn usual_length(laps: &[(f64, f64)]) -> f64 {
    upper_median(laps.iter().map(|(start, end)| end - start)).unwrap_or(0.0)
}

fn lap_of(laps: &[(f64, f64)], at_m: f64) -> Option<usize> {
    let lap = laps
        .partition_point(|(start, _)| *start <= at_m)
        .checked_sub(1)?;
    (at_m < laps[lap].1).then_some(lap)
}

fn is_same_turn(one: f64, other: f64, limits: &LapLimits) -> bool {
    let apart = (one - other).abs();
    one * other > 0.0 && apart < limits.same_turn_deg.max(limits.same_turn * one.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bend(middle_m: f64, turned_deg: f64) -> Bend {
        Bend {
            start_m: middle_m - 20.0,
            end_m: middle_m + 20.0,
            turned_deg,
        }
    }

    #[track_caller]
    fn check_numbers(bends: &[(f64, f64)], laps: &[(f64, f64)], wanted: &[(usize, u32)]) {
        let bends: Vec<Bend> = bends.iter().map(|&(at, turned)| bend(at, turned)).collect();
        let got: Vec<(usize, u32)> = numbered(&bends, laps, &LapLimits::default())
            .into_iter()
            .flatten()
            .collect();
        assert_eq!(got, wanted);
    }

    const LAPS: [(f64, f64); 3] = [(0.0, 1000.0), (1000.0, 2010.0), (2010.0, 3005.0)];

    #[test]
    fn a_missed_corner_leaves_its_number_free() {
        check_numbers(
            &[
                (100.0, 90.0),
                (500.0, -60.0),
                (800.0, 45.0),
                (1100.0, 88.0),
                (1810.0, 47.0),
                (2110.0, 91.0),
                (2505.0, -58.0),
                (2800.0, 44.0),
            ],
            &LAPS,
            &[
                (0, 1),
                (0, 2),
                (0, 3),
                (1, 1),
                (1, 3),
                (2, 1),
                (2, 2),
                (2, 3),
            ],
        );
    }

    #[test]
    fn a_wobble_of_one_lap_does_not_shift_the_others() {
        check_numbers(
            &[
                (100.0, 90.0),
                (1100.0, 90.0),
                (1500.0, 8.0),
                (1810.0, 60.0),
                (2110.0, 90.0),
                (2800.0, 60.0),
            ],
            &LAPS,
            &[(0, 1), (1, 1), (1, 3), (1, 2), (2, 1), (2, 2)],
        );
    }

    #[test]
    fn two_corners_close_together_are_two() {
        check_numbers(
            &[(100.0, 40.0), (118.0, 40.0), (1100.0, 40.0), (1119.0, 40.0)],
            &LAPS,
            &[(0, 1), (0, 2), (1, 1), (1, 2)],
        );
    }

    #[test]
    fn left_is_not_right() {
        check_numbers(&[(95.0, 30.0), (1100.0, -30.0)], &LAPS, &[(0, 1), (1, 2)]);
    }
}
