//! Any bytes, any words and any size into the parser and the formatter: no panic, and an
//! answer in bounded time.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot read its own files has failed"
)]

use halfshaft_signal_map::mistakes::MOST_PRINTED;
use halfshaft_signal_map::syntax::forms::{FORMS, Piece};
use halfshaft_signal_map::syntax::slots::SlotKind;
use halfshaft_signal_map::{MistakeCode, format, parse, parse_bytes};
use proptest::prelude::*;
use std::time::{Duration, Instant};

/// Reads, draws and formats; what is drawn must name the text.
fn survive(text: &str) {
    match parse("x.map", text) {
        Ok(checked) => drop(checked.warnings.render(false)),
        Err(mistakes) => {
            assert!(!mistakes.is_empty() && mistakes.iter().count() <= MOST_PRINTED);
            assert!(mistakes.render(true).contains("x.map"));
            for mistake in mistakes.iter() {
                assert!(mistake.line >= 1 && mistake.column >= 1 && mistake.length >= 1);
                assert!(!mistake.message.is_empty() && !mistake.message.contains('\n'));
            }
        }
    }
    if let Ok(standard) = format("x.map", text) {
        assert_eq!(format("x.map", &standard).unwrap(), standard);
    }
}

/// Something that fills a slot, or nearly.
fn filling(kind: SlotKind) -> &'static [&'static str] {
    match kind {
        SlotKind::Text => &["\"a\"", "\"\"", "\"é # \\\" x\""],
        SlotKind::Name => &[
            "own.a",
            "own.b",
            "main",
            "wheel.rear.left",
            "clutch.torque",
            "t",
            "oil.temperature",
        ],
        SlotKind::Id => &["0x100", "0x1FFFFFFF", "0x7FF", "0xFFFFFFFF"],
        SlotKind::Bits => &[
            "bytes 0 1",
            "0.7..0.0",
            "5.3",
            "byte 63",
            "bytes 3 2 1 0",
            "9.0",
        ],
        SlotKind::Codes => &["0", "1 to 3", "0xFF or 2", "18446744073709551615"],
        SlotKind::Code | SlotKind::Integer => &["0", "8", "0x5A", "64", "99999999999999999999"],
        SlotKind::Number => &["0", "-1.5", "1e308", "3"],
        SlotKind::Numbers => &["1 2 3", "-1", "1e308 -1e308"],
        SlotKind::Quantity => &[
            "1 %",
            "0 km/h",
            "-5 degC",
            "1e300 km",
            "2 N.m",
            "10 ms",
            "1e-320 rad/s",
        ],
        SlotKind::Measure => &["1 m", "2 m +/- 3 %", "1 N.m +/- 2 mm", "5 m ± 1 m"],
        SlotKind::Ratio => &["0.1", "0.1 +/- 0.02", "-3 +/- 5 %"],
        SlotKind::Unit => &["km/h", "none", "degF", "N.m", "1/s", "K"],
        SlotKind::Range => &["0 to 5 km/h", "5 to 0 %", "-1e308 to 1e308 m"],
        SlotKind::BitRate => &["500 kbit/s", "0 bit/s"],
        SlotKind::Tyre => &["225/45 R17", "1/1 R1"],
        SlotKind::Column => &["\"a\"", "column 1", "\"a\" or \"b\"", "column 0"],
        SlotKind::Columns => &["columns 1 to 8", "column 2", "columns 1 to 9999"],
        SlotKind::IdBits => &["7..0", "28", "31..0"],
        SlotKind::Bytes => &["27 10", "0102030405060708", "1"],
        SlotKind::Rule => &["xor", "sum", "crc-8-j1850", "crc"],
        SlotKind::Meaning => &["pack torque", "share", "axle"],
        SlotKind::Delimiter => &["tab", "\";\"", "\";;\""],
        SlotKind::TimeKind => &["s", "clock time", "ISO 8601", "km"],
        SlotKind::Base => &["hexadecimal", "decimal"],
        SlotKind::Formula => &[
            "own.a + 1",
            "if(own.a < 1, 2, 3)",
            "t(own.b)",
            "mean(own.a, own.b) / 0",
            "((((1))))",
        ],
    }
}

