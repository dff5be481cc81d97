use super::*;
use crate::map::*;
use halfshaft_model::{ChannelSpec, FrameFlags, FrameId};
use proptest::prelude::*;

/// `0.7..0.0 1.7..1.0`: runs, most significant first.
fn field(text: &str) -> BitField {
    let run = |word: &str| {
        let digit = |n: usize| word.as_bytes()[n] - b'0';
        BitRun {
            byte: u16::from(digit(0)),
            high: digit(2),
            low: digit(7),
        }
    };
    BitField {
        runs: text.split(' ').map(run).collect(),
    }
}

fn signal(channel: usize, bits: &str, si_per_step: f64, si_at_zero: f64) -> Signal {
    Signal {
        channel,
        bits: field(bits),
        number: Number::Unsigned,
        si_per_step,
        si_at_zero,
        absent: Vec::new(),
        broken: Vec::new(),
        believe: None,
        rate_under: None,
        on_pages: Vec::new(),
        valid_when: Vec::new(),
        line: 1,
    }
}

fn code(first: u64) -> Vec<CodeRange> {
    vec![CodeRange { first, last: first }]
}

fn id(number: u32) -> FrameId {
    FrameId::standard(number).unwrap()
}

fn frame(number: u32, signals: Vec<Signal>) -> FrameSpec {
    FrameSpec {
        id: id(number),
        ignored_id_bits: 0,
        bus: None,
        length: 8,
        period_s: Some(0.01),
        counter: None,
        checksum: None,
        signals,
        line: 1,
    }
}

fn map(channels: &[&str], frames: Vec<FrameSpec>) -> Map {
    Map {
        channels: channels.iter().map(|name| ChannelSpec::new(name)).collect(),
        frames,
        ..Map::default()
    }
}

/// One byte, one channel, frame 0x100 every 10 ms.
fn plain() -> Map {
    map(
        &["own.a"],
        vec![frame(0x100, vec![signal(0, "0.7..0.0", 1.0, 0.0)])],
    )
}

struct Bench {
    decoder: Decoder,
    batch: Batch,
    block: Block,
}

impl Bench {
    fn new(map: &Map) -> Bench {
        Bench {
            decoder: Decoder::new(map),
            batch: Batch::default(),
            block: Block::default(),
        }
    }

    fn put(&mut self, ms: f64, bus: &str, number: u32, payload: &[u8]) -> &mut Bench {
        let bus = self.batch.bus(bus);
        let stamp = Stamp::from_seconds(ms / 1e3);
        self.batch.push_frame(
            stamp,
            bus,
            id(number),
            FrameKind::Data,
            FrameFlags::default(),
            payload,
        );
        self
    }

    /// A frame of eight bytes, the first being `first`.
    fn byte(&mut self, ms: f64, first: u8) -> &mut Bench {
        self.put(ms, "can0", 0x100, &[first, 0, 0, 0, 0, 0, 0, 0])
    }

    /// Decodes what was put, and as if the log ended there.
    fn run(&mut self) -> &mut Bench {
        self.decoder.push(&self.batch, &mut self.block);
        self.batch.clear();
        let mut rest = Block::default();
        self.decoder.finish(&mut rest);
        append(&mut self.block, &rest);
        self
    }

    /// Samples of a channel: milliseconds and values.
    fn samples(&self, channel: usize) -> Vec<(f64, Option<f64>)> {
        let round = |time: Time| (time.seconds() * 1e6).round() / 1e3;
        self.block.columns[channel]
            .iter()
            .map(|(time, value)| (round(time), value))
            .collect()
    }

    fn values(&self, channel: usize) -> Vec<Option<f64>> {
        self.samples(channel)
            .into_iter()
            .map(|(_, value)| value)
            .collect()
    }

    fn n(&self, code: Code) -> u64 {
        self.decoder.notices().n(code)
    }
}

fn append(block: &mut Block, rest: &Block) {
    for (column, rest) in block.columns.iter_mut().zip(&rest.columns) {
        rest.iter()
            .for_each(|(time, value)| column.push(time, value));
    }
    block.cuts.extend_from_slice(&rest.cuts);
    block.until = block.until.max(rest.until);
}

