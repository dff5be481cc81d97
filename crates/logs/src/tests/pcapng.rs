//! pcapng: bytes worked out by hand from the draft, what is written reads back equal, and what
//! damage costs.

use halfshaft_model::{Batch, Entry, FrameFlags, FrameId, FrameKind, IdFilter, Stamp};
use proptest::prelude::*;

use crate::testing::{entries, gzip, notices, open, zstd};
use crate::write::pcapng::{self, Header, RawFrame, Statistics};
use crate::{Log, Options};

/// Bytes from hexadecimal digits; what stands behind a `;` says what they are.
fn bytes(text: &str) -> Vec<u8> {
    let digits: String = text
        .lines()
        .flat_map(|line| line.split(';').next().unwrap_or("").chars())
        .filter(|letter| !letter.is_whitespace())
        .collect();
    let digits: Vec<char> = digits.chars().collect();
    let byte = |pair: &[char]| u8::from_str_radix(&pair.iter().collect::<String>(), 16).unwrap();
    digits.chunks(2).map(byte).collect()
}

/// A block with both its lengths, big end first.
fn block(kind: u32, body: &str) -> Vec<u8> {
    let mut body = bytes(body);
    body.resize(body.len().next_multiple_of(4), 0);
    let length = (body.len() as u32 + 12).to_be_bytes();
    [&kind.to_be_bytes()[..], &length, &body, &length].concat()
}

/// A section big end first, of unknown length, with one interface of a link and its options.
fn section(link: &str, options: &str) -> Vec<u8> {
    let header = block(0x0A0D_0D0A, "1A2B3C4D 0001 0000 FFFFFFFFFFFFFFFF");
    let interface = block(1, &format!("{link} 0000 00000000 {options}"));
    [header, interface].concat()
}

#[track_caller]
fn check(log: &[u8], expected: &[&str], damage: &[&str]) {
    for log in [log.to_vec(), gzip(log), zstd(log)] {
        let mut log = open(&[("a", &log)], &[]).unwrap();
        assert_eq!(entries(&mut log).unwrap(), expected);
        assert_eq!(notices(&log), damage);
    }
}

const CAN0: &str = "0002 0004 63616E30 00000000";

// Source of each number: draft-ietf-opsawg-pcapng, sections of the blocks; LINKTYPE_CAN_SOCKETCAN.
const BY_HAND: &str = "
    0A0D0D0A 30000000          ; section header, 48 bytes
    4D3C2B1A 0100 0000         ; byte order, version 1.0
    FFFFFFFFFFFFFFFF           ; a section of unknown length
    0300 0100 78000000         ; shb_os `x`
    0400 0100 79000000         ; shb_userappl `y`
    00000000 30000000
    01000000 28000000          ; interface description, 40 bytes
    E300 0000 00000000         ; link type 227, no limit to a packet
    0200 0400 63616E30         ; if_name can0
    0900 0100 09000000         ; if_tsresol: nanoseconds
    00000000 28000000
    06000000 40000000          ; enhanced packet, 64 bytes
    00000000                   ; interface 0
    5F81EF13 6829FA3F          ; 1,436,509,052,249,713,000 ns, the high half first
    0D000000 0D000000          ; 13 bytes kept of 13
    00000044 05 00 00 00       ; identifier 0x044, five bytes, no FD frame
    2A366C2BBA 000000          ; payload, filled up
    0300 0500 02 908AA170 000000 ; epb_hash, CRC-32 by another program
    00000000 40000000
";

#[test]
fn what_is_written_is_what_the_draft_says() {
    let stamp = Stamp(1_436_509_052_249_713_000);
    let mut out = Vec::new();
    let header = Header {
        application: "y",
        os: "x",
        comment: "",
        interfaces: &["can0".to_owned()],
    };
    pcapng::header(&mut out, &header);
    let frame = RawFrame {
        id: FrameId::standard(0x44).unwrap(),
        kind: FrameKind::Data,
        flags: FrameFlags::default(),
        payload: &[0x2A, 0x36, 0x6C, 0x2B, 0xBA],
    };
    pcapng::frame(&mut out, 0, stamp, &frame, 0);
    assert_eq!(out, bytes(BY_HAND));
    // Check value of CRC-32, as in every description of it.
    assert_eq!(crate::blocks::crc32(b"123456789"), 0xCBF4_3926);

    out.clear();
    let statistics = Statistics {
        start: Stamp(1),
        end: Some(Stamp(2)),
        n_received: 7,
        n_lost: 3,
        clock_offset_ns: -1,
    };
    pcapng::statistics(&mut out, 1, Stamp(1 << 32 | 5), &statistics);
    let expected = "
        05000000 58000000 01000000 01000000 05000000
        0200 0800 00000000 01000000   ; isb_starttime
        0300 0800 00000000 02000000   ; isb_endtime
        0400 0800 0700000000000000    ; isb_ifrecv
        0700 0800 0300000000000000    ; isb_osdrop
        0F8C 0800 FFFFFFFFFFFFFFFF    ; of our own
        00000000 58000000";
    assert_eq!(out, bytes(expected));
}

