//! Heat by cause: wheelspin, mismatched tyres, preload, command.
//!
//! In: rows. Out: the shares of the heat, which sum to the whole by construction. The
//! axle speed difference is split first: what goes beyond bend and tyres is spin, what
//! the tyres' mismatch makes is mismatch, the rest is the bend's; and of the rest the
//! preload takes its share of the torque and the command the other. How mismatched the
//! tyres are is known only at the end, so the split is kept for a ladder of mismatches
//! and settled when asked.

use halfshaft_driveline::Row;
use halfshaft_driveline::engagement::OPEN_BELOW;

use crate::limits::Slip;

/// The ladder: ln(ωR/ωL) of each rung on one side; the other side mirrors it.
const RUNGS: [f64; 30] = [
    0.0, 0.0005, 0.001, 0.0015, 0.002, 0.0025, 0.003, 0.0035, 0.004, 0.0045, 0.005, 0.0055, 0.006,
    0.0065, 0.007, 0.0075, 0.008, 0.0085, 0.009, 0.0095, 0.010, 0.0105, 0.011, 0.0115, 0.012,
    0.015, 0.020, 0.030, 0.045, 0.070,
];

/// Rungs in all.
const N_RUNGS: usize = 2 * RUNGS.len() - 1;

/// ln(ωR/ωL) of every rung, lowest first.
const RATIOS: [f64; N_RUNGS] = {
    let middle = RUNGS.len() - 1;
    let mut ratios = [0.0; N_RUNGS];
    let mut rung = 0;
    while rung < RUNGS.len() {
        ratios[middle + rung] = RUNGS[rung];
        ratios[middle - rung] = -RUNGS[rung];
        rung += 1;
    }
    ratios
};

/// Heat is split over pieces of this length, s: the means over 0.2 s change little in it.
const PIECE_S: f64 = 0.1;

/// Share of all heat below which a cause is what rounding left of a difference.
const ROUNDING: f64 = 1e-12;

/// Causes that miss the total by more than this share leave the rest unexplained.
const UNEXPLAINED_SHARE: f64 = 0.05;

/// Heat by cause, J.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Causes {
    /// A wheel turns beyond what bend and tyres ask.
    pub spin_j: f64,
    /// The tyres roll unequally.
    pub mismatch_j: f64,
    /// The preload rubs in a bend.
    pub preload_j: f64,
    /// The command squeezes in a bend.
    pub commanded_j: f64,
    /// Of `preload_j` what an open clutch made, whose torque is all preload.
    pub idle_j: f64,
}

impl Causes {
    /// All of it, J.
    pub fn total_j(&self) -> f64 {
        self.spin_j + self.mismatch_j + self.preload_j + self.commanded_j
    }

    fn scaled(&self, factor: f64) -> Causes {
        Causes {
            spin_j: self.spin_j * factor,
            mismatch_j: self.mismatch_j * factor,
            preload_j: self.preload_j * factor,
            commanded_j: self.commanded_j * factor,
            idle_j: self.idle_j * factor,
        }
    }
}

/// The causes for every rung, J. One array for each, so that the sums of a piece go through
/// them side by side: it is the longest loop of the assessment.
#[derive(Clone, Debug)]
struct Ladder {
    // All of it; what no other cause made is the command's.
    heat_j: f64,
    spin_j: [f64; N_RUNGS],
    mismatch_j: [f64; N_RUNGS],
    preload_j: [f64; N_RUNGS],
    idle_j: [f64; N_RUNGS],
}

impl Default for Ladder {
    fn default() -> Ladder {
        Ladder {
            heat_j: 0.0,
            spin_j: [0.0; N_RUNGS],
            mismatch_j: [0.0; N_RUNGS],
            preload_j: [0.0; N_RUNGS],
            idle_j: [0.0; N_RUNGS],
        }
    }
}

impl Ladder {
    /// Adds a piece whose difference, asked difference and mean speed these are.
    fn add(&mut self, piece: &Piece, parts: [f64; 3]) {
        self.heat_j += piece.heat_j;
        let mut rests = [0.0; N_RUNGS];
        for (rung, ratio) in RATIOS.iter().enumerate() {
            let [spin, mismatch] = shares(parts, *ratio);
            let rest = 1.0 - spin - mismatch;
            self.spin_j[rung] += spin * piece.heat_j;
            self.mismatch_j[rung] += mismatch * piece.heat_j;
            self.preload_j[rung] += rest * piece.preload_share_j;
            rests[rung] = rest;
        }
        if piece.idle_j != 0.0 {
            for (idle_j, rest) in self.idle_j.iter_mut().zip(rests) {
                *idle_j += rest * piece.idle_j;
            }
        }
    }

