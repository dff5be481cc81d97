//! Looks a little ahead and behind, so that noise averages out before signs are taken.
//!
//! In: aligned samples with their slip. Out: the same samples, each with the length of
//! its neighbouring intervals and with means over centred windows. Windows end at the
//! edges of an unbroken run: nothing is averaged over a gap. Delay: half the widest
//! window. Memory: the widest window, whatever the length of the drive.

use std::collections::VecDeque;

use halfshaft_model::Time;

use crate::align::Aligned;

/// Full widths of the centred windows, s. The second is the mean of definition (0.1 to
/// 0.3 s) from which the sign of heat is taken; the wider ones give slow steady slip a
/// sign that a short mean cannot tell from noise. Sensitivity: with the second alone,
/// 0.1 km/h of noise per wheel hides a few per cent of an ordinary drive's heat. The
/// first is for edges: a mean over 0.2 s draws a short burst of slip out by as much.
pub const WINDOWS_S: [f64; 4] = [0.04, 0.2, 0.8, 3.2];

/// Index in [`WINDOWS_S`] of the mean of definition.
pub const DEFINITION: usize = 1;

/// How many windows.
pub const N_WINDOWS: usize = WINDOWS_S.len();

/// An aligned sample with what was computed from it alone.
#[derive(Clone, Copy, Debug)]
pub struct Slipping {
    /// The sample.
    pub aligned: Aligned,
    /// Slip of the pack, rad/s.
    pub slip: f64,
    /// Yaw rate to use, rad/s, sensor bias not yet removed.
    pub yaw_rate: Option<f64>,
}

/// A sample among its neighbours.
#[derive(Clone, Copy, Debug)]
pub struct Smoothed {
    /// The sample.
    pub sample: Slipping,
    /// Time to the sample before it in the same run, s; 0 at the start of a run.
    pub before_s: f64,
    /// Time to the sample after it in the same run, s; 0 at the end of a run.
    pub after_s: f64,
    /// Pack torque over the interval before, N·m; `None` where it is not known throughout.
    pub torque_before_nm: Option<f64>,
    /// Pack torque over the interval after, N·m.
    pub torque_after_nm: Option<f64>,
    /// Mean slip over each of [`WINDOWS_S`], rad/s.
    pub slip_means: [f64; N_WINDOWS],
    /// Wheel samples in each window.
    pub n_in_window: [f64; N_WINDOWS],
    /// Wheel samples in each window that differ from the one before: how often the error
    /// of rounding was drawn anew.
    pub n_changes: [f64; N_WINDOWS],
    /// Mean axle speed difference over the window of definition, rad/s.
    pub difference_mean: f64,
    /// Mean yaw rate over the window of definition, rad/s.
    pub yaw_mean: Option<f64>,
    /// Mean of torque times slip over the window of definition, W per pack, signed.
    pub power_mean: Option<f64>,
}

/// Running sums up to a sample: differences of them are integrals over windows.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    slip: f64,
    difference: f64,
    yaw: f64,
    power: f64,
    n_wheel_samples: f64,
    n_changes: f64,
    n_without_yaw: u32,
    n_without_torque: u32,
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    sample: Slipping,
    before_s: f64,
    torque_before_nm: Option<f64>,
    sums: Sums,
}

/// Smooths one sample after the other.
#[derive(Clone, Debug, Default)]
pub struct Smoother {
    run: VecDeque<Entry>,
    // Index in `run` of the next sample to give out.
    next: usize,
    // Per window: first and last index inside it, for the next sample.
    low: [usize; N_WINDOWS],
    high: [usize; N_WINDOWS],
}

