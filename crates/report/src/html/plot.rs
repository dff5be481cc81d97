//! Curves to SVG.
//!
//! In: envelopes, marks and gaps in their own units. Out: the inside of an `svg`
//! element of [`VIEW_BOX`], without text, to be stretched to the room there is; labels
//! are HTML beside it, so they keep their size on a small screen.
//!
//! The plotting library takes colours only as numbers. Each part is drawn in a number
//! of its own, and that number is then turned into a class, so that `style.css` alone
//! says how it looks by day, by night and on paper.

use super::scale::Scale;
use plotters::chart::ChartContext;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

/// Finer than a screen: drawings can be looked at closer.
pub(super) const WIDTH: u32 = 6400;
pub(super) const HEIGHT: u32 = 800;

/// The box drawings are made in.
pub(super) const VIEW_BOX: &str = "0 0 6400 800";

const GRID: RGBColor = RGBColor(1, 0, 1);
const BASE: RGBColor = RGBColor(1, 0, 2);
const GAP: RGBColor = RGBColor(1, 0, 3);
const HATCH: RGBColor = RGBColor(1, 0, 4);
const BAND: RGBColor = RGBColor(1, 0, 5);
const EDGE: RGBColor = RGBColor(1, 0, 6);
const HOLLOW: RGBColor = RGBColor(1, 0, 7);

const SEEN: RGBColor = RGBColor(1, 0, 8);
const SEEN_END: RGBColor = RGBColor(1, 0, 9);

const CLASSES: [(RGBColor, &str); 9] = [
    (GRID, "grid"),
    (BASE, "base"),
    (GAP, "gap"),
    (HATCH, "hatch"),
    (BAND, "band"),
    (EDGE, "edge"),
    (HOLLOW, "hollow"),
    (SEEN, "seen"),
    (SEEN_END, "seen-end"),
];

/// Distance of the hatching's lines, in units of the box.
const HATCH_STEP: f64 = 56.0;

/// One stretch without a gap: time in s, lowest, highest.
pub(super) type Run = Vec<(f64, f64, f64)>;

/// A block on the time axis, between two heights.
pub(super) struct Block {
    pub start_s: f64,
    pub end_s: f64,
    pub low: f64,
    pub high: f64,
    /// Drawn as an outline and not filled.
    pub is_hollow: bool,
}

/// What one drawing holds.
pub(super) struct Drawing<'a> {
    pub time: &'a Scale,
    pub values: &'a Scale,
    pub runs: &'a [Run],
    pub blocks: &'a [Block],
    /// Stretches without samples, s.
    pub gaps: &'a [(f64, f64)],
    /// Stretches a finding points at, s.
    pub windows: &'a [(f64, f64)],
}

type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// The inside of the `svg` element; empty when nothing can be drawn.
pub(super) fn draw(drawing: &Drawing) -> String {
    let mut svg = String::new();
    let is_drawn = {
        let area = SVGBackend::with_string(&mut svg, (WIDTH, HEIGHT)).into_drawing_area();
        let (time, values) = (drawing.time, drawing.values);
        let chart = ChartBuilder::on(&area)
            .build_cartesian_2d(time.low..time.high, values.low..values.high);
        chart
            .and_then(|mut chart| contents(&mut chart, drawing))
            .and_then(|()| area.present())
            .is_ok()
    };
    if is_drawn {
        classes_for_colours(inside(&svg))
    } else {
        String::new()
    }
}

/// Where a value lies in the box.
pub(super) fn place(across: &Scale, up: &Scale, x: f64, y: f64) -> (f64, f64) {
    (
        across.share(x) * f64::from(WIDTH),
        (1.0 - up.share(y)) * f64::from(HEIGHT),
    )
}

type Drawn = Result<(), DrawingAreaErrorKind<std::io::Error>>;

