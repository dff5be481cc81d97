//! Listens to interfaces, on a thread that waits for nobody.
//!
//! In: the names. Out: frames of all of them in the order in which they came, losses, and what
//! became of an interface. Whoever keeps the frames may be held up by a disk; this thread is not,
//! and what waits for the keeper is bounded, counted and said when it is too much.

mod clocks;
mod interface;
mod listen_only;
mod socket;
mod station;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::Sender;
use std::time::Duration;

pub use clocks::now;
pub use socket::BusFrame;
pub use station::{Item, What};

use crate::recording::State;
use crate::segments::Clocks;
use station::Station;

/// Longest wait for a frame: so soon is a wish to end seen.
const LONGEST_WAIT: Duration = Duration::from_millis(100);

/// Rest after a read. Frames come one by one; to take them in handfuls costs a tenth of the work,
/// and even the usual receive buffer holds more than comes meanwhile.
const REST: Duration = Duration::from_millis(8);

/// Interfaces are asked for so often.
const ASK_EVERY_NS: i64 = 250_000_000;

/// Items that may wait for the keeper: a minute of a busy bus, 60 MB.
const MOST_WAITING: usize = 500_000;

/// What the listening thread has to say.
#[derive(Debug)]
pub enum News {
    /// What came.
    Items {
        /// In the order of the monotonic clock; none: it was silent.
        items: Vec<Item>,
        /// Whatever comes later came after this, by the monotonic clock.
        up_to_ns: i64,
    },
    /// What an interface does now.
    State(u16, State),
    /// Something for whoever runs this to read.
    Said(String),
}

/// Listens to interfaces.
#[derive(Debug)]
pub struct Listener {
    stations: Vec<Station>,
    to: Sender<News>,
    n_waiting: Arc<AtomicUsize>,
    held: Held,
}

/// Items that are not given on yet: one of another interface may have come before them.
#[derive(Debug, Default)]
struct Held {
    items: Vec<Item>,
    latest_ns: i64,
}

impl Listener {
    /// Looks at every interface. An error: one of them must not be listened to.
    pub fn open(
        names: &[String],
        is_bench: bool,
        to: Sender<News>,
        n_waiting: Arc<AtomicUsize>,
    ) -> Result<Listener, String> {
        let now = now();
        let mut stations = Vec::new();
        for (name, index) in names.iter().zip(0..) {
            let mut station = Station::new(name, index, is_bench, now);
            // Nobody reads any more: then nothing needs to be said.
            station.ask(now, &mut |words| {
                let _ = to.send(News::Said(words));
            })?;
            let _ = to.send(News::State(index, station.state()));
            stations.push(station);
        }
        Ok(Listener {
            stations,
            to,
            n_waiting,
            held: Held::default(),
        })
    }

    /// Listens until it is to stop.
    pub fn listen(mut self, stop: &AtomicBool) {
        let mut asked_ns = now().monotonic_ns;
        loop {
            let is_last = stop.load(Ordering::Relaxed);
            if !is_last {
                self.wait();
            }
            let round = now();
            let n_before = self.held.items.len();
            let states: Vec<State> = self.stations.iter().map(Station::state).collect();
            let mut horizon_ns = self.read(round);
            if round.monotonic_ns - asked_ns >= ASK_EVERY_NS {
                asked_ns = round.monotonic_ns;
                self.ask(round);
            }
            for ((station, before), index) in self.stations.iter().zip(states).zip(0..) {
                if station.state() != before {
                    let _ = self.to.send(News::State(index, station.state()));
                }
            }
            if is_last {
                horizon_ns = i64::MAX;
            }
            let is_busy = self.held.items.len() > n_before;
            self.give(horizon_ns, round);
            if is_last {
                return;
            }
            if is_busy {
                std::thread::sleep(REST);
            }
        }
    }

    fn wait(&self) {
        let sockets = || self.stations.iter().filter_map(Station::socket);
        let waited = match sockets().next() {
            Some(_) => listen_only::wait(sockets(), LONGEST_WAIT).is_ok(),
            None => false,
        };
        if !waited {
            std::thread::sleep(LONGEST_WAIT);
        }
    }

    /// Reads every socket. The time up to which nothing can come any more.
    fn read(&mut self, round: Clocks) -> i64 {
        let mut horizon_ns = round.monotonic_ns;
        let to = &self.to;
        let mut say = |words| {
            let _ = to.send(News::Said(words));
        };
        for station in &mut self.stations {
            let n_before = self.held.items.len();
            let is_drained = station.read(round, &mut self.held.items, &mut say);
            if !is_drained && let Some(last) = self.held.items[n_before..].last() {
                horizon_ns = horizon_ns.min(last.at.monotonic_ns);
            }
        }
        horizon_ns
    }

