//! Names and texts that try to be more than text.

use crate::hard_day::hard_day;
use crate::sample;
use halfshaft_health::{CannotTell, Gap, Results};
use halfshaft_model::{Code, LogPlace, Mark, Notices, Span, Time};
use halfshaft_report::{Document, html, json, terminal};

const NAMES: [&str; 6] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "=HYPERLINK(\"http://x\")",
    "../../etc/passwd",
    "\u{1b}[2J\u{1b}]0;owned\u{7}\r\nnext\u{9b}31m\u{0}",
    "\u{202e}gol.\u{200b}exe\u{2066}",
];

/// The name wherever a user, a log or a map can put one.
fn spoiled(name: &str) -> (Results, Notices) {
    let mut results = hard_day();
    results.findings[0].summary = name.to_owned();
    results.not_checked[0].missing = name.to_owned().into();
    results.meters[1].reading = Err(name.to_owned().into());
    if let Ok(class) = &mut results.class {
        class.sentence = name.to_owned();
        class.counterfactual = Some(name.to_owned());
    }
    for at_s in [0.0, 500.0] {
        results.marks.push(Mark {
            time: Time::from_seconds(at_s),
            note: name.to_owned(),
        });
    }
    results.quality.channels[0].name = name.to_owned();
    results.quality.channels[3].name = name.to_owned();
    results.quality.worst_factor = name.to_owned();
    let span = Span {
        start: Time(0),
        end: Time::from_seconds(900.0),
    };
    results.quality.gaps.insert(
        0,
        Gap {
            channel: name.to_owned(),
            span,
        },
    );
    results.figures[0].method = name.to_owned();
    results.figures[0].outcome = Err(name.to_owned().into());
    results.figures[6].outcome = Err(name.to_owned().into());
    results.tier.next_step = name.to_owned();
    results.assumptions.push(name.to_owned());
    // The widest an event's row can be.
    results.events[8].heat_kj = Some(123.4);
    results.events[8].slip_peak = Some(12.3);
    results.events[8].heat_peak_kw = Some(12.3);
    results.events[8].span.end = Time::from_seconds(9_000.0);
    let (why, next_time) = (name.to_owned(), name.to_owned());
    results.cannot_tell.push(CannotTell {
        code: "x",
        question: "What?",
        why,
        next_time,
    });
    let mut notices = Notices::default();
    notices.count(Code::CellUnreadable, || {
        (
            LogPlace {
                source: name.to_owned(),
                line: 1,
            },
            name.to_owned(),
        )
    });
    (results, notices)
}

fn documents(check: impl Fn(&str, &Document)) {
    for name in NAMES {
        let (mut results, notices) = spoiled(name);
        for is_without_picture in [false, true] {
            if is_without_picture {
                results.regions = Err(name.to_owned().into());
                results.class = Err(name.to_owned().into());
                results.calibration.outcome = Err(name.to_owned().into());
                results.laps.method = Err(name.to_owned().into());
                results.duty_picture = Err(name.to_owned().into());
                results.two_by_two = Err(name.to_owned().into());
                results.outlook = Err(name.to_owned().into());
                results.duty.power = Err(name.to_owned().into());
                results.duty.energy = Err(name.to_owned().into());
            }
            let mut document = sample::document(&results, &notices);
            document.command = name.to_owned();
            document.clock.words = name.to_owned();
            document.files_written = vec![name.to_owned()];
            document.map.title = name.to_owned();
            document.map.vehicle = name.to_owned();
            document.map.unit = Some(name.to_owned());
            document.map.fingerprint = name.to_owned();
            document.map.identity = vec![(name.to_owned(), name.to_owned())];
            let input = &mut document.inputs[0];
            input.name = name.to_owned();
            input.format = name.to_owned();
            input.compression = Some(name.to_owned());
            input.fingerprint = name.to_owned();
            input.trouble = Some(name.to_owned());
            check(name, &document);
        }
    }
}

fn is_hidden_or_control(c: char) -> bool {
    (c.is_control() && c != '\n')
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}')
}

#[test]
fn a_name_cannot_steer_the_terminal_or_leave_its_line() {
    let n_lines = |width: usize, document: &Document| {
        terminal::render(document, width, false).lines().count()
    };
    documents(|name, document| {
        for width in [1, 60, 80, 120, 1000] {
            let text = terminal::render(document, width, false);
            assert!(
                !text.contains(is_hidden_or_control),
                "{name:?} at {width}: {text:?}"
            );
            for line in text.lines() {
                assert!(
                    line.chars().count() <= width.clamp(60, 120),
                    "{name:?} at {width}: {line}"
                );
            }
        }
        // Colour is the only thing that may stand behind an escape.
        let coloured = terminal::render(document, 80, true);
        for code in coloured.split('\u{1b}').skip(1) {
            assert!(
                ["[0m", "[1m", "[2m", "[33m", "[1;31m"]
                    .iter()
                    .any(|known| code.starts_with(known)),
                "{name:?}: {code:?}"
            );
        }
        assert!(n_lines(80, document) < 200);
    });
}

#[test]
fn a_name_stays_text_on_the_page() {
    documents(|name, document| {
        let page = html::render(document);
        let lower = page.to_lowercase();
        // One script, ours, and it stands last.
        assert_eq!(lower.matches("<script").count(), 1, "{name:?}");
        assert!(page.ends_with("</script></body></html>\n"), "{name:?}");
        for tag in ["<img", "<iframe", "<link", "<object", "<base"] {
            assert!(!lower.contains(tag), "{name:?} made a {tag}");
        }
        assert!(!page.contains(is_hidden_or_control), "{name:?}");
        // Nothing on the page is fetched.
        for word in ["src=", "url(", "@import", "href=\"http", "xlink"] {
            let wanted = if name.contains(word) {
                page.contains(&format!("=\"{word}"))
            } else {
                page.contains(word)
            };
            assert!(!wanted, "{name:?}: {word}");
        }
        assert_eq!(
            page.matches("<section").count(),
            page.matches("</section>").count()
        );
    });
    let page = {
        let (results, notices) = spoiled(NAMES[0]);
        html::render(&sample::document(&results, &notices))
    };
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
}

#[test]
fn a_vehicle_number_is_left_out_of_every_form() {
    // Made up; 17 letters and figures without I, O and Q. Source: ISO 3779.
    const NUMBER: &str = "ZZZHX4BR9RT000417";
    let (results, notices) = (hard_day(), Notices::default());
    let mut document = sample::document(&results, &notices);
    document.map.vehicle = format!("Tarnwick Q4 {NUMBER}");
    document.map.identity = vec![("vin".to_owned(), NUMBER.to_owned())];
    document.inputs[0].name = format!("drives/{NUMBER}.log");
    document.command = format!("halfshaft report drives/{NUMBER}.log");
    for text in [
        html::render(&document),
        json::render(&document),
        terminal::render(&document, 100, false),
    ] {
        assert!(!text.contains(NUMBER), "{text}");
        assert!(text.contains("[vehicle number left out]"));
        assert!(
            text.contains("51be0cc2a98d7744"),
            "a fingerprint is no vehicle number"
        );
    }
}

#[test]
fn a_name_comes_back_from_json_with_its_orders_written_out() {
    documents(|name, document| {
        let shown = halfshaft_report::words::clean(name);
        let value: serde_json::Value = serde_json::from_str(&json::render(document)).unwrap();
        assert_eq!(value["inputs"][0]["name"], shown);
        assert_eq!(value["map"]["vehicle"], shown);
        assert!(value["quality"]["coverage"][name].is_object());
    });
}
