//! Leaves out samples that no car can make, one channel at a time.
//!
//! In: the samples of a channel in the order of the log, and what the other wheels read just then.
//! Out: the samples that stay, and what was left out. A sample that stands out waits for the one
//! behind it, or for two where a kerb may have made it; a wheel that repeats its number waits until it moves, until the others have moved
//! away from it, or for a second. What is left out is no missing sample but a lost one: a bad
//! frame among good ones is bridged like a frame that never came. This judges samples, not
//! sensors: `health` does.

use std::collections::VecDeque;

use halfshaft_model::belief::USUAL_RADIUS_M;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Belief, ChannelSpec, Column, Dimension, LeftOut, Span, Time, Trouble};

/// A sample further from the one before, ns, has no neighbour there. Source: the gap rule of the
/// timeline, max(0.25 s, three periods), and some jitter.
const GAP_NS: i64 = 300_000_000;

/// Repeats wait no longer than this, ns: what is not proved by then is believed. Source: none,
/// engineering guess: twice the least proof.
const HELD_NS: i64 = NS_PER_S;

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

/// The others roll above this, rad/s, 5 km/h. Source: none, engineering guess.
const ROLLS: f64 = 4.0;

/// A wheel that reads 0 straight after more than so many rad/s² would brake it from has dropped
/// out. Source: none, engineering guess: twice what a locking wheel loses.
const NO_BRAKE: f64 = 1_000.0;

/// Time between samples beyond which that is not counted on, s: 25 rad/s, 29 km/h at once.
const NO_BRAKE_WITHIN_S: f64 = 0.025;

/// The others must keep this share of their speed beside a wheel that fell to 0 and stays there
/// for [`PROOF_NS`]: where wheels are locked, the car brakes. Source: none, engineering guess.
const KEPT_SHARE: f64 = 0.85;

/// A signal repeats for at least this long, ns, before it is stuck. Source: none, engineering guess.
const PROOF_NS: i64 = NS_PER_S / 2;

/// The others must have moved by this, rad/s, and by some steps of their number and of this one.
/// Source: none, engineering guess: 0.5 km/h, more than ten times the noise of a wheel speed.
const MOVED: (f64, f64) = (0.4, 3.0);

/// Repeats that prove a jump to a number nobody drives at, in lengths of a usual run of repeats.
/// Source: none, engineering guess; so many more than usual, that a sheet which repeats every
/// sample ten times, or a speed in whole km/h, is not stuck.
const USUAL_RUNS: f64 = 5.0;

/// A wheel that stands for longer than this, ns, while the car drives, is on a car that is towed or
/// on rollers. Source: none, engineering guess; "towed" wants 10 s of it.
const STANDS_FROM_NS: i64 = 8 * NS_PER_S;

/// Fewest repeats: behind a jump, beside several wheels that move, beside one, which may spin.
const LEAST_REPEATS: [f64; 3] = [3.0, 5.0, 25.0];

/// Others that must be known and gain speed beside a wheel that stands.
const LEAST_GAINING: usize = 3;

/// Beside one wheel alone a run must be so many times the longest that moved on by itself.
const LONGEST_RUNS: f64 = 4.0;

/// Most channels that say how fast the car goes: four wheels and the road speed.
pub(crate) const N_ROLLING: usize = 5;

/// What the channels that say how fast the car goes read, rad/s; NaN where one says nothing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Others {
    pub(crate) speeds: [f64; N_ROLLING],
    pub(crate) steps: [f64; N_ROLLING],
}

/// Where samples go.
pub(crate) struct Out<'a> {
    pub(crate) channel: usize,
    pub(crate) column: &'a mut Column,
    pub(crate) left_out: &'a mut Vec<LeftOut>,
}

/// The watch over one channel.
#[derive(Clone, Debug)]
pub(crate) struct Watch {
    // What is asked of every sample: how near the last one it is, unless something waits, and the
    // range.
    quick: f64,
    last: f64,
    low: f64,
    high: f64,
    // Of the last number: when it was sampled, and since when it is that.
    at: Time,
    changed: Time,
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
    // A wheel that stands while the car drives: it is towed, and no sensor is stuck.
    stands: bool,
    waiting: Waiting,
}

