//! What heated and cooled the axle, and how hot the pack became.
//!
//! In: blocks for the temperatures and the power of the engine, rows for the heat of the
//! pack. Out: the estimate of `halfshaft_driveline::thermal`, which this feeds. Rows on
//! rollers count too: heat is heat. It does not judge.

use halfshaft_driveline::Row;
use halfshaft_driveline::thermal::{
    AxlePowerSample, ChangedUnit, Decay, Given, HeatSample, HeatSeries, Priors, Readings,
    ThermalEstimate, UnitFactors, axle_power_w, estimate_changed, longest_cooling,
};
use halfshaft_driveline::track::Track;
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Site, Vehicle};

use crate::limits::Limits;
use crate::part::{Came, Part};
use crate::reason::{MapFact, Reason};
use crate::sensor::Gate as JumpGate;
use crate::trust::{Gate, HEAT, Kept, OIL, Source, Sources, Verdict, on};
use halfshaft_driveline::Refusal;

const AIR: Sources = on(&[Source::Air]);
const HOUSING: Sources = on(&[Source::Housing]);

/// A temperature sensor, with what cannot be a temperature taken out.
#[derive(Clone, Debug)]
struct Gated {
    channel: usize,
    gate: JumpGate,
    readings: Readings,
}

impl Gated {
    fn push(&mut self, block: &Block) {
        for (time, value) in block.columns[self.channel].iter() {
            if let Some(celsius) = value.filter(|celsius| self.gate.takes(time, *celsius)) {
                self.readings.push(time, celsius);
            }
        }
    }
}

/// The sensor that the model is fitted to.
#[derive(Clone, Debug)]
enum Sensor {
    Oil(Kept<Gated, OIL>),
    Housing(Kept<Gated, HOUSING>),
}

impl Sensor {
    fn ask(&self, gate: &Gate) -> Result<&Gated, Reason> {
        match self {
            Sensor::Oil(gated) => gated.ask(gate),
            Sensor::Housing(gated) => gated.ask(gate),
        }
    }
}

/// Gathers heat and temperatures.
#[derive(Clone, Debug)]
pub struct TemperatureWatch {
    heat: Kept<HeatSeries, HEAT>,
    sensor: Option<Sensor>,
    air: Option<Kept<Gated, AIR>>,
    // Engine torque, engine speed, acceleration. Held, so that what is known of a row never
    // hangs on a later sample: it makes gear heat, which moves slowly.
    power: [Option<Track>; 3],
    mass_kg: Option<f64>,
    usual_slip_sd: f64,
    site: Option<Site>,
    priors: Priors,
    sensor_step_k: f64,
}

impl Part for TemperatureWatch {
    fn block(&mut self, came: &Came) {
        self.push(came.block);
    }

    fn believed(&mut self, rows: &[Row]) {
        rows.iter().for_each(|row| self.add(row));
    }
}

