//! Whether the state follows the command, against whether slip falls when asked.
//!
//! In: the counts of the drive. Out: a table of four fields with the reading of each in
//! words; the field that holds is marked. It judges nothing: `health` chose the field.

use crate::words::{clean, counted, sentence};
use halfshaft_health::Reason;
use halfshaft_health::two_by_two::{Diagnosis, TwoByTwo};
use maud::{Markup, html};

/// Rows: the state follows, or not; columns: slip falls, or not.
const FIELDS: [[(Diagnosis, &str); 2]; 2] = [
    [
        (
            Diagnosis::Sound,
            "mechanism and pack do what they are asked",
        ),
        (Diagnosis::Friction, "friction, clamp or torque of the pack"),
    ],
    [
        (
            Diagnosis::StateSignal,
            "the sensor of the state, or the map",
        ),
        (Diagnosis::Actuator, "the actuator"),
    ],
];

pub(super) fn part(outcome: &Result<TwoByTwo, Reason>) -> Markup {
    html! {
        h3 { "Does the state follow, and does slip fall?" }
        @match outcome {
            Err(why) => p { "That cannot be said: " (sentence(&clean(why))) },
            Ok(found) => {
                p { (sentence(&clean(&found.sentence))) }
                (table(found))
                p.note { "Each field names where to look. Slip is counted for the askings that were answered like most, where there was something to lock." }
            }
        }
    }
}

fn table(found: &TwoByTwo) -> Markup {
    let TwoByTwo {
        n_followed,
        n_asked,
        n_fell,
        n_with_slip,
        ..
    } = *found;
    let of = |n: usize, all: usize| format!("{n} of {}", counted(all as u64, "time", "times"));
    let not = |n: usize, all: usize| of(all.saturating_sub(n), all);
    let rows = [
        ("State follows the command", of(n_followed, n_asked)),
        ("State does not follow", not(n_followed, n_asked)),
    ];
    html! {
        table.fields style=(super::columns(["When asked", "Slip falls", "Slip stays"].into_iter())) {
            caption { span.hidden { "Does the state follow, and does slip fall?" } }
            thead { tr {
                th scope="col" { "When asked" }
                th scope="col" { "Slip falls" small { (of(n_fell, n_with_slip)) } }
                th scope="col" { "Slip stays" small { (not(n_fell, n_with_slip)) } }
            } }
            tbody {
                @for ((name, count), fields) in rows.iter().zip(&FIELDS) {
                    tr {
                        th scope="row" { (name) small { (count) } }
                        @for (diagnosis, words) in fields { (field(*diagnosis == found.diagnosis, words)) }
                    }
                }
            }
        }
    }
}

fn field(holds: bool, words: &str) -> Markup {
    html! {
        td.holds[holds] {
            @if holds { strong { "● This drive: " (words) } } @else { (words) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(diagnosis: Diagnosis) -> TwoByTwo {
        TwoByTwo {
            diagnosis,
            n_followed: 12,
            n_asked: 14,
            n_fell: 2,
            n_with_slip: 9,
            sentence: "the <mechanism> followed".to_owned(),
        }
    }

    #[test]
    fn the_field_that_holds_is_marked_once_and_counts_stand_at_rows_and_columns() {
        for (diagnosis, words) in [
            (Diagnosis::Sound, "mechanism and pack"),
            (Diagnosis::Friction, "friction"),
            (Diagnosis::StateSignal, "the sensor"),
            (Diagnosis::Actuator, "the actuator"),
        ] {
            let text = part(&Ok(found(diagnosis))).into_string();
            assert_eq!(text.matches('●').count(), 1, "{text}");
            assert!(text.contains(&format!("● This drive: {words}")), "{text}");
            for count in [
                "12 of 14 times",
                "2 of 14 times",
                "2 of 9 times",
                "7 of 9 times",
            ] {
                assert!(text.contains(count), "{count} in {text}");
            }
            assert!(text.contains("&lt;mechanism&gt;"));
        }
    }

    #[test]
    fn what_is_not_known_is_a_reason_and_no_table() {
        let text = part(&Err("twice <is> too few".to_owned().into())).into_string();
        assert!(
            text.contains("wice &lt;is&gt; too few.") && !text.contains("<table"),
            "{text}"
        );
    }
}
