//! The grammar as text, printed from the tables the parser runs on.
//!
//! `docs/signal-map.md` holds what is printed here; a test compares them.

use super::figure::{Fill, range_in_words};
use super::forms::{FORMS, Piece, Section};
use super::slots::SlotKind;
use std::fmt::Write as _;

/// What the slots are made of, and what those are made of.
const PARTS: &[(&str, &str)] = &[
    ("digit", r#""0" | … | "9""#),
    ("hex", r#"digit | "A" | … | "F" | "a" | … | "f""#),
    ("letter", "any letter of any script"),
    ("digits", "digit , { digit }"),
    (
        "unsigned",
        r#"digits , [ "." , digits ] , [ ( "e" | "E" ) , [ "+" | "-" ] , digits ]"#,
    ),
    (
        "run",
        r#"digits , "." , digits , ".." , digits , "." , digits"#,
    ),
    ("bit", r#"digits , "." , digits"#),
    ("code-range", r#"code , [ "to" , code ]"#),
    ("tolerance", r#"( "+/-" | "±" ) , quantity"#),
    ("sum", r#"product , { ( "+" | "-" ) , product }"#),
    ("product", r#"part , { ( "*" | "/" ) , part }"#),
    (
        "part",
        r#""-" , part | "(" , sum , ")" | unsigned , [ unit ] | name | call"#,
    ),
    ("call", r#"function , "(" , input , { "," , input } , ")""#),
    (
        "input",
        r#"sum , [ ( "<" | "<=" | ">" | ">=" | "=" ) , sum ]"#,
    ),
    (
        "function",
        r#""min" | "max" | "mean" | "clamp" | "abs" | "delay" | "low-pass" | "if" | name"#,
    ),
];

fn slot_rule(kind: SlotKind) -> &'static str {
    match kind {
        SlotKind::Text => r#"'"' , { any character but '"' and '\' | '\"' | '\\' | '\t' } , '"'"#,
        SlotKind::Name => r#"( letter | "_" ) , { letter | digit | "." | "-" | "_" }"#,
        SlotKind::Id => r#""0x" , ( hex , [ hex ] , [ hex ] | 8 * hex )"#,
        SlotKind::Bits => {
            r#""byte" , digits | "bytes" , digits , { digits } | ( run | bit ) , { run | bit }"#
        }
        SlotKind::Codes => r#"code-range , { "or" , code-range }"#,
        SlotKind::Code => r#"digits | "0x" , hex , { hex }"#,
        SlotKind::Number => r#"[ "-" | "+" ] , unsigned"#,
        SlotKind::Numbers => "number , { number }",
        SlotKind::Integer => "digits",
        SlotKind::Quantity => "number , unit",
        SlotKind::Measure => "quantity , [ tolerance ]",
        SlotKind::Ratio => r#"number , [ ( "+/-" | "±" ) , ( number | quantity ) ]"#,
        SlotKind::Unit => "one of the units of units.md",
        SlotKind::Range => r#"number , "to" , quantity"#,
        SlotKind::BitRate => r#"number , ( "bit/s" | "kbit/s" | "Mbit/s" )"#,
        SlotKind::Tyre => r#"digits , "/" , digits , "R" , digits"#,
        SlotKind::Column => r#"text , { "or" , text } | "column" , digits"#,
        SlotKind::Columns => r#"column | "columns" , digits , "to" , digits"#,
        SlotKind::IdBits => r#"digits , [ ".." , digits ]"#,
        SlotKind::Bytes => "2 * hex , { 2 * hex }",
        SlotKind::Rule => r#""xor" | "sum" | "crc-8-j1850""#,
        SlotKind::Meaning => {
            r#""pack" , "torque" | "axle" , "bias" | "clamp" , "force" | "position" | "pressure" | "current" | "share""#
        }
        SlotKind::Delimiter => r#"text | "tab""#,
        SlotKind::TimeKind => r#"unit | "clock" , "time" | "ISO" , "8601""#,
        SlotKind::Base => r#""hexadecimal" | "decimal""#,
        SlotKind::Formula => "sum",
    }
}

/// The grammar in EBNF (ISO/IEC 14977 marks), printed from the tables.
pub fn ebnf() -> String {
    let mut out = String::from("map = { top } ;\n\n");
    for section in Section::ALL
        .iter()
        .filter(|section| **section != Section::Nothing)
    {
        let forms = FORMS.iter().filter(|form| form.sections.contains(section));
        let mut start = format!("{} =\n   ", section.word());
        for form in forms {
            let under = match form.opens {
                Section::Nothing => String::new(),
                opens => format!(" , {{ under , {} }}", opens.word()),
            };
            let _ = writeln!(out, "{start} {}{under}", sequence(&form.pieces));
            start = "  |".to_owned();
        }
        out.push_str("  ;\n\n");
    }
    for kind in SlotKind::ALL {
        let _ = writeln!(out, "{} = {} ;", kind.word(), slot_rule(*kind));
    }
    out.push('\n');
    for (name, rule) in PARTS {
        let _ = writeln!(out, "{name} = {rule} ;");
    }
    out
}

/// The figures of the vehicle as a table: what is written, what it is, what is believed.
pub fn figures() -> String {
    let mut out = String::from("\n| you write | what it is | believed |\n|---|---|---|\n");
    for form in FORMS.iter() {
        if let Some(Fill::Figure(figure)) = &form.fill
            && form.sections == [Section::Vehicle]
        {
            let (words, help) = (form.words(), figure.help);
            let believed = figure.believed.map_or(String::new(), range_in_words);
            let _ = writeln!(out, "| `{words}` | {help} | {believed} |");
        }
    }
    out
}

fn sequence(pieces: &[Piece]) -> String {
    let parts: Vec<String> = pieces
        .iter()
        .map(|piece| match piece {
            Piece::Literal(word) => format!("\"{word}\""),
            Piece::Slot(kind) => kind.word().to_owned(),
            Piece::Optional(group) => format!("[ {} ]", sequence(group)),
        })
        .collect();
    parts.join(" , ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sentence_is_printed_once_for_each_section() {
        let printed = ebnf();
        let n_lines = printed
            .lines()
            .filter(|line| line.starts_with("    ") || line.starts_with("  |"))
            .count();
        let n_wanted: usize = FORMS.iter().map(|form| form.sections.len()).sum();
        assert_eq!(n_lines, n_wanted);
        assert!(printed.contains(r#"| "every" , quantity"#));
    }
}