#[test]
fn a_section_of_the_other_byte_order_reads_the_same() {
    let name = CAN0;
    // Microseconds where nothing is said: 1 s is 0xF4240.
    let log = [
        section("00E3", name),
        block(
            6,
            "00000000 00000000 000F4240 0000000A 0000000A 80000123 02 00 00 00 1122 0000",
        ),
        // Of an unknown kind, and a list of names: passed over.
        block(0x8000_0001, "01020304"),
        block(4, "00000000"),
        // The old packet block: interface 0, two lost.
        block(
            2,
            "0000 0002 00000000 001E8480 00000008 00000008 40000123 04 00 00 00",
        ),
        // How many were lost is not known.
        block(
            2,
            "0000 FFFF 00000000 002DC6C0 00000010 00000010 20000004 08 00 00 00 0001000000000000",
        ),
        // A packet without a time.
        block(3, "0000000A 00000123 02 00 00 00 1122 0000"),
        // Another section: sixteenths of a second, and an hour more.
        section(
            "00E3",
            "0002 0004 63616E31 0009 0001 84000000 000E 0008 0000000000000E10 00000000",
        ),
        block(
            6,
            "00000000 00000000 00000024 0000000B 0000000B 00000123 03 07 00 00 112233 00",
        ),
    ]
    .concat();
    let simple = 28 + 32 + 12 + 36 + 16 + 16 + 12 + 28 + 12 + 36 - 4;
    check(
        &log,
        &[
            "1:can0:123:1122",
            "2: 2 lost",
            "2:can0:remote 123:",
            "3:can0:error 4:0001000000000000",
            "3602.25:can1:123:112233",
        ],
        &[&format!("time-unreadable 1 a:{simple}")],
    );
}

#[test]
fn packets_behind_a_header_of_linux_are_frames() {
    // Packet type, ARPHRD_CAN, no address, protocol CAN FD.
    let cooked =
        "0000 0118 0000 0000000000000000 000D 00000123 0C 01 00 00 000102030405060708090A0B";
    let log = [
        section("0071", CAN0),
        block(
            6,
            &format!("00000000 00000000 000F4240 00000024 00000024 {cooked}"),
        ),
        // Protocol, interface 3 of the machine, ARPHRD_CAN.
        section("0114", "0002 0003 616E7900 00000000"),
        block(
            6,
            "00000000 00000000 001E8480 0000001D 0000001D
             000C 0000 00000003 0118 00 00 0000000000000000 00000123 01 00 00 00 55",
        ),
        // CAN XL behind it, and of interface 4 the Internet.
        block(
            6,
            "00000000 00000000 001E8480 0000001D 0000001D
             000E 0000 00000003 0118 00 00 0000000000000000 00000123 81 00 00 00 55",
        ),
        block(
            6,
            "00000000 00000000 001E8480 0000001D 0000001D
             0800 0000 00000004 0001 00 00 0000000000000000 00000123 01 00 00 00 55",
        ),
        // A cable of another kind.
        section("0001", ""),
        block(6, "00000000 00000000 001E8480 00000004 00000004 00000000"),
    ]
    .concat();
    let first_foreign = 28 + 32 + 68 + 28 + 32 + 64;
    check(
        &log,
        &["1:can0:123:000102030405060708090a0b", "2:any:3:123:55"],
        &[&format!("packet-foreign 3 a:{first_foreign}")],
    );
}

