//! Leaves out samples that no car can make, one channel at a time.
//!
//! In: the samples of a channel in the order of the log, and what the other wheels read just then.
//! Out: the samples that stay, and what was left out. A sample that stands out waits for the one
//! behind it, or for two where a kerb may have made it; a wheel that repeats its number is a
//! [`Run`]. What is left out is no missing sample but a lost one: a bad frame among good ones is
//! bridged like a frame that never came. This judges samples, not sensors: `health` does.

mod run;

use halfshaft_model::belief::USUAL_RADIUS_M;
use halfshaft_model::{Belief, ChannelSpec, Dimension, Time, Trouble};

use run::{GAP_NS, GoesOn, Habits, ROLLS, Run};
pub(crate) use run::{N_ROLLING, Others, Out};

/// A sample stands out only from neighbours that are so many times nearer to each other, and by so
/// many times what the signal has moved by from sample to sample of late: in wheelspin, under
/// anti-lock control, on kerbs and cobbles it does not. Source: none, engineering guess; a straight
/// rise to a peak and fall has 1, a half wave of five samples 2.
const TIMES_NEARER: f64 = 3.0;

/// What a signal moved by is forgotten by a tenth with each sample. Source: none, engineering guess:
/// half of it is left after 7 samples, some swings of a wheel.
const REMEMBERED: f64 = 0.9;

/// A wheel below this, rad/s, is at rest: its number may stay. Source: none, engineering guess.
const REST: f64 = 1.0;

/// A wheel that reads 0 straight after more than so many rad/s² would brake it from has dropped
/// out. Source: none, engineering guess: 1,300 N·m on 1.3 kg·m².
const NO_BRAKE: f64 = 1_000.0;

/// A wheel that reads 0 from more than that brakes in this time, s, is looked at: 25 rad/s, 29 km/h
/// at once. Slower samples than that leave time for a lock-up, which the other wheels must show.
const NO_BRAKE_WITHIN_S: f64 = 0.025;

/// No kerb makes a dip as deep as this, rad/s. Source: none, engineering guess: 12 km/h.
const DEEPEST_OF_A_KERB: f64 = 10.0;

/// Samples bad beyond doubt, or falls while the car seems to go on, from which a wheel has no benefit
/// of the doubt: one that stands alone, or reads 0, is then bad, too. Source: none, engineering
/// guess; a sound sensor makes none.
const DISTRUSTED_FROM: u32 = 3;

/// The watch over one channel.
#[derive(Clone, Debug)]
pub(crate) struct Watch {
    // What is asked of every sample: how near the last one it is, unless something waits, and the
    // range.
    quick: f64,
    last: f64,
    low: f64,
    high: f64,
    // When the last number was sampled.
    at: Time,
    // By what it has moved from sample to sample of late.
    moves: f64,
    belief: Belief,
    is_wheel: bool,
    // rad/s of a wheel per unit of the samples, and its step in rad/s.
    rolling: f64,
    step: f64,
    n: u64,
    n_repeats: u64,
    longest_run: u32,
    // How often it was bad beyond doubt, and the latest number beyond its range.
    n_proved: u32,
    last_beyond: f64,
    waiting: Waiting,
}

#[derive(Clone, Debug)]
enum Waiting {
    Nothing,
    /// One that may stand out, and the others just then.
    One(Time, f64, Others),
    /// One that does, by what a kerb can do: there the wheel swings on behind it. Or one that no
    /// car makes, and another near it: both stay there, or both are bad.
    Two([(Time, f64); 2]),
    /// A number that does not change.
    Run(Run),
}

impl Watch {
    /// Of a channel that the program computes with.
    pub(crate) fn new(spec: &ChannelSpec) -> Option<Watch> {
        let belief = Belief::of(spec)?;
        let is_wheel = spec.name.starts_with("wheel.");
        let rolling = match spec.dimension {
            Dimension::SPEED => 1.0 / USUAL_RADIUS_M,
            _ => 1.0,
        };
        Some(Watch {
            quick: belief.stands_out.most(0.0),
            last: f64::NAN,
            low: belief.range.0,
            high: belief.range.1,
            at: Time(0),
            moves: 0.0,
            belief,
            is_wheel,
            rolling,
            step: spec.step.unwrap_or(0.0).abs() * rolling,
            n: 0,
            n_repeats: 0,
            longest_run: 0,
            n_proved: 0,
            last_beyond: f64::NAN,
            waiting: Waiting::Nothing,
        })
    }

