//! Bins on a grid of time whose number stays bounded: when there are too many, neighbours
//! merge and the grid becomes twice as wide.
//!
//! In: contents with the index of their cell, in order. Out: the bins. Cells that nothing
//! fell into take no place. What comes out depends on the cells alone and on nothing else.

use super::CELL_S;

/// Contents of a bin that can take those of the next one.
pub trait Pool {
    /// Takes the contents of a later cell into this one.
    fn pool(&mut self, later: &Self);
}

/// Most bins kept: 2.3 h in cells of half a second, then the width doubles.
pub const MOST_BINS: usize = 16_384;

/// Invariant: indices rise, and there are at most [`MOST_BINS`].
#[derive(Clone, Debug)]
pub struct Grid<T> {
    // Cells in a bin, as a power of two.
    doublings: u32,
    bins: Vec<(u64, T)>,
}

impl<T> Default for Grid<T> {
    fn default() -> Grid<T> {
        Grid {
            doublings: 0,
            bins: Vec::new(),
        }
    }
}

impl<T: Pool + Clone> Grid<T> {
    /// Takes the contents of a cell; an earlier cell than the latest counts into the latest.
    pub fn take(&mut self, cell: u64, contents: T) {
        let index = cell >> self.doublings;
        match self.bins.last_mut() {
            Some((last, bin)) if *last >= index => bin.pool(&contents),
            _ => self.bins.push((index, contents)),
        }
        while self.bins.len() > MOST_BINS {
            self.widen();
        }
    }

    /// Width of a bin, s.
    pub fn width_s(&self) -> f64 {
        CELL_S * (1_u64 << self.doublings.min(63)) as f64
    }

    /// Index and contents of every bin that holds something, in order. Bin `index` covers
    /// `index·width..(index + 1)·width` on the vehicle's clock.
    pub fn bins(&self) -> &[(u64, T)] {
        &self.bins
    }

    /// The same in wider bins: of at least `width_s`, and at most `most` of them.
    pub fn coarse(&self, width_s: f64, most: usize) -> Grid<T> {
        let mut coarse = self.clone();
        while coarse.width_s() < width_s || coarse.bins.len() > most.max(1) {
            coarse.widen();
        }
        coarse
    }

    fn widen(&mut self) {
        self.doublings += 1;
        let mut wide: Vec<(u64, T)> = Vec::with_capacity(self.bins.len() / 2 + 1);
        for (index, contents) in self.bins.drain(..) {
            match wide.last_mut() {
                Some((last, bin)) if *last == index / 2 => bin.pool(&contents),
                _ => wide.push((index / 2, contents)),
            }
        }
        self.bins = wide;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Clone, Debug, PartialEq)]
    struct Count(u64);

    impl Pool for Count {
        fn pool(&mut self, later: &Count) {
            self.0 += later.0;
        }
    }

    #[test]
    fn it_stays_bounded_and_loses_nothing() {
        let mut grid = Grid::default();
        // With holes, so that merging does not always halve.
        let cells = (0..200_000_u64).filter(|cell| cell % 7 < 3);
        let mut n = 0;
        for cell in cells {
            grid.take(cell, Count(1));
            n += 1;
            assert!(grid.bins().len() <= MOST_BINS);
        }
        assert_eq!(grid.bins().iter().map(|(_, bin)| bin.0).sum::<u64>(), n);
        assert!(grid.bins().windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert_eq!(grid.width_s(), 8.0);
        // Every bin lies where its cells lay: bin 1 holds cells 16 to 31.
        let wanted = (16..32).filter(|cell| cell % 7 < 3).count() as u64;
        assert_eq!(grid.bins()[1], (1, Count(wanted)));
    }

    #[test]
    fn a_clock_that_leaps_years_takes_no_room() {
        let mut grid = Grid::default();
        for leap in 0..100_u64 {
            grid.take(leap << 50, Count(1));
        }
        assert_eq!(grid.bins().len(), 100);
        assert!((1..=10).contains(&grid.coarse(2.0, 10).bins().len()));
    }
}
