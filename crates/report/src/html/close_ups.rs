//! Samples as they came, over a strip of the drive: they show when somebody looks closely.
//!
//! In: close-ups of the hottest events and of what findings point at. Out: for each a drawing in the
//! drawing, in milliseconds and thousandths of the strip's height, so that a sample costs few bytes; and
//! links that go there.

use super::plot;
use super::scale::Scale;
use crate::words::stretch;
use halfshaft_health::CloseUp;
use halfshaft_model::Span;
use maud::{Markup, html};

/// Height of a drawing in the drawing.
const HEIGHT: f64 = 1000.0;

/// The close-ups of the strip of this name.
pub(super) fn drawn(strip: &str, close_ups: &[CloseUp], time: &Scale, values: &Scale) -> Markup {
    let curves = close_ups
        .iter()
        .flat_map(|close_up| &close_up.curves)
        .filter(|curve| curve.strip == strip);
    html! { @for curve in curves { (one(&curve.samples, time, values)) } }
}

fn one(samples: &[(halfshaft_model::Time, f64)], time: &Scale, values: &Scale) -> Markup {
    let (Some((first, _)), Some((last, _))) = (samples.first(), samples.last()) else {
        return html! {};
    };
    let (from, until) = (first.seconds(), last.seconds());
    let (left, _) = plot::place(time, values, from, values.low);
    let (right, _) = plot::place(time, values, until, values.low);
    let millis = |seconds: f64| (1e3 * (seconds - from)).round();
    html! {
        svg.close aria-hidden="true" x=(format!("{left:.2}")) y="0" width=(format!("{:.2}", right - left)) height=(plot::HEIGHT)
            viewBox=(format!("0 0 {} {HEIGHT}", millis(until))) preserveAspectRatio="none" data-from=(format!("{from:.3}")) {
            path d=(path(samples.iter().map(|(time, value)| {
                (millis(time.seconds()), (HEIGHT * (1.0 - values.share(*value))).round())
            }))) {}
        }
    }
}

/// A line through whole numbers, by steps.
fn path(points: impl Iterator<Item = (f64, f64)>) -> String {
    let mut line = String::new();
    let mut before: Option<(f64, f64)> = None;
    for (x, y) in points {
        match before {
            None => line.push_str(&format!("M{x} {y}l")),
            Some((left, above)) => {
                let (right, down) = (x - left, y - above);
                // A minus parts two numbers by itself.
                let gap = if down < 0.0 { "" } else { " " };
                line.push_str(&format!("{right}{gap}{} ", down + 0.0));
            }
        }
        before = Some((x, y));
    }
    line.trim_end().to_owned()
}

/// When something was, as a link that shows the strips there.
pub(super) fn link(span: Span) -> Markup {
    html! {
        a.there href="#drive" data-from=(format!("{:.3}", span.start.seconds())) data-to=(format!("{:.3}", span.end.seconds())) {
            (stretch(span))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_health::Curve;
    use halfshaft_model::Time;

    #[test]
    fn a_close_up_stands_at_its_place_in_milliseconds() {
        let samples = [(10.0, 0.0), (10.01, 50.0), (10.02, 25.0), (11.0, 100.0)];
        let close_up = CloseUp {
            span: Span {
                start: Time::from_seconds(10.0),
                end: Time::from_seconds(11.0),
            },
            curves: vec![Curve {
                strip: "command",
                samples: samples
                    .map(|(at_s, value)| (Time::from_seconds(at_s), value))
                    .to_vec(),
            }],
        };
        let text = |strip: &str| {
            let close_ups = std::slice::from_ref(&close_up);
            drawn(strip, close_ups, &Scale::of_time(100.0), &Scale::percent()).into_string()
        };
        // Derived: 10 of 100 s is a tenth of 6400; half of 1000 is 500, from the top.
        assert_eq!(
            text("command"),
            "<svg class=\"close\" aria-hidden=\"true\" x=\"640.00\" y=\"0\" width=\"64.00\" height=\"800\" viewBox=\"0 0 1000 1000\" \
             preserveAspectRatio=\"none\" data-from=\"10.000\"><path d=\"M0 1000l10-500 10 250 980-750\"></path></svg>"
        );
        assert_eq!(text("state"), "");
    }

    #[test]
    fn a_link_names_its_seconds() {
        let span = Span {
            start: Time::from_seconds(61.5),
            end: Time::from_seconds(63.0),
        };
        let text = link(span).into_string();
        assert!(
            text.contains("data-from=\"61.500\" data-to=\"63.000\""),
            "{text}"
        );
    }
}