    /// Whether a sample is plainly sound, which nearly all are; then it is taken.
    #[inline(always)]
    pub(crate) fn passes(&mut self, time: Time, value: Option<f64>) -> bool {
        let value = value.unwrap_or(f64::NAN);
        let is_plain = ((value - self.last).abs() <= self.quick)
            & ((value != self.last) | !self.is_wheel)
            & (value >= self.low)
            & (value <= self.high);
        if is_plain {
            self.believe(time, value);
        }
        is_plain
    }

    /// What it reads as the speed of a wheel and its step, rad/s.
    pub(crate) fn rolling(&self) -> (f64, f64) {
        (self.last * self.rolling, self.step)
    }

    /// When what waits is decided without another sample.
    pub(crate) fn deadline(&self) -> Option<Time> {
        let since = self.waits_since()?;
        let wait_ns = match &self.waiting {
            Waiting::Run(run) => run.held_ns(),
            _ => GAP_NS,
        };
        Some(Time(since.0.saturating_add(wait_ns)))
    }

    /// The oldest sample that waits.
    pub(crate) fn waits_since(&self) -> Option<Time> {
        match &self.waiting {
            Waiting::Nothing => None,
            Waiting::One(time, ..) | Waiting::Two([(time, _), _]) => Some(*time),
            Waiting::Run(run) => run.held_since(),
        }
    }

    /// Time has come so far: what has waited long enough is decided.
    pub(crate) fn expire(&mut self, time: Time, out: &mut Out) {
        match &mut self.waiting {
            Waiting::Run(run) => run.hand_on_old(time, out),
            _ => {
                let is_over = |deadline: Time| time >= deadline;
                if self.deadline().is_some_and(is_over) {
                    self.end(out);
                }
            }
        }
    }

    /// Takes a sample that does not simply pass.
    #[cold]
    pub(crate) fn take(&mut self, time: Time, value: Option<f64>, others: &Others, out: &mut Out) {
        let Some(value) = value else {
            self.end(out);
            out.column.push(time, None);
            return;
        };
        if !(self.low..=self.high).contains(&value) {
            // A code is one number again and again.
            self.n_proved += u32::from(value.is_finite() && value != self.last_beyond);
            self.last_beyond = value;
            out.leave_out(Trouble::BeyondRange, time, time, 1);
            return;
        }
        let waiting = std::mem::replace(&mut self.waiting, Waiting::Nothing);
        match waiting {
            Waiting::Nothing => self.follow(time, value, others, out),
            Waiting::One(earlier, one, then) => {
                self.decide((earlier, one, &then), (time, value), others, out);
            }
            Waiting::Two([one, next]) => {
                self.decide_two(one, next, (time, value), out);
                self.follow(time, value, others, out);
            }
            Waiting::Run(mut run) if run.goes_on(time, value) => {
                self.n += 1;
                self.n_repeats += u64::from(!self.rests(value));
                run.take(time, others, &self.habits(value), out);
                self.waiting = Waiting::Run(run);
            }
            Waiting::Run(mut run) => {
                let comes_back = value.abs() * self.rolling > ROLLS;
                if comes_back && run.is_in_doubt() && self.rests(run.value) {
                    self.n_proved += u32::from(run.come_back(time, others, out));
                }
                self.waiting = Waiting::Run(run);
                self.end(out);
                self.follow(time, value, others, out);
            }
        }
        self.quick = match self.waiting {
            Waiting::Nothing => self.belief.stands_out.most(0.0),
            _ => -1.0,
        };
    }

    /// Nothing comes behind what waits: a gap, a cut, the end of the log.
    pub(crate) fn end(&mut self, out: &mut Out) {
        match std::mem::replace(&mut self.waiting, Waiting::Nothing) {
            Waiting::Nothing => {}
            // Nobody bears it out.
            Waiting::One(time, value, _) if self.is_wild(time, value) => {
                out.leave_out(Trouble::StandsOut, time, time, 1);
            }
            Waiting::One(time, value, _) => self.pass(time, value, out),
            Waiting::Two([(time, _), (next_time, next_value)]) => {
                out.leave_out(Trouble::StandsOut, time, time, 1);
                self.pass(next_time, next_value, out);
            }
            Waiting::Run(run) => match run.left_out() {
                Some((from, n)) => {
                    self.n_proved += u32::from(run.has_jumped);
                    out.leave_out(run.trouble(), from, run.latest, n);
                    // What it was before says nothing of now.
                    self.last = f64::NAN;
                }
                None => {
                    run.hand_on(out);
                    let moved = (run.value - self.last).abs();
                    self.moves = (REMEMBERED * self.moves).max(moved);
                    (self.last, self.at) = (run.value, run.latest);
                    if !self.rests(run.value) {
                        self.longest_run = self.longest_run.max(run.n);
                    }
                }
            },
        }
        self.quick = self.belief.stands_out.most(0.0);
    }

