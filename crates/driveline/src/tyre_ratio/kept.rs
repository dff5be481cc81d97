//! All windows of the drive in bounded memory.
//!
//! In: windows and why each is unfit, if it is. Out: the fit ones, those of the warm-up,
//! those under command, and counts of the rest. When there are too many, neighbours are
//! merged in pairs, like with like: sums stay right, resolution falls.

use super::Rolling;
use super::window::{HIGHEST_COMMAND, Window};
use crate::refusal::Under;

/// Fit windows kept: 410 km of straight road before the first merging.
const MOST_WINDOWS: usize = 8192;

/// Neighbours are merged first where their ratios and their bends, 1/m, differ by less.
/// Engineering guess.
const ALIKE_RATIO: f64 = 0.002;
const ALIKE_BEND_PER_M: f64 = 0.001;

/// Windows under command kept: they only show whether the difference collapses.
const MOST_COMMANDED: usize = 1024;

/// A bend, where identical and swapped signals are looked for: its geometry makes a greater share than this.
/// Engineering guess: a preload of 250 N·m could just tie them.
const BEND_SHARE: f64 = 0.01;

/// Part of what the bend's geometry makes from which a wheel is plainly faster. Engineering guess.
const PLAINLY: f64 = 0.3;

/// Part of what a bend asks for, the wrong way round, beyond which the inside wheel spins: sides
/// under each other's name make 1 of it, less what preload ties. Engineering guess.
const SPINS_FROM: f64 = 1.7;

/// The yaw sensor is believed after standing for this long, s: the car has stopped rocking.
const SETTLES_S: f64 = 0.5;

/// The windows of a drive.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    pub fit: Vec<Window>,
    pub warm_up: Vec<Window>,
    pub commanded: Vec<Window>,
    /// Unfit windows by reason, as [`Under::ALL`] has them.
    pub n_under: [u32; Under::ALL.len()],
    /// A sample was seen in which the rear wheels differ at all.
    pub do_wheels_differ: bool,
    /// Time in bends with the wheels exactly equal, no command, s.
    pub equal_in_bends_s: f64,
    /// Time in bends with no command in which the outer wheel is plainly the faster one, as
    /// it should be, and in which it is the slower one, s.
    pub with_bend_s: f64,
    pub against_bend_s: f64,
    /// Smallest step of the yaw sensor's number, rad/s; 0 when not known.
    pub yaw_step: f64,
    /// Smallest step of the wheels' numbers, the coarser of rear and front, rad/s; 0 when not known.
    pub wheel_step: f64,
    standing_s: f64,
    standing: (f64, f64),
}

impl Kept {
    /// Nothing seen yet.
    pub fn new(yaw_step: f64, wheel_step: f64) -> Kept {
        Kept {
            yaw_step,
            wheel_step,
            ..Kept::default()
        }
    }

    /// Looks at a sample, at any speed, for signs that both signals are one or swapped.
    pub fn witness(&mut self, rolling: &Rolling, seconds: f64) {
        self.standing_s = 0.0;
        let are_equal = rolling.left == rolling.right;
        self.do_wheels_differ |= !are_equal;
        let case = 0.5 * (rolling.left + rolling.right).abs();
        let Some(kinematic) = rolling
            .kinematic
            .filter(|kinematic| kinematic.abs() > BEND_SHARE * case)
        else {
            return;
        };
        if rolling
            .command
            .is_some_and(|command| command > HIGHEST_COMMAND)
        {
            return;
        }
        let shown = rolling.difference_mean / kinematic;
        if are_equal {
            // Wheels that differ by less than a step of their number may read alike.
            if kinematic.abs() <= self.wheel_step {
                return;
            }
            self.equal_in_bends_s += seconds;
        } else if shown > PLAINLY {
            self.with_bend_s += seconds;
        } else if (-SPINS_FROM..-PLAINLY).contains(&shown) {
            self.against_bend_s += seconds;
        }
    }

    /// The yaw sensor while the car stands.
    pub fn stands(&mut self, yaw_rate: f64, seconds: f64) {
        self.standing_s += seconds;
        if self.standing_s > SETTLES_S {
            self.standing.0 += yaw_rate * seconds;
            self.standing.1 += seconds;
        }
    }

    /// Mean of the yaw sensor at standstill and the time it was seen for, s.
    pub fn standing_yaw(&self) -> Option<(f64, f64)> {
        let (sum, seconds) = self.standing;
        (seconds >= SETTLES_S).then(|| (sum / seconds, seconds))
    }

    /// Takes a window.
    pub fn keep(&mut self, window: Window, under: Option<Under>) {
        match under {
            None if window.is_warm_up() => {
                self.count(Under::WarmUp);
                self.warm_up.push(window);
            }
            None => push_bounded(&mut self.fit, window, MOST_WINDOWS),
            Some(under) => {
                self.count(under);
                if under == Under::Commanded {
                    push_bounded(&mut self.commanded, window, MOST_COMMANDED);
                }
            }
        }
    }

    fn count(&mut self, under: Under) {
        self.n_under[under as usize] += 1;
    }
}

fn push_bounded(windows: &mut Vec<Window>, window: Window, most: usize) {
    if windows.len() == most {
        // A straight and a bend in one would be neither.
        merge_pairs(windows, are_alike);
        if windows.len() > most - most / 4 {
            merge_pairs(windows, |_, _| true);
        }
    }
    windows.push(window);
}

/// Whether two windows are of one straight, or of one bend.
fn are_alike(one: &Window, two: &Window) -> bool {
    let bend = |window: &Window| window.heading / window.distance_m();
    (one.ratio_log() - two.ratio_log()).abs() < ALIKE_RATIO
        && (bend(one) - bend(two)).abs() < ALIKE_BEND_PER_M
}

fn merge_pairs(windows: &mut Vec<Window>, may_merge: impl Fn(&Window, &Window) -> bool) {
    let mut merged: Vec<Window> = Vec::with_capacity(windows.capacity());
    let mut is_paired = true;
    for window in windows.drain(..) {
        match merged.last_mut() {
            Some(last) if !is_paired && may_merge(last, &window) => {
                last.merge(&window);
                is_paired = true;
            }
            _ => {
                merged.push(window);
                is_paired = false;
            }
        }
    }
    *windows = merged;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tyre_ratio::testing::{Drive, Road};

    #[test]
    fn memory_is_bounded_and_no_road_is_lost() {
        let mut kept = Kept::default();
        for index in 0..20_000 {
            let mut window = Window::default();
            window.start_km = 2.0 + f64::from(index) * 0.05;
            (window.left_m, window.right_m) = (50.0, 50.0);
            kept.keep(window, None);
        }
        assert!(kept.fit.len() <= MOST_WINDOWS);
        let road: f64 = kept.fit.iter().map(Window::distance_m).sum();
        assert_eq!(road, 20_000.0 * 50.0);
    }

    #[test]
    fn wheels_equal_by_coarse_steps_are_not_one_signal() {
        // 1 rad/s between the wheels of a bend: less than a pulse in 50 ms, a hundred fine steps.
        let bend = Rolling {
            left: 20.0,
            right: 20.0,
            kinematic: Some(1.0),
            command: Some(0.0),
            ..Drive::new(Road::Mixed, 1.0).rolling(0.0, 6.0, 0.0)
        };
        for (wheel_step, seconds) in [(2.86, 0.0), (0.01, 8.0), (0.0, 8.0)] {
            let mut kept = Kept::new(0.0, wheel_step);
            kept.witness(&bend, 8.0);
            assert_eq!(kept.equal_in_bends_s, seconds, "{wheel_step}");
        }
    }
}
