//! Damaged, hostile and unusable inputs: what is counted, what is an error, and that
//! what came before the damage is read.

use std::io::{Read, Write};

use crate::testing::{channels, entries, frames, gzip, notices, open, zstd};
use crate::{Log, Options, Source};
use halfshaft_model::SheetSpec;

#[track_caller]
fn check(text: &[u8], sheets: &[SheetSpec], expected: &[&str], expected_notices: &[&str]) {
    let mut log = open(&[("a.log", text)], sheets).unwrap();
    assert_eq!(entries(&mut log).unwrap(), expected);
    assert_eq!(notices(&log), expected_notices);
}

#[test]
fn bad_lines_are_counted_by_kind_with_their_first_place() {
    check(
        b"(1.0) can0 123#01\r\nnoise\n\n(2.0) can0 123#0\n(3.0) can0 123#03\n",
        &[],
        &["1:can0:123:01", "3:can0:123:03"],
        &["line-unreadable 2 a.log:2"],
    );
    check(
        b"(1.0) can0 123#01\n(2.0) can0 12",
        &[],
        &["1:can0:123:01"],
        &["line-truncated 1 a.log:2"],
    );
    check(
        b"(1.0) can0 123#01\n(2.0) can0 12\n",
        &[],
        &["1:can0:123:01"],
        &["line-unreadable 1 a.log:2"],
    );
    check(
        b"(1.0) can0 123#01\n(2.0) can0 124#02",
        &[],
        &["1:can0:123:01", "2:can0:124:02"],
        &[],
    );
    let torn = [
        b"(1.0) can0 123#01\n",
        &[0_u8; 5000][..],
        b"\n(2.0) can0 123#02\n",
    ]
    .concat();
    check(
        &torn,
        &[],
        &["1:can0:123:01", "2:can0:123:02"],
        &["line-unreadable 1 a.log:2"],
    );
}

#[test]
fn a_ten_megabyte_line_is_skipped() {
    let mut text = b"(1.0) can0 123#01\n".to_vec();
    text.resize(10_000_000, b'7');
    text.extend_from_slice(b"\n(2.0) can0 123#02\n");
    let expected = ["1:can0:123:01", "2:can0:123:02"];
    check(&text, &[], &expected, &["line-too-long 1 a.log:2"]);
    check(&zstd(&text), &[], &expected, &["line-too-long 1 a.log:2"]);
}

#[test]
fn a_truncated_archive_gives_what_came_before() {
    let mut text = Vec::new();
    for n in 0..50_000_u32 {
        // Digits that do not compress well, so that the archive has many blocks.
        let noise = n.wrapping_mul(2_654_435_761);
        writeln!(text, "({n}.0) can0 123#{noise:08X}").unwrap();
    }
    for packed in [gzip(&text), zstd(&text)] {
        let half = &packed[..packed.len() / 2];
        let mut log = open(&[("a.log", half)], &[]).unwrap();
        let n = entries(&mut log).unwrap().len();
        // Blocks are lost whole, so a little less than half may be there.
        assert!((15_000..40_000).contains(&n), "{n} of 50000 entries");
        assert_eq!(log.notices().n(halfshaft_model::Code::InputTruncated), 1);
        let input = &log.inputs()[0];
        assert!(
            input
                .trouble
                .as_ref()
                .unwrap()
                .starts_with("a.log: reading stopped after line ")
        );
        assert_eq!(input.n_entries, n as u64);
        // Whole, it gives everything and no notice.
        let mut log = open(&[("a.log", &packed)], &[]).unwrap();
        assert_eq!(entries(&mut log).unwrap().len(), 50_000);
        assert!(log.notices().is_empty());
    }
}

#[test]
fn a_short_archive_without_its_end_is_read() {
    let text = b"(1.0) can0 123#01\n(2.0) can0 123#02\n(3.0) can0 12";
    let packed = gzip(text);
    let cut = &packed[..packed.len() - 4];
    check(
        cut,
        &[],
        &["1:can0:123:01", "2:can0:123:02"],
        &["line-truncated 1 a.log:3", "input-truncated 1 a.log:3"],
    );
}

