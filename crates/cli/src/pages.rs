//! The reference pages that are made from the program's own registries.
//!
//! A page here is never edited by hand, but for the text around the tables of `export.md`; a test
//! fails when one is stale. To add a page add its function and its line in [`PAGES`].

use std::process::ExitCode;

use anyhow::{Result, bail};
use halfshaft_archive::channels::DERIVED;
use halfshaft_archive::results::TABLES;
use halfshaft_health::findings::ALL;
use halfshaft_health::limits::{GROUPS, Limits};
use halfshaft_model::channel::ROLES;
use halfshaft_model::unit::UNITS;
use halfshaft_model::{Behaviour, Code};

use halfshaft_record::keys;
use halfshaft_record::schema::json_schema;

use crate::arguments::PagesOptions;
use crate::output::Folder;

type Page = fn() -> String;

const PAGES: &[(&str, Page)] = &[
    ("channels.md", channels),
    ("export.md", export),
    ("findings.md", findings),
    ("notices.md", notices),
    ("report-keys.md", report_keys),
    ("report-schema.json", json_schema),
    ("settings.md", settings),
    ("units.md", units),
];

/// Writes the pages, or with `--check` says which is stale.
pub fn run(options: &PagesOptions) -> Result<ExitCode> {
    if options.check {
        for (name, page) in PAGES {
            let path = options.dir.join(name);
            if std::fs::read_to_string(&path).ok().as_deref() != Some(&page()) {
                bail!(
                    "{} is stale: write it anew with `halfshaft pages {}`",
                    path.display(),
                    options.dir.display()
                );
            }
        }
        return Ok(ExitCode::SUCCESS);
    }
    let mut folder = Folder::open(&options.dir)?;
    for (name, page) in PAGES {
        folder.add(name, |out| Ok(out.write_all(page().as_bytes())?))?;
    }
    folder.put_in_place()?;
    Ok(ExitCode::SUCCESS)
}

const MADE: &str = "<!-- Made by `halfshaft pages docs`; do not edit. -->\n\n";

fn channels() -> String {
    let mut page = format!(
        "# Channels\n\n{MADE}The names a signal map gives its signals. Anything else to carry along is named `own.…`.\n\
         A measured channel is interpolated between fresh samples, a held one lasts until the next.\n\n\
         | channel | unit | between samples | meaning |\n|---|---|---|---|\n"
    );
    for role in ROLES {
        let behaviour = match role.behaviour {
            Behaviour::Continuous => "measured",
            Behaviour::Held => "held",
        };
        page += &format!(
            "| `{}` | {} | {behaviour} | {} |\n",
            role.name, role.unit, role.meaning
        );
    }
    page
}

/// The page as it is, with the tables between its marks written anew.
fn export() -> String {
    let head = "| unit | what it is |\n|---|---|---|\n";
    let row = |name: &str, unit: &str, meaning: &str| {
        format!("| `{name}` | {unit} | {meaning} |\n").replace("|  |", "| |")
    };
    let mut page = include_str!("../../../docs/export.md").to_owned();
    let mut put = |name: &str, table: &str| {
        let mark = format!("<!-- {name}, made by `halfshaft pages docs` -->\n");
        let (before, rest) = page
            .split_once(&mark)
            .expect("each table has its mark in the page");
        let (_, after) = rest
            .split_once("<!-- end -->")
            .expect("each table has its end");
        page = format!("{before}{mark}{table}<!-- end -->{after}");
    };
    let derived = DERIVED
        .iter()
        .map(|one| row(one.name, one.unit, one.meaning));
    put(
        "derived channels",
        &format!("| channel {head}{}", derived.collect::<String>()),
    );
    for (name, columns) in TABLES {
        let columns = columns();
        let rows = columns
            .iter()
            .map(|one| row(&one.name, &one.unit, &one.meaning));
        put(
            &format!("{name}.parquet"),
            &format!("| column {head}{}", rows.collect::<String>()),
        );
    }
    page
}

