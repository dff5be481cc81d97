//! A bench cycle: the duty of the drive as a table of steps.
//!
//! In: time, heat and way of slip by power and slip speed. Out: at most sixty steps, each of
//! constant torque and slip, which together make the heat of the drive, in events or not, its
//! time slipping and the way of its linings, and of which the hottest is the drive's peak. What a
//! table of steps cannot keep is their order. Steps that matter little are left out, and the
//! share of the heat that is kept is stated.

use halfshaft_model::Time;

use super::bench_sums::{BenchSums, Cell, N_SLIP, Visit};
use super::limits::{BENCH_LEAST_SHARE, BENCH_POWER_SHARES};

/// What is known of the pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BenchPack {
    /// Net lining area of all packs, mm².
    pub area_mm2: Option<f64>,
    /// Packs that share the heat.
    pub n_packs: f64,
}

/// One step: slip like this, so many times.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchStep {
    /// Slip speed, rad/s.
    pub slip_rad_per_s: Option<f64>,
    /// Torque of one pack, N·m: with slip, duration and packs it makes the energy.
    pub torque_nm: Option<f64>,
    /// How long it slips each time, s.
    pub duration_s: f64,
    /// Heat of all packs each time, J.
    pub energy_j: f64,
    /// Mean power per net lining area, W/mm².
    pub power_w_per_mm2: Option<f64>,
    /// Highest power per net lining area that it stands for, W/mm².
    pub peak_w_per_mm2: Option<f64>,
    /// How often.
    pub count: u64,
    /// From one such slip to the next, s; `None` when none followed.
    pub pause_s: Option<f64>,
    /// Mean oil temperature at the start, °C.
    pub oil_temp_c: Option<f64>,
}

/// The duty of a drive as steps, gentlest power first and slow slip before fast.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BenchCycle {
    /// The steps.
    pub steps: Vec<BenchStep>,
    /// Heat of the steps as a share of the drive's; `None` when that is not known.
    pub heat_share: Option<f64>,
    /// Slips cut off by a gap: they were longer than the log shows.
    pub n_at_least: u64,
}

/// The bench cycle of a drive of `heat_j` with a floor of `slip_sd` (one sample, rad/s); `oil_temp_at` gives the oil temperature in °C when it
/// is known.
///
/// A step is a range of power, as a share of the highest, in a range of slip. Of a step ω = way
/// of slip / time and T = heat / (way of slip · packs), so that count × duration, energy and way
/// sum to those of the drive. It counts as often as the slip came into its range and became as hot
/// as its coolest moment: who was that hot passed there on the way. Source: a definition of this
/// program.
pub fn bench_cycle(
    sums: &BenchSums,
    slip_sd: f64,
    pack: &BenchPack,
    heat_j: Option<f64>,
    oil_temp_at: impl Fn(Time) -> Option<f64>,
) -> BenchCycle {
    let ranges: [Vec<(usize, Cell)>; N_SLIP] =
        std::array::from_fn(|range| sums.cells(range, slip_sd));
    let all = || ranges.iter().flatten();
    let peak_w = all().map(|(_, cell)| cell.peak_w).fold(0.0, f64::max);
    let total_j: f64 = all().map(|(_, cell)| cell.joules).sum();
    let mut steps = Vec::new();
    for level in (0..=BENCH_POWER_SHARES.len()).rev() {
        let is_highest = level == 0;
        for (range, cells) in ranges.iter().enumerate() {
            let of_step = cells.iter().filter(|(_, cell)| {
                let share = cell.peak_w / peak_w;
                BENCH_POWER_SHARES
                    .iter()
                    .filter(|edge| share < **edge)
                    .count()
                    == level
            });
            let Some((sum, least_power)) = summed(of_step) else {
                continue;
            };
            let matters = is_highest || sum.joules >= BENCH_LEAST_SHARE * total_j;
            if !matters || sum.joules <= 0.0 {
                continue;
            }
            let visits: Vec<&Visit> = sums
                .visits(range)
                .iter()
                .filter(|visit| visit.power >= least_power)
                .collect();
            steps.push(step(&sum, &visits, pack, &oil_temp_at));
        }
    }
    let kept_j: f64 = steps
        .iter()
        .map(|step| step.energy_j * step.count as f64)
        .sum();
    let n_broken = |range| {
        sums.visits(range)
            .iter()
            .filter(|visit| visit.is_broken)
            .count()
    };
    BenchCycle {
        steps,
        heat_share: heat_j
            .filter(|joules| *joules > 0.0)
            .map(|joules| kept_j / joules),
        n_at_least: (0..N_SLIP).map(n_broken).sum::<usize>() as u64,
    }
}

/// The cells together, and the lowest of them.
fn summed<'a>(mut cells: impl Iterator<Item = &'a (usize, Cell)>) -> Option<(Cell, usize)> {
    let &(least_power, first) = cells.next()?;
    let sum = cells.fold(first, |sum, (_, cell)| Cell {
        seconds: sum.seconds + cell.seconds,
        joules: sum.joules + cell.joules,
        slip_rad: sum.slip_rad + cell.slip_rad,
        peak_w: sum.peak_w.max(cell.peak_w),
    });
    Some((sum, least_power))
}

