//! Names from a map, a log or a file name are foreign text: they reach a page, a terminal
//! or a spreadsheet as text and never as an order.

mod common;

use common::program::{CAR, Folder, Run, base64, drive};
use halfshaft_model::personal::clean;

const HTML: &str = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&amp;";
const FORMULA: &str = "=1+1";
const PATH: &str = "../../x";
/// Orders to a terminal, a bell, a C1 control sequence, and a mark that turns text round.
const ORDERS: &str = "\u{1b}[31mred\u{7}\u{9b}2J\u{202e}";

/// Text for the quotation marks of a map.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// The map of the small car with all its names replaced.
fn car(name: &str) -> String {
    CAR.replace("\"small car\"", &quoted(name))
        .replace("\"the tests\"", &quoted(name))
        .replace("\"SC-1\"", &quoted(name))
}

/// Nothing but text and line ends went to the terminal.
#[track_caller]
fn is_plain(run: &Run) {
    for text in [&run.out, &run.err] {
        let odd = text.chars().find(|&c| {
            c.is_control() && c != '\n'
                || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}')
        });
        assert_eq!(odd, None, "{run:#?}");
    }
}

/// Nothing steers a terminal or turns text round, in whatever string of it.
#[track_caller]
fn is_plain_json(json: &serde_json::Value) {
    match json {
        serde_json::Value::String(text) => assert_eq!(*text, clean(text)),
        serde_json::Value::Array(all) => all.iter().for_each(is_plain_json),
        serde_json::Value::Object(all) => {
            for (key, value) in all {
                assert_eq!(*key, clean(key));
                is_plain_json(value);
            }
        }
        _ => {}
    }
}

/// The text of the page holds no tag that the program did not write.
#[track_caller]
fn is_harmless_page(page: &str) {
    // The page has at most one script, the program's own, written out in the source.
    const OWN: &str = include_str!("../crates/report/src/html/zoom.js");
    let own = format!("<script>{OWN}</script>");
    assert!(page.matches("<script").count() <= 1, "a second script");
    let page = &page.replace(&own, "");
    for order in [
        "<script",
        "<img",
        "<b>",
        "onerror=alert(2)>",
        "\u{1b}",
        "javascript:",
    ] {
        assert!(!page.contains(order), "{order} in the page");
    }
    assert!(page.starts_with("<!DOCTYPE html>"));
}

#[test]
fn names_of_a_map() {
    for name in [HTML, FORMULA, PATH, ORDERS] {
        let folder = Folder::with_drive();
        folder.write("car.map", car(name));
        let arguments = [
            "report",
            "--full",
            "drive.log",
            "--map",
            "car.map",
            "--out",
            "out",
        ];
        is_plain(&folder.run(arguments).done());
        is_plain(&folder.run(["map", "check", "car.map", "drive.log"]).done());
        let page = folder.read("out/report.html");
        is_harmless_page(&page);
        if name == HTML {
            assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
        }
        let json: serde_json::Value =
            serde_json::from_str(&folder.read("out/report.json")).expect("the report is JSON");
        let shown = clean(name);
        assert_eq!(json["map"]["unit"], shown);
        assert_eq!(json["map"]["identity"]["written by"], shown);
        is_plain_json(&json);
        // A name is never a place.
        assert_eq!(
            folder.list(),
            [
                "car.map",
                "drive.log",
                "out",
                "out/report.html",
                "out/report.json"
            ]
        );
        let format = folder.run(["map", "format", "car.map"]).done();
        folder.write("formatted.map", &format.out);
        assert_eq!(
            folder.run(["map", "format", "formatted.map"]).done().out,
            format.out
        );
    }
}

#[test]
fn channels_can_only_have_harmless_names() {
    let folder = Folder::with_drive();
    let map = |name: &str| {
        CAR.replace("oil.temperature in", &format!("own.{name} in"))
            .replace("    sensor in oil\n", "")
    };
    for name in [
        "=1+1",
        "<b>",
        "+1",
        "../../x",
        "a,b",
        "a\"b",
        "a;b",
        "\u{1b}[31m",
        "a\u{202e}b",
    ] {
        folder.write("bad.map", map(name));
        let run = folder.run(["map", "check", "bad.map"]);
        assert_eq!(run.code, Some(2), "{name}: {run:#?}");
        is_plain(&run);
    }
    for name in ["-1.1", "@x", "ölstand", "_..x"] {
        folder.write("odd.map", map(name));
        let run = folder.run(["decode", "drive.log", "--map", "odd.map"]);
        if run.code == Some(0) {
            is_harmless_table(&run.out);
        }
        is_plain(&run);
    }
}

/// Four cells a row, none of which a spreadsheet would run.
#[track_caller]
fn is_harmless_table(table: &str) {
    for line in table.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(cells.len(), 4, "{line}");
        for cell in cells {
            let is_order = cell.starts_with(['=', '+', '-', '@', '\t', '"']);
            assert!(!is_order || cell.parse::<f64>().is_ok(), "{line}");
        }
    }
}

