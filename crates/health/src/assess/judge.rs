//! Judges every source of a drive, before anything is computed from it.
//!
//! In: what the watchers saw. Out: the [`Gate`]. The order is that of what rests on what: the
//! pieces of the log, wheels, command and state, torque, bends, and last the oil, which is
//! judged by the heat that should have warmed it.

use halfshaft_driveline::align::{follows_command, state_channel};
use halfshaft_driveline::{Calibration, Learned, Mode};
use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, TorqueSource, Vehicle};

use super::Health;
use crate::pieces::foreign;
use crate::reason::Reason;
use crate::trust::{Doubt, Gate, Source, Swap, Verdict};

/// What a log of two cars says of neither.
const OF_ONE_CAR: [Source; 10] = [
    Source::Slip,
    Source::Command,
    Source::State,
    Source::Torque,
    Source::Turning,
    Source::Sides,
    Source::Tyres,
    Source::Oil,
    Source::Housing,
    Source::Air,
];

/// Whether the torque of the pack is read from the channel that counts as its state.
pub(super) fn is_torque_of_state(vehicle: &Vehicle, channels: &[ChannelSpec]) -> bool {
    let state = state_channel(vehicle, channels).map(|found| channels[found].name.as_str());
    let first = vehicle.torque_sources.iter().find(|source| {
        channels
            .iter()
            .any(|channel| channel.name == source.channel() && !follows_command(channel))
    });
    first
        .map(TorqueSource::channel)
        .is_some_and(|channel| state == Some(channel))
}

impl Health {
    /// What is believed so far.
    pub(super) fn judged(&self, learned: &Learned) -> Gate {
        let (slip_sd, calibration) = (learned.slip_sd, &learned.calibration);
        let usual_sd = self.limits.slip.usual_sd_rad_per_s;
        let mut gate = Gate::new(slip_sd.unwrap_or(usual_sd), self.sieve.still.outcome());
        let none = |refusal: Option<Reason>| Verdict::of(refusal.map_or(Ok(()), Err));
        gate.judge(Source::Wheels, none(self.no_rows()));
        gate.judge(Source::RoadSpeed, none(self.no_speed()));
        let swap = self.is_swapped();
        let of_signal = |source: Source, known: Result<(), Reason>, is_swapped: bool| match known {
            Err(why) => Verdict::Missing(why),
            Ok(()) if is_swapped => Verdict::Withheld(Reason::Swapped),
            Ok(()) if gate.still().is_mostly(source) => {
                Verdict::Withheld(Reason::StoodStill(source))
            }
            Ok(()) => Verdict::Sound,
        };
        let command = self.command_time(learned).map(|_| ());
        let command = of_signal(Source::Command, command, swap);
        let state = of_signal(Source::State, self.state_is_known(), swap);
        let turning = of_signal(Source::Turning, self.turning_source().map(|_| ()), false);
        gate.judge(Source::Command, command);
        gate.judge(Source::State, state);
        gate.judge(Source::Slip, self.slip_verdict(calibration));
        gate.judge(
            Source::Torque,
            self.torque_verdict(&gate, calibration, swap),
        );
        let left_out = &self.board.left_out;
        if let Err(why) = left_out.allows_slip(&self.channels, &self.limits.sensor) {
            gate.withhold(&[Source::Slip, Source::Torque], &why);
        }
        gate.judge(Source::Turning, turning);
        gate.judge(
            Source::Sides,
            match calibration.are_sides_swapped && gate.stretches(Source::Turning).is_empty() {
                true => Verdict::Withheld(Reason::SidesSwapped),
                false => Verdict::Sound,
            },
        );
        gate.judge(Source::Tyres, tyres_verdict(&gate, calibration));
        let fit = self.fit_verdict(&gate);
        gate.judge(Source::Fit, fit);
        let oil = self.oil_verdict(&gate);
        gate.judge(Source::Oil, oil);
        gate.judge(Source::Housing, Verdict::Sound);
        gate.judge(
            Source::Air,
            match self.sensors.air.watch.air_trouble(&self.limits.oil) {
                Some(why) => Verdict::Withheld(why),
                None => Verdict::Sound,
            },
        );
        if !foreign(self.board.pieces.pieces(), &self.limits.trust).is_empty() {
            gate.withhold(&OF_ONE_CAR, &Reason::TwoCars);
        }
        gate
    }

    /// How command and state go together when that is the wrong way round.
    pub(super) fn swap(&self) -> Option<Swap> {
        self.board.swap.outcome(&self.limits.swapped)
    }

    /// How far apart the samples of both lie, s, where that hides which moves first.
    pub(super) fn order_hidden_by_s(&self) -> Option<f64> {
        self.board.swap.hidden_by_s(&self.limits.swapped)
    }

    fn is_swapped(&self) -> bool {
        self.board.actuator.leading().is_some() || self.swap().is_some()
    }

