//! How much the car turned, for every offset that the witness of its turning may have.
//!
//! In: rows of moving time. Out: the angle turned in bends and in all, left and right added, with
//! their bands. A yaw sensor is off by a bias, front wheels by their own tyres, which look like a
//! bend of constant curvature. Which offset it was is known at the end only: from standstill, or
//! from where the car ran straightest. So the sums are kept for a ladder of offsets.

use halfshaft_driveline::Row;

use crate::limits::{Driving, SDS_OF_90};
use crate::nouns::Estimate;

/// Rungs of the ladder; the middle one is no offset.
const N_RUNGS: usize = 81;
const MIDDLE: usize = N_RUNGS / 2;

/// How many rungs each lies above the middle.
const FROM_MIDDLE: [f64; N_RUNGS] = {
    let mut from_middle = [0.0; N_RUNGS];
    let mut rung = 0;
    while rung < N_RUNGS {
        from_middle[rung] = rung as f64 - MIDDLE as f64;
        rung += 1;
    }
    from_middle
};

/// From rung to rung: of a yaw sensor 0.05 deg/s, so that the ladder holds 2 deg/s; of front
/// wheels 0.0003 1/m, 0.05 % between the tyres of a track of 1.5 m, so that it holds 1.8 %.
const RUNG_RAD_PER_S: f64 = 0.05 * std::f64::consts::PI / 180.0;
const RUNG_PER_M: f64 = 0.0003;

/// Sums go by pieces of this length, s: of a yaw sensor the rows are means over 0.2 s already;
/// in a shorter one the noise of front wheels makes bends of straights.
const PIECE_S: f64 = 0.1;
const PIECE_OF_WHEELS_S: f64 = 1.0;

/// Straight, 1/m, and fast enough that a bias is small beside it.
const STRAIGHT_PER_M: f64 = 1.0 / 3000.0;
const STRAIGHT_FROM_M_PER_S: f64 = 8.0;

/// Straight running at one offset that shows which it is, s, and as a share of all moving.
const LEAST_STRAIGHT_S: f64 = 10.0;
const LEAST_STRAIGHT_SHARE: f64 = 0.05;

/// How well a bias seen at standstill holds, one standard deviation: 0.02 deg/s.
const STANDING_SD_RUNGS: f64 = 0.4;

/// Offset that nothing shows, one standard deviation: 0.6 deg/s, or 0.4 % between the tyres.
const UNKNOWN_SD_RUNGS: f64 = 12.0;
const UNKNOWN_SD_RUNGS_OF_WHEELS: f64 = 9.0;

/// Curvature of the limit of a bend: as stated, and as far off as speed and sensor may be.
const N_LIMITS: usize = 3;

/// The sums.
#[derive(Clone, Debug)]
pub struct Turning {
    limits_per_m: [f64; N_LIMITS],
    moving_s: f64,
    piece: Piece,
    // By rung: rad in bends for each limit and in all, straight running, s, and rad in that.
    bends: [[f64; N_RUNGS]; N_LIMITS],
    all: [f64; N_RUNGS],
    straight_s: [f64; N_RUNGS],
    straight_rad: [f64; N_RUNGS],
    is_of_wheels: bool,
}

#[derive(Clone, Copy, Debug, Default)]
struct Piece {
    seconds: f64,
    turned: f64,
    distance_m: f64,
    is_of_wheels: bool,
}

impl Turning {
    /// Nothing seen yet; `share` is how far off the curvature may be at 90 %.
    pub fn new(driving: &Driving, share: f64) -> Turning {
        let limit = 1.0 / driving.bend_radius_m;
        Turning {
            limits_per_m: [limit, limit * (1.0 + share), limit / (1.0 + share)],
            moving_s: 0.0,
            piece: Piece::default(),
            bends: [[0.0; N_RUNGS]; N_LIMITS],
            all: [0.0; N_RUNGS],
            straight_s: [0.0; N_RUNGS],
            straight_rad: [0.0; N_RUNGS],
            is_of_wheels: false,
        }
    }

    /// Takes a row of moving time, with the turning rate and the speed it has.
    pub fn add(&mut self, row: &Row, yaw_rate: f64, speed: f64) {
        let is_of_wheels = row.yaw_bias.is_none();
        if !row.is_joined || is_of_wheels != self.piece.is_of_wheels {
            self.settle_piece();
        }
        let piece = &mut self.piece;
        piece.is_of_wheels = is_of_wheels;
        piece.seconds += row.seconds;
        piece.turned += (yaw_rate + row.yaw_bias.unwrap_or(0.0)) * row.seconds;
        piece.distance_m += speed * row.seconds;
        let length_s = if is_of_wheels {
            PIECE_OF_WHEELS_S
        } else {
            PIECE_S
        };
        if piece.seconds >= length_s {
            self.settle_piece();
        }
    }

