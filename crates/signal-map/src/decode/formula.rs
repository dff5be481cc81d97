//! Evaluates formulas: one value out for the freshest values in.
//!
//! In: a formula of the map and the freshest sample of each channel. Out: a value or
//! missing. Missing in is missing out, except in the branch of an `If` not taken.
//! Delays and low passes carry state; it is bounded and ends at a cut.

use std::collections::VecDeque;

use halfshaft_model::{Table, Time};

use crate::map::{Comparison, Formula, NamedTable};

/// Samples a delay keeps at most; with more, it keeps them further apart.
const DELAY_SAMPLES: f64 = 2048.0;
/// Numbers this close, relative to the greater, are equal: scale factors are not exact.
const EQUAL: f64 = 1e-9;

/// The freshest sample of a channel.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Fresh {
    /// When it was taken, and its value; `None` before the first and after a cut.
    pub(crate) sample: Option<(Time, Option<f64>)>,
    /// How long it counts, s.
    pub(crate) reach_s: f64,
}

impl Fresh {
    fn at(&self, now: Time) -> Option<f64> {
        let (time, value) = self.sample?;
        if now.since(time) > self.reach_s {
            None
        } else {
            value
        }
    }
}

/// A formula with its state.
#[derive(Clone, Debug)]
pub(crate) struct Evaluator {
    root: Node,
    /// Channels it reads, each once.
    pub(crate) inputs: Vec<usize>,
}

impl Evaluator {
    pub(crate) fn new(formula: &Formula, tables: &[NamedTable]) -> Evaluator {
        let mut inputs = Vec::new();
        let root = compile(formula, tables, &mut inputs);
        inputs.sort_unstable();
        inputs.dedup();
        Evaluator { root, inputs }
    }

    /// The value now. Call with times that rise.
    pub(crate) fn value(&mut self, now: Time, fresh: &[Fresh]) -> Option<f64> {
        let reach_s = self
            .inputs
            .iter()
            .filter_map(|&input| fresh.get(input))
            .map(|input| input.reach_s);
        let moment = Moment {
            now,
            fresh,
            reach_s: reach_s.fold(0.0, f64::max),
        };
        self.root.value(&moment)
    }

    /// Forgets the past.
    pub(crate) fn cut(&mut self) {
        self.root.cut();
    }
}

struct Moment<'a> {
    now: Time,
    fresh: &'a [Fresh],
    // How far apart two values of the same formula may be to belong together.
    reach_s: f64,
}

#[derive(Clone, Debug)]
enum Node {
    Number(f64),
    Channel(usize),
    Pair(fn(f64, f64) -> Option<f64>, Box<[Node; 2]>),
    Single(fn(f64) -> f64, Box<Node>),
    Least(Vec<Node>),
    Greatest(Vec<Node>),
    Mean(Vec<Node>),
    Clamp(Box<[Node; 3]>),
    Table(Option<Table>, Vec<Node>),
    Delay(Box<Node>, Past),
    LowPass(Box<Node>, Smoother),
    // What to compare, then the two branches.
    If(fn(f64, f64) -> bool, Box<[Node; 4]>),
}

