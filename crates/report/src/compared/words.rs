//! The words of a comparison: a figure in a sentence, whose a difference is, what was not compared.

use halfshaft_health::compare::{Beside, Block, Change, Compared, Comparison, Whose};

use halfshaft_record::Record;

use super::ComparisonDocument;
use crate::words::{clean, counted, measured, sentence, with_unit};

/// A number and its unit, to two digits of what it is known to: more would be made up.
pub fn rounded(value: f64, half: f64, symbol: &str) -> String {
    if !value.is_finite() || half <= 0.0 || !half.is_finite() {
        return measured(value, symbol);
    }
    // Two digits of the half width of the band.
    let places = 1 - half.log10().floor() as i32;
    let step = 10.0_f64.powi(-places);
    // Adding nothing takes the sign off a zero.
    let value = (value / step).round() * step + 0.0;
    let number = format!("{value:.*}", places.max(0) as usize).replace('-', "−");
    with_unit(&number, symbol)
}

/// How a difference of that unit goes: times are longer, torque is higher, heat is more.
pub fn way(figure: &Compared, change: &Change) -> &'static str {
    match (figure.unit, change.difference > 0.0) {
        ("s", true) => "longer",
        ("s", false) => "shorter",
        ("kJ" | "m" | "K" | "J/deg", true) => "more",
        ("kJ" | "m" | "K" | "J/deg", false) => "less",
        (_, true) => "higher",
        (_, false) => "lower",
    }
}

/// The difference as a share of the value before, `+20 %`, where that means something.
pub fn share(figure: &Compared, value: f64) -> Option<String> {
    let before = figure.outcome.as_ref().ok()?.before;
    let share = 100.0 * value / before;
    // Of per cent another per cent would confuse; of next to nothing a share is a number without end.
    (before > 0.0 && figure.unit != "%" && share.abs() < 1000.0)
        .then(|| format!("{:+.0}\u{a0}%", share + 0.0).replace('-', "−"))
        .map(|text| {
            if matches!(text.as_str(), "−0\u{a0}%" | "+0\u{a0}%") {
                "0\u{a0}%".to_owned()
            } else {
                text
            }
        })
}

/// Values before, after and again, each with its word.
pub fn values(figure: &Compared, change: &Change) -> Vec<(&'static str, String)> {
    let half = 0.5 * (change.high - change.low);
    let value = |value: f64| rounded(value, half, figure.unit);
    let mut all = vec![
        ("before", value(change.before)),
        ("after", value(change.after)),
    ];
    if let Some(Ok(again)) = &figure.again {
        all.push(("again", value(again.value)));
    }
    all
}

/// The difference with its band, `−0.024 s (−0.029 to −0.019)`.
pub fn difference(figure: &Compared, change: &Change) -> String {
    banded(figure, change, [change.difference, change.low, change.high])
}

/// How large it is, whichever way it goes.
fn size(figure: &Compared, change: &Change) -> String {
    let [value, low, high] = match change.difference < 0.0 {
        true => [-change.difference, -change.high, -change.low],
        false => [change.difference, change.low, change.high],
    };
    banded(figure, change, [value, low, high])
}

fn banded(figure: &Compared, change: &Change, [value, low, high]: [f64; 3]) -> String {
    let half = 0.5 * (change.high - change.low);
    let bare = |value: f64| rounded(value, half, "1");
    format!(
        "{} ({} to {})",
        rounded(value, half, figure.unit),
        bare(low),
        bare(high)
    )
}

/// The smallest difference that would have been seen.
pub fn smallest(figure: &Compared, change: &Change) -> String {
    let half = 0.5 * (change.high - change.low);
    let value = rounded(change.smallest, half, figure.unit);
    match share(figure, change.smallest) {
        Some(share) => format!("{value} ({})", share.trim_start_matches('+')),
        None => value,
    }
}

/// A figure that is compared, in a sentence.
pub fn in_a_sentence(figure: &Compared) -> String {
    let Ok(change) = &figure.outcome else {
        return String::new();
    };
    let all = values(figure, change);
    let all = all.iter().map(|(when, value)| format!("{value} {when}"));
    let all = all.collect::<Vec<String>>().join(", ");
    let basis = basis(change);
    if !change.is_seen() {
        return format!(
            "{}: no difference detectable; smallest we could have seen: {}. {all}; {basis}.",
            figure.title,
            smallest(figure, change)
        );
    }
    let share =
        share(figure, change.difference).map_or(String::new(), |share| format!(", {share}"));
    format!(
        "{}: {} by {}{share}. {all}; {basis}.",
        figure.title,
        way(figure, change),
        size(figure, change),
    )
}

