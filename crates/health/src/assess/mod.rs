//! Joins the parts: takes blocks, gives [`Results`] at any time.

mod quality;
mod reasons;

use std::collections::VecDeque;

use halfshaft_driveline::align::full_scale;
use halfshaft_driveline::derive::clutch_torque::{net_area, uniform_pressure_radius};
use halfshaft_driveline::{Basis, CommandWatch, Driveline, Row};
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

use crate::band::Tolerances;
use crate::cannot_tell::{Seen, cannot_tell};
use crate::coverage::Coverage;
use crate::duty_picture::DutySums;
use crate::events::{EventTally, Settled};
use crate::figures::{Ingredients, all};
use crate::findings::{Drive, Findings, Setup};
use crate::laps::PathWatch;
use crate::ledger::Ledger;
use crate::limits::{Limits, SDS_OF_90};
use crate::regions::RegionSorter;
use crate::result::{NoiseFloor, Region, Regions, Results};
use crate::settings;
use crate::sums::{PartialLimits, Sums, is_in_bend, is_open, is_slipping};
use crate::tier::tier;
use crate::use_class::UseWatch;
use quality::Strips;

/// Period of wheel samples up to which nothing is lost to blur, s. Slower ones lower the
/// grade in proportion. Source: none, engineering guess (50 Hz).
const SHARP_PERIOD_S: f64 = 0.02;

/// Assesses a drive, block by block.
#[derive(Clone, Debug)]
pub struct Health {
    vehicle: Vehicle,
    channels: Vec<ChannelSpec>,
    driveline: Driveline,
    command: Result<CommandWatch, String>,
    limits: Limits,
    partial: PartialLimits,
    coverage: Coverage,
    sums: Sums,
    findings: Findings,
    usage: UseWatch,
    duty: DutySums,
    path: PathWatch,
    marker: Option<usize>,
    air: Option<usize>,
    ledger: Ledger,
    bend_ledger: Ledger,
    regions: RegionSorter,
    events: EventTally,
    strips: Strips,
    oil: Option<usize>,
    oil_max: Option<f64>,
    has_front: bool,
    waiting: VecDeque<Row>,
    latest: Option<Row>,
    until: Time,
    is_finished: bool,
    fresh: Vec<Row>,
}