fn step(
    sum: &Cell,
    visits: &[&Visit],
    pack: &BenchPack,
    oil_temp_at: impl Fn(Time) -> Option<f64>,
) -> BenchStep {
    // The moment of the coolest cell lies in a visit that became as hot.
    let count = visits.len().max(1);
    let n = count as f64;
    let pauses = visits.windows(2).map(|two| two[1].start.since(two[0].end));
    let oil = visits.iter().filter_map(|visit| oil_temp_at(visit.start));
    let area_mm2 = pack.area_mm2.filter(|area| *area > 0.0);
    let is_slip_known = sum.slip_rad > 0.0;
    BenchStep {
        slip_rad_per_s: is_slip_known.then(|| sum.slip_rad / sum.seconds),
        torque_nm: (is_slip_known && pack.n_packs > 0.0)
            .then(|| sum.joules / (sum.slip_rad * pack.n_packs)),
        duration_s: sum.seconds / n,
        energy_j: sum.joules / n,
        power_w_per_mm2: area_mm2.map(|area| sum.joules / sum.seconds / area),
        peak_w_per_mm2: area_mm2.map(|area| sum.peak_w / area),
        count: count as u64,
        pause_s: mean(pauses),
        oil_temp_c: mean(oil),
    }
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Slip;
    use crate::testing::row;
    use halfshaft_driveline::{Evidence, Row};
    use proptest::prelude::*;

    const PACK: BenchPack = BenchPack {
        area_mm2: Some(50e3),
        n_packs: 1.0,
    };

    /// 10 ms of so much torque of one pack and slip.
    fn slipping(time_s: f64, torque_nm: f64, slip: f64) -> Row {
        Row {
            torque_nm: Some(torque_nm),
            heat_rate_w: Some(torque_nm * slip),
            heat_rate_sharp_w: Some([torque_nm * slip; 3]),
            work_j: Some(torque_nm * slip * 0.01),
            impulse_nms: torque_nm * 0.01,
            slip,
            slip_mean: slip,
            slip_sharp: slip,
            evidence: Evidence::new([4.0 * slip; 4]),
            ..row(time_s)
        }
    }

    fn sums(rows: impl IntoIterator<Item = Row>) -> BenchSums {
        let mut sums = BenchSums::default();
        rows.into_iter()
            .for_each(|row| sums.add(&row, &Slip::default()));
        sums
    }

    /// So many rows of 10 ms from there on.
    fn stretch(start_s: f64, n: u32, torque_nm: f64, slip: f64) -> impl Iterator<Item = Row> {
        (0..n).map(move |index| slipping(start_s + 0.01 * f64::from(index), torque_nm, slip))
    }

    #[test]
    fn like_engagements_become_the_step_they_were() {
        let starts = [1.0, 30.0, 90.0];
        let sums = sums(
            starts
                .into_iter()
                .flat_map(|at| stretch(at, 200, 500.0, 8.0)),
        );
        let cycle = bench_cycle(&sums, 0.0, &PACK, Some(24e3), |time| {
            Some(90.0 + time.seconds())
        });
        let [step] = cycle.steps.as_slice() else {
            panic!("{cycle:?}");
        };
        // Derived by hand: three times 2 s of 500 N·m · 8 rad/s = 4 kW, 8 kJ; over 50,000 mm²
        // 0.08 W/mm². From 2.99 to 30 and from 31.99 to 90 s: 27.01 and 58.01 s.
        let near = |got: Option<f64>, wanted: f64| {
            assert!(
                (got.unwrap() - wanted).abs() < 1e-9,
                "{got:?} is not {wanted}"
            );
        };
        near(step.slip_rad_per_s, 8.0);
        near(step.torque_nm, 500.0);
        near(Some(step.duration_s), 2.0);
        near(Some(step.energy_j), 8000.0);
        near(step.power_w_per_mm2, 0.08);
        near(step.peak_w_per_mm2, 0.08);
        near(step.pause_s, 42.51);
        near(step.oil_temp_c, 90.0 + 121.0 / 3.0);
        near(cycle.heat_share, 1.0);
        assert_eq!((step.count, cycle.n_at_least), (3, 0));
        // Two packs share the heat: half the torque each.
        let two = BenchPack {
            area_mm2: None,
            n_packs: 2.0,
        };
        let shared = bench_cycle(&sums, 0.0, &two, None, |_| None);
        near(shared.steps[0].torque_nm, 250.0);
        assert_eq!(shared.steps[0].power_w_per_mm2, None);
        assert_eq!(
            (shared.steps[0].oil_temp_c, shared.heat_share),
            (None, None)
        );
    }

    #[test]
    fn a_short_peak_is_a_step_of_its_own() {
        // 2 s at 4 kW with 50 ms of 15 rad/s, 7.5 kW, in the second of two engagements.
        let peaked = stretch(21.0, 100, 500.0, 8.0)
            .chain(stretch(22.0, 5, 500.0, 15.0))
            .chain(stretch(22.05, 95, 500.0, 8.0));
        let cycle = bench_cycle(
            &sums(stretch(1.0, 200, 500.0, 8.0).chain(peaked)),
            0.0,
            &PACK,
            None,
            |_| None,
        );
        let told: Vec<(f64, u64)> = cycle
            .steps
            .iter()
            .map(|step| (step.slip_rad_per_s.unwrap().round(), step.count))
            .collect();
        assert_eq!(told, [(8.0, 2), (15.0, 1)]);
        let peak = cycle.steps.last().unwrap();
        assert!((peak.duration_s - 0.05).abs() < 1e-9, "{peak:?}");
        assert!(
            (peak.power_w_per_mm2.unwrap() - 0.15).abs() < 1e-9,
            "{peak:?}"
        );
    }

    #[test]
    fn a_gap_cuts_an_engagement_and_is_counted() {
        let mut after = slipping(1.5, 500.0, 8.0);
        after.is_joined = false;
        let rows = stretch(1.0, 50, 500.0, 8.0).chain([after]);
        let cycle = bench_cycle(&sums(rows), 0.0, &PACK, None, |_| None);
        assert_eq!((cycle.steps[0].count, cycle.n_at_least), (2, 1));
        let none = bench_cycle(&BenchSums::default(), 0.0, &PACK, Some(0.0), |_| None);
        assert_eq!(none, BenchCycle::default());
    }

    #[test]
    fn the_floor_of_the_whole_drive_settles_what_is_heat() {
        // Slow slip of 0.2 rad/s and fast of 8: at a floor at which only the fast stands out, the
        // slow is none.
        let rows = stretch(1.0, 100, 500.0, 0.2).chain(stretch(9.0, 100, 500.0, 8.0));
        let sums = sums(rows);
        let n_steps = |slip_sd| {
            bench_cycle(&sums, slip_sd, &PACK, None, |_| None)
                .steps
                .len()
        };
        assert_eq!((n_steps(0.0), n_steps(1.0), n_steps(50.0)), (2, 1, 0));
    }

    #[test]
    fn noise_about_no_slip_is_no_step() {
        let rows = (0..1000).map(|index| {
            let slip = if index % 2 == 0 { 0.02 } else { -0.02 };
            Row {
                slip_mean: 0.0,
                evidence: Evidence::new([0.0; 4]),
                ..slipping(0.01 * f64::from(index), 500.0, slip)
            }
        });
        let cycle = bench_cycle(&sums(rows), 0.0, &PACK, None, |_| None);
        assert_eq!(cycle.steps, []);
    }

    proptest! {
        #[test]
        fn peak_and_sums_are_those_of_the_drive(
            drawn in prop::collection::vec((60.0_f64..1500.0, 0.5_f64..60.0, 5_u32..300), 1..60),
        ) {
            let (mut start_s, mut rows) = (0.0, Vec::new());
            for (torque_nm, slip, n) in drawn {
                rows.extend(stretch(start_s, n, torque_nm, slip));
                start_s += 0.01 * f64::from(n) + 2.0;
            }
            let joules: f64 = rows.iter().filter_map(|row| row.work_j).sum();
            let seconds: f64 = rows.iter().map(|row| row.seconds).sum();
            let way: f64 = rows.iter().map(|row| row.slip * row.seconds).sum();
            let peak_w = rows.iter().filter_map(|row| row.heat_rate_w).fold(0.0, f64::max);
            let cycle = bench_cycle(&sums(rows), 0.0, &PACK, Some(joules), |_| None);
            prop_assert!(cycle.steps.len() <= 60);
            let sum = |of: &dyn Fn(&BenchStep) -> f64| {
                cycle.steps.iter().map(|step| of(step) * step.count as f64).sum::<f64>()
            };
            let torque_way = |step: &BenchStep| {
                step.torque_nm.unwrap() * step.slip_rad_per_s.unwrap() * step.duration_s
            };
            for by in [sum(&|step| step.energy_j), sum(&torque_way)] {
                // Steps of too little heat are left out: 60 of a thousandth.
                prop_assert!((0.94..1.0 + 1e-9).contains(&(by / joules)), "{by} of {joules} J");
                prop_assert!((by / joules - cycle.heat_share.unwrap()).abs() < 1e-9);
            }
            prop_assert!(sum(&|step| step.duration_s) <= seconds * (1.0 + 1e-9));
            prop_assert!(sum(&|step| step.slip_rad_per_s.unwrap() * step.duration_s) <= way * (1.0 + 1e-9));
            let highest = cycle.steps.iter().filter_map(|step| step.power_w_per_mm2).fold(0.0, f64::max);
            let peak = peak_w / 50e3;
            prop_assert!((0.95 * peak..=peak * (1.0 + 1e-9)).contains(&highest), "{highest} of {peak}");
        }
    }
}