    fn slip_verdict(&self, calibration: &Calibration) -> Verdict {
        if let Err(why) = &self.basis.slip {
            return Verdict::Missing(why.clone().into());
        }
        match calibration.are_signals_identical {
            true => Verdict::Withheld(Reason::SameSignal),
            false => Verdict::Sound,
        }
    }

    fn torque_verdict(&self, gate: &Gate, calibration: &Calibration, is_swapped: bool) -> Verdict {
        if let Err(why) = &self.basis.heat {
            return Verdict::Missing(why.clone().into());
        }
        if calibration.are_signals_identical {
            return Verdict::Withheld(Reason::SameSignal);
        }
        let sources = &self.vehicle.torque_sources;
        if is_swapped && !sources.is_empty() {
            return Verdict::Withheld(Reason::TorqueSwapped);
        }
        let never_known = self.board.sums.with_torque_s == 0.0;
        let stood = [Source::State, Source::Command].into_iter().find(|source| {
            (never_known || gate.still().is_mostly(*source))
                && !gate.stretches(*source).is_empty()
                && self.is_torque_of(*source)
        });
        match stood {
            Some(source) => Verdict::Withheld(Reason::TorqueStoodStill(source)),
            None if never_known => Verdict::Missing(self.torque_never_known()),
            None => Verdict::Sound,
        }
    }

    /// Whether the torque is read from the state, or from the command for want of one.
    fn is_torque_of(&self, source: Source) -> bool {
        match source {
            Source::State => self.is_torque_of_state,
            _ => self.board.sums.torque_by_command_s > 0.0 || !self.is_torque_of_state,
        }
    }

    /// Share of the checks of the values against the map that were passed.
    pub(super) fn fit_factor(&self) -> f64 {
        self.fit.0 as f64 / self.fit.1 as f64
    }

    /// A map whose values or geometry do not fit the drive lowers every grade.
    fn fit_verdict(&self, gate: &Gate) -> Verdict {
        let limits = &self.limits.trust;
        let geometry = self.wrong_geometry(gate);
        let factor = geometry.map_or(1.0, |_| limits.wrong_geometry);
        match self.fit_factor().min(factor) {
            factor if factor < 1.0 => Verdict::Doubtful(Doubt {
                why: match geometry {
                    Some(ratio) => Reason::WrongGeometry { ratio },
                    None => Reason::FewChecksPassed {
                        n_passed: self.fit.0,
                        n_all: self.fit.1,
                    },
                },
                factor,
                is_upper_bound: false,
            }),
            _ => Verdict::Sound,
        }
    }

    /// How much the wheels differ in open bends over what the map's geometry asks there,
    /// median over time, when that is more than tyres and preload explain.
    pub(super) fn wrong_geometry(&self, gate: &Gate) -> Option<f64> {
        let limits = &self.limits.trust;
        let turning = self.board.sums.turning.ask(gate).ok()?;
        let has_turned = turning.turned_open_all_rad.to_degrees() > limits.geometry_turn_deg;
        let ratio = turning.openness.median().filter(|_| has_turned)?;
        let right = limits.right_geometry_from..=limits.right_geometry_to;
        (!right.contains(&ratio)).then_some(ratio)
    }

    fn oil_verdict(&self, gate: &Gate) -> Verdict {
        let Some(channel) = self.sensors.oil.channel else {
            return Verdict::Missing(Reason::NoChannel(name::OIL_TEMPERATURE));
        };
        let [oil, housing, air] = [&self.sensors.oil, &self.sensors.housing, &self.sensors.air]
            .map(|sensor| &sensor.watch);
        let (limits, step_k) = (&self.limits.oil, self.channels[channel].step);
        let trouble = oil
            .oil_trouble(limits)
            .or_else(|| oil.froze(housing, &self.board.since_oil, step_k, limits))
            .or_else(|| oil.apart_from(housing, limits))
            .or_else(|| {
                let motion = self.board.sums.motion.ask(gate).ok()?;
                let mean_speed = motion.distance_m / motion.moving_s.max(1.0);
                oil.in_fahrenheit(air, mean_speed, limits)
            });
        match trouble {
            Some(why) => Verdict::Withheld(why),
            None if oil.n_taken() == 0 => {
                Verdict::Missing(Reason::no_value(&[name::OIL_TEMPERATURE]))
            }
            None => Verdict::Sound,
        }
    }
}

/// The tyres by straight running: with a yaw rate that stood still, bends pass for straights.
fn tyres_verdict(gate: &Gate, calibration: &Calibration) -> Verdict {
    let by_yaw = calibration.mode == Mode::YawRegression;
    if by_yaw && !gate.stretches(Source::Turning).is_empty() {
        return Verdict::Withheld(Reason::StoodStill(Source::Turning));
    }
    match &calibration.outcome {
        Err(why) => Verdict::Missing(why.clone().into()),
        Ok(_) => Verdict::Sound,
    }
}
