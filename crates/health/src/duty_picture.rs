//! The two-dimensional picture: how long and how hot at which torque and slip.
//!
//! In: rows. Out: seconds and joules by cell, and the time that no cell holds: cells, time
//! not turning, time without torque and gaps sum to the time of the drive. The slip is that of
//! the moment, as sharp as its noise allows: a mean over 0.2 s hides the peaks. The edges rise in
//! steps that a lining engineer reads: torque evenly, slip by factors.

use halfshaft_driveline::{HeatByFloor, Row};
use halfshaft_model::{Span, Time};

use crate::nouns::DutyPicture;
use crate::part::{Part, Passage};
use crate::reason::Reason;
use crate::trust::{Gate, HEAT, Kept};

/// Upper edges of the torque cells, N·m. Source: none, a sensible division.
const TORQUE_EDGES: [f64; 11] = [
    50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1250.0, 1500.0,
];

/// Upper edges of the slip cells, rad/s. Source: none, a sensible division; 0.3 is the
/// limit of slipping under load.
const SLIP_EDGES: [f64; 9] = [0.05, 0.1, 0.3, 0.6, 1.0, 2.0, 5.0, 10.0, 20.0];

const N_SLIP: usize = SLIP_EDGES.len() + 1;
const N_CELLS: usize = (TORQUE_EDGES.len() + 1) * N_SLIP;

/// Sums by cell.
#[derive(Clone, Debug)]
pub struct DutySums {
    seconds: Vec<f64>,
    heat: Kept<Vec<HeatByFloor>, HEAT>,
    not_turning_s: f64,
    torque_unknown_s: f64,
    gap_s: f64,
    // First and latest row.
    seen: Option<(Time, Time)>,
}

impl DutyPicture {
    /// All of it, s: the length of the span asked for.
    pub fn total_s(&self) -> f64 {
        let cells: f64 = self.seconds.iter().sum();
        cells + self.not_turning_s + self.torque_unknown_s + self.gap_s
    }
}

impl Default for DutySums {
    fn default() -> DutySums {
        DutySums {
            seconds: vec![0.0; N_CELLS],
            heat: Kept::new(vec![HeatByFloor::default(); N_CELLS]),
            not_turning_s: 0.0,
            torque_unknown_s: 0.0,
            gap_s: 0.0,
            seen: None,
        }
    }
}

impl Part for DutySums {
    fn rows(&mut self, passage: &Passage) {
        passage.rows.iter().for_each(|row| self.add(row));
    }
}

impl DutySums {
    /// Takes a row; only turning wheels with a known torque have a cell.
    pub fn add(&mut self, row: &Row) {
        let (first, latest) = self.seen.unwrap_or((row.time, row.time));
        if !row.is_joined {
            self.gap_s += row.time.since(latest);
        }
        self.seen = Some((first, row.time));
        if !row.is_turning {
            self.not_turning_s += row.seconds;
            return;
        }
        let (Some(torque), Some(work)) = (row.torque_nm, row.work_j) else {
            self.torque_unknown_s += row.seconds;
            return;
        };
        let cell = |edges: &[f64], value: f64| {
            // They are few: to count all is quicker than to search.
            edges
                .iter()
                .map(|edge| usize::from(*edge < value))
                .sum::<usize>()
        };
        let cell = cell(&TORQUE_EDGES, torque) * N_SLIP + cell(&SLIP_EDGES, row.slip_sharp.abs());
        self.seconds[cell] += row.seconds;
        self.heat.gather()[cell].add(work, row.impulse_nms, &row.evidence);
    }

