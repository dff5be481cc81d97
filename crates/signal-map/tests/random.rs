//! Random sound maps: putting a map in standard form changes nothing of what it says,
//! and doing it again changes nothing at all.

use halfshaft_signal_map::{Map, format, parse};
use proptest::prelude::*;

/// A line: its level and what it says.
type Lines = Vec<(usize, String)>;

fn line(lines: &mut Lines, level: usize, sentence: impl Into<String>) {
    lines.push((level, sentence.into()));
}

fn vehicle() -> impl Strategy<Value = Lines> {
    let place = prop::sample::select(vec![
        "clutch between case and one side gear",
        "clutch between case and left side gear",
        "clutches between case and both side gears",
        "clutch between left and right shaft",
    ]);
    let radius = prop::sample::select(vec![
        "tyre 225/45R17",
        "rolling radius 310 mm ± 1 %",
        "roll-out 1.95 metres +/- 5 mm",
    ]);
    let oil = prop::sample::select(vec![
        "oil 0.95 litres",
        "oil 950 mL",
        "oil warn at 266 °F",
        "oil named \"75W \\\"LS\\\"\"",
    ]);
    (place, radius, oil, 1u32..40, 1u32..200, any::<bool>()).prop_map(
        |(place, radius, oil, faces, preload, bench)| {
            let mut lines = Lines::new();
            line(&mut lines, 0, "vehicle \"Random # estate\"");
            for said in [
                place,
                radius,
                oil,
                "outer radius 61.0 mm",
                "inner radius 4.45 cm",
                "friction 0.115 +/- 15%",
            ] {
                line(&mut lines, 1, said);
            }
            line(&mut lines, 1, format!("faces {faces}"));
            let preload_line = if bench {
                format!("break-away at one wheel {preload} Nm +/- 3 N.m")
            } else {
                format!("preload {preload} N·m")
            };
            line(&mut lines, 1, preload_line);
            lines
        },
    )
}

#[derive(Clone, Debug)]
struct RandomSignal {
    n_bits: usize,
    number: u8,
    little_end_first: bool,
    step: u16,
    zero: i16,
    extras: u8,
}

fn signals() -> impl Strategy<Value = Vec<RandomSignal>> {
    let one = (
        1usize..=24,
        0u8..4,
        any::<bool>(),
        1u16..1000,
        any::<i16>(),
        any::<u8>(),
    );
    let one = one.prop_map(
        |(n_bits, number, little_end_first, step, zero, extras)| RandomSignal {
            n_bits,
            number,
            little_end_first,
            step,
            zero,
            extras,
        },
    );
    proptest::collection::vec(one, 1..8)
}

/// Bits `first..first + n` of a frame, counted from bit 7 of byte 0, as runs.
fn runs(first: usize, n: usize, little_end_first: bool) -> String {
    let mut runs: Vec<String> = Vec::new();
    let mut at = first;
    while at < first + n {
        let (byte, high) = (at / 8, 7 - at % 8);
        let end = (first + n).min((byte + 1) * 8);
        let low = 7 - (end - 1) % 8;
        runs.push(if high == low {
            format!("{byte}.{high}")
        } else {
            format!("{byte}.{high}..{byte}.{low}")
        });
        at = end;
    }
    if little_end_first {
        runs.reverse();
    }
    runs.join(" ")
}

