//! The program speaks plain workshop English: no text that it can print holds a word that a workshop
//! would not use.
//!
//! Looked at are the texts in the source, since every message, label and sentence is made of them,
//! and the pages in `docs`. The list grows with what readers stumble over.

use std::path::{Path, PathBuf};

/// What nobody in a workshop says, and what they say.
const PLAINER: &[(&str, &str)] = &[
    ("heat-making", "slipping under load"),
    ("working slip", "slipping under load"),
    ("asked not holding", "commanded, not holding"),
    ("holding unasked", "holding without command"),
    ("asked to engage", "commanded"),
    ("lets go", "releases"),
    ("letting go", "releasing"),
    ("the oil's warning", "the oil warning"),
    ("weakest point of this log", "log grade"),
    ("look exchanged", "look swapped"),
    ("sides exchanged", "sides swapped"),
    ("throttle to clutch", "throttle-on delay, lift-off delay"),
    ("works hot", "slow when cold"),
    ("working all the time", "slipping on the straight"),
    ("motor working hard", "motor current high"),
    ("cooking now", "oil over its limit"),
    ("as far as any", "full interval"),
    ("a policy", "a rule of thumb"),
    ("highest are", "decided by"),
    ("needles known", "gauges read"),
    ("too short to class:", "too short to classify:"),
    ("told it", "fitted"),
    ("could not tell, held", "default kept"),
    ("edge of the command", "command step"),
    ("beyond its end", "overshoot"),
    ("short of the command when", "remaining error"),
    ("ways to fail", "failure paths"),
    ("make again", "reproduce"),
    ("none of 1 ", "the one"),
    ("dead time: more", "dead time: longer"),
    ("blocks of events", "groups of events"),
    ("this is no log", "cannot read this as a log"),
    ("held against", "compared with"),
    ("hold against", "compare with"),
    ("holds against", "compares with"),
    ("beyond belief", "outside the believed range"),
    ("gradeable", "usable"),
    ("mended", "corrected"),
    ("nought", "zero"),
    ("is wanted", "is needed"),
    ("are wanted", "are needed"),
    ("was wanted", "was expected"),
    ("; wanted", "; expected"),
    (", wanted", ", expected"),
    ("km wanted", "km needed"),
    ("tells where", "shows where"),
    ("does not tell", "does not show"),
];

/// Sentences of the map language, which are as they are.
const LANGUAGE: &[&str] = &[
    "hold beyond its ends",
    "refuse beyond its ends",
    "signals beyond its end",
    "beyond its end; a longer",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn files(dir: &Path, extension: &str, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).expect("the folder can be read") {
        let path = entry.expect("it can be read").path();
        if path.is_dir() {
            files(&path, extension, found);
        } else if path.extension().is_some_and(|found| found == extension) {
            found.push(path);
        }
    }
}

/// The texts between quotation marks of the lines before the tests of a file, each with its line;
/// one that runs over lines is one text, as the compiler reads it.
fn texts(source: &str) -> Vec<(usize, String)> {
    let code = source
        .split("#[cfg(test)]\nmod ")
        .next()
        .unwrap_or_default();
    let (mut texts, mut line) = (Vec::new(), 1);
    let mut letters = code.chars().peekable();
    let mut text: Option<(usize, String)> = None;
    let mut before = [' ', ' '];
    while let Some(letter) = letters.next() {
        line += usize::from(letter == '\n');
        match (&mut text, letter) {
            (Some((_, inside)), '\\') => match letters.next() {
                Some('\n') => {
                    line += 1;
                    while letters.peek().is_some_and(|next| next.is_whitespace()) {
                        line += usize::from(letters.next() == Some('\n'));
                    }
                }
                Some(other) => inside.push(other),
                None => {}
            },
            (Some(_), '"') => texts.extend(text.take()),
            (Some((_, inside)), other) => inside.push(other),
            (None, '/') if before[1] == '/' => {
                // A comment to the end of the line.
                for next in letters.by_ref() {
                    if next == '\n' {
                        line += 1;
                        break;
                    }
                }
            }
            (None, '"') if before[1] != '\'' => text = Some((line, String::new())),
            (None, _) => {}
        }
        before = [before[1], letter];
    }
    texts
}

/// The words that do not belong in a text.
fn wrong(text: &str) -> Vec<&'static str> {
    let mut text = text.to_lowercase().replace('\u{a0}', " ");
    for sentence in LANGUAGE {
        text = text.replace(sentence, "");
    }
    let words = PLAINER.iter().map(|(word, _)| *word);
    words.filter(|word| text.contains(word)).collect()
}

#[test]
fn no_text_of_the_program_holds_a_word_no_workshop_uses() {
    let mut sources = Vec::new();
    for entry in std::fs::read_dir(root().join("crates")).expect("the folder can be read") {
        let dir = entry.expect("it can be read").path();
        // What the simulator writes is no text of the program.
        if !dir.ends_with("simulate") && !dir.ends_with("fleet") {
            files(&dir.join("src"), "rs", &mut sources);
        }
    }
    sources.retain(|path| {
        let parts = path.components();
        let mut parts = parts.map(|part| part.as_os_str().to_string_lossy().into_owned());
        !parts.any(|part| part.starts_with("test"))
    });
    assert!(sources.len() > 300, "{}", sources.len());
    let mut found = Vec::new();
    for path in sources {
        let source = std::fs::read_to_string(&path).expect("it can be read");
        for (line, text) in texts(&source) {
            for word in wrong(&text) {
                found.push(format!("{}:{line}: {word}: {text}", path.display()));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn no_page_holds_one_either() {
    let mut pages = vec![root().join("README.md"), root().join("DEVELOPERS.md")];
    files(&root().join("docs"), "md", &mut pages);
    let mut found = Vec::new();
    for path in pages {
        let page = std::fs::read_to_string(&path).expect("it can be read");
        for (index, line) in page.lines().enumerate() {
            for word in wrong(line) {
                found.push(format!("{}:{}: {word}: {line}", path.display(), index + 1));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_wrong_word_is_found() {
    let source = "//! It lets go.\nconst A: &str = \"the pack \\\n    lets go\";\nconst B: char = '\"';\nconst C: &str = \"held\";\n";
    let texts = texts(source);
    assert_eq!(
        texts,
        [(2, "the pack lets go".to_owned()), (5, "held".to_owned())]
    );
    assert_eq!(wrong(&texts[0].1), ["lets go"]);
    assert!(wrong("  hold beyond its ends").is_empty());
}
