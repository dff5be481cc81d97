//! Settles what was gathered into [`Results`], at any time of a drive.

use std::mem::discriminant;

use halfshaft_driveline::Learned;
use halfshaft_driveline::derive::clutch_torque::uniform_pressure_radius;
use halfshaft_driveline::row::mean_noise;
use halfshaft_driveline::thermal::{ThermalEstimate, UnitFactors};
use halfshaft_model::channel::name;
use halfshaft_model::{Span, Time};

use super::{Health, ThermalKey};
use crate::baseline::Quantity;
use crate::cannot_tell::{Seen, cannot_tell};
use crate::duty::{DutyInput, SeverityIndex, severity_index};
use crate::figure_id::FigureId;
use crate::figures::{self, Ingredients, all, estimate_of};
use crate::findings::drive::lining_area_mm2;
use crate::findings::{Drive, FindingId};
use crate::laps_to_limit::{self, lap_peaks};
use crate::nouns::{Figure, NoiseFloor, Region, Regions};
use crate::oil_life::{OilInput, OilLife, oil_life};
use crate::outlook::{OutlookInput, outlook};
use crate::reason::{DriveFact, Reason};
use crate::results::Results;
use crate::score_card::{CardInput, score_card};
use crate::settings;
use crate::tier::tier;
use crate::trust::{COMMAND, Doubt, Gate, HEAT, Kept, MOTION, Source, Verdict, on};

/// Period of wheel samples up to which nothing is lost to blur, s. Slower ones lower the
/// grade in proportion. Source: none, engineering guess (50 Hz).
const SHARP_PERIOD_S: f64 = 0.02;

/// The pack that was logged, for another one to be told beside it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beside<'a> {
    /// Its assessment.
    pub logged: &'a Health,
    /// Its temperatures.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
    /// What the other unit is thermally, over it.
    pub factors: UnitFactors,
}

impl Health {
    /// What can be said so far, with what the driveline has learned by then; provisional
    /// until [`Health::finish`]. What is costly to fit may until then rest on a drive that is
    /// a little shorter.
    pub fn results(&mut self, learned: &Learned) -> Results {
        self.results_with(learned, None)
    }

    /// The same for another pack, beside the one that was logged: what the drive told of the
    /// temperatures comes from there, and the oil is warmer by what the model says.
    pub(crate) fn results_beside(&mut self, learned: &Learned, logged: &Beside) -> Results {
        self.results_with(learned, Some(logged))
    }

