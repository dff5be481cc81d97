//! Parts rows that share one stamp: they lie evenly between it and the next.
//!
//! A logger that writes whole seconds or tenths of one gives many rows the same stamp; their order
//! says the rest. Rows of one stamp that fill other columns are one moment in several rows, and
//! stay together. In: rows in order of their stamps. Out: the same with stamps that rise.

use halfshaft_model::Stamp;

use super::order::{Held, Item};

/// Rows of one stamp that are parted at most; with more of them the clock stands still.
const MOST_ALIKE: usize = 4096;

/// Rows on their way out.
#[derive(Default)]
pub(crate) struct Spread {
    // Rows of the latest stamp.
    run: Vec<Item>,
    // Rows of the first stamp of all. The sheet may have begun between two ticks of its clock, so
    // they wait for the next to say how far apart rows are.
    first: Vec<Item>,
    // The shortest step between two stamps, and how far apart rows were in the latest one, ns.
    tick_ns: Option<i64>,
    apart_ns: Option<i64>,
    // A stamp at which the clock stands still.
    still: Option<Stamp>,
}

impl Spread {
    /// Takes a row; gives those of the stamp before.
    pub fn take(&mut self, item: Item, out: &mut impl FnMut(Item)) {
        if matches!(item.held, Held::Frame { .. }) || self.still == Some(item.stamp()) {
            out(item);
            return;
        }
        self.still = None;
        let latest = self.run.first().map(Item::stamp);
        if latest.is_some_and(|latest| latest != item.stamp()) {
            self.end_run(Some(item.stamp()), out);
        }
        self.run.push(item);
        if self.run.len() > MOST_ALIKE {
            self.still = latest;
            self.first.drain(..).for_each(&mut *out);
            self.run.drain(..).for_each(out);
        }
    }

    /// Gives the rest: no row follows.
    pub fn finish(&mut self, out: &mut impl FnMut(Item)) {
        self.end_run(None, out);
        self.first.drain(..).for_each(out);
    }

    fn end_run(&mut self, next: Option<Stamp>, out: &mut impl FnMut(Item)) {
        let Some(start) = self.run.first().map(Item::stamp) else {
            return;
        };
        let step_ns = next
            .map(|next| next.0.saturating_sub(start.0))
            .filter(|step| *step > 0);
        let is_first_of_all = self.tick_ns.is_none();
        if let Some(step_ns) = step_ns {
            self.tick_ns = Some(self.tick_ns.map_or(step_ns, |tick| tick.min(step_ns)));
        }
        let n = moments(&mut self.run);
        if n > 1 && is_first_of_all && step_ns.is_some() {
            self.first.append(&mut self.run);
            return;
        }
        // Before a silence, and at the end, rows are as far apart as they were.
        let is_whole = |step: &i64| self.tick_ns.is_none_or(|tick| *step < tick + tick / 2);
        let even_ns = step_ns.filter(is_whole).map(|step| step / n);
        let apart_ns = even_ns.or(self.apart_ns).unwrap_or(0);
        self.apart_ns = Some(apart_ns);
        if let Some(begin) = self.first.first().map(Item::stamp) {
            let n = self.first.last().map_or(0, |last| last.moment) + 1;
            let step_ns = start.0.saturating_sub(begin.0);
            let apart_ns = apart_ns.min(step_ns / n);
            give(
                &mut self.first,
                Stamp(start.0 - n * apart_ns),
                apart_ns,
                out,
            );
        }
        give(&mut self.run, start, apart_ns, out);
    }
}

/// Numbers the moments among rows of one stamp, in the order of rows: a column that is filled again
/// begins another. Gives how many there are; rows are put in their order.
fn moments(run: &mut [Item]) -> i64 {
    let mut next: Vec<i64> = Vec::new();
    let mut n = 1;
    if run.len() > 1 {
        for item in &mut *run {
            let Held::Cells(cells) = &item.held else {
                continue;
            };
            next.resize(next.len().max(cells.len()), 0);
            let filled = || cells.iter().enumerate().filter(|(_, cell)| !cell.is_nan());
            item.moment = filled().map(|(at, _)| next[at]).max().unwrap_or(0);
            filled().for_each(|(at, _)| next[at] = item.moment + 1);
            n = n.max(item.moment + 1);
        }
        run.sort_by_key(|item| item.moment);
    }
    n
}

fn give(run: &mut Vec<Item>, start: Stamp, apart_ns: i64, out: &mut impl FnMut(Item)) {
    for mut item in run.drain(..) {
        item.key.0 = Stamp(start.0 + item.moment * apart_ns);
        out(item);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows `stamp cell cell`, `-` for no cell; gives the stamps in ms as they come out.
    #[track_caller]
    fn check(rows: &str, expected: &[i64]) {
        let mut spread = Spread::default();
        let mut stamps = Vec::new();
        let mut out = |item: Item| stamps.push((item.stamp().seconds() * 1e3).round() as i64);
        for (line, row) in (1..).zip(rows.split(',')) {
            let mut words = row.split_whitespace();
            let number = |word: &str| word.parse().unwrap_or(f64::NAN);
            let stamp = Stamp::from_seconds(words.next().map_or(0.0, number));
            let cells = Held::Cells(words.map(number).collect());
            spread.take(Item::new(stamp, line, cells), &mut out);
        }
        spread.finish(&mut out);
        assert_eq!(stamps, expected, "{rows}");
    }

    #[test]
    fn rows_of_one_stamp_lie_evenly_up_to_the_next() {
        check("0 1,0 1,1 1,1 1,2 1,2 1", &[0, 500, 1000, 1500, 2000, 2500]);
        // What is apart already stays where it is.
        check("0 1,0.1 1,0.2 1,0.35 1", &[0, 100, 200, 350]);
        check("", &[0]);
    }

    #[test]
    fn a_sheet_that_begins_or_pauses_between_ticks_keeps_its_rate() {
        check(
            "0 1,1 1,1 1,1 1,1 1,2 1,2 1,9 1,9 1,9 1,9 1,10 1",
            &[
                0, 1000, 1250, 1500, 1750, 2000, 2250, 9000, 9250, 9500, 9750, 10_000,
            ],
        );
        check(
            "0 1,0 1,1 1,1 1,1 1,1 1,2 1",
            &[500, 750, 1000, 1250, 1500, 1750, 2000],
        );
    }

    #[test]
    fn rows_that_fill_other_columns_are_one_moment() {
        check("0 1 -,0 - 1,1 1 -,1 - 1", &[0, 0, 1000, 1000]);
        check(
            "0 1 -,0 - 1,0 2 -,0 - 2,1 1 1,1 2 2,2 1 1",
            &[0, 0, 500, 500, 1000, 1500, 2000],
        );
    }

    #[test]
    fn a_clock_that_stands_still_is_left_standing() {
        let mut spread = Spread::default();
        let mut n_out = 0;
        for line in 0..10_000 {
            let cells = Held::Cells(vec![1.0]);
            spread.take(Item::new(Stamp(7), line, cells), &mut |item| {
                assert_eq!(item.stamp(), Stamp(7));
                n_out += 1;
            });
        }
        assert_eq!(n_out, 10_000);
    }
}