#[test]
fn checksum_counter_and_scale_of_the_worked_example() {
    // Derived: exclusive or of 27 10 27 74 00 00 from 0x5A is 0x3E; 0x2710 × 0.01 − 100 = 0.00
    // and 0x2774 × 0.01 − 100 = 1.00 km/h.
    let step = 0.01 / 3.6;
    let mut left = signal(0, "0.7..0.0 1.7..1.0", step, -100.0 / 3.6);
    left.absent = code(0xFFFF);
    left.broken = code(0xFFFE);
    let right = Signal {
        channel: 1,
        bits: field("2.7..2.0 3.7..3.0"),
        ..left.clone()
    };
    let mut spec = frame(0x2A1, vec![left, right]);
    let bits = field("6.7..6.0");
    spec.checksum = Some(Checksum {
        bits,
        rule: ChecksumRule::Xor,
        first_byte: 0,
        last_byte: 5,
        start: Some(0x5A),
    });
    spec.counter = Some(Counter {
        bits: field("7.3..7.0"),
        step: 1,
    });
    let mut bench = Bench::new(&map(&["own.left", "own.right"], vec![spec]));
    bench.put(0.0, "can0", 0x2A1, &[0x27, 0x10, 0x27, 0x74, 0, 0, 0x3E, 3]);
    bench
        .put(
            10.0,
            "can0",
            0x2A1,
            &[0x27, 0x10, 0x27, 0x74, 0, 0, 0x3F, 4],
        )
        .run();
    let value = |channel: usize| {
        bench
            .values(channel)
            .iter()
            .map(|value| value.unwrap() * 3.6)
            .collect::<Vec<_>>()
    };
    assert!(value(0)[0].abs() < 1e-9 && (value(1)[0] - 1.0).abs() < 1e-9);
    assert_eq!((value(0).len(), bench.n(Code::ChecksumWrong)), (1, 1));
    // Not available and broken; the counter of the damaged frame is not trusted, its place is.
    bench
        .put(
            20.0,
            "can0",
            0x2A1,
            &[0xFF, 0xFF, 0xFF, 0xFE, 0, 0, 0x5B, 5],
        )
        .run();
    assert_eq!((bench.values(0), bench.values(1)), (vec![None], vec![None]));
    assert_eq!(
        (bench.n(Code::SignalBroken), bench.n(Code::CounterSkipped)),
        (1, 1)
    );
    let seen = &bench.decoder.coverage().frames[0];
    assert_eq!(
        (seen.n_seen, seen.n_used, seen.n_checksum_wrong, seen.n_lost),
        (3, 2, 1, 1)
    );
}

#[test]
fn pages_give_no_sample_where_they_are_not() {
    let on = |page| {
        vec![Condition {
            bits: field("0.3..0.0"),
            codes: code(page),
        }]
    };
    let two = Signal {
        on_pages: on(2),
        ..signal(0, "1.7..1.0", 1.0, 0.0)
    };
    let five = Signal {
        on_pages: on(5),
        valid_when: on(5),
        ..signal(1, "1.7..1.0", 1.0, -40.0)
    };
    let mut bench = Bench::new(&map(
        &["own.two", "own.five"],
        vec![frame(0x3C0, vec![two, five])],
    ));
    bench.put(0.0, "can0", 0x3C0, &[2, 7, 0, 0, 0, 0, 0, 0]);
    bench.put(10.0, "can0", 0x3C0, &[5, 90, 0, 0, 0, 0, 0, 0]);
    bench
        .put(20.0, "can0", 0x3C0, &[3, 1, 0, 0, 0, 0, 0, 0])
        .run();
    assert_eq!(bench.samples(0), [(0.0, Some(7.0))]);
    assert_eq!(bench.samples(1), [(10.0, Some(50.0))]);
}

#[test]
fn a_validity_bit_that_is_off_makes_the_sample_missing() {
    let valid_when = vec![Condition {
        bits: field("1.0..1.0"),
        codes: code(1),
    }];
    let spec = frame(
        0x100,
        vec![Signal {
            valid_when,
            ..signal(0, "0.7..0.0", 1.0, 0.0)
        }],
    );
    let mut bench = Bench::new(&map(&["own.a"], vec![spec]));
    bench
        .put(0.0, "can0", 0x100, &[9, 1, 0, 0, 0, 0, 0, 0])
        .byte(10.0, 9)
        .run();
    assert_eq!(bench.values(0), [Some(9.0), None]);
}

#[test]
fn a_short_frame_loses_only_the_signals_beyond_its_end() {
    let spec = frame(
        0x100,
        vec![
            signal(0, "0.7..0.0", 1.0, 0.0),
            signal(1, "7.7..7.0", 1.0, 0.0),
        ],
    );
    let mut bench = Bench::new(&map(&["own.a", "own.b"], vec![spec]));
    bench.put(0.0, "can0", 0x100, &[1, 2, 3]).run();
    assert_eq!(
        (bench.values(0), bench.values(1)),
        (vec![Some(1.0)], vec![None])
    );
    assert_eq!(bench.n(Code::FrameLength), 1);
    bench.put(10.0, "can0", 0x100, &[4; 12]).run();
    assert_eq!(
        (bench.values(0), bench.values(1)),
        (vec![Some(4.0)], vec![Some(4.0)])
    );
    assert_eq!(
        bench.decoder.coverage().frames[0].lengths,
        [(3, 1), (12, 1)]
    );
}

