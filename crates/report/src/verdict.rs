//! The one line an owner reads first: what is wrong, why, what to do and by when.
//!
//! In: the verdict that `health` came to, with its findings. Out: a word, and plain sentences.
//!
//! Speeds and places are personal: a sentence that names one stays off the owner's side.

use crate::document::{ClockKind, Document};
use crate::track;
use crate::words::{KM_PER_MILE, clean, counted, figure_text, number, sentence, shorten};
use halfshaft_health::FigureId;
use halfshaft_health::verdict::{Deadline, Kind, Shortfall, Unfit, is_of_the_car};
use halfshaft_health::{Finding, Results, UseClass, Verdict};
use halfshaft_model::Stamp;

/// Findings the owner is told what to do about.
const MOST_TO_DO: usize = 3;

/// The least level of a gauge that is called plain: brisk.
const LEAST_PLAIN: u8 = 3;

/// Characters of one finding's text on the owner's side, so that it stays on its page.
const MOST_LETTERS: usize = 220;

/// Characters of the sentence on the use of the car.
const MOST_LETTERS_OF_USE: usize = 520;

/// Characters of all reasons, and of all tasks: beyond that the rest stays in the
/// engineer's part.
const MOST_LETTERS_IN_ALL: usize = 460;

/// The words of a verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Words {
    /// What was found, by name; or how far "nothing" reaches.
    pub line: String,
    /// Why, at most four sentences.
    pub why: Vec<String>,
    /// What to do, and by when.
    pub to_do: Vec<Task>,
}

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Task {
    /// By when; empty when there is no haste.
    pub by: String,
    /// What.
    pub what: String,
}

/// What stands large beside the shape: how grave, or how far "nothing wrong" reaches.
pub fn heading(verdict: &Verdict) -> String {
    match verdict.kind {
        Kind::Found(severity) => {
            let word = severity.words();
            let (first, rest) = word.split_at(1);
            format!("{}{rest}", first.to_uppercase())
        }
        Kind::NothingFound => format!("Nothing wrong in all {} checks", verdict.n_checks),
        Kind::NothingSeen => format!(
            "Nothing wrong in the {} of {} checks this log allows",
            verdict.n_made, verdict.n_checks
        ),
        Kind::CannotTell(_) => "This log does not show enough for a verdict".to_owned(),
    }
}

/// The words of a document's verdict.
pub fn words(document: &Document) -> Words {
    let results = document.results;
    Words {
        line: line(results),
        why: why(results),
        to_do: to_do(document),
    }
}

fn line(results: &Results) -> String {
    match results.verdict.kind {
        Kind::Found(_) => {
            let mut titles: Vec<String> = Vec::new();
            for finding in of_the_car(results) {
                let title = clean(finding.title);
                if !titles.contains(&title) {
                    titles.push(title);
                }
            }
            let more = titles.len().saturating_sub(1);
            let first = titles.into_iter().next().unwrap_or_default();
            match more {
                0 => sentence(&first),
                n => format!(
                    "{first}, and {}.",
                    counted(n as u64, "more finding", "more findings")
                ),
            }
        }
        Kind::NothingFound => "They were made on enough driving and on a good log.".to_owned(),
        Kind::NothingSeen => {
            // How many checks were made stands in the heading.
            let doubts = results.verdict.doubts.iter();
            let doubts = doubts.filter(|doubt| !matches!(doubt, Shortfall::NotChecked { .. }));
            let doubts: Vec<String> = doubts.map(Shortfall::to_string).collect();
            sentence(&doubts.join("; "))
        }
        Kind::CannotTell(Unfit::Channels) => sentence(results.tier.words),
        Kind::CannotTell(Unfit::Drive) => sentence(&results.quality.worst_factor),
    }
}

/// How many checks were made, and that the others found nothing.
fn passed(results: &Results) -> Option<String> {
    let verdict = &results.verdict;
    if verdict.n_made == 0 {
        return None;
    }
    let n_found = of_the_car(results).count();
    let made = match verdict.n_made == verdict.n_checks {
        true => format!("All {} checks were made", verdict.n_checks),
        false => format!(
            "{} of {} checks were made",
            verdict.n_made, verdict.n_checks
        ),
    };
    let rest = match (n_found, verdict.n_made.saturating_sub(n_found)) {
        (0, _) => "; none found anything wrong".to_owned(),
        (_, 0) => String::new(),
        (_, 1) => "; the other one found nothing wrong".to_owned(),
        (_, n) => format!("; the other {n} found nothing wrong"),
    };
    Some(format!("{made}{rest}."))
}

/// A caution about log or map, which an owner must see before any figure.
pub fn doubt(document: &Document) -> Option<String> {
    let n = document.remarks.len() as u64;
    (n > 0).then(|| {
        format!(
            "The signal map may be wrong ({}): have whoever wrote it look before acting on this page.",
            counted(n, "place does not fit the recording", "places do not fit the recording")
        )
    })
}

