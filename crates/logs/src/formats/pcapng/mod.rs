//! pcapng, the open standard of packet captures: what our recorder keeps, and others too.
//!
//! In: blocks, of either byte order, in one section or several. Out: frames, losses by the
//! recorder's own count, marks. Frames stand in SocketCAN packets (link type 227) or behind a
//! header of Linux (113, 276). A block that is damaged costs itself alone: reading goes on at
//! the next that is whole. Places are bytes.

mod packet;
mod section;

use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Batch, Code, FrameKind, Stamp};

use super::{BATCH, Beginning, Reader, Recognised};
use crate::blocks::*;
use crate::context::Context;
use crate::error::Error;
use crate::intake::{Bytes, Compression, RawCount};
use crate::text::is_bomb;
use packet::{CanFrame, Packet};
use section::Interface;

pub(super) fn recognise(beginning: &Beginning) -> Result<Option<Recognised>, Error> {
    let is_one = beginning.bytes.starts_with(&SECTION_HEADER.to_le_bytes());
    Ok(is_one.then(|| Recognised {
        words: "pcapng".to_owned(),
        parts: "blocks",
        entries: "frames",
        missing: Vec::new(),
        open: Box::new(|bytes| Ok(Box::new(Pcapng::new(bytes)))),
    }))
}

struct Pcapng {
    raw: RawCount,
    is_compressed: bool,
    blocks: Blocks<Bytes>,
    entries: Entries,
    // Bytes of the log when the last entry was found, and how many entries there were.
    n_bytes_at_entry: u64,
    n_entries: u64,
}

/// What of the blocks so far bears on those to come.
#[derive(Default)]
struct Entries {
    // Of this section; `None`: its block could not be read.
    interfaces: Vec<Option<Interface>>,
    // The latest packet, and the second of the log's clock in which it stands.
    latest: Option<Stamp>,
    second: Option<i64>,
    // The latest frame with its byte, when it was passed over and not given on as such.
    unmentioned: Option<(Stamp, u64)>,
}

impl Pcapng {
    fn new(bytes: Bytes) -> Pcapng {
        Pcapng {
            raw: bytes.raw.clone(),
            is_compressed: bytes.compression != Compression::Plain,
            blocks: Blocks::new(bytes),
            entries: Entries::default(),
            n_bytes_at_entry: 0,
            n_entries: 0,
        }
    }
}

impl Reader for Pcapng {
    fn fill(&mut self, batch: &mut Batch, context: &mut Context) -> bool {
        let mut is_more = true;
        for _ in 0..BATCH {
            match self.blocks.next() {
                Next::Block(block) => {
                    context.tally.n_lines += 1;
                    self.entries.take(&block, batch, context);
                }
                Next::Damage { at, n } => damaged(at, n, context),
                Next::Torn { at, n } => {
                    let example = || format!("the last block ends after {n} bytes");
                    context.count_with(Code::InputTruncated, at, example);
                    context.tally.n_skipped += 1;
                }
                Next::End => {
                    is_more = false;
                    break;
                }
            }
        }
        is_more &= self.take_stock(context);
        if !is_more && let Some((stamp, at)) = self.entries.unmentioned.take() {
            batch.set_line(at);
            batch.push_passed_over(stamp);
        }
        is_more
    }
}

impl Pcapng {
    /// Counts what concerns the input as a whole; `false` when reading has stopped.
    fn take_stock(&mut self, context: &mut Context) -> bool {
        let n_bytes = self.blocks.n_bytes();
        if context.tally.n_entries > self.n_entries {
            self.n_entries = context.tally.n_entries;
            self.n_bytes_at_entry = n_bytes;
        }
        let n_barren = n_bytes - self.n_bytes_at_entry;
        if self.is_compressed && is_bomb(n_barren, self.raw.n_bytes()) {
            self.blocks.stop(std::io::Error::other(format!(
                "{} raw bytes expand to {n_bytes} bytes of which the last {n_barren} hold no entry; the rest was not read",
                self.raw.n_bytes(),
            )));
        }
        match self.blocks.take_failure() {
            None => true,
            Some(failure) => {
                context.reading_stopped(&failure, self.is_compressed, ("byte", n_bytes));
                false
            }
        }
    }
}

/// Counts bytes that are in no block, or in one that says nothing.
fn damaged(at: u64, n: u64, context: &mut Context) {
    let example = || format!("{n} bytes");
    context.count_many(Code::BlockDamaged, n, at, example);
    context.tally.n_skipped += 1;
}

impl Entries {
    fn take(&mut self, block: &Block, batch: &mut Batch, context: &mut Context) {
        batch.set_line(block.at);
        let body = block.body;
        let is_read = match block.kind {
            SECTION_HEADER => {
                self.interfaces.clear();
                Some(())
            }
            INTERFACE => self.interface(body, context),
            PACKET => self.packet(block, batch, context),
            OLD_PACKET => self.old_packet(block, batch, context),
            SIMPLE_PACKET => {
                let example = || "a packet without a time".to_owned();
                context.count_with(Code::TimeUnreadable, block.at, example);
                context.tally.n_skipped += 1;
                Some(())
            }
            STATISTICS => self.statistics(body, batch),
            JOURNAL => self.journal(body, batch, context),
            _ => Some(()),
        };
        if is_read.is_none() {
            // With its type and both its lengths.
            damaged(block.at, body.bytes.len() as u64 + 12, context);
        }
    }

    fn interface(&mut self, body: Fields, context: &mut Context) -> Option<()> {
        let interface = Interface::read(body, self.interfaces.len(), context);
        let is_read = interface.is_some();
        // One that cannot be read keeps its number.
        if is_read || self.interfaces.len() < usize::from(u16::MAX) {
            self.interfaces.push(interface);
        }
        is_read.then_some(())
    }