    /// The clock is cut.
    pub(crate) fn cut(&mut self, out: &mut Out) {
        self.end(out);
        self.last = f64::NAN;
    }

    #[inline(always)]
    fn believe(&mut self, time: Time, value: f64) {
        // The first number, behind NaN, is no move.
        self.moves = (REMEMBERED * self.moves).max((value - self.last).abs());
        (self.last, self.at) = (value, time);
        self.n += 1;
    }

    fn pass(&mut self, time: Time, value: f64, out: &mut Out) {
        if value == self.last {
            (self.at, self.n) = (time, self.n + 1);
        } else {
            self.believe(time, value);
        }
        out.column.push(time, Some(value));
    }

    /// A sample behind one that is believed.
    fn follow(&mut self, time: Time, value: f64, others: &Others, out: &mut Out) {
        let has_neighbour = !self.last.is_nan() && time.0 - self.at.0 <= GAP_NS;
        let moves_on = |value: f64| !self.rests(value) || others.all_roll(REST);
        if has_neighbour && value == self.last && self.is_wheel && moves_on(value) {
            self.n += 1;
            self.n_repeats += u64::from(!self.rests(value));
            self.waiting = Waiting::Run(Run::new(value, time, others));
        } else if has_neighbour
            && (self.is_wild(time, value)
                || self.is_wheel && (value - self.last).abs() > self.most(0.0))
        {
            self.waiting = Waiting::One(time, value, *others);
        } else {
            self.pass(time, value, out);
        }
    }

    /// Whether it is far from the last sample for the time since then, or 0 at once.
    fn is_wild(&self, time: Time, value: f64) -> bool {
        let period_s = time.since(self.at);
        (value - self.last).abs() > self.most(period_s)
            || self.drops_to_rest(period_s.min(NO_BRAKE_WITHIN_S), value)
    }

    /// Whether a rolling wheel reads 0 at once, as no brake does it within `seconds`; after drop-outs
    /// beyond doubt any wheel that rolled.
    fn drops_to_rest(&self, seconds: f64, value: f64) -> bool {
        let from = match self.is_distrusted() {
            true => REST,
            false => ROLLS.max(NO_BRAKE * seconds),
        };
        self.is_wheel && self.rests(value) && self.last.abs() * self.rolling > from
    }

    fn is_distrusted(&self) -> bool {
        self.is_wheel && self.n_proved >= DISTRUSTED_FROM
    }

    fn stand_out(&mut self, first: Time, last: Time, n: u64, out: &mut Out) {
        self.n_proved += 1;
        out.leave_out(Trouble::StandsOut, first, last, n);
    }

