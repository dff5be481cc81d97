//! The house stays a house: who may use whom, who may touch the outside, how long a file
//! may be, what stands at the top level, and whether the pages are fresh.

mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use common::program::PROGRAM;
use halfshaft_health::FigureId;
use halfshaft_model::channel::ROLES;
use serde_json::Value;

/// Which crate may use which of ours. `cli` may use all.
const ARROWS: &[(&str, &[&str])] = &[
    ("model", &[]),
    ("logs", &["model"]),
    ("signal-map", &["model"]),
    ("driveline", &["model"]),
    ("health", &["model", "driveline"]),
    ("drive", &["model", "signal-map", "driveline", "health"]),
    ("record", &["model", "health"]),
    ("look", &["model"]),
    ("report", &["model", "health", "record", "look"]),
    ("archive", &["model", "health", "record"]),
    (
        "capture",
        &[
            "model",
            "logs",
            "signal-map",
            "driveline",
            "health",
            "drive",
            "report",
        ],
    ),
    ("simulate", &["model", "logs"]),
    (
        "fleet",
        &[
            "model",
            "logs",
            "signal-map",
            "health",
            "drive",
            "record",
            "simulate",
        ],
    ),
];

/// What stands at the top level, beside dotfiles and `target`.
const TOP: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "crates",
    "docs",
    "sample-logs",
    "signal-maps",
    "tests",
];

/// A file of more lines of code than this answers more than one question. Tests, comments
/// and empty lines do not count.
const LONGEST_FILE: usize = 450;

/// A sample log may not be larger.
const LARGEST_SAMPLE: u64 = 2_000_000;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