/// A recording: one frame every 0.1 s, losses and a mark among them.
fn recording(n_frames: u32) -> Vec<u8> {
    let mut out = Vec::new();
    let interfaces = ["can0".to_owned()];
    let header = Header {
        application: "halfshaft",
        interfaces: &interfaces,
        ..Header::default()
    };
    pcapng::header(&mut out, &header);
    for n in 0..n_frames {
        frame(&mut out, n, if n == 5 { 40 } else { 0 });
    }
    out
}

fn frame(out: &mut Vec<u8>, n: u32, n_lost: u64) {
    let frame = RawFrame {
        id: FrameId::standard(0x100).unwrap(),
        kind: FrameKind::Data,
        flags: FrameFlags::default(),
        payload: &n.to_le_bytes()[..2],
    };
    pcapng::frame(out, 0, stamp(n), &frame, n_lost);
}

fn stamp(n: u32) -> Stamp {
    Stamp(i64::from(n) * 100_000_000)
}

#[test]
fn a_loss_counts_once_however_often_it_is_told() {
    let mut log = recording(2);
    let mut n_lost = 0;
    let mut tell = |log: &mut Vec<u8>, n: u32, more: u64| {
        n_lost += more;
        let statistics = Statistics {
            n_lost,
            ..Statistics::default()
        };
        pcapng::statistics(log, 0, stamp(n), &statistics);
    };
    tell(&mut log, 2, 7);
    tell(&mut log, 12, 2);
    // The standard counts from one packet to the next: nine of these are known.
    frame(&mut log, 20, 12);
    n_lost_is(&log, &["0.1: 7 lost", "0.1: 2 lost", "2: 3 lost"]);
    let mut n_lost = 12;
    let mut tell = |log: &mut Vec<u8>, n: u32, more: u64| {
        n_lost += more;
        let statistics = Statistics {
            n_lost,
            ..Statistics::default()
        };
        pcapng::statistics(log, 0, stamp(n), &statistics);
    };
    tell(&mut log, 21, 0);
    tell(&mut log, 22, 1);
    pcapng::mark(&mut log, stamp(23), "rears −0.2 bar\n=x");
    n_lost_is(
        &log,
        &[
            "0.1: 7 lost",
            "0.1: 2 lost",
            "2: 3 lost",
            "2: 1 lost",
            "2.3: rears −0.2 bar =x",
        ],
    );
}

#[track_caller]
fn n_lost_is(log: &[u8], expected: &[&str]) {
    let mut log = open(&[("a", log)], &[]).unwrap();
    let mut found = entries(&mut log).unwrap();
    found.retain(|entry| !entry.contains(":can0:"));
    assert_eq!(found, expected);
}

#[test]
fn of_frames_nobody_wants_the_time_stays() {
    let log = recording(35);
    let wanted = IdFilter::new([(FrameId::standard(0x101).unwrap(), 0)]);
    let options = Options {
        sheets: &[],
        only: Some(&wanted),
    };
    let stream: Box<dyn std::io::Read + Send> = Box::new(std::io::Cursor::new(log));
    let mut log = Log::from_readers(vec![("a".to_owned(), stream)], &options).unwrap();
    let expected = [
        "0: passed over",
        "0.5: 40 lost",
        "1: passed over",
        "2: passed over",
        "3: passed over",
        "3.4: passed over",
    ];
    assert_eq!(entries(&mut log).unwrap(), expected);
}

/// What a damaged recording gives, and how many bytes of it are passed over or torn off.
fn read(log: &[u8]) -> Vec<String> {
    match open(&[("a", log)], &[]) {
        Ok(mut log) => entries(&mut log).unwrap_or_default(),
        Err(_) => Vec::new(),
    }
}

#[test]
fn a_cut_at_any_byte_costs_the_last_block_alone() {
    let whole = recording(8);
    let all = read(&whole);
    assert_eq!(all.len(), 9);
    let (mut ends, mut lengths) = (Vec::new(), Vec::new());
    for n in 0..=8 {
        lengths.push(recording(n).len());
    }
    for cut in 0..whole.len() {
        let n_whole = lengths.iter().filter(|&&length| length <= cut).count();
        let n_entries = match n_whole {
            0 | 1 => 0,
            // The loss before the sixth frame is an entry of its own.
            n => n - 1 + usize::from(n > 6),
        };
        assert_eq!(read(&whole[..cut]), all[..n_entries], "cut at {cut}");
        ends.push(n_entries);
    }
    assert_eq!(ends.last(), Some(&8));
    let cut = lengths[8] - 3;
    let mut log = open(&[("a", &whole[..cut])], &[]).unwrap();
    entries(&mut log).unwrap();
    assert_eq!(
        notices(&log),
        [format!("input-truncated 1 a:{}", lengths[7])]
    );
}

