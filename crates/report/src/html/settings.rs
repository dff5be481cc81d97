//! Limits that were not the usual ones; nothing when all were.

use crate::words::limit;
use halfshaft_health::Results;
use maud::{Markup, html};

pub(super) fn table(results: &Results) -> Markup {
    let changed = &results.settings_changed;
    html! {
        @if !changed.is_empty() {
            h3 { "Settings changed" }
            p { "This report was judged by other limits than the usual ones." }
            (super::table("Table of changed settings", "settings", &[
                ("", "Setting"), ("number", "Value"), ("number", "Usually"), ("", "Unit")
            ], html! {
                @for setting in changed {
                    tr {
                        th scope="row" { span.name { (setting.key) } }
                        td.number { (limit(setting.value)) }
                        td.number { (limit(setting.default)) }
                        td { (setting.unit) }
                    }
                }
            }))
        }
    }
}
