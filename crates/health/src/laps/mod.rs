//! Laps and corners: where on the road the heat was made.
//!
//! In: rows, oil temperatures, changes of the lap marker, and positions when a start line is
//! given. Out: [`Laps`], settled when asked.
//! The drive is kept as steps of a few metres, with heading, time, speed and heat, up to
//! 300 km; a longer one has no laps. Laps come from the start line if one is given; else from
//! the marker, else from the path that repeats; else there are none, and corners are numbered
//! through the drive.
//!
//! What a gap hides is bridged with the speed and the turning around it, so that the places
//! after it stay where they are; its heat is not made up: laps and corners with a gap in
//! them say "at least".
//!
//! ```text
//! Row -> Step -> path -> corners, repeat (or marker) -> Laps
//! ```

mod alike;
#[cfg(test)]
mod circuit;
pub mod conditions;
mod corners;
mod course;
mod found;
mod gate;
mod grid;
mod marker;
mod oil;
mod part;
mod path;
mod pedal;
mod repeat;
mod slots;
#[cfg(test)]
mod tests;

use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::{HeatNearFloor, Row};
use halfshaft_model::{Fixes, Position, Span, Time};

use self::corners::{Bend, bends, numbered, smoothed, usual_length};
pub(crate) use self::found::Found;
use self::gate::Gate as StartLine;
use self::grid::{MOST_STEPS, STEP_M};
use self::marker::Marker;
use self::oil::OilByTime;
use self::path::{Path, Step};
use self::pedal::PedalByTime;
use crate::limits::{LapLimits, Limits};
use crate::nouns::{Corner, Lap, Laps};
use crate::trust::{Gate, Kept, OIL};

const BY_LINE: &str = "by the start line";
const BY_MARKER: &str = "by the marker of the driver";
const BY_PATH: &str = "by the repeated path";

/// Watches the path of a drive.
#[derive(Clone, Debug, Default)]
pub struct PathWatch {
    limits: Limits,
    steps: Vec<Step>,
    open: Option<Step>,
    latest: Option<Motion>,
    distance_m: f64,
    with_yaw_m: f64,
    // Corners of steps that were forgotten.
    n_forgotten: u64,
    is_too_long: bool,
    oil: Kept<OilByTime, OIL>,
    pedal: PedalByTime,
    pedal_channel: Option<usize>,
    marker: Marker,
    marker_channel: Option<usize>,
    gate: Option<StartLine>,
    fixes: Option<Fixes>,
}

/// How the car moved at the latest row that says so.
#[derive(Clone, Copy, Debug)]
struct Motion {
    time: Time,
    speed: f64,
    yaw_rate: Option<f64>,
    // No row came after it, not even one without speed.
    is_latest: bool,
}

/// Stretch of a lap: by distance, and by time.
#[derive(Clone, Copy, Debug)]
struct Place {
    start_m: f64,
    end_m: f64,
    span: Span,
}

impl PathWatch {
    /// Nothing seen yet.
    pub fn new() -> PathWatch {
        PathWatch::default()
    }

    /// Takes a row; every row of the drive, in order.
    pub fn add(&mut self, row: &Row) {
        let (metres, turned, is_gap) = self.moved(row);
        let usual_sd = self.limits.slip.usual_sd_rad_per_s;
        let step = self.open.get_or_insert_with(|| Step {
            start: row.time,
            end: row.time,
            length_m: 0.0,
            turned: 0.0,
            least_speed: f32::MAX,
            is_gap: false,
            is_without_torque: false,
            heat: Kept::new(HeatNearFloor::new(row.slip_sd.unwrap_or(usual_sd))),
        });
        step.end = row.time;
        step.length_m += metres;
        step.turned += turned as f32;
        if let Some(speed) = row.road_speed {
            step.least_speed = step.least_speed.min(speed as f32);
        }
        if row.is_turning {
            match row.work_j {
                Some(work) => step.heat.gather().add(work, &row.evidence),
                None => step.is_without_torque = true,
            }
        }
        step.is_gap |= is_gap;
        if step.length_m >= STEP_M {
            self.close();
        }
    }

