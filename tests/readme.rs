//! The README shows what the program really does.

#[path = "common/rewriting.rs"]
mod rewriting;

use assert_cmd::Command;

const README: &str = include_str!("../README.md");

/// The fenced blocks of a language.
fn blocks(language: &str) -> Vec<String> {
    let fence = format!("```{language}\n");
    README
        .split(&fence)
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn the_output_of_the_demo_is_real() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let command = Command::cargo_bin("halfshaft")
        .expect("the binary is built")
        .current_dir(folder.path())
        .env("COLUMNS", "80")
        .args(["demo", "target/demo"])
        .assert()
        .success();
    let output = String::from_utf8_lossy(&command.get_output().stdout).into_owned();
    let shown = &blocks("text")[0];
    if rewriting::is_rewriting() {
        let fresh = format!("{}\n", output.trim_end());
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../README.md");
        std::fs::write(path, README.replace(shown, &fresh)).expect("the README can be written");
        return;
    }
    assert_eq!(output.trim_end(), shown.trim_end());
}

#[test]
fn the_map_of_the_readme_is_right_and_in_standard_form() {
    let maps = blocks("map");
    assert_eq!(maps.len(), 1);
    for text in maps {
        if let Err(mistakes) = halfshaft_signal_map::parse("README.md", &text) {
            panic!("{}", mistakes.render(false));
        }
        let formatted = halfshaft_signal_map::format("README.md", &text);
        assert_eq!(formatted.ok().as_deref(), Some(text.as_str()));
    }
}
