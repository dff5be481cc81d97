//! `report.html`: one page, complete in itself.
//!
//! In: a [`Document`]. Out: HTML with its style and drawings inside; it asks the network
//! for nothing and runs no script. Foreign text is cleaned by [`crate::words::clean`]
//! and escaped by the template. Times on the page are drive time, m:ss.
//!
//! `page` is the frame and the order of sections; each other file is one section.
//! `plot` turns curves into SVG and is the only place that draws; `style.css` is the look.

mod events;
mod figures_table;
mod page;
mod plot;
mod quality;
mod regions;
mod scale;
mod strips;

use crate::document::Document;

/// The page as text.
pub fn render(document: &Document) -> String {
    let mut text = page::page(document).into_string();
    text.push('\n');
    text
}