    fn settle_piece(&mut self) {
        let piece = std::mem::take(&mut self.piece);
        if piece.seconds == 0.0 {
            return;
        }
        self.is_of_wheels = piece.is_of_wheels;
        self.moving_s += piece.seconds;
        let per_rung = match piece.is_of_wheels {
            true => RUNG_PER_M * piece.distance_m,
            false => RUNG_RAD_PER_S * piece.seconds,
        };
        let turned = FROM_MIDDLE.map(|rungs| piece.turned - rungs * per_rung);
        // The ends of the ladder turned most; where both turned one way, one of them least.
        let ends = [turned[0], turned[N_RUNGS - 1]];
        let [one, other] = ends.map(f64::abs);
        let is_one_way = (ends[0] > 0.0) == (ends[1] > 0.0);
        let least = if is_one_way { one.min(other) } else { 0.0 };
        // Each sum goes through all rungs by itself and without a branch: several rungs at a time.
        let turned = turned.map(f64::abs);
        for (sum, turned) in self.all.iter_mut().zip(turned) {
            *sum += turned;
        }
        for (bends, limit_per_m) in self.bends.iter_mut().zip(self.limits_per_m) {
            let limit = limit_per_m * piece.distance_m;
            if one.max(other) > limit {
                for (sum, turned) in bends.iter_mut().zip(turned) {
                    *sum += if turned > limit { turned } else { 0.0 };
                }
            }
        }
        let straight = STRAIGHT_PER_M * piece.distance_m;
        if piece.distance_m > STRAIGHT_FROM_M_PER_S * piece.seconds && least < straight {
            for (sum, turned) in self.straight_s.iter_mut().zip(turned) {
                *sum += if turned < straight {
                    piece.seconds
                } else {
                    0.0
                };
            }
            for (sum, turned) in self.straight_rad.iter_mut().zip(turned) {
                *sum += if turned < straight { turned } else { 0.0 };
            }
        }
    }

    /// The front wheels gave the turning rate.
    pub fn is_of_wheels(&self) -> bool {
        self.is_of_wheels
    }

    /// Where the offset is and how far to each side it may be at 90 %, in rungs.
    fn offset(&self, standing_yaw: Option<f64>) -> (f64, f64) {
        if let (Some(bias), false) = (standing_yaw, self.is_of_wheels) {
            let rung = MIDDLE as f64 + bias / RUNG_RAD_PER_S;
            return (
                rung.clamp(0.0, N_RUNGS as f64 - 1.0),
                SDS_OF_90 * STANDING_SD_RUNGS,
            );
        }
        let most = self.straight_s.iter().copied().fold(0.0, f64::max);
        if most < LEAST_STRAIGHT_S.max(LEAST_STRAIGHT_SHARE * self.moving_s) {
            let sd = match self.is_of_wheels {
                true => UNKNOWN_SD_RUNGS_OF_WHEELS,
                false => UNKNOWN_SD_RUNGS,
            };
            return (MIDDLE as f64, SDS_OF_90 * sd);
        }
        // A road wanders to both sides of straight alike: the middle of the rungs with more than
        // half as much of it, known to half of their width.
        let is_high = |rung: &usize| self.straight_s[*rung] > 0.5 * most;
        let from = (0..N_RUNGS).find(is_high).unwrap_or(MIDDLE);
        let to = (0..N_RUNGS).rfind(is_high).unwrap_or(MIDDLE);
        let (from, to) = (from as f64, to as f64);
        (0.5 * (from + to), 0.25 * (to - from) + 0.5)
    }