#[test]
fn a_line_in_which_reading_failed_is_not_taken_for_whole() {
    struct Broken(bool);
    impl Read for Broken {
        fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
            if std::mem::replace(&mut self.0, true) {
                return Err(std::io::Error::other("the disk is gone"));
            }
            // The second payload had eight bytes.
            let text = b"(1.0) can0 123#01\n(2.0) can0 123#0203";
            out[..text.len()].copy_from_slice(text);
            Ok(text.len())
        }
    }
    // The first bytes are looked at with little room, so they come from elsewhere.
    let stream = std::io::Cursor::new(b"(0.0) can0 123#00\n").chain(Broken(false));
    let stream: Box<dyn Read + Send> = Box::new(stream);
    let mut log =
        Log::from_readers(vec![("a.log".to_owned(), stream)], &Options::default()).unwrap();
    assert_eq!(
        entries(&mut log).unwrap(),
        ["0:can0:123:00", "1:can0:123:01"]
    );
    assert_eq!(
        notices(&log),
        ["line-truncated 1 a.log:3", "input-truncated 1 a.log:3"]
    );
    let trouble = log.inputs()[0].trouble.clone().unwrap();
    assert_eq!(
        trouble,
        "a.log: reading stopped after line 3: the disk is gone"
    );
}

#[test]
fn the_fingerprint_covers_what_could_not_be_read() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.log");
    let raw = [gzip(b"(1.0) can0 123#01\n"), vec![7; 1_000_000]].concat();
    std::fs::write(&path, &raw).unwrap();
    let mut log = Log::open(&[Source::File(path)], &Options::default()).unwrap();
    assert_eq!(entries(&mut log).unwrap(), ["1:can0:123:01"]);
    let input = log.inputs().remove(0);
    assert!(input.trouble.is_some());
    let fingerprint = format!("{:016x}", xxhash_rust::xxh3::xxh3_64(&raw));
    assert_eq!(input.fingerprint, Some(fingerprint));
    assert_eq!(log.progress().read_bytes, raw.len() as u64);
}

#[test]
fn bytes_that_are_no_text_are_counted() {
    let sheet = [channels("t", &["a"])];
    let mut utf_16: Vec<u8> = "t;a\n1;2\n2;3"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    // Half of a pair of surrogates.
    utf_16.extend_from_slice(&[0x00, 0xD8, b'\n', 0]);
    check(
        &utf_16,
        &sheet,
        &["1:2", "2:-"],
        &["bytes-undecodable 1 a.log:3", "cell-unreadable 1 a.log:3"],
    );
    // The encoding is decided by the first 64 KiB, here plain ASCII.
    let mut text = b"t;a;note\n".to_vec();
    let mut expected = Vec::new();
    for n in 0..20_000 {
        let note = if n == 19_990 { &b"\xFF"[..] } else { b"" };
        text.extend_from_slice(format!("{n};1;").as_bytes());
        text.extend_from_slice(note);
        text.push(b'\n');
        expected.push(format!("{n}:1"));
    }
    let expected: Vec<&str> = expected.iter().map(String::as_str).collect();
    check(
        &text,
        &sheet,
        &expected,
        &["bytes-undecodable 1 a.log:19992"],
    );
}

#[test]
fn an_input_given_up_does_not_hold_back_the_progress() {
    let folder = tempfile::tempdir().unwrap();
    let paths = ["good", "noise"].map(|name| folder.path().join(name));
    std::fs::write(&paths[0], "(1.0) can0 123#01\n").unwrap();
    std::fs::write(&paths[1], vec![0xA5; 2_000_000]).unwrap();
    let mut log = Log::open(&paths.map(Source::File), &Options::default()).unwrap();
    entries(&mut log).unwrap();
    let progress = log.progress();
    assert_eq!(
        (progress.read_bytes, progress.total_bytes),
        (2_000_018, Some(2_000_018))
    );
}

