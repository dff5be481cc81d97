//! A second curve over a strip, told from the first by being dashed and by its name.
//!
//! In: what the model says of a channel. Out: a thin path, to lie over the envelope of what
//! was measured, which is drawn broad and pale so that it shows where both agree; where the model has a gap the line is broken.

use super::plot::{self, Run};
use super::scale::Scale;
use halfshaft_health::Strip;
use maud::{Markup, html};

/// Strip as measured, and the strip that the model says of it.
const PAIRS: [(&str, &str); 1] = [("oil_temperature", "oil_temperature_model")];

/// What the model says of a strip, where there is any.
pub(super) fn of<'a>(strip: &Strip, all: &'a [Strip]) -> Option<&'a Strip> {
    let (_, name) = PAIRS.iter().find(|(measured, _)| *measured == strip.name)?;
    all.iter().find(|second| {
        second.name == *name && second.unit == strip.unit && !second.slots.is_empty()
    })
}

/// Whether a strip is drawn over another one.
pub(super) fn is_second(strip: &Strip, all: &[Strip]) -> bool {
    all.iter().any(|first| {
        !first.slots.is_empty() && of(first, all).is_some_and(|second| second.name == strip.name)
    })
}

/// The line, through the middle of each slot.
pub(super) fn path(runs: &[Run], time: &Scale, values: &Scale) -> Markup {
    let mut line = String::new();
    for run in runs {
        for (index, &(second, low, high)) in run.iter().enumerate() {
            let (x, y) = plot::place(time, values, second, (low + high) / 2.0);
            let command = if index == 0 { 'M' } else { 'L' };
            line.push_str(&format!("{command}{x:.1} {y:.1}"));
        }
    }
    html! { path.model d=(line) {} }
}

/// The two looks in words, for the caption.
pub(super) fn key() -> Markup {
    html! {
        "; "
        svg.sample viewBox="0 0 28 10" aria-hidden="true" { path.edge d="M0 5H28" {} }
        " broad: measured, "
        svg.sample viewBox="0 0 28 10" aria-hidden="true" { path.model d="M0 5H28" {} }
        " dashed: by the model, in gaps as well"
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_health::StripSlot;
    use halfshaft_model::{Span, Time};

    fn strip(name: &'static str, n: usize) -> Strip {
        let slot = StripSlot {
            span: Span {
                start: Time(0),
                end: Time(1),
            },
            low: 50.0,
            high: 50.0,
        };
        Strip {
            name,
            title: "Oil",
            unit: "°C",
            slots: vec![slot; n],
        }
    }

    #[test]
    fn only_the_model_of_a_measured_oil_is_drawn_over_it() {
        let (oil, model, pack) = (
            strip("oil_temperature", 2),
            strip("oil_temperature_model", 2),
            strip("pack_temperature", 2),
        );
        let all = [oil.clone(), model.clone(), pack.clone()];
        assert_eq!(of(&oil, &all).map(|found| found.name), Some(model.name));
        assert!(of(&pack, &all).is_none());
        assert!(is_second(&model, &all) && !is_second(&oil, &all));
        // Without a sensor the model keeps a strip of its own.
        assert!(!is_second(
            &model,
            &[strip("oil_temperature", 0), model.clone()]
        ));
        assert!(!is_second(&model, &[model.clone(), pack]));
    }

    #[test]
    fn the_line_is_broken_where_the_model_has_a_gap() {
        let (time, values) = (Scale::of_time(100.0), Scale::around(0.0, 100.0));
        let runs = [
            vec![(0.0, 40.0, 60.0), (25.0, 100.0, 100.0)],
            vec![(50.0, 0.0, 0.0), (100.0, 50.0, 50.0)],
        ];
        // The box is 6400 by 800, counted from above.
        let text = path(&runs, &time, &values).into_string();
        assert!(
            text.contains("M0.0 400.0L1600.0 0.0M3200.0 800.0L6400.0 400.0"),
            "{text}"
        );
    }
}
