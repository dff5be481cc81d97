//! The actuator's times, medians with what they are known to, and the delays after the pedal,
//! medians with their spread.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::response::pool::Pool;
use halfshaft_driveline::response::resolution::{Spread, StatedTime};

use super::{Ingredients, figure};
use crate::actuator::{Actuator, PedalDelay, Timing, health_index};
use crate::limits::Grades;
use crate::nouns::{Estimate, Figure};
use crate::trust::{Asked, COMMAND};

/// One time of the actuator.
struct Time {
    id: FigureId,
    title: &'static str,
    of: fn(&Actuator) -> (&Pool, &Timing),
    method: &'static str,
}

const TIMES: [Time; 4] = [
    Time {
        id: FigureId::DeadTime,
        title: "Dead time of the actuator",
        of: |actuator| (&actuator.engage.dead_time, &actuator.engage),
        method: "from the command to the first movement when closing: θ of a first-order lag with dead time, driven by the logged command",
    },
    Time {
        id: FigureId::RiseTime,
        title: "Rise time, 10 to 90 %",
        of: |actuator| (&actuator.engage.rise_time, &actuator.engage),
        method: "2.197 τ of the same lag when closing",
    },
    Time {
        id: FigureId::TransitionTime,
        title: "Open to locked, to 90 %",
        of: |actuator| (&actuator.engage.transition_time, &actuator.engage),
        method: "θ + 2.303 τ of the same lag after steps of half of full and more",
    },
    Time {
        id: FigureId::ReleaseTime,
        title: "Locked to open, to 10 %",
        of: |actuator| (&actuator.release.transition_time, &actuator.release),
        method: "θ + 2.303 τ of the same lag after falls of half of full and more",
    },
];

/// Answers of the actuator; they rest on the command, whatever answered.
fn answers<'a>(from: &Ingredients<'a>, asked: &Asked) -> Result<&'a Actuator, Reason> {
    let actuator = from.actuator.as_ref().map_err(Clone::clone)?;
    asked.rest_on(COMMAND)?;
    Ok(actuator)
}

/// The four times of the actuator and the two delays after the pedal.
pub(super) fn times(from: &Ingredients) -> Vec<Figure> {
    let mut all: Vec<Figure> = TIMES.iter().map(|time| timed(from, time)).collect();
    all.push(delayed(
        from,
        FigureId::ThrottleOnDelay,
        "Throttle-on delay",
        |actuator| actuator.throttle_on.as_ref(),
        "from the pedal past 10 % to the response at 10 %: the controller's part and the mechanism's",
    ));
    all.push(delayed(
        from,
        FigureId::LiftOffDelay,
        "Lift-off delay",
        |actuator| actuator.lift_off.as_ref(),
        "from the pedal below 5 % to the response below 10 %",
    ));
    all
}

fn timed(from: &Ingredients, time: &Time) -> Figure {
    let mut factor = 0.0;
    let asked = from.gate.asking();
    let outcome = answers(from, &asked).and_then(|actuator| {
        let (pool, timing) = (time.of)(actuator);
        let spread = stated_spread(pool, timing)?;
        factor = from.limits.grades.of_median(pool, spread.n_events);
        Ok(Estimate {
            value: spread.median,
            low: (spread.median - pool.error_s).max(0.0),
            high: spread.median + pool.error_s,
            is_at_least: false,
        })
    });
    let signal = from
        .actuator
        .as_ref()
        .ok()
        .and_then(|actuator| actuator.signal.as_deref());
    let method = format!(
        "{}; median, with what it is known to; response by {}",
        time.method,
        signal.unwrap_or("no channel")
    );
    figure(&asked, time.id, time.title, "s", outcome, factor, method)
}

/// What may be said, or why nothing.
pub(crate) fn stated_spread(pool: &Pool, timing: &Timing) -> Result<Spread, Reason> {
    match pool.stated {
        StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => Ok(spread),
        StatedTime::BelowResolution { below_s } => {
            let period_s = pool
                .resolution
                .map_or(0.0, |periods| periods.deciding_period_s());
            Err(Reason::BelowResolution { below_s, period_s })
        }
        StatedTime::NoEvent if timing.n_edges == 0 => Err(DriveFact::QuickMove.into()),
        StatedTime::NoEvent if timing.reasons.is_empty() => Err(Reason::NoHalfStep {
            n_moves: timing.n_edges,
        }),
        StatedTime::NoEvent => Err(Reason::NoMoveUsable {
            n_moves: timing.n_edges,
            causes: timing.reasons.clone(),
        }),
    }
}

impl Grades {
    /// Factor of so many events.
    pub(crate) fn of_events(&self, n_events: usize) -> f64 {
        (n_events as f64 / f64::from(self.enough_events)).min(1.0)
    }

    /// Factor of a median of so many events, by how the samples show them.
    pub(crate) fn of_median(&self, pool: &Pool, n_events: usize) -> f64 {
        match pool.stated {
            StatedTime::Pooled { .. } => self.pooled.min(self.of_events(n_events)),
            _ => self.of_events(n_events),
        }
    }
}

/// The health index, by its losing item, with all items.
pub(super) fn health(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let index = answers(from, &asked).and_then(|actuator| {
        health_index(actuator, from.baseline, from.vehicle, &from.limits.actuator)
    });
    let mut method =
        "100 as it was or should be, 50 at the limit of a finding, 0 at twice that excess"
            .to_owned();
    let mut factor = 0.0;
    if let Ok(index) = &index {
        let losing = index.losing_item();
        let items: Vec<String> = index
            .items
            .iter()
            .map(|item| {
                let (value, good) = (item.value, item.good);
                let unit = match item.unit {
                    "" => String::new(),
                    unit => format!(" {unit}"),
                };
                format!(
                    "{} {value:.2}{unit} against {good:.2}{unit}, {} ({:.0})",
                    item.name, item.source, item.score
                )
            })
            .collect();
        method = format!(
            "{method}; the losing item is {}; {}",
            losing.name,
            items.join("; ")
        );
        factor = match losing.source.starts_with("the usual") {
            true => from.limits.grades.usual_values,
            false => 1.0,
        };
    }
    let outcome = index.map(|index| {
        let (low, high) = index.losing_item().score_band;
        Estimate {
            value: index.value,
            low,
            high,
            is_at_least: false,
        }
    });
    figure(
        &asked,
        FigureId::ActuatorHealth,
        "Health of the actuator",
        "0 to 100",
        outcome,
        factor,
        method,
    )
}

fn delayed(
    from: &Ingredients,
    id: FigureId,
    title: &'static str,
    of: fn(&Actuator) -> Option<&PedalDelay>,
    method: &str,
) -> Figure {
    let mut factor = 0.0;
    let asked = from.gate.asking();
    let outcome = answers(from, &asked).and_then(|actuator| {
        let delay = of(actuator).ok_or(DriveFact::Pedal)?;
        let whole = delay.whole.ok_or(match delay.n_events {
            0 => DriveFact::QuickPedal.into(),
            n_moves => Reason::PedalNotFollowed { n_moves },
        })?;
        factor = from.limits.grades.of_events(whole.n_events);
        Ok(Estimate {
            value: whole.median,
            low: whole.p10,
            high: whole.p90,
            is_at_least: false,
        })
    });
    let method = format!("{method}; median, with tenth and ninetieth percentile");
    figure(&asked, id, title, "s", outcome, factor, method)
}
