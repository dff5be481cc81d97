//! What the results of a drive say to somebody who follows it.
//!
//! In: [`Results`], the newest values. Out: the parts of a [`Snapshot`](crate::snapshot::Snapshot) that
//! rest on the whole drive. Nothing is computed here but means over laps that the report makes as well.

use std::collections::HashMap;

use halfshaft_driveline::thermal::TimeToLimit;
use halfshaft_health::laps_to_limit::LapsAhead;
use halfshaft_health::outlook::Ahead;
use halfshaft_health::{EventKind, FigureId, FindingId, Reason, Results};
use halfshaft_model::channel::name;
use halfshaft_model::{Site, Time};
use halfshaft_report::track;
use halfshaft_report::words::{clean, sentence};
use halfshaft_signal_map::Map;

use super::now::{Clock, Newests};
use super::words::reason;
use crate::snapshot::{
    Corner, Event, Figure, Finding, Heat, Lap, LapsLeft, MOST_LAPS, MOST_LISTED, Temperature, Value,
};

/// The temperatures may be worked out this long ago before they are stale, s: while a drive goes on they
/// are fitted anew once a minute at the latest.
const TEMPERATURES_S: f64 = 90.0;

/// What the parts are made from.
#[derive(Clone, Copy, Debug)]
pub struct From<'a> {
    /// The results.
    pub results: &'a Results,
    /// The newest values.
    pub newest: &'a Newests,
    /// The time.
    pub clock: &'a Clock,
    /// The map.
    pub map: &'a Map,
}

fn of(outcome: Result<f64, String>, value: Value) -> Value {
    match outcome {
        Ok(number) => Value {
            value: Some(number),
            ..value
        },
        Err(why) => value.withheld(why),
    }
}