#[test]
fn copies_on_a_second_bus_are_not_taken_twice() {
    let mut bench = Bench::new(&plain());
    for n in 0..10u8 {
        let ms = f64::from(n) * 10.0;
        // Later than a copy on the same bus could be.
        bench
            .byte(ms, n)
            .put(ms + 3.0, "can1", 0x100, &[n, 0, 0, 0, 0, 0, 0, 0]);
    }
    bench.run();
    assert_eq!(bench.block.columns[0].len(), 10);
    assert_eq!(bench.n(Code::FrameDuplicated), 10);
    let seen = &bench.decoder.coverage().frames[0];
    assert_eq!(
        (seen.n_seen, seen.n_elsewhere, seen.bus.as_deref()),
        (10, 10, Some("can0"))
    );
    // The first bus falls silent: the second takes over.
    bench.put(2000.0, "can1", 0x100, &[9; 8]).run();
    assert_eq!(bench.values(0), [Some(9.0)]);
}

#[test]
fn the_map_says_which_bus() {
    let mut map = plain();
    map.buses = vec![Bus {
        name: "main".to_owned(),
        in_log: vec!["can1".to_owned()],
        bit_rate: None,
    }];
    map.frames[0].bus = Some(0);
    let mut bench = Bench::new(&map);
    bench.byte(0.0, 1).put(1.0, "can1", 0x100, &[2; 8]).run();
    assert_eq!(bench.values(0), [Some(2.0)]);
    assert_eq!(bench.decoder.coverage().n_mapped, 1);
    // A new batch may number its buses anew.
    bench.batch = Batch::default();
    bench.put(11.0, "can1", 0x100, &[3; 8]).byte(12.0, 1).run();
    assert_eq!(bench.values(0), [Some(3.0)]);
}

#[test]
fn a_copy_within_a_fifth_of_the_period_is_dropped() {
    let mut bench = Bench::new(&plain());
    bench
        .byte(0.0, 1)
        .byte(1.9, 1)
        .byte(10.0, 1)
        .byte(10.5, 2)
        .byte(13.0, 2)
        .run();
    // 1.9 ms: a copy. 10.5 ms: near, but another payload. 13.0 ms: same, but not near.
    assert_eq!(
        bench.samples(0),
        [
            (0.0, Some(1.0)),
            (10.0, Some(1.0)),
            (10.5, Some(2.0)),
            (13.0, Some(2.0))
        ]
    );
    assert_eq!(bench.n(Code::FrameDuplicated), 1);
}

#[test]
fn copies_are_known_by_the_learned_period_where_none_is_stated() {
    let mut map = plain();
    map.frames[0].period_s = None;
    let mut bench = Bench::new(&map);
    for n in 0..20 {
        bench.byte(f64::from(n) * 10.0, 1);
    }
    bench.byte(191.5, 1).run();
    assert_eq!(
        (bench.block.columns[0].len(), bench.n(Code::FrameDuplicated)),
        (20, 1)
    );
    assert!((bench.decoder.coverage().frames[0].period_s.unwrap() - 0.01).abs() < 1e-9);
}

#[test]
fn a_lossy_log_teaches_no_copies() {
    // Every 20 ms, but mostly lost: the learned period is 200 ms.
    let mut map = plain();
    map.frames[0].period_s = None;
    let mut bench = Bench::new(&map);
    for n in 0..20 {
        bench.byte(f64::from(n) * 200.0, 1);
    }
    bench.byte(3820.0, 1).run();
    assert_eq!(
        (bench.block.columns[0].len(), bench.n(Code::FrameDuplicated)),
        (21, 0)
    );
}

#[test]
fn late_frame_does_not_shift_or_repeat_anything() {
    let mut bench = Bench::new(&plain());
    bench
        .byte(0.0, 1)
        .byte(20.0, 3)
        .byte(10.0, 2)
        .byte(30.0, 4)
        .byte(30.0, 5)
        .run();
    assert_eq!(
        bench.samples(0),
        [(0.0, Some(1.0)), (20.0, Some(3.0)), (30.0, Some(4.0))]
    );
    assert_eq!(bench.n(Code::FrameLate), 2);
}

#[test]
fn a_late_frame_is_no_skip_of_the_counter() {
    let mut map = plain();
    map.frames[0].counter = Some(Counter {
        bits: field("0.3..0.0"),
        step: 1,
    });
    let mut bench = Bench::new(&map);
    bench
        .byte(0.0, 0)
        .byte(10.0, 1)
        .byte(20.0, 2)
        .byte(12.0, 1)
        .byte(30.0, 3)
        .run();
    assert_eq!(
        (bench.n(Code::FrameLate), bench.n(Code::CounterSkipped)),
        (1, 0)
    );
    assert_eq!(bench.decoder.coverage().frames[0].n_seen, 4);
}

