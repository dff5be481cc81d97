//! What is known of this drive, and why the rest is not: reasons, sources, assumptions.
//! Every text is a fragment that fits after a colon.

use crate::reason::{DriveFact, MapFact, Reason};
use halfshaft_driveline::align::{follows_command, state_channel};
use halfshaft_driveline::engagement::{FULL_FROM, OPEN_BELOW};
use halfshaft_driveline::{CommandTime, Learned};
use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Site, TorqueSource};

use super::Health;
use crate::band::Tolerances;
use crate::trust::{Gate, Source};

impl Health {
    pub(super) fn assumptions(&self, learned: &Learned, gate: &Gate) -> Vec<String> {
        let mut assumptions = self.basis.assumptions.clone();
        if learned.slip_sd.is_none() && self.board.sums.n_rows > 0 {
            assumptions.push(format!(
                "Too few wheel speeds to learn their noise from: one slip sample is taken to scatter by {} rad/s.",
                self.limits.slip.usual_sd_rad_per_s
            ));
        }
        if let Some(ratio) = self.wrong_geometry(gate) {
            assumptions.push(format!(
                "In open bends the rear wheels differ {ratio:.2} times as much as track, radius and yaw rate say: track, rolling radius, the scale of a wheel speed or a sign looks wrong."
            ));
        }
        for (spec, of) in self.channels.iter().zip(self.board.left_out.channels()) {
            if let Some(first) = of.first() {
                assumptions.push(format!(
                    "Readings of {} that no car can make are left out, {}; the first at {:.2} s.",
                    spec.name,
                    of.describe(),
                    first.seconds()
                ));
            }
        }
        assumptions
    }

    /// Tolerances of the torque source that spoke, which need not be the map's first.
    pub(super) fn tolerances_in_use(&self) -> Tolerances {
        let is_seen = |channel: &&ChannelSpec| self.was_seen(&channel.name);
        let seen: Vec<ChannelSpec> = self.channels.iter().filter(is_seen).cloned().collect();
        Tolerances::new(&self.vehicle, &seen, &self.basis, &self.limits.trust)
    }

    pub(super) fn torque_never_known(&self) -> Reason {
        let sources = &self.vehicle.torque_sources;
        let inputs = sources.iter().flat_map(|source| {
            let second = match source {
                TorqueSource::Table { second, .. } => second.as_deref(),
                _ => None,
            };
            std::iter::once(source.channel()).chain(second)
        });
        let silent = inputs.filter(|name| !self.was_seen(name));
        let mut silent: Vec<String> = silent.map(str::to_owned).collect();
        silent.dedup();
        match silent.is_empty() {
            true => DriveFact::Torque.into(),
            false => Reason::SilentTorque(silent),
        }
    }

    pub(super) fn was_seen(&self, name: &str) -> bool {
        self.channels
            .iter()
            .position(|channel| channel.name == name)
            .is_some_and(|found| self.board.coverage.was_seen(found))
    }

    pub(super) fn no_rows(&self) -> Option<Reason> {
        if self.board.sums.n_rows > 1 {
            return None;
        }
        let missing: Vec<&str> = [name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT]
            .into_iter()
            .filter(|name| !self.was_seen(name))
            .collect();
        if missing.is_empty() && self.sieve.parting.outcome().seconds > 0.0 {
            return Some(DriveFact::DrivenWheels.into());
        }
        Some(match missing.is_empty() {
            true => DriveFact::WheelsTogether.into(),
            false => Reason::no_value(&missing),
        })
    }

    pub(super) fn no_speed(&self) -> Option<Reason> {
        let is_known = self.basis.radius_m.is_some() || self.was_seen(name::SPEED_VEHICLE);
        (!is_known).then(|| MapFact::RadiusOrSpeed.into())
    }

    pub(super) fn command_time(&self, learned: &Learned) -> Result<CommandTime, Reason> {
        let channel = self.command.clone()?;
        if !self.board.coverage.was_seen(channel) {
            return Err(Reason::no_value(&[name::CLUTCH_COMMAND]));
        }
        let mut time = learned.command_time.unwrap_or_default();
        let known = time.open_s + time.partial_s + time.full_s;
        if known == 0.0 {
            return Err(DriveFact::CommandValues.into());
        }
        let period = self.board.coverage.period_s(channel);
        time.hidden_s = self.uncovered(known, period);
        Ok(time)
    }

