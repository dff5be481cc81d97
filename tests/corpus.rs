//! Small logs, one behaviour each, and what they must give.
//!
//! Every folder in `tests/corpus` holds a log, a `car.map`, an `expect.json` and a
//! `recipe.md`; adding a folder adds a test. Those made by `corpus/recipes.rs` are made
//! anew and compared. With `HALFSHAFT_REWRITE=1` the files are written instead; review
//! their difference like code. What a recipe derives by hand holds either way.

mod common;
#[path = "corpus/recipes.rs"]
mod recipes;
#[path = "common/rewriting.rs"]
mod rewriting;

use std::fmt::Write;
use std::path::{Path, PathBuf};

use common::program::Folder;
use recipes::{Recipe, recipes};
use rewriting::is_rewriting;
use serde_json::{Map, Value, json};

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/corpus")
}

/// A number to six figures: more are not compared.
fn rounded(number: &Value) -> Value {
    let Some(number) = number.as_f64() else {
        return number.clone();
    };
    let text = format!("{number:.5e}");
    text.parse::<f64>()
        .map_or(Value::Null, |number| json!(number))
}

/// The part of a report that is compared.
fn essence(report: &Value, code: i32) -> Value {
    let figure = |figure: &Value| match figure["value"].is_null() {
        true => json!({ "why_null": figure["why_null"] }),
        false => json!({
            "value": rounded(&figure["value"]),
            "low": rounded(&figure["low"]),
            "high": rounded(&figure["high"]),
            "at_least": figure["at_least"],
            "grade": figure["grade"],
        }),
    };
    let figures: Map<String, Value> = report["figures"]
        .as_object()
        .expect("figures have names")
        .iter()
        .map(|(name, value)| (name.clone(), figure(value)))
        .collect();
    let list = |key: &str| report[key].as_array().expect("it is a list").clone();
    let notices: Map<String, Value> = list("notices")
        .iter()
        .map(|notice| {
            let code = notice["code"].as_str().expect("a code is a word");
            (code.to_owned(), notice["count"].clone())
        })
        .collect();
    let events: Vec<Value> = list("events")
        .iter()
        .map(|event| {
            json!({
                "kind": event["kind"],
                "start_s": rounded(&event["start_s"]),
                "end_s": rounded(&event["end_s"]),
                "broken": event["broken"],
            })
        })
        .collect();
    let open: Vec<Value> = list("cannot_tell")
        .iter()
        .map(|open| open["code"].clone())
        .collect();
    json!({
        "exit": code,
        "format": report["inputs"][0]["format"],
        "clock": report["clock"]["kind"],
        "tier": report["tier"]["number"],
        "grade": report["quality"]["grade"],
        "gaps": report["quality"]["n_gaps"],
        "notices": notices,
        "cannot_tell": open,
        "events": events,
        "figures": figures,
    })
}

/// Every difference between what is expected and what came, by its path. Keys that are not
/// expected are not compared.
fn differences(path: &str, expected: &Value, got: &Value, found: &mut Vec<String>) {
    match (expected, got) {
        (Value::Object(expected), Value::Object(got)) if path != "notices" => {
            for (key, expected) in expected {
                let path = format!("{path}{}{key}", if path.is_empty() { "" } else { "." });
                differences(&path, expected, got.get(key).unwrap_or(&Value::Null), found);
            }
        }
        (Value::Array(expected), Value::Array(got)) if expected.len() == got.len() => {
            for (index, (expected, got)) in expected.iter().zip(got).enumerate() {
                differences(&format!("{path}[{index}]"), expected, got, found);
            }
        }
        (Value::Number(expected), Value::Number(got)) => {
            let (expected, got) = (expected.as_f64(), got.as_f64());
            // Six figures are written; the rest is left to the arithmetic of the machine.
            let is_near = expected.zip(got).is_some_and(|(expected, got)| {
                (expected - got).abs() <= 2e-5 * expected.abs().max(1e-9)
            });
            if !is_near {
                found.push(format!("{path}: expected {expected:?}, got {got:?}"));
            }
        }
        _ if expected == got => {}
        _ => found.push(format!("{path}: expected {expected}, got {got}")),
    }
}

fn log_of(folder: &Path) -> &'static str {
    ["log.txt", "sheet.csv"]
        .into_iter()
        .find(|name| folder.join(name).is_file())
        .unwrap_or_else(|| panic!("{}: no log.txt and no sheet.csv", folder.display()))
}