fn compile(formula: &Formula, tables: &[NamedTable], inputs: &mut Vec<usize>) -> Node {
    let mut of = |part: &Formula| compile(part, tables, inputs);
    match formula {
        Formula::Number(number) => Node::Number(*number),
        Formula::Channel(channel) => {
            inputs.push(*channel);
            Node::Channel(*channel)
        }
        Formula::Negative(a) => Node::Single(|a| -a, Box::new(of(a))),
        Formula::Absolute(a) => Node::Single(f64::abs, Box::new(of(a))),
        Formula::Sum(a, b) => Node::Pair(|a, b| Some(a + b), Box::new([of(a), of(b)])),
        Formula::Difference(a, b) => Node::Pair(|a, b| Some(a - b), Box::new([of(a), of(b)])),
        Formula::Product(a, b) => Node::Pair(|a, b| Some(a * b), Box::new([of(a), of(b)])),
        Formula::Quotient(a, b) => Node::Pair(
            |a, b| if b == 0.0 { None } else { Some(a / b) },
            Box::new([of(a), of(b)]),
        ),
        Formula::Least(parts) => Node::Least(parts.iter().map(of).collect()),
        Formula::Greatest(parts) => Node::Greatest(parts.iter().map(of).collect()),
        Formula::Mean(parts) => Node::Mean(parts.iter().map(of).collect()),
        Formula::Clamp(a, low, high) => Node::Clamp(Box::new([of(a), of(low), of(high)])),
        Formula::Table(index, parts) => {
            let table = tables.get(*index).map(|named| named.table.clone());
            Node::Table(table, parts.iter().map(of).collect())
        }
        Formula::Delay(a, delay_s) => Node::Delay(Box::new(of(a)), Past::new(*delay_s)),
        Formula::LowPass(a, time_constant_s) => Node::LowPass(
            Box::new(of(a)),
            Smoother {
                time_constant_s: *time_constant_s,
                state: None,
            },
        ),
        Formula::If(comparison, then, otherwise) => {
            let (holds, a, b): (fn(f64, f64) -> bool, _, _) = match comparison.as_ref() {
                Comparison::Less(a, b) => (|a, b| a < b, a, b),
                Comparison::LessOrEqual(a, b) => (|a, b| a <= b, a, b),
                Comparison::Equal(a, b) => {
                    (|a, b| (a - b).abs() <= EQUAL * a.abs().max(b.abs()), a, b)
                }
            };
            Node::If(holds, Box::new([of(a), of(b), of(then), of(otherwise)]))
        }
    }
}

impl Node {
    // Every part is evaluated every time, so that state in a branch not taken stays fresh.
    fn value(&mut self, moment: &Moment) -> Option<f64> {
        let value = match self {
            Node::Number(number) => Some(*number),
            Node::Channel(channel) => moment.fresh.get(*channel)?.at(moment.now),
            Node::Pair(join, parts) => match parts.each_mut().map(|part| part.value(moment)) {
                [Some(a), Some(b)] => join(a, b),
                _ => None,
            },
            Node::Single(change, part) => part.value(moment).map(*change),
            Node::Least(parts) => fold(parts, moment, f64::min),
            Node::Greatest(parts) => fold(parts, moment, f64::max),
            Node::Mean(parts) => {
                let n = parts.len() as f64;
                fold(parts, moment, |a, b| a + b).map(|sum| sum / n)
            }
            Node::Clamp(parts) => match parts.each_mut().map(|part| part.value(moment)) {
                [Some(a), Some(low), Some(high)] => Some(a.max(low).min(high)),
                _ => None,
            },
            Node::Table(table, parts) => {
                let mut at = [None; 2];
                let mut is_complete = true;
                for (n, part) in parts.iter_mut().enumerate() {
                    let value = part.value(moment);
                    is_complete &= value.is_some();
                    if let Some(place) = at.get_mut(n) {
                        *place = value;
                    }
                }
                match (table, at[0]) {
                    (Some(table), Some(x)) if is_complete => table.at(x, at[1]),
                    _ => None,
                }
            }
            Node::Delay(part, past) => {
                let value = part.value(moment);
                past.delayed(moment, value)
            }
            Node::LowPass(part, smoother) => {
                let value = part.value(moment);
                smoother.smoothed(moment, value)
            }
            Node::If(holds, parts) => {
                let [a, b, then, otherwise] = parts.each_mut().map(|part| part.value(moment));
                match (a, b) {
                    (Some(a), Some(b)) => {
                        if holds(a, b) {
                            then
                        } else {
                            otherwise
                        }
                    }
                    _ => None,
                }
            }
        };
        value.filter(|value| value.is_finite())
    }