fn of_the_car(results: &Results) -> impl Iterator<Item = &Finding> {
    let findings = results.findings.iter();
    findings.filter(|finding| is_of_the_car(finding))
}

/// At most three sentences on what is the case, and what was checked besides.
fn why(results: &Results) -> Vec<String> {
    let mut why: Vec<String> = Vec::new();
    for finding in of_the_car(results) {
        let sees = for_the_owner(finding.owner_sees);
        if why.len() < MOST_TO_DO && !why.contains(&sees) {
            why.push(sees);
        }
    }
    match results.verdict.kind {
        Kind::Found(_) => {}
        Kind::CannotTell(_) => why.extend(
            results
                .cannot_tell
                .first()
                .map(|open| format!("{} {}", clean(open.question), sentence(&clean(&open.why)))),
        ),
        _ => why.push(work(results)),
    }
    why.retain(|text| !text.is_empty());
    let mut why = within_budget(why, |text| text.chars().count());
    why.extend(passed(results));
    why
}

/// The first items that fit; the first one always does.
fn within_budget<T>(items: Vec<T>, length: impl Fn(&T) -> usize) -> Vec<T> {
    let mut used = 0;
    let mut kept = Vec::new();
    for item in items {
        used += length(&item);
        if !kept.is_empty() && used > MOST_LETTERS_IN_ALL {
            break;
        }
        kept.push(item);
    }
    kept
}

/// What the clutch did, in words an owner knows.
fn work(results: &Results) -> String {
    let of = |id| results.figure(id).map(figure_text).and_then(Result::ok);
    let Some(time) = of(FigureId::PartialHeatMaking) else {
        return String::new();
    };
    let road =
        of(FigureId::Distance).map_or(String::new(), |distance| format!("In {} ", distance.text()));
    let heat = of(FigureId::HeatTotal).map_or(String::new(), |heat| {
        format!(" and took {} of heat", heat.text())
    });
    let subject = if road.is_empty() { "The" } else { "the" };
    let time = if time.number == "0" && !time.is_at_least {
        "never slipped under load".to_owned()
    } else {
        format!("slipped under load for {}", time.text())
    };
    format!("{road}{subject} clutch {time}{heat}.")
}

/// Text of a finding cut to a length that fits.
pub fn for_the_owner(text: &str) -> String {
    fitted(text, MOST_LETTERS)
}

/// The sentence on the use of the car, likewise.
pub fn use_for_the_owner(text: &str) -> String {
    fitted(text, MOST_LETTERS_OF_USE)
}

fn fitted(text: &str, most_letters: usize) -> String {
    let text = shorten(&sentence(&clean(text)), most_letters);
    // A number stays with its unit at the end of a line.
    text.replace(" %", "\u{a0}%")
        .replace(" kJ", "\u{a0}kJ")
        .replace(" km", "\u{a0}km")
}

fn to_do(document: &Document) -> Vec<Task> {
    let results = document.results;
    let kind = results.verdict.kind;
    let mut tasks: Vec<Task> = Vec::new();
    match kind {
        Kind::Found(_) => {
            for finding in of_the_car(results) {
                let what = for_the_owner(finding.owner_does);
                if tasks.len() < MOST_TO_DO && tasks.iter().all(|task| task.what != what) {
                    let by = by_when(results.verdict.deadline_of(finding.severity), document);
                    tasks.push(Task { by, what });
                }
            }
        }
        Kind::NothingFound => tasks.push(Task {
            by: String::new(),
            what: "Nothing now.".to_owned(),
        }),
        Kind::NothingSeen | Kind::CannotTell(_) => tasks.push(next_time(results)),
    }
    if track::is_over(results) {
        tasks.insert(
            0,
            Task {
                by: "Before the next laps".to_owned(),
                what: "Let the oil cool: it passed its warning.".to_owned(),
            },
        );
    }
    within_budget(tasks, |task| task.by.len() + task.what.chars().count())
}

/// What another recording should bring: the first answer that has words for the owner.
fn next_time(results: &Results) -> Task {
    let of_open = results
        .cannot_tell
        .iter()
        .map(|open| for_the_owner(&open.next_time));
    let of_missing = results.not_checked.iter().map(|item| {
        let missing = for_the_owner(&item.missing.to_string());
        format!("What “{}” lacked: {missing}", clean(item.title))
    });
    let of_tier = std::iter::once(for_the_owner(results.tier.next_step.trim()));
    let what = of_open
        .chain(of_missing)
        .chain(of_tier)
        .find(|what| !what.is_empty())
        .unwrap_or_else(|| "More of the car's signals.".to_owned());
    Task {
        by: "Next recording".to_owned(),
        what,
    }
}

