//! Puts rows that are out of order by less than two seconds back in order, and parts those that share
//! a stamp.
//!
//! A row is held until a row two seconds younger has come. A row older than that is not
//! sorted: what is held goes out, and the step back is left to the timeline, which
//! parts a clock that was set from a row that came late.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::spread::Spread;
use halfshaft_model::constants::{LONGEST_CAN_PAYLOAD, NS_PER_S};
use halfshaft_model::{Batch, FrameFlags, FrameId, FrameKind, Stamp};

/// How far a row may be out of order: 2 s. Source: none, engineering guess; loggers
/// flush their channels in blocks of up to a second.
pub(crate) const WINDOW_NS: i64 = 2 * NS_PER_S;

/// Rows held at most, so that a sheet whose clock stands still costs no memory.
const MOST_HELD: usize = 65_536;

/// What a row says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Held {
    /// Cells, with NaN where nothing is written.
    Cells(Vec<f64>),
    /// A frame.
    Frame {
        bus: u16,
        id: FrameId,
        payload: [u8; LONGEST_CAN_PAYLOAD],
        length: u8,
    },
}

/// A row on its way out, and the line it stands on.
pub(crate) struct Item {
    // Stamp and line: rows of one stamp keep their order.
    pub key: (Stamp, u64),
    pub held: Held,
    /// Which of several moments with its stamp it is.
    pub moment: i64,
}

impl Item {
    pub fn new(stamp: Stamp, line: u64, held: Held) -> Item {
        Item {
            key: (stamp, line),
            held,
            moment: 0,
        }
    }

    /// When it was taken.
    pub fn stamp(&self) -> Stamp {
        self.key.0
    }

    /// Writes it into a batch.
    pub fn write(&self, sheet: u16, batch: &mut Batch) {
        let (stamp, line) = self.key;
        batch.set_line(line);
        match &self.held {
            Held::Cells(cells) => {
                let cells = cells.iter().map(|&cell| (!cell.is_nan()).then_some(cell));
                batch.push_row(stamp, sheet, cells);
            }
            Held::Frame {
                bus,
                id,
                payload,
                length,
            } => {
                let payload = &payload[..usize::from(*length).min(LONGEST_CAN_PAYLOAD)];
                // More than eight bytes are only possible in a CAN FD frame.
                let flags = FrameFlags {
                    fd: payload.len() > 8,
                    ..FrameFlags::default()
                };
                batch.push_frame(stamp, *bus, *id, FrameKind::Data, flags, payload);
            }
        }
    }
}

impl PartialEq for Item {
    fn eq(&self, other: &Item) -> bool {
        self.key == other.key
    }
}
impl Eq for Item {}
impl PartialOrd for Item {
    fn partial_cmp(&self, other: &Item) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Item {
    fn cmp(&self, other: &Item) -> std::cmp::Ordering {
        self.key.cmp(&other.key)
    }
}

/// Rows on their way out.
pub(crate) struct Order {
    sheet: u16,
    held: BinaryHeap<Reverse<Item>>,
    latest: Option<Stamp>,
    spread: Spread,
    spare: Vec<Vec<f64>>,
}

impl Order {
    pub fn new(sheet: u16) -> Order {
        Order {
            sheet,
            held: BinaryHeap::new(),
            latest: None,
            spread: Spread::default(),
            spare: Vec::new(),
        }
    }

    /// An empty list for cells, used before if there is one.
    pub fn cells(&mut self) -> Vec<f64> {
        self.spare.pop().unwrap_or_default()
    }

    /// Takes a row and lets go those that nothing can come before; `true` when the row
    /// was out of order and could be sorted.
    pub fn take(
        &mut self,
        stamp: Stamp,
        line: u64,
        held: Held,
        out: &mut impl FnMut(&Item),
    ) -> bool {
        let latest = self.latest.unwrap_or(stamp);
        let behind_ns = latest.0.saturating_sub(stamp.0);
        if behind_ns > WINDOW_NS {
            self.flush(out);
            self.latest = Some(stamp);
        } else {
            self.latest = Some(latest.max(stamp));
        }
        self.held.push(Reverse(Item::new(stamp, line, held)));
        let latest = self.latest.unwrap_or(stamp);
        while let Some(Reverse(first)) = self.held.peek() {
            if self.held.len() <= MOST_HELD && latest.0.saturating_sub(first.key.0.0) < WINDOW_NS {
                break;
            }
            self.let_go(out);
        }
        behind_ns > 0 && behind_ns <= WINDOW_NS
    }

    /// Lets all rows go.
    pub fn flush(&mut self, out: &mut impl FnMut(&Item)) {
        while !self.held.is_empty() {
            self.let_go(out);
        }
        self.spread.finish(&mut giving(&mut self.spare, out));
    }

    fn let_go(&mut self, out: &mut impl FnMut(&Item)) {
        if let Some(Reverse(item)) = self.held.pop() {
            self.spread.take(item, &mut giving(&mut self.spare, out));
        }
    }

    /// Index of the sheet the rows belong to.
    pub fn sheet(&self) -> u16 {
        self.sheet
    }
}

/// Gives a row on and keeps the memory of its cells.
fn giving(spare: &mut Vec<Vec<f64>>, out: &mut impl FnMut(&Item)) -> impl FnMut(Item) {
    move |item| {
        out(&item);
        if let Held::Cells(mut cells) = item.held {
            // A held row is reused soon; many at once come only after a clock that stood still.
            if spare.len() < 16 {
                cells.clear();
                spare.push(cells);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds stamps in seconds; gives them as they come out, and how many were out of order.
    #[track_caller]
    fn check(stamps: &[f64], expected: &[f64], n_sorted: usize) {
        let mut order = Order::new(0);
        let mut out = Vec::new();
        let mut n = 0;
        let mut take_out = |item: &Item| out.push(item.stamp().seconds());
        for (line, &stamp) in (1..).zip(stamps) {
            let cells = Held::Cells(order.cells());
            let was_late = order.take(Stamp::from_seconds(stamp), line, cells, &mut take_out);
            n += usize::from(was_late);
        }
        order.flush(&mut take_out);
        assert_eq!((out.as_slice(), n), (expected, n_sorted));
    }

    #[test]
    fn rows_within_two_seconds_are_sorted_and_older_ones_left() {
        check(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], 0);
        check(&[1.0, 3.0, 1.5, 2.9, 9.0], &[1.0, 1.5, 2.9, 3.0, 9.0], 2);
        check(
            &[10.0, 11.0, 3.0, 4.0, 3.5],
            &[10.0, 11.0, 3.0, 3.5, 4.0],
            1,
        );
        check(&[], &[], 0);
    }

    #[test]
    fn a_clock_that_stands_still_costs_no_memory() {
        let mut order = Order::new(0);
        let mut n_out = 0_usize;
        for line in 0..200_000 {
            let cells = Held::Cells(order.cells());
            order.take(Stamp(7), line, cells, &mut |_| n_out += 1);
        }
        assert_eq!(n_out, 200_000 - MOST_HELD);
        assert_eq!(order.held.len(), MOST_HELD);
    }
}
