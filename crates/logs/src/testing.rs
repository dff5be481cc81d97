//! What the tests of several files share.

use std::io::{Cursor, Read, Write};

use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, TimeKind};
use halfshaft_model::{Batch, Entry, FrameKind, SheetSpec};

use crate::{Error, Log, Options};

/// `bytes` as gzip.
pub(crate) fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

/// `bytes` as zstd.
pub(crate) fn zstd(bytes: &[u8]) -> Vec<u8> {
    zstd::stream::encode_all(bytes, 1).unwrap()
}

/// A column: `#3` by position, else a header with `|` between its other names.
pub(crate) fn column(name: &str) -> ColumnRef {
    match name.strip_prefix('#') {
        Some(position) => ColumnRef::Position(position.parse().unwrap()),
        None => ColumnRef::Header(name.split('|').map(str::to_owned).collect()),
    }
}

/// A sheet of channels with its time in seconds.
pub(crate) fn channels(time: &str, columns: &[&str]) -> SheetSpec {
    SheetSpec {
        name: "sheet".to_owned(),
        delimiter: None,
        decimal_mark: None,
        time_column: Some(column(time)),
        time_kind: TimeKind::Number {
            seconds_per_unit: 1.0,
        },
        unit_row: false,
        has_header: true,
        comment: None,
        missing_marks: Vec::new(),
        content: SheetContent::Channels(columns.iter().map(|name| column(name)).collect()),
    }
}

/// A sheet of frames: time in seconds, identifier decimal, payload hexadecimal.
pub(crate) fn frames() -> SheetSpec {
    SheetSpec {
        content: SheetContent::Frames {
            bus: Some(column("bus")),
            id: column("id"),
            id_base: Base::Decimal,
            payload: vec![column("payload")],
            payload_base: Base::Hexadecimal,
            length: Some(column("length")),
            extended: None,
        },
        ..channels("time", &[])
    }
}

/// Opens inputs by name and content.
pub(crate) fn open(inputs: &[(&str, &[u8])], sheets: &[SheetSpec]) -> Result<Log, Error> {
    let readers = inputs
        .iter()
        .map(|(name, bytes)| {
            let stream: Box<dyn Read + Send> = Box::new(Cursor::new(bytes.to_vec()));
            ((*name).to_owned(), stream)
        })
        .collect();
    Log::from_readers(readers, &Options { sheets, only: None })
}

/// All entries of a log, one word each: `seconds:bus:id:payload` or `seconds:cell,cell`.
pub(crate) fn entries(log: &mut Log) -> Result<Vec<String>, Error> {
    let mut batch = Batch::default();
    let mut words = Vec::new();
    while log.next(&mut batch)? {
        assert!(!batch.entries.is_empty());
        for entry in &batch.entries {
            let seconds = entry.stamp().seconds();
            words.push(match entry {
                Entry::Frame(frame) => {
                    let bytes: String = batch
                        .payload(frame)
                        .iter()
                        .map(|byte| format!("{byte:02x}"))
                        .collect();
                    let kind = match frame.kind {
                        FrameKind::Data => "",
                        FrameKind::Remote => "remote ",
                        FrameKind::Error => "error ",
                    };
                    format!(
                        "{seconds}:{}:{kind}{:x}:{bytes}",
                        batch.buses[usize::from(frame.bus)],
                        frame.id.number()
                    )
                }
                Entry::PassedOver(_) => format!("{seconds}: passed over"),
                Entry::Lost(lost) => format!("{seconds}: {} lost", lost.n_frames),
                Entry::Mark(mark) => format!("{seconds}: {}", batch.note(mark)),
                Entry::Row(row) => {
                    let cells: Vec<String> = batch
                        .cells(row)
                        .map(|cell| cell.map_or_else(|| "-".to_owned(), |value| value.to_string()))
                        .collect();
                    format!("{seconds}:{}", cells.join(","))
                }
            });
        }
    }
    Ok(words)
}

/// Damage counted, as `word count first-place`.
pub(crate) fn notices(log: &Log) -> Vec<String> {
    log.notices()
        .iter()
        .map(|(code, tally)| format!("{} {} {}", code.word(), tally.count, tally.first))
        .collect()
}