fn frame(number: usize, signals: Vec<RandomSignal>, extended: bool, paged: bool) -> Lines {
    let mut lines = Lines::new();
    let id = if extended {
        format!("0x{:08x}", 0x0cf0_0000 + number * 256)
    } else {
        format!("0x{:x}", 0x100 + number)
    };
    line(
        &mut lines,
        0,
        format!(
            "frame {id}{}",
            if number.is_multiple_of(2) {
                " on main"
            } else {
                ""
            }
        ),
    );
    line(&mut lines, 1, "length 32 bytes");
    line(&mut lines, 1, "every 10 milliseconds");
    if extended {
        line(&mut lines, 1, "ignore id bits 7..0");
    }
    line(&mut lines, 1, "counter 31.3..31.0 steps by 1");
    line(
        &mut lines,
        1,
        "checksum byte 30 is crc-8-j1850 of bytes 0 to 29 from 0xfe",
    );
    let level = if paged { 2 } else { 1 };
    if paged {
        line(&mut lines, 1, "page 31.7..31.6 is 1 or 2 to 0x3");
        line(&mut lines, 2, "every 0.04 s");
    }
    let mut at = 0_usize;
    for (index, signal) in signals.iter().enumerate() {
        let n = if signal.number == 3 {
            32
        } else {
            signal.n_bits.max(2)
        };
        if signal.number == 3 {
            // A float begins at a byte here, to have both spellings of whole bytes.
            at = at.div_ceil(8) * 8;
        }
        let bits = if n == 32 && signal.little_end_first {
            let byte = at / 8;
            format!("bytes {} {} {} {}", byte + 3, byte + 2, byte + 1, byte)
        } else {
            runs(at, n, signal.little_end_first)
        };
        at += n;
        line(
            &mut lines,
            level,
            format!("own.f{number}_s{index} in {bits}"),
        );
        let said = |lines: &mut Lines, sentence: String| line(lines, level + 1, sentence);
        let kind =
            ["unsigned", "signed", "sign and magnitude", "float"][usize::from(signal.number)];
        said(&mut lines, kind.to_owned());
        said(&mut lines, format!("step {}e-3 kph", signal.step));
        said(&mut lines, format!("zero at {} km/h", signal.zero));
        let extras = [
            "absent 0x3".to_owned(),
            "broken 1 or 2 to 3".to_owned(),
            format!("believe -{} to {} mph", signal.step, signal.step),
            "changes at most 3 m/s per min".to_owned(),
            "valid when 31.5 is 1".to_owned(),
            "late by 8ms".to_owned(),
            "holds between samples".to_owned(),
            format!("full at {} km/h", signal.step),
        ];
        for (bit, extra) in extras.into_iter().enumerate() {
            if signal.extras >> bit & 1 == 1 {
                said(&mut lines, extra);
            }
        }
    }
    lines
}

fn others(pick: u8) -> Lines {
    let mut lines = Lines::new();
    line(&mut lines, 0, "bus main");
    line(&mut lines, 1, "in the log \"can0\"");
    line(&mut lines, 1, "bit rate 0.5 Mbit/s");
    if pick & 1 == 1 {
        line(&mut lines, 0, "table curve");
        for said in [
            "input percent",
            "output Nm",
            "refuse beyond its ends",
            "at -10 gives 60",
            "at 1e2 gives 1100.50",
        ] {
            line(&mut lines, 1, said);
        }
        line(
            &mut lines,
            0,
            "work out own.curve=curve(clamp(own.f0_s0/(1kph),0%,100 %))",
        );
    }
    if pick & 2 == 2 {
        line(&mut lines, 0, "sheet \"export; # 1\"");
        for said in [
            "columns parted by \";\"",
            "decimal mark \",\"",
            "unit row",
            "missing is \"-\"",
            "time in \"t\" or \"Zeit\" as ms",
        ] {
            line(&mut lines, 1, said);
        }
        line(&mut lines, 1, "wheel.rear.left in \"Rad HL\"");
        line(&mut lines, 2, "unit 1/min");
        line(&mut lines, 1, "own.sheet in column 12");
        line(&mut lines, 2, "step 0.1 none");
        line(
            &mut lines,
            0,
            "work out own.slow = low-pass(if(own.sheet>=1,-own.sheet ,max(own.sheet,2)), 0.5 s)",
        );
    }
    if pick & 4 == 4 {
        line(&mut lines, 0, "sheet \"rows\"");
        for said in [
            "rows are frames",
            "time in column 1 as ISO 8601",
            "id in column 2 as hexadecimal",
            "bytes in columns 3 to 10 as decimal",
        ] {
            line(&mut lines, 1, said);
        }
    }
    lines
}

