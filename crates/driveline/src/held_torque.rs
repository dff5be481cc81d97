//! The tyres as torque gauge: what the pack really holds, from the difference that bends lack.
//!
//! In: rows. Out: [`Held`], the torque held at each command, by pieces of half a second in bends
//! of moderate lateral acceleration. A torque that ties the rear wheels takes a part of the difference
//! the bend asks for: (Δω_kin − Δω)/ω̄ = bias/(Cx·r), Cx the longitudinal stiffness of one tyre
//! against slip. Source: linear longitudinal slip stiffness, Pacejka, *Tyre and Vehicle Dynamics*, from
//! memory. Bends without command, where the preload is known, calibrate Cx·r on the car itself. Load
//! moves to the outer tyre in a bend and makes its radius smaller: a part that grows with the lateral
//! acceleration, fitted beside it; and the ratio of the tyres, which need not be known, changes sign
//! with the bend.
//! It refuses without a witness of bends, and with few of them. It does not judge.

mod curve;
mod shape;

use halfshaft_model::Time;

pub use self::curve::{Found, Held, HeldPoint};
use self::curve::{LEAST_OF_POINT, points};
pub use self::shape::{OVER_STATED_TRIED, Shape};
use crate::basis::Basis;
use crate::engagement::OPEN_BELOW;
use crate::median::median;
use crate::refusal::Refusal;
use crate::row::Row;
use crate::tyre_ratio::regression::{Fit, Line, blocks, fit};

/// Length of a piece, s.
const PIECE_S: f64 = 0.5;

/// Lateral acceleration of the bends, m/s²: below, noise is all there is; above, tyres near their
/// grip are softer. Source: none, engineering guess.
const LATERAL: (f64, f64) = (0.5, 4.0);

/// The same for bends driven so evenly that the inner wheel, which bears less, has little to drive with. Above, tyres near
/// their grip are softer.
const LATERAL_EVEN: f64 = 8.0;

/// Least difference a bend asks for, as a share of the rolling speed: a radius of some 150 m.
/// Engineering guess.
const LEAST_SHARE: f64 = 0.01;

/// Least speed, m/s, and greatest change of speed along the road, m/s². Engineering guess.
const LEAST_SPEED: f64 = 3.0;
const GREATEST_ALONG: f64 = 2.5;
const GREATEST_ALONG_EVEN: f64 = 1.0;

/// Greatest change of the yaw rate within such a piece, as a share of it: a car that drifts swings.
/// Engineering guess.
const GREATEST_SWING: f64 = 0.3;

/// Share by which the rear wheels may run ahead of the front ones: beyond, they spin. Derived: 1,500 kg at
/// 1 m/s² make 1 % between tyres of 80 kN.
const GREATEST_AHEAD: f64 = 0.02;

/// Without a command for so long a pack has released, where the torque is known by the command alone, s.
/// Source: none, engineering guess.
const RELEASED_AFTER_S: f64 = 1.0;

/// Greatest acceleration along times across, (m/s²)², of a steady piece: the inner wheel drives with less
/// load on a softer tyre and slips more, which takes of the difference as torque between the wheels does.
/// Derived: 1,500 kg at 1 m/s² along and 3 across make 0.4 % between wheels of 80 kN, as 100 N·m do.
const GREATEST_DRIVEN: f64 = 3.0;

/// Shares of the bend's difference between which no wheel spins, and below which the pack may be stuck
/// and hold less than it could.
const ROLLS: (f64, f64) = (-0.2, 1.3);
const STUCK_BELOW: f64 = 0.15;

/// A command that moves by more than this between two pieces, or within one, leaves the mechanism on
/// its way, share of full.
const STEADY: f64 = 0.08;

/// Pieces kept; of more, every second is.
const MOST_PIECES: usize = 4096;

/// Pieces needed for the calibration. Engineering guess.
const LEAST_OPEN: usize = 20;

/// Length of the blocks that are resampled, s.
const BLOCK_S: f64 = 30.0;

/// What load transfer does to the radii, per m/s², and its deviation: the outer tyre rolls on a smaller
/// radius and turns faster. Source: none, engineering guess; 1 kN moved on a tyre of 200 kN/m takes
/// 1.5 mm of the rolling radius, half a per cent.
const LOAD_PER_M_PER_S2: (f64, f64) = (-0.0008, 0.0012);

