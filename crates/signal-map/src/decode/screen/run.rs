//! A wheel that repeats one number: it rests, rolls steadily, is stuck or has dropped out.
//!
//! In: each repeat, and what the other wheels read just then. Out: the samples, once the wheel has
//! moved on by itself or a second has passed; nothing of it where the others have moved away.

use std::collections::VecDeque;

use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Column, LeftOut, Span, Time, Trouble};

/// A sample further from the one before, ns, has no neighbour there. Source: the gap rule of the
/// timeline, max(0.25 s, three periods), and some jitter.
pub(super) const GAP_NS: i64 = 300_000_000;

/// Repeats wait no longer than this, ns: what is not proved by then is believed. Source: none,
/// engineering guess: twice the least proof.
const HELD_NS: i64 = NS_PER_S;

/// A wheel that stands beside others that gain speed stands truly after so long, ns, as one on a
/// dolly does. Source: none, engineering guess: what counts as no driving takes as long.
const TOWED_NS: i64 = 10 * NS_PER_S;

/// The others roll above this, rad/s, 5 km/h. Source: none, engineering guess.
pub(super) const ROLLS: f64 = 4.0;

/// A wheel that locks brakes the car by so much at least, rad/s of the others each second, on a wet
/// road. Source: none, engineering guess: 2 m/s²; on ice it is less, and a short lock-up of one wheel
/// there is lost.
const LOCKED_SLOWS: f64 = 6.0;

/// What the others lost may be off by this, rad/s, for noise of 0.2 km/h of three wheels, and by this
/// share of a step over the root of their number. Source: none, engineering guess: twice the
/// standard deviation, and one and a half times.
const OFF_BY: (f64, f64) = (0.3, 0.6);

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

/// What is usual of the wheel.
#[derive(Clone, Copy, Debug)]
pub(super) struct Habits {
    /// The number is that of a wheel at rest.
    pub(super) rests: bool,
    /// Step of its number, rad/s.
    pub(super) step: f64,
    /// Samples to a number while it moves, and most of them.
    pub(super) usual_run: f64,
    pub(super) longest_run: f64,
}

/// A wheel that repeats one number.
#[derive(Clone, Debug)]
pub(super) struct Run {
    pub(super) value: f64,
    /// It is not the number before that is repeated, but one that was jumped to.
    pub(super) has_jumped: bool,
    /// No brake takes a wheel from that number to this.
    pub(super) no_brake: bool,
    since: Time,
    pub(super) latest: Time,
    pub(super) n: u32,
    times: VecDeque<Time>,
    others: Others,
    n_others_moved: u32,
    others_seen: [f64; N_ROLLING],
    // From where on it is left out, and how many were.
    proved: Option<(Time, u64)>,
    stands: Stands,
}

/// Whether the car went on while a wheel read less.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum GoesOn {
    Surely,
    /// By no more than noise and steps of the numbers hide.
    Seemingly,
    /// It braked, or nothing shows it.
    No,
}

/// A wheel that stands while all others gain speed: its sensor is dead until it wakes, or it is on
/// a dolly.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Stands {
    WithTheCar,
    Alone,
    /// For so long that it does stand.
    Truly,
}

