//! What a person meets before any figure: help with examples, manual pages, completions, and words
//! that lead on where something is missing or swapped.

mod common;

use common::program::{Folder, drive};

const COMMANDS: [&[&str]; 12] = [
    &["report"],
    &["compare"],
    &["map", "check"],
    &["map", "format"],
    &["decode"],
    &["export"],
    &["whatif"],
    &["capture"],
    &["demo"],
    &["settings"],
    &["man"],
    &["completions"],
];

#[test]
fn every_command_has_an_example() {
    let folder = Folder::default();
    for command in COMMANDS {
        let help = folder.run(command.iter().chain(&["--help"])).done().out;
        let example = format!("Example: halfshaft {}", command.join(" "));
        assert!(help.contains(&example), "{help}");
    }
}

#[test]
fn help_on_help_is_help() {
    let folder = Folder::default();
    let help = folder.run(["--help"]).done().out;
    assert_eq!(folder.run(["help", "--help"]).done().out, help);
    assert_eq!(
        folder.run(["help"]).done().out.lines().next(),
        help.lines().next()
    );
}

#[test]
fn a_report_without_a_map_says_what_a_map_is_and_where_to_get_one() {
    let folder = Folder::with_drive();
    folder.run(["report", "drive.log"]).refused(&[
        "--map <MAP>",
        "halfshaft demo DIR",
        "halfshaft map check",
    ]);
}

#[test]
fn a_log_in_the_place_of_a_map_is_recognised() {
    let folder = Folder::with_drive();
    let packed = zstd::encode_all(drive().as_bytes(), 3).expect("memory does not fail");
    folder.write("drive.log.zst", packed);
    for log in ["drive.log", "drive.log.zst"] {
        let swapped = ["found a log, expected a map", "are the two swapped?"];
        folder
            .run(["report", "car.map", "--map", log])
            .refused(&swapped);
        folder
            .run(["map", "check", log, "car.map"])
            .refused(&swapped);
    }
}

#[test]
fn the_summary_is_short_and_ends_with_what_to_do_and_the_files() {
    let folder = Folder::with_drive();
    let arguments = ["report", "drive.log", "--map", "car.map", "--out", "out"];
    let summary = folder.run(arguments).done().out;
    let lines: Vec<&str> = summary.lines().collect();
    assert!(lines.len() <= 22, "{summary}");
    assert!(
        lines[lines.len() - 1].starts_with("Written: ") && summary.contains("\nNext recording: "),
        "{summary}"
    );
    for columns in [50, 80, 120] {
        let mut program = folder.program();
        let printed = program
            .env("COLUMNS", columns.to_string())
            .args(arguments)
            .output();
        let printed = String::from_utf8(printed.expect("it runs").stdout).expect("it is text");
        let widest = printed.lines().map(|line| line.chars().count()).max();
        assert!(widest <= Some(columns), "{columns}: {printed}");
    }
    let full = folder.run(arguments.iter().chain(&["--full"])).done().out;
    let verdict = |text: &str| text.lines().take(6).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(verdict(&full), verdict(&summary));
    assert_eq!(full.lines().last(), summary.lines().last());
    assert!(full.lines().count() > 2 * lines.len(), "{full}");
}

#[test]
fn each_command_has_a_manual_page_and_each_shell_its_completions() {
    let folder = Folder::default();
    folder.run(["man", "man1"]).done();
    for command in COMMANDS {
        let page = folder.read(format!("man1/halfshaft-{}.1", command.join("-")));
        assert!(
            page.starts_with(".ie ") && page.contains(".SH OPTIONS"),
            "{page}"
        );
    }
    assert!(
        folder
            .read("man1/halfshaft.1")
            .contains("halfshaft\\-report(1)")
    );
    for (shell, word) in [
        ("bash", "complete -F _halfshaft"),
        ("zsh", "#compdef halfshaft"),
        ("fish", "complete -c halfshaft"),
    ] {
        let text = folder.run(["completions", shell]).done().out;
        assert!(
            text.contains(word) && text.contains("start-line"),
            "{shell}"
        );
    }
}