#[test]
fn behind_damage_reading_goes_on_at_the_next_block() {
    let whole = recording(8);
    let all = read(&whole);
    let lengths: Vec<usize> = (0..=8).map(|n| recording(n).len()).collect();
    for damaged in 2..8 {
        // The frame of this number; its type, each of its lengths, its interface, its data.
        let (start, end) = (lengths[damaged], lengths[damaged + 1]);
        for at in [start, start + 4, start + 6, end - 1, start + 8, start + 31] {
            let mut log = whole.clone();
            log[at] ^= 0x10;
            let expected: Vec<&String> = all
                .iter()
                .filter(|entry| !entry.ends_with(&format!("100:{damaged:02x}00")))
                .filter(|entry| damaged != 5 || !entry.ends_with("40 lost"))
                .collect();
            let mut log = open(&[("a", &log)], &[]).unwrap();
            let found = entries(&mut log).unwrap();
            // A type nobody knows is no damage, only a block that is passed over.
            assert_eq!(found.iter().collect::<Vec<_>>(), expected, "byte {at}");
            if at != start {
                let [notice] = &notices(&log)[..] else {
                    panic!("{:?} of byte {at}", notices(&log));
                };
                assert!(notice.ends_with(&format!(" a:{start}")), "{notice}");
            }
        }
        // Zeros in its place, as a file system leaves them, and bytes that are gone.
        let mut zeros = whole.clone();
        zeros[start..end].fill(0);
        let mut log = open(&[("a", &zeros)], &[]).unwrap();
        entries(&mut log).unwrap();
        let expected = format!("block-damaged {} a:{start}", end - start);
        assert_eq!(notices(&log), [expected]);
        let gone = [&whole[..start + 5], &whole[start + 10..]].concat();
        assert!(read(&gone).ends_with(&all[all.len() - (7 - damaged)..]));
    }
}

#[test]
fn noise_between_blocks_is_passed_over_whatever_its_length() {
    let whole = recording(4);
    let start = recording(3).len();
    for n in [1, 3, 4, 65_535, 65_536, 65_537, 300_001] {
        let noise: Vec<u8> = (0..n)
            .map(|n: u32| (n.wrapping_mul(2_654_435_761) >> 13) as u8)
            .collect();
        let log = [&whole[..start], &noise, &whole[start..]].concat();
        let mut log = open(&[("a", &log)], &[]).unwrap();
        assert_eq!(entries(&mut log).unwrap().len(), 4);
        assert_eq!(notices(&log), [format!("block-damaged {n} a:{start}")]);
    }
    // A length that reaches far beyond the end hides nothing that follows.
    let claims = [0x06, 0, 0, 0, 0, 0, 0x0F, 0];
    let log = [&whole[..start], &claims, &whole[start..]].concat();
    assert_eq!(read(&log).len(), 4);
}