impl Health {
    /// An assessment of a vehicle by the channels of its map, by the usual limits.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Health {
        Health::with_limits(vehicle, channels, &Limits::default())
    }

    /// The same by limits of one's own.
    pub fn with_limits(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &Limits) -> Health {
        let driveline = Driveline::new(vehicle, channels);
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let tolerances = Tolerances::new(vehicle, channels, driveline.basis());
        let (torque, slip) = (SDS_OF_90 * tolerances.torque, SDS_OF_90 * tolerances.slip);
        let command = match index("clutch.command") {
            None => Err("the map has no channel clutch.command".to_owned()),
            Some(found) => full_scale(&channels[found], vehicle)
                .map(|full| CommandWatch::new(found, &channels[found], full))
                .ok_or_else(|| {
                    "the map does not say what counts as a full clutch.command".to_owned()
                }),
        };
        let partial = PartialLimits::new(driveline.basis(), torque, slip, limits);
        let setup = Setup {
            vehicle,
            channels,
            basis: driveline.basis(),
            partial,
            limits,
        };
        Health {
            limits: *limits,
            partial,
            command,
            coverage: Coverage::new(channels),
            sums: Sums::default(),
            findings: Findings::new(&setup),
            usage: UseWatch::new(&setup),
            duty: DutySums::default(),
            path: PathWatch::with_limits(limits),
            marker: index("lap.marker"),
            air: index("ambient.temperature"),
            ledger: Ledger::new(driveline.basis().preload_nm, &limits.slip),
            bend_ledger: Ledger::new(driveline.basis().preload_nm, &limits.slip),
            regions: RegionSorter::new(limits),
            events: EventTally::default(),
            strips: Strips::default(),
            oil: index("oil.temperature"),
            oil_max: None,
            has_front: index("wheel.front.left").is_some() && index("wheel.front.right").is_some(),
            waiting: VecDeque::new(),
            latest: None,
            until: Time(0),
            is_finished: false,
            fresh: Vec::new(),
            vehicle: vehicle.clone(),
            channels: channels.to_vec(),
            driveline,
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        self.push_and_show(block, &mut |_| {});
    }

    /// Takes a block and shows every derived row that is settled by now, in order of time.
    pub fn push_and_show(&mut self, block: &Block, show: &mut dyn FnMut(&Row)) {
        self.until = self.until.max(block.until);
        self.coverage.push(block);
        if let Some(oil) = self.oil {
            for (time, value) in block.columns[oil].iter() {
                if let Some(celsius) = value {
                    self.oil_max = Some(self.oil_max.unwrap_or(celsius).max(celsius));
                    self.strips.oil.note(time, celsius);
                    self.path.note_oil(time, celsius);
                    self.findings.note_oil(time, celsius);
                    self.usage.note_oil(time, celsius);
                }
            }
        }
        if let Some(air) = self.air {
            for (time, value) in block.columns[air].iter() {
                if let Some(celsius) = value {
                    self.findings.note_air(time, celsius);
                }
            }
        }
        if let Some(marker) = self.marker {
            for (time, value) in block.columns[marker].iter() {
                if let Some(value) = value {
                    self.path.note_marker(time, value);
                }
            }
        }
        if let Ok(watch) = &mut self.command {
            watch.extend(&block.columns[watch.channel()], &block.cuts);
            self.events.follow(watch);
        }
        let mut fresh = std::mem::take(&mut self.fresh);
        self.driveline.push(block, &mut fresh);
        self.waiting.extend(fresh.drain(..));
        self.fresh = fresh;
        let ahead_s = self
            .command
            .as_ref()
            .map_or(0.0, CommandWatch::needs_ahead_s);
        self.drain(Some(self.until.plus(-ahead_s)), show);
    }

    /// The log has ended.
    pub fn finish(&mut self) {
        self.finish_and_show(&mut |_| {});
    }

    /// The log has ended; shows the rows that were not shown yet.
    pub fn finish_and_show(&mut self, show: &mut dyn FnMut(&Row)) {
        if let Ok(watch) = &mut self.command {
            watch.finish();
            self.events.follow(watch);
        }
        let mut fresh = Vec::new();
        self.driveline.finish(&mut fresh);
        self.waiting.extend(fresh);
        self.drain(None, show);
        self.is_finished = true;
    }

    fn drain(&mut self, until: Option<Time>, show: &mut dyn FnMut(&Row)) {
        while let Some(row) = self
            .waiting
            .pop_front_if(|row| until.is_none_or(|until| row.time <= until))
        {
            show(&row);
            self.take(row);
        }
    }

    /// What the derivation rests on: what cannot be derived says why there.
    pub fn basis(&self) -> &Basis {
        self.driveline.basis()
    }

    /// The limits it judges by.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    fn take(&mut self, row: Row) {
        self.sums.note(&row, self.driveline.basis(), &self.partial);
        self.duty.note(&row);
        self.path.note(&row);
        self.findings.note(&row);
        self.usage.note(&row);
        self.ledger.note(&row);
        if is_in_bend(&row, self.driveline.basis(), &self.limits.driving) && is_open(&row) {
            self.bend_ledger.note(&row);
        }
        if row
            .road_speed
            .is_some_and(|speed| speed > self.limits.driving.moving_from())
        {
            self.regions.note(&row);
        }
        self.events.note(&row, &self.partial);
        let strips = &mut self.strips;
        strips.difference.note(row.time, row.difference_mean);
        let pairs = [
            (&mut strips.road_speed, row.road_speed),
            (&mut strips.command, row.command),
            (&mut strips.state, row.state),
            (
                &mut strips.heat_rate,
                row.heat_rate_w.map(|watts| {
                    if row.is_turning && is_slipping(&row, &self.limits.slip) {
                        watts
                    } else {
                        0.0
                    }
                }),
            ),
        ];
        for (strip, value) in pairs {
            if let Some(value) = value {
                strip.note(row.time, value);
            }
        }
        self.latest = Some(row);
    }

    /// What can be said so far; provisional until [`Health::finish`].
    pub fn results(&self) -> Results {
        let basis = self.driveline.basis();
        let floor = self.driveline.noise_floor();
        let slip_sd = floor
            .slip_sd()
            .unwrap_or(self.limits.slip.usual_sd_rad_per_s);
        let channels = self.coverage.channels();
        let wheel = |name: &str| channels.iter().find(|channel| channel.name == name);
        let wheels: Vec<_> = ["wheel.rear.left", "wheel.rear.right"]
            .iter()
            .filter_map(|name| wheel(name))
            .collect();
        let wheel_coverage = if wheels.len() == 2 {
            wheels[0].coverage.min(wheels[1].coverage)
        } else {
            0.0
        };
        let wheel_period_s = wheels
            .iter()
            .filter_map(|wheel| wheel.period_s)
            .fold(None, |worst: Option<f64>, period| {
                Some(worst.map_or(period, |worst| worst.max(period)))
            });
        let resolution = wheel_period_s.map_or(0.0, |period| (SHARP_PERIOD_S / period).min(1.0));
        let heat_is_known = basis.heat.is_ok() && self.sums.with_torque_s > 0.0;
        let calibration = self.driveline.tyre_calibration();
        let events = self.events.events(&Settled {
            slip_sd,
            heat_is_known,
            slip_is_known: basis.slip.is_ok(),
            friction_radius_m: self
                .vehicle
                .pack
                .map(|pack| uniform_pressure_radius(pack.outer_radius_m, pack.inner_radius_m)),
        });
        let ingredients = Ingredients {
            calibration: &calibration,
            ledger: &self.ledger,
            bend_ledger: &self.bend_ledger,
            hottest_event_kj: events
                .iter()
                .filter_map(|event| event.heat_kj)
                .reduce(f64::max),
            geometry: self
                .wrong_geometry()
                .map_or(1.0, |_| self.limits.trust.wrong_geometry),
            net_area_m2: net_lining_area(&self.vehicle),
            basis,
            sums: &self.sums,
            tolerances: self.tolerances_in_use(),
            slip_sd,
            duration_s: self.coverage.duration_s(),
            command: self.command_time(),
            command_period_s: wheel("clutch.command")
                .and_then(|channel| channel.period_s)
                .unwrap_or(0.0),
            engagements: (
                self.events.n_engagements(),
                self.events.n_broken(),
                self.command.as_ref().map_or(0, CommandWatch::n_perhaps_one),
            ),
            hidden_s: self.uncovered(self.sums.covered_s, wheel_period_s)
                + self.sums.silent_moving_s,
            torque_never_known: self.torque_never_known(),
            oil: self.oil_outcome(),
            wheel_coverage,
            no_rows: self.no_rows(),
            turning_source: self.turning_source(),
            no_speed: self.no_speed(),
            resolution,
            torque_words: self.torque_words(),
            limits: &self.limits,
        };
        let figures = all(&ingredients);
        let regions = self.region_results(slip_sd, heat_is_known);
        let seen_channels: Vec<String> = channels
            .iter()
            .filter(|channel| channel.n_samples > 0)
            .map(|channel| channel.name.clone())
            .collect();
        let seen = Seen {
            heat_refusal: basis.heat.clone().err().or_else(|| {
                (!heat_is_known && self.no_rows().is_none()).then(|| self.torque_never_known())
            }),
            command_refusal: self.command.as_ref().err().cloned(),
            n_engagements: self.events.n_engagements(),
            not_observable_share: regions.as_ref().ok().map(|regions| {
                regions.seconds[Region::NotObservable as usize]
                    / regions.seconds.iter().sum::<f64>().max(1e-9)
            }),
            wheel_period_s,
            torque_by_command: self.sums.torque_by_command_s > 0.1 * self.sums.with_torque_s,
            is_preload_only: basis.is_preload_only,
            tyre_refusal: calibration
                .outcome
                .as_ref()
                .err()
                .filter(|_| self.no_rows().is_none())
                .cloned(),
            open_turn_deg: (self.turning_source().is_ok() && basis.track_rear_m.is_some())
                .then(|| self.sums.turned_open_all_rad.to_degrees()),
            channels: seen_channels.clone(),
            limits: self.limits,
        };
        let quality = self.quality(wheel_coverage, resolution);
        let drive = Drive {
            vehicle: &self.vehicle,
            channels: &self.channels,
            basis,
            seen: &seen_channels,
            figures: &figures,
            events: &events,
            calibration: &calibration,
            quality: &quality,
            limits: &self.limits,
            until: self.until,
        };
        let (findings, not_checked) = self.findings.outcome(&drive);
        let used = self.usage.outcome(&drive);
        Results {
            is_provisional: !self.is_finished,
            until: self.until,
            tier: tier(
                |name| seen_channels.iter().any(|seen| seen == name),
                heat_is_known,
            ),
            events,
            cannot_tell: cannot_tell(&seen),
            quality,
            noise_floor: floor
                .slip_sd()
                .filter(|_| basis.slip.is_ok())
                .map(|slip_sd| NoiseFloor {
                    slip_sd,
                    slip_step: basis.slip_step,
                    smallest_slip: self
                        .latest
                        .as_ref()
                        .map_or(0.0, |row| row.mean_noise(slip_sd).max(basis.slip_step)),
                    n_samples: floor.n_samples(),
                }),
            tyre_ratio_log: self.driveline.tyre_ratio_log(),
            strips: self.strip_results(heat_is_known),
            assumptions: self.assumptions(),
            settings_changed: settings::changed(&self.limits),
            duty_picture: match heat_is_known {
                true => Ok(self.duty.picture(slip_sd)),
                false => Err(seen
                    .heat_refusal
                    .clone()
                    .unwrap_or_else(|| "the torque is not known".to_owned())),
            },
            laps: self.path.laps(slip_sd, heat_is_known),
            findings,
            not_checked,
            meters: used.meters,
            class: used.class,
            calibration,
            figures,
            regions,
        }
    }

    fn region_results(&self, slip_sd: f64, heat_is_known: bool) -> Result<Regions, String> {
        if let Some(reason) = self.no_rows().or_else(|| self.no_speed()) {
            return Err(reason);
        }
        self.driveline.basis().slip.clone()?;
        if self.regions.n_judged() == 0 {
            self.command_time()?;
            return Err("neither command nor state of the clutch is known".to_owned());
        }
        let sums = self.regions.sums();
        let joules =
            heat_is_known.then(|| std::array::from_fn(|region| sums.heat[region].heat_j(slip_sd)));
        Ok(Regions {
            seconds: sums.seconds,
            joules,
        })
    }

    /// Time of the drive that something does not cover, s; 0 when it is no more than the
    /// rhythm of the channel or the start of a log explains.
    fn uncovered(&self, covered_s: f64, period_s: Option<f64>) -> f64 {
        let from_s = self.limits.driving.uncovered_from_s;
        let explained = from_s.max(3.0 * period_s.unwrap_or(0.0));
        match self.coverage.duration_s() - covered_s {
            missing if missing > explained => missing,
            _ => 0.0,
        }
    }
}

/// Net lining area of one pack, m², when the map states it.
fn net_lining_area(vehicle: &Vehicle) -> Option<f64> {
    let pack = vehicle.pack?;
    let area = net_area(
        f64::from(pack.n_faces),
        pack.outer_radius_m,
        pack.inner_radius_m,
        pack.groove_share,
    );
    (area > 0.0).then_some(area)
}
