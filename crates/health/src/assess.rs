//! Joins the parts: takes blocks, gives [`Results`] at any time.

use std::collections::VecDeque;

use halfshaft_driveline::align::full_scale;
use halfshaft_driveline::{CommandWatch, Driveline, Row};
use halfshaft_model::{Block, ChannelSpec, Site, Time, TorqueSource, Vehicle};

use crate::band::Tolerances;
use crate::cannot_tell::{Seen, cannot_tell};
use crate::coverage::Coverage;
use crate::events::EventTally;
use crate::figures::{Ingredients, all};
use crate::limits::{MOVING_FROM, SDS_OF_90};
use crate::regions::RegionSorter;
use crate::result::{Grade, NoiseFloor, Quality, Region, Regions, Results, Strip};
use crate::strips::Envelope;
use crate::sums::{PartialLimits, Sums};
use crate::tier::tier;

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
    tolerances: Tolerances,
    limits: PartialLimits,
    coverage: Coverage,
    sums: Sums,
    regions: RegionSorter,
    events: EventTally,
    strips: Strips,
    oil: Option<usize>,
    oil_max: Option<f64>,
    has_front: bool,
    waiting: VecDeque<Row>,
    cuts: VecDeque<Time>,
    latest: Option<Row>,
    until: Time,
    is_finished: bool,
    fresh: Vec<Row>,
}

#[derive(Clone, Debug, Default)]
struct Strips {
    road_speed: Envelope,
    difference: Envelope,
    command: Envelope,
    state: Envelope,
    heat_rate: Envelope,
    oil: Envelope,
}

