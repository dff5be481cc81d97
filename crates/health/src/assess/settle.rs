//! Settles what was gathered into [`Results`], at any time of a drive.

use halfshaft_driveline::CommandWatch;
use halfshaft_driveline::derive::clutch_torque::uniform_pressure_radius;
use halfshaft_driveline::row::mean_noise;
use halfshaft_driveline::thermal::{ThermalEstimate, UnitFactors};
use halfshaft_model::{Span, Time};

use super::Health;
use crate::baseline::Quantity;
use crate::cannot_tell::{Seen, cannot_tell};
use crate::duty::{DutyInput, SeverityIndex, severity_index};
use crate::events::Settled;
use crate::figures::{self, Ingredients, all, estimate_of};
use crate::findings::Drive;
use crate::findings::drive::lining_area_mm2;
use crate::laps_to_limit::{self, lap_peaks};
use crate::oil_life::{OilInput, OilLife, oil_life};
use crate::outlook::{OutlookInput, outlook};
use crate::result::{Figure, NoiseFloor, Region, Regions, Results};
use crate::score_card::{CardInput, score_card};
use crate::settings;
use crate::temperature::SensorDoubts;
use crate::tier::tier;

/// Period of wheel samples up to which nothing is lost to blur, s. Slower ones lower the
/// grade in proportion. Source: none, engineering guess (50 Hz).
const SHARP_PERIOD_S: f64 = 0.02;

/// The pack that was logged, for another one to be told beside it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beside<'a> {
    /// Its assessment.
    pub logged: &'a Health,
    /// Its temperatures.
    pub thermal: &'a Result<ThermalEstimate, String>,
    /// What the other unit is thermally, over it.
    pub factors: UnitFactors,
}

impl Health {
    /// What can be said so far; provisional until [`Health::finish`].
    pub fn results(&self) -> Results {
        self.results_with(None)
    }

    /// The same for another pack, beside the one that was logged: what the drive told of the
    /// temperatures comes from there, and the oil is warmer by what the model says.
    pub(crate) fn results_beside(&self, logged: &Beside) -> Results {
        self.results_with(Some(logged))
    }

