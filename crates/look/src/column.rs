//! One column of a sheet, row by row.

use crate::curve;
use crate::field::Quality;
use crate::found::Column;
use crate::signal::{Place, Signal};

/// One column of a sheet.
#[derive(Clone, Debug, Default)]
pub(crate) struct ColumnWatch {
    name: String,
    n_numbers: u64,
    lowest: f64,
    highest: f64,
    is_whole: bool,
    kept: Vec<(f64, u32, f64)>,
}

impl ColumnWatch {
    pub(crate) fn new(name: &str) -> ColumnWatch {
        ColumnWatch {
            name: name.to_owned(),
            is_whole: true,
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
            ..ColumnWatch::default()
        }
    }

    /// Drops the slots that are kept no longer.
    pub(crate) fn thin(&mut self, stride: u32) {
        self.kept.retain(|(_, slot, _)| slot % stride == 0);
    }

    pub(crate) fn add(&mut self, time_s: f64, slot: Option<u32>, value: f64) {
        self.n_numbers += 1;
        self.lowest = self.lowest.min(value);
        self.highest = self.highest.max(value);
        self.is_whole &= value.fract() == 0.0;
        if let Some(slot) = slot {
            let first_of_slot = self.kept.partition_point(|point| point.1 < slot);
            if self.kept.len() - first_of_slot < 800 {
                self.kept.push((time_s, slot, value));
            }
        }
    }

    pub(crate) fn facts(&self) -> Column {
        let kind = match (self.n_numbers, self.is_whole) {
            (0, _) => "no numbers",
            _ if self.lowest == self.highest => "never changes",
            (_, true) if self.lowest >= 0.0 && self.highest <= 1.0 => "off or on",
            (_, true) => "whole numbers",
            _ => "numbers",
        };
        Column {
            name: self.name.clone(),
            kind,
            n_numbers: self.n_numbers,
            span: (self.n_numbers > 0).then_some((self.lowest, self.highest)),
            period_s: period_of_changes(&self.kept),
        }
    }

    pub(crate) fn signal(self, column: usize, slots: &[(u32, f64)]) -> Option<Signal> {
        let quality = Quality::of(&self.kept, false, false)?;
        let steps = self.kept.windows(2).map(|pair| pair[1].0 - pair[0].0);
        let period_s = curve::quantile(steps, 0.5);
        Some(Signal {
            place: Place::Column { column },
            quality,
            period_s,
            curve: curve::curve(&self.kept, period_s, slots),
            span: (self.lowest, self.highest),
        })
    }
}

/// Median time between changes of a value, s.
fn period_of_changes(points: &[(f64, u32, f64)]) -> Option<f64> {
    let mut last: Option<(f64, u32, f64)> = None;
    let mut between = Vec::new();
    for point in points {
        if let Some(before) = last
            && before.2 == point.2
        {
            continue;
        }
        if let Some(before) = last
            && before.1 == point.1
        {
            between.push(point.0 - before.0);
        }
        last = Some(*point);
    }
    (!between.is_empty()).then(|| curve::quantile(between.into_iter(), 0.5))
}
