//! Whole logs through the public interface: several inputs as one, sheets of every
//! form, and what is known of each input afterwards.

use std::path::PathBuf;

use crate::testing::{channels, column, entries, frames, gzip, notices, open, zstd};
use crate::{Compression, Log, Options, Source, write::write_frame};
use halfshaft_model::sheet::{SheetContent, TimeKind};
use halfshaft_model::{Batch, Entry, FrameFlags, FrameId, FrameKind, SheetSpec, Stamp};

#[test]
fn two_buses_interleave_and_consecutive_files_follow() {
    let one = b"(1.0) can0 001#01\n(3.0) can0 001#03\n(5.0) can0 001#05\n";
    let two = b"(2.0) can1 002#02\n(3.0) can1 002#03\n(4.0) can1 002#04\n";
    let expected = [
        "1:can0:1:01",
        "2:can1:2:02",
        "3:can0:1:03",
        "3:can1:2:03",
        "4:can1:2:04",
        "5:can0:1:05",
    ];
    let mut log = open(&[("one", one), ("two", &gzip(two))], &[]).unwrap();
    assert_eq!(entries(&mut log).unwrap(), expected);

    let later = b"(8.0) can0 001#08\n(7.0) can0 001#07\n";
    let mut log = open(&[("later", &zstd(later)), ("one", one)], &[]).unwrap();
    let found = entries(&mut log).unwrap();
    // Inside one input the order of arrival stays.
    assert_eq!(
        found,
        [
            "1:can0:1:01",
            "3:can0:1:03",
            "5:can0:1:05",
            "8:can0:1:08",
            "7:can0:1:07"
        ]
    );
}

#[test]
fn a_frame_sheet_and_a_channel_sheet_are_one_log() {
    let frame_sheet = b"Time,Bus,ID,Payload,Length\n1,0,170,2977 2970,4\n3,1,2048,00,1\n";
    let channel_sheet = b"zeit;v\n2;1,5\n";
    let sheets = [frames(), channels("zeit", &["v"])];
    let mut log = open(&[("f", frame_sheet), ("c", channel_sheet)], &sheets).unwrap();
    assert_eq!(
        entries(&mut log).unwrap(),
        ["1:0:aa:29772970", "2:1.5", "3:1:800:00"]
    );
}

#[test]
fn long_logs_come_in_batches_that_keep_the_meaning_of_a_bus() {
    let mut texts = [Vec::new(), Vec::new()];
    for n in 0..30_000_i64 {
        let id = FrameId::standard(n as u32 % 0x800).unwrap();
        let (kind, flags) = (FrameKind::Data, FrameFlags::default());
        let bus = format!("can{}", n % 2);
        write_frame(
            &mut texts[(n % 2) as usize],
            Stamp(n * 1000),
            &bus,
            id,
            kind,
            flags,
            &[n as u8],
        )
        .unwrap();
    }
    let mut log = open(&[("even", &texts[0]), ("odd", &texts[1])], &[]).unwrap();
    let mut n = 0_i64;
    loop {
        // A new batch each time: indices must not depend on the batch.
        let mut batch = Batch::default();
        if !log.next(&mut batch).unwrap() {
            break;
        }
        assert!(batch.entries.len() <= 16_384, "{}", batch.entries.len());
        for entry in &batch.entries {
            let Entry::Frame(frame) = entry else {
                unreachable!("only frames were written")
            };
            assert_eq!(frame.stamp, Stamp(n * 1000));
            assert_eq!(batch.buses[usize::from(frame.bus)], format!("can{}", n % 2));
            assert_eq!(batch.payload(frame), [n as u8]);
            n += 1;
        }
    }
    assert_eq!(n, 30_000);
}

#[test]
fn many_files_are_opened_in_turn() {
    let folder = tempfile::tempdir().unwrap();
    let mut sources = Vec::new();
    let mut expected = Vec::new();
    for n in 0..40_u32 {
        let path = folder.path().join(format!("{n}.log"));
        std::fs::write(
            &path,
            format!("noise\n({n}.0) can0 001#{n:02x}\n({n}.5) can0 001#{n:02x}\n"),
        )
        .unwrap();
        sources.push(Source::File(path));
        expected.push(format!("{n}:can0:1:{n:02x}"));
        expected.push(format!("{n}.5:can0:1:{n:02x}"));
    }
    sources.reverse();
    let mut log = Log::open(&sources, &Options::default()).unwrap();
    assert_eq!(entries(&mut log).unwrap(), expected);
    // What was counted while looking at the beginning is not counted twice.
    assert_eq!(log.notices().n(halfshaft_model::Code::LineUnreadable), 40);
    for input in log.inputs() {
        assert_eq!((input.n_entries, input.n_lines_skipped), (2, 1));
        assert!(input.fingerprint.is_some());
    }
    let progress = log.progress();
    assert_eq!(Some(progress.read_bytes), progress.total_bytes);
}

