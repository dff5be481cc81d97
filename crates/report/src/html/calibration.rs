//! The tyre ratio and its proof.

use super::scatter::{self, Point, Scatter};
use crate::calibration::{percent_of, remarks, result};
use crate::words::counted;
use halfshaft_health::{Calibration, Results};
use maud::{Markup, html};

/// A turning rate per way, rad/m, as degrees in 10 m.
const DEG_IN_10_M: f64 = 10.0 * 180.0 / std::f64::consts::PI;

pub(super) fn section(results: &Results) -> Markup {
    let calibration = &results.calibration;
    html! {
        section #tyres {
            h2 { "Tyre ratio, and its proof" }
            p { (result(calibration)) }
            @let remarks = remarks(calibration);
            @if !remarks.is_empty() { ul { @for remark in &remarks { li { (remark) } } } }
            (pictures(calibration))
            (left_out(calibration))
        }
    }
}

fn pictures(calibration: &Calibration) -> Markup {
    let points = &calibration.points;
    if points.is_empty() {
        return html! {};
    }
    let band = calibration
        .outcome
        .as_ref()
        .ok()
        .map(|found| (percent_of(found.low), percent_of(found.high)));
    let along: Vec<Point> = points
        .iter()
        .map(|point| (point.km, percent_of(point.ratio_log), point.is_accepted))
        .collect();
    let by_turning: Vec<Point> = points
        .iter()
        .filter_map(|point| {
            let heading = point.heading_per_m? * DEG_IN_10_M;
            Some((heading, percent_of(point.ratio_log), point.is_accepted))
        })
        .collect();
    let n_accepted = points.iter().filter(|point| point.is_accepted).count() as u64;
    let about = format!(
        "{} shown, {n_accepted} of them took part in the estimate.",
        counted(points.len() as u64, "window of 50 m", "windows of 50 m")
    );
    html! {
        p.note {
            "Each mark is one window of 50\u{a0}m: "
            svg.key viewBox="0 0 12 12" aria-hidden="true" { path.discs d="M6 6h.01" {} }
            " took part, "
            svg.key viewBox="0 0 12 12" aria-hidden="true" { path.rings d="M6 6h.01" {} path.holes d="M6 6h.01" {} }
            " left out; on the edge: beyond it."
            @if band.is_some() { " The band is the estimate, low to high." }
        }
        div.strips.proofs {
            (scatter::figure(&Scatter {
                id: "ratio-along",
                title: "Right against left wheel",
                about: &about,
                across: "Distance in the drive, km",
                up: "% faster",
                points: &along,
                are_rings_in_scale: false,
                stands_on_zero: false,
                band,
            }))
            @if !by_turning.is_empty() {
                (scatter::figure(&Scatter {
                    id: "ratio-turning",
                    title: "The same against turning",
                    about: &about,
                    across: "Turning, degrees in 10 m, left positive",
                    up: "% faster; a sound calibration is one slanted line",
                    points: &by_turning,
                    are_rings_in_scale: false,
                    stands_on_zero: false,
                    band: None,
                }))
            }
        }
    }
}

fn left_out(calibration: &Calibration) -> Markup {
    if calibration.rejected.is_empty() {
        return html! {};
    }
    let n_all: u64 = calibration
        .rejected
        .iter()
        .map(|&(_, n)| u64::from(n))
        .sum();
    html! {
        h3 { (counted(n_all, "window", "windows")) " left out" }
        ul {
            @for &(under, n) in &calibration.rejected { li { (n) ": " (under.words()) } }
        }
    }
}
