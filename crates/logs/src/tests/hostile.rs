//! Properties: any bytes into every reader, and what is written reads back equal.

use crate::testing::{column, entries, gzip, open, zstd};
use crate::write::write_frame;
use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, TimeKind};
use halfshaft_model::{Batch, Entry, FrameFlags, FrameId, FrameKind, SheetSpec, Stamp};
use proptest::prelude::*;

/// Pieces that lead deep into the readers, between bytes of any kind.
fn text() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        3 => prop::sample::select(vec![
            "(1436509052.249713) vcan0 044#2A366C2BBA\n", "(1.0) can0 123##1112233\n", "(2.0) b 20000004#00", "#R4\n",
            "(", ")", "#", "##", "_E", " T\r\n", "t,a,b\n", "t;a;b\n", "t\ta\tb\r\n", "a,a", "s,km/h,-\n", "1,2,3\n",
            "1;2,5;1,234\n", "2;\"1.234,5\";x\n", "-1e300,0,1\n", "23:59:59.9,1,2\n", "00:00:01,1,2\n",
            "2020-02-03T21:31:11Z,1,2\n", "9223372036,1,1\n", "99999999999999999999,1,1\n", "\n", "\r\n", "\"", ",", ";",
            "0x7FF", "2047", "00 11 22", "# c\n", "=1+1", "\u{FEFF}", "Öl", "1\u{a0}234",
        ]).prop_map(|text| text.as_bytes().to_vec()),
        1 => prop::collection::vec(any::<u8>(), 0..40),
        1 => (any::<u8>(), 0_usize..70_000).prop_map(|(byte, n)| vec![byte; n]),
    ];
    prop::collection::vec(piece, 0..30).prop_map(|pieces| pieces.concat())
}

fn column_ref() -> impl Strategy<Value = ColumnRef> {
    prop_oneof![
        prop::sample::select(vec!["t", "a", "b", "a|b", "Öl", ""]).prop_map(column),
        (0_usize..5).prop_map(ColumnRef::Position),
        Just(ColumnRef::Position(usize::MAX)),
        Just(ColumnRef::Header(Vec::new())),
    ]
}

fn base() -> impl Strategy<Value = Base> {
    prop_oneof![Just(Base::Decimal), Just(Base::Hexadecimal)]
}

fn content() -> impl Strategy<Value = SheetContent> {
    let optional = || prop::option::of(column_ref());
    prop_oneof![
        prop::collection::vec(column_ref(), 0..4).prop_map(SheetContent::Channels),
        (
            (optional(), column_ref(), base()),
            (
                prop::collection::vec(column_ref(), 0..4),
                base(),
                optional(),
                optional()
            ),
        )
            .prop_map(
                |((bus, id, id_base), (payload, payload_base, length, extended))| {
                    SheetContent::Frames {
                        bus,
                        id,
                        id_base,
                        payload,
                        payload_base,
                        length,
                        extended,
                    }
                }
            ),
    ]
}

fn sheet() -> impl Strategy<Value = SheetSpec> {
    let time_kind = prop_oneof![
        prop::sample::select(vec![1.0, 0.001, 1e-9, 1e-12, 1e300, -1.0, 0.0, f64::NAN])
            .prop_map(|seconds_per_unit| TimeKind::Number { seconds_per_unit }),
        Just(TimeKind::ClockTime),
        Just(TimeKind::Iso8601),
        prop::sample::select(vec![0.01, 1e300, f64::NAN])
            .prop_map(|period_s| TimeKind::RowClock { period_s }),
    ];
    let marks = (
        prop::option::of(prop::sample::select(vec![
            ',', ';', '\t', ' ', '§', '"', '\n',
        ])),
        prop::option::of(prop::sample::select(vec!['.', ',', '§'])),
        prop::option::of(prop::sample::select(vec!["#", "", "t"])),
        prop::collection::vec(prop::sample::select(vec!["-", "", "x"]), 0..2),
    );
    (
        marks,
        prop::option::of(column_ref()),
        time_kind,
        any::<bool>(),
        any::<bool>(),
        content(),
    )
        .prop_map(
            |(
                (delimiter, decimal_mark, comment, missing),
                time_column,
                time_kind,
                unit_row,
                has_header,
                content,
            )| SheetSpec {
                name: "s".to_owned(),
                delimiter,
                decimal_mark,
                time_column,
                time_kind,
                unit_row,
                has_header,
                comment: comment.map(str::to_owned),
                missing_marks: missing.into_iter().map(str::to_owned).collect(),
                content,
            },
        )
}