#[track_caller]
fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[track_caller]
fn names_in(path: &Path) -> Vec<String> {
    let entries =
        std::fs::read_dir(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut names: Vec<String> = entries
        .map(|entry| entry.expect("the folder can be read").file_name())
        .map(|name| name.to_string_lossy().into_owned())
        .collect();
    names.sort_unstable();
    names
}

#[track_caller]
fn none(what: &str, found: &[String]) {
    assert!(found.is_empty(), "{what}:\n{}", found.join("\n"));
}

fn files_under(dir: &Path, extension: &str, found: &mut Vec<PathBuf>) {
    for name in names_in(dir) {
        let path = dir.join(&name);
        if path.is_dir() {
            files_under(&path, extension, found);
        } else if path.extension().is_some_and(|ending| ending == extension) {
            found.push(path);
        }
    }
}

/// Source files of a crate with their code: no tests, no comments, no texts on lines of
/// their own.
fn sources(name: &str) -> Vec<(PathBuf, String)> {
    let mut files = Vec::new();
    files_under(
        &root().join("crates").join(name).join("src"),
        "rs",
        &mut files,
    );
    // Below the repository only: whoever keeps it in a folder of one of these names has it, too.
    let is_test = |path: &Path| {
        let inside = path.strip_prefix(root()).expect("it lies below the root");
        inside.iter().any(|part| {
            ["tests", "tests.rs", "testing.rs"]
                .iter()
                .any(|test| part == *test)
        })
    };
    files
        .into_iter()
        .filter(|path| !is_test(path))
        .map(|path| {
            let code = without_tests(&read(&path));
            (path, code)
        })
        .collect()
}

/// A source text up to its tests, which stand at the end.
fn without_tests(text: &str) -> String {
    let tests = text.find("\n#[cfg(test)]\nmod tests {");
    text[..tests.unwrap_or(text.len())].to_owned()
}

/// Lines of code with their number from 1, comments left out.
fn lines_of_code(code: &str) -> impl Iterator<Item = (usize, &str)> {
    (1..)
        .zip(code.lines())
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
}

/// Whether a word stands in a line and is not the end of a longer one.
fn has_word(line: &str, word: &str) -> bool {
    let is_part = |c: char| c.is_alphanumeric() || c == '_';
    line.match_indices(word).any(|(place, _)| {
        let before = line[..place].chars().next_back();
        let after = line[place + word.len()..].chars().next();
        let ends_open = word.ends_with(is_part);
        !(before.is_some_and(is_part) || ends_open && after.is_some_and(is_part))
    })
}

fn crates() -> Vec<String> {
    names_in(&root().join("crates"))
}

/// What cargo knows of our crates.
fn packages() -> Vec<Value> {
    let output = std::process::Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .expect("cargo runs, since it runs this");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo writes JSON");
    metadata["packages"]
        .as_array()
        .expect("there are packages")
        .clone()
}

/// Dependencies of a package: name, and whether they are for its tests only.
fn dependencies(package: &Value) -> Vec<(String, bool)> {
    let list = package["dependencies"].as_array().expect("there is a list");
    let dependency = |dependency: &Value| {
        let name = dependency["name"].as_str().expect("it has a name");
        (name.to_owned(), dependency["kind"] == "dev")
    };
    list.iter().map(dependency).collect()
}

/// Which modules of a crate's first level use which, by their paths and by what the root of the
/// crate passes on.
fn modules(name: &str) -> BTreeMap<String, BTreeSet<String>> {
    let root = root().join("crates").join(name).join("src");
    let is_root = |path: &Path| {
        ["lib.rs", "main.rs"]
            .iter()
            .any(|file| *path == root.join(file))
    };
    let module_of = |path: &Path| {
        let inside = path.strip_prefix(&root).expect("it lies in the crate");
        let first = inside.components().next().expect("it has a name");
        first
            .as_os_str()
            .to_string_lossy()
            .trim_end_matches(".rs")
            .to_owned()
    };
    let files = sources(name);
    let (roots, inner): (Vec<_>, Vec<_>) = files.iter().partition(|(path, _)| is_root(path));
    let names: BTreeSet<String> = inner.iter().map(|(path, _)| module_of(path)).collect();
    let mut passed_on = BTreeMap::new();
    for statement in roots.iter().flat_map(|(_, code)| code.split(';')) {
        if let Some((_, path)) = statement.rsplit_once("pub use ")
            && let Some((module, items)) = path.trim_start_matches("crate::").split_once("::")
        {
            let items = items.split(|c: char| !(c.is_alphanumeric() || c == '_'));
            passed_on.extend(items.map(|item| (item.to_owned(), module.to_owned())));
        }
    }
    let mut uses: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (path, code) in &inner {
        let own = module_of(path);
        let lines: String = lines_of_code(code).map(|(_, line)| line).collect();
        let used = uses.entry(own.clone()).or_default();
        for after in lines.split("crate::").skip(1) {
            // One path, or several in braces.
            let several = after
                .strip_prefix('{')
                .and_then(|list| list.split('}').next());
            for path in several.unwrap_or(after).split(',') {
                let first: String = path
                    .trim()
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                let module = match names.contains(&first) {
                    true => Some(&first),
                    false => passed_on.get(&first),
                };
                used.extend(module.filter(|module| **module != own).cloned());
                if several.is_none() {
                    break;
                }
            }
        }
    }
    uses
}

/// Modules that lie on a circle: what is left when those that use nothing of the rest are taken
/// away again and again, and those that nothing of the rest uses.
fn on_a_circle(mut uses: BTreeMap<String, BTreeSet<String>>) -> BTreeSet<String> {
    loop {
        let left: BTreeSet<String> = uses.keys().cloned().collect();
        let used: BTreeSet<String> = uses.values().flatten().cloned().collect();
        uses.retain(|name, of| of.iter().any(|other| left.contains(other)) && used.contains(name));
        let names: BTreeSet<String> = uses.keys().cloned().collect();
        uses.values_mut()
            .for_each(|of| of.retain(|other| names.contains(other)));
        if names == left {
            return names;
        }
    }
}

#[test]
fn modules_of_a_crate_make_no_circle() {
    let circles: Vec<String> = crates()
        .iter()
        .map(|name| (name, on_a_circle(modules(name))))
        .filter(|(_, circle)| !circle.is_empty())
        .map(|(name, circle)| format!("{name}: {circle:?}"))
        .collect();
    none("modules that use each other in a circle", &circles);
}

#[test]
fn a_circle_is_found_whoever_begins_it() {
    let uses = |pairs: &[(&str, &[&str])]| {
        let of = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        pairs
            .iter()
            .map(|(name, names)| ((*name).to_owned(), of(names)))
            .collect()
    };
    let chain = uses(&[
        ("top", &["middle", "ground"]),
        ("middle", &["ground"]),
        ("ground", &[]),
    ]);
    assert!(on_a_circle(chain).is_empty());
    let circle = uses(&[
        ("top", &["middle"]),
        ("middle", &["ground"]),
        ("ground", &["middle"]),
    ]);
    let found: Vec<String> = on_a_circle(circle).into_iter().collect();
    assert_eq!(found, ["ground", "middle"]);
    // The modules of a crate are really read.
    assert!(modules("health")["figures"].contains("trust"));
}

#[test]
fn arrows_point_one_way() {
    let mut wrong = Vec::new();
    let mut seen = BTreeSet::new();
    for package in packages() {
        let name = package["name"].as_str().expect("it has a name").to_owned();
        let name = match name.strip_prefix("halfshaft-") {
            Some(short) => short.to_owned(),
            None => "cli".to_owned(),
        };
        let allowed = ARROWS.iter().find(|(from, _)| *from == name);
        seen.insert(name.clone());
        for (used, _) in dependencies(&package) {
            let Some(used) = used.strip_prefix("halfshaft-") else {
                continue;
            };
            let is_allowed = match allowed {
                Some((_, to)) => to.contains(&used),
                None => name == "cli",
            };
            if !is_allowed {
                wrong.push(format!("{name} -> {used}"));
            }
        }
    }
    none("arrows that the table does not have", &wrong);
    let known: BTreeSet<String> = ARROWS
        .iter()
        .map(|(name, _)| (*name).to_owned())
        .chain(["cli".to_owned()])
        .collect();
    assert_eq!(seen, known, "crates, and crates in the table");
    assert_eq!(seen, crates().into_iter().collect(), "crates, and folders");
}

#[test]
fn the_table_of_arrows_in_the_developers_page_is_this_one() {
    let page = read(&root().join("DEVELOPERS.md"));
    for (name, to) in ARROWS {
        let row = page
            .lines()
            .find(|line| line.starts_with(&format!("| `{name}` |")))
            .unwrap_or_else(|| panic!("DEVELOPERS.md has no row for {name}"));
        let cell = row.trim_end_matches([' ', '|']).rsplit('|').next();
        let stated = cell.unwrap_or_default().trim();
        let wanted = match to.is_empty() {
            true => "nothing of ours".to_owned(),
            false => to.join(", "),
        };
        assert_eq!(stated, wanted, "what {name} may use");
    }
}

#[test]
fn every_dependency_has_a_reason() {
    let page = read(&root().join("DEVELOPERS.md"));
    let reasons = page.split("## Dependencies").nth(1).unwrap_or_default();
    let mut used = BTreeSet::new();
    for package in packages() {
        used.extend(dependencies(&package).into_iter().map(|(name, _)| name));
    }
    let missing: Vec<String> = used
        .into_iter()
        .filter(|name| !name.starts_with("halfshaft") && !reasons.contains(&format!("`{name}`")))
        .collect();
    none("dependencies without a line in DEVELOPERS.md", &missing);
}

#[test]
fn what_is_declared_once_is_inherited() {
    let mut wrong = Vec::new();
    for name in crates() {
        let manifest = read(&root().join("crates").join(&name).join("Cargo.toml"));
        for line in [
            "version.workspace = true",
            "edition.workspace = true",
            "rust-version.workspace = true",
            "license.workspace = true",
            "publish.workspace = true",
            "[lints]\nworkspace = true",
        ] {
            if !manifest.contains(line) {
                wrong.push(format!("{name}: no `{}`", line.replace('\n', " ")));
            }
        }
        let mut is_dependency = false;
        for line in manifest.lines().map(str::trim) {
            if line.starts_with('[') {
                is_dependency = line.contains("dependencies");
            } else if is_dependency && line.contains('=') && !line.contains("workspace = true") {
                wrong.push(format!("{name}: `{line}` has a version of its own"));
            }
        }
    }
    none("manifests", &wrong);
}

#[test]
fn the_top_level_holds_what_it_should() {
    let is_aside = |name: &String| name.starts_with('.') || name == "target";
    let names: Vec<String> = names_in(&root())
        .into_iter()
        .filter(|name| !is_aside(name))
        .collect();
    assert_eq!(names, TOP);
}

/// Finds words in the code of crates that may not use them.
fn uses(words: &[impl AsRef<str>], is_allowed: impl Fn(&str) -> bool) -> Vec<String> {
    let mut found = Vec::new();
    for name in crates().iter().filter(|name| !is_allowed(name)) {
        for (path, code) in sources(name) {
            for (number, line) in lines_of_code(&code) {
                if words.iter().any(|word| has_word(line, word.as_ref())) {
                    found.push(format!("{}:{number}: {}", path.display(), line.trim()));
                }
            }
        }
    }
    found
}

#[test]
fn only_the_program_prints_and_asks_the_world() {
    let words = [
        "println!",
        "print!",
        "eprintln!",
        "eprint!",
        "dbg!",
        "io::stdout",
        "io::stderr",
        "std::env",
        "env::var",
        "SystemTime",
        "Instant::now",
        "process::exit",
    ];
    none(
        "prints or asks outside the programs",
        // `capture` follows a drive as it goes on: it has a clock.
        &uses(&words, |name| ["cli", "fleet", "capture"].contains(&name)),
    );
    // The search itself must find what is there.
    assert!(!uses(&["std::env"], |name| name != "cli").is_empty());
}

#[test]
fn channels_and_figures_are_not_named_by_literals() {
    let quoted = |name: &str| format!("\"{name}\"");
    let channels: Vec<String> = ROLES.iter().map(|role| quoted(role.name)).collect();
    none(
        "channels named by a literal, not by `model::channel::name`",
        &uses(&channels, |name| name == "model"),
    );
    assert!(uses(&channels, |name| name != "model").len() >= ROLES.len());
    // A name of one word is English as well; as a `FigureId` it cannot be given.
    let figures: Vec<String> = FigureId::ALL
        .iter()
        .map(|id| quoted(id.word()))
        .filter(|word| word.contains('_'))
        .collect();
    let (declared, literal): (Vec<_>, Vec<_>) = uses(&figures, |_| false)
        .into_iter()
        .partition(|line| line.contains("figure_id.rs:"));
    none("figures named by a literal, not by `FigureId`", &literal);
    assert_eq!(declared.len(), figures.len());
}

/// Words that a registry declares: a line each, `Word = …`.
fn declared_in(registry: &str) -> Vec<String> {
    let text = read(&root().join("crates").join(registry));
    let word = |line: &str| {
        let (word, _) = line.strip_prefix("    ")?.split_once(" = ")?;
        let is_word = word.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
        is_word.then(|| word.to_owned())
    };
    let words: Vec<String> = text.lines().filter_map(word).collect();
    assert!(words.len() > 30, "{registry}: {words:?}");
    words
}

/// What one more costs: the table of the developers' page has the fewest source files that
/// name one of its kind, so that the recipe is shown by one that exists, and the most allowed.
#[test]
fn a_recipe_costs_what_the_developers_page_says() {
    let page = read(&root().join("DEVELOPERS.md"));
    // What the fleet expects of a fault is no part of the program.
    let files: Vec<String> = crates()
        .iter()
        .filter(|name| *name != "fleet")
        .flat_map(|name| sources(name))
        .map(|(_, code)| {
            lines_of_code(&code)
                .map(|(_, line)| line.to_owned() + "\n")
                .collect()
        })
        .collect();
    let n_files = |word: &str| files.iter().filter(|code| has_word(code, word)).count();
    let with_registry = |registry: &str, path: &str| -> Vec<usize> {
        let words = declared_in(registry).into_iter();
        words
            .map(|word| 1 + n_files(&format!("{path}{word}")))
            .collect()
    };
    let channels = declared_in("model/src/channel.rs");
    // A format's own file does not name it.
    let formats = ["indexed", "pcapng", "sheet", "socketcan_text"];
    let format = |name: &str| 1 + n_files(&format!("{name}::recognise"));
    let kinds = [
        (
            "finding",
            with_registry("health/src/finding_id.rs", "FindingId::"),
        ),
        (
            "figure",
            with_registry("health/src/figure_id.rs", "FigureId::"),
        ),
        (
            "channel",
            channels.iter().map(|name| n_files(name)).collect(),
        ),
        ("format", formats.map(format).to_vec()),
    ];
    for (kind, counts) in kinds {
        let row = page
            .lines()
            .find_map(|line| line.strip_prefix(&format!("| {kind} | ")))
            .unwrap_or_else(|| panic!("DEVELOPERS.md has no row for a {kind}"));
        let stated: Vec<usize> = row
            .split(" | ")
            .map_while(|cell| cell.parse().ok())
            .collect();
        let [least, most] = stated[..] else {
            panic!("{kind}: `{row}` has no two numbers");
        };
        assert_eq!(counts.iter().min(), Some(&least), "{kind}: fewest files");
        assert!(counts.iter().all(|n| *n <= most), "{kind}: {counts:?}");
    }
}

#[test]
fn only_some_crates_touch_files() {
    let words = [
        "std::fs",
        "fs::read",
        "fs::write",
        "File::open",
        "File::create",
    ];
    let may = ["cli", "fleet", "logs", "archive", "capture"];
    none(
        "files outside logs, archive, capture and the programs",
        &uses(&words, |name| may.contains(&name)),
    );
    assert!(!uses(&["File::open"], |name| name != "logs").is_empty());
}

#[test]
fn nothing_is_unsafe_unfinished_or_ignored() {
    none("unsafe code", &uses(&["unsafe"], |_| false));
    let mut files = Vec::new();
    for dir in ["crates", "tests"] {
        files_under(&root().join(dir), "rs", &mut files);
    }
    // Written in two parts, so that this file does not find itself.
    let words = [
        ["TO", "DO"],
        ["FIX", "ME"],
        ["unimple", "mented!"],
        ["to", "do!"],
        ["#[ig", "nore"],
        ["assert!", "(true"],
        // A passing test's output is not shown: a skip in it is hidden.
        ["println!(\"sk", "ipped"],
        // `common/rewriting.rs` asks, so that it can refuse.
        ["var_os(\"HALF", "SHAFT_REWRITE"],
    ]
    .map(|parts| parts.concat());
    let mut found = Vec::new();
    for path in files {
        let text = read(&path);
        for (number, line) in (1..).zip(text.lines()) {
            if words.iter().any(|word| line.contains(word)) {
                found.push(format!("{}:{number}: {}", path.display(), line.trim()));
            }
        }
    }
    none("unfinished", &found);
}

#[test]
fn every_file_says_what_it_is_for_and_stays_short() {
    let mut without_words = Vec::new();
    let mut long = Vec::new();
    for name in crates() {
        for (path, code) in sources(&name) {
            if !code.starts_with("//!") {
                without_words.push(path.display().to_string());
            }
            let lines = lines_of_code(&code);
            let n_lines = lines.filter(|(_, line)| !line.trim().is_empty()).count();
            let words = format!("{}: {n_lines} lines of code", path.display());
            match n_lines {
                _ if n_lines > LONGEST_FILE => long.push(words),
                _ if n_lines > LONGEST_FILE - 50 => println!("nearly too long: {words}"),
                _ => {}
            }
        }
    }
    none("files that do not open with their purpose", &without_words);
    none("files that answer more than one question", &long);
}

#[test]
fn sample_logs_are_small_and_have_their_truth() {
    let dir = root().join("sample-logs");
    let logs: Vec<String> = names_in(&dir)
        .into_iter()
        .filter(|name| name.contains(".log"))
        .collect();
    assert!(logs.len() >= 4, "{logs:?}");
    for name in logs {
        let size = std::fs::metadata(dir.join(&name)).map_or(0, |about| about.len());
        assert!((1..=LARGEST_SAMPLE).contains(&size), "{name}: {size} bytes");
        let stem = name.split(".log").next().unwrap_or_default();
        assert!(dir.join(format!("{stem}.truth.json")).is_file(), "{name}");
    }
}

#[test]
fn generated_pages_are_fresh() {
    let check = |dir: &Path| {
        std::process::Command::new(PROGRAM)
            .arg("pages")
            .arg(dir)
            .arg("--check")
            .output()
            .expect("the program starts")
    };
    let output = check(&root().join("docs"));
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    // And a stale one is seen.
    let folder = common::program::Folder::default();
    folder.run(["pages", "."]).done();
    assert!(check(&folder.path(".")).status.success());
    let page = folder.read("notices.md");
    folder.write("notices.md", page.replacen("line", "lime", 1));
    assert_eq!(check(&folder.path(".")).status.code(), Some(2));
}

/// The pages that people read.
fn pages() -> Vec<PathBuf> {
    let mut pages = vec![root().join("README.md"), root().join("DEVELOPERS.md")];
    files_under(&root().join("docs"), "md", &mut pages);
    pages.push(root().join("sample-logs/README.md"));
    pages
}

/// Code in a page: the lines of fenced blocks, and what stands between single backticks.
fn code_in(text: &str) -> Vec<String> {
    let mut code = Vec::new();
    let mut is_fenced = false;
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            is_fenced = !is_fenced;
        } else if is_fenced {
            code.push(line.trim().to_owned());
        } else {
            code.extend(line.split('`').skip(1).step_by(2).map(str::to_owned));
        }
    }
    code
}