impl Smoother {
    /// Takes a sample; `is_joined` when no gap lies between it and the one before.
    pub fn push(&mut self, sample: Slipping, is_joined: bool, out: &mut Vec<Smoothed>) {
        if !is_joined {
            self.finish(out);
        }
        let entry = match self.run.back() {
            Some(previous) => follow(previous, sample),
            None => Entry {
                sample,
                before_s: 0.0,
                torque_before_nm: None,
                sums: Sums {
                    n_wheel_samples: 1.0,
                    ..Sums::default()
                },
            },
        };
        self.run.push_back(entry);
        let reach = WINDOWS_S[N_WINDOWS - 1] / 2.0;
        let latest = sample.aligned.time;
        while self.next + 1 < self.run.len() && latest.since(self.time(self.next)) > reach {
            self.give(out);
        }
    }

    /// The run has ended: gives out what is left of it.
    pub fn finish(&mut self, out: &mut Vec<Smoothed>) {
        while self.next < self.run.len() {
            self.give(out);
        }
        *self = Smoother {
            run: std::mem::take(&mut self.run),
            ..Smoother::default()
        };
        self.run.clear();
    }

    fn time(&self, index: usize) -> Time {
        self.run[index].sample.aligned.time
    }

    fn give(&mut self, out: &mut Vec<Smoothed>) {
        let center = self.next;
        let time = self.time(center);
        let entry = self.run[center];
        let mut slip_means = [entry.sample.slip; N_WINDOWS];
        let mut n_in_window = [1.0; N_WINDOWS];
        let mut n_changes = [0.0; N_WINDOWS];
        let aligned = &entry.sample.aligned;
        let (mut difference_mean, mut yaw_mean) =
            (aligned.right - aligned.left, entry.sample.yaw_rate);
        // A peak is read from means only: where the torque is not known throughout, none is.
        let mut power_mean = None;
        for window in 0..N_WINDOWS {
            let ends = self.stretch(window, time);
            let Some((sums, length_s)) = self.over(window, ends) else {
                continue;
            };
            slip_means[window] = sums.slip / length_s;
            n_in_window[window] = sums.n_wheel_samples.max(1.0);
            n_changes[window] = sums.n_changes;
            if window == DEFINITION {
                difference_mean = sums.difference / length_s;
                if sums.n_without_yaw == 0 {
                    yaw_mean = Some(sums.yaw / length_s);
                }
                if sums.n_without_torque == 0 {
                    power_mean = Some(sums.power / length_s);
                }
            }
        }
        let after = self.run.get(center + 1);
        out.push(Smoothed {
            sample: entry.sample,
            before_s: entry.before_s,
            after_s: after.map_or(0.0, |after| after.before_s),
            torque_before_nm: entry.torque_before_nm,
            torque_after_nm: after
                .and_then(|after| torque_over(&entry.sample, &after.sample).map(|ends| ends.0)),
            slip_means,
            n_in_window,
            n_changes,
            difference_mean,
            yaw_mean,
            power_mean,
        });
        self.next += 1;
        // The oldest sample that any later window can reach.
        let spent = self
            .low
            .iter()
            .copied()
            .min()
            .unwrap_or(0)
            .min(self.next.saturating_sub(1));
        if spent > 256 {
            self.run.drain(..spent);
            self.next -= spent;
            self.low
                .iter_mut()
                .chain(&mut self.high)
                .for_each(|index| *index -= spent);
        }
    }

    /// Ends of a window around `time`, cut at the edges of the run; moves its indices to
    /// the last sample at or before its start and the first at or after its end.
    fn stretch(&mut self, window: usize, time: Time) -> (Time, Time) {
        let half_s = WINDOWS_S[window] / 2.0;
        let (start, end) = (time.plus(-half_s), time.plus(half_s));
        let last = self.run.len() - 1;
        while self.low[window] < last && self.time(self.low[window] + 1) <= start {
            self.low[window] += 1;
        }
        while self.high[window] < last && self.time(self.high[window]) < end {
            self.high[window] += 1;
        }
        (
            start.max(self.time(self.low[window])),
            end.min(self.time(self.high[window])),
        )
    }

