//! The bench cycle, one step a row.

use std::io::Write;

use halfshaft_health::duty::{BenchCycle, BenchStep};

use crate::about::About;
use crate::table::{Cell, Column, Error, column, write};

pub(crate) struct StepRow<'a> {
    number: i64,
    step: &'a BenchStep,
}

pub(crate) fn columns<'a>() -> [Column<StepRow<'a>>; 10] {
    [
        column(
            "step",
            "",
            "Its number, from 1.",
            Cell::Whole(|row| row.number),
        ),
        column(
            "slip_rad_per_s",
            "rad/s",
            "Slip speed; null where the way of the linings is not known.",
            Cell::Number(|row| row.step.slip_rad_per_s),
        ),
        column(
            "torque_nm",
            "N.m",
            "Torque of one pack.",
            Cell::Number(|row| row.step.torque_nm),
        ),
        column(
            "duration_s",
            "s",
            "How long it slips each time.",
            Cell::Number(|row| Some(row.step.duration_s)),
        ),
        column(
            "energy_j",
            "J",
            "Heat of all packs each time.",
            Cell::Number(|row| Some(row.step.energy_j)),
        ),
        column(
            "power_w_per_mm2",
            "W/mm2",
            "Mean power per net lining area.",
            Cell::Number(|row| row.step.power_w_per_mm2),
        ),
        column(
            "peak_w_per_mm2",
            "W/mm2",
            "Highest peak power per net lining area among the events it stands for.",
            Cell::Number(|row| row.step.peak_w_per_mm2),
        ),
        column(
            "count",
            "",
            "How often.",
            Cell::Whole(|row| row.step.count.cast_signed()),
        ),
        column(
            "pause_s",
            "s",
            "From its end to the next step; null when none followed.",
            Cell::Number(|row| row.step.pause_s),
        ),
        column(
            "oil_temp_c",
            "degC",
            "Mean oil temperature at the start.",
            Cell::Number(|row| row.step.oil_temp_c),
        ),
    ]
}

/// Writes the steps of the bench cycle, one a row; how many events are not in it, and of
/// how many the heat is a lower bound, is in the metadata.
pub fn write_bench_cycle<W: Write + Send>(
    out: W,
    cycle: &BenchCycle,
    about: &About,
) -> Result<(), Error> {
    let rows: Vec<StepRow> = (1..)
        .zip(&cycle.steps)
        .map(|(number, step)| StepRow { number, step })
        .collect();
    let more = [
        ("bench.left_out", cycle.n_left_out.to_string()),
        ("bench.at_least", cycle.n_at_least.to_string()),
    ];
    write(
        out,
        "halfshaft-bench-cycle/1",
        &columns(),
        &rows,
        about,
        &more,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{about, open};

    #[test]
    fn a_step_keeps_what_is_unknown_as_null() {
        let step = BenchStep {
            slip_rad_per_s: Some(4.0),
            torque_nm: None,
            duration_s: 1.5,
            energy_j: 900.0,
            power_w_per_mm2: Some(0.25),
            peak_w_per_mm2: None,
            count: 7,
            pause_s: None,
            oil_temp_c: Some(80.0),
        };
        let cycle = BenchCycle {
            steps: vec![step.clone(), BenchStep { count: 8, ..step }],
            n_left_out: 3,
            n_at_least: 1,
        };
        let mut bytes = Vec::new();
        write_bench_cycle(&mut bytes, &cycle, &about()).expect("memory does not fail");
        let table = open(bytes);
        assert_eq!(table.whole("step"), [Some(1), Some(2)]);
        assert_eq!(table.whole("count"), [Some(7), Some(8)]);
        assert_eq!(table.numbers("slip_rad_per_s"), [Some(4.0); 2]);
        assert_eq!(table.numbers("torque_nm"), [None; 2]);
        assert_eq!(table.numbers("energy_j"), [Some(900.0); 2]);
        assert_eq!(table.numbers("pause_s"), [None; 2]);
        assert_eq!(table.note("power_w_per_mm2", "unit"), "W/mm2");
        assert_eq!(table.key("halfshaft.bench.left_out"), "3");
        assert_eq!(table.key("halfshaft.bench.at_least"), "1");
    }

    #[test]
    fn the_page_names_every_column_with_its_unit() {
        crate::testing::page_names(&columns());
    }
}
