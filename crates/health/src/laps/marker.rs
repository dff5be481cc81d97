//! Lap starts from the channel `lap.marker`.
//!
//! In: its samples. Out: times of lap starts. A counter that steps and a beacon or a button
//! that pulses both work: changes close to each other are one passing of the line.

use halfshaft_model::Time;

use super::grid::MOST_MARKS;

/// Watches the marker.
#[derive(Clone, Debug, Default)]
pub struct Marker {
    value: Option<f64>,
    starts: Vec<Time>,
    n_dropped: u64,
}

impl Marker {
    /// Takes a sample; changes within `passing_s` are one.
    pub fn add(&mut self, time: Time, value: f64, passing_s: f64) {
        let before = self.value.replace(value);
        if before.is_none_or(|before| before == value) {
            return;
        }
        let is_same_passing = self
            .starts
            .last()
            .is_some_and(|start| time.since(*start) < passing_s);
        if is_same_passing {
            return;
        }
        if self.starts.len() < MOST_MARKS {
            self.starts.push(time);
        } else {
            self.n_dropped += 1;
        }
    }

    /// Lap starts; `None` when there were more than are kept.
    pub fn starts(&self) -> Option<&[Time]> {
        (self.n_dropped == 0).then_some(&self.starts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_starts(samples: &[(f64, f64)], wanted: &[f64]) {
        let mut marker = Marker::default();
        for (time, value) in samples {
            marker.add(Time::from_seconds(*time), *value, 5.0);
        }
        let starts: Vec<f64> = marker
            .starts()
            .unwrap()
            .iter()
            .map(|start| start.seconds())
            .collect();
        assert_eq!(starts, wanted);
    }

    #[test]
    fn a_counter_a_pulse_and_a_toggle_mark_the_same_laps() {
        check_starts(
            &[(0.0, 3.0), (30.0, 4.0), (31.0, 4.0), (90.0, 5.0)],
            &[30.0, 90.0],
        );
        check_starts(
            &[
                (0.0, 0.0),
                (30.0, 1.0),
                (30.5, 0.0),
                (90.0, 1.0),
                (90.4, 0.0),
            ],
            &[30.0, 90.0],
        );
        check_starts(&[(0.0, 0.0), (30.0, 1.0), (90.0, 0.0)], &[30.0, 90.0]);
        // What it shows first is no change.
        check_starts(&[(0.0, 7.0)], &[]);
    }

    #[test]
    fn too_many_changes_are_refused_not_kept() {
        let mut marker = Marker::default();
        for index in 0..2 * MOST_MARKS {
            marker.add(Time::from_seconds(6.0 * index as f64), index as f64, 5.0);
        }
        assert_eq!(marker.starts(), None);
        assert_eq!(marker.starts.len(), MOST_MARKS);
    }
}