impl Health {
    /// An assessment of a vehicle by the channels of its map.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Health {
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
        Health {
            limits: PartialLimits::new(driveline.basis(), torque, slip),
            command,
            tolerances,
            coverage: Coverage::new(channels),
            sums: Sums::default(),
            regions: RegionSorter::default(),
            events: EventTally::default(),
            strips: Strips::default(),
            oil: index("oil.temperature"),
            oil_max: None,
            has_front: index("wheel.front.left").is_some() && index("wheel.front.right").is_some(),
            waiting: VecDeque::new(),
            cuts: VecDeque::new(),
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
        self.until = self.until.max(block.until);
        self.coverage.push(block);
        self.cuts.extend(&block.cuts);
        if let Some(oil) = self.oil {
            for (time, value) in block.columns[oil].iter() {
                if let Some(celsius) = value {
                    self.oil_max = Some(self.oil_max.unwrap_or(celsius).max(celsius));
                    self.strips.oil.note(time, celsius);
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
        self.drain(Some(self.until.plus(-ahead_s)));
    }

    /// The log has ended.
    pub fn finish(&mut self) {
        if let Ok(watch) = &mut self.command {
            watch.finish();
            self.events.follow(watch);
        }
        let mut fresh = Vec::new();
        self.driveline.finish(&mut fresh);
        self.waiting.extend(fresh);
        self.drain(None);
        self.is_finished = true;
    }

    fn drain(&mut self, until: Option<Time>) {
        while let Some(row) = self
            .waiting
            .pop_front_if(|row| until.is_none_or(|until| row.time <= until))
        {
            self.take(row);
        }
    }

    fn take(&mut self, row: Row) {
        let mut is_silence = false;
        while self.cuts.pop_front_if(|cut| *cut <= row.time).is_some() {
            is_silence = true;
        }
        self.sums
            .note(&row, self.driveline.basis(), &self.limits, is_silence);
        if row.road_speed.is_some_and(|speed| speed > MOVING_FROM) {
            self.regions.note(&row);
        }
        self.events.note(&row, &self.limits);
        let strips = &mut self.strips;
        strips.difference.note(row.time, row.difference_mean);
        let pairs = [
            (&mut strips.road_speed, row.road_speed),
            (&mut strips.command, row.command),
            (&mut strips.state, row.state),
            (
                &mut strips.heat_rate,
                row.heat_rate_w
                    .map(|watts| if row.is_turning { watts } else { 0.0 }),
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
        let slip_sd = floor.slip_sd().unwrap_or(0.0);
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
        let ingredients = Ingredients {
            basis,
            sums: &self.sums,
            tolerances: self.tolerances,
            slip_sd,
            duration_s: self.coverage.duration_s(),
            command: self.command_time(),
            command_period_s: wheel("clutch.command")
                .and_then(|channel| channel.period_s)
                .unwrap_or(0.0),
            engagements: (self.events.n_engagements(), self.events.n_broken()),
            oil: self.oil_outcome(),
            wheel_coverage,
            no_rows: self.no_rows(),
            turning_source: self.turning_source(),
            no_speed: self.no_speed(),
            resolution,
            torque_words: self.torque_words(),
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
                (!heat_is_known && self.no_rows().is_none())
                    .then(|| "the channel the torque comes from never gave a value".to_owned())
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
            channels: seen_channels.clone(),
        };
        Results {
            is_provisional: !self.is_finished,
            until: self.until,
            tier: tier(
                |name| seen_channels.iter().any(|seen| seen == name),
                heat_is_known,
            ),
            events: self.events.events(slip_sd, heat_is_known),
            cannot_tell: cannot_tell(&seen),
            quality: self.quality(wheel_coverage, resolution),
            noise_floor: floor.slip_sd().map(|slip_sd| NoiseFloor {
                slip_sd,
                slip_step: basis.slip_step,
                smallest_slip: self.latest.as_ref().map_or(0.0, |row| {
                    crate::band::smallest_slip(row, slip_sd, basis.slip_step)
                }),
                n_samples: floor.n_samples(),
            }),
            tyre_ratio_log: self.driveline.tyre_ratio_log(),
            strips: self.strip_results(heat_is_known),
            assumptions: basis.assumptions.clone(),
            figures,
            regions,
        }
    }

    fn was_seen(&self, name: &str) -> bool {
        self.channels
            .iter()
            .position(|channel| channel.name == name)
            .is_some_and(|found| self.coverage.was_seen(found))
    }

    fn no_rows(&self) -> Option<String> {
        if self.sums.n_rows > 1 {
            return None;
        }
        let missing: Vec<&str> = ["wheel.rear.left", "wheel.rear.right"]
            .into_iter()
            .filter(|name| !self.was_seen(name))
            .collect();
        Some(match missing.is_empty() {
            true => "the two rear wheel speeds were never there at the same time".to_owned(),
            false => format!("no value of {}", missing.join(" and ")),
        })
    }

    fn no_speed(&self) -> Option<String> {
        let is_known = self.driveline.basis().radius_m.is_some() || self.was_seen("speed.vehicle");
        (!is_known).then(|| {
            "the map states no rolling radius and the log gives no speed.vehicle".to_owned()
        })
    }

    fn command_time(&self) -> Result<halfshaft_driveline::CommandTime, String> {
        let watch = self.command.as_ref().map_err(Clone::clone)?;
        if !self.coverage.was_seen(watch.channel()) {
            return Err("no value of clutch.command".to_owned());
        }
        Ok(watch.time())
    }

    fn oil_outcome(&self) -> Result<(f64, &'static str), String> {
        let Some(oil) = self.oil else {
            return Err("the map has no channel oil.temperature".to_owned());
        };
        let site = match self.channels[oil].site {
            Some(Site::Oil) => " (sensor in the oil)",
            Some(Site::Housing) => " (sensor in the housing, not in the oil)",
            Some(Site::ModelledByCar) => " (modelled by the car, not a sensor)",
            None => " (site of the sensor not stated)",
        };
        self.oil_max
            .map(|celsius| (celsius, site))
            .ok_or_else(|| "no value of oil.temperature".to_owned())
    }

    fn turning_source(&self) -> Result<&'static str, String> {
        if self.was_seen("yaw.rate") {
            return Ok("the yaw rate, its bias at standstill taken out");
        }
        if self.has_front && self.was_seen("wheel.front.left") && self.was_seen("wheel.front.right")
        {
            if self.driveline.basis().track_front_m.is_none() {
                return Err(
                    "turning would come from the front wheels, and the map states no track"
                        .to_owned(),
                );
            }
            return Ok("the difference of the front wheels");
        }
        Err("neither a yaw rate nor both front wheel speeds".to_owned())
    }

    fn torque_words(&self) -> String {
        if self.driveline.basis().is_preload_only {
            return "of the preload only".to_owned();
        }
        if self.sums.torque_by_command_s > 0.1 * self.sums.with_torque_s {
            return "from the command for want of a state, which reads high".to_owned();
        }
        let used =
            self.vehicle.torque_sources.iter().find(|source| {
                source.channel() != "clutch.command" && self.was_seen(source.channel())
            });
        match used {
            Some(TorqueSource::Table { channel, .. }) => format!("by table from {channel}"),
            Some(TorqueSource::Reported { channel, .. }) => format!("as reported in {channel}"),
            Some(TorqueSource::Clamp { channel, .. }) => {
                format!("from {channel}, friction and geometry")
            }
            None => "not known".to_owned(),
        }
    }

    fn region_results(&self, slip_sd: f64, heat_is_known: bool) -> Result<Regions, String> {
        if let Some(reason) = self.no_rows() {
            return Err(reason);
        }
        self.command_time()?;
        let sums = self.regions.sums();
        let joules =
            heat_is_known.then(|| std::array::from_fn(|region| sums.heat[region].heat_j(slip_sd)));
        Ok(Regions {
            seconds: sums.seconds,
            joules,
        })
    }

    fn quality(&self, wheel_coverage: f64, resolution: f64) -> Quality {
        let channels = self.coverage.channels();
        let (gaps, n_gaps) = self.coverage.gaps();
        let mut factors = vec![
            (
                wheel_coverage,
                format!(
                    "the rear wheel speeds cover {:.0} % of the drive",
                    100.0 * wheel_coverage
                ),
            ),
            (resolution, "the rear wheel speeds come slowly".to_owned()),
        ];
        for channel in &channels {
            let matters = channel.name.starts_with("clutch.") && channel.n_samples > 0;
            if matters {
                let text = format!(
                    "{} covers {:.0} % of the drive",
                    channel.name,
                    100.0 * channel.coverage
                );
                factors.push((channel.coverage, text));
            }
        }
        let (factor, words) = factors
            .into_iter()
            .min_by(|one, other| one.0.total_cmp(&other.0))
            .unwrap_or((0.0, String::new()));
        let worst_factor = match factor {
            _ if factor >= 0.99 => "none stands out, every factor is 0.99 or better".to_owned(),
            _ => words,
        };
        Quality {
            grade: Grade::of(factor),
            worst_factor,
            channels,
            gaps,
            n_gaps,
        }
    }

    fn strip_results(&self, heat_is_known: bool) -> Vec<Strip> {
        let strips = &self.strips;
        let mut out = Vec::new();
        let mut add = |name, title, unit, envelope: &Envelope, factor: f64| {
            if !envelope.is_empty() {
                out.push(Strip {
                    name,
                    title,
                    unit,
                    slots: envelope.slots(|value| value * factor),
                });
            }
        };
        add("road_speed", "Road speed", "km/h", &strips.road_speed, 3.6);
        add(
            "axle_speed_difference",
            "Axle speed difference, right − left",
            "rad/s",
            &strips.difference,
            1.0,
        );
        add("command", "Command", "%", &strips.command, 100.0);
        add("state", "State", "%", &strips.state, 100.0);
        if heat_is_known {
            add(
                "heat_rate",
                "Heat in the pack",
                "kW",
                &strips.heat_rate,
                1e-3,
            );
        }
        add("oil_temperature", "Oil temperature", "°C", &strips.oil, 1.0);
        out
    }
}
