//! Looks a little ahead and behind, so that noise averages out before signs are taken.
//!
//! In: aligned samples with their slip. Out: the same samples, each with the length of
//! its neighbouring intervals and with means over centred windows. Windows end at the
//! edges of an unbroken run: nothing is averaged over a gap. Delay: half the widest
//! window. Memory: the widest window, whatever the length of the drive.

use std::collections::VecDeque;

use halfshaft_model::Time;
use wide::f64x4;

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

/// Half of each window, ns.
const HALF_NS: [i64; N_WINDOWS] = {
    let mut half_ns = [0; N_WINDOWS];
    let mut window = 0;
    while window < N_WINDOWS {
        half_ns[window] = (WINDOWS_S[window] * 0.5e9 + 0.5) as i64;
        window += 1;
    }
    half_ns
};

/// A sample is given out when this much of the drive behind it is known, ns.
const REACH_NS: i64 = HALF_NS[N_WINDOWS - 1];

/// Samples behind every window that are kept at the most: to throw them away moves all others.
const MOST_SPENT: usize = 512;

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
pub struct Smoothed<'a> {
    /// The sample.
    pub sample: &'a Slipping,
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

/// What every window needs of a sample and of the interval to the next one. Windows reach
/// seconds back, so this is kept apart from the rest of the sample, to stay in the cache.
/// Windows end inside of an interval again and again, so its part is worked out once.
#[derive(Clone, Copy, Debug)]
struct Point {
    time: Time,
    // Of the interval to the next sample, all 0 as long as there is none: its length, and
    // what share of it a nanosecond is.
    length_ns: i64,
    per_ns: f64,
    length_s: f64,
    // Running sums up to the sample; differences of them are integrals over windows. A share
    // of the way on they are `sums + share · (gains + share · bends)`.
    sums: Lanes,
    gains: Lanes,
    bends: Lanes,
}

/// Four sums at once: slip times time, axle speed difference times time, wheel samples, and
/// wheel samples that differ from the one before.
type Lanes = f64x4;

/// What only the window of definition needs: kept apart, so that the other windows do not
/// read past it.
#[derive(Clone, Copy, Debug, Default)]
struct Others {
    sums: OtherSums,
    // Of the interval to the next sample.
    yaw: Linear,
    power: Linear,
    lacks_yaw: u32,
    lacks_torque: u32,
    // Pack torque at the end of the interval before the sample, and at the start of the one
    // after it.
    torque_before_nm: Option<f64>,
    torque_after_nm: Option<f64>,
}

#[derive(Clone, Copy, Debug, Default)]
struct OtherSums {
    yaw: f64,
    power: f64,
    n_without_yaw: u32,
    n_without_torque: u32,
}

/// What goes linearly from the start of an interval to its end.
#[derive(Clone, Copy, Debug, Default)]
struct Linear {
    start: f64,
    half_gain: f64,
}

/// Smooths one sample after the other.
#[derive(Clone, Debug, Default)]
pub struct Smoother {
    // The run, each sample in both.
    points: Vec<Point>,
    others: Vec<Others>,
    // Its samples from the next to give out on, and the index of that in the run.
    waiting: VecDeque<Slipping>,
    next: usize,
    // Per window: the last samples at or before its start and its end, for the next sample.
    low: [usize; N_WINDOWS],
    high: [usize; N_WINDOWS],
}

impl Smoother {
    /// Takes a sample, and shows those that are settled by now; `is_joined` when no gap lies
    /// between it and the one before.
    pub fn push(&mut self, sample: &Slipping, is_joined: bool, show: &mut impl FnMut(&Smoothed)) {
        if !is_joined {
            self.finish(show);
        }
        let time = sample.aligned.time;
        let mut point = Point::first(time);
        let mut others = Others::default();
        if let (Some(before), Some(beside), Some(previous)) = (
            self.points.last_mut(),
            self.others.last_mut(),
            self.waiting.back(),
        ) {
            before.reach(previous, sample);
            point.sums = before.sums_after(1.0);
            let torque = torque_over(previous, sample);
            *beside = beside.reaching(previous, sample, torque);
            others.sums = beside.sums_after(1.0, before.length_s);
            others.torque_before_nm = torque.map(|ends| ends.1);
        }
        self.points.push(point);
        self.others.push(others);
        self.waiting.push_back(*sample);
        while self.next + 1 < self.points.len() && time.0 - self.points[self.next].time.0 > REACH_NS
        {
            self.give(show);
        }
    }

    /// The run has ended: shows what is left of it.
    pub fn finish(&mut self, show: &mut impl FnMut(&Smoothed)) {
        while self.next < self.points.len() {
            self.give(show);
        }
        self.points.clear();
        self.others.clear();
        self.waiting.clear();
        self.next = 0;
        self.low = [0; N_WINDOWS];
        self.high = [0; N_WINDOWS];
    }

