//! The tables of duty beside what the plant of the fleet did at every millisecond.
//!
//! The table by torque and slip must have its heat at the speeds at which it was made, and the bench
//! cycle the drive's peak, heat and time.

use halfshaft_fleet::run::{assess, car};
use halfshaft_health::{Estimate, FigureId, Results};
use halfshaft_simulate::fleet::{self, SLIP_EDGES, Truth};

const SEED: u64 = 1;

/// Share of the heat that lies so near to an edge that samples 10 to 20 ms apart sort it to the
/// other side: slip rises by 10 rad/s in half a second and more, so that half a sample is 2 % of it.
const SORTED_AWRY: f64 = 0.02;

/// Drives with heat enough to be sorted, and wheels good enough to sort it: its band says so.
fn drives() -> Vec<(u64, Truth, Results, Estimate)> {
    let all = (1..=40).filter_map(|number| {
        let car = car(SEED, number)?;
        let (batch, truth) = fleet::drive(&car);
        let (_, results) = assess(&car, &batch, &[]);
        let heat = figure(&results, FigureId::HeatTotal)?;
        let is_sure = heat.value > 1.0 && heat.high - heat.low < heat.value;
        is_sure.then_some((number, truth, results, heat))
    });
    all.collect()
}

fn figure(results: &Results, id: FigureId) -> Option<Estimate> {
    results.figure(id)?.outcome.clone().ok()
}

/// Share of the heat at more than that many rad/s: what the torque is off by cancels.
fn share_above(edge: f64, edges: &[f64], heat: impl Fn(usize) -> f64) -> f64 {
    let all: f64 = (0..=edges.len()).map(&heat).sum();
    let at_or_below = edges.iter().filter(|at| **at <= edge).count();
    (at_or_below..=edges.len()).map(&heat).sum::<f64>() / all
}

#[test]
fn the_table_has_its_heat_at_the_speeds_at_which_it_was_made() {
    let drives = drives();
    let mut n_fast = 0;
    for (number, truth, results, heat) in &drives {
        let picture = results.duty_picture.as_ref().expect("there is heat");
        let n = picture.slip_edges.len() + 1;
        let of_table = |range: usize| picture.joules.iter().skip(range).step_by(n).sum::<f64>();
        let band = (heat.high - heat.low) / (2.0 * heat.value);
        for edge in SLIP_EDGES.into_iter().filter(|edge| *edge >= 1.0) {
            let got = share_above(edge, &picture.slip_edges, of_table);
            let wanted = share_above(edge, &SLIP_EDGES, |range| truth.heat_by_slip_kj[range]);
            // A torque that is off by the whole band above the edge and right below it moves a
            // share s by s·(1 − s) of the band.
            let allowed = wanted * (1.0 - wanted) * band + SORTED_AWRY;
            assert!(
                (got - wanted).abs() < allowed,
                "car {number}: {got:.3} of the heat above {edge} rad/s, in truth {wanted:.3} ± {allowed:.3}"
            );
            n_fast += usize::from(edge >= 10.0 && wanted > 0.1);
        }
    }
    assert!(drives.len() >= 20, "only {} drives show it", drives.len());
    assert!(n_fast >= 5, "only {n_fast} shares are of fast slip");
}

#[test]
fn the_bench_cycle_has_peak_and_sums_of_the_drive() {
    let (drives, mut n_true) = (drives(), 0);
    for (number, truth, results, heat) in &drives {
        let bench = &results.duty.bench;
        let steps = || bench.steps.iter();
        let heat_kj = steps()
            .map(|step| step.energy_j * step.count as f64)
            .sum::<f64>()
            / 1e3;
        let seconds = steps()
            .map(|step| step.duration_s * step.count as f64)
            .sum::<f64>();
        let powers = steps().map(|step| step.energy_j / step.duration_s);
        let peak_kw = powers.fold(0.0, f64::max) / 1e3;
        let peak = figure(results, FigureId::HeatPeak).expect("there is heat");
        let near = |got: f64, wanted: f64| (got / wanted - 1.0).abs() < 0.05;
        assert!(
            near(heat_kj, heat.value),
            "car {number}: {heat_kj} kJ of {heat:?}"
        );
        assert!(
            near(peak_kw, peak.value),
            "car {number}: {peak_kw} kW of {peak:?}"
        );
        let share = bench.heat_share.expect("there is heat");
        assert!(
            share > 0.9 && near(share, heat_kj / heat.value),
            "car {number}: {share}"
        );
        n_true += usize::from((heat.low..=heat.high).contains(&truth.heat_kj));
        assert!(steps().count() <= 60);
        let picture = results.duty_picture.as_ref().expect("there is heat");
        assert!(
            seconds <= picture.seconds.iter().sum::<f64>(),
            "car {number}: {seconds} s"
        );
    }
    // Of 25 bands of 90 % fewer than four in five hold the truth once in thirty times.
    assert!(
        5 * n_true >= 4 * drives.len(),
        "{n_true} of {}",
        drives.len()
    );
}