    fn results_with(&mut self, learned: &Learned, beside: Option<&Beside>) -> Results {
        let basis = &self.basis;
        let not_driving = self.parting.outcome();
        let first = self.judged(learned);
        let calibration = learned.calibration.clone();
        let calibration = match first.verdict(Source::Tyres) {
            Verdict::Withheld(why) => calibration.withheld(why.clone()),
            _ => {
                let ratio = calibration.outcome.clone().map_err(Reason::from);
                calibration.with_outcome(ratio)
            }
        };
        let channels = self.coverage.channels();
        let wheel = |name: &str| channels.iter().find(|channel| channel.name == name);
        let wheels: Vec<_> = [name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT]
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
        let ripple = self.ripple.outcome();
        let quality = self.quality(learned, &first, wheel_coverage, resolution, &ripple);
        let seen_channels: Vec<String> = channels
            .iter()
            .filter(|channel| channel.n_samples > 0)
            .map(|channel| channel.name.clone())
            .collect();
        let actuator = self.actuator.outcome(&first);
        let leading = self.actuator.leading();
        let (no_thermal, no_class) = (Err(Reason::NotJudged), Err(DriveFact::Class.into()));
        let drive = Drive {
            trust: &first,
            class: &no_class,
            vehicle: &self.vehicle,
            channels: &self.channels,
            basis,
            seen: &seen_channels,
            figures: &[],
            events: &[],
            calibration: &calibration,
            quality: &quality,
            actuator: &actuator,
            leading: leading.as_ref(),
            swap: self.swap(),
            pieces: self.pieces.pieces(),
            thermal: &no_thermal,
            ripple: &ripple,
            baseline: &self.baseline,
            not_driving: &not_driving,
            limits: &self.limits,
            until: self.until,
        };
        // Whether the pack grips decides what its torque is worth, and needs no figure.
        let grips = !self.findings.fires(FindingId::DoesNotGrip, &drive);
        let mut gate = first.clone();
        if !grips && gate.allows(HEAT).is_ok() {
            gate.judge(
                Source::Torque,
                Verdict::Doubtful(Doubt {
                    why: Reason::NoGrip,
                    factor: 0.0,
                    is_upper_bound: true,
                }),
            );
        }
        let gate = gate;
        let heat_is_known = gate.allows(HEAT).is_ok();
        let events = self.events.events(&gate, self.friction_radius_m());
        let tolerances = self.tolerances_in_use();
        let heat_sd = tolerances.heat();
        let thermal = match beside {
            None => {
                let key = ThermalKey {
                    is_finished: self.is_finished,
                    verdicts: Source::ALL.map(|source| discriminant(gate.verdict(source))),
                };
                let watch = &self.temperature;
                self.thermal
                    .get(self.until.seconds(), key, || watch.outcome(&gate, heat_sd))
                    .clone()
            }
            Some(beside) => beside.logged.temperature.outcome_changed(
                &gate,
                heat_sd,
                &self.temperature,
                beside.factors,
            ),
        };
        let warmer_k = match (beside.map(|beside| beside.thermal), &thermal) {
            (Some(Ok(logged)), Ok(other)) => {
                other.oil_max.celsius.value - logged.oil_max.celsius.value
            }
            _ => 0.0,
        };
        let command = Kept::new(self.command_time_left(learned, &gate));
        let hottest_event_kj = events
            .iter()
            .filter_map(|event| event.heat_kj)
            .reduce(f64::max);
        let (n_engagements, n_broken) = self.events.engagements(&gate);
        let ingredients = Ingredients {
            gate: &gate,
            actuator: &actuator,
            baseline: &self.baseline,
            vehicle: &self.vehicle,
            thermal: &thermal,
            oil_warn_c: self.vehicle.oil_warn_c.unwrap_or(self.limits.oil.warn_c),
            calibration: &calibration,
            ledger: &self.ledger,
            bend_ledger: &self.bend_ledger,
            hottest_event_kj: Kept::new(hottest_event_kj),
            area_mm2: lining_area_mm2(&self.vehicle),
            basis,
            sums: &self.sums,
            tolerances,
            duration_s: self.coverage.duration_s(),
            command: &command,
            command_period_s: wheel(name::CLUTCH_COMMAND)
                .and_then(|channel| channel.period_s)
                .unwrap_or(0.0),
            engagements: (n_engagements, n_broken, learned.n_perhaps_one),
            hidden_s: self.uncovered(self.sums.covered_s + not_driving.seconds, wheel_period_s)
                + self.sums.silent_moving_s,
            oil_c: self
                .oil_sensor
                .highest_c()
                .map(|highest_c| highest_c.map(|celsius| celsius + warmer_k)),
            oil_site: self.oil_site(),
            wheel_coverage,
            turning_words: self.turning_source().unwrap_or("yaw rate"),
            resolution,
            torque_words: self.torque_words(),
            limits: &self.limits,
        };
        let mut figures = all(&ingredients);
        let regions = self.region_results(learned, &gate);
        let why_no_heat = gate.allows(HEAT).err();
        let seen = Seen {
            heat_refusal: basis.heat.clone().err().map(Reason::from).or_else(|| {
                why_no_heat
                    .clone()
                    .filter(|_| gate.allows(on(&[Source::Wheels])).is_ok())
            }),
            command_refusal: self.command.as_ref().err().cloned(),
            n_engagements,
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
                .filter(|_| gate.allows(on(&[Source::Wheels])).is_ok())
                .cloned(),
            open_turn_deg: self
                .sums
                .turning
                .ask(&gate)
                .ok()
                .filter(|_| basis.track_rear_m.is_some())
                .map(|turning| turning.turned_open_all_rad.to_degrees()),
            channels: seen_channels.clone(),
            limits: self.limits,
        };
        let oil_p99_c = self.usage.oil_p99_c(&gate).ok();
        let oil_p99_c = oil_p99_c.map(|celsius| celsius + warmer_k);
        let severity = self.severity(&figures, oil_p99_c);
        figures.push(figures::duty::severity(&gate, &severity, &figures));
        let oil_life = self.oil_life(&gate, &figures);
        figures.push(figures::duty::oil_distance_factor(&gate, &oil_life));
        let laps = self.path.laps(&gate);
        let oil_warn_c = self.vehicle.oil_warn_c.unwrap_or(self.limits.oil.warn_c);
        let laps_left = match gate.verdict(Source::Oil) {
            Verdict::Withheld(why) => Err(why.clone()),
            _ => lap_peaks(&laps.laps),
        };
        let laps_left =
            laps_left.and_then(|celsius| laps_to_limit::laps_to_limit(&celsius, oil_warn_c));
        figures.push(laps_to_limit::figure(&laps_left));
        let holding = match self.holding.ask(&gate) {
            Ok(sums) => sums.outcome(),
            Err(why) => Err(why),
        };
        let past = self.baseline.get(Quantity::Holding);
        figures.push(figures::holding::holding_index(
            &gate,
            &holding,
            past,
            quality.grade,
        ));
        let drive = Drive {
            trust: &gate,
            figures: &figures,
            events: &events,
            thermal: &thermal,
            ..drive
        };
        let duty = self.cycles.outcome(DutyInput {
            gate: &gate,
            events: &events,
            area_mm2: lining_area_mm2(&self.vehicle),
            friction_radius_m: self.friction_radius_m(),
            n_packs: basis.n_packs,
            distance_km: value_of(&figures, FigureId::Distance),
            least_km: self.limits.usage.least_km,
            life_line: self.limits.life_line,
            thermal: &thermal,
        });
        let used = self.usage.outcome(&drive);
        let drive = Drive {
            class: &used.class,
            ..drive
        };
        let (findings, not_checked) = self.findings.outcome(&drive);
        let outlook = outlook(OutlookInput {
            thermal: &thermal,
            sensor: drive.oil_site(),
            oil_warn_c,
            heat: &self.limits.heat,
            radius_m: basis.radius_m,
            decay: self.temperature.decay(&gate),
            laps: laps_left,
        });
        let score_card = score_card(&CardInput {
            baseline: &self.baseline,
            findings: &findings,
            not_checked: &not_checked,
            meters: &used.meters,
            figures: &figures,
            thermal: &thermal,
            limits: &self.limits,
        });
        Results {
            is_provisional: !self.is_finished,
            until: self.until,
            trust: gate.clone(),
            tier: tier(
                |name| seen_channels.iter().any(|seen| seen == name),
                heat_is_known,
            ),
            events,
            cannot_tell: cannot_tell(&seen),
            quality,
            noise_floor: self.noise_floor(learned),
            tyre_ratio_log: learned.tyre_ratio_log,
            actuator_sentence: actuator.as_ref().ok().map(|actuator| {
                crate::actuator::sentence(actuator, &self.baseline, &self.limits.actuator)
            }),
            strips: self.strip_results(&gate, thermal.as_ref().ok()),
            assumptions: self.assumptions(learned, &gate),
            settings_changed: settings::changed(&self.limits),
            duty_picture: self
                .duty
                .picture(
                    &gate,
                    Span {
                        start: Time(0),
                        end: self.until,
                    },
                )
                .map_err(|why| why_no_heat.unwrap_or(why)),
            laps,
            outlook,
            score_card,
            duty,
            severity,
            oil_life,
            findings,
            not_checked,
            meters: used.meters,
            class: used.class,
            calibration,
            figures,
            regions,
            actuator,
            apparent: self.actuator.apparent(&gate),
            thermal,
            two_by_two: match self.two_by_two.ask(&gate) {
                Ok(watch) => watch.outcome(),
                Err(why) => Err(why),
            },
        }
    }

