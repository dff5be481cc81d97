//! Lines over a strip: where somebody made a mark; over the owner's of the oil where it is warned of, where its
//! limit is, where laps begin.

use super::plot;
use super::scale::Scale;
use crate::track;
use halfshaft_health::Results;
use maud::{Markup, html};

/// Oil further below its warning than this has no lines, K: they would leave the curve no room.
const NEAR_K: f64 = 30.0;

/// More laps than these have no marks of their own.
const MOST_LAPS: usize = 40;

/// More marks than these have no lines: they would hide the strip.
const MOST_NOTES: usize = 60;

/// What is drawn over a strip.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Marks {
    // Across the strip, °C, each with its name.
    levels: Vec<(f64, &'static str)>,
    // Starts of laps, s, each with the number of its lap.
    laps: Vec<(f64, u32)>,
    // Marks that were made, s, each with its number.
    notes: Vec<(f64, usize)>,
}

impl Marks {
    /// Those that somebody made.
    pub fn of_notes(results: &Results) -> Marks {
        let notes = results.marks.iter().zip(1..).take(MOST_NOTES);
        Marks {
            notes: notes
                .map(|(mark, number)| (mark.time.seconds(), number))
                .collect(),
            ..Marks::default()
        }
    }

    /// Those and those of the oil; `high` is the highest value of its strip.
    pub fn of_oil(results: &Results, high: f64) -> Marks {
        let warning = track::warn_c(results).filter(|warn_c| high > warn_c - NEAR_K);
        let limit = Some(results.limits.oil.limit_c).filter(|limit_c| high > limit_c - NEAR_K);
        let levels = [(warning, "warning"), (limit, "limit")];
        let laps = &results.laps.laps;
        let shown = if laps.len() > MOST_LAPS {
            0
        } else {
            laps.len()
        };
        Marks {
            levels: levels
                .into_iter()
                .filter_map(|(level, name)| Some((level?, name)))
                .collect(),
            laps: laps[..shown]
                .iter()
                .map(|lap| (lap.span.start.seconds(), lap.number))
                .collect(),
            ..Marks::of_notes(results)
        }
    }

    /// The highest level.
    pub fn highest(&self) -> Option<f64> {
        self.levels.iter().map(|(level, _)| *level).reduce(f64::max)
    }

    /// The lines.
    pub fn drawn(&self, time: &Scale, values: &Scale) -> Markup {
        html! {
            @for (start_s, _) in &self.laps {
                @let (x, _) = plot::place(time, values, *start_s, values.low);
                path.lap d=(format!("M{x:.1} 0V{}", plot::HEIGHT)) {}
            }
            @for (at_s, _) in &self.notes {
                @let (x, _) = plot::place(time, values, *at_s, values.low);
                path.noted-line d=(format!("M{x:.1} 0V{}", plot::HEIGHT)) {}
            }
            @for (level, _) in &self.levels {
                @let (_, y) = plot::place(time, values, time.low, *level);
                path.level d=(format!("M0 {y:.1}H{}", plot::WIDTH)) {}
            }
        }
    }

    /// Their names.
    pub fn labels(&self, time: &Scale, values: &Scale) -> Markup {
        html! {
            div.marks aria-hidden="true" {
                @for (start_s, number) in &self.laps {
                    span.lap style=(format!("left:{:.2}%", 100.0 * time.share(*start_s))) { (number) }
                }
                @for (at_s, number) in &self.notes {
                    span.noted-number style=(format!("left:{:.2}%", 100.0 * time.share(*at_s))) { (number) }
                }
                @for (level, name) in &self.levels {
                    span.level style=(format!("bottom:{:.2}%", 100.0 * values.share(*level))) { (name) }
                }
            }
        }
    }

    /// The same in words, a clause.
    pub fn words(&self) -> String {
        let levels = self.levels.iter();
        let levels = levels.map(|(level, name)| format!(" {name} at {level:.0}\u{a0}°C;"));
        let laps = match self.laps.len() {
            0 => String::new(),
            n => format!(" {n} laps marked;"),
        };
        let notes = match self.notes.len() {
            0 => String::new(),
            1 => " one mark was made;".to_owned(),
            n => format!(" {n} marks were made;"),
        };
        let text: String = levels.chain([laps, notes]).collect();
        text.trim_end_matches(';').to_owned()
    }
}
