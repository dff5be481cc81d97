//! Commands that fall to nothing under a pedal that stays down, with hot oil and with cooler.
//!
//! In: rows with pedal and oil temperature. Out: how often the command fell so, and for how long
//! it was given under such a pedal, with hot oil and with cooler. A controller that saves the clutch cuts in
//! hot oil alone. One that rests after each lock, follows slip, or releases with the pedal cuts with cooler
//! oil as often for the time it was given: that is how the two are told apart. It does not judge.

use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_model::Time;

use crate::evidence::{Strongest, window};
use crate::lasting::Lasting;
use crate::limits::Protection;

/// What is known beside a row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Beside {
    /// The pedal, 0 to 1.
    pub throttle: f64,
    /// The oil, °C.
    pub oil_c: f64,
}

/// A command that fell.
#[derive(Clone, Copy, Debug)]
struct Fallen {
    from: f64,
    // The pedal must stay within reach of this.
    throttle: f64,
    oil_c: f64,
}

/// Counts them.
#[derive(Clone, Debug)]
pub(super) struct Cuts {
    limits: Protection,
    // The pedal of the last moments.
    pedal: VecDeque<(Time, f64)>,
    high: Option<(Time, f64)>,
    fallen: Lasting<Fallen>,
    /// Cuts with cooler oil and with hot.
    n: [usize; 2],
    /// Time in which the command was given under a pedal that was down, with cooler oil and with hot, s.
    given_s: [f64; 2],
    /// Time with hot oil and the pedal down, s.
    pub pedal_in_hot_s: f64,
    /// Those with hot oil.
    pub hot: Strongest,
}

impl Cuts {
    pub fn new(limits: Protection) -> Cuts {
        Cuts {
            limits,
            pedal: VecDeque::new(),
            high: None,
            fallen: Lasting::default(),
            n: [0; 2],
            given_s: [0.0; 2],
            pedal_in_hot_s: 0.0,
            hot: Strongest::default(),
        }
    }

    /// Nothing goes on over a gap.
    pub fn interrupt(&mut self, now: Time) {
        self.end(now);
        self.high = None;
        self.pedal.clear();
    }

    /// Takes a row with its command.
    pub fn note(&mut self, row: &Row, command: f64, beside: Option<Beside>) {
        let limits = self.limits;
        let Some(Beside { throttle, oil_c }) = beside.filter(|_| !row.is_braking) else {
            self.interrupt(row.time);
            return;
        };
        self.pedal.push_back((row.time, throttle));
        let is_old = |sample: &mut (Time, f64)| row.time.since(sample.0) > limits.lift_within_s;
        while self.pedal.pop_front_if(is_old).is_some() {}
        let is_hot = oil_c >= limits.oil_from_c;
        let is_down = throttle >= limits.throttle_from;
        if is_hot && is_down {
            self.pedal_in_hot_s += row.seconds;
        }
        if command >= OPEN_BELOW {
            self.end(row.time);
            if command >= limits.command_from {
                self.high = Some((row.time, command));
                if is_down {
                    self.given_s[usize::from(is_hot)] += row.seconds;
                }
            }
            return;
        }
        if let Some((since, from)) = self.high.take() {
            let is_quick = row.time.since(since) <= limits.within_s;
            let highest = self
                .pedal
                .iter()
                .fold(0.0, |most, (_, pedal)| pedal.max(most));
            if is_quick && is_down && throttle >= highest - limits.lift_below {
                self.fallen.hold(row.time, 0.0, || Fallen {
                    from,
                    throttle: highest,
                    oil_c,
                });
            }
        }
        let Some(fallen) = self.fallen.going_on_mut() else {
            return;
        };
        match is_down && throttle >= fallen.gathered.throttle - limits.lift_below {
            true => fallen.seconds += row.seconds,
            false => self.end(row.time),
        }
    }

    fn end(&mut self, now: Time) {
        let Some(fallen) = self.fallen.end() else {
            return;
        };
        if fallen.seconds < self.limits.stays_under_pedal_s {
            return;
        }
        let seen = fallen.gathered;
        let is_hot = seen.oil_c >= self.limits.oil_from_c;
        self.n[usize::from(is_hot)] += 1;
        if is_hot {
            let values = [
                ("command before", 100.0 * seen.from, "%"),
                ("open under the pedal for", fallen.seconds, "s"),
                ("pedal", 100.0 * seen.throttle, "%"),
                ("oil", seen.oil_c, "°C"),
            ];
            self.hot
                .add(fallen.seconds, window(fallen.start, now, &values));
        }
    }

    /// Cuts with hot oil.
    pub fn n_hot(&self) -> usize {
        self.n[1]
    }

    /// Cuts with cooler oil, and for how long the command was given there, s.
    pub fn cooler(&self) -> (usize, f64) {
        (self.n[0], self.given_s[0])
    }

    /// How often as many or more of all cuts would have fallen into hot oil by chance, were they spread
    /// over the time the command was given: the upper tail of a binomial distribution.
    pub fn by_chance(&self) -> f64 {
        let [cooler, hot] = self.n;
        let share = self.given_s[1] / (self.given_s[0] + self.given_s[1]);
        if !(share > 0.0 && share < 1.0) {
            return 1.0;
        }
        let n = (cooler + hot) as f64;
        // Of all being hot, and from there down to as many as there were.
        let mut one = share.powf(n);
        let mut sum = one;
        for n_cooler in 1..=cooler {
            let k = n_cooler as f64;
            one *= (n - k + 1.0) / k * (1.0 - share) / share;
            sum += one;
        }
        sum.min(1.0)
    }