fn findings() -> String {
    let mut page = format!(
        "# Findings\n\n{MADE}What a drive can show of the car. Each comes with at most five stretches that show it. One \
         whose signals were not there is listed as not checked, with what was missing; what lies in a gap, in reverse \
         or under anti-lock and stability control does not count. Every limit stands with its reason and source in \
         [settings.md](settings.md) and can be changed there; where the source is an engineering guess it says so.\n"
    );
    for entry in ALL {
        let about = entry.about;
        let severities: Vec<&str> = about
            .severities
            .iter()
            .map(|severity| severity.words())
            .collect();
        page += &format!(
            "\n## `{}`: {}\n\n- **Severity**: {}\n- **Rule**: {}\n- **Needs**: {}\n- **Next check**: {}\n\
             - **False alarm, could also be**: {}\n- **Withdrawn if**: {}\n",
            about.id,
            about.title,
            severities.join(" or "),
            (about.rule)(&Limits::default()),
            about.needs,
            about.next_check,
            about.could_also_be,
            about.withdrawn_if
        );
    }
    page
}

fn settings() -> String {
    let mut page = format!(
        "# Settings\n\n{MADE}Every limit that a report judges by, and why it is what it is. `halfshaft settings` writes them all as \
         a file to edit: in TOML, one table a subject, a key left out keeps its usual value. A report reads the file named \
         by `--settings`, else `$XDG_CONFIG_HOME/halfshaft/settings.toml` (`~/.config` where that is not set), and lists \
         what was changed. An unknown key, a key twice, a value of the wrong kind or out of its range ends the run with \
         its line and column. What belongs to one car, such as its torque or the temperatures its maker allows, stands in \
         the [map](signal-map.md) and goes before.\n"
    );
    let defaults = Limits::default();
    for group in GROUPS {
        page += &format!(
            "\n## `[{}]`\n\n{}\n\n| key | usual value | may be | meaning |\n|---|---|---|---|\n",
            group.table, group.about
        );
        for about in group.limits {
            let mut words = about.meaning.to_owned();
            for (word, text) in [
                ("Reason", about.reason),
                ("Source", about.source),
                ("Sensitivity", about.sensitivity),
            ] {
                if !text.is_empty() {
                    words += &format!(" {word}: {text}.");
                }
            }
            page += &format!(
                "| `{}` | {} | {} | {words} |\n",
                about.key,
                (about.get)(&defaults),
                about.wanted()
            );
        }
    }
    page
}

fn notices() -> String {
    let mut page = format!(
        "# Notices\n\n{MADE}What was wrong with the data while the result stands: counted by code, with the first place and an \
         example. Of a line or cell the example keeps the form, each letter as `a` and each digit as `0`: it may hold a \
         vehicle number, a number plate or a comment, and a report is passed on. An error, which is not, quotes it.\n\n\
         | code | meaning |\n|---|---|\n"
    );
    for code in Code::ALL {
        page += &format!("| `{}` | {} |\n", code.word(), code.meaning());
    }
    page
}

fn report_keys() -> String {
    format!(
        "# The keys of report.json\n\n{MADE}Every key of `report.json`, its unit and what it is, a table for each part; what holds \
         everywhere and how the parts are meant is in [report.md](report.md). *Or reason*: an object of `result` and `why_null`, \
         exactly one of the two null.\n{}",
        keys::tables()
    )
}

fn units() -> String {
    let mut page = format!(
        "# Units\n\n{MADE}The units a signal map may use.\n\n| unit | also written | quantity | in SI |\n|---|---|---|---|\n"
    );
    for unit in UNITS {
        let si = match unit.offset {
            0.0 => format!("{}", unit.factor),
            offset => format!(
                "{} × value {} {}",
                unit.factor,
                if offset < 0.0 { '−' } else { '+' },
                offset.abs()
            ),
        };
        page += &format!(
            "| `{}` | {} | {} | {si} |\n",
            unit.symbol,
            unit.aliases,
            unit.dimension.describe()
        );
    }
    page
}