    /// The causes a `share` of the way from a rung to the next one.
    fn between(&self, rung: usize, share: f64) -> Causes {
        let blend = |sums: &[f64; N_RUNGS]| {
            let (one, other) = (sums[rung], sums[(rung + 1).min(N_RUNGS - 1)]);
            one + share * (other - one)
        };
        let [spin_j, mismatch_j, preload_j] =
            [&self.spin_j, &self.mismatch_j, &self.preload_j].map(blend);
        let commanded_j = self.heat_j - spin_j - mismatch_j - preload_j;
        // Rounding of signs may leave a cause just below nothing, and no command a trace of one.
        let settled = |joules: f64| match joules.abs() < ROUNDING * self.heat_j.abs() {
            true => 0.0,
            false => joules.max(0.0),
        };
        Causes {
            spin_j: settled(spin_j),
            mismatch_j: settled(mismatch_j),
            preload_j: settled(preload_j),
            commanded_j: settled(commanded_j),
            idle_j: settled(blend(&self.idle_j)),
        }
    }
}

/// Means over a piece of the drive.
#[derive(Clone, Copy, Debug, Default)]
struct Piece {
    seconds: f64,
    heat_j: f64,
    preload_share_j: f64,
    idle_j: f64,
    difference: f64,
    kinematic: f64,
    mean_speed: f64,
}

/// What a bend makes, against what track, radius and yaw rate say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bends {
    /// As they say.
    Stated,
    /// Less, by the low end of what they may be off by.
    Less,
    /// More, by the high end.
    More,
}

/// Splits heat.
#[derive(Clone, Debug)]
pub struct Ledger {
    preload_nm: f64,
    // Nothing in the map says what the pack carries at rest: the least torque seen does.
    learns_preload: bool,
    limits: Slip,
    // Factors of [`Bends`].
    bends: [f64; 3],
    piece: Piece,
    ladders: [Ladder; 3],
    unsplit_j: f64,
}

impl Ledger {
    /// A ledger for a pack that carries so much at rest, N·m, if the map says it, in a car whose
    /// bends may ask for that share more or less.
    pub fn new(resting_nm: Option<f64>, bend_share: f64, limits: &Slip) -> Ledger {
        Ledger {
            preload_nm: resting_nm.unwrap_or(f64::INFINITY),
            learns_preload: resting_nm.is_none(),
            limits: *limits,
            bends: [1.0, 1.0 - bend_share, 1.0 + bend_share],
            piece: Piece::default(),
            ladders: std::array::from_fn(|_| Ladder::default()),
            unsplit_j: 0.0,
        }
    }

    /// Another preload, N·m; to be set before the first row.
    pub fn set_preload(&mut self, preload_nm: f64) {
        self.preload_nm = preload_nm;
        self.learns_preload = false;
    }

    /// Takes a row.
    pub fn add_row(&mut self, row: &Row) {
        if !row.is_joined {
            self.settle_piece();
        }
        if let Some(torque) = row.torque_nm.filter(|_| self.learns_preload) {
            self.preload_nm = self.preload_nm.min(torque);
        }
        let Some(work) = row.work_j.filter(|_| row.is_turning) else {
            return;
        };
        let heat_j = work * row.slip_sign(row.slip_sd.unwrap_or(self.limits.usual_sd_rad_per_s));
        let Some(kinematic) = row.kinematic_difference else {
            self.unsplit_j += heat_j;
            return;
        };
        // Open by command and by state, what rubs is the preload, whatever the table of the
        // map says of that position.
        let is_open = |share: Option<f64>| share.is_none_or(|share| share < OPEN_BELOW);
        let is_idle = row.command.is_some() && is_open(row.command) && is_open(row.state);
        let preload_share = match row.torque_nm {
            _ if is_idle => 1.0,
            Some(torque) if torque > 0.0 => (self.preload_nm / torque).min(1.0),
            _ => 1.0,
        };
        let piece = &mut self.piece;
        piece.seconds += row.seconds;
        piece.heat_j += heat_j;
        piece.preload_share_j += heat_j * preload_share;
        piece.idle_j += if is_idle { heat_j } else { 0.0 };
        piece.difference += row.difference_mean * row.seconds;
        piece.kinematic += kinematic * row.seconds;
        piece.mean_speed += row.case_speed * row.seconds;
        if piece.seconds >= PIECE_S {
            self.settle_piece();
        }
    }

