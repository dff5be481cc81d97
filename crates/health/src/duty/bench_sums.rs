//! What a bench cycle is made from: time, heat and way of slip by power and slip speed.
//!
//! In: rows. Out: [`Cell`]s of power and slip, and the [`Visit`]s to each range of slip. Both go by
//! the slip of the moment: a mean over 0.2 s hides the peaks. A cell of power is so narrow that
//! the mean of the highest one is the peak. What of it is heat and what noise is settled with the
//! drive's own floor, octave of power by octave, once the drive is over; within an octave the floor
//! as it was known by then has to do.

use halfshaft_driveline::{HeatByFloor, Row};
use halfshaft_model::Time;
use halfshaft_model::octaves::steps_above;

use super::limits::BENCH_SLIP_EDGES;
use crate::limits::Slip;
use crate::sums::is_heat;

/// Ranges of slip.
pub(super) const N_SLIP: usize = BENCH_SLIP_EDGES.len() + 1;

/// Lowest power with a cell of its own, W.
const LEAST_W: f64 = 1.0;
/// Cells to a doubling of power: each is at most 1/32, 3.1 %, wide.
const PER_OCTAVE: u64 = 32;
/// Cells of power: up to 2^18 W, which no pack bears.
const N_POWER: usize = N_OCTAVES * PER_OCTAVE as usize;
const N_OCTAVES: usize = 18;

/// A range of slip is left when the pack has not slipped in it for so long, s. Source: none,
/// engineering guess: longer than the flicker at an edge, shorter than the way between two bends.
const QUIET_S: f64 = 1.0;

/// Sums of one cell.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cell {
    pub seconds: f64,
    pub joules: f64,
    pub slip_rad: f64,
    /// Highest power in it, W.
    pub peak_w: f64,
}

/// A moment in which the pack makes heat.
#[derive(Clone, Copy, Debug)]
struct Moment {
    range: usize,
    power: usize,
    rate_w: f64,
    speed: f64,
}

impl Moment {
    fn of(row: &Row, slip: &Slip) -> Option<Moment> {
        let [_, rate_w, _] = row.heat_rate_sharp_w.filter(|_| is_heat(row, slip))?;
        let speed = row.slip_sharp.abs();
        Some(Moment {
            range: BENCH_SLIP_EDGES.partition_point(|edge| *edge < speed),
            power: steps_above(rate_w, LEAST_W, PER_OCTAVE).min(N_POWER - 1),
            rate_w,
            speed,
        })
    }
}

/// A stretch in which the pack slipped in one range of slip.
#[derive(Clone, Copy, Debug)]
pub(super) struct Visit {
    pub start: Time,
    pub end: Time,
    /// Highest cell of power.
    pub power: usize,
    /// A gap cut it off.
    pub is_broken: bool,
}

/// The sums of a drive.
#[derive(Clone, Debug)]
pub struct BenchSums {
    // Range of slip by range of slip, power rising within.
    cells: Vec<Cell>,
    // Heat for any floor, range of slip by range of slip, octave of power rising within.
    octaves: Vec<HeatByFloor>,
    // At the latest sample of the wheels, if it was heat.
    latest: Option<Moment>,
    visits: [Vec<Visit>; N_SLIP],
    // The last of the visits to that range may go on.
    is_open: [bool; N_SLIP],
}

impl Default for BenchSums {
    fn default() -> BenchSums {
        BenchSums {
            cells: vec![Cell::default(); N_SLIP * N_POWER],
            octaves: vec![HeatByFloor::default(); N_SLIP * N_OCTAVES],
            latest: None,
            visits: Default::default(),
            is_open: [false; N_SLIP],
        }
    }
}

impl BenchSums {
    /// Takes a row, of all packs.
    pub fn add(&mut self, row: &Row, slip: &Slip) {
        if !row.is_joined {
            self.interrupt();
        }
        let (true, Some(work_j)) = (row.is_turning, row.work_j) else {
            self.latest = None;
            return;
        };
        // Between two samples of the right wheel only the other wheel is new: the pair shows slip
        // that never was, and the moment before goes on.
        if row.is_wheel_sample {
            self.latest = Moment::of(row, slip);
        }
        let (range, power, joules, slip_rad) = match self.latest {
            Some(Moment {
                range,
                power,
                rate_w,
                speed,
            }) => (range, power, rate_w * row.seconds, speed * row.seconds),
            // Slip that only a long window tells from noise is slow; its power at a moment is
            // nothing but noise.
            None => {
                let sign = row.slip_sign(row.slip_sd.unwrap_or(slip.usual_sd_rad_per_s));
                (0, 0, work_j * sign, row.slip * sign * row.seconds)
            }
        };
        let octave = range * N_OCTAVES + power / PER_OCTAVE as usize;
        self.octaves[octave].add(work_j, row.impulse_nms, &row.evidence);
        if joules == 0.0 {
            return;
        }
        let cell = &mut self.cells[range * N_POWER + power];
        cell.seconds += row.seconds;
        cell.joules += joules;
        cell.slip_rad += slip_rad;
        cell.peak_w = cell
            .peak_w
            .max(self.latest.map_or(0.0, |latest| latest.rate_w));
        self.visit(range, power, row);
    }

    /// A gap ends every visit.
    fn interrupt(&mut self) {
        self.latest = None;
        for (visits, is_open) in self.visits.iter_mut().zip(&mut self.is_open) {
            if std::mem::take(is_open)
                && let Some(visit) = visits.last_mut()
            {
                visit.is_broken = true;
            }
        }
    }

    fn visit(&mut self, range: usize, power: usize, row: &Row) {
        let (visits, is_open) = (&mut self.visits[range], &mut self.is_open[range]);
        match visits.last_mut() {
            Some(visit) if *is_open && row.time.since(visit.end) < QUIET_S => {
                visit.end = row.time;
                visit.power = visit.power.max(power);
            }
            _ => visits.push(Visit {
                start: row.time,
                end: row.time,
                power,
                is_broken: false,
            }),
        }
        *is_open = true;
    }

    /// Cells of a range of slip that hold heat for a floor of `slip_sd` (one sample, rad/s): cell of
    /// power and sums, power rising.
    pub(super) fn cells(&self, range: usize, slip_sd: f64) -> Vec<(usize, Cell)> {
        let mut found = Vec::new();
        for octave in 0..N_OCTAVES {
            let first = octave * PER_OCTAVE as usize;
            let powers = first..first + PER_OCTAVE as usize;
            let of_octave = &self.cells[range * N_POWER..][powers.clone()];
            let so_far_j: f64 = of_octave.iter().map(|cell| cell.joules).sum();
            let settled_j = self.octaves[range * N_OCTAVES + octave].heat_j(slip_sd);
            if so_far_j <= 0.0 || settled_j <= 0.0 {
                continue;
            }
            let share = settled_j / so_far_j;
            for (power, cell) in powers.zip(of_octave).filter(|(_, cell)| cell.seconds > 0.0) {
                let settled = Cell {
                    seconds: cell.seconds * share,
                    joules: cell.joules * share,
                    slip_rad: cell.slip_rad * share,
                    peak_w: cell.peak_w,
                };
                found.push((power, settled));
            }
        }
        found
    }

    /// Visits to a range of slip, in order.
    pub(super) fn visits(&self, range: usize) -> &[Visit] {
        &self.visits[range]
    }
}
