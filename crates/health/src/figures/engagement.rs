//! Engagement and slip: how often, how long, how far apart the wheels ran.

use super::heat::{by_command_share, with_fit};
use super::{Ingredients, SHORTEST_PAIR_S, figure};
use crate::figure_id::FigureId;
use crate::limits::SDS_OF_90;
use crate::nouns::{Estimate, Figure};
use crate::partial::PartialTime;
use crate::reason::{DriveFact, Reason};
use crate::trust::{Asked, SLIP, Source, Verdict};
use halfshaft_driveline::CommandTime;
use halfshaft_model::channel::name;

pub(super) fn slip_peak(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let outcome = asked.read(&from.sums.slip_peak).and_then(|peak| {
        from.peaks.clone()?;
        let estimate = from.highest(peak, from.tolerances.slip, [0.0; 2]);
        Ok(estimate.ok_or(DriveFact::FastWheel)?)
    });
    let factor = from.wheel_coverage.min(from.resolution);
    let method = "highest slip of the pack, from the raw difference of the rear wheels, as sharp in time as the noise allows; the band has the noise of the samples and what lies between them".to_owned();
    figure(
        &asked,
        FigureId::SlipPeak,
        "Highest slip",
        "rad/s",
        outcome,
        factor,
        method,
    )
}

/// Seconds by level of the command.
fn command_time(from: &Ingredients, asked: &Asked) -> Result<CommandTime, Reason> {
    let time = asked.read(from.command)?;
    time.ok_or(Reason::NoChannel(name::CLUTCH_COMMAND))
}

pub(super) fn partial_by_command(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let command = command_time(from, &asked);
    let outcome = command.clone().map(|time| {
        // Each edge is known to within one period; what rests within half a step of a level may
        // be on its other side; and the log may begin and end a sample away from an edge.
        let period_s = from.command_period_s;
        let by_samples_s = SDS_OF_90 * period_s * (f64::from(time.n_edges) / 12.0).sqrt();
        let [least_s, most_s] = time.partial_bounds_s;
        let value = time.partial_s;
        let estimate = Estimate {
            value,
            low: (value - by_samples_s.hypot(value - least_s)).max(0.0),
            high: value
                + by_samples_s.hypot(most_s - value)
                + f64::from(time.n_partial_ends) * period_s,
            is_at_least: false,
        };
        estimate.hiding(time.hidden_s)
    });
    let coverage = command.as_ref().map_or(0.0, |time| {
        let known = time.open_s + time.partial_s + time.full_s;
        known / (known + time.hidden_s).max(1e-9)
    });
    let method = "time with the command from 5 % to below 95 %, moving or not".to_owned();
    figure(
        &asked,
        FigureId::PartialByCommand,
        "Commanded partial engagement",
        "s",
        outcome,
        coverage,
        method,
    )
}

pub(super) fn partial_heat_making(from: &Ingredients) -> Figure {
    let sums = from.sums;
    let asked = with_fit(from);
    // By torque only where it was ever known and is more than the preload.
    let is_judged = |time: &PartialTime| time.judged_s > 0.0;
    let by_torque = sums.partial_by_torque.ask(from.gate).is_ok_and(is_judged);
    let time = match by_torque {
        true => asked.read(&sums.partial_by_torque),
        false => asked.read(&sums.partial_by_command),
    };
    // That there is no command says half of it: the torque would have done.
    let neither = Reason::from(DriveFact::TorqueOrCommand);
    let time = match from.gate.verdict(Source::Command) {
        Verdict::Missing(_) => time.map_err(|_| neither.clone()),
        _ => time,
    };
    let outcome = asked.rest_on(SLIP).and(time).and_then(|time| {
        if !is_judged(time) {
            return Err(neither);
        }
        let [value, low, high] = time.seconds;
        // Each edge is known to a period of the wheels. The command is ahead of the pack, when it
        // closes and when it opens: by how much less or more nothing says.
        let n_edges = f64::from(time.n_edges);
        let by_samples_s = SDS_OF_90 * from.wheel_period_s * (n_edges / 12.0).sqrt();
        let is_by_command = !by_torque || by_command_share(from.sums) > 0.1;
        let by_lag_s = match is_by_command {
            true => 0.5 * n_edges * from.limits.trust.unknown_lag_s,
            false => 0.0,
        };
        let beside_s = by_samples_s.hypot(by_lag_s);
        let estimate = Estimate {
            value,
            low: (value - beside_s.hypot((value - low).max(0.0))).max(0.0),
            high: value + beside_s.hypot((high - value).max(0.0)),
            is_at_least: false,
        };
        Ok(estimate.hiding(
            from.hidden_s
                + match by_torque {
                    true if sums.without_torque_s > from.limits.driving.uncovered_from_s => {
                        sums.without_torque_s
                    }
                    _ => 0.0,
                },
        ))
    });
    let limit = match by_torque {
        true => {
            let floor = from.torque_floor_nm;
            format!("pack torque above {floor:.0} N.m")
        }
        false => "by command, from 10 % on, the torque not being known".to_owned(),
    };
    let method = format!("time with slip above 0.3 rad/s and {limit}");
    let known = match by_torque {
        true => sums.with_torque_s / (sums.with_torque_s + sums.without_torque_s).max(1e-9),
        // The command says what was asked, not what the pack did: never better than B.
        false => 0.8,
    };
    figure(
        &asked,
        FigureId::PartialHeatMaking,
        "Time slipping under load",
        "s",
        outcome,
        from.wheel_coverage.min(from.resolution).min(known),
        method,
    )
}

pub(super) fn engagements(from: &Ingredients) -> Figure {
    let (n, n_broken, n_perhaps_one) = from.engagements;
    let asked = from.gate.asking();
    let outcome = command_time(from, &asked).map(|time| {
        let (fewer, more) = from.engagements_off;
        let n = n as f64;
        let mut estimate = Estimate {
            value: n,
            low: (n - fewer).max(0.0),
            high: n + more,
            is_at_least: false,
        };
        // A cut may have made two of one, and a gap may hide some.
        estimate.low = (estimate.low - n_perhaps_one as f64).max(0.0);
        if time.hidden_s > 0.0 {
            estimate.high += (time.hidden_s / SHORTEST_PAIR_S).ceil();
            estimate.is_at_least = n_perhaps_one == 0;
        }
        estimate
    });
    let coverage = if n_broken > 0 { 0.8 } else { 1.0 };
    let method = "times the command rose through 10 % for 40 ms, ended below 5 % for 150 ms; closer than 300 ms are one".to_owned();
    figure(
        &asked,
        FigureId::Engagements,
        "Engagements",
        "count",
        outcome,
        coverage,
        method,
    )
}