#[test]
fn gaps_are_counted_and_not_filled() {
    let mut bench = Bench::new(&plain());
    // 250 ms is not longer than a value may be held; 260 ms is; a cut is none of the frame's gaps.
    bench
        .byte(0.0, 1)
        .byte(250.0, 1)
        .byte(510.0, 2)
        .byte(520.0, 3)
        .byte(1220.0, 4);
    bench.byte(60_000.0, 5).run();
    assert_eq!(bench.block.columns[0].len(), 6);
    let seen = &bench.decoder.coverage().frames[0];
    assert_eq!((seen.n_gaps, seen.longest_gap_s), (2, Some(0.7)));
    assert!((seen.in_gaps_s - 0.96).abs() < 1e-9);
}

#[test]
fn counters_wrap_and_skips_are_counted_with_their_loss() {
    let mut map = plain();
    map.frames[0].counter = Some(Counter {
        bits: field("1.3..1.0"),
        step: 1,
    });
    let mut bench = Bench::new(&map);
    for n in (0..40u8).filter(|n| ![5, 6, 30].contains(n)) {
        bench.put(
            f64::from(n) * 10.0,
            "can0",
            0x100,
            &[7, n % 16, 0, 0, 0, 0, 0, 0],
        );
    }
    bench.run();
    let seen = &bench.decoder.coverage().frames[0];
    assert_eq!((seen.n_counter_skips, seen.n_lost, seen.n_seen), (2, 3, 37));
    assert_eq!(bench.n(Code::CounterSkipped), 2);
}

#[test]
fn remote_and_error_frames_are_counted_and_not_decoded() {
    let mut bench = Bench::new(&plain());
    let bus = bench.batch.bus("can0");
    bench.batch.push_remote(Stamp(0), bus, id(0x100), 8);
    bench.batch.push_frame(
        Stamp(5),
        bus,
        id(0x100),
        FrameKind::Error,
        FrameFlags::default(),
        &[1; 8],
    );
    bench.run();
    assert!(bench.block.columns[0].is_empty());
    assert_eq!(
        (bench.n(Code::RemoteFrame), bench.n(Code::ErrorFrame)),
        (1, 1)
    );
    assert_eq!(bench.decoder.coverage().n_entries, 2);
}

#[test]
fn eleven_and_twenty_nine_bits_are_different_keys_and_ignored_bits_are_ignored() {
    let mut spec = frame(0, vec![signal(0, "0.7..0.0", 1.0, 0.0)]);
    // PGN 65215 from any source at any priority.
    spec.id = FrameId::extended(0x00FE_BF00).unwrap();
    spec.ignored_id_bits = 0x1C00_00FF;
    let mut short = frame(0x0BF, vec![signal(1, "0.7..0.0", 1.0, 0.0)]);
    short.ignored_id_bits = 0x700;
    let mut bench = Bench::new(&map(&["own.long", "own.short"], vec![spec, short]));
    let bus = bench.batch.bus("can0");
    let numbers = [
        (0x18FE_BF0B, 1),
        (0x0CFE_BF11, 2),
        (0x18FE_BE0B, 3),
        (0xBF, 4),
    ];
    for (n, (number, first)) in numbers.into_iter().enumerate() {
        let id = FrameId::extended(number).unwrap();
        let stamp = Stamp(n as i64 * 10_000_000);
        bench.batch.push_frame(
            stamp,
            bus,
            id,
            FrameKind::Data,
            FrameFlags::default(),
            &[first; 8],
        );
    }
    bench.put(40.0, "can0", 0x3BF, &[5; 8]).run();
    assert_eq!(bench.values(0), [Some(1.0), Some(2.0)]);
    assert_eq!(bench.values(1), [Some(5.0)]);
}

