//! Whole pages: sound structure for people who hear the page or use the keyboard.
//!
//! `HALFSHAFT_PAGES=DIR` also writes the pages into an existing folder, to be looked at.

use crate::{hard_day::hard_day, sample};
use halfshaft_health::FigureId;
use halfshaft_health::two_by_two::{Diagnosis, TwoByTwo};
use halfshaft_health::{Estimate, FindingId, Grade, Results, Severity};
use halfshaft_model::{Mark, Notices, Time};
use halfshaft_report::document::Workshop;
use halfshaft_report::{html, terminal};
use std::collections::BTreeSet;

/// A healthy drive on which everything was checked.
fn sound() -> Results {
    let mut results = hard_day();
    results.findings.clear();
    results.not_checked.clear();
    results.cannot_tell.clear();
    results.quality.grade = Grade::B;
    results.two_by_two = Ok(TwoByTwo {
        diagnosis: Diagnosis::Sound,
        n_followed: 14,
        n_asked: 14,
        n_fell: 8,
        n_with_slip: 9,
        sentence: "Asked for 50 % or more, the mechanism followed 14 of 14 times and the slip fell 8 of 9 times.".to_owned(),
    });
    results
}

/// Names and results of the pages looked at.
fn pages() -> Vec<(&'static str, Results)> {
    let worst = |severity: Severity| {
        let mut results = hard_day();
        results
            .findings
            .retain(|finding| finding.severity <= severity);
        results
    };
    let mut few = hard_day();
    few.findings.clear();
    if let Some(figure) = few
        .figures
        .iter_mut()
        .find(|figure| figure.id == FigureId::Engagements)
    {
        let value = 4.0;
        figure.outcome = Ok(Estimate {
            value,
            low: value,
            high: value,
            is_at_least: false,
        });
    }
    let mut wheels_only = sample::track_day();
    wheels_only.tier.number = Some(0);
    wheels_only.tier.words = "wheel speeds only";
    let mut wordy = hard_day();
    for finding in &mut wordy.findings {
        finding.summary =
            "A finding that goes on and on about what it saw, with 1.24 % here and 0.62 % there. "
                .repeat(9);
        finding.next_check = "measure everything that can be measured, and after that a good deal of what cannot, with the wheels off the ground and all of them warm, then cold, then warm again";
    }
    if let Ok(class) = &mut wordy.class {
        class.sentence = class.sentence.repeat(3);
    }
    let again = wordy.not_checked.clone();
    wordy
        .not_checked
        .extend([again.clone(), again.clone(), again].concat());
    [
        ("wordy", wordy),
        ("stop", hard_day()),
        ("act", worst(Severity::Act)),
        ("look-soon", worst(Severity::LookSoon)),
        ("note", worst(Severity::Note)),
        ("sound", sound()),
        ("few", few),
        ("wheels-only", wheels_only),
        ("plain", sample::track_day()),
        ("nothing", sample::nothing()),
    ]
    .map(|(name, results)| (name, sample::judged(results)))
    .into()
}

fn rendered() -> Vec<(&'static str, String)> {
    let notices = sample::notices();
    pages()
        .iter()
        .map(|(name, results)| (*name, html::render(&sample::document(results, &notices))))
        .collect()
}

/// What stands in each attribute of that name.
fn attributes<'a>(page: &'a str, name: &str) -> Vec<&'a str> {
    let lead = format!(" {name}=\"");
    page.split(lead.as_str())
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