/// Commands in a text: the words after `halfshaft`, or after `cargo run … --`.
fn commands(text: &str) -> Vec<Vec<String>> {
    let command = |code: &String| {
        let rest = match code.strip_prefix("cargo run ") {
            Some(run) if !run.contains("--example") => run.split_once("-- ")?.1,
            _ => code.strip_prefix("halfshaft ")?,
        };
        let is_word = |word: &&str| word.chars().all(|c| c.is_ascii_lowercase());
        let words = rest.split_whitespace().take_while(is_word);
        // Only `map` takes a second word.
        let n = if rest.starts_with("map ") { 2 } else { 1 };
        Some(words.take(n).map(str::to_owned).collect())
    };
    code_in(text).iter().filter_map(command).collect()
}

#[test]
fn commands_in_the_pages_exist() {
    let mut n_commands = 0;
    for page in pages() {
        for command in commands(&read(&page)) {
            n_commands += 1;
            let output = std::process::Command::new(PROGRAM)
                .args(&command)
                .arg("--help")
                .output()
                .expect("the program starts");
            assert!(output.status.success(), "{}: {command:?}", page.display());
        }
    }
    assert!(n_commands >= 6, "{n_commands} commands were found");
}

#[test]
fn options_in_the_pages_exist() {
    let help: String = [
        &["report"][..],
        &["map", "check"],
        &["map", "format"],
        &["map", "start"],
        &["look"],
        &["decode"],
        &["export"],
        &["whatif"],
        &["compare"],
        &["capture"],
        &["demo"],
        &["pages"],
    ]
    .iter()
    .map(|command| {
        let output = std::process::Command::new(PROGRAM)
            .args(*command)
            .arg("--help")
            .output();
        String::from_utf8_lossy(&output.expect("the program starts").stdout).into_owned()
    })
    .collect();
    for page in pages() {
        for code in code_in(&read(&page)) {
            if !code.starts_with("halfshaft ") {
                continue;
            }
            let words = code.split([' ', '[', ']', '|']);
            for option in words.filter(|word| word.len() > 2 && word.starts_with("--")) {
                assert!(help.contains(option), "{}: {option}", page.display());
            }
        }
    }
}