#[test]
fn a_jump_of_the_clock_cuts_and_nothing_is_compared_across_it() {
    let mut map = plain();
    map.frames[0].signals[0].rate_under = Some(100.0);
    map.frames[0].counter = Some(Counter {
        bits: field("1.3..1.0"),
        step: 1,
    });
    let mut bench = Bench::new(&map);
    bench
        .byte(0.0, 1)
        .put(10.0, "can0", 0x100, &[1, 1, 0, 0, 0, 0, 0, 0]);
    bench.put(1.5e12, "can0", 0x100, &[200, 9, 0, 0, 0, 0, 0, 0]);
    bench.put(1.5e12 - 5e6, "can0", 0x100, &[90, 3, 0, 0, 0, 0, 0, 0]);
    bench
        .put(
            1.5e12 - 5e6 + 40_000.0,
            "can0",
            0x100,
            &[91, 4, 0, 0, 0, 0, 0, 0],
        )
        .run();
    assert_eq!(bench.values(0), [1.0, 1.0, 200.0, 90.0, 91.0].map(Some));
    assert_eq!(bench.block.cuts.len(), 3);
    let codes = [
        Code::ClockJumpForward,
        Code::ClockJumpBack,
        Code::ClockSilence,
        Code::CounterSkipped,
        Code::ValueTooFast,
    ];
    assert_eq!(codes.map(|code| bench.n(code)), [1, 1, 1, 0, 0]);
    let coverage = bench.decoder.coverage();
    assert_eq!(
        coverage
            .cuts
            .iter()
            .map(|(_, cut)| *cut)
            .collect::<Vec<_>>(),
        [Cut::JumpForward, Cut::JumpBack, Cut::Silence]
    );
    assert_eq!((coverage.n_cuts, coverage.covered_ns), (3, 10_000_000));
    // The next block begins without cuts.
    assert!(bench.run().block.cuts.is_empty());
}

#[test]
fn a_wrong_digit_in_a_stamp_costs_its_entry_and_no_more() {
    let mut bench = Bench::new(&plain());
    // Ahead by minutes, behind by hours, ahead by seconds twice on end.
    for (ms, byte) in [
        (0.0, 1),
        (10.0, 2),
        (400_020.0, 99),
        (30.0, 3),
        (-7_200_000.0, 99),
        (40.0, 4),
        (9050.0, 99),
        (8060.0, 99),
        (50.0, 5),
        (60.0, 6),
    ] {
        bench.byte(1e9 + ms, byte);
    }
    bench.run();
    assert_eq!(bench.values(0), [1.0, 2.0, 3.0, 4.0, 5.0, 6.0].map(Some));
    assert!(bench.block.cuts.is_empty());
    assert_eq!(bench.n(Code::StampOff), 4);
    assert_eq!(bench.decoder.coverage().covered_ns, 60_000_000);
}

#[test]
fn unmapped_entries_move_the_clock() {
    let mut bench = Bench::new(&plain());
    for s in 0..100u32 {
        bench.put(f64::from(s) * 1e3, "can0", 0x7FF, &[]);
    }
    bench.byte(100e3, 1).run();
    assert_eq!(bench.samples(0), [(100e3, Some(1.0))]);
    assert!(bench.block.cuts.is_empty());
    assert_eq!(bench.block.until, Time::from_seconds(100.0));
}

#[test]
fn too_fast_and_beyond_belief_are_missing() {
    let mut map = plain();
    map.frames[0].signals[0].rate_under = Some(300.0);
    map.frames[0].signals[0].believe = Some((0.0, 200.0));
    let mut bench = Bench::new(&map);
    for (n, value) in [20, 22, 100, 24, 250, 26].into_iter().enumerate() {
        bench.byte(n as f64 * 10.0, value);
    }
    bench.run();
    assert_eq!(
        bench.values(0),
        [Some(20.0), Some(22.0), None, Some(24.0), None, Some(26.0)]
    );
    assert_eq!(
        (
            bench.n(Code::ValueTooFast),
            bench.n(Code::ValueBeyondBelief)
        ),
        (1, 1)
    );
}

#[test]
fn a_late_signal_is_put_where_it_was_true() {
    let mut map = plain();
    map.channels[0].late_by_s = 0.008;
    let mut bench = Bench::new(&map);
    // The first sample belongs to before the log.
    bench.byte(0.0, 1).byte(10.0, 2).byte(20.0, 3).run();
    assert_eq!(bench.samples(0), [(2.0, Some(2.0)), (12.0, Some(3.0))]);
}

#[test]
fn rows_of_a_sheet_feed_channels_and_an_empty_cell_is_no_sample() {
    use halfshaft_model::sheet::{SheetContent, SheetSpec, TimeKind};
    let mut map = map(&["own.a", "own.b"], Vec::new());
    let column = |channel, si_per_unit, si_at_zero| SheetColumn {
        channel,
        si_per_unit,
        si_at_zero,
        believe: Some((-50.0, 200.0)),
        rate_under: None,
    };
    let spec = SheetSpec {
        name: "export".to_owned(),
        delimiter: None,
        decimal_mark: None,
        time_column: None,
        time_kind: TimeKind::Number {
            seconds_per_unit: 1.0,
        },
        unit_row: false,
        has_header: true,
        comment: None,
        missing_marks: Vec::new(),
        content: SheetContent::Channels(Vec::new()),
    };
    map.sheets = vec![Sheet {
        spec,
        columns: vec![column(0, 2.0, 0.0), column(1, 1.0, -40.0)],
    }];
    let mut bench = Bench::new(&map);
    bench.batch.push_row(Stamp(0), 0, [Some(1.0), None]);
    bench
        .batch
        .push_row(Stamp(1_000_000), 0, [Some(500.0), Some(60.0)]);
    bench.batch.push_row(Stamp(1_000_000), 0, [Some(3.0)]);
    bench.batch.push_row(Stamp(2_000_000), 9, [Some(1.0)]);
    bench.run();
    assert_eq!(bench.samples(0), [(0.0, Some(2.0)), (1.0, None)]);
    assert_eq!(bench.samples(1), [(1.0, Some(20.0))]);
    assert_eq!(
        (bench.n(Code::ValueBeyondBelief), bench.n(Code::FrameLate)),
        (1, 1)
    );
    assert_eq!(bench.decoder.coverage().sheets, [3]);
}