    fn settle_piece(&mut self) {
        let piece = std::mem::take(&mut self.piece);
        if piece.heat_j == 0.0 || piece.seconds == 0.0 {
            return;
        }
        let mean = |sum: f64| sum / piece.seconds;
        let [difference, kinematic, mean_speed] =
            [piece.difference, piece.kinematic, piece.mean_speed].map(mean);
        // What may not be off needs no ends: they are the ladder itself.
        let n_ladders = if self.has_ends() { 3 } else { 1 };
        for (ladder, bends) in self.ladders.iter_mut().zip(self.bends).take(n_ladders) {
            let smallest = self.limits.smallest_excess_rad_per_s;
            let more = smallest * (bends - 1.0).signum() * f64::from(bends != 1.0);
            let asked = bends * kinematic + more * difference.signum();
            ladder.add(&piece, [difference, asked, mean_speed]);
        }
    }

    /// The bends may ask for less or more than stated.
    fn has_ends(&self) -> bool {
        self.bends[1] != self.bends[2]
    }

    /// All the heat that was split, by the floor learned so far, J.
    pub fn heat_j(&self) -> f64 {
        (self.ladders[0].heat_j + self.piece.heat_j).max(0.0)
    }

    /// Share of the heat that could be split, for want of a turning rate elsewhere.
    pub fn split_share(&self) -> f64 {
        let split = self.ladders[0].heat_j + self.piece.heat_j;
        let whole = split + self.unsplit_j;
        if whole > 0.0 { split / whole } else { 1.0 }
    }

    /// The causes for a tyre mismatch, and what of `total_j` they leave unexplained, J, below 0
    /// where they are more than all. Rows were summed by the noise floor of their time, the total
    /// by that of the whole drive: causes within 5 % of it are scaled so that they sum to it.
    pub fn causes(&self, ratio_log: f64, bends: Bends, total_j: f64) -> (Causes, f64) {
        let mut settled = self.clone();
        settled.settle_piece();
        let ladder = if self.has_ends() { bends as usize } else { 0 };
        let (rung, share) = rung_of(ratio_log);
        let causes = settled.ladders[ladder].between(rung, share);
        let sum = causes.total_j();
        if sum <= 0.0 {
            let preload = Causes {
                preload_j: total_j,
                ..Causes::default()
            };
            return (preload, 0.0);
        }
        // What could not be split for want of a turning rate is shared out as the rest is.
        let causes = causes.scaled((sum + self.unsplit_j.max(0.0)) / sum);
        let sum = causes.total_j();
        match (total_j - sum).abs() <= UNEXPLAINED_SHARE * total_j {
            true => (causes.scaled(total_j / sum), 0.0),
            false => (causes, total_j - sum),
        }
    }
}

/// Shares of spin and of mismatch in the axle speed difference.
///
/// With σ the sign of Δω: spin = clamp(σ·Δω_ex, 0, |Δω|), mismatch = clamp(σ·ε·ω̄, 0, |Δω| − spin),
/// Δω_ex = Δω − ε·ω̄ − Δω_kin.
#[inline]
fn shares([difference, kinematic, mean_speed]: [f64; 3], ratio_log: f64) -> [f64; 2] {
    let whole = difference.abs();
    if whole == 0.0 {
        return [0.0, 0.0];
    }
    // Bare comparisons: several rungs at a time are worked out that way.
    let within = |value: f64, most: f64| {
        let value = if value < 0.0 { 0.0 } else { value };
        if value > most { most } else { value }
    };
    let sign = difference.signum();
    let of_tyres = ratio_log * mean_speed;
    let spin = within(sign * (difference - of_tyres - kinematic), whole);
    let mismatch = within(sign * of_tyres, whole - spin);
    let share = 1.0 / whole;
    [spin * share, mismatch * share]
}