fn raw_frame() -> impl Strategy<Value = (FrameId, FrameKind, FrameFlags, Vec<u8>)> {
    let payload = prop::collection::vec(any::<u8>(), 0..65);
    (
        any::<bool>(),
        any::<u32>(),
        0_usize..4,
        any::<[bool; 3]>(),
        payload,
    )
        .prop_map(
            |(is_extended, number, kind, [fd, bit_rate_switch, error_state], mut payload)| {
                let kinds = [
                    FrameKind::Data,
                    FrameKind::Data,
                    FrameKind::Remote,
                    FrameKind::Error,
                ];
                let kind = kinds[kind];
                let fd = fd && kind == FrameKind::Data;
                payload.truncate(if fd { 64 } else { 8 });
                let id = match is_extended || kind == FrameKind::Error {
                    true => FrameId::extended(number & 0x1FFF_FFFF),
                    false => FrameId::standard(number & 0x7FF),
                };
                let flags = FrameFlags {
                    fd,
                    bit_rate_switch: fd && bit_rate_switch,
                    error_state: fd && error_state,
                };
                (id.unwrap(), kind, flags, payload)
            },
        )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_reads_back_equal(
        frames in prop::collection::vec((0_i64..i64::MAX, 0_u16..3, raw_frame(), 0_u64..3), 1..40),
        note in "\\PC{0,40}",
    ) {
        let names = ["can0", "can1", "a longer name"].map(str::to_owned);
        let mut out = Vec::new();
        pcapng::header(&mut out, &Header { interfaces: &names, ..Header::default() });
        let mut expected = Vec::new();
        for (ns, interface, (id, kind, flags, payload), n_lost) in &frames {
            let frame = RawFrame { id: *id, kind: *kind, flags: *flags, payload };
            pcapng::frame(&mut out, *interface, Stamp(*ns), &frame, *n_lost);
            if *n_lost > 0 {
                expected.push(format!("{ns} {n_lost} lost of {}", names[usize::from(*interface)]));
            }
            let kept = if *kind == FrameKind::Remote { &[][..] } else { payload };
            expected.push(format!("{ns} {} {id} {kind:?} {flags:?} {} {kept:?}", names[usize::from(*interface)], payload.len()));
        }
        pcapng::mark(&mut out, Stamp(5_000), &note);
        expected.push(format!("5000 {note}"));
        let mut log = open(&[("a", &out)], &[]).unwrap();
        let mut batch = Batch::default();
        let mut found = Vec::new();
        while log.next(&mut batch).unwrap() {
            for entry in &batch.entries {
                let name = |bus| &batch.buses[usize::from(bus)];
                found.push(match entry {
                    Entry::Frame(frame) => format!(
                        "{} {} {} {:?} {:?} {} {:?}", frame.stamp.0, name(frame.bus), frame.id, frame.kind, frame.flags,
                        frame.length, batch.payload(frame)
                    ),
                    Entry::Lost(lost) => format!("{} {} lost of {}", lost.stamp.0, lost.n_frames, name(lost.bus)),
                    Entry::Mark(mark) => format!("{} {}", mark.stamp.0, batch.note(mark)),
                    other => panic!("{other:?}"),
                });
            }
        }
        prop_assert_eq!(found, expected);
        prop_assert!(log.notices().is_empty());
    }

    #[test]
    fn any_damage_is_survived_and_costs_nothing_before_it(
        flips in prop::collection::vec((0.0..1.0_f64, any::<u8>()), 0..6), cut in 0.0..1.1_f64,
    ) {
        let mut log = recording(30);
        let lengths: Vec<usize> = (0..=30).map(|n| recording(n).len()).collect();
        let all = read(&log);
        let mut first = log.len();
        for (place, byte) in flips {
            let at = (place * log.len() as f64) as usize;
            log[at] ^= byte;
            first = first.min(at);
        }
        log.truncate((cut * log.len() as f64) as usize);
        let n_sound = lengths[1..].iter().filter(|&&length| length <= first.min(log.len())).count();
        let found = read(&log);
        let n_entries = n_sound + usize::from(n_sound > 5);
        prop_assert_eq!(&found[..n_entries], &all[..n_entries]);
        for log in [gzip(&log), zstd(&log)] {
            read(&log);
        }
    }

    #[test]
    fn any_bytes_behind_a_beginning_are_survived(pieces in prop::collection::vec(prop_oneof![
        3 => prop::sample::select(vec![
            "0A0D0D0A 0000001C 1A2B3C4D 00010000 FFFFFFFFFFFFFFFF 0000001C",
            "0A0D0D0A 1C000000 4D3C2B1A 01000000 FFFFFFFFFFFFFFFF 1C000000",
            "00000001 00000014 00E30000 00000000 00000014", "01000000 14000000 E3000000 00000000 14000000",
            "00000001 00000020 00E30000 00000000 0009 0001 FF000000 00000000 00000020",
            "00000006 0000002C 00000000 FFFFFFFF FFFFFFFF 00000008 00000008 00000123 00000000 00000000 0000002C",
            "00000006 0000002C 00000000 00000000 00000001 FFFFFFFF 00000008 00000123 00000000 00000000 0000002C",
            "00000005 00000024 00000000 00000000 00000001 0007 0008 FFFFFFFFFFFFFFFF 00000024",
            "00000009 00000010 00000000 00000010", "00000006", "0000002C", "00000000", "FFFFFFFF",
        ]).prop_map(bytes),
        1 => prop::collection::vec(any::<u8>(), 0..40),
    ], 0..30)) {
        let log = [bytes("0A0D0D0A"), pieces.concat()].concat();
        let found = read(&log);
        prop_assert!(found.len() <= log.len());
    }
}