/// `tests/mutations/run` makes each of these mistakes and expects its test to fail, which takes an
/// hour. Here only: each can still be made, in one place, and its test is still there.
#[test]
fn every_mistake_of_the_list_can_be_made() {
    let list: Value = serde_json::from_str(&read(&root().join("tests/mutations/list.json")))
        .expect("the list is JSON");
    let list = list.as_array().expect("it is a list");
    let mut names = BTreeSet::new();
    let mut wrong = Vec::new();
    for one in list {
        let text = |key: &str| {
            one[key]
                .as_str()
                .unwrap_or_else(|| panic!("no {key}: {one}"))
        };
        let name = text("name");
        let n_places = read(&root().join(text("file")))
            .matches(text("from"))
            .count();
        if n_places != 1 || text("from") == text("to") {
            wrong.push(format!("{name}: {n_places} places in {}", text("file")));
        }
        let target: Vec<&str> = text("target").split(' ').collect();
        let file = match (target.as_slice(), text("test").rsplit_once("::tests::")) {
            (["-p", "halfshaft", "--test", test], _) => format!("tests/{test}.rs"),
            // At the bottom of the module's file, or in a file of its own.
            (["-p", package, "--lib"], Some((module, _))) => {
                let name = package.trim_start_matches("halfshaft-");
                let module = format!("crates/{name}/src/{}", module.replace("::", "/"));
                let own = format!("{module}/tests.rs");
                match root().join(&own).exists() {
                    true => own,
                    false => format!("{module}.rs"),
                }
            }
            _ => panic!("{name}: no such target"),
        };
        let test = text("test").rsplit("::").next().unwrap_or_default();
        if !read(&root().join(&file)).contains(&format!("fn {test}()")) {
            wrong.push(format!("{name}: no test {test} in {file}"));
        }
        if !names.insert(name) {
            wrong.push(format!("{name} twice"));
        }
    }
    none("mistakes that cannot be made", &wrong);
    assert!(names.len() >= 20);
}

#[test]
fn links_in_the_pages_lead_somewhere() {
    let mut dead = Vec::new();
    for page in pages() {
        let text = read(&page);
        let dir = page.parent().expect("a page lies in a folder").to_owned();
        for (place, _) in text.match_indices("](") {
            let target = text[place + 2..].split(')').next().unwrap_or_default();
            let target = target.split('#').next().unwrap_or_default();
            if !target.is_empty() && !target.contains("://") && !dir.join(target).exists() {
                dead.push(format!("{}: {target}", page.display()));
            }
        }
    }
    none("dead links", &dead);
}

#[test]
fn maps_are_right_and_in_standard_form() {
    let mut maps = Vec::new();
    for dir in ["signal-maps", "tests/real", "tests/corpus"] {
        files_under(&root().join(dir), "map", &mut maps);
    }
    assert!(maps.len() >= 5);
    for path in maps {
        let text = read(&path);
        let name = path.display().to_string();
        if let Err(mistakes) = halfshaft_signal_map::parse(&name, &text) {
            panic!("{}", mistakes.render(false));
        }
        let formatted = halfshaft_signal_map::format(&name, &text);
        assert_eq!(formatted.ok().as_deref(), Some(text.as_str()), "{name}");
    }
}
