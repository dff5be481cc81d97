//! Progress on long input: how far, how fast, how long still. Only on a terminal.

use std::io::IsTerminal;

use halfshaft_logs::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Input smaller than this is read before anybody wonders.
const WORTH_SHOWING_BYTES: u64 = 64 << 20;

/// Shows progress on standard error.
#[derive(Debug)]
pub struct Indicator {
    bar: Option<ProgressBar>,
}

impl Indicator {
    /// For input of that size.
    pub fn start(progress: Progress) -> Indicator {
        let is_long = progress
            .total_bytes
            .is_none_or(|total| total >= WORTH_SHOWING_BYTES);
        if !is_long || !std::io::stderr().is_terminal() {
            return Indicator { bar: None };
        }
        let bar = match progress.total_bytes {
            Some(total) => ProgressBar::new(total).with_style(style(
                "reading {wide_bar} {bytes} of {total_bytes}, {bytes_per_sec}, {eta} left",
            )),
            None => ProgressBar::no_length().with_style(style("reading {bytes}, {bytes_per_sec}")),
        };
        bar.set_draw_target(ProgressDrawTarget::stderr_with_hz(4));
        Indicator { bar: Some(bar) }
    }

    /// Moves on.
    pub fn at(&self, read_bytes: u64) {
        if let Some(bar) = &self.bar {
            bar.set_position(read_bytes);
        }
    }

    /// Takes the line away.
    pub fn end(self) {
        if let Some(bar) = self.bar {
            bar.finish_and_clear();
        }
    }
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