/// The rung below a mismatch, and how far it is to the next.
fn rung_of(ratio_log: f64) -> (usize, f64) {
    let last = N_RUNGS - 2;
    let low = (0..=last)
        .rfind(|rung| RATIOS[*rung] <= ratio_log)
        .unwrap_or(0);
    let (from, to) = (RATIOS[low], RATIOS[low + 1]);
    (low, ((ratio_log - from) / (to - from)).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;
    use halfshaft_driveline::Evidence;
    use proptest::prelude::*;

    fn ledger(difference: f64, kinematic: f64, torque: f64) -> Ledger {
        asked(0.5, difference, kinematic, torque)
    }

    fn asked(command: f64, difference: f64, kinematic: f64, torque: f64) -> Ledger {
        let mut ledger = Ledger::new(Some(80.0), 0.0, &Slip::default());
        for index in 0..1000 {
            let mut row = row(f64::from(index) * 0.01);
            row.difference_mean = difference;
            row.kinematic_difference = Some(kinematic);
            row.torque_nm = Some(torque);
            row.command = Some(command);
            row.work_j = Some(torque * 0.5 * difference * 0.01);
            row.evidence = Evidence::new([9.0 * difference.signum(); 4]);
            ledger.add_row(&row);
        }
        ledger
    }

    #[track_caller]
    fn check(name: &str, ledger: &Ledger, ratio: f64, shares: [f64; 4]) {
        let (causes, _) = ledger.causes(ratio, Bends::Stated, ledger.heat_j());
        let causes = causes.scaled(100.0 / ledger.heat_j());
        let got = [
            causes.spin_j,
            causes.mismatch_j,
            causes.preload_j,
            causes.commanded_j,
        ];
        for (got, wanted) in got.iter().zip(shares) {
            assert!((got - wanted).abs() < 0.6, "{name}: {causes:?}");
        }
    }

    #[test]
    fn each_cause_by_its_plain_case() {
        // Derived, in per cent of the heat. 80 of 200 N·m are preload.
        check(
            "bend",
            &ledger(2.4, 2.4, 200.0),
            0.0,
            [0.0, 0.0, 40.0, 60.0],
        );
        // The table of the map has more than the preload for the open pack: still preload.
        check(
            "open",
            &asked(0.0, 2.4, 2.4, 200.0),
            0.0,
            [0.0, 0.0, 100.0, 0.0],
        );
        // A difference of 30 where the bend makes 3: nine tenths are spin.
        check(
            "spin",
            &ledger(30.0, 3.0, 200.0),
            0.0,
            [90.0, 0.0, 4.0, 6.0],
        );
        // ε 1 % at 60 rad/s makes 0.6 of the 0.6 on the straight.
        check(
            "tyres",
            &ledger(0.6, 0.0, 80.0),
            0.01,
            [0.0, 100.0, 0.0, 0.0],
        );
        // Half way between two rungs the kink costs most: (0.0072 − 0.007)/0.0072 of it, halved.
        check(
            "tyres",
            &ledger(0.435, 0.0, 80.0),
            0.00725,
            [1.7, 98.3, 0.0, 0.0],
        );
        // Not knowing of the tyres, their difference is spin.
        check(
            "unknown",
            &ledger(0.6, 0.0, 80.0),
            0.0,
            [100.0, 0.0, 0.0, 0.0],
        );
        check(
            "to the left",
            &ledger(-2.4, -2.4, 200.0),
            0.0,
            [0.0, 0.0, 40.0, 60.0],
        );
    }

    #[test]
    fn what_is_far_from_the_total_stays_unexplained() {
        let ledger = ledger(2.4, 2.4, 200.0);
        let heat_j = ledger.heat_j();
        let at = |share: f64| {
            let (causes, unexplained_j) = ledger.causes(0.0, Bends::Stated, share * heat_j);
            [causes.total_j() / heat_j, unexplained_j / heat_j].map(|x| (x * 1e6).round() / 1e6)
        };
        assert_eq!(at(1.04), [1.04, 0.0]);
        assert_eq!(at(1.2), [1.0, 0.2]);
        assert_eq!(at(0.8), [1.0, -0.2]);
    }

    #[test]
    fn the_least_torque_is_the_preload_where_the_map_says_none() {
        let mut ledger = Ledger::new(None, 0.0, &Slip::default());
        for index in 0..1000 {
            let mut row = row(f64::from(index) * 0.01);
            (row.difference_mean, row.kinematic_difference) = (2.4, Some(2.4));
            let torque = if index < 500 { 80.0 } else { 200.0 };
            row.torque_nm = Some(torque);
            row.command = Some(if index < 500 { 0.0 } else { 0.5 });
            row.work_j = Some(torque * 1.2 * 0.01);
            row.evidence = Evidence::new([9.0; 4]);
            ledger.add_row(&row);
        }
        // Half a second-pair at 80 N·m, then at 200, of which 120 are the command's: 120/280.
        let (causes, _) = ledger.causes(0.0, Bends::Stated, ledger.heat_j());
        assert!((causes.commanded_j / ledger.heat_j() - 120.0 / 280.0).abs() < 1e-6);
    }

    proptest! {
        #[test]
        fn causes_and_what_they_leave_sum_to_the_total(
            difference in -40.0..40.0_f64, kinematic in -5.0..5.0_f64,
            torque in 1.0..1500.0_f64, ratio in -0.09..0.09_f64, total in 0.0..1e6_f64,
        ) {
            let (causes, unexplained_j) =
                ledger(difference, kinematic, torque).causes(ratio, Bends::Stated, total);
            prop_assert!((causes.total_j() + unexplained_j - total).abs() <= 1e-9 * total.max(1e3));
            prop_assert!(causes.spin_j >= 0.0 && causes.mismatch_j >= 0.0);
            prop_assert!(causes.preload_j >= 0.0 && causes.commanded_j >= 0.0);
        }
    }
}
