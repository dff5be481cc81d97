//! The course with the heat along it: an outline that is thick where the heat is made, and the heat
//! along the lap, laps over each other.

use super::axes;
use super::plot::{self, Drawing, Run};
use super::scale::Scale;
use crate::corners::bends;
use crate::words::{number, percent};
use halfshaft_health::{Course, Results};
use maud::{Markup, PreEscaped, html};

/// Longer side of the outline, in units of its box, and the room around it.
const SIZE: f64 = 1000.0;
const ROOM: f64 = 90.0;

/// Thicknesses of the outline: the upper edge of each as a share of the greatest heat per metre.
const CLASSES: [f64; 5] = [0.02, 0.1, 0.3, 0.6, 1.0];

/// Nothing without a course that closes.
pub(super) fn part(results: &Results) -> Markup {
    let Some(course) = &results.laps.course else {
        return html! {};
    };
    html! {
        (outline(course, results))
        @if let Some(heat) = &course.heat_j_per_m { (along(course, heat)) }
    }
}

/// Points of the outline in the box, with its width and height.
fn in_box(course: &Course) -> (Vec<(f64, f64)>, f64, f64) {
    let ends = |axis: usize| {
        let values = course.outline_m.iter().map(|point| point[axis]);
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        })
    };
    let ((left, right), (low, high)) = (ends(0), ends(1));
    let scale = SIZE / (right - left).max(high - low).max(1e-9);
    let place = |point: &[f64; 2]| {
        (
            ROOM + scale * (point[0] - left),
            ROOM + scale * (high - point[1]),
        )
    };
    let (width, height) = (scale * (right - left), scale * (high - low));
    (
        course.outline_m.iter().map(place).collect(),
        width + 2.0 * ROOM,
        height + 2.0 * ROOM,
    )
}

fn outline(course: &Course, results: &Results) -> Markup {
    let (points, width, height) = in_box(course);
    let heat = course.heat_j_per_m.as_deref();
    let most = heat.unwrap_or_default().iter().copied().fold(0.0, f64::max);
    let class = |cell: usize| {
        let share = heat.map_or(0.0, |heat| heat[cell] / most.max(1e-9));
        CLASSES
            .iter()
            .position(|edge| share <= *edge)
            .unwrap_or(CLASSES.len() - 1)
    };
    // The thinnest first, so that the thick lie over them.
    let mut paths = [const { String::new() }; CLASSES.len()];
    for (cell, ends) in points.windows(2).enumerate() {
        let [(x1, y1), (x2, y2)] = [ends[0], ends[1]];
        paths[class(cell)].push_str(&format!("M{x1:.0} {y1:.0}L{x2:.0} {y2:.0}"));
    }
    let at = |metres: f64| {
        let cell = (metres / course.cell_m).round() as usize;
        points[cell % (points.len() - 1)]
    };
    let middle = (0.5 * width, 0.5 * height);
    let corners: Vec<(u32, (f64, f64))> = bends(&results.laps)
        .iter()
        .filter_map(|bend| {
            let start_m = bend.mean(|corner| Some(corner.start_m))?;
            let length_m = bend.mean(|corner| Some(corner.length_m))?;
            let (x, y) = at(start_m + 0.5 * length_m);
            // Outside of the course as seen from its middle.
            let away = (x - middle.0).hypot(y - middle.1).max(1.0);
            let step = 55.0 / away;
            Some((
                bend.number,
                (x + step * (x - middle.0), y + step * (y - middle.1)),
            ))
        })
        .collect();
    let (x, y) = points[0];
    html! {
        figure.course {
            figcaption {
                strong { "The course, and where the clutch gets hot" }
                @if heat.is_some() { ": the thicker the line, the more heat a metre" }
                ". Numbers are those of the corners; the bar is where a lap begins."
            }
            svg viewBox=(format!("0 0 {width:.0} {height:.0}")) role="img" aria-labelledby="course-title course-about" {
                title id="course-title" { "Outline of the course" }
                desc id="course-about" { (about(course)) }
                @for (class, path) in paths.iter().enumerate() {
                    @if !path.is_empty() { path.{ "heat-" (class) } d=(path) {} }
                }
                path.start d=(start_line(&points)) {}
                circle.start cx=(format!("{x:.0}")) cy=(format!("{y:.0}")) r="7" {}
                @for (number, (x, y)) in &corners {
                    text x=(format!("{x:.0}")) y=(format!("{y:.0}")) { (number) }
                }
            }
        }
    }
}

/// A bar across the course where a lap begins.
fn start_line(points: &[(f64, f64)]) -> String {
    let (x, y) = points[0];
    let (dx, dy) = (points[1].0 - x, points[1].1 - y);
    let length = dx.hypot(dy).max(1e-9);
    let (ax, ay) = (-26.0 * dy / length, 26.0 * dx / length);
    format!("M{:.0} {:.0}L{:.0} {:.0}", x + ax, y + ay, x - ax, y - ay)
}

fn about(course: &Course) -> String {
    let n_cells = course.outline_m.len() - 1;
    let km = course.cell_m * n_cells as f64 * 1e-3;
    let hottest = course.heat_j_per_m.as_deref().map(|heat| {
        let mut sorted = heat.to_vec();
        sorted.sort_by(|one, other| other.total_cmp(one));
        let n_hot = (n_cells / 10).max(1);
        let share = sorted[..n_hot].iter().sum::<f64>() / sorted.iter().sum::<f64>().max(1e-9);
        format!(" A tenth of it makes {} of the heat.", percent(share))
    });
    format!(
        "{} km from turning rate and speed, without positions.{}",
        number(km),
        hottest.unwrap_or_default()
    )
}

fn along(course: &Course, heat: &[f64]) -> Markup {
    let length_m = course.cell_m * heat.len() as f64;
    let across = Scale::around(0.0, length_m);
    let most = course
        .by_lap
        .iter()
        .flatten()
        .chain(heat)
        .copied()
        .fold(0.0, f64::max);
    let up = Scale::around(0.0, most);
    let run: Run = heat
        .iter()
        .enumerate()
        .map(|(cell, heat)| ((cell as f64 + 0.5) * course.cell_m, 0.0, *heat))
        .collect();
    let drawn = plot::draw(&Drawing {
        time: &across,
        values: &up,
        runs: &[run],
        blocks: &[],
        gaps: &[],
        windows: &[],
    });
    let laps: Vec<String> = course
        .by_lap
        .iter()
        .map(|lap| {
            let mut path = String::new();
            for (cell, heat) in lap.iter().enumerate() {
                let (x, y) = plot::place(&across, &up, (cell as f64 + 0.5) * course.cell_m, *heat);
                path.push_str(&format!(
                    "{}{x:.0} {y:.0}",
                    if cell == 0 { "M" } else { "L" }
                ));
            }
            path
        })
        .collect();
    html! {
        figure.strip.strip-heat_rate.along {
            figcaption { strong { "Heat along the lap" } ", J/m: filled is the mean, each line one lap" }
            div.frame.high {
                (axes::ticks(&up, |tick| up.label(tick)))
                svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img" aria-labelledby="along-title along-about" {
                    title id="along-title" { "Heat along the lap" }
                    desc id="along-about" { "Up to " (number(most)) " J/m in one lap; " (course.by_lap.len()) " laps over each other." }
                    (PreEscaped(drawn))
                    @for path in &laps { path.lap-line d=(path) {} }
                }
            }
            (axes::ruler(&across, |tick| across.label(tick), "Distance from the line, m"))
        }
    }
}