    fn give(&mut self, show: &mut impl FnMut(&Smoothed)) {
        let Some(sample) = self.waiting.front() else {
            return;
        };
        let time = self.points[self.next].time;
        let aligned = &sample.aligned;
        let (mut difference_mean, mut yaw_mean) = (aligned.right - aligned.left, sample.yaw_rate);
        // A peak is read from means only: where the torque is not known throughout, none is.
        let mut power_mean = None;
        let mut sums = [Lanes::ZERO; N_WINDOWS];
        let mut lengths_s = [0.0; N_WINDOWS];
        for window in 0..N_WINDOWS {
            let cursors = (&mut self.low[window], &mut self.high[window]);
            let (start, end) = stretch(&self.points, window, time, cursors);
            // A window is as wide as it says, not as the samples inside it: a mean over fewer
            // samples than fit would read a short burst too high.
            let length_s = match end.time.0 - start.time.0 {
                // Nearly always: the quotient of that is known.
                whole_ns if whole_ns == 2 * HALF_NS[window] => WINDOWS_S[window],
                _ => end.time.since(start.time),
            };
            lengths_s[window] = length_s;
            sums[window] = end.sums - start.sums;
            if window == DEFINITION && length_s > 0.0 {
                let first = &self.others[start.first];
                let before = first.sums_after(start.share, start.beyond_s);
                let up_to = self.others[end.first].sums_after(end.share, end.beyond_s);
                let [_, difference, ..] = sums[window].to_array();
                difference_mean = difference / length_s;
                // What is missing in an interval is missing in the part of it inside the window.
                if up_to.n_without_yaw == first.sums.n_without_yaw {
                    yaw_mean = Some((up_to.yaw - before.yaw) / length_s);
                }
                if up_to.n_without_torque == first.sums.n_without_torque {
                    power_mean = Some((up_to.power - before.power) / length_s);
                }
            }
        }
        let [slips, _, n_samples, n_changes] = Lanes::transpose(sums);
        let lengths_s = Lanes::from(lengths_s);
        // A sample alone has no window around it.
        let is_mean = lengths_s.simd_gt(Lanes::ZERO);
        let slip_means = is_mean.select(slips / lengths_s, Lanes::splat(sample.slip));
        let n_in_window = n_samples.fast_max(Lanes::ONE);
        show(&Smoothed {
            sample,
            before_s: self
                .next
                .checked_sub(1)
                .map_or(0.0, |before| self.points[before].length_s),
            after_s: self.points[self.next].length_s,
            torque_before_nm: self.others[self.next].torque_before_nm,
            torque_after_nm: self.others[self.next].torque_after_nm,
            slip_means: slip_means.to_array(),
            n_in_window: n_in_window.to_array(),
            n_changes: n_changes.to_array(),
            difference_mean,
            yaw_mean,
            power_mean,
        });
        self.waiting.pop_front();
        self.next += 1;
        // The oldest sample that any later window can reach.
        let oldest = self.low.iter().copied().min().unwrap_or(0);
        let spent = oldest.min(self.next - 1);
        if spent > MOST_SPENT {
            self.points.drain(..spent);
            self.others.drain(..spent);
            self.next -= spent;
            self.low
                .iter_mut()
                .chain(&mut self.high)
                .for_each(|index| *index -= spent);
        }
    }
}

/// Ends of a window around `time`, cut at the edges of the run; moves its cursors to the
/// last samples at or before them.
#[inline(always)]
fn stretch(
    points: &[Point],
    window: usize,
    time: Time,
    (low, high): (&mut usize, &mut usize),
) -> (WindowEnd, WindowEnd) {
    // Times of a drive are far from the ends of their range.
    let half_ns = HALF_NS[window];
    let start = Time(time.0.wrapping_sub(half_ns));
    let end = Time(time.0.wrapping_add(half_ns));
    (
        WindowEnd::advance(points, low, start),
        WindowEnd::advance(points, high, end),
    )
}

/// Where a window starts or ends: so far behind sample `first`, before the next one.
#[derive(Clone, Copy, Debug)]
struct WindowEnd {
    time: Time,
    first: usize,
    // So much of the interval; 0 at the sample itself.
    share: f64,
    beyond_s: f64,
    sums: Lanes,
}

impl WindowEnd {
    /// At a time, or at the end of the run that is nearest to it; moves `cursor`, a sample that
    /// is not later, there.
    #[inline(always)]
    fn advance(points: &[Point], cursor: &mut usize, time: Time) -> WindowEnd {
        let mut first = *cursor;
        // A window of whole periods ends now before a sample, now behind it: counted, where
        // a processor could not foresee a branch.
        let is_passed = |point: &Point| usize::from(point.time <= time);
        let mut n_passed = 3;
        while n_passed == 3 {
            n_passed = match &points[first + 1..] {
                [one, two, three, ..] => is_passed(one) + is_passed(two) + is_passed(three),
                rest => rest.iter().map(is_passed).sum(),
            };
            first += n_passed;
        }
        *cursor = first;
        let point = &points[first];
        // Before the first sample, and behind the last, whose interval has no length, it is
        // the sample itself.
        let beyond_ns = (time.0 - point.time.0).clamp(0, point.length_ns);
        let share = beyond_ns as f64 * point.per_ns;
        WindowEnd {
            time: Time(point.time.0 + beyond_ns),
            first,
            share,
            beyond_s: share * point.length_s,
            sums: point.sums_after(share),
        }
    }
}