    fn packet(&mut self, block: &Block, batch: &mut Batch, context: &mut Context) -> Option<()> {
        let body = block.body;
        let (data, options) = block.packet()?;
        let mut n_lost = 0;
        for (code, value) in options {
            match code {
                OPTION_DROPPED => n_lost = value.u64(0).unwrap_or(0),
                OPTION_HASH if !fits_hash(data, value.bytes) => {
                    let example = || "a packet does not fit its checksum".to_owned();
                    context.count_with(Code::ChecksumWrong, block.at, example);
                    context.tally.n_skipped += 1;
                    return Some(());
                }
                _ => {}
            }
        }
        self.data(
            body.u32(0)?,
            body.halves(4)?,
            data,
            n_lost,
            block.at,
            batch,
            context,
        )
    }

    fn old_packet(
        &mut self,
        block: &Block,
        batch: &mut Batch,
        context: &mut Context,
    ) -> Option<()> {
        let body = block.body;
        let (data, _) = block.packet()?;
        // All ones: how many were lost is not known.
        let n_lost = body.u16(2).filter(|&n| n != u16::MAX).unwrap_or(0);
        let interface = u32::from(body.u16(0)?);
        self.data(
            interface,
            body.halves(4)?,
            data,
            n_lost.into(),
            block.at,
            batch,
            context,
        )
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "what two kinds of blocks have in common"
    )]
    fn data(
        &mut self,
        interface: u32,
        units: u64,
        data: &[u8],
        n_lost: u64,
        at: u64,
        batch: &mut Batch,
        context: &mut Context,
    ) -> Option<()> {
        let interface = self.interfaces.get_mut(interface as usize)?.as_mut()?;
        let Some(stamp) = interface.stamp(units) else {
            let example = || format!("{units} units of its clock");
            context.count_with(Code::TimeUnreadable, at, example);
            context.tally.n_skipped += 1;
            return Some(());
        };
        let frame = match packet::packet(interface.link, data) {
            Packet::Frame(frame) => frame,
            Packet::Foreign(words) => {
                context.count_with(Code::PacketForeign, at, || words.to_owned());
                return Some(());
            }
            Packet::Unreadable => return None,
        };
        let n_lost = interface.lost_before_packet(n_lost);
        let bus = match frame.machine_interface {
            None => interface.bus,
            // One capture of several buses; only their numbers tell them apart.
            Some(number) => {
                let name = format!("{}:{number}", interface.name);
                context.buses.index(name.as_bytes())
            }
        };
        if n_lost > 0 {
            lost(n_lost, stamp, bus, batch);
        }
        self.latest = Some(stamp);
        self.frame(&frame, stamp, bus, at, batch, context);
        Some(())
    }

    fn frame(
        &mut self,
        frame: &CanFrame,
        stamp: Stamp,
        bus: u16,
        at: u64,
        batch: &mut Batch,
        context: &mut Context,
    ) {
        context.entry(stamp, true);
        let second = Some(stamp.0.div_euclid(NS_PER_S));
        let is_first = std::mem::replace(&mut self.second, second) != second;
        self.unmentioned = None;
        match frame.kind {
            FrameKind::Data if !context.wants(frame.id) => match is_first {
                true => batch.push_passed_over(stamp),
                false => self.unmentioned = Some((stamp, at)),
            },
            FrameKind::Remote => batch.push_remote(stamp, bus, frame.id, frame.length),
            kind => batch.push_frame(stamp, bus, frame.id, kind, frame.flags, frame.payload),
        }
    }

    /// What a recorder counts: the difference to what is known of its losses is new.
    fn statistics(&mut self, body: Fields, batch: &mut Batch) -> Option<()> {
        let index = body.u32(0)? as usize;
        let interface = self.interfaces.get_mut(index)?.as_mut()?;
        let mut n_lost = 0_u64;
        for (code, value) in body.options(12) {
            if matches!(code, OPTION_DROPPED_BEFORE | OPTION_OS_DROPPED) {
                n_lost = n_lost.saturating_add(value.u64(0).unwrap_or(0));
            }
        }
        if !packet::is_known(interface.link) {
            return Some(());
        }
        let n_new = interface.lost_so_far(n_lost);
        // They were lost since the latest packet. The count itself may come much later, at the
        // end of the capture, and would look like a silence.
        if n_new > 0
            && let Some(stamp) = self.latest.or(interface.stamp(body.halves(4)?))
        {
            lost(n_new, stamp, interface.bus, batch);
        }
        Some(())
    }

    /// A mark of our recorder; journal entries of anybody else are passed over.
    fn journal(&mut self, body: Fields, batch: &mut Batch, context: &mut Context) -> Option<()> {
        let (mut us, mut note, mut is_ours) = (None, None, false);
        for line in body.bytes.split(|&byte| byte == b'\n') {
            let Some(equals) = line.iter().position(|&byte| byte == b'=') else {
                continue;
            };
            let (name, value) = (&line[..equals], &line[equals + 1..]);
            match name {
                b"__REALTIME_TIMESTAMP" => {
                    us = std::str::from_utf8(value).ok()?.parse::<i64>().ok();
                }
                b"SYSLOG_IDENTIFIER" => is_ours = value == MARK_IDENTIFIER.as_bytes(),
                b"MESSAGE" => note = Some(String::from_utf8_lossy(value)),
                _ => {}
            }
        }
        if is_ours {
            let stamp = Stamp(us?.checked_mul(1000)?);
            context.entry(stamp, true);
            batch.push_mark(stamp, &note?);
        }
        Some(())
    }
}

fn lost(n: u64, stamp: Stamp, bus: u16, batch: &mut Batch) {
    batch.push_lost(stamp, bus, u32::try_from(n).unwrap_or(u32::MAX));
}
