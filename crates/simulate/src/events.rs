//! Engagement events of the true command, with their true heat.
//!
//! In: every command with the time it was given, and what came of it. Out: the events, by
//! hysteresis on the command, near ones merged and faint ones left out.

use serde::{Deserialize, Serialize};

/// Heat peaks are means over this time, s.
pub const PEAK_WINDOW_S: f64 = 0.2;
/// An event begins at this command, held this long, s.
const BEGIN_COMMAND: f64 = 0.10;
const BEGIN_S: f64 = 0.040;
/// It ends below this command, held this long, s.
pub const END_COMMAND: f64 = 0.05;
const END_S: f64 = 0.150;
/// Events closer than this are one, s; those that never reach this command are none.
const MERGE_S: f64 = 0.300;
const LEAST_PEAK: f64 = 0.15;

/// One engagement event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EventTruth {
    /// First command of 0.10 or more, s after the first frame.
    pub start_s: f64,
    /// First command below 0.05, s after the first frame.
    pub end_s: f64,
    /// Greatest command, a share.
    pub peak_command: f64,
    /// Heat of the pack, J.
    pub energy_j: f64,
    /// Greatest heat, mean over 0.2 s within the event, W.
    pub peak_heat_w: f64,
    /// Greatest heat at any instant, W.
    pub peak_heat_instant_w: f64,
}

// A command and what came of it until the next one.
#[derive(Clone, Copy, Debug, Default)]
struct Asked {
    time_s: f64,
    command: f64,
    // Heat of the drive up to this command, J.
    energy_before_j: f64,
    peak_mean_w: f64,
    peak_w: f64,
}

/// Every command of the drive.
#[derive(Clone, Debug, Default)]
pub struct Commands {
    asked: Vec<Asked>,
}

impl Commands {
    /// A command that holds from `time_s` on; the drive's heat so far is `energy_j`.
    pub fn push(&mut self, time_s: f64, command: f64, energy_j: f64) {
        self.asked.push(Asked {
            time_s,
            command,
            energy_before_j: energy_j,
            ..Asked::default()
        });
    }

    /// The heat of now and its mean over the last window, W.
    pub fn heat(&mut self, heat_w: f64, mean_w: f64) {
        if let Some(asked) = self.asked.last_mut() {
            asked.peak_w = asked.peak_w.max(heat_w);
            asked.peak_mean_w = asked.peak_mean_w.max(mean_w);
        }
    }

    /// The engagement events of a drive that ended at `end_s` with `energy_j` in all.
    pub fn events(&self, end_s: f64, energy_j: f64) -> Vec<EventTruth> {
        let until = |i: usize| self.asked.get(i + 1).map_or(end_s, |next| next.time_s);
        // Runs of commands that pass the two tests, as index ranges.
        let mut spans: Vec<(usize, usize)> = Vec::new();
        let mut open: Option<usize> = None;
        let mut above: Option<usize> = None;
        let mut below: Option<usize> = None;
        for (i, asked) in self.asked.iter().enumerate() {
            if open.is_none() {
                above = if asked.command >= BEGIN_COMMAND {
                    above.or(Some(i))
                } else {
                    None
                };
                let held = above.filter(|&first| {
                    i > first && until(i) - self.asked[first].time_s >= BEGIN_S - 1e-9
                });
                if held.is_some() {
                    open = held;
                    below = None;
                }
            } else {
                below = if asked.command < END_COMMAND {
                    below.or(Some(i))
                } else {
                    None
                };
                if let (Some(start), Some(end)) = (open, below)
                    && until(i) - self.asked[end].time_s >= END_S - 1e-9
                {
                    spans.push((start, end));
                    open = None;
                    above = None;
                }
            }
        }
        if let Some(start) = open {
            spans.push((start, below.unwrap_or(self.asked.len())));
        }
        let time = |i: usize| self.asked.get(i).map_or(end_s, |asked| asked.time_s);
        let energy = |i: usize| {
            self.asked
                .get(i)
                .map_or(energy_j, |asked| asked.energy_before_j)
        };
        let mut merged: Vec<(usize, usize)> = Vec::new();
        for (start, end) in spans {
            match merged.last_mut() {
                Some(last) if time(start) - time(last.1) < MERGE_S => last.1 = end,
                _ => merged.push((start, end)),
            }
        }
        let greatest =
            |range: &[Asked], of: fn(&Asked) -> f64| range.iter().map(of).fold(0.0, f64::max);
        merged
            .into_iter()
            .map(|(start, end)| {
                let range = &self.asked[start..end];
                // A window that ends earlier reaches back to before the event.
                let first_window = start
                    + range.partition_point(|asked| asked.time_s < time(start) + PEAK_WINDOW_S);
                let windows = &self.asked[first_window.min(end)..end];
                EventTruth {
                    start_s: rounded(time(start)),
                    end_s: rounded(time(end)),
                    peak_command: rounded(greatest(range, |asked| asked.command)),
                    energy_j: rounded(energy(end) - energy(start)),
                    peak_heat_w: rounded(greatest(windows, |asked| asked.peak_mean_w)),
                    peak_heat_instant_w: rounded(greatest(range, |asked| asked.peak_w)),
                }
            })
            .filter(|event| event.peak_command >= LEAST_PEAK)
            .collect()
    }
}

/// A figure as it is stored: rounding dust of adding milliseconds is no truth, a
/// millionth of any unit here is.
pub fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    // Commands in hundredths, one every 20 ms.
    #[track_caller]
    fn check(commands: &[(usize, u32)], wanted: &[(f64, f64)]) {
        let mut given = Commands::default();
        let mut tick = 0;
        for &(n, hundredths) in commands {
            for _ in 0..n {
                given.push(
                    f64::from(tick) * 0.02,
                    f64::from(hundredths) / 100.0,
                    f64::from(tick),
                );
                tick += 1;
            }
        }
        let events = given.events(f64::from(tick) * 0.02, f64::from(tick));
        for event in &events {
            // One joule a tick was put in.
            assert!(
                (event.energy_j - (event.end_s - event.start_s) / 0.02).abs() < 1e-6,
                "{event:?}"
            );
        }
        let spans: Vec<(f64, f64)> = events
            .iter()
            .map(|event| {
                (
                    (event.start_s * 1e3).round() / 1e3,
                    (event.end_s * 1e3).round() / 1e3,
                )
            })
            .collect();
        assert_eq!(spans, wanted);
    }

    #[test]
    fn events_follow_hysteresis_and_merging() {
        check(&[(50, 0), (50, 30), (50, 0)], &[(1.0, 2.0)]);
        // One sample above is none; a peak below 0.15 is none.
        check(&[(50, 0), (1, 30), (50, 0)], &[]);
        check(&[(50, 0), (50, 12), (50, 0)], &[]);
        // A dip below 0.05 for 100 ms does not end it; one of 200 ms ends and is merged; one
        // of 400 ms parts two.
        check(&[(50, 40), (5, 0), (50, 40), (50, 0)], &[(0.0, 2.1)]);
        check(&[(50, 40), (10, 0), (50, 40), (50, 0)], &[(0.0, 2.2)]);
        check(
            &[(50, 40), (20, 0), (50, 40), (50, 0)],
            &[(0.0, 1.0), (1.4, 2.4)],
        );
        // Between the two thresholds an event goes on and none begins.
        check(&[(50, 7), (50, 40), (50, 7), (50, 0)], &[(1.0, 3.0)]);
        // A drive that ends within an event ends it.
        check(&[(50, 0), (50, 40)], &[(1.0, 2.0)]);
    }
}
