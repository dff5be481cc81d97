//! `report.html`: one page, complete in itself.
//!
//! In: a [`Document`]. Out: HTML with its style and drawings inside; it asks the network
//! for nothing and reads whole without its one script, which zooms the strips. Foreign text is cleaned by [`crate::words::clean`]
//! and escaped by the template. Times on the page are drive time, m:ss.
//!
//! `page` is the frame and the order of sections; each other file is one of them, or a
//! part of one. `plot` turns curves into SVG; `style/` is the look.

mod actuator;
mod apparent;
mod axes;
mod calibration;
mod causes;
mod close_ups;
pub(crate) mod comparison;
mod corners;
mod course;
mod crossings;
mod delays;
mod duty_picture;
mod events;
mod evidence;
mod exceedance;
mod figures_table;
mod findings;
mod heat;
mod held;
mod identity;
mod laps;
pub mod look;
mod marks;
mod miner;
mod needles;
mod not_checked;
mod noted;
mod oil_by_lap;
mod overlay;
mod owner;
mod page;
mod plot;
mod quality;
mod regions;
mod rise_by_oil;
mod scale;
mod scatter;
mod second_line;
mod settings;
mod shapes;
mod strips;
mod two_by_two;
mod typeset;
mod wear;
pub(crate) mod what_if;

use crate::document::Document;
use maud::{Markup, html};

/// The look that pages of the program have in common: colours, letters, tables.
pub const STYLE: &str = include_str!("style/page.css");

/// The page as text.
pub fn render(document: &Document) -> String {
    let mut text = page::page(document).into_string();
    text.push('\n');
    text
}

/// A frame for what may be wider than the screen: it scrolls by finger and by key, and has a
/// name for those who hear the page.
fn scroll(label: &str, table: Markup) -> Markup {
    html! { div.scroll tabindex="0" role="region" aria-label=(label) { (table) } }
}

/// A table that scrolls; each head has the class of its column, or none, and its words. The label
/// is its caption, which those hear who cannot see the heading above it.
fn table(label: &str, class: &str, heads: &[(&str, &str)], rows: Markup) -> Markup {
    scroll(label, bare_table(label, class, heads, rows))
}

/// The same for one that always fits. A bar has a head only for those who hear the page.
fn bare_table(label: &str, class: &str, heads: &[(&str, &str)], rows: Markup) -> Markup {
    html! {
        table class=(class) style=(columns(heads.iter().map(|(_, words)| *words))) {
            caption { span.hidden { (label) } }
            thead { tr { @for &(class, words) in heads {
                th class=[(!class.is_empty()).then_some(class)] scope="col" {
                    @if class == "drawn" { span.hidden { (words) } } @else { (words) }
                }
            } } }
            tbody { (rows) }
        }
    }
}

/// The names of the columns, for the style: on a phone a row is stacked and each cell stands under
/// its column's name. Kept once a table, since a name in every cell would double a long one.
fn columns<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let quoted = |name: &str| name.replace(['\'', '\\'], "");
    let properties = names
        .zip(1..)
        .map(|(name, n)| format!("--c{n}:'{}'", quoted(name)));
    properties.collect::<Vec<_>>().join(";")
}