    /// Distance and heading change this row adds, what a gap before it hides included; and
    /// whether there was one.
    fn moved(&mut self, row: &Row) -> (f64, f64, bool) {
        let before = self.latest;
        let Some(speed) = row.road_speed else {
            self.latest = before.map(|before| Motion {
                is_latest: false,
                ..before
            });
            return (0.0, 0.0, !row.is_joined && before.is_some());
        };
        let yaw_rate = row
            .yaw_rate
            .filter(|_| speed > self.limits.driving.moving_from());
        let mut metres = speed * row.seconds;
        let mut turned = yaw_rate.unwrap_or(0.0) * row.seconds;
        if yaw_rate.is_some() {
            self.with_yaw_m += metres;
        }
        self.latest = Some(Motion {
            time: row.time,
            speed,
            yaw_rate,
            is_latest: true,
        });
        let mut is_gap = false;
        if let Some(before) = before.filter(|before| !row.is_joined || !before.is_latest) {
            is_gap = !row.is_joined;
            let hidden_s = row
                .time
                .since(before.time)
                .min(self.limits.laps.longest_bridge_s);
            metres += 0.5 * (before.speed + speed) * hidden_s;
            let rates = before.yaw_rate.unwrap_or(0.0) + yaw_rate.unwrap_or(0.0);
            turned += 0.5 * rates * hidden_s;
        }
        self.distance_m += metres;
        (metres, turned, is_gap)
    }

    fn close(&mut self) {
        let Some(step) = self.open.take() else { return };
        if self.steps.len() == MOST_STEPS {
            let path = Path::new(self.steps.iter(), None);
            self.n_forgotten += bends(&path, &self.limits).len() as u64;
            self.steps.clear();
            self.is_too_long = true;
        }
        self.steps.push(step);
    }

    /// Takes an oil temperature, °C.
    pub fn note_oil(&mut self, time: Time, celsius: f64) {
        self.oil.gather().add(time, celsius);
    }

    /// Takes how far the throttle is open, a share.
    pub fn note_pedal(&mut self, time: Time, share: f64) {
        self.pedal.add(time, share);
    }

    /// Takes a sample of the channel `lap.marker`: a change is a lap start.
    pub fn note_marker(&mut self, time: Time, value: f64) {
        let passing_s = self.limits.laps.marker_passing_s;
        self.marker.add(time, value, passing_s);
    }

    /// Laps begin at a line across the track at this point.
    pub fn start_line(&mut self, point: Position) {
        self.gate = Some(StartLine::new(point, &self.limits.laps));
    }

    /// Laps and corners so far, with what is believed of them.
    pub fn laps(&self, gate: &Gate) -> Laps {
        self.laps_so_far(gate, &mut Found::default())
    }

    /// The same while the drive goes on, with what was found when it was last asked for.
    pub(crate) fn laps_so_far(&self, gate: &Gate, found: &mut Found) -> Laps {
        let path = Path::new(self.steps.iter().chain(&self.open), Some(gate));
        let oil = self.oil.ask(gate).ok();
        let bends = bends(&path, &self.limits);
        let n_corners = self.n_forgotten + bends.len() as u64;
        if self.is_too_long {
            return Laps {
                method: Err(DriveFact::ShortPath.into()),
                laps: Vec::new(),
                going_on: None,
                corners: Vec::new(),
                n_corners,
                course: None,
            };
        }
        let (method, places) = match self.places(&path, found) {
            Ok((method, places)) => (Ok(method), places),
            Err(reason) => (Err(reason), Vec::new()),
        };
        let lap = |(place, number): (&Place, u32)| Lap {
            number,
            span: place.span,
            length_m: place.end_m - place.start_m,
            heat_kj: path.heat_kj(place.start_m, place.end_m),
            oil_max_c: oil.and_then(|oil| oil.highest(place.span)),
            oil_rise_k: None,
            throttle: self.pedal.mean(place.span),
            is_at_least: path.is_hidden(place.start_m, place.end_m),
        };
        let going_on = places.last().map(|last| Place {
            start_m: last.end_m,
            end_m: path.length_m(),
            span: Span {
                start: last.span.end,
                end: path.time(path.length_m()),
            },
        });
        Laps {
            method,
            laps: places.iter().zip(1..).map(lap).collect(),
            going_on: going_on.map(|place| lap((&place, places.len() as u32 + 1))),
            corners: corners(&bends, &places, &path, &self.limits.laps),
            n_corners,
            course: found.course(&path, &places),
        }
    }