#[test]
fn what_is_known_of_an_input() {
    let folder = tempfile::tempdir().unwrap();
    let path: PathBuf = folder.path().join("misleading.csv");
    let packed = zstd(b"(1.5) can0 001#01\nnoise\n(2.5) can0 001#02\n");
    std::fs::write(&path, &packed).unwrap();
    let mut log = Log::open(&[Source::File(path.clone())], &Options::default()).unwrap();
    assert_eq!(log.progress().total_bytes, Some(packed.len() as u64));
    entries(&mut log).unwrap();
    let input = log.inputs().remove(0);
    assert_eq!(input.name, path.display().to_string());
    assert_eq!(
        (input.format.as_str(), input.compression),
        ("SocketCAN log text", Compression::Zstd)
    );
    assert_eq!(input.size_bytes, packed.len() as u64);
    let fingerprint = format!("{:016x}", xxhash_rust::xxh3::xxh3_64(&packed));
    assert_eq!(input.fingerprint, Some(fingerprint));
    assert_eq!((input.n_entries, input.n_lines_skipped), (2, 1));
    assert_eq!(
        (input.first, input.last),
        (Some(Stamp(1_500_000_000)), Some(Stamp(2_500_000_000)))
    );
    assert_eq!(input.trouble, None);
}

#[test]
fn a_log_can_move_to_another_thread() {
    fn sendable<T: Send>(value: T) -> T {
        value
    }
    let mut log = sendable(open(&[("a", b"(1.0) can0 001#01\n")], &[]).unwrap());
    let found = std::thread::spawn(move || entries(&mut log).unwrap())
        .join()
        .unwrap();
    assert_eq!(found, ["1:can0:1:01"]);
}

#[track_caller]
fn check(sheet: &SheetSpec, text: &[u8], expected: &[&str], expected_notices: &[&str]) {
    let mut log = open(&[("a.csv", text)], std::slice::from_ref(sheet)).unwrap();
    assert_eq!(
        entries(&mut log).unwrap(),
        expected,
        "{}",
        String::from_utf8_lossy(text)
    );
    assert_eq!(
        notices(&log),
        expected_notices,
        "{}",
        String::from_utf8_lossy(text)
    );
}

#[test]
fn sheets_are_read_whatever_their_marks_and_encoding() {
    let sheet = channels("Zeit", &["Öl °C", "Gas"]);
    let text = "Logger 7\n\nzeit;Öl °C;GAS\n0;90,5;1.234,5\n0,02;91;-3\n";
    let expected = ["0:90.5,1234.5", "0.02:91,-3"];
    check(&sheet, text.as_bytes(), &expected, &[]);
    check(
        &sheet,
        text.replace('\n', "\r\n").as_bytes(),
        &expected,
        &[],
    );
    check(&sheet, format!("\u{FEFF}{text}").as_bytes(), &expected, &[]);
    let latin_1: Vec<u8> = text.chars().map(|c| c as u8).collect();
    check(&sheet, &latin_1, &expected, &[]);
    let utf_16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    check(&sheet, &utf_16, &expected, &[]);
    let utf_16: Vec<u8> = format!("\u{FEFF}{text}")
        .encode_utf16()
        .flat_map(u16::to_be_bytes)
        .collect();
    check(&sheet, &utf_16, &expected, &[]);
    check(&sheet, &gzip(&utf_16), &expected, &[]);
    let tabs = "zeit\tÖl °C\tGas\n0\t90.5\t\"1,234.5\"\n0.02\t91\t-3\n";
    check(&sheet, tabs.as_bytes(), &expected, &[]);
}