/// Ratio of the tyres, and what the yaw rate's bias makes of it: deviation. Engineering guess.
const SIDE_SD: f64 = 0.005;

/// Stiffness of a tyre that is not calibrated: its standard deviation as a share. Source: none,
/// engineering guess: 50 to 130 kN for tyres of common cars.
const STIFFNESS_DOUBT: f64 = 0.3;

/// What the radii are off by, as a share of the rolling speed, and track, radius and yaw rate as a share of
/// what the bend asks for: standard deviations. Source: none, engineering guess; in a hairpin of 8 m two
/// per cent are 100 N·m of bias.
const OFF_SD: f64 = 0.0015;
const GEOMETRY_SD: f64 = 0.02;

/// Held is compared with stated torque where that is at least this, N·m, and this many times what the
/// map states without command: less drowns in [`OFF_SD`]. Engineering guess.
const COMPARED_FROM_NM: f64 = 150.0;
const COMPARED_FROM: f64 = 1.5;

/// A calibrated stiffness further from the stated one than this many times is none of a tyre: the pack
/// drags, or the preload is another. Engineering guess.
const STIFFNESS_RANGE: f64 = 1.8;

/// A piece of a bend.
#[derive(Clone, Copy, Debug)]
struct Piece {
    start: Time,
    command: Option<f64>,
    // Difference that is missing, as a share of the rolling speed.
    missing: f64,
    // Difference that the bend asks for, as such a share.
    share: f64,
    lateral: f64,
    side: f64,
    torque_nm: Option<f64>,
    is_stuck: bool,
    is_steady: bool,
    // Counts for the shape of the curve; and for that of one whose command need not rest.
    is_even: bool,
    is_wide: bool,
}

/// A piece being driven: sums of values times seconds.
#[derive(Clone, Copy, Debug)]
struct Open {
    start: Time,
    latest: Time,
    seconds: f64,
    missing: f64,
    share: f64,
    lateral: f64,
    shown: f64,
    asked: f64,
    command: f64,
    command_s: f64,
    torque: f64,
    torque_s: f64,
    by_command_s: f64,
    ahead: f64,
    range: (f64, f64),
    first_speed: f64,
    last_speed: f64,
    first_yaw: f64,
    last_yaw: f64,
    side: f64,
}

/// Gathers pieces while the drive goes by.
#[derive(Clone, Debug)]
pub struct HeldWatch {
    open: Option<Open>,
    // End and mean command of the piece before, steady or not.
    before: Option<(Time, f64)>,
    // The latest row under command.
    commanded: Option<Time>,
    pieces: Vec<Piece>,
    keep_every: u32,
    passed_over: u32,
}

impl Default for HeldWatch {
    /// Nothing seen yet.
    fn default() -> HeldWatch {
        HeldWatch {
            open: None,
            before: None,
            commanded: None,
            pieces: Vec::new(),
            keep_every: 1,
            passed_over: 0,
        }
    }
}

impl HeldWatch {
    /// Takes a row of driving; `counts` where nothing speaks against it (reverse, stability control).
    pub fn note(&mut self, row: &Row, counts: bool) {
        if row.command.is_some_and(|command| command >= OPEN_BELOW) {
            self.commanded = Some(row.time);
        }
        let Some((speed, yaw, kinematic)) = of_bend(row).filter(|_| counts) else {
            self.close();
            return;
        };
        let side = kinematic.signum();
        if self.open.is_some_and(|open| open.side != side) {
            self.close();
        }
        let command = row.command.unwrap_or(0.0);
        let open = self.open.get_or_insert(Open {
            start: row.time,
            latest: row.time,
            seconds: 0.0,
            missing: 0.0,
            share: 0.0,
            lateral: 0.0,
            shown: 0.0,
            asked: 0.0,
            command: 0.0,
            command_s: 0.0,
            torque: 0.0,
            torque_s: 0.0,
            by_command_s: 0.0,
            ahead: 0.0,
            range: (command, command),
            first_speed: speed,
            last_speed: speed,
            first_yaw: yaw,
            last_yaw: yaw,
            side,
        });
        let seconds = row.seconds;
        // The raw difference: what the tyres' ratio makes of it is fitted, and need not be learned first.
        let shown = side * row.difference_mean;
        open.latest = row.time;
        open.seconds += seconds;
        open.missing += (kinematic.abs() - shown) / row.case_speed * seconds;
        open.share += kinematic.abs() / row.case_speed * seconds;
        open.lateral += speed * yaw.abs() * seconds;
        open.shown += shown * seconds;
        open.asked += kinematic.abs() * seconds;
        if let Some(command) = row.command {
            open.command += command * seconds;
            open.command_s += seconds;
            open.range = (open.range.0.min(command), open.range.1.max(command));
        }
        if let Some(torque_nm) = row.torque_nm {
            open.torque += torque_nm * seconds;
            open.torque_s += seconds;
            open.by_command_s += seconds * f64::from(u8::from(row.is_torque_by_command));
        }
        // Without front wheels nothing shows that the rear ones spin.
        let front = row.front_speed.unwrap_or(row.case_speed);
        open.ahead += (row.case_speed - front) / row.case_speed * seconds;
        open.last_speed = speed;
        open.last_yaw = yaw;
        if row.time.since(open.start) >= PIECE_S {
            self.close();
        }
    }