    /// Where the oil temperature is taken, in words.
    pub(super) fn oil_site(&self) -> &'static str {
        match self
            .sensors
            .oil
            .channel
            .and_then(|oil| self.channels[oil].site)
        {
            Some(Site::Oil) => " (sensor in the oil)",
            Some(Site::Housing) => " (sensor in the housing, not in the oil)",
            Some(Site::ModelledByCar) => " (modelled by the car, not a sensor)",
            None => " (site of the sensor not stated)",
        }
    }

    /// Whether a channel says what the mechanism does, or what is missing.
    pub(super) fn state_is_known(&self) -> Result<(), Reason> {
        let found = state_channel(&self.vehicle, &self.channels);
        match found {
            None => Err(MapFact::State.into()),
            Some(found) if !self.board.coverage.was_seen(found) => {
                Err(Reason::no_value(&[&self.channels[found].name]))
            }
            Some(_) => Ok(()),
        }
    }

    /// Seconds by level of the command, those left out in which it stood still.
    pub(super) fn command_time_left(&self, learned: &Learned, gate: &Gate) -> Option<CommandTime> {
        let mut time = self.command_time(learned).ok()?;
        for stretch in gate.stretches(Source::Command) {
            let seconds = stretch.span.seconds();
            let level = match stretch.value {
                value if value < OPEN_BELOW => &mut time.open_s,
                value if value < FULL_FROM => &mut time.partial_s,
                _ => &mut time.full_s,
            };
            *level = (*level - seconds).max(0.0);
            if (OPEN_BELOW..FULL_FROM).contains(&stretch.value) {
                let bounds = time.partial_bounds_s;
                time.partial_bounds_s = bounds.map(|bound| (bound - seconds).max(0.0));
            }
            time.hidden_s += seconds;
        }
        Some(time)
    }

    pub(super) fn turning_source(&self) -> Result<&'static str, Reason> {
        if self.was_seen(name::YAW_RATE) {
            return Ok("the yaw rate, less its bias where the car stood still");
        }
        if self.was_seen(name::WHEEL_FRONT_LEFT) && self.was_seen(name::WHEEL_FRONT_RIGHT) {
            if self.basis.track_front_m.is_none() {
                return Err(MapFact::FrontTrack.into());
            }
            return Ok("the difference of the front wheels");
        }
        Err(DriveFact::Turning.into())
    }

    fn follows_command(&self, name: &str) -> bool {
        self.channels
            .iter()
            .any(|channel| channel.name == name && follows_command(channel))
    }

    pub(super) fn torque_words(&self) -> String {
        if self.basis.is_preload_only {
            return "of the preload only".to_owned();
        }
        if self.board.sums.torque_by_command_s > 0.1 * self.board.sums.with_torque_s {
            return "from the command for want of a state, which reads high".to_owned();
        }
        let used = self.vehicle.torque_sources.iter().find(|source| {
            !self.follows_command(source.channel()) && self.was_seen(source.channel())
        });
        match used {
            Some(TorqueSource::Table { channel, .. }) => format!("by table from {channel}"),
            Some(TorqueSource::Reported { channel, .. }) => format!("as reported in {channel}"),
            Some(TorqueSource::Clamp { channel, .. }) => {
                format!("from {channel}, friction and geometry, the preload added to it")
            }
            None => "not known".to_owned(),
        }
    }

    /// Time of the drive that something does not cover, s; 0 when it is no more than the
    /// rhythm of the channel or the start of a log explains.
    pub(super) fn uncovered(&self, covered_s: f64, period_s: Option<f64>) -> f64 {
        let from_s = self.limits.driving.uncovered_from_s;
        let explained = from_s.max(3.0 * period_s.unwrap_or(0.0));
        match self.board.coverage.duration_s() - covered_s {
            missing if missing > explained => missing,
            _ => 0.0,
        }
    }
}