#[test]
fn rows_are_read_as_far_as_they_go() {
    let sheet = SheetSpec {
        unit_row: true,
        missing_marks: vec!["-".to_owned(), "n/a".to_owned()],
        comment: Some("%".to_owned()),
        ..channels("t", &["a", "b", "absent"])
    };
    check(
        &sheet,
        b"t,a,b\ns,km/h,1\n1,2,3\n% a remark\n2,-,n/a\n3,4\n4,5,6,7\n5,<b>x</b>,=1+1\nx,1,2\n6,7,8,\n",
        &["1:2,3,-", "2:-,-,-", "3:4,-,-", "4:5,6,-", "5:-,-,-", "6:7,8,-"],
        &["row-width 2 a.csv:6", "cell-unreadable 2 a.csv:8", "time-unreadable 1 a.csv:9"],
    );
    // Units that are not there cost no row.
    check(&sheet, b"t,a,b\n1,2,3\n", &["1:2,3,-"], &[]);
    let log = open(
        &[("a.csv", b"t,a\ns,1\n1,2\n")],
        std::slice::from_ref(&sheet),
    )
    .unwrap();
    assert_eq!(log.inputs()[0].columns_missing, ["`b`", "`absent`"]);
    assert_eq!(
        log.inputs()[0].format,
        "sheet `sheet`: columns parted by `,`, no decimals in the first lines, UTF-8"
    );
}

#[test]
fn a_repeated_header_matches_its_columns_anew() {
    let sheet = channels("t", &["a", "b"]);
    check(
        &sheet,
        b"t,a,b\n1,2,3\nb,t,a\n30,2,20\nt,a\n3,4\n",
        &["1:2,3", "2:20,30", "3:4,-"],
        &["header-repeated 2 a.csv:3"],
    );
    // On a row clock a header is no row.
    let sheet = SheetSpec {
        time_kind: TimeKind::RowClock { period_s: 0.5 },
        time_column: None,
        ..sheet
    };
    check(
        &sheet,
        b"a;b\n1;2\na;b\n3;4\n5;6\n",
        &["0:1,2", "0.5:3,4", "1:5,6"],
        &["header-repeated 1 a.csv:3"],
    );
}

#[test]
fn late_rows_within_two_seconds_are_put_in_order() {
    let sheet = channels("t", &["a"]);
    check(
        &sheet,
        b"t,a\n1,1\n3,2\n2,3\n10,4\n5,5\n",
        &["1:1", "2:3", "3:2", "10:4", "5:5"],
        &["row-out-of-order 1 a.csv:4"],
    );
}

#[test]
fn clock_times_pass_midnight() {
    let sheet = SheetSpec {
        time_kind: TimeKind::ClockTime,
        ..channels("t", &["a"])
    };
    check(
        &sheet,
        b"t;a\n23:59:59,5;1\n00:00:00,25;2\n",
        &["86399.5:1", "86400.25:2"],
        &[],
    );
    let sheet = SheetSpec {
        time_kind: TimeKind::Iso8601,
        ..channels("t", &["a"])
    };
    check(
        &sheet,
        b"t;a\n1970-01-01T00:00:01Z;1\n1970-01-01 01:00:02+01:00;2\n1970-01-01T00:00:03;3\n",
        &["1:1", "2:2", "3:3"],
        &[],
    );
}

#[test]
fn a_comma_in_doubt_after_the_first_lines_is_missing_and_not_guessed() {
    let mut text = "t;a\n".to_owned();
    for n in 0..300 {
        text.push_str(&format!("{n};7\n"));
    }
    text.push_str("300;1,234\n301;2,5\n302;1,234\n");
    let mut log = open(&[("a.csv", text.as_bytes())], &[channels("t", &["a"])]).unwrap();
    let found = entries(&mut log).unwrap();
    assert_eq!(found[300..], ["300:-", "301:2.5", "302:1.234"]);
    assert_eq!(notices(&log), ["cell-unreadable 1 a.csv:302"]);
}

#[test]
fn sheets_without_header_go_by_position() {
    let sheet = SheetSpec {
        has_header: false,
        ..channels("#1", &["#3", "#2"])
    };
    check(&sheet, b"1,2,3\n2,3,4\n", &["1:3,2", "2:4,3"], &[]);
    let sheet = SheetSpec {
        content: SheetContent::Frames {
            bus: None,
            id: column("#2"),
            id_base: halfshaft_model::sheet::Base::Hexadecimal,
            payload: vec![column("#3"), column("#4")],
            payload_base: halfshaft_model::sheet::Base::Hexadecimal,
            length: None,
            extended: None,
        },
        has_header: false,
        ..channels("#1", &[])
    };
    check(
        &sheet,
        b"1;0x2A1;ff;1\n2;2A1;0;\n",
        &["1::2a1:ff01", "2::2a1:00"],
        &[],
    );
}