#[test]
fn a_torn_block_near_the_beginning_does_not_hide_a_sheet() {
    let text = [b"t,a\n1,2\n", &[0_u8; 512][..], b"\n2,3\n"].concat();
    let sheet = [channels("t", &["a"])];
    check(
        &text,
        &sheet,
        &["1:2", "2:3"],
        &["time-unreadable 1 a.log:3"],
    );
}

#[test]
fn a_row_that_was_cut_off_is_not_read_as_a_shorter_one() {
    let sheet = [channels("t", &["a", "b"])];
    let notice = ["line-truncated 1 a.log:3"];
    check(b"t,a,b\n1,2,3\n2,30", &sheet, &["1:2,3"], &notice);
    check(b"t,a,b\n1,2,3\n2", &sheet, &["1:2,3"], &notice);
    check(b"t,a,b\n1,2,3\n2,3,4", &sheet, &["1:2,3", "2:3,4"], &[]);
    check(
        b"t,a,b\n1,2,3\n2,30\n",
        &sheet,
        &["1:2,3", "2:30,-"],
        &["row-width 1 a.log:3"],
    );
}

#[test]
fn a_damaged_line_before_the_first_row_of_a_sheet_without_header_is_counted() {
    let sheet = SheetSpec {
        has_header: false,
        ..channels("#1", &["#2"])
    };
    check(
        b"x,1\n1,2\n",
        &[sheet],
        &["1:2"],
        &["time-unreadable 1 a.log:1"],
    );
}

#[test]
fn a_log_that_begins_with_noise_is_recognised() {
    let mut text = vec![b'\n'; 1000];
    text.extend(vec![0; 100_000]);
    text.extend_from_slice(b"\n(1.0) can0 123#01\n");
    check(
        &text,
        &[],
        &["1:can0:123:01"],
        &["line-too-long 1 a.log:1001"],
    );
    let utf_16: Vec<u8> = "(1.0) can0 123#01\r\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    check(&utf_16, &[], &["1:can0:123:01"], &[]);
}

/// A stream of zeros behind a little text.
struct Zeros(std::io::Cursor<Vec<u8>>, u64);

impl Read for Zeros {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let n = self.0.read(out)?;
        if n > 0 {
            return Ok(n);
        }
        let n = self.1.min(out.len() as u64) as usize;
        out[..n].fill(0);
        self.1 -= n as u64;
        Ok(n)
    }
}

#[test]
fn a_compressed_bomb_is_given_up() {
    let text = b"(1.0) can0 123#01\n".to_vec();
    let zeros = Zeros(std::io::Cursor::new(text), 1_200_000_000);
    let packed = zstd::stream::encode_all(zeros, 1).unwrap();
    assert!(packed.len() < 1_000_000);
    let mut log = open(&[("bomb", &packed)], &[]).unwrap();
    assert_eq!(entries(&mut log).unwrap(), ["1:can0:123:01"]);
    let trouble = log.inputs()[0].trouble.clone().unwrap();
    assert!(
        trouble.contains("hold no entry; the rest was not read"),
        "{trouble}"
    );
    assert_eq!(log.notices().n(halfshaft_model::Code::InputTruncated), 1);
}

#[track_caller]
fn check_error(text: &[u8], sheets: &[SheetSpec], code: &str, expected: &str) {
    let error = match open(&[("a.log", text)], sheets) {
        Err(error) => error,
        Ok(mut log) => entries(&mut log).expect_err("nothing usable"),
    };
    assert_eq!((error.code(), error.to_string().as_str()), (code, expected));
}

