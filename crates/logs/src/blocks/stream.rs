//! A stream to the blocks of pcapng, past whatever is damaged.
//!
//! In: bytes. Out: whole blocks, each a type, a length, a body and the same length again, and
//! how many bytes lie in none. After damage the stream goes on with the next bytes that look
//! like a block of a known type. A block that claims to be longer than [`LONGEST`] is damage,
//! so that memory does not depend on what the bytes claim.

use std::io::{self, Read};

use super::{
    BYTE_ORDER, Fields, INTERFACE, JOURNAL, OLD_PACKET, Options, Order, PACKET, SECTION_HEADER,
    SIMPLE_PACKET, STATISTICS,
};
use crate::intake::PIECE;

/// The longest block: 1 MiB. A frame of a bus has some hundred bytes, names and notes of a whole
/// drive some thousands.
const LONGEST: u32 = 1 << 20;

/// The shortest block: type, length, and length again.
const SHORTEST: u32 = 12;

/// What comes next.
pub(crate) enum Next<'a> {
    /// A block.
    Block(Block<'a>),
    /// Bytes that are in no block. More of the same stretch may follow.
    Damage {
        /// The first of them.
        at: u64,
        /// How many.
        n: u64,
    },
    /// The beginning of a block, and the input ends.
    Torn {
        /// Its first byte.
        at: u64,
        /// How many there are.
        n: u64,
    },
    /// Nothing more.
    End,
}

/// A whole block.
pub(crate) struct Block<'a> {
    /// Its first byte in the input.
    pub at: u64,
    /// Its type.
    pub kind: u32,
    /// What stands between its two lengths.
    pub body: Fields<'a>,
}

impl<'a> Block<'a> {
    /// Of a packet block, new or old, the packet and the options behind it.
    pub fn packet(&self) -> Option<(&'a [u8], Options<'a>)> {
        let length = self.body.u32(12)? as usize;
        let packet = self.body.bytes.get(20..)?.get(..length)?;
        let options = self.body.options(20 + length.next_multiple_of(4));
        Some((packet, options))
    }
}

/// Parts a stream into blocks.
pub(crate) struct Blocks<R> {
    source: R,
    buffer: Vec<u8>,
    // What of the buffer was given on, and where in the input the rest begins.
    start: usize,
    at: u64,
    is_over: bool,
    failure: Option<io::Error>,
    order: Order,
    // In the midst of damage.
    is_lost: bool,
}

/// What stands at a place.
enum Found {
    Block { kind: u32, length: usize },
    // What may be a block, and the input ends within it.
    Cut,
    Nothing,
}

impl<R: Read> Blocks<R> {
    /// The blocks of a stream.
    pub fn new(source: R) -> Blocks<R> {
        Blocks {
            source,
            buffer: Vec::new(),
            start: 0,
            at: 0,
            is_over: false,
            failure: None,
            order: Order::Little,
            is_lost: false,
        }
    }

    /// Bytes given on so far.
    pub fn n_bytes(&self) -> u64 {
        self.at
    }

    /// Why there was nothing more, if it was not the end.
    pub fn take_failure(&mut self) -> Option<io::Error> {
        self.failure.take()
    }

    /// Reads nothing more, for this reason.
    pub fn stop(&mut self, reason: io::Error) {
        self.is_over = true;
        self.failure = Some(reason);
        self.buffer.truncate(self.start);
    }