    /// Share of the checks of the values against the map that were passed.
    pub(super) fn fit_factor(&self) -> f64 {
        self.fit.0 as f64 / self.fit.1 as f64
    }

    fn friction_radius_m(&self) -> Option<f64> {
        let pack = self.vehicle.pack?;
        Some(uniform_pressure_radius(
            pack.outer_radius_m,
            pack.inner_radius_m,
        ))
    }

    /// The severity index of the figures, each taken where it is known.
    fn severity(
        &self,
        figures: &[Figure],
        oil_p99_c: Option<f64>,
    ) -> Result<SeverityIndex, Reason> {
        let value = |id| value_of(figures, id).ok();
        let partial = value(FigureId::PartialHeatMaking)
            .zip(value(FigureId::MovingTime))
            .filter(|(_, moving_s)| *moving_s > 0.0)
            .map(|(partial_s, moving_s)| 100.0 * partial_s / moving_s);
        severity_index(
            &self.limits.severity,
            value(FigureId::SpecificPowerMax),
            value(FigureId::HeatPerKm),
            oil_p99_c,
            partial,
        )
    }

    fn oil_life(&self, gate: &Gate, figures: &[Figure]) -> OilLife {
        let ageing = self.oil_ageing.ask(gate);
        let rate = ageing.and_then(|ageing| ageing.rate().ok_or(DriveFact::OilAging.into()));
        let input = OilInput {
            rate,
            heat_kj_per_km: estimate_of(figures, FigureId::HeatPerKm),
            distance_km: estimate_of(figures, FigureId::Distance).ok(),
            sensor_sd_k: self.limits.trust.oil_sensor_sd_k,
            km_per_year: None,
        };
        oil_life(&self.limits.oil_distance, &input)
    }

