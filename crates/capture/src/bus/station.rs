//! One interface: absent, down or listened to, and back again.
//!
//! It is asked for again and again, so that one that is missing is taken when it comes, and its
//! mode is looked at each time it comes or comes up, because only while it is down can it change.

use std::io;

use nix::errno::Errno;

use super::clocks::FrameClock;
use super::interface::{self, Interface};
use super::listen_only::{AT_ONCE, ListenOnly};
use super::socket::{self, BusFrame, Datagram, Drops};
use crate::recording::State;
use crate::segments::Clocks;

/// Reads of one socket in a round, which empty the fullest receive buffer; what came meanwhile waits
/// for the next round, so that every socket gets its turn.
const READS_A_ROUND: usize = 128;

/// What was heard on one interface.
#[derive(Clone, Copy, Debug)]
pub struct Item {
    /// Which interface, in the order asked for.
    pub interface: u16,
    /// When.
    pub at: Clocks,
    /// What.
    pub what: What,
}

/// A frame, or frames that were not got.
#[derive(Clone, Copy, Debug)]
pub enum What {
    /// A frame.
    Frame(BusFrame),
    /// So many frames were not got.
    Lost(u32),
}

/// One interface.
#[derive(Debug)]
pub struct Station {
    name: String,
    index: u16,
    is_bench: bool,
    state: State,
    socket: Option<ListenOnly>,
    drops: Drops,
    clock: FrameClock,
    // What was said last of it: it is not said again.
    said: String,
}

impl Station {
    /// An interface that was not asked for yet.
    pub fn new(name: &str, index: u16, is_bench: bool, now: Clocks) -> Station {
        Station {
            name: name.to_owned(),
            index,
            is_bench,
            state: State::Absent,
            socket: None,
            drops: Drops::default(),
            clock: FrameClock::new(now),
            said: String::new(),
        }
    }

    /// What it does.
    pub fn state(&self) -> State {
        self.state
    }

    /// Its socket, where it is there.
    pub fn socket(&self) -> Option<&ListenOnly> {
        self.socket.as_ref()
    }

    /// Asks for the interface and does what has become due. What there is to say goes to `say`.
    /// An error: it must not be listened to.
    pub fn ask(&mut self, now: Clocks, say: &mut dyn FnMut(String)) -> Result<(), String> {
        let found = match interface::ask(&self.name) {
            Ok(found) => found,
            Err(error) => {
                self.say_once(
                    format!("{}: could not be asked for: {error}", self.name),
                    say,
                );
                return Ok(());
            }
        };
        let Some(found) = found else {
            // An open socket says so itself, with what is queued in it still to be read.
            if self.socket.is_none() {
                if self.state != State::Absent || self.said.is_empty() {
                    self.say_once(format!("{}: not there; waiting for it", self.name), say);
                }
                self.state = State::Absent;
            }
            return Ok(());
        };
        self.take(&found, now, say)
    }

    /// The interface is there.
    fn take(
        &mut self,
        found: &Interface,
        now: Clocks,
        say: &mut dyn FnMut(String),
    ) -> Result<(), String> {
        let state = match found.is_up {
            true => State::Listening,
            false => State::Down,
        };
        let is_known = self.socket.is_some() && (state == self.state || state == State::Down);
        if !is_known {
            // It is new, or it has come up: its mode may have changed.
            let footing = found.footing(&self.name, self.is_bench);
            let footing = footing.inspect_err(|_| self.close(State::Down))?;
            if self.socket.is_none() {
                match ListenOnly::open(&self.name) {
                    Ok(socket) => {
                        let room = socket.buffer_bytes() / 1024;
                        say(format!("{footing}; receive buffer {room} KiB"));
                        self.socket = Some(socket);
                        self.drops = Drops::default();
                        self.clock = FrameClock::new(now);
                    }
                    Err(error) => {
                        self.say_once(format!("{}: could not be opened: {error}", self.name), say);
                        return Ok(());
                    }
                }
            }
        }
        if state != self.state || self.said.is_empty() {
            let words = match state {
                State::Down => "down; waiting for it to come up",
                _ => "listening",
            };
            self.say_once(format!("{}: {words}", self.name), say);
        }
        self.state = state;
        Ok(())
    }

    /// Takes what has come. Whether all of it was taken: else there is more.
    pub fn read(
        &mut self,
        now: Clocks,
        items: &mut Vec<Item>,
        say: &mut dyn FnMut(String),
    ) -> bool {
        let Some(socket) = &self.socket else {
            return true;
        };
        let mut datagrams: Vec<Datagram> = Vec::new();
        let mut is_drained = false;
        let mut failed = None;
        for _ in 0..READS_A_ROUND {
            match socket.read(&mut datagrams) {
                Ok(AT_ONCE) => {}
                Ok(_) => {
                    is_drained = true;
                    break;
                }
                // An error comes before frames that were queued earlier: they are taken, too.
                Err(error) => failed = Some(error),
            }
        }
        // A count is asked for when nothing waits any more: what waits has an older one.
        let total = match is_drained {
            true => socket.n_dropped().ok().flatten(),
            false => None,
        };
        if !datagrams.is_empty() && self.state != State::Listening {
            // It came up since it was last asked for, perhaps in another mode.
            if let Err(refused) = self.ask(now, say) {
                self.say_once(refused, say);
                return true;
            }
        }
        let now = super::clocks::now();
        self.clock.read_at(now);
        for datagram in &datagrams {
            self.take_datagram(datagram, now, items);
        }
        if let Some(total) = total {
            self.lost(total, now, items);
        }
        match failed {
            Some(error) => {
                self.fail(&error, say);
                true
            }
            None => is_drained,
        }
    }

    fn take_datagram(&mut self, datagram: &Datagram, now: Clocks, items: &mut Vec<Item>) {
        let came_ns = self.clock.frame(datagram.wall_ns, now.monotonic_ns);
        let at = Clocks {
            wall_ns: datagram.wall_ns.unwrap_or(now.wall_ns),
            monotonic_ns: came_ns,
        };
        if let Some(total) = datagram.n_dropped {
            self.lost(total, at, items);
        }
        if let Some(frame) = socket::frame(&datagram.bytes[..datagram.n_bytes]) {
            items.push(Item {
                interface: self.index,
                at,
                what: What::Frame(frame),
            });
        }
    }

    fn lost(&mut self, total: u32, at: Clocks, items: &mut Vec<Item>) {
        let n = self.drops.new_in(total);
        if n > 0 {
            items.push(Item {
                interface: self.index,
                at,
                what: What::Lost(n),
            });
        }
    }

    /// The socket says that something has happened to the interface.
    fn fail(&mut self, error: &io::Error, say: &mut dyn FnMut(String)) {
        match error.raw_os_error().map(Errno::from_raw) {
            // The same socket goes on when it is up again.
            Some(Errno::ENETDOWN) => {
                self.state = State::Down;
                self.say_once(
                    format!("{}: has gone down; waiting for it to come up", self.name),
                    say,
                );
            }
            Some(Errno::ENODEV | Errno::ENXIO) => {
                self.close(State::Absent);
                self.say_once(
                    format!("{}: was removed; waiting for it to come back", self.name),
                    say,
                );
            }
            _ => {
                self.close(State::Absent);
                self.say_once(format!("{}: {error}; opening it anew", self.name), say);
            }
        }
    }

    fn close(&mut self, state: State) {
        self.socket = None;
        self.state = state;
    }

    /// Says something, if it was not the last thing said.
    pub fn say_once(&mut self, words: String, say: &mut dyn FnMut(String)) {
        if words != self.said {
            say(words.clone());
            self.said = words;
        }
    }
}
