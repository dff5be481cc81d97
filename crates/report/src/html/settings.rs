//! Limits that were not the usual ones; nothing when all were.

use super::scroll;
use crate::words::limit;
use halfshaft_health::Results;
use maud::{Markup, html};

pub(super) fn table(results: &Results) -> Markup {
    let changed = &results.settings_changed;
    html! {
        @if !changed.is_empty() {
            h3 { "Settings changed" }
            p { "This report was judged by other limits than the usual ones." }
            (scroll("Table of changed settings", html! {
                table.settings {
                    thead {
                        tr {
                            th scope="col" { "Setting" }
                            th.number scope="col" { "Value" }
                            th.number scope="col" { "Usually" }
                            th scope="col" { "Unit" }
                        }
                    }
                    tbody {
                        @for setting in changed {
                            tr {
                                th scope="row" { span.name { (setting.key) } }
                                td.number { (limit(setting.value)) }
                                td.number { (limit(setting.default)) }
                                td { (setting.unit) }
                            }
                        }
                    }
                }
            }))
        }
    }
}
