//! How few and how many engagements there may be behind the samples of a command.
//!
//! In: the command sample by sample. Out: the count by the rule of `engagement`, once with
//! everything that the period and the step of its number leave open decided against an
//! event, once decided for it. What is seen of a level for the time S lasted from S less to S
//! more than a period, and a number read as r stood within half a step of r.

use halfshaft_model::Time;

use super::{END_HOLD_S, LEAST_PEAK, MERGE_S, OPEN_BELOW, START_FROM, START_HOLD_S, is_start};
use crate::normal::SDS_OF_90;

/// What is decided where samples leave it open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Fewest,
    Most,
}

/// Both counts.
#[derive(Clone, Debug)]
pub(crate) struct EngagementCount {
    fewest: Counter,
    most: Counter,
}

#[derive(Clone, Debug)]
struct Counter {
    side: Side,
    half_step: f64,
    // At and above the start level since, so many samples.
    risen: Option<(Time, u32)>,
    event: Option<Event>,
    n: u64,
    n_of_one_sample: u64,
}

#[derive(Clone, Copy, Debug)]
struct Event {
    peak: f64,
    n_above: u32,
    // Below the open level since.
    fell: Option<Time>,
}

impl EngagementCount {
    /// Nothing seen of a command whose number has steps of `step`, a share of full.
    pub(crate) fn new(step: f64) -> EngagementCount {
        let counter = |side| Counter {
            side,
            half_step: 0.5 * step,
            risen: None,
            event: None,
            n: 0,
            n_of_one_sample: 0,
        };
        EngagementCount {
            fewest: counter(Side::Fewest),
            most: counter(Side::Most),
        }
    }

    /// Takes a sample; `period_s` is the time between two.
    #[inline]
    pub(crate) fn add(&mut self, time: Time, command: f64, period_s: f64) {
        // Mostly the clutch is open.
        if self.most.rests(command) && self.fewest.rests(command) {
            return;
        }
        self.fewest.add(time, command, period_s);
        self.most.add(time, command, period_s);
    }

    /// A gap or a cut: what went on ended there.
    pub(crate) fn interrupt(&mut self) {
        self.fewest.close();
        self.most.close();
    }

    /// The fewest and the most.
    pub(crate) fn bounds(&self, period_s: f64) -> (f64, f64) {
        let counted = |counter: &Counter| {
            let mut settled = counter.clone();
            settled.close();
            (settled.n as f64, settled.n_of_one_sample as f64)
        };
        let (fewest, _) = counted(&self.fewest);
        let (most, n_of_one_sample) = counted(&self.most);
        // One that is shorter than a period falls between two samples as often as it lasts less
        // than one: of those up to two periods long, half as many as one sample met. Nothing
        // shorter than the hold is an engagement.
        let share = 0.5 * (1.0 - START_HOLD_S / period_s.max(START_HOLD_S));
        let n_unseen = share * n_of_one_sample;
        (
            fewest,
            most + (n_unseen + SDS_OF_90 * n_unseen.sqrt()).ceil(),
        )
    }
}

impl Counter {
    /// Nothing goes on, and this command begins nothing.
    fn rests(&self, command: f64) -> bool {
        self.event.is_none() && self.risen.is_none() && command + self.half_step < START_FROM
    }

    fn add(&mut self, time: Time, command: f64, period_s: f64) {
        // What is added to a reading where it must reach a level.
        let (lift, slack_s) = match self.side {
            Side::Fewest => (-self.half_step, -period_s),
            Side::Most => (self.half_step, period_s),
        };
        let level = command + lift;
        let is_above = level >= START_FROM;
        let is_below = command - lift < OPEN_BELOW;
        if let Some(event) = &mut self.event {
            event.peak = event.peak.max(level);
            event.n_above += u32::from(is_above);
            match event.fell {
                _ if is_below => {
                    event.fell.get_or_insert(time);
                    self.risen = None;
                    return;
                }
                None => return,
                Some(fell) if !is_above => {
                    if time.since(fell) < END_HOLD_S {
                        event.fell = None;
                    }
                    return;
                }
                // Up again: one with what was before, or the next.
                Some(fell) if time.since(fell) < MERGE_S - slack_s => {
                    event.fell = None;
                    return;
                }
                Some(_) => {
                    // This sample is the next one's.
                    event.n_above -= 1;
                    self.close();
                }
            }
        }
        if !is_above {
            self.risen = None;
            return;
        }
        let (since, n) = self.risen.map_or((time, 1), |(since, n)| (since, n + 1));
        self.risen = Some((since, n));
        let starts = match self.side {
            Side::Fewest => is_start(since, n, time),
            Side::Most => time.since(since) + 2.0 * period_s >= START_HOLD_S,
        };
        if starts {
            self.event = Some(Event {
                peak: level,
                n_above: n,
                fell: None,
            });
        }
    }

    fn close(&mut self) {
        self.risen = None;
        let Some(event) = self.event.take() else {
            return;
        };
        if event.peak >= LEAST_PEAK {
            self.n += 1;
            self.n_of_one_sample += u64::from(event.n_above == 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Commands in hundredths as `level x count` words, with that period and step of 1 %.
    #[track_caller]
    fn check(period_s: f64, words: &str, wanted: (f64, f64)) {
        let mut count = EngagementCount::new(0.01);
        let mut n = 0;
        for word in words.split_whitespace() {
            let (level, times) = word.split_once('x').expect("a level and a count");
            for _ in 0..times.parse::<u32>().expect("a count") {
                let time = Time::from_seconds(f64::from(n) * period_s);
                let command = level.parse::<f64>().expect("a level") / 100.0;
                count.add(time, command, period_s);
                n += 1;
            }
        }
        assert_eq!(count.bounds(period_s), wanted, "{words}");
    }

    #[test]
    fn what_is_plain_leaves_nothing_open() {
        check(0.02, "0x10 50x10 0x50 50x10 0x50", (2.0, 2.0));
        check(0.01, "0x10 50x1 0x50", (0.0, 0.0));
    }

    #[test]
    fn what_lies_on_a_limit_is_open() {
        // A peak that reads 15 % may have been 14.6.
        check(0.02, "0x10 15x10 0x50", (0.0, 1.0));
        // Two samples 20 ms apart may have been more than 40 ms.
        check(0.02, "0x10 50x2 0x50", (0.0, 1.0));
        // A dip of 280 ms at 40 ms may have been 310 ms; one of 320 ms less than 300.
        check(0.04, "0x10 50x10 0x7 50x10 0x50", (1.0, 2.0));
        check(0.04, "0x10 50x10 0x8 50x10 0x50", (1.0, 2.0));
        check(0.04, "0x10 50x10 0x9 50x10 0x50", (2.0, 2.0));
        // A dip that reads 5 % may have been below.
        check(0.02, "0x10 50x20 5x30 50x20 0x50", (1.0, 2.0));
    }

    #[test]
    fn blips_of_one_sample_stand_for_some_that_none_met() {
        // 4 blips at 200 ms: 4·½·0.8 = 1.6 unseen, and 1.645·√1.6 = 2.1 more.
        check(0.2, "0x5 50x1 0x5 50x1 0x5 50x1 0x5 50x1 0x5", (0.0, 8.0));
    }
}
