//! Seconds and heat by region, as bars.

use super::layout::{Align, Mark, Page, bar, pad};
use crate::words::{self, number, percent};
use halfshaft_health::{Region, Results};

/// A shorter bar says little: the shares are left out to make room.
const MIN_BAR: usize = 6;
const MAX_BAR: usize = 24;

pub(super) fn section(page: &mut Page, results: &Results) {
    page.heading("Where the moving time and the heat went");
    let regions = match &results.regions {
        Ok(regions) => regions,
        Err(why) => {
            page.paragraph("  – ", &words::sentence(&words::clean(why)), Mark::Plain);
            return;
        }
    };
    let n_name = Region::ALL
        .iter()
        .map(|&region| words::region(region).chars().count())
        .max()
        .unwrap_or(0);
    let n_columns = if regions.joules.is_some() { 2 } else { 1 };
    let columns = |has_shares: bool| {
        let time = column(&regions.seconds, has_shares, |seconds| {
            format!("{} s", number(seconds))
        });
        let heat = |joules| {
            column(joules, has_shares, |joules| {
                format!("{} kJ", number(joules / 1e3))
            })
        };
        let heat = regions.joules.as_ref().map(heat);
        // Blanks: two before the name and before each bar, one between a bar and its text.
        let n_text = widest(&time) + heat.as_ref().map_or(0, |heat| widest(heat));
        let room = page
            .width
            .saturating_sub(2 + n_name + n_text + 3 * n_columns);
        (time, heat, (room / n_columns).min(MAX_BAR))
    };
    let (time, heat, n_bar) = match columns(true) {
        (.., n_bar) if n_bar < MIN_BAR => columns(false),
        wide => wide,
    };
    for (index, &region) in Region::ALL.iter().enumerate() {
        let name = pad(words::region(region), n_name, Align::Left);
        let mut line = format!("  {name}  {}", cell(page, &time, index, n_bar, Mark::Plain));
        if let Some(heat) = &heat {
            line.push_str("  ");
            line.push_str(&cell(page, heat, index, n_bar, Mark::Heat));
        }
        page.line(&line);
    }
    if heat.is_none() {
        page.paragraph(
            "  ",
            "Heat by region is not known: the torque is not.",
            Mark::Faint,
        );
    }
}

/// Per region: share of the largest, and the text behind the bar.
fn column(values: &[f64; 7], has_shares: bool, text: impl Fn(f64) -> String) -> Vec<(f64, String)> {
    let largest = values
        .iter()
        .copied()
        .filter(|value| value.is_finite())
        .fold(0.0, f64::max);
    let total: f64 = values
        .iter()
        .copied()
        .filter(|value| value.is_finite())
        .sum();
    values
        .iter()
        .map(|&value| {
            let share = if largest > 0.0 { value / largest } else { 0.0 };
            let text = pad(&text(value), 8, Align::Right);
            let is_shared = has_shares && total > 0.0;
            (
                share,
                if is_shared {
                    format!("{text} {:>6}", percent(value / total))
                } else {
                    text
                },
            )
        })
        .collect()
}

fn widest(column: &[(f64, String)]) -> usize {
    column
        .iter()
        .map(|(_, text)| text.chars().count())
        .max()
        .unwrap_or(0)
}

fn cell(page: &Page, column: &[(f64, String)], index: usize, n_bar: usize, mark: Mark) -> String {
    let (share, text) = &column[index];
    let drawn = pad(&bar(*share, n_bar), n_bar, Align::Left);
    format!(
        "{} {}",
        page.marked(&drawn, mark),
        pad(text, widest(column), Align::Left)
    )
}
