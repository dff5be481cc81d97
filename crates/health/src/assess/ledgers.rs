//! Heat by cause, over the whole drive and in bends with the clutch open.

use crate::band::Tolerances;
use crate::ledger::Ledger;
use crate::limits::{SDS_OF_90, Slip};
use crate::part::{Part, Passage};
use crate::partial::is_in_bend;
use crate::sums::is_open;
use crate::trust::{CAUSES, Kept};

/// Both ledgers.
#[derive(Clone, Debug)]
pub(super) struct Ledgers {
    pub(super) all: Kept<Ledger, CAUSES>,
    pub(super) bends: Kept<Ledger, CAUSES>,
}

impl Ledgers {
    /// Both empty.
    pub(super) fn new(resting_nm: Option<f64>, tolerances: &Tolerances, slip: &Slip) -> Ledgers {
        Ledgers {
            all: Kept::new(Ledger::new(resting_nm, SDS_OF_90 * tolerances.bends, slip)),
            bends: Kept::new(Ledger::new(resting_nm, 0.0, slip)),
        }
    }

    /// Another preload, N·m; to be set before the first row.
    pub(super) fn set_preload(&mut self, preload_nm: f64) {
        self.all.gather().set_preload(preload_nm);
        self.bends.gather().set_preload(preload_nm);
    }
}

impl Part for Ledgers {
    fn rows(&mut self, passage: &Passage) {
        let (all, bends) = (self.all.gather(), self.bends.gather());
        passage.rows.iter().for_each(|row| all.add_row(row));
        let in_open_bend = |row: &&_| is_in_bend(row, passage.partial) && is_open(row);
        let rows = passage.rows.iter().filter(in_open_bend);
        rows.for_each(|row| bends.add_row(row));
    }
}