    fn ask(&mut self, round: Clocks) {
        let to = &self.to;
        let mut say = |words| {
            let _ = to.send(News::Said(words));
        };
        for station in &mut self.stations {
            if let Err(refused) = station.ask(round, &mut say) {
                station.say_once(refused, &mut say);
            }
        }
    }

    /// Gives on what is certain to be in order.
    fn give(&mut self, horizon_ns: i64, round: Clocks) {
        let mut items = self.held.take(horizon_ns);
        if self.n_waiting.load(Ordering::Relaxed) > MOST_WAITING {
            items = as_lost(&items);
        }
        self.n_waiting.fetch_add(items.len(), Ordering::Relaxed);
        let up_to_ns = horizon_ns.min(round.monotonic_ns);
        let _ = self.to.send(News::Items { items, up_to_ns });
    }
}

impl Held {
    /// Takes out what came up to here, in order of time.
    fn take(&mut self, horizon_ns: i64) -> Vec<Item> {
        self.items.sort_by_key(|item| item.at.monotonic_ns);
        let n = self
            .items
            .partition_point(|item| item.at.monotonic_ns <= horizon_ns);
        let mut items: Vec<Item> = self.items.drain(..n).collect();
        for item in &mut items {
            // One that was stamped before the horizon and queued behind it.
            item.at.monotonic_ns = item.at.monotonic_ns.max(self.latest_ns);
            self.latest_ns = item.at.monotonic_ns;
        }
        items
    }
}

/// Items that the keeper has no time for, as losses: one for each interface.
fn as_lost(items: &[Item]) -> Vec<Item> {
    let mut lost: Vec<(u16, Clocks, u32)> = Vec::new();
    for item in items {
        let n = match item.what {
            What::Frame(_) => 1,
            What::Lost(n) => n,
        };
        match lost.iter_mut().find(|(index, ..)| *index == item.interface) {
            Some((_, at, sum)) => (*at, *sum) = (item.at, sum.saturating_add(n)),
            None => lost.push((item.interface, item.at, n)),
        }
    }
    lost.sort_by_key(|(_, at, _)| at.monotonic_ns);
    let lost = lost.into_iter().map(|(interface, at, n)| Item {
        interface,
        at,
        what: What::Lost(n),
    });
    lost.collect()
}

/// Frames for tests of other modules.
#[cfg(test)]
pub(crate) mod testing {
    use super::{BusFrame, socket};

    /// A classic data frame.
    pub(crate) fn data_frame(id: u32, payload: &[u8]) -> BusFrame {
        let mut bytes = [0; 16];
        bytes[..4].copy_from_slice(&id.to_ne_bytes());
        bytes[4] = payload.len() as u8;
        bytes[8..8 + payload.len()].copy_from_slice(payload);
        socket::frame(&bytes).expect("it has the length of a frame")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(interface: u16, monotonic_ns: i64, n: u32) -> Item {
        Item {
            interface,
            at: Clocks {
                wall_ns: 0,
                monotonic_ns,
            },
            what: What::Lost(n),
        }
    }

    fn times(items: &[Item]) -> Vec<(u16, i64)> {
        let of = |item: &Item| (item.interface, item.at.monotonic_ns);
        items.iter().map(of).collect()
    }

    #[test]
    fn frames_of_two_interfaces_come_out_in_the_order_of_time() {
        let items = [(0, 1), (0, 4), (0, 9), (1, 2), (1, 5)];
        let mut held = Held {
            items: items.map(|(index, at)| item(index, at, 1)).to_vec(),
            latest_ns: 0,
        };
        assert_eq!(times(&held.take(5)), [(0, 1), (1, 2), (0, 4), (1, 5)]);
        // The one at 3 was stamped before the horizon and queued behind it: time does not run back.
        held.items.extend([item(1, 3, 1), item(1, 7, 1)]);
        assert_eq!(times(&held.take(8)), [(1, 5), (1, 7)]);
        assert_eq!(times(&held.take(i64::MAX)), [(0, 9)]);
    }

    #[test]
    fn what_the_keeper_has_no_time_for_is_counted() {
        let items = [(0, 1, 2), (1, 2, 1), (0, 3, 5)].map(|(i, at, n)| item(i, at, n));
        let lost = as_lost(&items);
        assert_eq!(times(&lost), [(1, 2), (0, 3)]);
        let counts = lost.iter().map(|item| match item.what {
            What::Lost(n) => n,
            What::Frame(_) => 0,
        });
        assert_eq!(counts.collect::<Vec<_>>(), [1, 7]);
    }
}