/// Reads it all; an error is fine, a panic is not, and no more entries than lines.
fn read(bytes: &[u8], n_lines: usize, sheets: &[SheetSpec]) {
    let Ok(mut log) = open(&[("a", bytes), ("b", bytes)], sheets) else {
        return;
    };
    let mut batch = Batch::default();
    let mut n_entries = 0;
    while let Ok(true) = log.next(&mut batch) {
        n_entries += batch.entries.len();
        // A batch, and what a sheet may hold back for sorting.
        assert!(batch.entries.len() <= 100_000);
        for entry in &batch.entries {
            match entry {
                Entry::Frame(frame) => assert!(
                    batch.payload(frame).len() <= 64 && usize::from(frame.bus) < batch.buses.len()
                ),
                Entry::PassedOver(_) => unreachable!("every frame is wanted"),
                Entry::Lost(_) | Entry::Mark(_) => unreachable!("text has neither"),
                Entry::Row(row) => assert!(batch.cells(row).count() == usize::from(row.n_cells)),
            }
        }
    }
    let known: u64 = log
        .inputs()
        .iter()
        .map(|input| input.n_entries + input.n_lines_skipped)
        .sum();
    assert!(
        n_entries <= 2 * n_lines && known <= 2 * n_lines as u64,
        "{n_entries} entries of {n_lines} lines"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_survived(text in text(), sheets in prop::collection::vec(sheet(), 0..3), cut in 0.0..1.0_f64) {
        // UTF-16 may show line ends that the bytes do not.
        let n_lines = text.len() + 1;
        read(&text, n_lines, &sheets);
        for packed in [gzip(&text), zstd(&text)] {
            read(&packed, n_lines, &sheets);
            let kept = (packed.len() as f64 * cut) as usize;
            read(&packed[..kept], n_lines, &sheets);
            let mut broken = packed;
            if let Some(byte) = broken.get_mut(kept) {
                *byte ^= 0x55;
            }
            read(&broken, n_lines, &sheets);
        }
    }

    #[test]
    fn what_is_written_reads_back_equal(
        frames in prop::collection::vec((
            0_i64..i64::MAX, "[a-z][a-z0-9]{0,14}", any::<bool>(), any::<u32>(), 0_u8..4, prop::collection::vec(any::<u8>(), 0..65),
            any::<(bool, bool)>(),
        ), 1..60),
    ) {
        let mut text = Vec::new();
        let mut expected = Vec::new();
        for (ns, bus, is_extended, number, kind, mut payload, (bit_rate_switch, error_state)) in frames {
            let kind = [FrameKind::Data, FrameKind::Data, FrameKind::Remote, FrameKind::Error][usize::from(kind)];
            let is_fd = kind == FrameKind::Data && payload.len() > 8;
            let flags = match is_fd {
                true => FrameFlags { fd: true, bit_rate_switch, error_state },
                false => FrameFlags::default(),
            };
            payload.truncate(if is_fd { 64 } else { 8 });
            // The class of an error report has 29 bits in this form.
            let id = match is_extended || kind == FrameKind::Error {
                true => FrameId::extended(number & 0x1FFF_FFFF),
                false => FrameId::standard(number & 0x7FF),
            };
            let id = id.unwrap();
            write_frame(&mut text, Stamp(ns), &bus, id, kind, flags, &payload).unwrap();
            let length = payload.len() as u16;
            if kind == FrameKind::Remote {
                payload.clear();
            }
            expected.push((Stamp(ns), bus, id, kind, flags, length, payload));
        }
        let mut log = open(&[("a", &text)], &[]).unwrap();
        let mut batch = Batch::default();
        let mut found = Vec::new();
        while log.next(&mut batch).unwrap() {
            for entry in &batch.entries {
                let Entry::Frame(frame) = entry else { panic!("a row") };
                let payload = batch.payload(frame).to_vec();
                let bus = batch.buses[usize::from(frame.bus)].clone();
                found.push((frame.stamp, bus, frame.id, frame.kind, frame.flags, frame.length, payload));
            }
        }
        prop_assert_eq!(found, expected);
        prop_assert!(log.notices().is_empty());
    }
}

#[test]
fn noise_of_every_length_is_survived() {
    // Deterministic noise, so that this test is the same everywhere.
    let mut state = 1_u32;
    let mut noise = Vec::new();
    for n in 0..300 {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        noise.push((state >> 24) as u8);
        let mut text = b"(1.0) can0 123#01\n".to_vec();
        text.extend_from_slice(&noise);
        text.extend_from_slice(b"\n(2.0) can0 123#02\n");
        let mut log = open(&[("a", &text)], &[]).unwrap();
        let found = entries(&mut log).unwrap();
        assert!(found.iter().any(|entry| entry == "2:can0:123:02"), "{n}");
    }
}