/// Whose a difference is, a heading and what follows from it.
pub fn whose(whose: Whose) -> (&'static str, &'static str) {
    match whose {
        Whose::Car => (
            "What changed in the car",
            "It was driven alike, or driving does not move this.",
        ),
        Whose::Driving => (
            "What changed with the driving",
            "The driving changed, which moves these too: they are not put down to the car.",
        ),
        Whose::Unknown => (
            "What changed, by car or driver",
            "How it was driven is not known well enough in both: these are not put down to the car.",
        ),
        Whose::Drift => (
            "What drifted",
            "The car as before, driven once more, had moved as far by itself: these are not put down to the car.",
        ),
        Whose::Unconfirmed => (
            "What changed, and did not change back",
            "The car as before, driven once more, does not show these again: they are not put down to the car.",
        ),
    }
}

/// The order in which they are given.
pub const WHOSE: [Whose; 5] = [
    Whose::Car,
    Whose::Driving,
    Whose::Unknown,
    Whose::Drift,
    Whose::Unconfirmed,
];

/// Figures whose difference was seen, by whose it is.
pub fn seen(comparison: &Comparison, of: Whose) -> Vec<&Compared> {
    let figures = comparison.figures.iter();
    figures.filter(|figure| figure.whose == Some(of)).collect()
}

/// Figures in which no difference was seen.
pub fn alike(comparison: &Comparison) -> Vec<(&Compared, &Change)> {
    let figures = comparison.figures.iter();
    let told = figures.filter_map(|figure| Some((figure, figure.outcome.as_ref().ok()?)));
    told.filter(|(_, change)| !change.is_seen()).collect()
}

/// What was drawn again.
pub fn basis(change: &Change) -> String {
    let what = match change.block {
        Block::Lap => "laps",
        Block::Stretch => "stretches of a minute",
        Block::Events => "groups of events",
        Block::Drive if change.n_blocks == (1, 1) => return "one value of each drive".to_owned(),
        Block::Drive => "drives",
    };
    let (before, after) = change.n_blocks;
    let pairs = change.n_pairs.map_or(String::new(), |n| {
        format!(", {}", counted(n as u64, "pair", "pairs"))
    });
    format!("from {before} and {after} {what}{pairs}")
}

/// What else was not the same, a line each.
pub fn beside(comparison: &Comparison) -> Vec<String> {
    let line = |one: &Beside| {
        let same = match one.is_seen {
            Some(false) => ", within its scatter",
            Some(true) | None => "",
        };
        let mut all = vec![
            format!("{} before", measured(one.before, one.unit)),
            format!("{} after", measured(one.after, one.unit)),
        ];
        all.extend(
            one.again
                .map(|again| format!("{} again", measured(again, one.unit))),
        );
        format!("{}: {}{same}", one.title, all.join(", "))
    };
    comparison.beside.iter().map(line).collect()
}

/// What could not be compared, each reason once.
pub fn not_compared(comparison: &Comparison) -> Vec<String> {
    let mut of_reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for figure in &comparison.figures {
        let Err(reason) = &figure.outcome else {
            continue;
        };
        let reason = reason.to_string();
        match of_reasons.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, titles)) => titles.push(figure.title),
            None => of_reasons.push((reason, vec![figure.title])),
        }
    }
    of_reasons
        .into_iter()
        .map(|(reason, titles)| sentence(&clean(format!("{}: {reason}", titles.join("; ")))))
        .collect()
}

/// What bands mean.
pub const BANDS: &str = "In brackets: 90 % bands. They hold the truth nine times out of ten, so of ten figures without any difference one will seem to show one. The smallest difference is what would have been seen eight times out of ten.";

/// The drives of each side, a line each.
pub fn sides(document: &ComparisonDocument) -> Vec<String> {
    let names = ["Before", "After", "Again as before"];
    let sides = names.into_iter().zip(document.sides);
    let all = sides.zip(document.comparison.n_laps);
    let line = |((when, records), n_laps): ((&str, &[Record]), usize)| {
        let logs = records.iter().flat_map(|record| &record.inputs);
        let names: Vec<String> = logs.map(|log| clean(&log.name)).collect();
        let laps = counted(n_laps as u64, "lap", "laps");
        format!("{when}: {}, {laps}.", names.join(", "))
    };
    all.filter(|((_, records), _)| !records.is_empty())
        .map(line)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_to_what_is_known() {
        assert_eq!(rounded(6.94e-18, 0.0031, "s"), "0.0000\u{a0}s");
        assert_eq!(rounded(-6.94e-18, 0.0031, "s"), "0.0000\u{a0}s");
        assert_eq!(rounded(0.12345, 0.0031, "s"), "0.1235\u{a0}s");
        assert_eq!(rounded(1234.5, 31.0, "N.m"), "1235\u{a0}N·m");
        assert_eq!(rounded(1234.5, 310.0, "N.m"), "1230\u{a0}N·m");
        assert_eq!(rounded(-0.52, 0.3, "K"), "−0.52\u{a0}K");
        assert_eq!(rounded(3.0, 0.0, "s"), "3\u{a0}s");
    }
}