#[derive(Clone, Debug)]
enum Waiting {
    Nothing,
    /// One that may stand out.
    One(Time, f64),
    /// One that does, by what a kerb can do: there the wheel swings on behind it. Or one that no
    /// car makes, and another near it: both stay there, or both are bad.
    Two([(Time, f64); 2]),
    /// A number that does not change.
    Run(Run),
}

#[derive(Clone, Debug)]
struct Run {
    value: f64,
    // It is not the number before that is repeated, but one that was jumped to.
    has_jumped: bool,
    no_brake: bool,
    since: Time,
    latest: Time,
    n: u32,
    times: VecDeque<Time>,
    others: Others,
    n_others_moved: u32,
    others_seen: [f64; N_ROLLING],
    // From where on it is left out, and how many were.
    proved: Option<(Time, u64)>,
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
            changed: Time(0),
            moves: 0.0,
            belief,
            is_wheel,
            rolling,
            step: spec.step.unwrap_or(0.0).abs() * rolling,
            n: 0,
            n_repeats: 0,
            longest_run: 0,
            stands: false,
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
        let wait_ns = match self.waiting {
            Waiting::Run(_) => HELD_NS,
            _ => GAP_NS,
        };
        Some(Time(since.0.saturating_add(wait_ns)))
    }

    /// The oldest sample that waits.
    pub(crate) fn waits_since(&self) -> Option<Time> {
        match &self.waiting {
            Waiting::Nothing => None,
            Waiting::One(time, _) | Waiting::Two([(time, _), _]) => Some(*time),
            Waiting::Run(run) => run.times.front().copied(),
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
            out.leave_out(Trouble::BeyondRange, time, time, 1);
            return;
        }
        let waiting = std::mem::replace(&mut self.waiting, Waiting::Nothing);
        match waiting {
            Waiting::Nothing => self.follow(time, value, others, out),
            Waiting::One(earlier, one) => self.decide((earlier, one), (time, value), others, out),
            Waiting::Two([one, next]) => {
                self.decide_two(one, next, (time, value), out);
                self.follow(time, value, others, out);
            }
            Waiting::Run(run) if self.rests(value) && run.is_no_fault(time, value) => {
                self.waiting = Waiting::Run(run);
                self.end(out);
                self.pass(time, value, out);
                self.stands = true;
            }
            Waiting::Run(mut run) if run.goes_on(time, value) => {
                self.n += 1;
                self.n_repeats += u64::from(!self.rests(value));
                run.take(time, others, self, out);
                self.waiting = Waiting::Run(run);
            }
            Waiting::Run(run) => {
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
            Waiting::One(time, _) => out.leave_out(Trouble::StandsOut, time, time, 1),
            Waiting::Two([(time, _), (next_time, next_value)]) => {
                out.leave_out(Trouble::StandsOut, time, time, 1);
                self.pass(next_time, next_value, out);
            }
            Waiting::Run(run) => match run.proved {
                Some((from, n)) => {
                    out.leave_out(run.trouble(), from, run.latest, n);
                    // What it was before says nothing of now.
                    self.last = f64::NAN;
                }
                None => {
                    for time in &run.times {
                        out.column.push(*time, Some(run.value));
                    }
                    let moved = (run.value - self.last).abs();
                    self.moves = (REMEMBERED * self.moves).max(moved);
                    (self.last, self.at, self.changed) = (run.value, run.latest, run.since);
                    self.longest_run = self.longest_run.max(run.n);
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
        (self.last, self.at, self.changed) = (value, time, time);
        self.stands = false;
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
        if has_neighbour && value == self.last && self.is_wheel && moves_on(value) && !self.stands {
            self.n += 1;
            self.n_repeats += u64::from(!self.rests(value));
            self.waiting = Waiting::Run(Run::new(value, time, others));
        } else if has_neighbour
            && ((value - self.last).abs() > self.most(time.since(self.at), time)
                || self.drops_to_rest(time, value))
        {
            self.waiting = Waiting::One(time, value);
        } else {
            self.pass(time, value, out);
        }
    }

    /// Whether a rolling wheel reads 0 at once, as no brake does it.
    fn drops_to_rest(&self, time: Time, value: f64) -> bool {
        let brake = NO_BRAKE * time.since(self.at).min(NO_BRAKE_WITHIN_S);
        self.is_wheel && self.rests(value) && self.last.abs() * self.rolling > brake.max(ROLLS)
    }

    /// One that may stand out, and the sample behind it.
    fn decide(&mut self, one: (Time, f64), next: (Time, f64), others: &Others, out: &mut Out) {
        let ((time, value), (next_time, next_value)) = (one, next);
        let is_near = next_time.0 - time.0 <= GAP_NS;
        if is_near && self.is_wheel && value == next_value {
            let period_s = time.since(self.at);
            let mut run = Run::new(value, time, others);
            // A step that a wheel can make is one; one to 0 is judged by whether it can brake so.
            let kerb = self.belief.stands_out.most_of_a_kerb(period_s);
            run.has_jumped = self.rests(value) || (value - self.last).abs() > kerb;
            run.no_brake = self.drops_to_rest(time, value);
            run.take(next_time, others, self, out);
            self.waiting = Waiting::Run(run);
            return;
        }
        let period_s = 0.5 * next_time.since(self.at);
        let most = self.most(period_s, next_time);
        let (from_last, from_next) = (value - self.last, value - next_value);
        let stands_out = from_last.abs().min(from_next.abs());
        let is_alone = from_last * from_next > 0.0
            && stands_out > most
            && stands_out > (TIMES_NEARER * (next_value - self.last).abs()).min(2.0 * most);
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
        if is_alone || is_impossible || !is_near {
            out.leave_out(Trouble::StandsOut, time, time, 1);
        } else {
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
                out.leave_out(Trouble::StandsOut, one.0, next.0, 2);
                return;
            }
            self.pass(one.0, one.1, out);
        } else {
            // A wheel that a kerb hit swings on; a step no wheel makes is no swing.
            let swing = (value - next.1).abs();
            let swings = swing <= 2.0 * kerb && (one.1 - next.1).abs() <= TIMES_NEARER * swing;
            match is_near && swings {
                true => self.pass(one.0, one.1, out),
                false => out.leave_out(Trouble::StandsOut, one.0, one.0, 1),
            }
        }
        self.pass(next.0, next.1, out);
    }

    /// By how much a number may differ from the last, `period_s` later.
    fn most(&self, period_s: f64, time: Time) -> f64 {
        // Where every number is repeated some times, the next one is as much later.
        let n_held = 2.0 * self.usual_run().floor() - 1.0;
        let held_s = (n_held * period_s).min(time.since(self.changed));
        let by_time = self.belief.stands_out.most(period_s.max(held_s));
        let by_step = TIMES_NEARER * self.step / self.rolling;
        by_time.max(by_step).max(TIMES_NEARER * self.moves)
    }

    /// Samples to a number of the signal while it moves.
    fn usual_run(&self) -> f64 {
        self.n.max(1) as f64 / (self.n - self.n_repeats).max(1) as f64
    }

    fn rests(&self, value: f64) -> bool {
        value.abs() * self.rolling < REST
    }
}

impl Run {
    fn new(value: f64, time: Time, others: &Others) -> Run {
        Run {
            value,
            has_jumped: false,
            no_brake: false,
            since: time,
            latest: time,
            n: 1,
            times: VecDeque::from([time]),
            others: *others,
            n_others_moved: 0,
            others_seen: others.speeds,
            proved: None,
        }
    }

    fn goes_on(&self, time: Time, value: f64) -> bool {
        value == self.value && time.0 - self.latest.0 <= GAP_NS
    }

    /// Whether a wheel has stood for so long that it does stand.
    fn is_no_fault(&self, time: Time, value: f64) -> bool {
        self.goes_on(time, value) && time.0 - self.since.0 > STANDS_FROM_NS
    }

    fn trouble(&self) -> Trouble {
        match self.has_jumped {
            true => Trouble::DropsOut,
            false => Trouble::Stuck,
        }
    }

    fn take(&mut self, time: Time, others: &Others, watch: &Watch, out: &mut Out) {
        (self.latest, self.n) = (time, self.n + 1);
        if let Some((_, n)) = &mut self.proved {
            *n += 1;
            return;
        }
        self.times.push_back(time);
        let moves = others.speeds != self.others_seen && others.speeds.iter().any(|s| !s.is_nan());
        self.n_others_moved += u32::from(moves);
        self.others_seen = others.speeds;
        if self.is_proof(others, watch) {
            let first = self.times.front().copied().unwrap_or(time);
            self.proved = Some((first, self.times.len() as u64));
            self.times = VecDeque::new();
        } else {
            self.hand_on_old(time, out);
        }
    }

    fn hand_on_old(&mut self, time: Time, out: &mut Out) {
        while let Some(old) = self.times.pop_front_if(|old| time.0 - old.0 >= HELD_NS) {
            out.column.push(old, Some(self.value));
        }
    }

    /// Whether the car has moved on without this wheel.
    fn is_proof(&self, others: &Others, watch: &Watch) -> bool {
        let n = f64::from(self.n);
        let usual = USUAL_RUNS * watch.usual_run();
        let lasts = self.latest.0 - self.since.0 >= PROOF_NS;
        if self.has_jumped {
            let mut rolling = others
                .speeds
                .iter()
                .zip(&self.others.speeds)
                .filter(|(now, _)| !now.is_nan());
            let roll =
                rolling.clone().count() > 0 && rolling.clone().all(|(now, _)| now.abs() > ROLLS);
            let keep = rolling.all(|(now, then)| now.abs() >= KEPT_SHARE * then.abs());
            return match watch.rests(self.value) {
                true => roll && (self.no_brake || (lasts && keep)),
                false => roll && n >= usual.max(LEAST_REPEATS[0]),
            };
        }
        let (mut n_known, mut n_moved) = (0, 0);
        if watch.rests(self.value) {
            // A wheel on ice or a lifted one may stand while one or two turn, and a locked one
            // while the car brakes: not while all others gain speed.
            return lasts && others.all_gain(&self.others);
        }
        for (index, now) in others.speeds.iter().enumerate() {
            let moved = (now - self.others.speeds[index]).abs();
            let steps = watch.step.max(others.steps[index]);
            n_known += u32::from(!moved.is_nan());
            n_moved += u32::from(moved > MOVED.0 + MOVED.1 * steps);
        }
        let least = match n_moved {
            0 => return false,
            1 if n_known == 1 => {
                let longest = LONGEST_RUNS * f64::from(watch.longest_run);
                LEAST_REPEATS[2].max(longest)
            }
            // Into a bend a wheel may keep its speed, and the one before or behind it, while those of
            // the other side change; one of several that moves may be spinning.
            _ if n_moved < n_known => return false,
            _ => LEAST_REPEATS[1],
        };
        lasts && n >= usual.max(least) && f64::from(self.n_others_moved) >= LEAST_REPEATS[1]
    }
}

impl Others {
    fn known(&self) -> impl Iterator<Item = f64> {
        self.speeds.into_iter().filter(|speed| !speed.is_nan())
    }

    /// Whether three at least are known, and all of them turn faster than that.
    fn all_roll(&self, from: f64) -> bool {
        self.known().count() >= LEAST_GAINING && self.known().all(|speed| speed.abs() > from)
    }

    /// Whether all of them, three at least, roll and are faster than they were.
    fn all_gain(&self, then: &Others) -> bool {
        let gains = |(now, then): (&f64, &f64)| now.is_nan() || now.abs() > then.abs() + MOVED.0;
        self.all_roll(ROLLS) && self.speeds.iter().zip(&then.speeds).all(gains)
    }
}

impl Out<'_> {
    fn leave_out(&mut self, trouble: Trouble, first: Time, last: Time, n: u64) {
        self.left_out.push(LeftOut {
            channel: self.channel,
            trouble,
            span: Span {
                start: first,
                end: Time(last.0.saturating_add(1)),
            },
            n,
        });
    }
}

#[cfg(test)]
mod tests;