/// Two inputs in two frames, their sum, and twice the sum.
fn with_formula() -> Map {
    let mut map = map(
        &["own.a", "own.b", "own.sum", "own.double"],
        vec![
            frame(0x100, vec![signal(0, "0.7..0.0", 1.0, 0.0)]),
            frame(0x200, vec![signal(1, "0.7..0.0", 1.0, 0.0)]),
        ],
    );
    let sum = |a, b| Formula::Sum(Box::new(Formula::Channel(a)), Box::new(Formula::Channel(b)));
    map.derived = vec![
        Derived {
            channel: 2,
            formula: sum(0, 1),
        },
        Derived {
            channel: 3,
            formula: sum(2, 2),
        },
    ];
    map
}

#[test]
fn worked_out_channels_follow_each_input_and_stale_inputs_are_missing() {
    let mut bench = Bench::new(&with_formula());
    bench
        .byte(0.0, 1)
        .put(5.0, "can0", 0x200, &[2; 8])
        .byte(10.0, 3);
    // An unmapped frame works nothing out.
    bench.put(12.0, "can0", 0x300, &[0; 8]);
    bench.byte(255.0, 4).byte(256.0, 5).run();
    let want = [
        (0.0, None),
        (5.0, Some(3.0)),
        (10.0, Some(5.0)),
        (255.0, Some(6.0)),
        (256.0, None),
    ];
    assert_eq!(bench.samples(2), want);
    assert_eq!(
        bench.samples(3),
        want.map(|(ms, value)| (ms, value.map(|value| value * 2.0)))
    );
    // A slow channel reaches three of its periods.
    let mut map = with_formula();
    map.channels[1].period_s = Some(1.0);
    let mut bench = Bench::new(&map);
    bench
        .put(0.0, "can0", 0x200, &[2; 8])
        .byte(3000.0, 1)
        .byte(3001.0, 1)
        .run();
    assert_eq!(bench.samples(2), [(0.0, None), (3000.0, Some(3.0))]);
}

#[test]
fn worked_out_channels_do_not_reach_across_a_cut() {
    let mut bench = Bench::new(&with_formula());
    bench.byte(0.0, 1).put(5.0, "can0", 0x200, &[2; 8]);
    bench.byte(-100_000.0, 7).run();
    assert_eq!(bench.values(2), [None, Some(3.0), None]);
}

#[test]
fn columns_of_a_channel_with_two_sources_rise() {
    let mut map = plain();
    map.frames
        .push(frame(0x101, vec![signal(0, "0.7..0.0", 1.0, 0.0)]));
    let mut bench = Bench::new(&map);
    bench
        .byte(0.0, 1)
        .put(5.0, "can0", 0x101, &[2; 8])
        .byte(10.0, 3)
        .put(9.0, "can0", 0x101, &[4; 8])
        .run();
    assert_eq!(
        bench.samples(0),
        [(0.0, Some(1.0)), (5.0, Some(2.0)), (10.0, Some(3.0))]
    );
    assert_eq!(bench.n(Code::FrameLate), 1);
}

#[test]
fn a_place_is_a_line_of_the_log_or_else_the_number_of_the_entry() {
    let mut bench = Bench::new(&plain());
    bench.byte(0.0, 1).run();
    bench
        .put(5.0, "can0", 0x300, &[])
        .put(10.0, "can0", 0x100, &[1])
        .run();
    let (_, tally) = bench.decoder.notices().iter().next().unwrap();
    assert_eq!(tally.first.to_string(), "log entry:3");
    assert_eq!(tally.example, "0x100 has 1 bytes, the map says 8");

    let mut bench = Bench::new(&plain());
    bench.batch.inputs = vec!["a.log".to_owned(), "b.log".to_owned()];
    bench.batch.set_input(1);
    bench.batch.set_line(7);
    bench.put(0.0, "can0", 0x100, &[1]).run();
    let (_, tally) = bench.decoder.notices().iter().next().unwrap();
    assert_eq!(tally.first.to_string(), "b.log:7");
}