    /// What comes next. Damage is given on piece by piece, so that noise cannot keep this call
    /// from returning.
    pub fn next(&mut self) -> Next<'_> {
        let mut is_cut = false;
        if !self.is_lost {
            match self.find(false) {
                Found::Block { kind, length } => return self.give(kind, length),
                Found::Cut if self.n_left() == 0 => return Next::End,
                Found::Cut => is_cut = true,
                Found::Nothing => {}
            }
        }
        let (at, mut n) = (self.at, 0);
        loop {
            // What was lost begins with no block; from the next byte on one may begin.
            if n > 0 || self.is_lost {
                if self.n_left() == 0 && !self.has(1) {
                    self.is_lost = false;
                    return match (n, is_cut) {
                        (0, _) => Next::End,
                        (_, true) => Next::Torn { at, n },
                        (_, false) => Next::Damage { at, n },
                    };
                }
                if let Found::Block { kind, length } = self.find(true) {
                    self.is_lost = false;
                    return match n {
                        0 => self.give(kind, length),
                        _ => Next::Damage { at, n },
                    };
                }
            }
            // Of a block that is cut no more is left than a block may have.
            if n >= PIECE as u64 && !is_cut {
                self.is_lost = true;
                return Next::Damage { at, n };
            }
            self.start += 1;
            self.at += 1;
            n += 1;
        }
    }

    fn give(&mut self, kind: u32, length: usize) -> Next<'_> {
        let (start, at) = (self.start, self.at);
        self.start += length;
        self.at += length as u64;
        Next::Block(Block {
            at,
            kind,
            body: Fields {
                bytes: &self.buffer[start + 8..start + length - 4],
                order: self.order,
            },
        })
    }

    fn n_left(&self) -> usize {
        self.buffer.len() - self.start
    }

    /// Whether so many bytes are there, read on where they are not.
    fn has(&mut self, n: usize) -> bool {
        while self.n_left() < n && !self.is_over {
            if self.start >= PIECE {
                self.buffer.drain(..self.start);
                self.start = 0;
            }
            let length = self.buffer.len();
            self.buffer.resize(length + PIECE, 0);
            let read = self.source.read(&mut self.buffer[length..]);
            let n_read = *read.as_ref().unwrap_or(&0);
            self.buffer.truncate(length + n_read);
            match read {
                Ok(n_read) => self.is_over = n_read == 0,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => {
                    self.is_over = true;
                    self.failure = Some(error);
                }
            }
        }
        self.n_left() >= n
    }

    fn here(&self, order: Order) -> Fields<'_> {
        let bytes = &self.buffer[self.start..];
        Fields { bytes, order }
    }

    /// The block that begins here; one of a known type and of a size that it can have, where
    /// anything may stand here.
    fn find(&mut self, is_anything: bool) -> Found {
        if !self.has(SHORTEST as usize) {
            return Found::Cut;
        }
        let Some(kind) = self.here(self.order).u32(0) else {
            return Found::Cut;
        };
        if is_anything && !is_known(kind) {
            return Found::Nothing;
        }
        let mut order = self.order;
        if kind == SECTION_HEADER {
            let both = [Order::Little, Order::Big];
            let found = both
                .into_iter()
                .find(|&order| self.here(order).u32(8) == Some(BYTE_ORDER));
            match found {
                Some(found) => order = found,
                None => return Found::Nothing,
            }
        }
        let Some(length) = self.here(order).u32(4) else {
            return Found::Cut;
        };
        let is_size = (shortest(kind)..=LONGEST).contains(&length) && length % 4 == 0;
        if !is_size {
            return Found::Nothing;
        }
        let n = length as usize;
        if !self.has(n) {
            return Found::Cut;
        }
        if self.here(order).u32(n - 4) != Some(length) {
            return Found::Nothing;
        }
        self.order = order;
        Found::Block { kind, length: n }
    }
}

fn is_known(kind: u32) -> bool {
    // Names, secrets and blocks of makers are passed over; each is a place to go on from.
    const OTHERS: [u32; 4] = [4, 10, 0x0000_0BAD, 0x4000_0BAD];
    shortest(kind) > SHORTEST || OTHERS.contains(&kind)
}

/// How short a block of a type can be.
fn shortest(kind: u32) -> u32 {
    SHORTEST
        + match kind {
            SECTION_HEADER => 16,
            INTERFACE => 8,
            OLD_PACKET | PACKET => 20,
            SIMPLE_PACKET | JOURNAL => 4,
            STATISTICS => 12,
            _ => 0,
        }
}
