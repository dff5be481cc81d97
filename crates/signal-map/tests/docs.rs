//! `docs/signal-map.md` against the parser: examples, grammar, lists.
//!
//! To print the grammar and the lists anew, run with `HALFSHAFT_REWRITE=1`.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot read its own files has failed"
)]

#[path = "../../../tests/common/rewriting.rs"]
mod rewriting;

use halfshaft_signal_map::syntax::forms::FORMS;
use halfshaft_signal_map::syntax::grammar::{ebnf, figures};
use halfshaft_signal_map::{MistakeCode, format, parse};
use std::collections::BTreeSet;

const PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/signal-map.md");

fn doc() -> String {
    std::fs::read_to_string(PATH).unwrap()
}

/// The ```map blocks, each with the line it begins at.
fn blocks(doc: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    let mut open: Option<(usize, String)> = None;
    for (index, line) in doc.lines().enumerate() {
        match (&mut open, line) {
            (None, "```map") => open = Some((index + 1, String::new())),
            (Some(_), "```") => found.extend(open.take()),
            (Some((_, text)), line) => {
                text.push_str(line);
                text.push('\n');
            }
            (None, _) => {}
        }
    }
    found
}

#[test]
fn every_example_is_sound_and_in_standard_form() {
    let all = blocks(&doc());
    assert!(all.len() >= 12, "{} examples", all.len());
    for (line, text) in all {
        let name = format!("example at line {line}");
        if let Err(mistakes) = parse(&name, &text) {
            panic!("\n{}", mistakes.render(false));
        }
        assert_eq!(format(&name, &text).unwrap(), text, "{name}");
    }
}

#[test]
fn every_sentence_is_used_in_an_example() {
    let doc = doc();
    let mut text: String = blocks(&doc).into_iter().map(|(_, text)| text).collect();
    for name in ["larkspur-40", "brackenford-hx"] {
        text.push_str(
            &std::fs::read_to_string(
                PATH.replace("docs/signal-map.md", &format!("signal-maps/{name}.map")),
            )
            .unwrap(),
        );
    }
    // Told in a sentence or a table of the reference.
    let told: BTreeSet<&str> = blocks_of_code(&doc);
    for form in FORMS.iter().filter(|form| form.first_word().is_some()) {
        let words: Vec<&str> = form
            .pattern
            .split(' ')
            .take_while(|word| !word.starts_with(['<', '[']))
            .collect();
        let head = words.join(" ");
        let is_shown = text
            .lines()
            .any(|line| line.trim_start().starts_with(&head));
        assert!(
            is_shown || told.iter().any(|code| code.starts_with(&head)),
            "`{}` is shown nowhere",
            form.pattern
        );
    }
}

/// What stands between single backticks.
fn blocks_of_code(doc: &str) -> BTreeSet<&str> {
    doc.lines()
        .filter(|line| !line.starts_with("```"))
        .flat_map(|line| line.split('`').skip(1).step_by(2))
        .collect()
}

fn between<'d>(doc: &'d str, begin: &str, end: &str) -> &'d str {
    let from = doc.find(begin).unwrap_or_else(|| panic!("no `{begin}`")) + begin.len();
    let to = from
        + doc[from..]
            .find(end)
            .unwrap_or_else(|| panic!("no `{end}`"));
    &doc[from..to]
}

fn mistakes() -> String {
    let mut out = String::from("\n| word | meaning |\n|---|---|\n");
    for code in MistakeCode::ALL {
        out.push_str(&format!("| `{}` | {} |\n", code.word(), code.meaning()));
    }
    out
}

#[test]
fn grammar_and_lists_are_fresh() {
    let printed = [
        ("```ebnf\n", "```\n", ebnf()),
        (
            "<!-- mistakes: printed from the table of codes -->\n",
            "<!-- end of mistakes -->",
            mistakes(),
        ),
        (
            "<!-- figures: printed from the table of sentences -->\n",
            "<!-- end of figures -->",
            figures(),
        ),
    ];
    let mut text = doc();
    for (begin, end, fresh) in &printed {
        let old = between(&text, begin, end).to_owned();
        if old != *fresh && rewriting::is_rewriting() {
            text = text.replacen(
                &format!("{begin}{old}{end}"),
                &format!("{begin}{fresh}{end}"),
                1,
            );
            // Beside and then renamed: the other tests here read the file meanwhile.
            let beside = format!("{PATH}.new");
            std::fs::write(&beside, &text).unwrap();
            std::fs::rename(&beside, PATH).unwrap();
            continue;
        }
        assert!(old == *fresh, "the part after `{}` is stale", begin.trim());
    }
}

#[test]
fn the_drawn_mistake_in_the_tutorial_is_the_real_one() {
    let drawn = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/mistakes/bits.txt"
    ))
    .unwrap();
    let doc = doc();
    let shown = between(&doc, "```text\n", "```").replace("estate.map", "bits.map");
    assert!(drawn.contains(&shown), "{shown}");
}