#[test]
fn pages_are_sound_for_ear_and_keyboard() {
    let folder = std::env::var_os("HALFSHAFT_PAGES");
    for (name, page) in rendered() {
        if let Some(folder) = &folder {
            std::fs::write(
                std::path::Path::new(folder).join(format!("{name}.html")),
                &page,
            )
            .unwrap();
        }
        let ids = attributes(&page, "id");
        let unique: BTreeSet<&str> = ids.iter().copied().collect();
        assert_eq!(ids.len(), unique.len(), "{name}: an id stands twice");
        for label in attributes(&page, "aria-labelledby") {
            for id in label.split(' ') {
                assert!(unique.contains(id), "{name}: {id} is named and not there");
            }
        }
        for target in attributes(&page, "href") {
            let id = target.strip_prefix('#').unwrap();
            assert!(unique.contains(id), "{name}: {target} leads nowhere");
        }
        let levels: Vec<usize> = page
            .match_indices("<h")
            .filter_map(|(at, _)| page[at + 2..].chars().next()?.to_digit(10))
            .map(|level| level as usize)
            .collect();
        assert_eq!(levels.first(), Some(&1), "{name}");
        assert_eq!(
            levels.iter().filter(|&&level| level == 1).count(),
            1,
            "{name}"
        );
        let is_skipped = |pair: &[usize]| pair[1] > pair[0] + 1;
        assert!(!levels.windows(2).any(is_skipped), "{name}: {levels:?}");
        for svg in page.split("<svg").skip(1) {
            let tag = svg.split('>').next().unwrap();
            let is_hidden = tag.contains("aria-hidden=\"true\"");
            let is_named = tag.contains("role=\"img\"") && tag.contains("aria-labelledby");
            assert!(is_hidden != is_named, "{name}: <svg{tag}>");
        }
        for head in page.split("<th").skip(1) {
            let tag = head.split('>').next().unwrap();
            assert!(
                tag.contains("scope=") || head.starts_with("ead"),
                "{name}: <th{tag}>"
            );
        }
        for (open, close) in [
            ("<main", "</main>"),
            ("<section", "</section>"),
            ("<svg", "</svg>"),
            ("<table", "</table>"),
            ("<div", "</div>"),
        ] {
            assert_eq!(
                page.matches(open).count(),
                page.matches(close).count(),
                "{name}: {open}"
            );
        }
        assert!(
            !page.contains("NaN") && !page.contains("inf\u{a0}"),
            "{name}"
        );
    }
}

/// The owner's side alone.
fn owner(results: &Results) -> String {
    let results = sample::judged(results.clone());
    let page = html::render(&sample::document(&results, &Notices::default()));
    let start = page.find("<section class=\"owner\"").unwrap();
    page[start..start + page[start..].find("</section>").unwrap()].replace('\u{a0}', " ")
}

const UNFIT: &str = "This log does not show enough for a verdict";

/// What stands large on the owner's side.
fn heading(side: &str) -> String {
    let at = side.find("<span class=\"word").unwrap();
    let start = at + side[at..].find('>').unwrap() + 1;
    side[start..start + side[start..].find('<').unwrap()].to_owned()
}

#[test]
fn the_verdict_is_the_gravest_finding_or_how_far_nothing_reaches() {
    let words = [
        ("stop", "Stop"),
        ("act", "Act"),
        ("look-soon", "Look soon"),
        ("note", "Note"),
        ("sound", "Nothing wrong in all 38 checks"),
        (
            "few",
            "Nothing wrong in the 36 of 38 checks this log allows",
        ),
        ("wheels-only", "This log does not show enough for a verdict"),
        ("nothing", "This log does not show enough for a verdict"),
    ];
    let pages = pages();
    for (name, word) in words {
        let results = &pages.iter().find(|page| page.0 == name).unwrap().1;
        let side = owner(results);
        assert_eq!(heading(&side), word, "{name}");
    }
    let few = owner(&pages.iter().find(|page| page.0 == "few").unwrap().1);
    assert!(few.contains("4 of the 10 engagements"), "{few}");
}

#[test]
fn a_grave_finding_counts_on_any_log_and_a_finding_on_the_log_is_none_on_the_car() {
    let word = |results: &Results| heading(&owner(results));
    let mut wheels_only = hard_day();
    wheels_only.tier.number = Some(0);
    assert_eq!(word(&wheels_only), "Stop");
    wheels_only
        .findings
        .retain(|finding| finding.severity == Severity::Note);
    assert_eq!(word(&wheels_only), UNFIT);
    let mut unfit = hard_day();
    unfit.findings.drain(..3);
    unfit.findings[0].id = FindingId::LogNotFit;
    assert_eq!(word(&unfit), UNFIT);
}

