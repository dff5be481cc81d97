//! What two drives are compared by, out of the stored record of each.
//!
//! In: a [`Record`]. Out: a [`Session`]: laps, passes of corners, stretches, times of events. What
//! a gap hides in part is left out: "at least" on one side of a difference has no meaning.

use halfshaft_health::compare::{
    Event as Moved, HeldAt, LapPart, Once, Pass, Session, Stretch, Times, block_of,
};
use halfshaft_health::laps_to_limit::at_pace;
use halfshaft_health::limits::Limits;
use halfshaft_health::{FigureId, Reason};
use halfshaft_model::Time;

use crate::Record;
use crate::figures::Event;
use crate::laps::{Corner, Lap};
use crate::thermal::Learned;
use crate::value::Span;

/// What two drives of one car on the same tyres differ by in their rolling ratio: crown of the roads, pressures;
/// standard deviation. Source: none, engineering guess, as for the ratio of one drive.
const ROAD_SD: f64 = 0.0003;

/// What the scatter of a fitted number is in a difference of two drives of one car, a share of what the fit claims for
/// one: the rest is capacities, the heat by the map and what it leans on where the drive says little, alike in
/// both. Source: simulated cars compared with themselves on another day, apart by half of what their fits claim.
const OWN_SHARE: f64 = 0.6;

/// No sensor sees the pack: what a drive makes of this is all its own.
const OF_THE_PACK: &str = "conductance from pack to oil";

impl Record {
    /// What is compared of the drive.
    pub fn session(&self, limits: &Limits) -> Session {
        let laps = &self.laps;
        let seconds = |lap: &Lap| 1e-9 * (lap.span.end_ns - lap.span.start_ns) as f64;
        let seconds: Vec<f64> = laps.laps.iter().map(seconds).collect();
        let kept = at_pace(&seconds, &limits.laps_left);
        Session {
            laps: kept
                .iter()
                .map(|&index| self.lap(&laps.laps[index]))
                .collect(),
            n_left_out: laps.laps.len() - kept.len(),
            no_laps: laps.why_null.clone().map(Reason::Stored),
            passes: laps
                .corners
                .iter()
                .filter_map(|one| self.pass(one, &kept))
                .collect(),
            stretches: self.stretches(limits.compare.stretch_s),
            actuator: [
                FigureId::DeadTime,
                FigureId::RiseTime,
                FigureId::TransitionTime,
                FigureId::ReleaseTime,
            ]
            .map(|figure| self.times(figure)),
            throttle_on: self.times(FigureId::ThrottleOnDelay),
            tyre_ratio: self.tyre_ratio(),
            tyres_hidden: 100.0 * self.calibration.hidden_by_preload.unwrap_or(0.0),
            held: self.held(),
            thermal: self.fitted(),
            air_c: vec![
                self.for_comparison
                    .weather
                    .as_ref()
                    .and_then(|known| known.air_c),
            ],
            is_older: self.for_comparison.times.0.is_empty(),
        }
    }

    fn lap(&self, lap: &Lap) -> LapPart {
        let begins_in = |span: &Span| (lap.span.start_ns..lap.span.end_ns).contains(&span.start_ns);
        let within = |event: &&Event| begins_in(&event.span);
        let events = self.events.iter().filter(within);
        let peak_kw = events
            .filter_map(|event| event.heat_peak_kw)
            .reduce(f64::max);
        let sum = |of: fn(&Event) -> Option<f64>| {
            let events = self.events.iter().filter(within);
            let known: Option<Vec<f64>> = events
                .map(|event| of(event).filter(|_| !event.broken))
                .collect();
            known.map(|all| all.iter().sum())
        };
        let oil =
            self.laps.corners.iter().find(|corner| {
                (lap.span.start_ns..lap.span.end_ns).contains(&corner.span.start_ns)
            });
        LapPart {
            drive: 0,
            throttle: lap.throttle,
            time_s: 1e-9 * (lap.span.end_ns - lap.span.start_ns) as f64,
            slid_m: sum(|event| event.slip_distance_m),
            partial_s: sum(|event| event.partial_heat_making_s),
            oil_start_c: oil.and_then(|corner| corner.oil_c),
            length_m: or_no_number(lap.length_m),
            heat_kj: lap.heat_kj.filter(|_| !lap.at_least),
            oil_rise_k: lap.oil_rise_k,
            peak_w_per_mm2: self
                .w_per_mm2_of_kw()
                .zip(peak_kw)
                .map(|(per_kw, kw)| per_kw * kw),
        }
    }

    fn pass(&self, corner: &Corner, kept: &[usize]) -> Option<Pass> {
        let of = corner.lap?.checked_sub(1)? as usize;
        let lap = kept.binary_search(&of).ok()?;
        Some(Pass {
            lap,
            corner: corner.number,
            middle_m: or_no_number(corner.start_m) + 0.5 * or_no_number(corner.length_m),
            turned_deg: or_no_number(corner.turned_deg),
            entry_speed_m_per_s: or_no_number(corner.entry_speed_m_per_s),
            least_speed_m_per_s: or_no_number(corner.least_speed_m_per_s),
            oil_c: corner.oil_c,
            supply_v: corner.supply_v,
            heat_kj: corner.heat_kj.filter(|_| !corner.at_least),
            is_open: self.is_open(&corner.span),
        })
    }

