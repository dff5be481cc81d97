//! What the drive shows, in a few lines: verdict, findings, class of use, causes of heat,
//! laps.

use super::layout::{Mark, Page};
use crate::document::Document;
use crate::html::CAUSES;
use crate::verdict::{class_words, word, words};
use crate::words::{FigureText, clean, counted, figure_text, number, percent, sentence};
use halfshaft_health::verdict::Kind;
use halfshaft_health::{Results, Severity};

pub(super) fn section(page: &mut Page, document: &Document) {
    let results = document.results;
    let kind = results.verdict.kind;
    page.blank();
    let mark = match kind {
        Kind::Found(Severity::Stop | Severity::Act) => Mark::Grave,
        Kind::Found(Severity::LookSoon) => Mark::Heat,
        _ => Mark::Strong,
    };
    match kind {
        Kind::Found(_) => findings(page, results),
        _ => {
            page.paragraph("", &format!("{}.", word(kind)), mark);
            page.paragraph("  ", &words(document).line, Mark::Plain);
            findings(page, results);
        }
    }
    for line in [class(results), causes(results), laps(results)]
        .into_iter()
        .flatten()
    {
        page.paragraph("", &line, Mark::Plain);
    }
}

/// Severity, title and grade on one line, the summary below; what to check of the grave
/// ones.
fn findings(page: &mut Page, results: &Results) {
    for finding in &results.findings {
        let mark = match finding.severity {
            Severity::Stop | Severity::Act => Mark::Grave,
            Severity::LookSoon => Mark::Heat,
            Severity::Note => Mark::Strong,
        };
        let word = finding.severity.words().to_uppercase();
        let title = format!(
            "{word}: {} (grade {})",
            clean(finding.title),
            finding.grade.letter()
        );
        page.paragraph("", &title, mark);
        page.paragraph("  ", &sentence(&clean(&finding.summary)), Mark::Plain);
        if finding.severity >= Severity::Act {
            let next = format!("Check next: {}", sentence(&clean(finding.next_check)));
            page.paragraph("  ", &next, Mark::Faint);
        }
    }
    if !results.findings.is_empty() {
        page.blank();
    }
}

fn class(results: &Results) -> Option<String> {
    // A drive without needles has nothing to say on its use.
    if results.class.is_err() && results.meters.is_empty() {
        return None;
    }
    Some(match &results.class {
        Ok(class) => {
            let other = class.counterfactual.as_deref().unwrap_or_default();
            format!("Use: {}. {}", class_words(class), clean(other))
                .trim_end()
                .to_owned()
        }
        Err(why) => format!("Use: not known. {}", sentence(&clean(why))),
    })
}

fn causes(results: &Results) -> Option<String> {
    let parts: Vec<(&str, f64, FigureText)> = CAUSES
        .iter()
        .filter_map(|&(id, word, _)| {
            let figure = results.figure(id)?;
            let value = figure.outcome.as_ref().ok()?.value;
            Some((word, value, figure_text(figure).ok()?))
        })
        .collect();
    let total: f64 = parts.iter().map(|part| part.1).sum();
    if parts.is_empty() || total <= 0.0 {
        return None;
    }
    let said: Vec<String> = parts
        .iter()
        .map(|(word, value, shown)| match shown.is_bound() {
            true => format!("{word} {}", shown.text()),
            false => format!("{word} {} ({})", shown.text(), percent(value / total)),
        })
        .collect();
    Some(format!("Heat by cause: {}.", said.join(", ")))
}

fn laps(results: &Results) -> Option<String> {
    let laps = &results.laps;
    let method = laps.method.as_ref().ok()?;
    let heats: Vec<f64> = laps
        .laps
        .iter()
        .filter_map(|lap| lap.heat_kj)
        .filter(|heat| heat.is_finite())
        .collect();
    let n = counted(laps.laps.len() as u64, "lap", "laps");
    let (low, high) = heats
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(low, high), &heat| {
            (low.min(heat), high.max(heat))
        });
    Some(match heats.is_empty() {
        true => format!("{n}, found {}.", clean(method)),
        false => format!(
            "{n}, found {}: {} to {}\u{a0}kJ a lap.",
            clean(method),
            number(low),
            number(high)
        ),
    })
}

pub(super) fn not_checked(page: &mut Page, results: &Results) {
    if results.not_checked.is_empty() {
        return;
    }
    page.heading("Not checked");
    for item in &results.not_checked {
        let text = format!("{}: {}", clean(item.title), clean(&item.missing));
        page.paragraph("  – ", &text, Mark::Plain);
    }
}
