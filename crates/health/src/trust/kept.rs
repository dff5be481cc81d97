//! A sum that can be added to by anybody and read only through the gate.

use halfshaft_driveline::Row;

use super::{Gate, Sources};
use crate::part::{Came, Part, Passage};
use crate::reason::Reason;

/// A sum and, in its type, the sources it rests on.
///
/// Invariant: there is no way to what is inside but [`Kept::gather`], which needs the sum to be
/// one's own and going on, and [`Kept::ask`], which needs a gate.
#[derive(Clone, Copy, Debug, Default)]
pub struct Kept<T, const ON: Sources>(T);

impl<T, const ON: Sources> Kept<T, ON> {
    /// A sum at its start.
    pub const fn new(inside: T) -> Kept<T, ON> {
        Kept(inside)
    }

    /// To add to it.
    pub fn gather(&mut self) -> &mut T {
        &mut self.0
    }

    /// What is in it, or why that is not believed.
    pub fn ask(&self, gate: &Gate) -> Result<&T, Reason> {
        gate.allows(ON)?;
        Ok(&self.0)
    }

    /// Joins the sum of another stretch to this one.
    pub fn join(&mut self, other: &Kept<T, ON>, join: impl FnOnce(&mut T, &T)) {
        join(&mut self.0, &other.0);
    }

    /// Another kind of sum on the same sources, made of this one.
    pub fn map<U>(&self, make: impl FnOnce(&T) -> U) -> Kept<U, ON> {
        Kept(make(&self.0))
    }
}

impl<T: Part, const ON: Sources> Part for Kept<T, ON> {
    fn block(&mut self, came: &Came) {
        self.0.block(came);
    }

    fn believed(&mut self, rows: &[Row]) {
        self.0.believed(rows);
    }

    fn rows(&mut self, passage: &Passage) {
        self.0.rows(passage);
    }
}