    /// Sums over a window and its length; `None` when the run is a single sample. The
    /// window is as wide as it says, not as the samples inside it: a mean over fewer
    /// samples than fit would read a short burst too high.
    fn over(&self, window: usize, (start, end): (Time, Time)) -> Option<(Sums, f64)> {
        let length_s = end.since(start);
        let mut before = self.up_to(self.low[window], start);
        // What is missing in an interval is missing in the part of it inside the window.
        let whole = &self.run[self.low[window]].sums;
        (before.n_without_yaw, before.n_without_torque) =
            (whole.n_without_yaw, whole.n_without_torque);
        let sums = difference(&self.up_to(self.high[window], end), &before);
        (length_s > 0.0).then_some((sums, length_s))
    }

    /// Sums up to a time next to sample `index`: inside the interval that ends there when
    /// it is earlier, inside the one that starts there when it is later.
    fn up_to(&self, index: usize, time: Time) -> Sums {
        let past_s = time.since(self.time(index));
        let first = if past_s < 0.0 {
            index.saturating_sub(1)
        } else {
            index
        };
        let (Some(start), Some(end)) = (self.run.get(first), self.run.get(first + 1)) else {
            return self.run[index].sums;
        };
        let share = time.since(start.sample.aligned.time) / end.before_s;
        match share > 0.0 {
            true => follow_part(start, &end.sample, share * end.before_s, share),
            false => start.sums,
        }
    }
}

fn difference(high: &Sums, low: &Sums) -> Sums {
    Sums {
        slip: high.slip - low.slip,
        difference: high.difference - low.difference,
        yaw: high.yaw - low.yaw,
        power: high.power - low.power,
        n_wheel_samples: high.n_wheel_samples - low.n_wheel_samples,
        n_changes: high.n_changes - low.n_changes,
        n_without_yaw: high.n_without_yaw - low.n_without_yaw,
        n_without_torque: high.n_without_torque - low.n_without_torque,
    }
}

/// Torque at both ends of the interval between two samples, `None` across a gap of it.
fn torque_over(first: &Slipping, second: &Slipping) -> Option<(f64, f64)> {
    let (start, end) = (first.aligned.torque?, second.aligned.torque?);
    // A held torque lasts to the end of the interval, whatever comes there.
    match start.is_held {
        true => Some((start.torque_nm, start.torque_nm)),
        false => (start.run == end.run).then_some((start.torque_nm, end.torque_nm)),
    }
}

fn follow(previous: &Entry, sample: Slipping) -> Entry {
    let before_s = sample.aligned.time.since(previous.sample.aligned.time);
    Entry {
        sample,
        before_s,
        torque_before_nm: torque_over(&previous.sample, &sample).map(|ends| ends.1),
        sums: follow_part(previous, &sample, before_s, 1.0),
    }
}