impl Point {
    /// The first sample of a run, as long as no other has come.
    fn first(time: Time) -> Point {
        Point {
            time,
            length_ns: 0,
            per_ns: 0.0,
            length_s: 0.0,
            sums: Lanes::new([0.0, 0.0, 1.0, 0.0]),
            gains: Lanes::ZERO,
            bends: Lanes::ZERO,
        }
    }

    /// Fills in the interval between its sample and the next one.
    fn reach(&mut self, first: &Slipping, second: &Slipping) {
        let (start, end) = (&first.aligned, &second.aligned);
        // Times of a run rise; at one time there is no interval, and no share of it.
        self.length_ns = (end.time.0 - start.time.0).max(0);
        self.per_ns = match self.length_ns {
            0 => 0.0,
            _ => 1.0 / self.length_ns as f64,
        };
        self.length_s = end.time.since(start.time);
        let difference = |of: &Aligned| of.right - of.left;
        let has_changed = start.left != end.left || start.right != end.right;
        let one_if = |is_so| f64::from(u8::from(is_so));
        let length_s = self.length_s;
        self.gains = Lanes::new([
            first.slip * length_s,
            difference(start) * length_s,
            one_if(end.is_wheel_sample),
            one_if(has_changed && end.is_wheel_sample),
        ]);
        self.bends = Lanes::new([
            0.5 * (second.slip - first.slip) * length_s,
            0.5 * (difference(end) - difference(start)) * length_s,
            0.0,
            0.0,
        ]);
    }

    /// Sums a `share` of the way to the next point.
    #[inline]
    fn sums_after(&self, share: f64) -> Lanes {
        let share = Lanes::splat(share);
        self.sums + share * (self.gains + share * self.bends)
    }
}

impl Linear {
    fn new(start: f64, end: f64) -> Linear {
        Linear {
            start,
            half_gain: 0.5 * (end - start),
        }
    }

    /// Integral over a `share` of the interval, `length_s`.
    #[inline]
    fn integral(&self, share: f64, length_s: f64) -> f64 {
        (self.start + share * self.half_gain) * length_s
    }
}

impl Others {
    /// These sums with the interval between two samples, over which the torque is so much.
    fn reaching(&self, first: &Slipping, second: &Slipping, torque: Option<(f64, f64)>) -> Others {
        let yaw = first.yaw_rate.zip(second.yaw_rate);
        let power = torque.map(|(start, end)| (start * first.slip, end * second.slip));
        let line = |ends: Option<(f64, f64)>| {
            ends.map_or(Linear::default(), |(start, end)| Linear::new(start, end))
        };
        Others {
            sums: self.sums,
            yaw: line(yaw),
            power: line(power),
            lacks_yaw: u32::from(yaw.is_none()),
            lacks_torque: u32::from(power.is_none()),
            torque_before_nm: self.torque_before_nm,
            torque_after_nm: torque.map(|ends| ends.0),
        }
    }

    /// Sums a `share` of the way, `length_s`, to the next sample.
    #[inline]
    fn sums_after(&self, share: f64, length_s: f64) -> OtherSums {
        let is_inside = u32::from(share > 0.0);
        OtherSums {
            yaw: self.sums.yaw + self.yaw.integral(share, length_s),
            power: self.sums.power + self.power.integral(share, length_s),
            n_without_yaw: self.sums.n_without_yaw + is_inside * self.lacks_yaw,
            n_without_torque: self.sums.n_without_torque + is_inside * self.lacks_torque,
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(time_s: f64, difference: f64) -> Slipping {
        Slipping {
            aligned: Aligned {
                time: Time::from_seconds(time_s),
                left: 50.0,
                right: 50.0 + difference,
                wheel_runs: (0, 0),
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

    /// What is shown of a sample.
    struct Shown {
        before_s: f64,
        after_s: f64,
        slip_means: [f64; N_WINDOWS],
        n_in_window: [f64; N_WINDOWS],
    }

    fn smooth(samples: &[(f64, f64, bool)]) -> Vec<Shown> {
        let mut smoother = Smoother::default();
        let mut out = Vec::new();
        let mut show = |smoothed: &Smoothed| {
            out.push(Shown {
                before_s: smoothed.before_s,
                after_s: smoothed.after_s,
                slip_means: smoothed.slip_means,
                n_in_window: smoothed.n_in_window,
            });
        };
        for &(time, difference, is_joined) in samples {
            smoother.push(&sample(time, difference), is_joined, &mut show);
            assert!(smoother.points.len() < 1500);
        }
        smoother.finish(&mut show);
        out
    }

    #[test]
    fn the_known_quotient_is_the_one_that_division_gives() {
        for (window_s, half_ns) in WINDOWS_S.iter().zip(HALF_NS) {
            assert_eq!(Time(2 * half_ns).since(Time(0)), *window_s);
        }
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
        let out = smooth(&samples);
        let total: f64 = out
            .iter()
            .map(|row| 0.5 * (row.before_s + row.after_s))
            .sum();
        assert!((total - 499.99).abs() < 1e-6);
    }
}
