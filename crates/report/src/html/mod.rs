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
mod marks;
mod miner;
mod needles;
mod not_checked;
mod overlay;
mod owner;
mod page;
mod plot;
mod quality;
mod regions;
mod scale;
mod scatter;
mod second_line;
mod settings;
mod shapes;
mod strips;
mod two_by_two;
mod wear;
pub(crate) mod what_if;

use crate::document::Document;
use maud::{Markup, html};

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

/// A table that scrolls; each head has the class of its column, or none, and its words.
fn table(label: &str, class: &str, heads: &[(&str, &str)], rows: Markup) -> Markup {
    scroll(label, bare_table(class, heads, rows))
}

/// The same for one that always fits.
fn bare_table(class: &str, heads: &[(&str, &str)], rows: Markup) -> Markup {
    html! {
        table class=(class) {
            thead { tr { @for &(class, words) in heads {
                th class=[(!class.is_empty()).then_some(class)] scope="col" { (words) }
            } } }
            tbody { (rows) }
        }
    }
}
