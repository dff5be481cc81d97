//! Evidence as the checks keep it: the few windows that show most, and plain numbers.

use halfshaft_driveline::Row;
use halfshaft_model::{Span, Time};

use crate::limits::Driving;
use crate::nouns::{EvidenceValue, EvidenceWindow};

/// Stretches shown of a finding.
pub const MOST_EVIDENCE: usize = 5;

/// Whether a row may count: no control at work, not in reverse.
pub fn counts(row: &Row, driving: &Driving) -> bool {
    !row.is_controlled && row.case_speed > -driving.wheel_stands_rad_per_s
}

/// A window with its values.
pub fn window(
    start: Time,
    end: Time,
    values: &[(&'static str, f64, &'static str)],
) -> EvidenceWindow {
    EvidenceWindow {
        span: Span { start, end },
        values: values
            .iter()
            .map(|&(name, value, unit)| EvidenceValue { name, value, unit })
            .collect(),
    }
}

/// The windows that show most, at most [`MOST_EVIDENCE`] of them, and how many there were.
#[derive(Clone, Debug, Default)]
pub struct Strongest {
    kept: Vec<(f64, EvidenceWindow)>,
    n: usize,
}

impl Strongest {
    /// Takes a window that shows as much as `strength`.
    pub fn add(&mut self, strength: f64, window: EvidenceWindow) {
        self.n += 1;
        let place = self.kept.partition_point(|(kept, _)| *kept >= strength);
        self.kept.insert(place, (strength, window));
        self.kept.truncate(MOST_EVIDENCE);
    }

    /// How many there were.
    pub fn n(&self) -> usize {
        self.n
    }

    /// The greatest strength.
    pub fn greatest(&self) -> Option<f64> {
        self.kept.first().map(|(strength, _)| *strength)
    }

    /// Only those of the kept whose strength is above `least`.
    pub fn above(&self, least: f64) -> Strongest {
        let kept: Vec<(f64, EvidenceWindow)> = self
            .kept
            .iter()
            .filter(|(strength, _)| *strength > least)
            .cloned()
            .collect();
        Strongest {
            n: kept.len(),
            kept,
        }
    }

    /// The window that shows most.
    pub fn first(&self) -> Option<&EvidenceWindow> {
        self.kept.first().map(|(_, window)| window)
    }

    /// The stretches kept, strongest first.
    pub fn spans(&self) -> impl Iterator<Item = Span> {
        self.kept.iter().map(|(_, window)| window.span)
    }

    /// The windows in order of time.
    pub fn windows(&self) -> Vec<EvidenceWindow> {
        let mut windows: Vec<EvidenceWindow> =
            self.kept.iter().map(|(_, window)| window.clone()).collect();
        windows.sort_by_key(|window| window.span.start);
        windows
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_five_strongest_stay_in_order_of_time() {
        let mut strongest = Strongest::default();
        for (index, strength) in [1.0, 7.0, 3.0, 9.0, 2.0, 8.0, 4.0].into_iter().enumerate() {
            strongest.add(strength, window(Time(index as i64), Time(99), &[]));
        }
        let starts: Vec<i64> = strongest
            .windows()
            .iter()
            .map(|window| window.span.start.0)
            .collect();
        assert_eq!(starts, [1, 2, 3, 5, 6]);
        assert_eq!((strongest.n(), strongest.greatest()), (7, Some(9.0)));
    }
}