impl TemperatureWatch {
    /// For a vehicle and its channels.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &Limits) -> TemperatureWatch {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let gated = |channel: usize| Gated {
            channel,
            gate: JumpGate::new(&limits.oil),
            readings: Readings::default(),
        };
        // Sites are never mixed: the oil where there is one, else the housing.
        let oil = index(name::OIL_TEMPERATURE).map(|found| (found, channels[found].site));
        let housing = index(name::HOUSING_TEMPERATURE).map(|found| (found, Some(Site::Housing)));
        let sensor = oil.or(housing);
        let track = |name: &str| index(name).map(|found| Track::held(found, &channels[found]));
        let priors = Priors::default();
        TemperatureWatch {
            heat: Kept::default(),
            sensor: match (oil, housing) {
                (Some((found, _)), _) => Some(Sensor::Oil(Kept::new(gated(found)))),
                (None, Some((found, _))) => Some(Sensor::Housing(Kept::new(gated(found)))),
                (None, None) => None,
            },
            air: index(name::AMBIENT_TEMPERATURE).map(|found| Kept::new(gated(found))),
            power: [
                track(name::ENGINE_TORQUE),
                track(name::ENGINE_SPEED),
                track(name::ACCELERATION_LONGITUDINAL),
            ],
            mass_kg: vehicle.mass_kg,
            usual_slip_sd: limits.slip.usual_sd_rad_per_s,
            site: sensor.and_then(|(_, site)| site),
            priors: match vehicle.oil_volume_m3 {
                Some(volume_m3) => priors.with_oil_volume(volume_m3),
                None => priors,
            },
            sensor_step_k: sensor
                .and_then(|(found, _)| channels[found].step)
                .unwrap_or(0.0),
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        if let Some(sensor) = &mut self.sensor {
            match sensor {
                Sensor::Oil(gated) => gated.gather(),
                Sensor::Housing(gated) => gated.gather(),
            }
            .push(block);
        }
        if let Some(air) = &mut self.air {
            air.gather().push(block);
        }
        for track in self.power.iter_mut().flatten() {
            track.extend(&block.columns[track.channel], &block.cuts);
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row) {
        let [torque, speed, acceleration] = self
            .power
            .each_mut()
            .map(|track| track.as_mut()?.at(row.time, None).value());
        let power = axle_power_w(&AxlePowerSample {
            engine_torque_nm: torque,
            engine_speed_rad_per_s: speed,
            mass_kg: self.mass_kg,
            acceleration_m_per_s2: acceleration,
            road_speed_m_per_s: row.road_speed,
            is_braking: row.is_braking,
        });
        // Where the wheels stand there is no slip to make heat of.
        let work_j = match row.is_turning {
            true => row.work_j,
            false => Some(0.0),
        };
        let sign = row.slip_sign(row.slip_sd.unwrap_or(self.usual_slip_sd));
        self.heat.gather().push(&HeatSample {
            time: row.time,
            seconds: row.seconds,
            pack_power_w: work_j
                .filter(|_| row.seconds > 0.0)
                .map(|work_j| work_j * sign / row.seconds),
            axle_power_w: power.map(|(watts, _)| watts),
            case_speed_rad_per_s: Some(row.case_speed),
            road_speed_m_per_s: row.road_speed,
        });
    }

    /// The longest cooling without heat of the pack, or why there was none to see.
    pub fn decay(&self, gate: &Gate) -> Result<Decay, Reason> {
        let Some(sensor) = self.sensor.as_ref() else {
            return Err(MapFact::UnitTemperature.into());
        };
        if self.site == Some(Site::ModelledByCar) {
            return Err(Refusal::ModelledByCar.into());
        }
        let Some(air) = &self.air else {
            return Err(Reason::no_value(&[name::AMBIENT_TEMPERATURE]));
        };
        let grid = air.ask(gate)?.readings.grid();
        let air: Vec<f64> = grid.bins().iter().map(|(_, bin)| bin.mean_c()).collect();
        if air.is_empty() {
            return Err(Reason::no_value(&[name::AMBIENT_TEMPERATURE]));
        }
        let mean_c = air.iter().sum::<f64>() / air.len() as f64;
        let sensor = &sensor.ask(gate)?.readings;
        Ok(longest_cooling(self.heat.ask(gate)?, sensor, mean_c)?)
    }

    /// The temperatures so far, or why they cannot be told. `heat_relative_sd` is that of
    /// the pack's heat.
    pub fn outcome(&self, gate: &Gate, heat_relative_sd: f64) -> Result<ThermalEstimate, Reason> {
        self.outcome_of(gate, heat_relative_sd, None)
    }

    /// The temperatures of a changed unit whose heat `changed` gathered in the same drive:
    /// what this one learned of its unit is carried over, times the factors.
    pub fn outcome_changed(
        &self,
        gate: &Gate,
        heat_relative_sd: f64,
        changed: &TemperatureWatch,
        factors: UnitFactors,
    ) -> Result<ThermalEstimate, Reason> {
        let unit = ChangedUnit {
            heat: changed.heat.ask(gate)?,
            factors: factors.to_array(),
        };
        self.outcome_of(gate, heat_relative_sd, Some(&unit))
    }

    fn outcome_of(
        &self,
        gate: &Gate,
        heat_relative_sd: f64,
        changed: Option<&ChangedUnit>,
    ) -> Result<ThermalEstimate, Reason> {
        // Wheel speeds alone say nothing of temperatures.
        let heat = self.heat.ask(gate)?;
        let none = Readings::default();
        let given = Given {
            priors: self.priors,
            site: self.site,
            sensor_step_k: self.sensor_step_k,
            pack_heat_relative_sd: heat_relative_sd,
        };
        let sensor = self
            .sensor
            .as_ref()
            .and_then(|sensor| sensor.ask(gate).ok());
        let air = self.air.as_ref().and_then(|kept| kept.ask(gate).ok());
        let readings = |gated: Option<&Gated>| gated.map_or(none.clone(), |at| at.readings.clone());
        let (of_sensor, of_air) = (readings(sensor), readings(air));
        let mut found = estimate_changed(heat, &of_sensor, &of_air, &given, changed)?;
        for source in [Source::Oil, Source::Air] {
            if let Verdict::Withheld(why) = gate.verdict(source) {
                found.notes.push(why.to_string());
            }
        }
        let n_left_out = sensor.map_or(0, |gated| gated.gate.n_left_out());
        if n_left_out > 0 {
            found.notes.push(format!(
                "{n_left_out} readings of the temperature jumped as no oil does and were left out"
            ));
        }
        Ok(found)
    }
}