/// What joins messages sent in several frames will be like: the first byte says how many
/// bytes follow in this frame and those behind it.
fn join(pieces: &Batch) -> Batch {
    let mut whole = pieces.of_same_log();
    let (mut first, mut bytes, mut n_wanted) = (0, Vec::new(), 0);
    for (index, entry) in pieces.entries.iter().enumerate() {
        let Entry::Frame(frame) = entry else {
            whole.push_from(pieces, index);
            continue;
        };
        let payload = pieces.payload(frame);
        if n_wanted == 0 {
            (first, n_wanted) = (index, usize::from(payload[0]) * 7);
        }
        bytes.extend_from_slice(&payload[1..]);
        if bytes.len() >= n_wanted {
            let place = pieces.place(first).unwrap();
            whole.set_input(
                pieces
                    .inputs
                    .iter()
                    .position(|name| *name == place.source)
                    .unwrap() as u32,
            );
            whole.set_line(place.line);
            whole.push_frame(
                frame.stamp,
                frame.bus,
                frame.id,
                frame.kind,
                frame.flags,
                &bytes,
            );
            (bytes, n_wanted) = (Vec::new(), 0);
        }
    }
    whole
}

#[test]
fn a_stage_before_the_decoder_may_join_frames_to_long_payloads() {
    let mut spec = frame(0x100, vec![signal(0, "0.7..0.0", 1.0, 0.0)]);
    // Beyond what a byte can count, and not in a row, so that both ways are used.
    let runs = [(699, 7), (300, 7)].map(|(byte, high)| BitRun { byte, high, low: 0 });
    spec.signals[0].bits = BitField {
        runs: runs.to_vec(),
    };
    spec.signals.push(Signal {
        channel: 1,
        bits: BitField {
            runs: vec![BitRun {
                byte: 698,
                high: 7,
                low: 0,
            }],
        },
        ..spec.signals[0].clone()
    });
    spec.length = 701;
    let mut bench = Bench::new(&map(&["own.a", "own.b"], vec![spec]));
    bench.batch.inputs = vec!["a.log".to_owned()];
    bench.batch.set_input(0);
    for n in 0..100_u8 {
        bench.batch.set_line(u64::from(n) + 1);
        let bytes = [100, n, 0, 0, 0, 0, n + 100, n];
        bench.put(f64::from(n) / 10.0, "can0", 0x100, &bytes);
    }
    bench.batch = join(&bench.batch);
    assert_eq!(bench.batch.entries.len(), 1);
    bench.run();
    // Bytes 699 and 300: the seventh of the hundredth frame, and the seventh of the 43rd.
    assert_eq!(bench.values(0), [Some(f64::from(99 * 256 + 42))]);
    assert_eq!(bench.values(1), [Some(199.0)]);
    let seen = &bench.decoder.coverage().frames[0];
    assert_eq!(seen.lengths, [(700, 1)]);
    let (_, tally) = bench.decoder.notices().iter().next().unwrap();
    assert_eq!(tally.first.to_string(), "a.log:1");
    assert_eq!(tally.example, "0x100 has 700 bytes, the map says 701");
}

/// Where a signal takes no short way, no length of a payload may look like one that does.
#[test]
fn no_payload_is_long_enough_for_a_way_that_is_not_there() {
    let mut map = plain();
    map.frames[0].signals[0].number = Number::SignMagnitude;
    let mut bench = Bench::new(&map);
    let mut payload = vec![1; 4095];
    payload[0] = 0x85;
    bench.put(0.0, "can0", 0x100, &payload).run();
    assert_eq!(bench.values(0), [Some(-5.0)]);
}

fn any_field() -> impl Strategy<Value = BitField> {
    let run = (0..70u16, any::<u8>(), any::<u8>()).prop_map(|(byte, high, low)| BitRun {
        byte,
        high,
        low,
    });
    prop::collection::vec(run, 0..5).prop_map(|runs| BitField { runs })
}