    /// The picture over a span that holds every row, or why there is none.
    pub fn picture(&self, gate: &Gate, span: Span) -> Result<DutyPicture, Reason> {
        let heat = self.heat.ask(gate)?;
        let outside_s = self.seen.map_or(span.seconds(), |(first, latest)| {
            first.since(span.start).max(0.0) + span.end.since(latest).max(0.0)
        });
        Ok(DutyPicture {
            torque_edges_nm: TORQUE_EDGES.to_vec(),
            slip_edges: SLIP_EDGES.to_vec(),
            seconds: self.seconds.clone(),
            joules: heat
                .iter()
                .map(|heat| heat.heat_j(gate.slip_sd()))
                .collect(),
            not_turning_s: self.not_turning_s,
            torque_unknown_s: self.torque_unknown_s,
            gap_s: self.gap_s + outside_s,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;
    use halfshaft_driveline::Evidence;

    #[test]
    fn a_row_falls_into_its_cell_by_time_and_by_heat() {
        let mut sums = DutySums::default();
        for index in 0..100 {
            let mut row = row(f64::from(index) * 0.01);
            // A mean over 0.2 s hides how fast it slips.
            (row.torque_nm, row.slip_mean, row.slip_sharp) = (Some(450.0), -0.9, -3.0);
            (row.work_j, row.impulse_nms) = (Some(-13.5), 4.5);
            row.evidence = Evidence::new([-9.0; 4]);
            sums.add(&row);
        }
        let span = Span {
            start: Time(0),
            end: Time::from_seconds(1.0),
        };
        let picture = sums.picture(&crate::testing::gate(&[]), span).unwrap();
        // Torque cell 6 (400 to 600), slip cell 6 (2 to 5): 1 s and 1350 J.
        let cell = 6 * N_SLIP + 6;
        assert!((picture.seconds[cell] - 1.0).abs() < 1e-9);
        assert!((picture.joules[cell] - 1350.0).abs() < 1e-6);
        assert!((picture.seconds.iter().sum::<f64>() - 1.0).abs() < 1e-9);
    }

    /// Rows at these times, joined where they are no more than 0.25 s apart.
    fn rows(times: &[f64], torque_nm: impl Fn(f64) -> Option<f64>) -> DutySums {
        let mut sums = DutySums::default();
        let near = |one: f64, next: f64| (next - one) <= 0.25;
        for (index, time) in times.iter().enumerate() {
            let before = index.checked_sub(1).map(|before| times[before]);
            let after = times.get(index + 1);
            let mut row = row(*time);
            row.is_joined = before.is_some_and(|before| near(before, *time));
            let half = |from: f64, to: f64| {
                if near(from, to) {
                    0.5 * (to - from)
                } else {
                    0.0
                }
            };
            row.seconds = before.map_or(0.0, |before| half(before, *time))
                + after.map_or(0.0, |after| half(*time, *after));
            row.is_turning = *time >= 0.5;
            row.torque_nm = torque_nm(*time);
            row.work_j = row.torque_nm.map(|_| 0.0);
            sums.add(&row);
        }
        sums
    }

    #[test]
    fn cells_and_what_no_cell_holds_sum_to_the_drive() {
        // Derived: 10 Hz to 2 s, a gap to 5 s, 100 Hz to 6 s; torque unknown from 5.5 s.
        let times: Vec<f64> = (0..=20)
            .map(|index| f64::from(index) * 0.1)
            .chain((0..=100).map(|index| 5.0 + f64::from(index) * 0.01))
            .collect();
        let sums = rows(&times, |time| match time {
            _ if time >= 5.5 => None,
            _ if time >= 4.0 => Some(700.0),
            _ => Some(30.0),
        });
        let span = Span {
            start: Time(0),
            end: Time::from_seconds(7.0),
        };
        let got = sums.picture(&crate::testing::gate(&[]), span).unwrap();
        let near = |value: f64, wanted: f64| (value - wanted).abs() < 1e-9;
        assert!(near(got.total_s(), 7.0), "{}", got.total_s());
        // 3 s of gap and 1 s after the latest row; rows stand for half of each side.
        assert!(near(got.gap_s, 4.0), "{}", got.gap_s);
        assert!(near(got.not_turning_s, 0.45), "{}", got.not_turning_s);
        assert!(
            near(got.torque_unknown_s, 0.505),
            "{}",
            got.torque_unknown_s
        );
        // By time the quiet torque has three quarters, by number of rows a quarter.
        let by_torque =
            |cell: usize| -> f64 { got.seconds[cell * N_SLIP..][..N_SLIP].iter().sum() };
        assert!(near(by_torque(0), 1.55), "{}", by_torque(0));
        assert!(near(by_torque(7), 0.495), "{}", by_torque(7));
        let none = DutySums::default()
            .picture(&crate::testing::gate(&[]), span)
            .unwrap();
        assert_eq!((none.gap_s, none.total_s()), (7.0, 7.0));
    }
}