    fn cut(&mut self) {
        match self {
            Node::Number(_) | Node::Channel(_) => {}
            Node::Pair(_, parts) => parts.iter_mut().for_each(Node::cut),
            Node::Single(_, part) => part.cut(),
            Node::Least(parts)
            | Node::Greatest(parts)
            | Node::Mean(parts)
            | Node::Table(_, parts) => {
                parts.iter_mut().for_each(Node::cut);
            }
            Node::Clamp(parts) => parts.iter_mut().for_each(Node::cut),
            Node::If(_, parts) => parts.iter_mut().for_each(Node::cut),
            Node::Delay(part, past) => {
                part.cut();
                past.samples.clear();
            }
            Node::LowPass(part, smoother) => {
                part.cut();
                smoother.state = None;
            }
        }
    }
}

fn fold(parts: &mut [Node], moment: &Moment, join: fn(f64, f64) -> f64) -> Option<f64> {
    let mut all = None;
    let mut is_complete = true;
    for part in parts {
        match (part.value(moment), all) {
            (None, _) => is_complete = false,
            (Some(value), None) => all = Some(value),
            (Some(value), Some(sum)) => all = Some(join(sum, value)),
        }
    }
    all.filter(|_| is_complete)
}

/// What a delay remembers: the newest sample that is old enough, and all newer ones.
#[derive(Clone, Debug)]
struct Past {
    delay_s: f64,
    samples: VecDeque<(Time, Option<f64>)>,
}

impl Past {
    fn new(delay_s: f64) -> Past {
        Past {
            delay_s: delay_s.max(0.0),
            samples: VecDeque::new(),
        }
    }

    // Held, not interpolated: a delayed command is still a command.
    fn delayed(&mut self, moment: &Moment, value: Option<f64>) -> Option<f64> {
        let spacing_s = self.delay_s / DELAY_SAMPLES;
        let is_apart = self
            .samples
            .back()
            .is_none_or(|(time, _)| moment.now.since(*time) >= spacing_s);
        if is_apart {
            self.samples.push_back((moment.now, value));
        }
        let wanted = moment.now.plus(-self.delay_s);
        while self.samples.get(1).is_some_and(|(time, _)| *time <= wanted) {
            self.samples.pop_front();
        }
        let (time, value) = *self.samples.front()?;
        let is_near = time <= wanted && wanted.since(time) <= moment.reach_s;
        value.filter(|_| is_near)
    }
}

/// A first-order low pass: dy/dt = (x − y) / τ, exact for a straight line from sample to sample.
#[derive(Clone, Debug)]
struct Smoother {
    time_constant_s: f64,
    // Time, input and output of the sample before.
    state: Option<(Time, f64, f64)>,
}