fn any_frame() -> impl Strategy<Value = FrameSpec> {
    let numbers = (
        0..8u32,
        any::<bool>(),
        any::<u32>(),
        0..3usize,
        0..300u16,
        any::<Option<f64>>(),
    );
    let fields = (
        any_field(),
        any_field(),
        any_field(),
        any::<u64>(),
        0..5usize,
        any::<(f64, f64)>(),
        0..300u16,
    );
    (numbers, fields).prop_map(
        |((number, is_long, ignored_id_bits, bus, length, period_s), rest)| {
            let (bits, other, checked, step, channel, scale, byte) = rest;
            let condition = Condition {
                bits: other.clone(),
                codes: vec![CodeRange {
                    first: 0,
                    last: u64::MAX / 2,
                }],
            };
            let signal = Signal {
                bits: bits.clone(),
                number: [Number::Float, Number::Signed, Number::SignMagnitude][bus],
                rate_under: period_s,
                believe: Some(scale),
                valid_when: vec![condition],
                ..signal(channel, "0.7..0.0", scale.0, scale.1)
            };
            let rule = [
                ChecksumRule::Xor,
                ChecksumRule::Sum,
                ChecksumRule::Crc8J1850,
            ][bus];
            let checksum = Checksum {
                bits: checked,
                rule,
                first_byte: byte,
                last_byte: length,
                start: None,
            };
            FrameSpec {
                id: if is_long {
                    FrameId::extended(number)
                } else {
                    FrameId::standard(number)
                }
                .unwrap(),
                ignored_id_bits,
                bus: Some(bus),
                length,
                period_s,
                counter: Some(Counter { bits: other, step }),
                checksum: Some(checksum).filter(|_| length > 8),
                signals: vec![signal],
                line: 1,
            }
        },
    )
}

proptest! {
    #[test]
    fn any_log_and_any_map_give_rising_finite_columns(
        frames in prop::collection::vec(any_frame(), 0..6),
        late_by_s in any::<f64>(),
        entries in prop::collection::vec(
            (any::<i64>(), 0..40i64, 0..3usize, 0..8u32, any::<bool>(), prop::collection::vec(any::<u8>(), 0..64)),
            0..60,
        ),
    ) {
        let mut map = map(&["own.a", "own.b", "own.c", "own.d"], frames);
        map.channels[1].late_by_s = late_by_s;
        map.channels[2].period_s = Some(late_by_s);
        let input = || Box::new(Formula::Channel(1));
        map.derived = vec![
            Derived { channel: 3, formula: Formula::Delay(Box::new(Formula::LowPass(input(), late_by_s)), late_by_s) },
            Derived { channel: 77, formula: Formula::Channel(99) },
        ];
        let mut bench = Bench::new(&map);
        let mut stamp = 0i64;
        let mut latest = [Time(i64::MIN); 4];
        for (wild, ms, bus, number, is_long, payload) in entries {
            stamp = if ms == 39 { wild } else { stamp.saturating_add((ms - 5) * 1_000_000) };
            let bus = bench.batch.bus(["can0", "can1", ""][bus]);
            let id = if is_long { FrameId::extended(number) } else { FrameId::standard(number) }.unwrap();
            bench.batch.push_frame(Stamp(stamp), bus, id, FrameKind::Data, FrameFlags::default(), &payload);
            bench.run();
            for (column, latest) in bench.block.columns.iter().zip(&mut latest) {
                for (time, value) in column.iter() {
                    prop_assert!(time > *latest);
                    prop_assert!(value.is_none_or(f64::is_finite));
                    *latest = time;
                }
            }
        }
    }
}

proptest! {
    #[test]
    fn where_batches_end_changes_nothing(
        entries in prop::collection::vec((0..63i64, 0..3u32, 0..4u8, any::<bool>()), 0..80),
        ends in prop::collection::vec(any::<bool>(), 80),
    ) {
        let mut map = with_formula();
        map.frames[1].period_s = None;
        map.frames[0].signals[0].rate_under = Some(50.0);
        let run = |ends: &dyn Fn(usize) -> bool| {
            let mut bench = Bench::new(&map);
            let mut all = Block::new(4);
            let mut ms = 0i64;
            for (n, &(step, number, first, is_second_bus)) in entries.iter().enumerate() {
                // A silence, a clock set back, and stamps that are wrong by themselves.
                let wrong = match step {
                    59 => { ms += 40_000; 0 }
                    58 => { ms -= 5_000; 0 }
                    60.. => (step - 61) * 100_000 + 7_000,
                    _ => { ms += step - 3; 0 }
                };
                let bus = if is_second_bus { "can1" } else { "can0" };
                bench.put((ms + wrong) as f64, bus, 0x100 * (number + 1), &[first; 8]);
                if ends(n) {
                    bench.decoder.push(&bench.batch, &mut bench.block);
                    bench.batch.clear();
                    append(&mut all, &bench.block);
                }
            }
            bench.run();
            append(&mut all, &bench.block);
            let columns: Vec<Vec<_>> = all.columns.iter().map(|column| column.iter().collect()).collect();
            let decoder = &bench.decoder;
            (columns, all.cuts, all.until, decoder.coverage(), decoder.notices().clone())
        };
        let whole = run(&|_| false);
        prop_assert_eq!(&run(&|_| true), &whole);
        prop_assert_eq!(&run(&|n| ends[n]), &whole);
    }
}