#[test]
fn sound_is_said_only_when_all_was_checked_on_enough_of_a_good_log() {
    let is_found = |results: &Results| owner(results).contains("Nothing wrong in all 38 checks<");
    assert!(is_found(&sound()));
    let mut poor = sound();
    poor.quality.grade = Grade::C;
    assert!(!is_found(&poor));
    let mut unchecked = sound();
    unchecked.not_checked = hard_day().not_checked;
    assert!(!is_found(&unchecked));
    let mut unknown = sound();
    unknown
        .figures
        .retain(|figure| figure.id != FigureId::Engagements);
    assert!(!is_found(&unknown));
}

#[test]
fn the_owners_side_shows_no_speed_no_place_and_no_file() {
    for (name, results) in pages() {
        let side = owner(&results);
        for word in ["km/h", "mph", "tuesday.log", "14:12", "line-unreadable"] {
            assert!(!side.contains(word), "{name}: {word} in {side}");
        }
    }
    let side = owner(&hard_day());
    assert!(
        side.contains("2024-05-06") && side.contains("By 2024-05-20, or 500 km"),
        "{side}"
    );
}

#[test]
fn what_to_record_is_never_left_empty() {
    let mut results = sample::track_day();
    results.findings.clear();
    results.cannot_tell.clear();
    results.not_checked.clear();
    results.tier.next_step.clear();
    let page = owner(&results);
    assert!(page.contains("More of the car"), "{page}");
}

/// What a workshop states stands in the head of the owner's side and in the foot of each sheet; what
/// would end the style stays text.
#[test]
fn a_workshop_stands_in_head_and_foot() {
    let (results, notices) = (sample::track_day(), sample::notices());
    let mut document = sample::document(&results, &notices);
    let bare = html::render(&document);
    assert!(!bare.contains("on the clock"));
    document.workshop = Some(Workshop {
        shop: Some("Hill & \"Sons\"</style>".to_owned()),
        job: Some("17".to_owned()),
        mileage_km: Some(84_200.0),
    });
    let page = html::render(&document);
    let head = "<p class=\"drive\">Hill &amp; &quot;Sons&quot;&lt;/style&gt; · job 17 · 84,200\u{a0}km on the clock</p>";
    assert!(page.contains(head), "no head");
    let foot = "Hill \\26  \\22 Sons\\22 \\3c /style\\3e  · job 17";
    assert!(page.contains(foot), "no foot");
    assert_eq!(page.matches("</style>").count(), 1);
}

/// Marks are listed, lie over each strip, and part the laps; without one nothing of it is there.
#[test]
fn marks_are_listed_and_lie_over_the_strips() {
    let mut results = hard_day();
    let notices = sample::notices();
    let bare = html::render(&sample::document(&results, &notices));
    assert!(!bare.contains("<path class=\"noted-line\"") && !bare.contains(">Stint<"));
    let laps = &results.laps.laps;
    let in_third_s = laps[2].span.start.seconds().floor() + 10.0;
    let behind_s = laps[5].span.end.seconds() + 5.0;
    let (minutes, seconds) = (in_third_s as u32 / 60, in_third_s as u32 % 60);
    let at = format!("{minutes}:{seconds:02}");
    for (at_s, note) in [(in_third_s, "rears −0.2 bar"), (behind_s, "")] {
        let time = Time::from_seconds(at_s);
        let note = note.to_owned();
        results.marks.push(Mark { time, note });
    }
    halfshaft_health::marks::note_stints(&mut results.laps.laps, &results.marks);
    let document = sample::document(&results, &notices);
    let page = html::render(&document);
    let n_lines = page.matches("<path class=\"noted-line\"").count();
    let n_strips = page.matches("<figure class=\"strip strip-").count();
    assert!(n_lines > 4 && n_lines.is_multiple_of(2), "{n_lines}");
    assert!(
        n_lines / 2 <= n_strips,
        "{n_lines} lines, {n_strips} strips"
    );
    let listed = format!("<strong>{at}</strong> <bdi>rears −0.2");
    for words in [listed.as_str(), "<bdi>no words</bdi>", ">Stint</th>"] {
        assert!(page.contains(words), "{words}");
    }
    let text = terminal::render(&document, 100, false);
    assert!(text.contains(&format!("1. {at} rears −0.2 bar")), "{text}");
    let begins = "Stint 2 begins with lap 4.";
    assert!(text.contains(begins) && page.contains(begins), "{text}");
}