/// Sums a `share` of the way, `length_s`, from a sample to the next one, everything being
/// linear between.
fn follow_part(previous: &Entry, sample: &Slipping, length_s: f64, share: f64) -> Sums {
    let trapezoid = |start: f64, end: f64| (start + 0.5 * share * (end - start)) * length_s;
    let old = &previous.sums;
    let difference = |of: &Slipping| of.aligned.right - of.aligned.left;
    let (yaw, n_without_yaw) = match (previous.sample.yaw_rate, sample.yaw_rate) {
        (Some(start), Some(end)) => (trapezoid(start, end), 0),
        _ => (0.0, 1),
    };
    let (power, n_without_torque) = match torque_over(&previous.sample, sample) {
        Some((start, end)) => (
            trapezoid(start * previous.sample.slip, end * sample.slip),
            0,
        ),
        None => (0.0, 1),
    };
    let fresh = share * f64::from(u8::from(sample.aligned.is_wheel_sample));
    let (before, now) = (&previous.sample.aligned, &sample.aligned);
    let has_changed = before.left != now.left || before.right != now.right;
    let changed = share * f64::from(u8::from(has_changed && now.is_wheel_sample));
    Sums {
        slip: old.slip + trapezoid(previous.sample.slip, sample.slip),
        difference: old.difference + trapezoid(difference(&previous.sample), difference(sample)),
        yaw: old.yaw + yaw,
        power: old.power + power,
        n_wheel_samples: old.n_wheel_samples + fresh,
        n_changes: old.n_changes + changed,
        n_without_yaw: old.n_without_yaw + n_without_yaw,
        n_without_torque: old.n_without_torque + n_without_torque,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(time_s: f64, difference: f64) -> Slipping {
        Slipping {
            aligned: Aligned {
                time: Time::from_seconds(time_s),
                left: 50.0,
                right: 50.0 + difference,
                wheel_runs: (0, 0, 0),
                is_wheel_sample: true,
                front: None,
                speed_m_per_s: None,
                yaw_rate: None,
                command: None,
                state: None,
                torque: None,
                is_braking: false,
                is_controlled: false,
            },
            slip: 0.5 * difference,
            yaw_rate: None,
        }
    }

    fn smooth(samples: &[(f64, f64, bool)]) -> Vec<Smoothed> {
        let mut smoother = Smoother::default();
        let mut out = Vec::new();
        for &(time, difference, is_joined) in samples {
            smoother.push(sample(time, difference), is_joined, &mut out);
        }
        smoother.finish(&mut out);
        out
    }

    #[test]
    fn alternating_noise_averages_out() {
        let samples: Vec<_> = (0..1000)
            .map(|index| {
                (
                    f64::from(index) * 0.01,
                    if index % 2 == 0 { 0.2 } else { -0.2 },
                    index > 0,
                )
            })
            .collect();
        let out = smooth(&samples);
        assert_eq!(out.len(), 1000);
        for row in &out[20..980] {
            assert!(
                row.slip_means[DEFINITION].abs() < 0.011,
                "{}",
                row.slip_means[DEFINITION]
            );
            assert!((row.n_in_window[DEFINITION] - 20.0).abs() < 1.1);
        }
    }

    #[test]
    fn a_window_is_as_wide_as_it_says_however_the_samples_fall() {
        // 10 rad/s over five samples: at 20.0 and at 20.1 ms a mean over 0.2 s is half of it.
        for period in [0.0200, 0.0201] {
            let samples: Vec<_> = (0..50)
                .map(|index| {
                    let slips = (20..25).contains(&index);
                    (
                        f64::from(index) * period,
                        if slips { 20.0 } else { 0.0 },
                        index > 0,
                    )
                })
                .collect();
            let peak = smooth(&samples)
                .iter()
                .map(|row| row.slip_means[DEFINITION])
                .fold(0.0, f64::max);
            assert!((peak - 10.0 * 5.0 * period / 0.2).abs() < 1e-6, "{peak}");
        }
    }

    #[test]
    fn windows_end_at_a_gap_and_intervals_do_not_cross_it() {
        let samples = [
            (0.0, 2.0, false),
            (0.01, 2.0, true),
            (1.0, -6.0, false),
            (1.01, -6.0, true),
        ];
        let out = smooth(&samples);
        let seen: Vec<_> = out
            .iter()
            .map(|row| {
                (
                    (row.before_s * 100.0).round(),
                    (row.after_s * 100.0).round(),
                    (row.slip_means[3] * 1e6).round() / 1e6,
                )
            })
            .collect();
        assert_eq!(
            seen,
            [
                (0.0, 1.0, 1.0),
                (1.0, 0.0, 1.0),
                (0.0, 1.0, -3.0),
                (1.0, 0.0, -3.0)
            ]
        );
    }

    #[test]
    fn lengths_sum_to_the_run_and_memory_stays_small() {
        let samples: Vec<_> = (0..50_000)
            .map(|index| (f64::from(index) * 0.01, 1.0, index > 0))
            .collect();
        let mut smoother = Smoother::default();
        let mut out = Vec::new();
        let mut total = 0.0;
        for &(time, difference, is_joined) in &samples {
            smoother.push(sample(time, difference), is_joined, &mut out);
            assert!(smoother.run.len() < 1000);
        }
        smoother.finish(&mut out);
        for row in &out {
            total += 0.5 * (row.before_s + row.after_s);
        }
        assert!((total - 499.99).abs() < 1e-6);
    }
}
