//! The tyres as torque gauge, drawn and as a table: what the pack holds at each command.

use super::scatter::{self, Point, Scatter};
use crate::words::{clean, counted, number, sentence};
use halfshaft_health::Reason;
use halfshaft_health::held::Held;
use halfshaft_health::limits::SDS_OF_90;
use maud::{Markup, html};

pub(super) fn part(outcome: &Result<Held, Reason>) -> Markup {
    html! {
        h3 { "Torque held, by the tyres" }
        @match outcome {
            Err(why) => p { "Not told: " (sentence(&clean(why))) },
            Ok(held) => {
                p.note {
                    "From the difference that steady bends lack: a torque that ties the rear wheels takes a part of it. "
                    @if held.is_calibrated {
                        "The tyres were calibrated by bends of this drive without command, where the preload is known. "
                    } @else {
                        "The tyres could not be calibrated by this drive, so the torque may be off by a third and more. "
                    }
                    "A pack that was stuck could hold more than shown."
                }
                // One point is no curve.
                @if held.points.len() > 1 { div.strips { (scatter::figure(&Scatter {
                    id: "held",
                    title: "Torque held at each command",
                    about: "Discs are the torque held by the tyres, rings what the map states.",
                    across: "Command, %",
                    up: "N·m; discs: held by the tyres, rings: stated by the map",
                    points: &points(held),
                    are_rings_in_scale: true,
                    stands_on_zero: false,
                    band: None,
                })) } }
                (table(held))
            }
        }
    }
}

fn points(held: &Held) -> Vec<Point> {
    let stated = held.points.iter().filter_map(|point| {
        let stated_nm = point.stated_nm?;
        Some((100.0 * point.command, stated_nm, false))
    });
    let found = held
        .points
        .iter()
        .map(|point| (100.0 * point.command, point.held_nm.value, true));
    found.chain(stated).collect()
}

fn table(held: &Held) -> Markup {
    super::table(
        "Table: torque held at each command",
        "exceedance",
        &[
            ("number", "Command, %"),
            ("number", "Held, N·m"),
            ("number", "90\u{a0}% band"),
            ("number", "By the map, N·m"),
            ("number", "From"),
        ],
        html! {
                @for point in &held.points {
                    @let half = SDS_OF_90 * point.held_nm.sd;
                    tr {
                        th.number scope="row" { (number(100.0 * point.command)) }
                        td.number {
                            @if point.is_at_least { "at least " }
                            (number(point.held_nm.value.max(0.0)))
                        }
                        td.number { (number((point.held_nm.value - half).max(0.0))) " to " (number(point.held_nm.value + half)) }
                        td.number { (point.stated_nm.map_or_else(|| "–".to_owned(), number)) }
                        td.number { (counted(point.n as u64, "half second", "half seconds")) }
                    }
                }
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_health::held::{Found, HeldPoint};

    #[test]
    fn each_command_has_its_row_and_its_disc() {
        let point = |command: f64, is_at_least| HeldPoint {
            command,
            held_nm: Found {
                value: 500.0 * command,
                sd: 20.0,
            },
            is_at_least,
            stated_nm: Some(700.0 * command),
            n: 31,
        };
        let held = Held {
            stiffness_nm: Found {
                value: 25_600.0,
                sd: 2_000.0,
            },
            is_calibrated: true,
            without_command_nm: None,
            points: vec![point(0.2, false), point(0.6, true)],
            shape: None,
            wide_shape: None,
            n_commanded: 62,
        };
        let text = part(&Ok(held)).into_string();
        for wanted in [
            "at least 300",
            "267 to 333",
            "140",
            "31 half seconds",
            "calibrated by bends",
        ] {
            assert!(text.contains(wanted), "{wanted}: {text}");
        }
        assert_eq!(
            text.matches("h.01").count(),
            6,
            "two discs, two rings of two strokes: {text}"
        );
        let text = part(&Err("no <bends>".to_owned().into())).into_string();
        assert!(text.contains("&lt;bends&gt;") && !text.contains("<svg"));
    }
}