#[test]
fn inputs_without_a_result_say_what_was_found_and_wanted() {
    let sheet = [channels("t", &["speed|v"])];
    check_error(b"", &[], "input-empty", "a.log: the input is empty");
    check_error(&gzip(b""), &[], "input-empty", "a.log: the input is empty");
    check_error(
        b"\x7fELF\x02\x01\x01\0\0\0\0\0\0\0\0\0\x03\0>\0",
        &sheet,
        "log-unknown",
        "a.log: cannot read this as a log: it is not text; expected SocketCAN log text, a sheet or pcapng",
    );
    check_error(
        b"Dear driver,\nit was a pleasure.\n",
        &sheet,
        "log-unknown",
        "a.log: cannot read this as a log: text in which no line is a frame like `(12.345678) can0 123#0011`, nor rows of one width, it begins `Dear driver,`",
    );
    check_error(
        b"time;oil\n1;2\n2;3\n",
        &[],
        "log-unknown",
        "a.log: cannot read this as a log: it looks like a sheet, and no map describes one; its header is `time`, `oil`",
    );
    check_error(
        b"time;oil\n1;2\n2;3\n",
        &sheet,
        "sheet-unknown",
        "a.log: this is a sheet that no sheet of the map fits: its header is `time`, `oil`; `sheet` wants `t`, `speed` or `v`",
    );
    check_error(
        b"t,v\nx,1\ny,2\n",
        &sheet,
        "nothing-usable",
        "a.log: nothing usable: 3 lines, 0 rows; the first bad line is 2: `x,1`",
    );
    check_error(
        b"t,v\n1,\n2,-\n",
        &sheet,
        "nothing-usable",
        "a.log: nothing usable: 3 lines, 0 rows",
    );
    check_error(
        b"time,bus,id,payload,length\n1,0,9999999999,00,1\n",
        &[frames()],
        "nothing-usable",
        "a.log: nothing usable: 2 lines, 0 frames; the first bad line is 2: `1,0,9999999999,00,1`",
    );
}

#[test]
fn files_that_cannot_be_opened_are_errors() {
    let folder = tempfile::tempdir().unwrap();
    let open = |path: &std::path::Path| {
        let result = Log::open(&[Source::File(path.to_owned())], &Options::default());
        result.map(|_| ()).unwrap_err()
    };
    let error = open(folder.path());
    assert_eq!(error.code(), "input-unreadable");
    assert!(
        error
            .to_string()
            .ends_with(": it is a folder; name the files in it"),
        "{error}"
    );
    assert_eq!(
        open(&folder.path().join("none.log")).code(),
        "input-unreadable"
    );
    assert_eq!(
        Log::open(&[], &Options::default())
            .map(|_| ())
            .unwrap_err()
            .code(),
        "no-input"
    );
}

#[test]
fn one_bad_input_beside_a_good_one_is_no_error() {
    let good = b"(1.0) can0 123#01\n";
    let mut log = open(
        &[("empty", b""), ("good", good), ("words", b"words\n")],
        &[],
    )
    .unwrap();
    assert_eq!(entries(&mut log).unwrap(), ["1:can0:123:01"]);
    let inputs = log.inputs();
    assert_eq!(
        inputs[0].trouble.as_deref(),
        Some("empty: the input is empty")
    );
    assert_eq!(inputs[1].trouble, None);
    assert!(
        inputs[2]
            .trouble
            .as_ref()
            .unwrap()
            .starts_with("words: cannot read this as a log")
    );

    // Rows without one number are found out only at the end.
    let sheet = [channels("t", &["a"])];
    let mut log = open(&[("bare", b"t,a\n1,\n2,\n"), ("good", good)], &sheet).unwrap();
    assert_eq!(entries(&mut log).unwrap(), ["1:-", "1:can0:123:01", "2:-"]);
    let trouble = log.inputs()[0].trouble.clone();
    assert_eq!(
        trouble.as_deref(),
        Some("bare: nothing usable: 3 lines, 0 rows")
    );

    let error = open(&[("empty", b""), ("words", b"words\n")], &[])
        .map(|_| ())
        .unwrap_err();
    assert_eq!(error.code(), "no-input-usable");
    assert!(
        error
            .to_string()
            .starts_with("none of the 2 inputs can be read: empty: the input is empty; words: ")
    );
}