/// By when something is to be done.
fn by_when(deadline: Deadline, document: &Document) -> String {
    let (days, km) = match deadline {
        Deadline::Now => return "Now, before driving on".to_owned(),
        Deadline::Within { days, km } => (days, km),
        Deadline::NextService => return "At the next service".to_owned(),
    };
    // One digit: a custom is no finer.
    let miles = km / KM_PER_MILE;
    let step = 10_f64.powf(miles.log10().floor());
    let miles = in_thousands((miles / step).round() * step);
    let road = format!("{} km ({miles} miles)", in_thousands(km));
    match day(document, i64::from(days)) {
        Some(day) => format!("By {day}, or {road} if sooner"),
        None => format!("Within {}, or {road} if sooner", span_of(days)),
    }
}

/// Days in the largest unit that holds them whole: `two weeks`, `three months`, `10 days`.
fn span_of(days: u32) -> String {
    const WORDS: [&str; 6] = ["one", "two", "three", "four", "five", "six"];
    let (n, unit) = match days {
        _ if days.is_multiple_of(30) => (days / 30, "month"),
        _ if days.is_multiple_of(7) => (days / 7, "week"),
        _ => (days, "day"),
    };
    let plural = if n == 1 { "" } else { "s" };
    let word = (n as usize).checked_sub(1).and_then(|n| WORDS.get(n));
    match word {
        Some(word) => format!("{word} {unit}{plural}"),
        None => format!("{n} {unit}{plural}"),
    }
}

/// A whole number with a comma between its thousands: `3,000`.
fn in_thousands(value: f64) -> String {
    let whole = value.round() as u64;
    match whole / 1000 {
        0 => whole.to_string(),
        thousands => format!("{thousands},{:03}", whole % 1000),
    }
}

/// The day so many days after the drive, `2024-05-20`; `None` when its date is unknown.
pub fn day(document: &Document, days: i64) -> Option<String> {
    let clock = &document.clock;
    if clock.kind != ClockKind::Unix {
        return None;
    }
    let later = days.checked_mul(86_400_000_000_000)?;
    // A log may hold several drives: what is to be done counts from the last of them.
    let from = match days {
        0 => clock.first_stamp,
        _ => clock.last_stamp,
    };
    let stamp = Stamp(from.0.checked_add(later)?);
    clock.utc(stamp)?.get(..10).map(str::to_owned)
}

/// The class of use in a few words: `hard`, `brisk, close to hard`, `at least brisk`.
pub fn class_words(class: &UseClass) -> String {
    let word = UseClass::word(class.level);
    let lead = if class.is_at_least { "at least " } else { "" };
    match class.alternative {
        Some(other) if other != class.level => {
            format!("{lead}{word}, close to {}", UseClass::word(other))
        }
        _ => format!("{lead}{word}"),
    }
}

/// What is plain of the use of a drive that is too short for a class: the gauge that stands highest,
/// when all of its band is above ordinary use.
pub fn plain_use(results: &Results) -> Option<String> {
    let levels = results.meters.iter().filter_map(|meter| {
        let found = meter.reading.as_ref().ok()?;
        Some((meter.level(found.low), meter))
    });
    let (level, meter) = levels.max_by_key(|(level, _)| *level)?;
    (level >= LEAST_PLAIN).then(|| {
        let read = reading(meter).unwrap_or_default();
        let read = read.split(" (").next().unwrap_or_default();
        let word = UseClass::word(level);
        format!(
            "Plain all the same: {word} use by {} ({read}).",
            clean(meter.title).to_lowercase()
        )
    })
}

/// A reading of a needle with its unit and band: `262 s/100 km (240 to 290)`.
pub fn reading(meter: &halfshaft_health::Meter) -> Result<String, String> {
    let estimate = meter.reading.as_ref().map_err(clean)?;
    let unit = match crate::words::unit(meter.unit) {
        unit if unit.starts_with("1/") => unit.replacen("1/", "per\u{a0}", 1),
        unit => unit.to_owned(),
    };
    let lead = if estimate.is_at_least {
        "at least "
    } else {
        ""
    };
    let band = if estimate.low < estimate.high {
        format!(" ({})", crate::words::band(estimate))
    } else {
        String::new()
    };
    Ok(format!(
        "{lead}{}\u{a0}{unit}{band}",
        number(estimate.value)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_deadline_reads_as_a_workshop_would_say_it() {
        for (days, words) in [
            (1, "one day"),
            (7, "one week"),
            (14, "two weeks"),
            (90, "three months"),
            (45, "45 days"),
            (210, "7 months"),
        ] {
            assert_eq!(span_of(days), words);
        }
        for (value, text) in [(999.6, "1,000"), (500.0, "500"), (12_034.0, "12,034")] {
            assert_eq!(in_thousands(value), text);
        }
    }

    #[test]
    fn a_text_for_the_owner_is_short_and_keeps_numbers_with_their_units() {
        let of = for_the_owner;
        assert_eq!(
            of("it took 3.2 kJ. It held after"),
            "It took 3.2\u{a0}kJ. It held after."
        );
        assert_eq!(
            of("oil.temperature rose to 131 °C"),
            "oil.temperature rose to 131 °C."
        );
        assert!(of(&"long ".repeat(200)).chars().count() <= MOST_LETTERS + 1);
    }
}
