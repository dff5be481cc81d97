//! Points over a grid: discs for what took part, rings for what was left out.
//!
//! The drawing is stretched to its room, so points are strokes of no length: they keep
//! their shape, since strokes do not scale. A ring is a wide stroke under a narrow one.

use super::axes;
use super::plot::{self, Drawing, Run};
use super::scale::Scale;
use maud::{Markup, PreEscaped, html};

/// A point and whether it took part.
pub(super) type Point = (f64, f64, bool);

/// What one picture holds.
pub(super) struct Scatter<'a> {
    pub id: &'a str,
    pub title: &'a str,
    pub about: &'a str,
    pub across: &'a str,
    pub up: &'a str,
    pub points: &'a [Point],
    /// The rings set the scales, too.
    pub are_rings_in_scale: bool,
    /// The scale of the heights begins at zero, so that small differences look small.
    pub stands_on_zero: bool,
    /// A band between two heights, over the whole width.
    pub band: Option<(f64, f64)>,
}

pub(super) fn figure(scatter: &Scatter) -> Markup {
    let is_finite = |point: &&Point| point.0.is_finite() && point.1.is_finite();
    let points: Vec<&Point> = scatter.points.iter().filter(is_finite).collect();
    if points.is_empty() {
        return html! {};
    }
    // What took part sets the scales: one wild point left out would flatten all others.
    let leading: Vec<&Point> = match points.iter().filter(|point| point.2).count() {
        0 => points.clone(),
        _ if scatter.are_rings_in_scale => points.clone(),
        _ => points.iter().copied().filter(|point| point.2).collect(),
    };
    let across = scale(leading.iter().map(|point| point.0));
    let ends = scatter
        .band
        .map_or(Vec::new(), |(low, high)| vec![low, high]);
    let zero = scatter.stands_on_zero.then_some(0.0);
    let up = scale(leading.iter().map(|point| point.1).chain(ends).chain(zero));
    let run: Vec<Run> = scatter
        .band
        .iter()
        .map(|&(low, high)| vec![(across.low, low, high), (across.high, low, high)])
        .collect();
    let grid = plot::draw(&Drawing {
        time: &across,
        values: &up,
        runs: &run,
        blocks: &[],
        gaps: &[],
        windows: &[],
    });
    let path = |is_accepted: bool| {
        let mut text = String::new();
        for point in points.iter().filter(|point| point.2 == is_accepted) {
            let (x, y) = plot::place(&across, &up, point.0, point.1);
            text.push_str(&format!("M{x:.1} {y:.1}h.01"));
        }
        text
    };
    let (title_id, about_id) = (
        format!("{}-title", scatter.id),
        format!("{}-about", scatter.id),
    );
    html! {
        figure.strip.scatter {
            figcaption { strong { (scatter.title) } ", " (scatter.up) }
            div.frame.high {
                (axes::ticks(&up, |tick| up.label(tick)))
                svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img"
                    aria-labelledby=(format!("{title_id} {about_id}")) {
                    title id=(title_id) { (scatter.title) }
                    desc id=(about_id) { (scatter.about) }
                    (PreEscaped(grid))
                    path.rings d=(path(false)) {}
                    path.holes d=(path(false)) {}
                    path.discs d=(path(true)) {}
                }
            }
            (axes::ruler(&across, |tick| across.label(tick), scatter.across))
        }
    }
}

fn scale(values: impl Iterator<Item = f64>) -> Scale {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (f64::min(low, value), f64::max(high, value))
    });
    Scale::around(low, high)
}