#[test]
fn a_bus_with_a_hostile_name() {
    let folder = Folder::default();
    folder.write("car.map", CAR.replace("  in the log \"can0\"\n", ""));
    folder.write("drive.log", drive().replace("can0", "\u{1b}[31m<script>=1"));
    let check = folder.run(["map", "check", "car.map", "drive.log"]).done();
    is_plain(&check.printed(&["\\u{1b}[31m<script>=1"]));
    let report = folder.run([
        "report",
        "--full",
        "drive.log",
        "--map",
        "car.map",
        "--out",
        "out",
    ]);
    is_plain(&report.done());
    is_harmless_page(&folder.read("out/report.html"));
}

#[test]
fn bad_lines_with_orders_in_them() {
    let folder = Folder::with_drive();
    folder.write("drive.log", format!("{}{ORDERS} {HTML}\n", drive()));
    let arguments = [
        "report",
        "--full",
        "drive.log",
        "--map",
        "car.map",
        "--out",
        "out",
    ];
    is_plain(
        &folder
            .run(arguments)
            .done()
            .printed(&["1 × line-unreadable"]),
    );
    is_harmless_page(&folder.read("out/report.html"));
    let json = folder.read("out/report.json");
    is_plain_json(&serde_json::from_str(&json).expect("the report is JSON"));
    folder.write("drive.log", format!("{ORDERS} {HTML}\n"));
    is_plain(&folder.run(arguments).refused(&["drive.log"]));
    is_plain(&folder.run(["map", "check", "drive.log"]));
    is_plain(&folder.run(["report", "--full", "drive.log", "--map", "drive.log"]));
}

/// A file system of Linux takes any name; others are more particular.
#[cfg(target_os = "linux")]
#[test]
fn names_of_files() {
    for name in [
        "\u{1b}[31mred\u{7}",
        "<script>alert(1)<b>",
        "=1+1",
        "-x",
        "a'b; rm -r c",
        "-",
    ] {
        let folder = Folder::default();
        let (log, map) = (format!("./{name}.log"), format!("./{name}.map"));
        folder.write(&log, drive());
        folder.write(&map, CAR);
        let out = format!("./{name}.out");
        is_plain(
            &folder
                .run(["report", "--full", &log, "--map", &map, "--out", &out])
                .done(),
        );
        is_harmless_page(&folder.read(format!("{out}/report.html")));
        is_plain(&folder.run(["map", "check", &map, &log]).done());
        folder.write(&map, CAR.replace("km", "kmm").replace("degC", "degQ"));
        is_plain(&folder.run(["map", "check", &map]));
        is_plain(&folder.run(["map", "format", &map]));
        is_plain(&folder.run(["report", "--full", &log, "--map", &map]));
        folder.write(&log, "");
        folder.write(&map, CAR);
        is_plain(
            &folder
                .run(["report", "--full", &log, "--map", &map])
                .refused(&["empty"]),
        );
        let missing = format!("./none{name}");
        is_plain(
            &folder
                .run(["report", "--full", &missing, "--map", &map])
                .refused(&["No such"]),
        );
        is_plain(
            &folder
                .run(["report", "--full", &log, "--map", &missing])
                .refused(&["No such"]),
        );
    }
}

/// A name that is no text, as any file of Linux may have.
#[cfg(target_os = "linux")]
#[test]
fn a_map_whose_name_is_no_text_is_formatted_in_its_place() {
    use std::os::unix::ffi::OsStrExt;
    let folder = Folder::default();
    let name = std::ffi::OsStr::from_bytes(b"m\xff\x1b.map");
    folder.write(name, CAR.replace("  unit \"SC-1\"", "  unit    \"SC-1\""));
    let write = [
        std::ffi::OsStr::new("map"),
        "format".as_ref(),
        "--write".as_ref(),
        name,
    ];
    is_plain(&folder.run(write).done());
    let text = std::fs::read_to_string(folder.path(name)).expect("it is still there");
    assert_eq!(text, CAR);
    assert_eq!(folder.list().len(), 1);
}

/// The policy of the page names the one script that may run. Needs `sha256sum`.
#[cfg(target_os = "linux")]
#[test]
fn the_page_lets_only_its_own_script_run() {
    const SCRIPT: &str = include_str!("../crates/report/src/html/zoom.js");
    let folder = Folder::with_drive();
    let arguments = [
        "report",
        "--full",
        "drive.log",
        "--map",
        "car.map",
        "--out",
        "out",
    ];
    folder.run(arguments).done();
    folder.write("zoom.js", SCRIPT);
    let sum = folder.shell("sha256sum zoom.js").done().out;
    let bytes: Vec<u8> = (0..32)
        .map(|at| u8::from_str_radix(&sum[2 * at..2 * at + 2], 16).expect("hexadecimal"))
        .collect();
    let page = folder.read("out/report.html");
    for part in [
        "default-src 'none'".to_owned(),
        format!("script-src 'sha256-{}'", base64(&bytes)),
    ] {
        let escaped = part.replace('\'', "&#39;");
        assert!(page.contains(&part) || page.contains(&escaped), "{part}");
    }
}