impl From<'_> {
    fn of_rows(&self, unit: &'static str) -> Value {
        Value {
            is_provisional: self.results.is_provisional,
            ..self.newest.of_rows(self.clock, unit)
        }
    }

    /// A value of some time, that does not age.
    fn at(&self, time: Time, unit: &'static str) -> Value {
        Value {
            unit,
            at_s: Some(time.seconds()),
            age_s: Some(self.clock.now().since(time).max(0.0)),
            is_provisional: self.results.is_provisional,
            ..Value::default()
        }
    }

    /// Heat of lap, stint and drive.
    pub fn heat(&self) -> Heat {
        let results = self.results;
        let laps = &results.laps;
        let known = |heat_kj: Option<f64>| heat_kj.ok_or_else(|| self.why_no_heat());
        let no_lap = || match &laps.method {
            Err(why) => reason(why),
            Ok(_) => "No lap was driven to its end yet.".to_owned(),
        };
        let lap = match &laps.going_on {
            Some(lap) => Value {
                is_at_least: lap.is_at_least,
                ..of(known(lap.heat_kj), self.of_rows("kJ"))
            },
            None => self.of_rows("kJ").withheld(no_lap()),
        };
        let last_lap = match laps.laps.last() {
            Some(lap) => Value {
                is_at_least: lap.is_at_least,
                ..of(known(lap.heat_kj), self.at(lap.span.end, "kJ"))
            },
            None => Value::missing("kJ", no_lap()),
        };
        let stint = results.stint.heat_kj.as_ref();
        let drive = self.figure(FigureId::HeatTotal);
        Heat {
            lap,
            last_lap,
            stint: of(stint.copied().map_err(reason), self.of_rows("kJ")),
            drive: of(drive, self.of_rows("kJ")),
        }
    }

    fn why_no_heat(&self) -> String {
        match self.results.trust.allows(halfshaft_health::trust::HEAT) {
            Err(why) => reason(&why),
            Ok(()) => "The torque is not known.".to_owned(),
        }
    }

    fn figure(&self, id: FigureId) -> Result<f64, String> {
        match self.results.figure(id).map(|figure| &figure.outcome) {
            Some(Ok(estimate)) => Ok(estimate.value),
            Some(Err(why)) => Err(reason(why)),
            None => Err(reason(&Reason::NotJudged)),
        }
    }

    /// The oil: by its sensor where there is one.
    pub fn oil(&self) -> Temperature {
        let results = self.results;
        let Some(sensed) = self.newest.oil(self.clock, Some(&results.trust)) else {
            return self.modelled(|outlook| outlook.0);
        };
        let warn_c = self.map.vehicle.oil_warn_c;
        let limit_c = warn_c.unwrap_or(results.limits.oil.warn_c);
        let margin_k = sensed.value.map(|celsius| limit_c - celsius);
        let channels = &self.map.channels;
        let channel = channels
            .iter()
            .find(|one| one.name == name::OIL_TEMPERATURE);
        let basis = match channel.and_then(|channel| channel.site) {
            Some(Site::Oil) => "sensor in the oil",
            Some(Site::Housing) => "sensor on the housing",
            Some(Site::ModelledByCar) => "worked out by the car",
            None => "sensor at a place that the map does not state",
        };
        Temperature {
            margin: sensed.of_same_age(margin_k, "K"),
            time_to_limit: self.modelled(|outlook| outlook.0).time_to_limit,
            now: Value {
                is_provisional: results.is_provisional,
                ..sensed
            },
            basis: basis.to_owned(),
            limit_c: Some(limit_c),
        }
    }

    /// The pack, by the model.
    pub fn pack(&self) -> Temperature {
        self.modelled(|outlook| outlook.1)
    }

    /// By the model: oil and pack, of which one is taken.
    fn modelled(&self, which: impl Fn((Ahead, Ahead)) -> Ahead) -> Temperature {
        let results = self.results;
        let (outlook, thermal) = match (&results.outlook, &results.thermal) {
            (Ok(outlook), Ok(thermal)) => (outlook, thermal),
            (Err(why), _) | (_, Err(why)) => {
                let missing = |unit| Value::missing(unit, reason(why));
                return Temperature {
                    now: missing("degC"),
                    margin: missing("K"),
                    time_to_limit: missing("s"),
                    ..Temperature::default()
                };
            }
        };
        let ahead = which((outlook.oil, outlook.pack));
        let at = thermal.trace.last().map_or(Time(0), |point| point.time);
        let aged = |unit| {
            let value = self.at(at, unit);
            let is_stale = value.age_s.is_some_and(|age_s| age_s > TEMPERATURES_S);
            Value {
                stale_from_s: Some(TEMPERATURES_S),
                is_stale,
                ..value
            }
        };
        let seconds = match ahead.reaches {
            TimeToLimit::Reached => Err("It is at its limit.".to_owned()),
            TimeToLimit::In { seconds } => Ok(seconds),
            TimeToLimit::LevelsOff { at_c } => Err(format!("It levels off at {at_c:.0} °C.")),
        };
        Temperature {
            now: of(Ok(ahead.now_c), aged("degC")),
            basis: clean(&outlook.basis),
            limit_c: Some(ahead.limit_c),
            margin: of(Ok(ahead.headroom_k), aged("K")),
            time_to_limit: of(seconds, aged("s")),
        }
    }

    /// Laps left, from the last lap.
    pub fn laps_left(&self) -> LapsLeft {
        let results = self.results;
        let end = results.laps.laps.last().map(|lap| lap.span.end);
        let value = end.map_or(Value::missing("laps", ""), |end| self.at(end, "laps"));
        let ahead = results
            .outlook
            .as_ref()
            .and_then(|outlook| outlook.laps.as_ref());
        match ahead.map(|found| found.ahead) {
            Ok(LapsAhead::In { laps, low, high }) => LapsLeft {
                laps: of(Ok(laps), value),
                low: Some(low),
                high,
            },
            _ => LapsLeft {
                laps: value.withheld(sentence(&track::laps_left(results))),
                ..LapsLeft::default()
            },
        }
    }

    /// The last laps.
    pub fn laps(&self) -> Vec<Lap> {
        let laps = &self.results.laps.laps;
        let last = &laps[laps.len().saturating_sub(MOST_LAPS)..];
        last.iter()
            .map(|lap| Lap {
                number: lap.number,
                seconds: lap.span.seconds(),
                heat_kj: lap.heat_kj,
                oil_max_c: lap.oil_max_c,
                is_at_least: lap.is_at_least,
            })
            .collect()
    }

    /// The corner that costs most.
    pub fn costliest_corner(&self) -> Corner {
        let laps = &self.results.laps;
        if laps.laps.is_empty() {
            let why = laps.method.as_ref().err().map(reason);
            let why = why.unwrap_or("No lap was driven to its end yet.".to_owned());
            return Corner {
                heat: Value::missing("kJ", why),
                ..Corner::default()
            };
        }
        let Some((bend, heat_kj)) = track::costliest(self.results) else {
            return Corner {
                heat: Value::missing("kJ", "No corner of a lap made heat that is known."),
                ..Corner::default()
            };
        };
        let heats = laps.laps.iter().filter_map(|lap| lap.heat_kj);
        let (all_kj, n) = heats.fold((0.0, 0), |(all, n), heat| (all + heat, n + 1));
        let lap_kj = all_kj / f64::from(n);
        let latest = bend.times.last().map_or(Time(0), |corner| corner.span.end);
        Corner {
            number: Some(bend.number),
            heat: of(Ok(heat_kj), self.at(latest, "kJ")),
            n_times: bend.times.len() as u32,
            share: (lap_kj > 0.0).then(|| (heat_kj / lap_kj).min(1.0)),
        }
    }

    /// Engagements that have ended, latest first. What goes on began at `going_on`.
    pub fn events(&self, going_on: Option<Time>) -> Vec<Event> {
        let rows_until = self.newest.rows_until().unwrap_or(Time(0));
        let has_ended = |event: &&halfshaft_health::Event| {
            !self.results.is_provisional
                || Some(event.span.start) != going_on && event.span.end < rows_until
        };
        let ended = self.results.events.iter().rev().filter(has_ended);
        ended
            .take(MOST_LISTED)
            .map(|event| Event {
                start_s: event.span.start.seconds(),
                seconds: event.span.seconds(),
                is_commanded: event.kind == EventKind::Command,
                command_peak: event.command_peak,
                heat_kj: event.heat_kj,
                is_broken: event.is_broken,
            })
            .collect()
    }

    /// Findings so far, each with the time since which it stands; one that is withdrawn is forgotten.
    pub fn findings(&self, since: &mut HashMap<FindingId, Time>) -> Vec<Finding> {
        let findings = &self.results.findings;
        since.retain(|id, _| findings.iter().any(|finding| finding.id == *id));
        let until = self.clock.until();
        let all = findings.iter().map(|finding| Finding {
            id: finding.id.word(),
            title: finding.title,
            severity: finding.severity.word(),
            since_s: since.entry(finding.id).or_insert(until).seconds(),
            summary: clean(&finding.summary),
        });
        all.take(MOST_LISTED).collect()
    }

    /// The figures of the report.
    pub fn figures(&self) -> Vec<Figure> {
        let figures = self.results.figures.iter();
        figures
            .map(|figure| {
                let known = figure.outcome.as_ref().ok();
                Figure {
                    id: figure.id.word(),
                    title: figure.title,
                    unit: figure.unit,
                    value: known.map(|known| known.value),
                    low: known.map(|known| known.low),
                    high: known.map(|known| known.high),
                    grade: figure.grade.map(|grade| grade.letter()),
                    why: figure.outcome.as_ref().err().map(reason),
                }
            })
            .collect()
    }
}
