//! Maps with mistakes, and what the user is told.
//!
//! `tests/mistakes/NAME.map` is drawn into `NAME.txt`. To rewrite the texts after a
//! change of wording, run with `HALFSHAFT_REWRITE=1` and review the difference like code.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot read its own files has failed"
)]

#[path = "../../../tests/common/rewriting.rs"]
mod rewriting;

use halfshaft_signal_map::{MistakeCode, parse};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn maps() -> Vec<PathBuf> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/mistakes"));
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "map"))
        .collect();
    paths.sort();
    paths
}

fn drawn(path: &Path) -> (String, BTreeSet<MistakeCode>) {
    let text = std::fs::read_to_string(path).unwrap();
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    let all = match parse(&name, &text) {
        Ok(checked) => checked.warnings,
        Err(mistakes) => mistakes,
    };
    // No map here has more than are shown, so what is drawn is all there is.
    assert_eq!(all.len(), all.iter().count(), "{name}");
    (
        all.render(false),
        all.iter().map(|mistake| mistake.code).collect(),
    )
}

#[test]
fn mistakes_are_drawn_as_they_always_were() {
    let rewrite = rewriting::is_rewriting();
    for path in maps() {
        let (got, _) = drawn(&path);
        let expected = path.with_extension("txt");
        if rewrite {
            std::fs::write(&expected, &got).unwrap();
        }
        let wanted = std::fs::read_to_string(&expected).unwrap_or_default();
        assert!(got == wanted, "{}:\n{got}", path.display());
    }
    assert!(maps().len() >= 8);
}

#[test]
fn every_code_is_shown_by_a_map_here() {
    let seen: BTreeSet<MistakeCode> = maps().iter().flat_map(|path| drawn(path).1).collect();
    // These need a text that is too long, too deep or no text at all: see `hostile.rs`.
    let elsewhere = [
        MistakeCode::TooLarge,
        MistakeCode::LineTooLong,
        MistakeCode::NotText,
        MistakeCode::FormulaDeep,
    ];
    for code in MistakeCode::ALL {
        assert!(
            seen.contains(code) != elsewhere.contains(code),
            "{}",
            code.word()
        );
    }
}

#[test]
fn colour_changes_the_looks_and_not_the_words() {
    let path = &maps()[0];
    let text = std::fs::read_to_string(path).unwrap();
    let mistakes = parse("a.map", &text).unwrap_err();
    let coloured = mistakes.render(true);
    assert!(coloured.contains('\u{1b}'));
    assert!(!mistakes.render(false).contains('\u{1b}'));
    let mut plain = String::new();
    let mut rest = coloured.as_str();
    while let Some(at) = rest.find('\u{1b}') {
        plain.push_str(&rest[..at]);
        let end = rest[at..].find('m').unwrap();
        rest = &rest[at + end + 1..];
    }
    plain.push_str(rest);
    assert_eq!(plain, mistakes.render(false));
}