    fn results_with(&self, beside: Option<&Beside>) -> Results {
        let basis = self.driveline.basis();
        let floor = self.driveline.noise_floor();
        let not_driving = self.parting.outcome();
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
            friction_radius_m: self.friction_radius_m(),
        });
        let tolerances = self.tolerances_in_use();
        let oil_trouble = self.oil_trouble();
        let air_trouble = self.air_sensor.air_trouble(&self.limits.oil);
        let doubts = SensorDoubts {
            oil: oil_trouble.as_ref(),
            air: air_trouble.as_ref(),
        };
        let heat_sd = tolerances.heat();
        let thermal = match beside {
            // Wheel speeds alone say nothing of temperatures.
            None if basis.heat.is_err() => Err(basis.heat.clone().err().unwrap_or_default()),
            None => self.temperature.outcome(heat_sd, doubts),
            Some(beside) => beside.logged.temperature.outcome_changed(
                heat_sd,
                doubts,
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
        let actuator = self.actuator.outcome();
        let leading = self.actuator.leading();
        let ingredients = Ingredients {
            actuator: &actuator,
            baseline: &self.baseline,
            vehicle: &self.vehicle,
            thermal: &thermal,
            oil_warn_c: self.vehicle.oil_warn_c.unwrap_or(self.limits.oil.warn_c),
            calibration: &calibration,
            ledger: &self.ledger,
            bend_ledger: &self.bend_ledger,
            hottest_event_kj: events
                .iter()
                .filter_map(|event| event.heat_kj)
                .reduce(f64::max),
            geometry: self
                .wrong_geometry()
                .map_or(1.0, |_| self.limits.trust.wrong_geometry)
                .min(self.fit_factor()),
            area_mm2: lining_area_mm2(&self.vehicle),
            basis,
            sums: &self.sums,
            tolerances,
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
            hidden_s: self.uncovered(self.sums.covered_s + not_driving.seconds, wheel_period_s)
                + self.sums.silent_moving_s,
            torque_never_known: self.torque_never_known(),
            oil: self
                .oil_outcome()
                .map(|(celsius, site)| (celsius + warmer_k, site)),
            wheel_coverage,
            no_rows: self.no_rows(),
            turning_source: self.turning_source(),
            no_speed: self.no_speed(),
            resolution,
            torque_words: self.torque_words(),
            limits: &self.limits,
        };
        let mut figures = all(&ingredients);
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
        let oil_p99_c = self.usage.oil_p99_c().filter(|_| oil_trouble.is_none());
        let oil_p99_c = oil_p99_c.map(|celsius| celsius + warmer_k);
        let severity = self.severity(&figures, oil_p99_c);
        figures.push(figures::duty::severity(&severity, &figures));
        let oil_life = self.oil_life(&figures, oil_trouble.clone());
        figures.push(figures::duty::oil_distance_factor(&oil_life));
        let laps = self.path.laps(slip_sd, heat_is_known);
        let oil_warn_c = self.vehicle.oil_warn_c.unwrap_or(self.limits.oil.warn_c);
        let laps_left = match &oil_trouble {
            Some(trouble) => Err(trouble.clone()),
            None => lap_peaks(&laps.laps),
        };
        let laps_left =
            laps_left.and_then(|celsius| laps_to_limit::laps_to_limit(&celsius, oil_warn_c));
        figures.push(laps_to_limit::figure(&laps_left));
        let ripple = self.ripple.outcome();
        let quality = self.quality(wheel_coverage, resolution, &ripple);
        let holding = self.holding.outcome();
        let past = self.baseline.get(Quantity::Holding);
        figures.push(figures::holding::holding_index(
            &holding,
            past,
            quality.grade,
        ));
        let not_classed = Err("not classed yet".to_owned());
        let drive = Drive {
            class: &not_classed,
            vehicle: &self.vehicle,
            channels: &self.channels,
            basis,
            seen: &seen_channels,
            figures: &figures,
            events: &events,
            calibration: &calibration,
            quality: &quality,
            actuator: &actuator,
            leading: leading.as_ref(),
            pieces: self.pieces.pieces(),
            thermal: &thermal,
            ripple: &ripple,
            baseline: &self.baseline,
            oil_trouble: oil_trouble.as_deref(),
            air_trouble: air_trouble.as_deref(),
            not_driving: &not_driving,
            limits: &self.limits,
            until: self.until,
        };
        let duty = self.cycles.outcome(DutyInput {
            events: &events,
            area_mm2: lining_area_mm2(&self.vehicle),
            friction_radius_m: self.friction_radius_m(),
            n_packs: basis.n_packs,
            distance_km: value_of(&figures, "distance"),
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
            decay: self.temperature.decay(),
            laps: laps_left,
        });
        figures::doubted::doubt(&mut figures, &findings);
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
                    smallest_slip: self.latest.map_or(0.0, |(_, noise_in_mean)| {
                        mean_noise(slip_sd, noise_in_mean).max(basis.slip_step)
                    }),
                    n_samples: floor.n_samples(),
                }),
            tyre_ratio_log: self.driveline.tyre_ratio_log(),
            actuator_sentence: actuator.as_ref().ok().map(|actuator| {
                crate::actuator::sentence(actuator, &self.baseline, &self.limits.actuator)
            }),
            strips: self.strip_results(heat_is_known, thermal.as_ref().ok()),
            assumptions: self.assumptions(),
            settings_changed: settings::changed(&self.limits),
            duty_picture: match heat_is_known {
                true => Ok(self.duty.picture(
                    slip_sd,
                    Span {
                        start: Time(0),
                        end: self.until,
                    },
                )),
                false => Err(seen
                    .heat_refusal
                    .clone()
                    .unwrap_or_else(|| "the torque is not known".to_owned())),
            },
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
            apparent: self.actuator.apparent(),
            thermal,
            two_by_two: self.two_by_two.outcome(),
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
    ) -> Result<SeverityIndex, String> {
        let value = |name: &str| value_of(figures, name).ok();
        let partial = value("partial_heat_making")
            .zip(value("moving_time"))
            .filter(|(_, moving_s)| *moving_s > 0.0)
            .map(|(partial_s, moving_s)| 100.0 * partial_s / moving_s);
        severity_index(
            &self.limits.severity,
            value("specific_power_max"),
            value("heat_per_km"),
            oil_p99_c,
            partial,
        )
    }

    fn oil_life(&self, figures: &[Figure], oil_trouble: Option<String>) -> OilLife {
        let rate = match self.oil {
            Some(_) if oil_trouble.is_some() => Err(oil_trouble.unwrap_or_default()),
            None => Err("the map has no channel oil.temperature".to_owned()),
            Some(_) => self
                .oil_ageing
                .rate()
                .ok_or_else(|| "oil.temperature was never seen".to_owned()),
        };
        let input = OilInput {
            rate,
            heat_kj_per_km: estimate_of(figures, "heat_per_km"),
            distance_km: estimate_of(figures, "distance").ok(),
            sensor_sd_k: self.limits.trust.oil_sensor_sd_k,
            km_per_year: None,
        };
        oil_life(&self.limits.oil_distance, &input)
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
    pub(super) fn uncovered(&self, covered_s: f64, period_s: Option<f64>) -> f64 {
        let from_s = self.limits.driving.uncovered_from_s;
        let explained = from_s.max(3.0 * period_s.unwrap_or(0.0));
        match self.coverage.duration_s() - covered_s {
            missing if missing > explained => missing,
            _ => 0.0,
        }
    }
}

fn value_of(figures: &[Figure], name: &str) -> Result<f64, String> {
    estimate_of(figures, name).map(|estimate| estimate.value)
}
