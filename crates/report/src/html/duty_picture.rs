//! Torque against slip, once by time and once by heat.
//!
//! A table is the drawing: each cell is shaded by its share, and carries its number where
//! that is worth reading.

use super::scroll;
use crate::words::{clean, exact_number, number, sentence};
use halfshaft_health::{DutyPicture, Results};
use maud::{Markup, html};

/// Share of the whole from which a cell carries its number. Source: none, legibility.
const WORTH_A_NUMBER: f64 = 0.005;

/// Steps of shade.
const N_SHADES: f64 = 8.0;

pub(super) fn part(results: &Results) -> Markup {
    html! {
        h3 { "By torque and slip" }
        @match &results.duty_picture {
            Err(why) => p { "There is no picture: " (sentence(&clean(why))) },
            Ok(picture) => {
                p.note { "Each cell is a range of pack torque and slip speed. The stronger the shade, the larger its share; a dot is less than half a percent." }
                div.panels {
                    (panel("Seconds", "seconds", picture, &picture.seconds, 1.0))
                    (panel("Heat, kJ", "joules", picture, &picture.joules, 1e-3))
                }
                (rests(picture))
            }
        }
    }
}

/// The time that has no cell, so that all of it sums to the drive.
fn rests(picture: &DutyPicture) -> Markup {
    let cells_s: f64 = picture.seconds.iter().sum();
    let rows = [
        ("In the cells above", cells_s),
        (
            "The wheels did not turn, or too slowly to be believed",
            picture.not_turning_s,
        ),
        (
            "They turned, and the torque is not known",
            picture.torque_unknown_s,
        ),
        (
            "Nothing recorded: gaps, and before the first and after the last sample",
            picture.gap_s,
        ),
    ];
    html! {
        table.rests {
            caption { strong { "The whole drive" } ", s" }
            tbody { @for (name, seconds) in rows { tr {
                th scope="row" { (name) }
                td.number { (tenths(seconds)) }
            } } }
            tfoot { tr.sum {
                th scope="row" { "Together" }
                td.number { (tenths(picture.total_s())) }
            } }
        }
    }
}

/// Seconds to a tenth, so that they can be summed by eye; a little is not nothing.
fn tenths(seconds: f64) -> String {
    match seconds {
        0.0 => "0".to_owned(),
        _ if seconds < 0.05 => "< 0.1".to_owned(),
        _ => format!("{seconds:.1}"),
    }
}

fn panel(title: &str, class: &str, picture: &DutyPicture, values: &[f64], factor: f64) -> Markup {
    let n_slip = picture.slip_edges.len() + 1;
    let at = |torque: usize, slip: usize| {
        let value = values.get(torque * n_slip + slip).copied().unwrap_or(0.0) * factor;
        if value.is_finite() {
            value.max(0.0)
        } else {
            0.0
        }
    };
    let is_used = |torque: usize, slip: usize| {
        let index = torque * n_slip + slip;
        let is_some = |values: &[f64]| values.get(index).is_some_and(|&value| value > 0.0);
        is_some(&picture.seconds) || is_some(&picture.joules)
    };
    // What was never reached is cut off, alike in both panels.
    let n_torque = (0..=picture.torque_edges_nm.len())
        .rev()
        .find(|&torque| (0..n_slip).any(|slip| is_used(torque, slip)))
        .map_or(1, |torque| torque + 1);
    let n_rows = (0..n_slip)
        .rev()
        .find(|&slip| (0..n_torque).any(|torque| is_used(torque, slip)))
        .map_or(1, |slip| slip + 1);
    let all = || (0..n_torque).flat_map(|torque| (0..n_rows).map(move |slip| (torque, slip)));
    let total: f64 = all().map(|(torque, slip)| at(torque, slip)).sum();
    let most = all()
        .map(|(torque, slip)| at(torque, slip))
        .fold(0.0, f64::max);
    html! {
        (scroll(&format!("{title} by torque and slip"), html! {
            table.duty.(class) {
                caption {
                    strong { (title) }
                    @if total > 0.0 { ", " (number(total)) " in all" }
                    span.quiet { "; across: pack torque, N·m" }
                }
                thead {
                    tr {
                        th.corner scope="col" { "Slip, rad/s" }
                        @for torque in 0..n_torque { th scope="col" { (range(&picture.torque_edges_nm, torque)) } }
                    }
                }
                tbody {
                    @for slip in (0..n_rows).rev() {
                        tr {
                            th scope="row" { (range(&picture.slip_edges, slip)) }
                            @for torque in 0..n_torque { (cell(at(torque, slip), total, most)) }
                        }
                    }
                }
            }
        }))
    }
}

fn cell(value: f64, total: f64, most: f64) -> Markup {
    if value <= 0.0 || total <= 0.0 {
        return html! { td {} };
    }
    // Root of the share of the largest: small cells stay visible beside a giant.
    let shade = (N_SHADES * (value / most).sqrt())
        .ceil()
        .clamp(1.0, N_SHADES) as u32;
    html! {
        td.{ "shade-" (shade) } {
            @if value / total >= WORTH_A_NUMBER { (short(value)) } @else { "·" }
        }
    }
}

/// Two significant digits: a cell has no room for more.
fn short(value: f64) -> String {
    match value {
        _ if value >= 99.5 => format!("{value:.0}"),
        _ if value >= 9.95 => format!("{value:.0}"),
        _ if value >= 0.995 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

fn range(edges: &[f64], index: usize) -> String {
    let edge = |value: f64| {
        let text = exact_number(value);
        if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        } else {
            text
        }
    };
    match (edges.get(index), edges.last()) {
        (Some(&to), _) => format!("≤\u{a0}{}", edge(to)),
        (None, Some(&last)) => format!(">\u{a0}{}", edge(last)),
        (None, None) => "all".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_cell_holds_is_told_and_all_of_it_sums_to_the_drive() {
        let text = rests(&DutyPicture {
            torque_edges_nm: vec![100.0],
            slip_edges: vec![1.0],
            seconds: vec![100.0, 200.0, 0.0, 0.0],
            joules: vec![0.0; 4],
            not_turning_s: 50.0,
            torque_unknown_s: 0.0,
            gap_s: 0.01,
        })
        .into_string();
        let numbers: Vec<&str> = text
            .split("<td class=\"number\">")
            .skip(1)
            .filter_map(|rest| rest.split('<').next())
            .collect();
        assert_eq!(numbers, ["300.0", "50.0", "0", "&lt; 0.1", "350.0"]);
    }
}