fn sentence() -> impl Strategy<Value = String> {
    (0..FORMS.len(), any::<[u8; 6]>(), any::<bool>()).prop_map(|(index, picks, whole)| {
        let mut words: Vec<String> = Vec::new();
        let mut picks = picks.into_iter().cycle();
        let mut add = |piece: &Piece, words: &mut Vec<String>| match piece {
            Piece::Literal(word) => words.push((*word).to_owned()),
            Piece::Slot(kind) => {
                let choices = filling(*kind);
                let pick = usize::from(picks.next().unwrap_or_default());
                words.push(choices[pick % choices.len()].to_owned());
            }
            Piece::Optional(_) => {}
        };
        for piece in &FORMS[index].pieces {
            match piece {
                Piece::Optional(group) if whole => {
                    group.iter().for_each(|piece| add(piece, &mut words))
                }
                Piece::Optional(_) => {}
                piece => add(piece, &mut words),
            }
        }
        words.join(" ")
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        if let Err(mistakes) = parse_bytes("x.map", &bytes) {
            prop_assert!(!mistakes.render(false).is_empty());
        }
        survive(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn any_text(text in "(?s).{0,300}") {
        survive(&text);
    }

    #[test]
    fn any_sentences_at_any_level(lines in proptest::collection::vec((0usize..5, sentence(), any::<bool>()), 0..60)) {
        let text: String = lines
            .iter()
            .map(|(level, sentence, note)| format!("{}{sentence}{}\n", "  ".repeat(*level), if *note { " # n" } else { "" }))
            .collect();
        survive(&text);
    }

    #[test]
    fn a_sound_map_with_a_piece_cut_out(from in 0usize..6000, length in 0usize..40) {
        let text = include_str!("../../../signal-maps/brackenford-hx.map");
        let kept = |at: usize| text.char_indices().map(|(index, _)| index).take_while(|index| *index <= at).last().unwrap_or(0);
        let start = kept(from.min(text.len()));
        let end = kept((from + length).min(text.len())).max(start);
        survive(&format!("{}{}", &text[..start], &text[end..]));
    }
}

#[test]
fn great_texts_are_answered_in_time() {
    let many = |n: usize, line: &dyn Fn(usize) -> String| (0..n).map(line).collect::<String>();
    let frame = "frame 0x100\n  length 64 bytes\n";
    let texts = [
        ("one long line", "a ".repeat(2 << 20)),
        (
            "long lines",
            many(2000, &|_| format!("{}\n", "(".repeat(1999))),
        ),
        ("many lines", many(1 << 20, &|_| "aa\n".to_owned())),
        ("too long", " ".repeat((4 << 20) + 1)),
        (
            "deep",
            many(3000, &|n| format!("{}a\n", " ".repeat(n % 1900))),
        ),
        (
            "deep facts",
            many(500, &|n| format!("{}page 0.0 is 1\n", " ".repeat(n))),
        ),
        (
            "unknown words",
            many(49_000, &|n| format!("vehicel{n} {n}\n")),
        ),
        (
            "signals",
            frame.to_owned() + &many(49_000, &|n| format!("  own.a{n} in byte {}\n", n % 64)),
        ),
        (
            "frames",
            many(24_000, &|n| {
                format!("frame 0x{n:08X}\n  own.a{n} in byte 0\n")
            }),
        ),
        (
            "same as",
            frame.to_owned()
                + &many(20_000, &|n| {
                    format!("  own.a{n} in 0.0\n    same as own.a{}\n", n + 1)
                }),
        ),
        (
            "chain",
            many(20_000, &|n| format!("work out own.a{n} = own.a{}\n", n + 1)),
        ),
        (
            "names",
            many(20_000, &|n| {
                format!("work out own.a{n} = oown.a{n} + own.b\n")
            }),
        ),
        (
            "brackets",
            format!("work out own.a = {}1\n", "-(".repeat(900)),
        ),
        (
            "tables",
            many(20_000, &|n| format!("table t{n}\n  at {n} gives 1\n")),
        ),
        (
            "columns",
            "sheet \"a\"\n  row every 1 s\n".to_owned()
                + &many(45_000, &|n| format!("  own.a{n} in column 1\n")),
        ),
        (
            "sheets",
            many(20_000, &|n| format!("sheet \"{n}\"\n  row every 1 s\n")),
        ),
        ("texts", many(40_000, &|n| format!("map \"{n}\n"))),
        ("codes", {
            let codes = many(20_000, &|_| "    absent 1 or 2 to 3 or 4\n".to_owned());
            let copies = many(12_000, &|n| {
                format!("  own.b{n} in byte 1\n    same as own.a\n")
            });
            format!("{frame}  own.a in byte 0\n    unit none\n{codes}{copies}")
        }),
        ("torque", {
            let table = "table t\n  input none\n  output N.m\n  hold beyond its ends\n".to_owned()
                + &many(20_000, &|n| format!("  at {n} gives {n}\n"));
            let sources = many(20_000, &|_| {
                "  torque from table t of own.a\n    gives axle bias\n".to_owned()
            });
            format!("{table}{frame}  own.a in byte 0\n    unit none\nvehicle \"x\"\n{sources}")
        }),
        ("near names", {
            let buses = many(24_000, &|n| format!("bus main{n}\n"));
            buses + &many(1900, &|n| format!("frame 0x{n:08X} on mian{n}\n"))
        }),
        (
            "pages",
            many(120, &|n| {
                let pages = many(4, &|level| {
                    format!("{}page {level}.0 is 0 or 1\n", "  ".repeat(level + 1))
                });
                format!(
                    "frame 0x{n:03X}\n{pages}{}",
                    many(400, &|signal| format!(
                        "          own.p{n}_{signal} in 7.0\n"
                    ))
                )
            }),
        ),
        ("unknown names", {
            let unknown = many(490, &|n| {
                format!(
                    "work out own.a{n} = {}\n",
                    many(150, &|m| format!("oen.{m} + ")) + "1"
                )
            });
            unknown + &many(40_000, &|n| format!("bus b{n}\n"))
        }),
        (
            "proofs",
            frame.to_owned()
                + "  own.a in byte 0\n    unit none\n"
                + &many(40_000, &|_| "  prove 00\n".to_owned()),
        ),
    ];
    for (name, text) in texts {
        let start = Instant::now();
        survive(&text);
        let taken = start.elapsed();
        // Twenty times what the slowest takes on an idle machine.
        assert!(taken < Duration::from_secs(30), "{name}: {taken:?}");
        eprintln!("{name}: {taken:?}");
    }
}

#[test]
fn limits_have_their_codes() {
    let code = |text: &str| {
        parse("x.map", text)
            .unwrap_err()
            .iter()
            .next()
            .unwrap()
            .code
    };
    assert_eq!(code(&"x".repeat(2001)), MistakeCode::LineTooLong);
    assert_eq!(code(&" ".repeat((4 << 20) + 1)), MistakeCode::TooLarge);
    assert_eq!(
        code(&format!("work out own.a = {}", "(".repeat(50))),
        MistakeCode::FormulaDeep
    );
    let latin_1 = b"map \"\xe9\"\n";
    let mistakes = parse_bytes("x.map", latin_1).unwrap_err();
    let first = mistakes.iter().next().unwrap();
    assert_eq!(
        (first.code, first.line, first.column),
        (MistakeCode::NotText, 1, 6)
    );
}

#[test]
fn an_empty_text_is_an_empty_map() {
    for text in ["", "\n\n", "# nothing\n", "\u{feff}"] {
        let map = parse("x.map", text).unwrap().map;
        assert!(map.channels.is_empty() && map.frames.is_empty());
    }
}