    fn stretches(&self, stretch_s: f64) -> Vec<Stretch> {
        let mut all: Vec<(i64, Stretch)> = Vec::new();
        let mut at = |span: &Span, add: &mut dyn FnMut(&mut Stretch)| {
            let block = block_of(Time(span.start_ns), stretch_s);
            let index = all.partition_point(|(known, _)| *known < block);
            if all.get(index).is_none_or(|(known, _)| *known != block) {
                all.insert(index, (block, Stretch::default()));
            }
            add(&mut all[index].1);
        };
        for corner in self.laps.corners.iter().filter(|corner| !corner.at_least) {
            let sums = corner.heat_kj.zip(corner.turned_deg);
            if let Some((heat_kj, turned_deg)) = sums.filter(|_| self.is_open(&corner.span)) {
                at(&corner.span, &mut |stretch| {
                    stretch.open_heat_j += 1e3 * heat_kj;
                    stretch.open_turned_deg += turned_deg.abs();
                });
            }
        }
        for event in self.events.iter().filter(|event| !event.broken) {
            if let Some((per_kw, kw)) = self.w_per_mm2_of_kw().zip(event.heat_peak_kw) {
                at(&event.span, &mut |stretch| {
                    let peak = per_kw * kw;
                    stretch.peak_w_per_mm2 = Some(stretch.peak_w_per_mm2.unwrap_or(peak).max(peak));
                });
            }
        }
        all.into_iter().map(|(_, stretch)| stretch).collect()
    }

    /// No engagement and no slip event touches it.
    fn is_open(&self, span: &Span) -> bool {
        let touches =
            |event: &Event| event.span.start_ns < span.end_ns && span.start_ns < event.span.end_ns;
        !self.events.iter().any(touches)
    }

    /// Power per net lining area of 1 kW of heat rate, W/mm²: what the two figures of the drive
    /// stand in.
    fn w_per_mm2_of_kw(&self) -> Option<f64> {
        let value = |id: FigureId| self.figures.get(id.word())?.value;
        let kw = value(FigureId::HeatPeak).filter(|kw| *kw > 0.0)?;
        Some(value(FigureId::SpecificPowerMax)? / kw)
    }

    fn tyre_ratio(&self) -> Option<Result<Vec<Once>, Reason>> {
        let found = &self.calibration;
        Some(match (found.ratio, found.sd) {
            (Some(value), Some(sd)) => Ok(vec![Once {
                value: 100.0 * (value - 1.0),
                sd: 100.0 * sd.hypot(ROAD_SD),
            }]),
            _ => Err(Reason::Stored(found.why_null.clone().unwrap_or_default())),
        })
    }

    fn held(&self) -> Option<Result<Vec<HeldAt>, Reason>> {
        let Some(held) = &self.held_torque.result else {
            let why = self.held_torque.why_null.clone();
            return Some(Err(Reason::Stored(why.unwrap_or_default())));
        };
        // The tyres are the same in both drives: what their stiffness is off by cancels.
        let doubt = held
            .stiffness_sd_nm
            .zip(held.stiffness_nm)
            .map_or(0.0, |(sd, value)| sd / value);
        let points = held.points.iter().filter(|point| !point.is_at_least);
        let points = points.filter_map(|point| {
            let (value, sd) = (point.held_nm?, point.held_sd_nm?);
            let by_tyres = doubt * value;
            Some(HeldAt {
                command: point.command?,
                held_nm: Once {
                    value,
                    sd: (sd * sd - by_tyres * by_tyres).max(0.0).sqrt(),
                },
            })
        });
        Some(Ok(points.collect()))
    }

    /// Numbers of the temperature model that this drive has fitted.
    fn fitted(&self) -> Vec<(String, String, Vec<Once>)> {
        let Some(thermal) = &self.thermal.result else {
            return Vec::new();
        };
        let fitted = thermal.parameters.iter();
        fitted
            .filter(|parameter| parameter.told == Learned::Fitted)
            .filter_map(|parameter| {
                let own_share = match parameter.name.as_str() {
                    OF_THE_PACK => 1.0,
                    _ => OWN_SHARE,
                };
                let once = Once {
                    value: parameter.value?,
                    sd: own_share * parameter.sd?,
                };
                Some((parameter.name.clone(), parameter.unit.clone(), vec![once]))
            })
            .collect()
    }

    /// `None` where the record does not hold them.
    fn times(&self, figure: FigureId) -> Option<Result<Times, Reason>> {
        let stored = self.for_comparison.times.get(figure.word())?;
        Some(match &stored.result {
            Some(times) => Ok(Times {
                events: times
                    .each
                    .iter()
                    .filter_map(|one| {
                        Some(Moved {
                            oil_c: one.oil_c,
                            step: one.step,
                            ramp_s: one.ramp_s,
                            ..Moved::plain(Time(one.at_ns), one.time_s?)
                        })
                    })
                    .collect(),
                doubt_s: times.doubt_s.unwrap_or(0.0),
                is_normal: times.normal,
            }),
            None => Err(Reason::Stored(stored.why_null.clone().unwrap_or_default())),
        })
    }
}

/// What is not a number is like nothing, and so takes no part.
fn or_no_number(value: Option<f64>) -> f64 {
    value.unwrap_or(f64::NAN)
}