impl Smoother {
    fn smoothed(&mut self, moment: &Moment, value: Option<f64>) -> Option<f64> {
        // A missing input ends the memory only when it lasts: one lost sample does not.
        let value = value?;
        let output = match self.state {
            Some((time, input, output)) if moment.now.since(time) <= moment.reach_s => {
                let ratio = moment.now.since(time) / self.time_constant_s;
                if ratio > 0.0 && ratio.is_finite() {
                    let decay = (-ratio).exp();
                    let lag = (value - input) * -(-ratio).exp_m1() / ratio;
                    value + (output - input) * decay - lag
                } else {
                    // No time constant: nothing is smoothed. No time: nothing moved.
                    if self.time_constant_s > 0.0 {
                        output
                    } else {
                        value
                    }
                }
            }
            _ => value,
        };
        self.state = Some((moment.now, value, output));
        Some(output)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Formula::*;

    fn fresh(values: &[Option<f64>], now: Time) -> Vec<Fresh> {
        values
            .iter()
            .map(|&value| Fresh {
                sample: Some((now, value)),
                reach_s: 0.25,
            })
            .collect()
    }

    fn boxed(number: f64) -> Box<Formula> {
        Box::new(Number(number))
    }

    #[track_caller]
    fn check(formula: Formula, want: Option<f64>) {
        let table = halfshaft_model::Table::one(
            vec![0.0, 1.0],
            vec![10.0, 20.0],
            halfshaft_model::Beyond::Refuse,
        )
        .unwrap();
        let tables = [NamedTable {
            name: "t".to_owned(),
            table,
        }];
        let mut evaluator = Evaluator::new(&formula, &tables);
        // Channel 0 is 7, channel 1 is missing.
        let got = evaluator.value(Time(0), &fresh(&[Some(7.0), None], Time(0)));
        assert_eq!(got, want, "{formula:?}");
    }

    #[test]
    fn every_kind_of_formula() {
        let missing = || Box::new(Channel(1));
        check(Number(2.5), Some(2.5));
        check(Channel(0), Some(7.0));
        check(Channel(1), None);
        check(Channel(99), None);
        check(Negative(boxed(2.0)), Some(-2.0));
        check(Absolute(boxed(-2.0)), Some(2.0));
        check(Sum(boxed(2.0), boxed(3.0)), Some(5.0));
        check(Sum(boxed(2.0), missing()), None);
        check(Difference(boxed(2.0), boxed(3.0)), Some(-1.0));
        check(Product(boxed(2.0), boxed(3.0)), Some(6.0));
        check(Quotient(boxed(3.0), boxed(2.0)), Some(1.5));
        check(Quotient(boxed(3.0), boxed(0.0)), None);
        check(Product(boxed(1e300), boxed(1e300)), None);
        check(
            Least(vec![Number(3.0), Number(-1.0), Channel(0)]),
            Some(-1.0),
        );
        check(
            Greatest(vec![Number(3.0), Number(-1.0), Channel(0)]),
            Some(7.0),
        );
        check(Mean(vec![Number(3.0), Number(-1.0), Channel(0)]), Some(3.0));
        check(Mean(vec![Number(3.0), Channel(1)]), None);
        check(Mean(vec![]), None);
        check(Clamp(boxed(9.0), boxed(0.0), boxed(4.0)), Some(4.0));
        check(Clamp(boxed(-9.0), boxed(0.0), boxed(4.0)), Some(0.0));
        check(Clamp(boxed(1.0), boxed(4.0), boxed(0.0)), Some(0.0));
        check(Formula::Table(0, vec![Number(0.5)]), Some(15.0));
        check(Formula::Table(0, vec![Number(1.5)]), None);
        check(Formula::Table(0, vec![Channel(1)]), None);
        check(Formula::Table(9, vec![Number(0.5)]), None);
        check(Delay(boxed(4.0), 0.0), Some(4.0));
        check(Delay(boxed(4.0), 0.1), None);
        check(LowPass(boxed(4.0), 0.1), Some(4.0));
        check(LowPass(boxed(4.0), 0.0), Some(4.0));
        let branch = |comparison| If(Box::new(comparison), boxed(1.0), boxed(0.0));
        check(
            branch(Comparison::Less(Number(1.0), Number(2.0))),
            Some(1.0),
        );
        check(
            branch(Comparison::Less(Number(2.0), Number(2.0))),
            Some(0.0),
        );
        check(
            branch(Comparison::LessOrEqual(Number(2.0), Number(2.0))),
            Some(1.0),
        );
        check(
            branch(Comparison::Equal(Number(0.3), Number(0.1 + 0.2))),
            Some(1.0),
        );
        check(
            branch(Comparison::Equal(Number(0.3), Number(0.31))),
            Some(0.0),
        );
        check(branch(Comparison::Equal(Number(0.3), Channel(1))), None);
        // A branch not taken may be missing.
        check(
            If(
                Box::new(Comparison::Less(Number(1.0), Number(2.0))),
                boxed(1.0),
                missing(),
            ),
            Some(1.0),
        );
    }

    /// Feeds channel 0 with value(n) every 10 ms and gives the outputs.
    fn run(formula: Formula, n: usize, value: impl Fn(usize) -> Option<f64>) -> Vec<Option<f64>> {
        let mut evaluator = Evaluator::new(&formula, &[]);
        (0..n)
            .map(|n| {
                let now = Time::from_seconds(n as f64 * 0.01);
                evaluator.value(now, &fresh(&[value(n)], now))
            })
            .collect()
    }

    #[test]
    fn a_delay_gives_the_past_and_nothing_before_it() {
        let out = run(Delay(Box::new(Channel(0)), 0.05), 50, |n| Some(n as f64));
        for (n, value) in out.iter().enumerate() {
            assert_eq!(
                *value,
                n.checked_sub(5).map(|past| past as f64),
                "sample {n}"
            );
        }
        let out = run(Delay(Box::new(Channel(0)), 0.05), 20, |n| {
            Some(n as f64).filter(|_| n != 3)
        });
        assert_eq!((out[7], out[8], out[9]), (Some(2.0), None, Some(4.0)));
    }

    #[test]
    fn a_delay_is_bounded_and_a_cut_empties_it() {
        let mut past = Past::new(1.0);
        for n in 0..1_000_000i64 {
            let now = Time(n * 10_000);
            let moment = Moment {
                now,
                fresh: &[],
                reach_s: 0.25,
            };
            let value = past.delayed(&moment, Some(now.seconds()));
            // Thinned samples are at most one spacing, 1 s / 2048, older than asked.
            if let Some(value) = value {
                assert!(
                    (now.seconds() - 1.0 - value).abs() < 1.1 / 2048.0 + 1e-5,
                    "{value} at {now:?}"
                );
            }
            assert!(past.samples.len() <= 2051);
        }
        let mut evaluator = Evaluator::new(&Delay(Box::new(Channel(0)), 0.0), &[]);
        let mut delayed = Evaluator::new(&Delay(Box::new(Channel(0)), 0.01), &[]);
        for n in 0..5 {
            let now = Time::from_seconds(f64::from(n) * 0.01);
            let input = fresh(&[Some(f64::from(n))], now);
            assert!(evaluator.value(now, &input).is_some());
            let out = delayed.value(now, &input);
            assert_eq!(out.is_some(), n != 0 && n != 3, "sample {n}");
            if n == 2 {
                delayed.cut();
            }
        }
    }

    #[test]
    fn a_low_pass_follows_the_closed_form() {
        // Derived: a ramp of slope 1 through 1/(τs + 1) is t − τ (1 − exp(−t/τ)).
        let out = run(LowPass(Box::new(Channel(0)), 0.2), 100, |n| {
            Some(n as f64 * 0.01)
        });
        for (n, value) in out.iter().enumerate() {
            let t = n as f64 * 0.01;
            let want = t - 0.2 * (1.0 - (-t / 0.2f64).exp());
            assert!((value.unwrap() - want).abs() < 1e-12, "sample {n}");
        }
        let out = run(LowPass(Box::new(Channel(0)), 0.2), 40, |n| match n {
            0..5 => Some(1.0),
            5..35 => None,
            _ => Some(3.0),
        });
        assert_eq!((out[4], out[10], out[35]), (Some(1.0), None, Some(3.0)));
        // A cut ends the memory, however short.
        let mut evaluator = Evaluator::new(&LowPass(Box::new(Channel(0)), 0.2), &[]);
        let (first, second) = (Time(0), Time::from_seconds(0.01));
        assert_eq!(
            evaluator.value(first, &fresh(&[Some(1.0)], first)),
            Some(1.0)
        );
        evaluator.cut();
        assert_eq!(
            evaluator.value(second, &fresh(&[Some(3.0)], second)),
            Some(3.0)
        );
    }
}
