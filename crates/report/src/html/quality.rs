//! How well the log covers the drive, and what was wrong with it.

use super::figures_table::grade;
use super::table;
use crate::document::Document;
use crate::sentences;
use crate::words::{self, clean, counted, duration, number, percent, shorten, stretch};
use halfshaft_health::{ChannelQuality, Quality};
use halfshaft_model::Notices;
use maud::{Markup, html};

/// Name under which a gap of all channels is listed.
const WHOLE_LOG: &str = "whole log";

/// Characters shown of what a notice quotes.
const MAX_EXAMPLE: usize = 200;

pub(super) fn section(document: &Document) -> Markup {
    let quality = &document.results.quality;
    html! {
        section #quality {
            h2 { "Quality of the log" }
            p {
                "Grade " (grade(quality.grade)) ". "
                @if let Some(text) = sentences::trust(document.results) { (text) " " }
                (sentences::noise(document.results))
            }
            @let not_believed = sentences::not_believed(document.results);
            @if !not_believed.is_empty() {
                h3 { "Not believed" }
                ul { @for text in &not_believed { li { (text) } } }
            }
            @if !quality.channels.is_empty() { (channels(quality, document.results.until.seconds())) }
            @if quality.n_gaps > 0 { (gaps(quality)) }
            h3 { "Log and map" }
            @if document.remarks.is_empty() {
                p { (words::NOTHING_ODD) }
            } @else {
                ul { @for remark in &document.remarks { li { (clean(remark)) } } }
            }
            h3 { "Notices" }
            (notices(document.notices))
        }
    }
}

fn channels(quality: &Quality, until_s: f64) -> Markup {
    html! {
        (table("Table of channels", "channels", &[
            ("", "Channel"), ("", "Along the drive, and share covered"), ("number", "Samples"),
            ("number", "Missing"), ("number", "Every"), ("number", "Gaps")
        ], html! { @for channel in &quality.channels { (channel_row(channel, quality, until_s)) } }))
    }
}

/// A row of the drive from left to right: filled where the channel spoke, open in each
/// listed gap of it or of the whole log.
fn barcode(channel: &ChannelQuality, quality: &Quality, until_s: f64) -> Markup {
    let at = |seconds: f64| {
        let share = if until_s > 0.0 {
            seconds / until_s
        } else {
            0.0
        };
        1000.0 * share.clamp(0.0, 1.0)
    };
    let silent: Vec<(f64, f64)> = quality
        .gaps
        .iter()
        .filter(|gap| gap.channel == channel.name || gap.channel == WHOLE_LOG)
        .map(|gap| (at(gap.span.start.seconds()), at(gap.span.end.seconds())))
        .collect();
    html! {
        svg.bar.barcode viewBox="0 0 1000 10" preserveAspectRatio="none" aria-hidden="true" {
            rect.fill width="1000" height="10" {}
            @for (start, end) in silent {
                // A gap too short to see is drawn a pixel wide.
                rect.hole x=(format!("{start:.1}")) width=(format!("{:.1}", (end - start).max(2.0))) height="10" {}
            }
        }
    }
}

fn channel_row(channel: &ChannelQuality, quality: &Quality, until_s: f64) -> Markup {
    html! {
        tr.missing[channel.n_samples == 0] {
            th.name scope="row" { (clean(&channel.name)) }
            @if channel.n_samples == 0 {
                td colspan="5" { "never seen" }
            } @else {
                td {
                    (barcode(channel, quality, until_s))
                    span.amount { (percent(channel.coverage)) }
                }
                td.number { (channel.n_samples) }
                td.number { (channel.n_missing) }
                td.number {
                    @match channel.period_s {
                        Some(period) if period.is_finite() && period < 1.0 => { (number(period * 1e3)) "\u{a0}ms" },
                        Some(period) => (duration(period)),
                        None => "–",
                    }
                }
                td.number {
                    @if channel.n_gaps == 0 { "none" } @else { (channel.n_gaps) ", " (duration(channel.gap_s)) }
                }
            }
        }
    }
}

fn gaps(quality: &Quality) -> Markup {
    html! {
        h3 { "Gaps" }
        p {
            (counted(quality.n_gaps, "gap", "gaps")) " in all. No sum reaches across one. In the table above each row is the drive from left to right, open where the channel is silent."
            @if quality.n_gaps > quality.gaps.len() as u64 {
                " The " (quality.gaps.len()) " longest:"
            }
        }
        ul.gaps {
            @for gap in &quality.gaps {
                li { (stretch(gap.span)) ", " (duration(gap.span.seconds())) ": " span.name { (clean(&gap.channel)) } }
            }
        }
    }
}

fn notices(notices: &Notices) -> Markup {
    if notices.is_empty() {
        return html! { p { "None: nothing in the data was damaged." } };
    }
    html! {
        p { "Damaged data was left out and counted; the results stand." }
        dl.notices {
            @for (code, tally) in notices.iter() {
                dt { (tally.count) " × " span.name { (code.word()) } }
                dd {
                    (code.meaning()) " First at " span.name { (clean(tally.first.to_string())) }
                    @let example = shorten(&clean(&tally.example), MAX_EXAMPLE);
                    @if example.is_empty() { "." } @else { ": " code { (example) } }
                }
            }
        }
    }
}