/// What the program makes of a folder of the corpus.
fn outcome(folder: &Path) -> Value {
    let copy = Folder::default();
    for name in [log_of(folder), "car.map"] {
        copy.write(name, read(&folder.join(name)));
    }
    let run = copy.run(["report", log_of(folder), "--map", "car.map", "--json"]);
    let code = run.code.expect("it ends by itself");
    match code {
        0 => essence(&run.json(), code),
        _ => json!({ "exit": code, "message": run.err.trim_end() }),
    }
}

fn read(path: &Path) -> Vec<u8> {
    std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn recipe_text(recipe: &Recipe) -> String {
    let mut text = format!("# {}\n\n{}\n\n", recipe.name, recipe.about);
    text += match recipe.derived.is_empty() {
        true => "Made by `tests/corpus/recipes.rs`.\n",
        false => "Made by `tests/corpus/recipes.rs`, which derives by hand:\n\n",
    };
    for (figure, value, tolerance) in &recipe.derived {
        let _ = writeln!(text, "- `{figure}` {value:.4} ± {tolerance:.2e}");
    }
    text
}

fn files_of(recipe: &Recipe) -> [(&'static str, Vec<u8>); 3] {
    [
        (recipe.log_name, recipe.log.clone()),
        ("car.map", recipe.map.clone().into_bytes()),
        ("recipe.md", recipe_text(recipe).into_bytes()),
    ]
}

#[test]
fn files_are_what_their_recipes_make() {
    for recipe in recipes() {
        let folder = corpus().join(recipe.name);
        for (name, content) in files_of(&recipe) {
            let path = folder.join(name);
            let is_fresh = std::fs::read(&path).is_ok_and(|there| there == content);
            if is_rewriting() && !is_fresh {
                std::fs::create_dir_all(&folder).expect("the folder can be made");
                std::fs::write(&path, content).expect("the file can be written");
            } else {
                assert!(is_fresh, "{}: not what its recipe makes", path.display());
            }
        }
        let n_lines = recipe.log.iter().filter(|&&byte| byte == b'\n').count();
        assert!(n_lines <= 1000, "{}: {n_lines} lines", recipe.name);
    }
}

#[test]
fn figures_agree_with_what_the_recipes_derive() {
    let mut found = Vec::new();
    for recipe in recipes() {
        if recipe.derived.is_empty() {
            continue;
        }
        let folder = Folder::default();
        for (name, content) in files_of(&recipe) {
            folder.write(name, content);
        }
        let run = folder
            .run(["report", recipe.log_name, "--map", "car.map", "--json"])
            .done();
        let report = run.json();
        for (id, wanted, tolerance) in recipe.derived {
            let value = &report["figures"][id.word()]["value"];
            let is_near = value
                .as_f64()
                .is_some_and(|got| (got - wanted).abs() <= tolerance);
            if !is_near {
                found.push(format!(
                    "{}: {id} is {value}, derived {wanted} ± {tolerance}",
                    recipe.name
                ));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// A folder that expects some figures only goes on doing so.
fn keep_figures_of(place: &Path, got: &mut Value) {
    let old = std::fs::read(place).ok();
    let old: Option<Value> = old.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let wanted = old.as_ref().and_then(|old| old["figures"].as_object());
    let figures = got.get_mut("figures").and_then(Value::as_object_mut);
    if let (Some(wanted), Some(figures)) = (wanted, figures) {
        figures.retain(|name, _| wanted.contains_key(name));
    }
}

#[test]
fn every_folder_gives_what_it_expects() {
    if is_rewriting() {
        // The logs may be written at this moment.
        files_are_what_their_recipes_make();
    }
    let mut found = Vec::new();
    let mut n_folders = 0;
    for entry in std::fs::read_dir(corpus()).expect("the corpus is there") {
        let folder = entry.expect("the corpus can be read").path();
        if !folder.is_dir() {
            continue;
        }
        n_folders += 1;
        let mut got = outcome(&folder);
        let place = folder.join("expect.json");
        if is_rewriting() {
            keep_figures_of(&place, &mut got);
            let text = serde_json::to_string_pretty(&got).expect("it is JSON") + "\n";
            std::fs::write(place, text).expect("the file can be written");
            continue;
        }
        assert!(
            folder.join("recipe.md").is_file(),
            "{}: no recipe.md",
            folder.display()
        );
        let expected: Value = serde_json::from_slice(&read(&place))
            .unwrap_or_else(|error| panic!("{}: {error}", place.display()));
        let mut here = Vec::new();
        differences("", &expected, &got, &mut here);
        found.extend(
            here.iter()
                .map(|line| format!("{}: {line}", folder.display())),
        );
    }
    assert!(n_folders >= recipes().len());
    assert!(found.is_empty(), "{}", found.join("\n"));
}