impl Run {
    /// From a sample on.
    pub(super) fn new(value: f64, time: Time, others: &Others) -> Run {
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
            stands: Stands::WithTheCar,
        }
    }

    /// Whether it does.
    pub(super) fn goes_on(&self, time: Time, value: f64) -> bool {
        value == self.value && time.0 - self.latest.0 <= GAP_NS
    }

    /// What is wrong where it is left out.
    pub(super) fn trouble(&self) -> Trouble {
        match self.has_jumped {
            true => Trouble::DropsOut,
            false => Trouble::Stuck,
        }
    }

    /// Takes a sample that goes on.
    pub(super) fn take(&mut self, time: Time, others: &Others, habits: &Habits, out: &mut Out) {
        (self.latest, self.n) = (time, self.n + 1);
        if let Some((_, n)) = &mut self.proved {
            *n += 1;
            return;
        }
        self.times.push_back(time);
        let moves = others.speeds != self.others_seen && others.speeds.iter().any(|s| !s.is_nan());
        self.n_others_moved += u32::from(moves);
        self.others_seen = others.speeds;
        // A wheel on ice or a lifted one may stand while one or two turn, and a locked one while
        // the car brakes: not while all others gain speed.
        let alone = self.stands == Stands::WithTheCar && habits.rests && !self.has_jumped;
        if alone && self.latest.0 - self.since.0 >= PROOF_NS && others.all_gain(&self.others) {
            self.stands = Stands::Alone;
        }
        if self.is_proof(others, habits) {
            let first = self.times.front().copied().unwrap_or(time);
            self.proved = Some((first, self.times.len() as u64));
            self.times = VecDeque::new();
        } else {
            self.hand_on_old(time, out);
        }
    }

    /// The oldest sample that waits.
    pub(super) fn held_since(&self) -> Option<Time> {
        self.times.front().copied()
    }

    /// Hands on all that wait.
    pub(super) fn hand_on(&self, out: &mut Out) {
        for time in &self.times {
            out.column.push(*time, Some(self.value));
        }
    }

    /// How long samples wait, ns.
    pub(super) fn held_ns(&self) -> i64 {
        match self.stands {
            Stands::Alone => TOWED_NS,
            _ => HELD_NS,
        }
    }

    /// Hands on what has waited long enough.
    pub(super) fn hand_on_old(&mut self, time: Time, out: &mut Out) {
        let held_ns = self.held_ns();
        while let Some(old) = self.times.pop_front_if(|old| time.0 - old.0 >= held_ns) {
            out.column.push(old, Some(self.value));
            if self.stands == Stands::Alone {
                self.stands = Stands::Truly;
            }
        }
    }

    /// From where on it is left out when it ends here, and how many.
    pub(super) fn left_out(&self) -> Option<(Time, u64)> {
        let held = self.times.front().filter(|_| self.stands == Stands::Alone);
        self.proved
            .or(held.map(|first| (*first, self.times.len() as u64)))
    }

    /// Whether it fell to a number and nothing shows yet that it could not.
    pub(super) fn is_in_doubt(&self) -> bool {
        self.has_jumped && self.proved.is_none()
    }

    /// It has come back from 0: where the car went on meanwhile it had dropped out, and where the car
    /// braked it may have been locked. Whether it stays, and the car seems to have gone on.
    pub(super) fn come_back(&mut self, time: Time, others: &Others, out: &mut Out) -> bool {
        let goes_on = others.go_on(&self.others, time.since(self.since));
        let first = self.times.front().copied();
        match first.filter(|_| goes_on == GoesOn::Surely) {
            Some(first) => self.proved = Some((first, self.times.len() as u64)),
            // One that stands for longer has been handed on in part: it stood.
            None if self.times.len() == self.n as usize => {
                out.leave_out(Trouble::Suspect, self.since, self.latest, u64::from(self.n));
            }
            None => {}
        }
        goes_on == GoesOn::Seemingly
    }

    /// Whether the car has moved on without this wheel.
    fn is_proof(&self, others: &Others, habits: &Habits) -> bool {
        let n = f64::from(self.n);
        let usual = USUAL_RUNS * habits.usual_run;
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
            return match habits.rests {
                true => {
                    let seconds = self.latest.since(self.since);
                    let goes_on = || others.go_on(&self.others, seconds) == GoesOn::Surely;
                    roll && (self.no_brake || (lasts && keep) || goes_on())
                }
                false => roll && n >= usual.max(LEAST_REPEATS[0]),
            };
        }
        if habits.rests {
            return false;
        }
        let (mut n_known, mut n_moved) = (0, 0);
        for (index, now) in others.speeds.iter().enumerate() {
            let moved = (now - self.others.speeds[index]).abs();
            let steps = habits.step.max(others.steps[index]);
            n_known += u32::from(!moved.is_nan());
            n_moved += u32::from(moved > MOVED.0 + MOVED.1 * steps);
        }
        let least = match n_moved {
            0 => return false,
            1 if n_known == 1 => {
                let longest = LONGEST_RUNS * habits.longest_run;
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
    pub(super) fn all_roll(&self, from: f64) -> bool {
        self.known().count() >= LEAST_GAINING && self.known().all(|speed| speed.abs() > from)
    }

    /// Whether they roll and have in so many seconds slowed by less than a car does of which a wheel
    /// locks.
    pub(super) fn go_on(&self, then: &Others, seconds: f64) -> GoesOn {
        let (mut n, mut lost, mut step) = (0.0_f64, 0.0, 0.0);
        for (index, now) in self.speeds.iter().enumerate() {
            let lost_by = then.speeds[index].abs() - now.abs();
            if now.abs() <= ROLLS {
                return GoesOn::No;
            }
            if !lost_by.is_nan() {
                (n, lost, step) = (n + 1.0, lost + lost_by, step + self.steps[index]);
            }
        }
        let off_by = OFF_BY.0 + OFF_BY.1 * step / n / n.sqrt();
        let least = LOCKED_SLOWS * seconds;
        match lost / n {
            lost if lost + off_by <= least => GoesOn::Surely,
            lost if 2.0 * lost <= least => GoesOn::Seemingly,
            _ => GoesOn::No,
        }
    }

    /// Whether all of them, three at least, roll and are faster than they were.
    fn all_gain(&self, then: &Others) -> bool {
        let gains = |(now, then): (&f64, &f64)| now.is_nan() || now.abs() > then.abs() + MOVED.0;
        self.all_roll(ROLLS) && self.speeds.iter().zip(&then.speeds).all(gains)
    }
}

impl Out<'_> {
    /// Notes so many samples that are left out.
    pub(super) fn leave_out(&mut self, trouble: Trouble, first: Time, last: Time, n: u64) {
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