    fn noise_floor(&self, learned: &Learned) -> Option<NoiseFloor> {
        let basis = &self.basis;
        let slip_sd = learned.slip_sd.filter(|_| basis.slip.is_ok())?;
        Some(NoiseFloor {
            slip_sd,
            slip_step: basis.slip_step,
            smallest_slip: self.latest.map_or(0.0, |(_, noise_in_mean)| {
                mean_noise(slip_sd, noise_in_mean).max(basis.slip_step)
            }),
            n_samples: learned.n_slip_samples,
        })
    }

    fn region_results(&self, learned: &Learned, gate: &Gate) -> Result<Regions, Reason> {
        gate.allows(MOTION)?;
        let sums = self.regions.ask(gate)?;
        // Judged by the command, and by the state where that is not known.
        let refused = gate.allows(COMMAND).and(gate.allows(on(&[Source::State])));
        if sums.n_judged() == 0 {
            self.command_time(learned)?;
            return Err(DriveFact::CommandOrState.into());
        }
        if let Err(why @ (Reason::Swapped | Reason::TwoCars)) = refused {
            return Err(why);
        }
        let sums = sums.sums();
        let heat = sums.heat.ask(gate).ok();
        Ok(Regions {
            seconds: sums.seconds,
            joules: heat.map(|heat| heat.each_ref().map(|heat| heat.heat_j(gate.slip_sd()))),
        })
    }

    /// Time of the drive that something does not cover, s; 0 when it is no more than the
    /// rhythm of the channel or the start of a log explains.
    pub(super) fn uncovered(&self, covered_s: f64, period_s: Option<f64>) -> f64 {
        let from_s = self.limits.driving.uncovered_from_s;
        let explained = from_s.max(3.0 * period_s.unwrap_or(0.0));
        match self.coverage.duration_s() - covered_s {
            missing if missing > explained => missing,
            _ => 0.0,
        }
    }
}

fn value_of(figures: &[Figure], id: FigureId) -> Result<f64, Reason> {
    estimate_of(figures, id).map(|estimate| estimate.value)
}