    /// How laps were found and where they are, or why there are none.
    fn places(&self, path: &Path, found: &mut Found) -> Result<(&'static str, Vec<Place>), Reason> {
        let limits = &self.limits.laps;
        if let Some(gate) = &self.gate {
            let driven_m = |seen: Span| path.distance_m(seen.end) - path.distance_m(seen.start);
            let starts = gate.starts(driven_m)?;
            if self.distance_m <= 0.0 {
                return Err(DriveFact::PathSpeed.into());
            }
            return Ok((BY_LINE, between(path, &starts, limits)));
        }
        let marks = self.marker.starts().ok_or(DriveFact::MarkerOfLaps)?;
        if self.distance_m <= 0.0 {
            return Err(DriveFact::PathSpeed.into());
        }
        let marked = by_marker(path, marks, limits);
        if !marked.is_empty() {
            return Ok((BY_MARKER, marked));
        }
        if path.length_m() < 2.0 * limits.shortest_m {
            return Err(DriveFact::TwoLaps.into());
        }
        if self.with_yaw_m < 0.5 * self.distance_m {
            return Err(DriveFact::PathTurning.into());
        }
        let starts = found.starts(path, limits).ok_or(DriveFact::RepeatedPath)?;
        let places = starts
            .windows(2)
            .map(|ends| Place {
                start_m: ends[0],
                end_m: ends[1],
                span: path.span(ends[0], ends[1]),
            })
            .collect();
        Ok((BY_PATH, places))
    }
}

/// Laps between marks. What lies before the first and after the last is none. A lap that is
/// as long as two or three others, with the same road where the mark should have come, was
/// two or three.
fn by_marker(path: &Path, marks: &[Time], limits: &LapLimits) -> Vec<Place> {
    let places = between(path, marks, limits);
    let ends: Vec<(f64, f64)> = places
        .iter()
        .map(|place| (place.start_m, place.end_m))
        .collect();
    let usual = usual_length(&ends);
    let curvature = smoothed(&path.curvature);
    places
        .iter()
        .flat_map(|place| parted(path, &curvature, *place, usual, limits))
        .collect()
}

/// What lies between each mark and the next, where it is long enough for a lap.
fn between(path: &Path, marks: &[Time], limits: &LapLimits) -> Vec<Place> {
    marks
        .windows(2)
        .map(|ends| Place {
            start_m: path.distance_m(ends[0]),
            end_m: path.distance_m(ends[1]),
            span: Span {
                start: ends[0],
                end: ends[1],
            },
        })
        .filter(|place| place.end_m - place.start_m >= limits.shortest_m)
        .collect()
}

fn parted(
    path: &Path,
    curvature: &[f64],
    place: Place,
    usual_m: f64,
    limits: &LapLimits,
) -> Vec<Place> {
    let length_m = place.end_m - place.start_m;
    let n = (length_m / usual_m).round();
    if n < 2.0 || (length_m / (n * usual_m) - 1.0).abs() > limits.same_length {
        return vec![place];
    }
    let mut parts = Vec::new();
    let (mut start_m, mut start) = (place.start_m, place.span.start);
    for part in 1..n as usize {
        let guess_m = place.start_m + length_m * part as f64 / n;
        let reach_m = limits.distance_drift * usual_m + 2.0 * STEP_M;
        let found = alike::same_place(
            curvature,
            place.start_m,
            guess_m,
            0.25 * usual_m,
            reach_m,
            limits.same_road,
        );
        let Some(end_m) = found else {
            return vec![place];
        };
        let end = path.time(end_m);
        parts.push(Place {
            start_m,
            end_m,
            span: Span { start, end },
        });
        (start_m, start) = (end_m, end);
    }
    parts.push(Place {
        start_m,
        end_m: place.end_m,
        span: Span {
            start,
            end: place.span.end,
        },
    });
    parts
}

/// The corners, each with its lap and number; outside laps numbered in order of driving.
fn corners(bends: &[Bend], places: &[Place], path: &Path, limits: &LapLimits) -> Vec<Corner> {
    let laps: Vec<(f64, f64)> = places
        .iter()
        .map(|place| (place.start_m, place.end_m))
        .collect();
    let mut n_outside = 0;
    bends
        .iter()
        .zip(numbered(bends, &laps, limits))
        .map(|(bend, place)| {
            let (lap, number, start_m) = match place {
                Some((lap, number)) => (Some(lap as u32 + 1), number, laps[lap].0),
                None => {
                    n_outside += 1;
                    (None, n_outside, 0.0)
                }
            };
            Corner {
                span: path.span(bend.start_m, bend.end_m),
                lap,
                number,
                start_m: bend.start_m - start_m,
                length_m: bend.end_m - bend.start_m,
                turned_deg: bend.turned_deg,
                entry_speed_m_per_s: path.speed_m_per_s(bend.start_m),
                least_speed_m_per_s: path.least_speed_m_per_s(bend.start_m, bend.end_m),
                heat_kj: path.heat_kj(bend.start_m, bend.end_m),
                oil_c: None,
                supply_v: None,
                is_at_least: path.is_hidden(bend.start_m, bend.end_m),
            }
        })
        .collect()
}
