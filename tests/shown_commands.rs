//! Every command that the README and the pages of docs/ show runs, on the log of the demo.

use std::path::Path;
use std::process::Command;

/// Logs and maps as the pages call them, each the demo's.
const LOGS: [&str; 9] = [
    "drive.log",
    "before.log",
    "before2.log",
    "after.log",
    "a1.log",
    "a2.log",
    "b1.log",
    "b2.log",
    "left.log",
];
const MAP: &str = "my-car.map";

/// Not run here: they need a bus, a service or rights that a test does not have.
const NOT_HERE: [&str; 5] = ["capture can", "systemctl", "sudo", "apt", "ip link"];

/// Pages whose commands tests of their own run, with logs of their own.
const OTHERS: [&str; 2] = ["capture.md", "first-map.md"];

/// Commands whose help shows an example.
const HELPED: [&str; 13] = [
    "report",
    "compare",
    "decode",
    "export",
    "whatif",
    "demo",
    "settings",
    "man",
    "completions",
    "map check",
    "map format",
    "look",
    "map start",
];

/// Lines of code blocks that begin with the program's name, without their comment.
fn commands(page: &str) -> Vec<String> {
    let mut is_code = false;
    let mut found = Vec::new();
    for line in page.lines() {
        if line.trim_start().starts_with("```") {
            is_code = !is_code;
            continue;
        }
        let line = line.trim_start().trim_start_matches("$ ");
        if is_code && line.starts_with("halfshaft ") {
            let command = line.split(" #").next().unwrap_or(line);
            found.push(command.trim_end().to_owned());
        }
    }
    found
}

fn pages() -> Vec<(String, String)> {
    let root = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."));
    let docs = std::fs::read_dir(root.join("docs")).expect("docs can be read");
    let mut paths: Vec<_> = docs.map(|entry| entry.expect("an entry").path()).collect();
    paths.push(root.join("README.md"));
    let is_here = |path: &std::path::PathBuf| OTHERS.iter().all(|other| !path.ends_with(other));
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "md") && is_here(path));
    paths.sort();
    paths
        .into_iter()
        .map(|path| {
            let text = std::fs::read_to_string(&path).expect("a page can be read");
            (path.display().to_string(), text)
        })
        .collect()
}

/// Examples in the help of every command.
fn examples(run: &dyn Fn(&str) -> std::process::Output) -> Vec<String> {
    let mut found = Vec::new();
    for command in HELPED {
        let help = run(&format!("halfshaft {command} --help"));
        let text = String::from_utf8_lossy(&help.stdout).into_owned();
        let before = found.len();
        // A line that fills the width goes on in the next.
        let mut lines: Vec<String> = Vec::new();
        let mut goes_on = false;
        for line in text.lines() {
            match lines.last_mut().filter(|_| goes_on) {
                Some(last) => *last = format!("{last} {}", line.trim_start()),
                None => lines.push(line.to_owned()),
            }
            goes_on = line.len() > 85 && line.contains("halfshaft ");
        }
        let shown = lines
            .iter()
            .filter_map(|line| line.split_once("halfshaft "));
        found.extend(
            shown
                .filter(|(before, rest)| {
                    before.ends_with(": ") && before != &"Usage: " && !rest.contains('`')
                })
                // The rest shows what to do with it, with programs that need not be there.
                .map(|(_, rest)| {
                    format!("halfshaft {}", rest.split(" && ").next().unwrap_or(rest))
                }),
        );
        assert!(
            found.len() > before,
            "the help of {command} shows no example"
        );
    }
    found
}

#[test]
fn every_command_shown_runs() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let program = assert_cmd::cargo::cargo_bin("halfshaft");
    let run = |command: &str| {
        let folders = program.parent().expect("a program lies in a folder");
        Command::new("sh")
            .args(["-c", command])
            .current_dir(folder.path())
            .env("COLUMNS", "300")
            .env("HOME", folder.path())
            .env("PATH", format!("{}:/usr/bin:/bin", folders.display()))
            .output()
            .expect("a shell starts")
    };
    let made = run(
        "halfshaft demo demo && mkdir -p earlier .local/share/bash-completion/completions \
                    && cp demo/report.json earlier",
    );
    assert!(
        made.status.success(),
        "{}",
        String::from_utf8_lossy(&made.stderr)
    );
    let demo = folder.path().join("demo");
    let of_demo = |ending: &str| {
        let mut entries = std::fs::read_dir(&demo)
            .expect("the demo can be read")
            .flatten();
        let found = entries.find(|entry| entry.path().extension().is_some_and(|e| e == ending));
        found.expect("the demo writes it").path()
    };
    let log = std::fs::read(of_demo("log")).expect("the log of the demo can be read");
    let ends: Vec<usize> = log
        .iter()
        .enumerate()
        .filter(|(_, byte)| **byte == b'\n')
        .map(|(at, _)| at)
        .collect();
    for (n, name) in LOGS.into_iter().enumerate() {
        // No two drives are the same, byte for byte.
        let rest = &log[ends[n] + 1..];
        std::fs::write(folder.path().join(name), rest).expect("a log can be written");
    }
    std::fs::copy(of_demo("map"), folder.path().join(MAP)).expect("a map can be copied");
    let (mut n, mut wrong) = (0, Vec::new());
    let mut shown = pages();
    let of_help = examples(&run).join("\n");
    shown.push(("--help".to_owned(), format!("```sh\n{of_help}\n```")));
    for (page, text) in shown {
        for command in commands(&text) {
            if NOT_HERE.iter().any(|word| command.contains(word)) {
                continue;
            }
            n += 1;
            let done = run(&command);
            if !done.status.success() {
                let error = String::from_utf8_lossy(&done.stderr).into_owned();
                wrong.push(format!("{page}: `{command}`: {error}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(n >= 17, "only {n} commands were found");
}

#[test]
fn commands_are_found_in_code_only() {
    let page = "Text\nhalfshaft report\n```sh\nhalfshaft report a.log # why\n$ halfshaft demo x\n```\nhalfshaft x\n";
    assert_eq!(
        commands(page),
        ["halfshaft report a.log", "halfshaft demo x"]
    );
}