    /// How long the command must be given with cooler oil, without a cut there, for so many cuts with hot oil
    /// to be no chance, s.
    pub fn needed_s(&self) -> f64 {
        // Derived from share^n ≤ chance with share = hot/(hot + cooler).
        let n = self.n_hot().max(1) as f64;
        self.given_s[1] * (self.limits.chance.powf(-1.0 / n) - 1.0)
    }

    /// Whether cuts come with hot oil, and not with cooler.
    pub fn are_of_hot_oil(&self) -> bool {
        self.n_hot() >= 2 && self.are_oftener_in_hot_oil() && self.by_chance() < self.limits.chance
    }

    /// Whether they come so much more often with hot oil for the time the command was given, or never with
    /// cooler.
    pub fn are_oftener_in_hot_oil(&self) -> bool {
        let ([cooler, hot], [cooler_s, hot_s]) = (self.n.map(|n| n as f64), self.given_s);
        hot * cooler_s >= self.limits.times_as_often * cooler * hot_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Limits;
    use crate::testing::row;

    #[test]
    fn chance_is_that_of_the_binomial_distribution() {
        let mut cuts = Cuts::new(Limits::default().protection);
        cuts.given_s = [30.0, 10.0];
        // By hand: 3 of 3 at a quarter, 1/64; 3 or more of 4, 1/256 + 4·3/256.
        cuts.n = [0, 3];
        assert!((cuts.by_chance() - 1.0 / 64.0).abs() < 1e-12);
        cuts.n = [1, 3];
        assert!((cuts.by_chance() - 13.0 / 256.0).abs() < 1e-12);
        // Without cooler oil nothing can be told.
        cuts.given_s = [0.0, 10.0];
        assert_eq!(cuts.by_chance(), 1.0);
        // 10·(10^(4/3) − 1) s for three cuts.
        assert!((cuts.needed_s() - 205.4).abs() < 0.1, "{}", cuts.needed_s());
    }
    /// Cuts with hot oil in ten seconds: of a command of 0.6 that is away from second 5 to 8 under a throttle of
    /// 0.8, or as it is changed by time.
    fn n_cuts(change: impl Fn(f64, &mut f64, &mut f64)) -> usize {
        let mut cuts = Cuts::new(Limits::default().protection);
        for index in 0..1000 {
            let time_s = f64::from(index) * 0.01;
            let mut throttle = 0.8;
            let mut command = match (5.0..8.0).contains(&time_s) {
                true => 0.0,
                false => 0.6,
            };
            change(time_s, &mut command, &mut throttle);
            let beside = Beside {
                throttle,
                oil_c: 112.0,
            };
            cuts.note(&row(time_s), command, Some(beside));
        }
        cuts.n_hot()
    }

    #[test]
    fn a_foot_that_rises_and_a_command_that_comes_back_are_no_cut() {
        assert_eq!(n_cuts(|_, _, _| ()), 1);
        // By 4 and by 6 % of the pedal, limit 5 %.
        for (lift, n) in [(0.04, 1), (0.06, 0)] {
            let lifts = |time_s: f64, _: &mut f64, throttle: &mut f64| {
                *throttle -= if time_s > 5.5 { lift } else { 0.0 };
            };
            assert_eq!(n_cuts(lifts), n, "{lift}");
        }
        // 0.65 and 0.75 s before, limit 0.7 s.
        for (before_s, n) in [(0.65, 0), (0.75, 1)] {
            let lifts = |time_s: f64, _: &mut f64, throttle: &mut f64| {
                *throttle += if time_s < 5.0 - before_s { 0.1 } else { 0.0 };
            };
            assert_eq!(n_cuts(lifts), n, "{before_s}");
        }
        // After 1.4 and 1.6 s, limit 1.5 s.
        for (away_s, n) in [(1.4, 0), (1.6, 1)] {
            let comes_back = |time_s: f64, command: &mut f64, _: &mut f64| {
                *command = if time_s > 5.0 + away_s { 0.6 } else { *command };
            };
            assert_eq!(n_cuts(comes_back), n, "{away_s}");
        }
    }

    #[test]
    fn so_many_times_as_often_and_no_chance() {
        let of_hot_oil = |n: [usize; 2], given_s: [f64; 2]| {
            let mut cuts = Cuts::new(Limits::default().protection);
            (cuts.n, cuts.given_s) = (n, given_s);
            cuts.are_of_hot_oil()
        };
        // 60 in 60 s against 6 in 60 s, limit 10 times.
        assert!(of_hot_oil([6, 60], [61.0, 60.0]) && !of_hot_oil([6, 60], [59.0, 60.0]));
        // 0.1⁴ is one in ten thousand.
        assert!(of_hot_oil([0, 4], [9.1, 1.0]) && !of_hot_oil([0, 4], [8.9, 1.0]));
        assert!(!of_hot_oil([0, 1], [1e6, 1.0]));
    }
}