    /// The piece is over: keeps it where it counts.
    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        if open.seconds < 0.8 * PIECE_S {
            return;
        }
        let mean = |sum: f64| sum / open.seconds;
        let command = (open.command_s > 0.0).then(|| open.command / open.command_s);
        let now = command.unwrap_or(0.0);
        let before = self.before.replace((open.latest, now));
        let was_alike = before.is_some_and(|(end, was)| {
            open.start.since(end) < PIECE_S && (was - now).abs() <= STEADY
        });
        // Right after a stretch that is no bend nobody knows what the mechanism was doing.
        let along = (open.last_speed - open.first_speed) / open.seconds;
        let lateral = mean(open.lateral);
        let shown = open.shown / open.asked;
        let is_settled = open.range.1 - open.range.0 <= STEADY && was_alike;
        let is_gentle = along.abs() <= GREATEST_ALONG
            && along * lateral <= GREATEST_DRIVEN
            && lateral <= LATERAL.1;
        let is_steady = is_settled && is_gentle;
        let swing = (open.last_yaw - open.first_yaw).abs() / open.last_yaw.abs();
        let is_calm = along.abs() <= GREATEST_ALONG_EVEN
            && lateral <= LATERAL_EVEN
            && swing <= GREATEST_SWING;
        // A torque known by the command alone is that of the pack once it has followed.
        let is_measured = open.by_command_s == 0.0;
        let has_followed = now >= OPEN_BELOW
            || self
                .commanded
                .is_none_or(|latest| open.start.since(latest) >= RELEASED_AFTER_S);
        let rolls = (ROLLS.0..=ROLLS.1).contains(&shown);
        let is_known = open.torque_s >= 0.8 * open.seconds && mean(open.ahead) <= GREATEST_AHEAD;
        let is_even =
            is_settled && is_known && (is_gentle || is_calm) && (is_measured || has_followed);
        let is_wide = is_even || is_known && is_gentle && is_measured;
        let counts = (is_steady || is_wide) && lateral >= LATERAL.0 && rolls;
        if !counts {
            return;
        }
        self.passed_over += 1;
        if self.passed_over < self.keep_every {
            return;
        }
        self.passed_over = 0;
        self.pieces.push(Piece {
            start: open.start,
            command,
            missing: mean(open.missing),
            share: mean(open.share),
            lateral,
            side: open.side,
            torque_nm: (open.torque_s > 0.0).then(|| open.torque / open.torque_s),
            is_stuck: shown < STUCK_BELOW,
            is_steady,
            is_even,
            is_wide,
        });
        if self.pieces.len() == MOST_PIECES {
            let mut index = 0;
            self.pieces.retain(|_| {
                index += 1;
                index % 2 == 0
            });
            self.keep_every *= 2;
        }
    }

    /// What the pack held, or why nobody can tell.
    pub fn held(&self, basis: &Basis) -> Result<Held, Refusal> {
        let radius_m = basis.radius_m.ok_or(Refusal::NoRadius)?;
        let steady: Vec<Piece> = self
            .pieces
            .iter()
            .filter(|piece| piece.is_steady)
            .copied()
            .collect();
        let open: Vec<&Piece> = steady
            .iter()
            .filter(|piece| piece.command.is_some_and(|command| command < OPEN_BELOW))
            .filter(|piece| !piece.is_stuck)
            .collect();
        let usual = Found {
            value: basis.tyre_stiffness_n * radius_m,
            sd: STIFFNESS_DOUBT * basis.tyre_stiffness_n * radius_m,
        };
        let per_bias = 1.0 / basis.bias_factor;
        let mut shares: Vec<f64> = steady.iter().map(|piece| piece.share).collect();
        let off_share = OFF_SD.hypot(GEOMETRY_SD * median(&mut shares).unwrap_or(0.0));
        let beside = beside(&open);
        let preload_nm = of_open(&open).or(Some(basis.preload_nm).filter(|nm| *nm > 0.0));
        let calibrated = beside
            .as_ref()
            .zip(preload_nm)
            .and_then(|(fit, preload_nm)| {
                let (missing, sd) = (fit.unknowns[0], fit.sds[0].hypot(OFF_SD));
                let value = basis.bias_factor * preload_nm / missing;
                let times = value / usual.value;
                let is_tyre = (1.0 / STIFFNESS_RANGE..=STIFFNESS_RANGE).contains(&times);
                (is_tyre && sd < STIFFNESS_DOUBT * missing).then_some(Found {
                    value,
                    sd: value * sd / missing,
                })
            });
        let stiffness_nm = calibrated.unwrap_or(usual);
        let [_, load, side] = beside
            .as_ref()
            .map_or([0.0, LOAD_PER_M_PER_S2.0, 0.0], |fit| fit.unknowns);
        let torque_nm = |piece: &Piece| {
            let missing = piece.missing - load * piece.lateral - side * piece.side;
            missing * stiffness_nm.value * per_bias
        };
        let doubt = stiffness_nm.sd / stiffness_nm.value;
        let off_nm = off_share * stiffness_nm.value * per_bias;
        let points = points(&steady, &torque_nm, doubt, off_nm);
        let least_nm = COMPARED_FROM_NM.max(COMPARED_FROM * preload_nm.unwrap_or(0.0));
        let pieces = self.pieces.iter();
        let even: Vec<&Piece> = pieces.clone().filter(|piece| piece.is_even).collect();
        let wide: Vec<&Piece> = pieces.filter(|piece| piece.is_wide).collect();
        let resting_nm = preload_nm
            .or(basis.resting_nm)
            .map(|nm| basis.bias_factor * nm);
        let shape = Shape::of(&even, basis, resting_nm);
        let wide_shape = Shape::of(&wide, basis, resting_nm);
        if points.is_empty() && wide_shape.is_none() {
            return Err(Refusal::FewBends {
                n_pieces: steady.len() as u32,
                needed: LEAST_OF_POINT as u32,
            });
        }
        let n_commanded = steady
            .iter()
            .filter(|piece| piece.command.is_some_and(|command| command >= OPEN_BELOW))
            .filter(|piece| {
                piece
                    .torque_nm
                    .is_some_and(|stated_nm| stated_nm >= least_nm)
            })
            .count();
        Ok(Held {
            stiffness_nm,
            is_calibrated: calibrated.is_some(),
            without_command_nm: beside.map(|fit| {
                let missing = fit.unknowns[0];
                let value = missing * usual.value * per_bias;
                let doubt = (fit.sds[0].hypot(off_share) / missing).hypot(STIFFNESS_DOUBT);
                Found {
                    value,
                    sd: doubt * value,
                }
            }),
            points,
            n_commanded,
            shape,
            wide_shape,
        })
    }
}