/// What names a person stays at home: folders, vehicle numbers, plates and comments in bad lines.
#[test]
fn a_report_names_nobody() {
    let folder = Folder::default();
    std::fs::create_dir(folder.path("jane-doe")).expect("there is room");
    let bad = "# Jane Doe, AB-123-CD, XXXZZZ1JZXW000001, 50.123456 7.654321\n";
    folder.write("jane-doe/drive.log", format!("{}{bad}", drive()));
    folder.write("jane-doe/car.map", CAR);
    let log = [
        "report",
        "--full",
        "jane-doe/drive.log",
        "--map",
        "jane-doe/car.map",
    ];
    let run = folder.run(log.into_iter().chain(["--out", "out"])).done();
    let (json, page) = (
        folder.read("out/report.json"),
        folder.read("out/report.html"),
    );
    let export = ["export", "jane-doe/drive.log", "--map", "jane-doe/car.map"];
    folder
        .run(export.into_iter().chain(["--to", "tables"]))
        .done();
    let tables = folder
        .list()
        .into_iter()
        .filter(|name| name.ends_with(".parquet"));
    let tables = tables.map(|name| std::fs::read(folder.path(name)).expect("it was written"));
    let tables = tables.map(|bytes| String::from_utf8_lossy(&bytes).into_owned());
    for text in [run.out, json, page].into_iter().chain(tables) {
        for word in ["jane", "Jane", "AB-123", "XXXZZZ", "50.123", "7.654"] {
            assert!(!text.contains(word), "{word}");
        }
    }
    let report: serde_json::Value =
        serde_json::from_str(&folder.read("out/report.json")).expect("the report is JSON");
    assert_eq!(report["inputs"][0]["name"], "drive.log");
    assert_eq!(
        report["command"],
        "halfshaft report drive.log --map car.map"
    );
    let notice = &report["notices"][0];
    assert_eq!(notice["source"], "drive.log");
    assert_eq!(
        notice["example"],
        "# aaaa aaa, aa-000-aa, [vehicle number left out], 00.000000 0.000000"
    );
}

/// The command in the report can be pasted into a shell.
#[cfg(target_os = "linux")]
#[test]
fn the_command_of_a_report_makes_it_again() {
    let folder = Folder::default();
    let (log, map) = ("a'b; touch c.log", "$(touch d) `e`\".map");
    folder.write(log, drive());
    folder.write(map, CAR);
    let json = folder.run(["report", log, "--map", map, "--json"]).done();
    let command = json.json()["command"]
        .as_str()
        .expect("it is text")
        .to_owned();
    let command = command.strip_prefix("halfshaft").expect("it begins so");
    let again = folder.shell(&format!("\"$0\"{command} --json")).done();
    assert_eq!(again.out, json.out);
    assert_eq!(folder.list().len(), 2);
}

#[test]
fn a_sheet_with_hostile_headers() {
    let folder = Folder::default();
    let header = format!("time,{FORMULA},{PATH},{HTML}{ORDERS}");
    let mut sheet = format!("{header}\n");
    for index in 0..200 {
        sheet += &format!("{:.2},60,60.5,1\n", f64::from(index) * 0.02);
    }
    folder.write("sheet.csv", sheet);
    let map = |left: &str| {
        format!(
            "map \"sheet\"\nvehicle \"car\"\n  rolling radius 0.32 m\n\
             sheet {}\n  time in \"time\" as s\n  wheel.rear.left in {}\n    unit rad/s\n  \
             wheel.rear.right in {}\n    unit rad/s\n",
            quoted(HTML),
            quoted(left),
            quoted(PATH)
        )
    };
    folder.write("car.map", map(FORMULA));
    let arguments = [
        "report",
        "--full",
        "sheet.csv",
        "--map",
        "car.map",
        "--out",
        "out",
    ];
    is_plain(&folder.run(arguments).done());
    is_harmless_page(&folder.read("out/report.html"));
    let table = folder
        .run(["decode", "sheet.csv", "--map", "car.map"])
        .done();
    is_harmless_table(&table.out);
    assert_eq!(table.out.lines().count(), 401);
    // No sheet fits: the header is shown, and does no harm.
    folder.write("car.map", map("nowhere").replace("../../x", "nowhere, too"));
    let refused = folder.run(arguments);
    is_plain(&refused.refused(&["sheet.csv", FORMULA, "nowhere"]));
}