fn contents(chart: &mut Chart, drawing: &Drawing) -> Drawn {
    let (time, values) = (drawing.time, drawing.values);
    for &(start, end) in drawing.gaps {
        gap(chart, drawing, start, end)?;
    }
    for &(start, end) in drawing.windows {
        let corners = [(start, values.low), (end, values.high)];
        chart.draw_series(std::iter::once(Rectangle::new(corners, SEEN.filled())))?;
        let ends = [start, end].map(|second| vec![(second, values.low), (second, values.high)]);
        let ends = ends
            .into_iter()
            .map(|line| PathElement::new(line, SEEN_END.stroke_width(1)));
        chart.draw_series(ends)?;
    }
    let grid = values
        .ticks
        .iter()
        .map(|&tick| vec![(time.low, tick), (time.high, tick)]);
    let grid = grid.chain(
        time.ticks
            .iter()
            .map(|&tick| vec![(tick, values.low), (tick, values.high)]),
    );
    chart.draw_series(grid.map(|line| PathElement::new(line, GRID.stroke_width(1))))?;
    if values.low < 0.0 && values.high > 0.0 {
        let zero = vec![(time.low, 0.0), (time.high, 0.0)];
        chart.draw_series(std::iter::once(PathElement::new(
            zero,
            BASE.stroke_width(1),
        )))?;
    }
    for run in drawing.runs {
        let outline: Vec<(f64, f64)> = run
            .iter()
            .map(|&(second, _, high)| (second, high))
            .chain(run.iter().rev().map(|&(second, low, _)| (second, low)))
            .collect();
        let mut closed = outline.clone();
        closed.extend(outline.first());
        chart.draw_series(std::iter::once(Polygon::new(outline, BAND.filled())))?;
        chart.draw_series(std::iter::once(PathElement::new(
            closed,
            EDGE.stroke_width(1),
        )))?;
    }
    for block in drawing.blocks {
        let corners = [(block.start_s, block.low), (block.end_s, block.high)];
        let style = if block.is_hollow {
            HOLLOW.stroke_width(1)
        } else {
            EDGE.filled()
        };
        chart.draw_series(std::iter::once(Rectangle::new(corners, style)))?;
    }
    Ok(())
}

/// A pale field with slanted lines: seen without colour too.
fn gap(chart: &mut Chart, drawing: &Drawing, start: f64, end: f64) -> Drawn {
    let (time, values) = (drawing.time, drawing.values);
    chart.draw_series(std::iter::once(Rectangle::new(
        [(start, values.low), (end, values.high)],
        GAP.filled(),
    )))?;
    let step = HATCH_STEP * (time.high - time.low) / f64::from(WIDTH);
    // A line climbs the whole height over `lean`; clipped to the gap at both sides.
    let lean = 4.0 * step;
    let n_lines = (((end - start + lean) / step).ceil() as usize).min(WIDTH as usize);
    let lines = (0..n_lines).filter_map(|index| {
        let foot = start - lean + index as f64 * step;
        let height_at =
            |second: f64| values.low + (second - foot) / lean * (values.high - values.low);
        let (left, right) = (foot.max(start), (foot + lean).min(end));
        (left < right).then(|| {
            PathElement::new(
                vec![(left, height_at(left)), (right, height_at(right))],
                HATCH.stroke_width(1),
            )
        })
    });
    chart.draw_series(lines)?;
    Ok(())
}

/// What stands between the root element's tags.
fn inside(svg: &str) -> &str {
    let Some(start) = svg
        .find("<svg")
        .and_then(|at| svg[at..].find('>').map(|end| at + end + 1))
    else {
        return "";
    };
    let end = svg.rfind("</svg>").unwrap_or(svg.len());
    svg.get(start..end).unwrap_or("")
}

fn classes_for_colours(svg: &str) -> String {
    let mut text = svg
        .replace(" opacity=\"1\"", "")
        .replace(" stroke-width=\"1\"", "");
    for (colour, class) in CLASSES {
        let number = format!("#{:02X}{:02X}{:02X}", colour.0, colour.1, colour.2);
        let class = format!("class=\"{class}\"");
        for paint in ["fill", "stroke"] {
            text = text.replace(&format!("{paint}=\"{number}\""), &class);
        }
    }
    text.replace(" fill=\"none\"", "")
        .replace(" stroke=\"none\"", "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawing_has_classes_and_no_colours() {
        let (time, values) = (Scale::of_time(60.0), Scale::around(-1.0, 1.0));
        let runs = [vec![(0.0, -0.5, 0.5), (20.0, 0.1, 0.1)]];
        let blocks = [
            Block {
                start_s: 1.0,
                end_s: 2.0,
                low: 0.0,
                high: 1.0,
                is_hollow: false,
            },
            Block {
                start_s: 3.0,
                end_s: 4.0,
                low: 0.0,
                high: 1.0,
                is_hollow: true,
            },
        ];
        let drawing = Drawing {
            time: &time,
            values: &values,
            runs: &runs,
            blocks: &blocks,
            gaps: &[(20.0, 60.0)],
            windows: &[(5.0, 8.0)],
        };
        let svg = draw(&drawing);
        for (_, class) in CLASSES {
            assert!(
                svg.contains(&format!("class=\"{class}\"")),
                "{class} in {svg}"
            );
        }
        assert!(!svg.contains('#'), "{svg}");
        // An element with two classes would be no XML.
        assert!(
            svg.lines().all(|line| line.matches("class=").count() <= 1),
            "{svg}"
        );
    }
}
