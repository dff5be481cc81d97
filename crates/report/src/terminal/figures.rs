//! The table of figures: value, band, grade; a reason where there is no value.

use super::layout::{Align, Mark, Page, pad, wrap};
use crate::words::{self, FigureText, clean, figure_text};
use halfshaft_health::{Figure, Results};

/// A title column narrower than this reads badly; the table is stacked instead.
const LEAST_TITLE: usize = 16;

struct Row {
    title: String,
    outcome: Result<FigureText, String>,
    grade: &'static str,
}

impl Row {
    fn of(figure: &Figure) -> Row {
        Row {
            title: clean(figure.title),
            outcome: figure_text(figure),
            grade: figure.grade.map_or("", |grade| grade.letter()),
        }
    }

    fn number(&self) -> String {
        match &self.outcome {
            Ok(shown) if shown.is_at_least => format!("at least {}", shown.number),
            Ok(shown) => shown.number.clone(),
            Err(_) => "–".to_owned(),
        }
    }

    fn unit(&self) -> String {
        match &self.outcome {
            Ok(FigureText {
                unit,
                minutes: Some(minutes),
                ..
            }) => format!("{unit} ({minutes})"),
            Ok(shown) => shown.unit.clone(),
            Err(_) => String::new(),
        }
    }

    fn band(&self) -> String {
        self.outcome
            .as_ref()
            .ok()
            .and_then(|shown| shown.band.clone())
            .unwrap_or_default()
    }
}

pub(super) fn section(page: &mut Page, results: &Results) {
    let rows: Vec<Row> = results.figures.iter().map(Row::of).collect();
    page.blank();
    if rows.is_empty() {
        page.paragraph("  ", "No figures were worked out.", Mark::Plain);
        return;
    }
    let widest = |cell: &dyn Fn(&Row) -> String| {
        rows.iter()
            .map(|row| cell(row).chars().count())
            .max()
            .unwrap_or(0)
    };
    let (n_number, n_unit) = (widest(&Row::number), widest(&Row::unit));
    let n_band = widest(&Row::band).max("90 % band".len());
    // Blanks: two before each of title, number, band and grade, one before the unit.
    let fixed = 2 + 2 + n_number + 1 + n_unit + 2 + n_band + 2 + "grade".len();
    let n_title = widest(&|row: &Row| row.title.clone());
    let room = page.width.saturating_sub(fixed);
    if room < n_title.min(LEAST_TITLE) {
        rows.iter().for_each(|row| stacked(page, row));
        return;
    }
    let n_title = n_title.min(room);
    let head = format!(
        "  {}  {}  {}  grade",
        pad("Figure", n_title, Align::Left),
        pad(
            &pad("Value", n_number, Align::Right),
            n_number + 1 + n_unit,
            Align::Left
        ),
        pad("90 % band", n_band, Align::Left),
    );
    let head = page.marked(&head, Mark::Strong);
    page.line(&head);
    for row in &rows {
        let titles = wrap(&row.title, n_title);
        // A reason runs on to the end of the line, behind the dash.
        let indent = 2 + n_title + 2 + n_number + 1;
        let reasons = match &row.outcome {
            Err(why) => wrap(&words::sentence(why), page.width - indent),
            Ok(_) => Vec::new(),
        };
        for index in 0..titles.len().max(reasons.len()) {
            let title = pad(
                titles.get(index).map_or("", String::as_str),
                n_title,
                Align::Left,
            );
            let number = if index == 0 {
                row.number()
            } else {
                String::new()
            };
            let number = page.marked(&pad(&number, n_number, Align::Right), Mark::Strong);
            let rest = match &row.outcome {
                Err(_) => page.marked(reasons.get(index).map_or("", String::as_str), Mark::Faint),
                Ok(_) if index == 0 => format!(
                    "{}  {}  {}",
                    pad(&row.unit(), n_unit, Align::Left),
                    pad(&row.band(), n_band, Align::Left),
                    pad(row.grade, "grade".len(), Align::Left),
                ),
                Ok(_) => String::new(),
            };
            page.line(&format!("  {title}  {number} {rest}"));
        }
    }
}

/// Two lines a figure, for a narrow terminal: value and grade, below them the band.
fn stacked(page: &mut Page, row: &Row) {
    match &row.outcome {
        Ok(shown) => {
            let minutes = shown
                .minutes
                .as_ref()
                .map(|minutes| format!(" ({minutes})"))
                .unwrap_or_default();
            let value = format!("{}{minutes}  {:1}", shown.text(), row.grade);
            page.ends(&format!("  {}", row.title), &value, Mark::Plain);
            if let Some(band) = &shown.band {
                page.ends("", &format!("{band}   "), Mark::Faint);
            }
        }
        Err(why) => {
            page.ends(&format!("  {}", row.title), "–   ", Mark::Plain);
            page.paragraph("    ", &words::sentence(why), Mark::Faint);
        }
    }
}