/// Speed, yaw rate and kinematic difference of a row in a bend.
fn of_bend(row: &Row) -> Option<(f64, f64, f64)> {
    let (speed, yaw, kinematic) = (row.road_speed?, row.yaw_rate?, row.kinematic_difference?);
    let is_bend = row.is_joined
        && row.is_turning
        && !row.is_braking
        && !row.is_controlled
        && speed >= LEAST_SPEED
        && kinematic.abs() >= LEAST_SHARE * row.case_speed;
    is_bend.then_some((speed, yaw, kinematic))
}

/// Torque the map states for pieces without command, N·m.
fn of_open(open: &[&Piece]) -> Option<f64> {
    let mut stated: Vec<f64> = open.iter().filter_map(|piece| piece.torque_nm).collect();
    median(&mut stated).filter(|nm| *nm > 0.0)
}

/// What is missing without command, what load transfer adds per m/s², and what changes sides.
fn beside(open: &[&Piece]) -> Option<Fit<3>> {
    if open.len() < LEAST_OPEN {
        return None;
    }
    let first = open[0].start;
    let numbers = open
        .iter()
        .map(|piece| (piece.start.since(first) / BLOCK_S).floor());
    let lines: Vec<Line<3>> = open
        .iter()
        .zip(blocks(numbers))
        .map(|(piece, block)| Line {
            x: [1.0, piece.lateral, piece.side],
            y: piece.missing,
            weight: 1.0,
            block,
        })
        .collect();
    fit(
        &lines,
        &[None, Some(LOAD_PER_M_PER_S2), Some((0.0, SIDE_SD))],
    )
    .filter(|fit| fit.unknowns[0] > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::heat_by_floor::Evidence;
    use crate::random::Random;
    use halfshaft_model::{Layout, Toleranced, Vehicle};

    const RADIUS_M: f64 = 0.32;
    const TRACK_M: f64 = 1.55;

    fn quiet(time_s: f64) -> Row {
        Row {
            time: Time::from_seconds(time_s),
            seconds: 0.02,
            is_joined: true,
            is_wheel_sample: true,
            is_turning: true,
            road_speed: None,
            yaw_rate: None,
            yaw_bias: None,
            front_speed: None,
            case_speed: 0.0,
            difference: 0.0,
            difference_mean: 0.0,
            kinematic_difference: None,
            road_referred_difference: 0.0,
            openness: None,
            unknown_mismatch: 0.0,
            slip: 0.0,
            slip_mean: 0.0,
            slip_sharp: 0.0,
            noise_in_sharp: 1.0,
            command: None,
            state: None,
            torque_nm: None,
            is_torque_by_command: false,
            heat_rate_w: None,
            heat_rate_sharp_w: None,
            work_j: None,
            impulse_nms: 0.0,
            evidence: Evidence::new([0.0; 4]),
            noise_in_mean: 1.0,
            slip_sd: None,
            is_braking: false,
            is_controlled: false,
        }
    }

    fn basis() -> Basis {
        let vehicle = Vehicle {
            track_rear_m: Some(Toleranced::exact(TRACK_M)),
            rolling_radius_m: Some(Toleranced::exact(RADIUS_M)),
            preload_nm: Some(Toleranced::exact(200.0)),
            layout: Some(Layout::CaseToOneSide),
            ..Vehicle::default()
        };
        Basis::new(&vehicle, &[])
    }

    /// Bends of 6 s on radii of 15 to 60 m both ways, every other one under a command of 0.2 to 1, of
    /// which `per_command` N·m are held beside `rest_nm`; the map states 200 N·m and 500 more.
    fn watch(stiffness_n: f64, rest_nm: f64, per_command: f64, seed: u64) -> HeldWatch {
        watch_of(stiffness_n, seed, |stated_nm| {
            rest_nm + per_command * (stated_nm - 200.0) / 500.0
        })
    }

    fn watch_of(stiffness_n: f64, seed: u64, held_of: impl Fn(f64) -> f64) -> HeldWatch {
        let mut watch = HeldWatch::default();
        let mut random = Random::default();
        (0..seed).for_each(|_| {
            random.normal();
        });
        for index in 0..60_000 {
            let time_s = f64::from(index) * 0.02;
            let bend = index / 300;
            let radius_m: f64 = [15.0, 24.0, 40.0, 60.0][(bend / 2 % 4) as usize];
            let lateral = [1.0, 2.0, 3.0][(bend % 3) as usize];
            let speed = (lateral * radius_m).sqrt();
            let side = if bend / 8 % 2 == 0 { 1.0 } else { -1.0 };
            let command = match bend % 2 {
                0 => 0.0,
                _ => [0.2, 0.5, 0.9][(bend / 2 % 3) as usize],
            };
            let mut row = quiet(time_s);
            let case = speed / RADIUS_M;
            let kinematic = side * TRACK_M * speed / radius_m / RADIUS_M;
            let held_nm = held_of(200.0 + 500.0 * command);
            let tied = held_nm / (stiffness_n * RADIUS_M) * case;
            let load = 0.0008 * lateral * case;
            let rest = (kinematic.abs() - tied).max(0.0) + load;
            row.road_speed = Some(speed);
            row.yaw_rate = Some(side * speed / radius_m);
            row.case_speed = case;
            row.kinematic_difference = Some(kinematic);
            row.difference_mean = side * rest + 0.03 * random.normal();
            row.command = Some(command);
            row.torque_nm = Some(200.0 + 500.0 * command);
            watch.note(&row, true);
        }
        watch
    }

    #[test]
    fn torque_held_is_read_from_the_tyres_whatever_their_stiffness() {
        for stiffness_n in [50e3, 80e3, 100e3] {
            let held = watch(stiffness_n, 200.0, 500.0, 0).held(&basis()).unwrap();
            assert!(held.is_calibrated, "{held:?}");
            let of_tyre = stiffness_n * RADIUS_M;
            assert!(
                (held.stiffness_nm.value / of_tyre - 1.0).abs() < 0.15,
                "{held:?}"
            );
            for point in held.points.iter().filter(|point| !point.is_at_least) {
                let truth_nm = 200.0 + 500.0 * point.command;
                assert!(
                    (point.held_nm.value / truth_nm - 1.0).abs() < 0.2,
                    "{point:?}"
                );
            }
            let shape = held.shape.unwrap();
            let factor = (1.645 * shape.over_stated_sd).exp();
            assert!(
                (shape.over_stated / factor..shape.over_stated * factor).contains(&1.0),
                "{shape:?}"
            );
        }
    }

    #[test]
    fn a_pack_that_holds_a_quarter_shows_it() {
        let held = watch(80e3, 50.0, 125.0, 3).held(&basis()).unwrap();
        // Its preload is a quarter, too, so the tyres cannot be calibrated by it.
        assert!(!held.is_calibrated, "{held:?}");
        let shape = held.shape.unwrap();
        assert!((0.17..0.33).contains(&shape.over_stated), "{shape:?}");
        let high = shape.over_stated * (1.645 * shape.over_stated_sd).exp();
        assert!(high < 0.6, "{high}");
    }

    #[test]
    fn a_small_torque_is_not_compared() {
        // Derived: 200 + 500·0.2 is no more than 1.5 times 200.
        let mut watch = watch(80e3, 200.0, 500.0, 0);
        watch
            .pieces
            .retain(|piece| piece.command.is_none_or(|command| command < 0.15));
        let held = watch.held(&basis()).unwrap();
        assert_eq!(held.n_commanded, 0);
    }

    #[test]
    fn a_pack_that_never_lets_go_shows_what_it_drags_with() {
        let held = watch(80e3, 700.0, 0.0, 5).held(&basis()).unwrap();
        assert!(!held.is_calibrated);
        let drag = held.without_command_nm.unwrap();
        assert!((drag.value / 700.0 - 1.0).abs() < 0.25, "{drag:?}");
    }

    #[test]
    fn the_curve_parts_a_drag_from_a_weak_pack_whatever_the_tyres() {
        for stiffness_n in [55e3, 80e3, 120e3] {
            let shape = |watch: HeldWatch| watch.held(&basis()).unwrap().shape.unwrap();
            let [low, nm, high] = shape(watch(stiffness_n, 200.0, 500.0, 0)).drag_nm;
            assert!(low < 200.0 && high < 320.0, "{low} {nm} {high}");
            // It never falls below 450 N·m; more than that is held as stated.
            let drags = shape(watch_of(stiffness_n, 2, |nm| nm.max(450.0)));
            let [low, nm, high] = drags.drag_nm;
            assert!(!drags.is_weak && low > 300.0, "{low} {nm} {high}");
            assert!((nm / 450.0 - 1.0).abs() < 0.3, "{low} {nm} {high}");
            let weak = shape(watch(stiffness_n, 50.0, 125.0, 3));
            let high = weak.over_stated * (1.645 * weak.over_stated_sd).exp();
            assert!(weak.is_weak && weak.n_commanded > 100, "{weak:?}");
            assert!(high < 0.8, "{high}");
        }
    }

    #[test]
    fn a_drag_shows_from_a_torque_on_that_the_scatter_decides() {
        let found = watch(80e3, 200.0, 500.0, 0)
            .held(&basis())
            .unwrap()
            .shape
            .unwrap();
        let from_nm = found.shows_from_nm(260.0).unwrap();
        assert!((260.0..450.0).contains(&from_nm), "{from_nm}");
        // Twelve pieces tell less than thousands.
        let mut few = watch(80e3, 200.0, 500.0, 0);
        let mut index = 0;
        few.pieces.retain(|_| {
            index += 1;
            index % 90 == 0
        });
        let few = few.held(&basis()).unwrap().shape.unwrap();
        assert!(few.shows_from_nm(260.0).is_none_or(|nm| nm > from_nm));
    }

    #[test]
    fn bends_at_the_limit_of_the_tyres_are_no_drag() {
        // Near the limit little torque makes the axle one piece: half of the bends are like that.
        let mut watch = watch(80e3, 200.0, 500.0, 0);
        for piece in watch.pieces.iter_mut().step_by(2) {
            piece.lateral = 7.5;
            piece.missing = piece.share;
            piece.is_stuck = true;
        }
        let [low, nm, _] = watch.held(&basis()).unwrap().shape.unwrap().drag_nm;
        assert!(low < 200.0, "{low} {nm}");
    }

    #[test]
    fn what_is_not_missing_is_no_drag() {
        // A map far off, by more than any is, would have to hide a torque here: next to nothing is missing.
        let mut watch = watch(80e3, 100.0, 400.0, 0);
        for piece in &mut watch.pieces {
            piece.torque_nm = Some(70.0);
            piece.missing = 0.01 - 0.15 * piece.share;
        }
        let shape = watch.held(&basis()).unwrap().shape.unwrap();
        let [low, nm, high] = shape.drag_nm;
        assert!(low < 100.0, "{low} {nm} {high}");
    }

    #[test]
    fn ice_and_one_bend_show_no_curve() {
        let shape = |keep: &dyn Fn(&Piece) -> bool, lateral: f64| {
            let mut watch = watch(80e3, 200.0, 500.0, 0);
            watch.pieces.retain(keep);
            for piece in &mut watch.pieces {
                piece.lateral *= lateral;
            }
            watch.held(&basis()).ok().and_then(|held| held.shape)
        };
        assert!(shape(&|_| true, 1.0).is_some());
        assert!(shape(&|_| true, 0.3).is_none());
        assert!(shape(&|piece| piece.start.seconds() < 80.0, 1.0).is_none());
    }

    #[test]
    fn a_bend_driven_hard_is_not_steady() {
        let pieces = |along: f64, yaw: f64| {
            let mut watch = HeldWatch::default();
            for index in 0..100 {
                let time_s = f64::from(index) * 0.02;
                let mut row = quiet(time_s);
                let speed = 10.0 + along * time_s;
                row.road_speed = Some(speed);
                row.yaw_rate = Some(yaw);
                row.case_speed = speed / RADIUS_M;
                row.kinematic_difference = Some(yaw * TRACK_M / RADIUS_M);
                row.difference_mean = 1.2;
                row.command = Some(0.5);
                row.torque_nm = Some(450.0);
                watch.note(&row, true);
            }
            let n_steady = watch.pieces.iter().filter(|piece| piece.is_steady).count();
            (n_steady, watch.pieces.len())
        };
        // Derived: 3.0 to 3.5 m/s² across; 0.8 along makes 2.8, 1.1 makes 3.4 and more.
        let (n_steady, n) = pieces(0.8, 0.3);
        assert!(n_steady > 0, "{n_steady} of {n}");
        assert_eq!(pieces(1.1, 0.3), (0, 0));
        // 3.9 and 4.1 m/s² across at one speed: even bends go on to 8.
        assert!(pieces(0.0, 0.39).0 > 0);
        let (n_steady, n) = pieces(0.0, 0.41);
        assert!(n_steady == 0 && n > 0, "{n_steady} of {n}");
        assert_eq!(pieces(0.0, 0.81), (0, 0));
    }

    #[test]
    fn without_bends_or_a_radius_it_refuses() {
        assert!(HeldWatch::default().held(&basis()).is_err());
        let bare = Basis::new(&Vehicle::default(), &[]);
        assert_eq!(HeldWatch::default().held(&bare), Err(Refusal::NoRadius));
    }
}