/// The lines as a careless hand writes them.
fn carelessly(lines: &Lines, seed: &[u8]) -> String {
    let mut picks = seed.iter().copied().cycle();
    let mut pick = move |n: u8| picks.next().unwrap_or_default() % n;
    let indent = 1 + usize::from(pick(5));
    let mut text = String::new();
    for (level, sentence) in lines {
        if pick(5) == 0 {
            text.push_str("   \n");
        }
        if pick(6) == 0 {
            text.push_str(&" ".repeat(usize::from(pick(20))));
            text.push_str("#a note\t \n");
        }
        text.push_str(&" ".repeat(level * indent));
        let mut in_text = false;
        for c in sentence.chars() {
            in_text ^= c == '"';
            text.push(c);
            if c == ' ' && !in_text && pick(4) == 0 {
                text.push_str("  ");
            }
        }
        match pick(6) {
            0 => text.push_str(" # why\r\n"),
            1 => text.push_str("  \n"),
            _ => text.push('\n'),
        }
    }
    text
}

/// The map without its line numbers.
fn unplaced(mut map: Map) -> Map {
    for frame in &mut map.frames {
        frame.line = 0;
        frame.signals.iter_mut().for_each(|signal| signal.line = 0);
    }
    map.proofs.iter_mut().for_each(|proof| proof.line = 0);
    map
}

fn a_map() -> impl Strategy<Value = (Lines, Vec<u8>)> {
    let frames = proptest::collection::vec((signals(), any::<bool>(), any::<bool>()), 1..4);
    (
        vehicle(),
        frames,
        any::<u8>(),
        proptest::collection::vec(any::<u8>(), 1..97),
    )
        .prop_map(|(vehicle, frames, pick, seed)| {
            let mut lines = vehicle;
            lines.extend(others(pick));
            for (number, (signals, extended, paged)) in frames.into_iter().enumerate() {
                lines.extend(frame(number, signals, extended, paged));
            }
            (lines, seed)
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn standard_form_is_stable_and_says_the_same((lines, seed) in a_map()) {
        let text = carelessly(&lines, &seed);
        let map = parse("x.map", &text).map_err(|mistakes| TestCaseError::fail(format!("{}\n{text}", mistakes.render(false))))?.map;
        let standard = format("x.map", &text).unwrap();
        prop_assert_eq!(&format("x.map", &standard).unwrap(), &standard);
        let again = parse("x.map", &standard).unwrap().map;
        prop_assert_eq!(&again.fingerprint, &map.fingerprint);
        prop_assert_eq!(unplaced(again), unplaced(map));
        // Notes are kept, every one.
        prop_assert_eq!(standard.matches("#a note").count(), text.matches("#a note").count());
        prop_assert_eq!(standard.matches("# why").count(), text.matches("# why").count());
    }

    #[test]
    fn every_signal_written_is_in_the_map((lines, seed) in a_map()) {
        let map = parse("x.map", &carelessly(&lines, &seed)).unwrap().map;
        let written = lines.iter().filter(|(_, sentence)| sentence.starts_with("own.f")).count();
        let read: usize = map.frames.iter().map(|frame| frame.signals.len()).sum();
        prop_assert_eq!(read, written);
    }
}

#[test]
fn the_fingerprint_follows_what_is_said_and_not_how() {
    let print = |text: &str| parse("x.map", text).unwrap().map.fingerprint;
    let plain = print("vehicle \"A\"\n  mass 1500 kg\n");
    assert_eq!(plain.len(), 16);
    assert_eq!(
        plain,
        print("# note\n\nvehicle   \"A\" # b\n      mass 1500  kg\n")
    );
    assert_ne!(plain, print("vehicle \"A\"\n  mass 1501 kg\n"));
    assert_ne!(plain, print("vehicle \"A \"\n  mass 1500 kg\n"));
}
