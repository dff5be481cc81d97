//! One segment of a recording: what of it is whole, and how it ended.
//!
//! In: bytes as [`crate::write::pcapng`] makes them, perhaps cut or torn. Out: where its last
//! sound block ends; of one that was ended, when it began and ended and how many frames it has.

use std::io::{self, Read, Seek, SeekFrom};

use halfshaft_model::Stamp;

use crate::blocks::*;

/// What of a segment is whole.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Whole {
    /// Bytes up to the end of its last sound block.
    pub n_bytes: u64,
    /// Frames and marks among its sound blocks.
    pub n_entries: u64,
    /// Frames among them.
    pub n_frames: u64,
    /// When the first and the last of those came.
    pub frames: Option<(Stamp, Stamp)>,
}

/// Looks through a segment. A block with a checksum is sound when it fits.
pub fn whole(source: impl Read) -> io::Result<Whole> {
    let mut blocks = Blocks::new(source);
    let mut whole = Whole::default();
    loop {
        match blocks.next() {
            Next::Block(block) if is_sound(&block) => {
                whole.n_entries += u64::from(matches!(block.kind, PACKET | JOURNAL));
                whole.n_frames += u64::from(block.kind == PACKET);
                // Ours count nanoseconds.
                if block.kind == PACKET
                    && let Some(ns) = block.body.halves(4)
                {
                    let stamp = Stamp(ns as i64);
                    whole.frames = Some((whole.frames.map_or(stamp, |(first, _)| first), stamp));
                }
                // With its type and both its lengths.
                whole.n_bytes = block.at + block.body.bytes.len() as u64 + 12;
            }
            Next::Block(_) | Next::Damage { .. } | Next::Torn { .. } => {}
            Next::End => break,
        }
    }
    blocks.take_failure().map_or(Ok(whole), Err)
}

fn is_sound(block: &Block) -> bool {
    if block.kind != PACKET {
        return true;
    }
    let Some((packet, mut options)) = block.packet() else {
        return false;
    };
    options.all(|(code, value)| code != OPTION_HASH || fits_hash(packet, value.bytes))
}

/// What a segment says at its end, once it was ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended {
    /// When it began.
    pub start: Stamp,
    /// When it ended.
    pub end: Stamp,
    /// Frames received in between.
    pub n_frames: u64,
}

/// What stands at the end of a segment of our own; `None`: it was not ended, but cut.
pub fn ended(file: &mut (impl Read + Seek)) -> io::Result<Option<Ended>> {
    let mut at = file.seek(SeekFrom::End(0))?;
    let mut ended: Option<Ended> = None;
    // The last blocks are the statistics of each interface, found from behind by their lengths.
    while let Some(body) = block_before(file, at)? {
        let Some(one) = of_statistics(body.as_slice()) else {
            break;
        };
        let n_frames = ended.map_or(0, |ended| ended.n_frames);
        ended = Some(Ended {
            n_frames: one.n_frames.saturating_add(n_frames),
            ..one
        });
        at -= body.len() as u64 + 12;
    }
    Ok(ended)
}

/// The body of the statistics block that ends at a place, if one does.
fn block_before(file: &mut (impl Read + Seek), at: u64) -> io::Result<Option<Vec<u8>>> {
    // Far more than our statistics have.
    const LONGEST: u32 = 1024;
    let Some(behind) = at.checked_sub(4) else {
        return Ok(None);
    };
    let mut length = [0; 4];
    file.seek(SeekFrom::Start(behind))?;
    file.read_exact(&mut length)?;
    let length = u32::from_le_bytes(length);
    let start = at.checked_sub(u64::from(length));
    let (Some(start), true) = (start, (24..=LONGEST).contains(&length)) else {
        return Ok(None);
    };
    let mut block = vec![0; length as usize];
    file.seek(SeekFrom::Start(start))?;
    file.read_exact(&mut block)?;
    let head = [STATISTICS.to_le_bytes(), length.to_le_bytes()].concat();
    Ok(block
        .starts_with(&head)
        .then(|| block[8..block.len() - 4].to_vec()))
}

fn of_statistics(body: &[u8]) -> Option<Ended> {
    let body = Fields {
        bytes: body,
        order: Order::Little,
    };
    let (mut start, mut end, mut n_frames) = (None, None, 0);
    for (code, value) in body.options(12) {
        match code {
            OPTION_START => start = value.halves(0),
            OPTION_END => end = value.halves(0),
            OPTION_RECEIVED => n_frames = value.u64(0)?,
            _ => {}
        }
    }
    Some(Ended {
        start: Stamp(start? as i64),
        end: Stamp(end? as i64),
        n_frames,
    })
}
