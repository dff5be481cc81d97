//! The needles of the class of use: six classes side by side, and where this drive stands.
//!
//! Classes are drawn equally wide although their edges are not evenly spaced: what counts
//! is the class a needle stands in. Within a class the needle goes straight.

use crate::verdict::reading;
use crate::words::{clean, number, sentence, unit};
use halfshaft_health::FigureId;
use halfshaft_health::{Meter, UseClass};
use maud::{Markup, html};

const N_CLASSES: u8 = 6;

pub(super) fn strip(meters: &[Meter]) -> Markup {
    if meters.is_empty() {
        return html! {};
    }
    html! {
        div.needles {
            div.classes aria-hidden="true" {
                span {}
                div { @for level in 0..N_CLASSES { span { (UseClass::word(level)) } } }
                span {}
            }
            @for (index, meter) in meters.iter().enumerate() { (row(index, meter)) }
        }
    }
}

fn row(index: usize, meter: &Meter) -> Markup {
    let text = reading(meter);
    let (title_id, about_id) = (
        format!("needle-{index}-title"),
        format!("needle-{index}-about"),
    );
    html! {
        div.needle {
            p.what {
                @match gloss(meter.name) {
                    "" => (clean(meter.title)),
                    gloss => { (gloss) small { (clean(meter.title)) } }
                }
            }
            div.dial {
                svg viewBox="0 0 600 20" preserveAspectRatio="none" role="img"
                    aria-labelledby=(format!("{title_id} {about_id}")) {
                    title id=(title_id) { (clean(meter.title)) }
                    desc id=(about_id) { (about(meter)) }
                    @for level in 0..u32::from(N_CLASSES) {
                        rect.{ "level-" (level) } x=(100 * level) y="0" width="100" height="20" {}
                    }
                    @if let Ok(estimate) = &meter.reading {
                        @let (low, high) = (place(&meter.edges, estimate.low), place(&meter.edges, estimate.high));
                        rect.reach x=(format!("{:.1}", 600.0 * low)) y="7" height="6"
                            width=(format!("{:.1}", (600.0 * (high - low)).max(0.0))) {}
                    }
                }
                @if let Ok(estimate) = &meter.reading {
                    svg.pointer viewBox="0 0 12 12" aria-hidden="true"
                        style=(format!("left:{:.2}%", 100.0 * place(&meter.edges, estimate.value))) {
                        path d="M0 0H12L6 11z" {}
                    }
                }
                div.edges aria-hidden="true" {
                    @for (edge, value) in meter.edges.iter().enumerate() {
                        span style=(format!("left:{:.2}%", 100.0 * (edge as f64 + 1.0) / f64::from(N_CLASSES))) { (edge_text(*value)) }
                    }
                }
            }
            p.reading {
                @match &text {
                    Ok(text) => {
                        @let (value, band) = text.split_once(" (").unwrap_or((text.as_str(), ""));
                        (value) @if !band.is_empty() { small { "(" (band) } }
                    }
                    Err(why) => span.quiet { (crate::words::shorten(&sentence(why), 70)) },
                }
            }
        }
    }
}

fn edge_text(value: f64) -> String {
    if value.fract() == 0.0 {
        format!("{value:.0}")
    } else {
        number(value).trim_end_matches('0').to_owned()
    }
}

fn about(meter: &Meter) -> String {
    let edges: Vec<String> = meter
        .edges
        .iter()
        .enumerate()
        .map(|(level, &edge)| format!("{} below {}", UseClass::word(level as u8), edge_text(edge)))
        .collect();
    let stands = match reading(meter) {
        Ok(text) => {
            let level = meter
                .reading
                .as_ref()
                .map_or(0, |reading| meter.level(reading.value));
            format!("{text}: {}", UseClass::word(level))
        }
        Err(why) => format!("no reading: {why}"),
    };
    format!(
        "{stands}. Classes in {}: {}, competition above.",
        unit(meter.unit),
        edges.join(", ")
    )
}

/// What a needle shows, for a reader who does not know the trade.
fn gloss(name: &str) -> &'static str {
    match name {
        name if name == FigureId::HeatPerKm.word() => "Heat made",
        "events_per_100_km" => "How often commanded",
        "oil_temp_p99" => "How hot the oil got",
        "specific_power_p99" => "How hard the plates rubbed",
        _ => "",
    }
}

/// Where a value stands along the six classes, 0 to 1.
fn place(edges: &[f64; 5], value: f64) -> f64 {
    if value.is_nan() {
        return 0.0;
    }
    let level = edges.iter().filter(|&&edge| value >= edge).count();
    let below = match level {
        0 => (2.0 * edges[0] - edges[1]).max(0.0),
        _ => edges[level - 1],
    };
    let above = match level {
        5 => 2.0 * edges[4] - edges[3],
        _ => edges[level],
    };
    let within = ((value - below) / (above - below)).clamp(0.0, 1.0);
    (level as f64 + within) / f64::from(N_CLASSES)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_needle_stands_in_its_class() {
        let edges = [80.0, 90.0, 100.0, 115.0, 130.0];
        for (value, wanted) in [
            (60.0, 0.0),
            (75.0, 0.5),
            (80.0, 1.0),
            (107.5, 3.5),
            (130.0, 5.0),
            (900.0, 6.0),
        ] {
            assert!(
                (6.0 * place(&edges, value) - wanted).abs() < 1e-9,
                "{value}"
            );
        }
        // Half of the first class where it begins at nothing: 2.5 of 5.
        assert!((6.0 * place(&[5.0, 20.0, 60.0, 180.0, 600.0], 2.5) - 0.5).abs() < 1e-9);
        assert_eq!(place(&edges, f64::NAN), 0.0);
    }
}
