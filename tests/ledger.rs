//! Heat by cause against the truth of simulated drives.

mod common;

use common::{assess, estimate, figure, map};
use halfshaft_simulate::{RandomRange, Tolerances, map_text, random_drive, to_text};

const CAUSES: [&str; 4] = [
    "heat_preload",
    "heat_commanded",
    "heat_mismatch",
    "heat_spin",
];

#[test]
fn causes_sum_to_the_total_and_agree_with_the_truth() {
    let range = RandomRange {
        duration_s: [300.0, 500.0],
        ..RandomRange::default()
    };
    for seed in 1..=20 {
        let scenario = random_drive(seed, &range);
        let (log, truth) = to_text(&scenario);
        let results = assess(
            &map(&map_text(&scenario, &Tolerances::EXACT, seed)),
            log.as_bytes(),
        );
        let total = estimate(&results, "heat_total").value;
        let parts = CAUSES.map(|name| {
            figure(&results, name)
                .outcome
                .as_ref()
                .map_or(0.0, |part| part.value)
        });
        let sum: f64 = parts.iter().sum();
        assert!(
            (sum - total).abs() <= 0.01 * total,
            "{seed}: {parts:?} of {total}"
        );
        // With the tyre ratio unknown, its heat is counted with that of the bend.
        let [preload, commanded, mismatch, spin] = parts;
        let of_bend = truth.heat_preload_kj + truth.heat_commanded_kj + truth.heat_mismatch_kj;
        let close = |got: f64, wanted: f64| (got - wanted).abs() <= 0.05 * total;
        assert!(close(spin, truth.heat_spin_kj), "{seed}: {parts:?}");
        assert!(
            close(preload + commanded + mismatch, of_bend),
            "{seed}: {parts:?}"
        );
    }
}

#[test]
fn the_cost_of_mismatched_tyres() {
    let scenario = halfshaft_simulate::scenarios()
        .into_iter()
        .find(|scenario| scenario.name == "mismatched-tyres")
        .expect("the sample drives have it");
    let (log, truth) = to_text(&scenario);
    let map_text = include_str!("../signal-maps/brindlecote-30.map");
    let results = assess(&map(map_text), log.as_bytes());
    let wanted = [
        truth.heat_preload_kj,
        truth.heat_commanded_kj,
        truth.heat_mismatch_kj,
        truth.heat_spin_kj,
    ];
    for (name, wanted) in CAUSES.into_iter().zip(wanted) {
        let got = estimate(&results, name).value;
        assert!(
            (got - wanted).abs() <= 0.05 * truth.heat_total_kj,
            "{name}: {got}, true {wanted}"
        );
    }
    assert!(estimate(&results, "heat_mismatch").value > 0.7 * truth.heat_total_kj);
}