    /// Angle turned in bends and in all, rad. `standing_yaw` is what the yaw sensor read at
    /// standstill, rad/s; `scale_sd` how far off it may be in proportion. What it read on the
    /// straight may be noise and what is left of the offset.
    pub fn turned(&self, standing_yaw: Option<f64>, scale_sd: f64) -> [Estimate; 2] {
        let mut settled = self.clone();
        settled.settle_piece();
        let (rung, half) = settled.offset(standing_yaw);
        let at = |sums: &[f64; N_RUNGS], rung: f64| {
            let below = (rung.max(0.0) as usize).min(N_RUNGS - 2);
            let share = (rung - below as f64).clamp(0.0, 1.0);
            sums[below] + share * (sums[below + 1] - sums[below])
        };
        let estimate = |sums: &[f64; N_RUNGS], limits: [f64; 2], straight: f64| {
            let value = at(sums, rung);
            let ends = [-1.0, -0.5, 0.5, 1.0].map(|side| at(sums, rung + side * half));
            let lowest = ends.iter().copied().fold(value, f64::min);
            let highest = ends.iter().copied().fold(value, f64::max);
            let scale = SDS_OF_90 * scale_sd * value;
            let below = scale.hypot(value - lowest).hypot(value - limits[0]);
            let above = scale.hypot(highest - value).hypot(limits[1] - value);
            Estimate {
                value,
                low: (value - below - straight).max(0.0),
                high: value + above,
                is_at_least: false,
            }
        };
        let [bends, fewer, more] = &settled.bends;
        let all = at(&settled.all, rung);
        let straight = at(&settled.straight_rad, rung);
        [
            estimate(bends, [at(fewer, rung), at(more, rung)], 0.0),
            estimate(&settled.all, [all; 2], straight),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;

    /// A minute straight, 45° to the left at a radius of 50 m, a minute straight, 45° to the
    /// right at 10 m/s, as a sensor with that bias, deg/s, or front wheels with that ratio of
    /// tyres on a track of 1.5 m show it.
    fn drive(bias_deg_per_s: f64, mismatch: Option<f64>) -> Turning {
        let mut turning = Turning::new(&Driving::default(), 0.03);
        let quarter_s = 45.0_f64.to_radians() / 0.2;
        let mut time_s = 0.0;
        while time_s < 120.0 + 2.0 * quarter_s {
            let second = time_s > 60.0 + quarter_s;
            let in_half_s = if second {
                time_s - 60.0 - quarter_s
            } else {
                time_s
            };
            let side = if second { -1.0 } else { 1.0 };
            let yaw = if in_half_s > 60.0 { side * 0.2 } else { 0.0 };
            let mut row = row(time_s);
            row.yaw_bias = mismatch.is_none().then_some(0.0);
            let off = match mismatch {
                Some(mismatch) => mismatch * 10.0 / 1.5,
                None => bias_deg_per_s.to_radians(),
            };
            turning.add(&row, yaw + off, 10.0);
            time_s += 0.01;
        }
        turning
    }

    #[track_caller]
    fn check(turning: &Turning, standing_deg_per_s: Option<f64>, within_deg: f64) {
        let standing = standing_deg_per_s.map(f64::to_radians);
        for estimate in turning.turned(standing, 0.0) {
            let [value, low, high] =
                [estimate.value, estimate.low, estimate.high].map(f64::to_degrees);
            assert!((value - 90.0).abs() < within_deg, "{value}");
            // A piece in which a bend begins or ends may fall below the limit: 1 degree.
            assert!(low <= 91.0 && 89.0 <= high, "{low} to {high}");
        }
    }

    #[test]
    fn a_bias_seen_at_standstill_is_taken_out() {
        check(&drive(0.0, None), Some(0.0), 0.5);
        check(&drive(0.9, None), Some(0.9), 1.0);
    }

    #[test]
    fn a_bias_never_seen_standing_shows_where_the_car_ran_straightest() {
        // 0.9 deg/s over the 120 s of straight would be 108 deg more in all.
        check(&drive(0.9, None), None, 8.0);
    }

    #[test]
    fn tyres_of_the_front_wheels_are_no_bend() {
        // 1 % on 1.5 m reads as a bend of 150 m all the way.
        check(&drive(0.0, Some(0.01)), None, 15.0);
    }

    #[test]
    fn what_nothing_shows_is_in_the_band() {
        let mut turning = Turning::new(&Driving::default(), 0.0);
        for index in 0..6000 {
            let mut row = row(f64::from(index) * 0.01);
            row.yaw_bias = Some(0.0);
            // A circle of 200 m at 3 m/s: a bend only with a bias of 0.3 deg/s and more.
            turning.add(&row, 0.015, 3.0);
        }
        let [bends, _] = turning.turned(None, 0.0);
        assert_eq!(bends.value, 0.0);
        assert!(bends.high > 0.02 * 60.0, "{bends:?}");
    }
}
