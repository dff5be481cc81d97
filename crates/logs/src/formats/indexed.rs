//! A binary container of the tests: it shows what a format needs, this file and its line in
//! the registry, and that such a one reads on all the way through.
//!
//! `INDEXED\n`, frames, and at the very end where the frames begin, eight bytes. A frame is
//! its stamp in ns (8 bytes), identifier (4), length (2) and payload, little end first.

use std::io::{self, BufReader, Read, Seek, SeekFrom};

use halfshaft_model::{Batch, Code, FrameFlags, FrameId, FrameKind, Stamp};

use super::{BATCH, Beginning, Reader, Recognised};
use crate::context::Context;
use crate::error::Error;
use crate::intake::Bytes;

pub(super) fn recognise(beginning: &Beginning) -> Result<Option<Recognised>, Error> {
    let name = beginning.name.to_owned();
    let is_one = beginning.bytes.starts_with(b"INDEXED\n");
    Ok(is_one.then(|| Recognised {
        words: "indexed frames".to_owned(),
        parts: "frames",
        entries: "frames",
        missing: Vec::new(),
        open: Box::new(|bytes| match Indexed::open(bytes) {
            Ok(reader) => Ok(Box::new(reader)),
            Err(cause) => Err(Error::Unreadable { name, cause }),
        }),
    }))
}

struct Indexed {
    bytes: BufReader<Bytes>,
    at: u64,
    end: u64,
}

impl Indexed {
    fn open(mut bytes: Bytes) -> io::Result<Indexed> {
        let end = bytes.seek(SeekFrom::End(-8))?;
        let mut place = [0; 8];
        bytes.read_exact(&mut place)?;
        let at = bytes.seek(SeekFrom::Start(u64::from_le_bytes(place)))?;
        let bytes = BufReader::new(bytes);
        Ok(Indexed { bytes, at, end })
    }

    fn next(&mut self) -> io::Result<(Stamp, u32, Vec<u8>)> {
        let (mut stamp, mut id, mut length) = ([0; 8], [0; 4], [0; 2]);
        self.bytes.read_exact(&mut stamp)?;
        self.bytes.read_exact(&mut id)?;
        self.bytes.read_exact(&mut length)?;
        let mut payload = vec![0; u16::from_le_bytes(length).into()];
        self.bytes.read_exact(&mut payload)?;
        self.at += 14 + payload.len() as u64;
        Ok((
            Stamp(i64::from_le_bytes(stamp)),
            u32::from_le_bytes(id),
            payload,
        ))
    }
}

impl Reader for Indexed {
    fn fill(&mut self, batch: &mut Batch, context: &mut Context) -> bool {
        let bus = context.buses.index(b"can0");
        for _ in 0..BATCH {
            if self.at >= self.end {
                return false;
            }
            let at = self.at;
            let Ok((stamp, id, payload)) = self.next() else {
                context.count_with(Code::InputTruncated, at, || "a frame".to_owned());
                return false;
            };
            let Some(id) = FrameId::standard(id) else {
                context.skip_line(Code::LineUnreadable, at, b"identifier");
                continue;
            };
            context.entry(stamp, true);
            batch.set_line(at);
            let flags = FrameFlags::default();
            batch.push_frame(stamp, bus, id, FrameKind::Data, flags, &payload);
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use crate::testing::{entries, gzip, notices, open};
    use crate::{Log, Options, Source};
    use halfshaft_model::Batch;

    /// Frames of identifier and payload, one a second, behind a hole of 700 kB.
    fn container(frames: &[(u32, &[u8])]) -> Vec<u8> {
        let mut file = b"INDEXED\n".to_vec();
        file.resize(700_000, 0xEE);
        for (second, (id, payload)) in (1_i64..).zip(frames) {
            file.extend((second * 1_000_000_000).to_le_bytes());
            file.extend(id.to_le_bytes());
            file.extend((payload.len() as u16).to_le_bytes());
            file.extend_from_slice(payload);
        }
        file.extend(700_000_u64.to_le_bytes());
        file
    }

    #[test]
    fn a_container_is_read_by_jumping_and_its_places_are_bytes() {
        let long = [0x5A; 4095];
        let bytes = container(&[(0x123, &[1, 2]), (0x800, &[]), (0x7E8, &long)]);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("drive");
        std::fs::write(&path, &bytes).unwrap();
        let read = || Log::open(&[Source::File(path.clone())], &Options::default()).unwrap();
        let mut log = read();
        let expected = [
            "1:can0:123:0102".to_owned(),
            format!("3:can0:7e8:{}", "5a".repeat(4095)),
        ];
        assert_eq!(entries(&mut log).unwrap(), expected);
        let place = |at: usize| format!("drive:{at}");
        assert_eq!(
            notices(&log),
            [format!("line-unreadable 1 {}", place(700_016))]
        );
        // What was jumped over belongs to the fingerprint all the same.
        let fingerprint = format!("{:016x}", xxhash_rust::xxh3::xxh3_64(&bytes));
        assert_eq!(log.inputs()[0].fingerprint, Some(fingerprint));

        let (mut log, mut batch) = (read(), Batch::default());
        log.next(&mut batch).unwrap();
        let places = [0, 1].map(|index| batch.place(index).unwrap().to_string());
        assert_eq!(places, [place(700_000), place(700_030)]);
    }

    #[test]
    fn where_no_jump_is_possible_it_is_an_error_and_no_guess() {
        let bytes = container(&[(0x123, &[1, 2])]);
        for bytes in [bytes.clone(), gzip(&bytes)] {
            let error = open(&[("drive", &bytes)], &[]).map(|_| ()).unwrap_err();
            assert_eq!(
                error.to_string(),
                "drive: a pipe or packed file can only be read from its beginning to its end"
            );
        }
    }
}