    /// One that may stand out and the others just then, and the sample behind it.
    fn decide(
        &mut self,
        (time, value, then): (Time, f64, &Others),
        next: (Time, f64),
        others: &Others,
        out: &mut Out,
    ) {
        let (one, (next_time, next_value)) = ((time, value), next);
        let is_near = next_time.0 - time.0 <= GAP_NS;
        if is_near && self.is_wheel && value == next_value {
            let period_s = time.since(self.at);
            let mut run = Run::new(value, time, then);
            // A step that a wheel can make is one; one to 0 is judged by whether it can brake so.
            let kerb = self.belief.stands_out.most_of_a_kerb(period_s);
            run.no_brake = self.drops_to_rest(period_s, value);
            let stops = self.rests(value) && self.last.abs() * self.rolling > ROLLS;
            run.has_jumped = stops || run.no_brake || (value - self.last).abs() > kerb;
            run.take(next_time, others, &self.habits(value), out);
            self.waiting = Waiting::Run(run);
            return;
        }
        let period_s = 0.5 * next_time.since(self.at);
        let most = self.most(period_s);
        let (from_last, from_next) = (value - self.last, value - next_value);
        let stands_out = from_last.abs().min(from_next.abs());
        let is_between = from_last * from_next > 0.0;
        let apart = TIMES_NEARER * (next_value - self.last).abs();
        // What no car makes; and what one can in the time between slow samples.
        let is_beyond = is_between && stands_out > most && stands_out > apart.min(2.0 * most);
        let is_suspect =
            self.is_wheel && is_between && stands_out > self.most(0.0) && stands_out > apart;
        let is_deep =
            value.abs() < self.last.abs() && stands_out * self.rolling > DEEPEST_OF_A_KERB;
        let goes_on = match is_suspect && is_deep {
            true => others.go_on(then, next_time.since(time)),
            false => GoesOn::No,
        };
        let is_dip = goes_on == GoesOn::Surely;
        let is_alone = is_beyond || is_suspect && (is_dip || self.is_distrusted());
        let kerb = self.belief.stands_out.most_of_a_kerb(period_s);
        if is_alone && is_near && stands_out <= kerb && (next_value - self.last).abs() <= most {
            self.waiting = Waiting::Two([one, next]);
            return;
        }
        // Beyond what any car makes: nothing bears out a number between two such steps, and one
        // that stays wants a third.
        let impossible = most.max(2.0 * kerb);
        let is_impossible = kerb > 0.0 && stands_out > impossible;
        if !is_alone && !is_impossible && is_near && kerb > 0.0 && from_last.abs() > impossible {
            self.waiting = Waiting::Two([one, next]);
            return;
        }
        if is_near && (is_alone || is_impossible) {
            self.stand_out(time, time, 1, out);
        } else if !is_near && self.is_wild(time, value) {
            out.leave_out(Trouble::StandsOut, time, time, 1);
        } else {
            if is_suspect && is_near {
                self.n_proved += u32::from(goes_on == GoesOn::Seemingly);
                out.leave_out(Trouble::Suspect, time, time, 1);
            }
            self.pass(time, value, out);
        }
        self.follow(next_time, next_value, others, out);
    }

    /// Two of which the first stands out, and the number of the sample behind them.
    fn decide_two(
        &mut self,
        one: (Time, f64),
        next: (Time, f64),
        (time, value): (Time, f64),
        out: &mut Out,
    ) {
        let kerb = self
            .belief
            .stands_out
            .most_of_a_kerb(0.5 * next.0.since(self.at));
        let is_near = time.0 - next.0.0 <= GAP_NS;
        let far = |number: f64| (number - self.last).abs() > 2.0 * kerb;
        if far(one.1) && far(next.1) {
            // It came back, or it is a new level.
            if is_near && TIMES_NEARER * (value - self.last).abs() < (next.1 - self.last).abs() {
                self.stand_out(one.0, next.0, 2, out);
                return;
            }
            self.pass(one.0, one.1, out);
        } else {
            // A wheel that a kerb hit swings on; a step no wheel makes is no swing.
            let swing = (value - next.1).abs();
            let swings_over = (value - next.1) * (one.1 - next.1) < 0.0;
            let swings = swings_over
                && swing <= 2.0 * kerb
                && (one.1 - next.1).abs() <= TIMES_NEARER * swing;
            match is_near && swings {
                true => self.pass(one.0, one.1, out),
                false => self.stand_out(one.0, one.0, 1, out),
            }
        }
        self.pass(next.0, next.1, out);
    }

    /// By how much a number may differ from the last, `period_s` later.
    fn most(&self, period_s: f64) -> f64 {
        let by_time = self.belief.stands_out.most(period_s);
        let by_step = TIMES_NEARER * self.step / self.rolling;
        by_time.max(by_step).max(TIMES_NEARER * self.moves)
    }

    /// Samples to a number of the signal while it moves.
    fn usual_run(&self) -> f64 {
        self.n.max(1) as f64 / (self.n - self.n_repeats).max(1) as f64
    }

    fn habits(&self, value: f64) -> Habits {
        Habits {
            rests: self.rests(value),
            step: self.step,
            usual_run: self.usual_run(),
            longest_run: f64::from(self.longest_run),
        }
    }

    fn rests(&self, value: f64) -> bool {
        value.abs() * self.rolling < REST
    }
}

#[cfg(test)]
mod tests;
