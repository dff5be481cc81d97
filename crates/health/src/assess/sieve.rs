//! The way of a row to the parts: what stood still is taken out of it, then it is known whether
//! it was driving, then what all parts need of it is worked out once.
//!
//! ```text
//! Row -> other pack? -> StillWatch -> believed -> Parting -> driving -> Passage
//! ```

use halfshaft_driveline::{Basis, Row};
use halfshaft_model::Time;

use super::board::Board;
use crate::change::TorqueChange;
use crate::driving::Parting;
use crate::limits::{Driving, Limits};
use crate::nouns::Region;
use crate::part::Passage;
use crate::partial::{PartialJudgement, PartialLimits};
use crate::regions::RegionSorter;
use crate::trust::{Kept, SLIP, StillWatch};

/// So many rows go from one part to the next at a time: each part is then done with them
/// while its code and its sums are in the cache, and the rows still are, too; and a part is
/// called through its table once for all of them.
const ROWS_AT_A_TIME: usize = 64;

/// What rows go through.
#[derive(Clone, Debug)]
pub(super) struct Sieve {
    pub(super) still: StillWatch,
    pub(super) parting: Parting,
    pub(super) regions: Kept<RegionSorter, SLIP>,
    driving: Driving,
    partial: PartialLimits,
    /// Only of a pack beside the one that was logged.
    pub(super) other_torque: Option<TorqueChange>,
    /// Rows that were passed on since the latest block came, if anybody wants them.
    pub(super) believed: Option<Vec<Row>>,
    /// Time of the latest row of driving, and the noise in its mean.
    pub(super) latest: Option<(Time, f64)>,
    // Kept for their memory: rows of the other pack, rows known to be driving.
    changed: Vec<Row>,
    ready: Vec<Row>,
    judgements: Vec<PartialJudgement>,
    row_regions: Vec<Option<Region>>,
}

impl Sieve {
    /// Nothing seen yet.
    pub(super) fn new(
        basis: &Basis,
        is_torque_of_state: bool,
        partial: PartialLimits,
        limits: &Limits,
    ) -> Sieve {
        Sieve {
            still: StillWatch::new(basis, is_torque_of_state, limits),
            parting: Parting::new(basis, limits),
            regions: Kept::new(RegionSorter::new(limits)),
            driving: limits.driving,
            partial,
            other_torque: None,
            believed: None,
            latest: None,
            changed: Vec::new(),
            ready: Vec::new(),
            judgements: Vec::new(),
            row_regions: Vec::new(),
        }
    }

    /// Torque of one pack above which slip counts as partial engagement, N·m.
    pub(super) fn torque_floor_nm(&self) -> f64 {
        self.partial.torque_floor_nm()
    }

    /// Takes rows as they were derived.
    pub(super) fn pass(&mut self, rows: &[Row], board: &mut Board) {
        let mut changed = std::mem::take(&mut self.changed);
        for rows in rows.chunks(ROWS_AT_A_TIME) {
            let mut rest = rows;
            if let Some(change) = &self.other_torque {
                changed.clear();
                changed.extend_from_slice(rows);
                changed.iter_mut().for_each(|row| change.apply(row));
                rest = &changed;
            }
            while !rest.is_empty() {
                let n_plain = self.still.n_plain(rest);
                let (plain, others) = rest.split_at(n_plain);
                self.believe(plain, board);
                rest = others;
                if let Some((row, others)) = rest.split_first() {
                    let mut known = Vec::new();
                    self.still.take(row, &mut |row| known.push(row));
                    self.believe(&known, board);
                    rest = others;
                }
            }
        }
        self.changed = changed;
    }

    /// The log has ended: nothing is waited for any longer.
    pub(super) fn finish(&mut self, board: &mut Board) {
        let mut known = Vec::new();
        self.still.finish(&mut |row| known.push(row));
        for rows in known.chunks(ROWS_AT_A_TIME) {
            self.believe(rows, board);
        }
        self.part(board, |parting, take| parting.finish(take));
    }

    /// Rows without what stood still go on.
    fn believe(&mut self, rows: &[Row], board: &mut Board) {
        if rows.is_empty() {
            return;
        }
        if let Some(believed) = &mut self.believed {
            believed.extend_from_slice(rows);
        }
        board.each(|part| part.believed(rows));
        let mut rest = rows;
        while let Some(row) = rest.first() {
            let is_plain = |row: &Row| self.parting.is_plain(row);
            let n_plain = rest.iter().take_while(|row| is_plain(row)).count();
            if n_plain == 0 {
                self.part(board, |parting, take| parting.add(*row, take));
            }
            self.drive(&rest[..n_plain], board);
            rest = &rest[n_plain.max(1)..];
        }
    }

    /// Takes what the parting hands on as driving.
    fn part(&mut self, board: &mut Board, hand_on: impl FnOnce(&mut Parting, &mut dyn FnMut(Row))) {
        let mut ready = std::mem::take(&mut self.ready);
        hand_on(&mut self.parting, &mut |row| ready.push(row));
        for rows in ready.chunks(ROWS_AT_A_TIME) {
            self.drive(rows, board);
        }
        ready.clear();
        self.ready = ready;
    }

    /// Hands rows of driving to the parts, not many at once.
    fn drive(&mut self, rows: &[Row], board: &mut Board) {
        let Some(last) = rows.last() else { return };
        self.latest = Some((last.time, last.noise_in_mean));
        let moving_from = self.driving.moving_from();
        let moves = |row: &Row| row.road_speed.is_some_and(|speed| speed > moving_from);
        self.judgements.clear();
        self.judgements.extend(rows.iter().map(|row| {
            self.partial.see(row);
            self.partial.judge(row)
        }));
        self.row_regions.clear();
        let sorter = self.regions.gather();
        self.row_regions
            .extend(rows.iter().map(|row| moves(row).then(|| sorter.sort(row))));
        let passage = Passage {
            rows,
            judgements: &self.judgements,
            regions: &self.row_regions,
            partial: &self.partial,
        };
        board.each(|part| part.rows(&passage));
        board.look_closely(rows);
    }
}
