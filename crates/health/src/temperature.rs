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
use halfshaft_model::{Block, ChannelSpec, Site, Vehicle};

use crate::limits::Limits;
use crate::sensor::Gate;

/// A temperature sensor, with what cannot be a temperature taken out.
#[derive(Clone, Debug)]
struct Gated {
    channel: usize,
    gate: Gate,
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

/// Why temperatures of the log are not believed; `None` where they are.
#[derive(Clone, Copy, Debug, Default)]
pub struct SensorDoubts<'a> {
    /// The oil's.
    pub oil: Option<&'a String>,
    /// The air's.
    pub air: Option<&'a String>,
}

/// Gathers heat and temperatures.
#[derive(Clone, Debug)]
pub struct TemperatureWatch {
    heat: HeatSeries,
    sensor: Option<Gated>,
    air: Option<Gated>,
    // Engine torque, engine speed, acceleration. Held, so that what is known of a row never
    // hangs on a later sample: it makes gear heat, which moves slowly.
    power: [Option<Track>; 3],
    mass_kg: Option<f64>,
    usual_slip_sd: f64,
    site: Option<Site>,
    priors: Priors,
    sensor_step_k: f64,
}

impl TemperatureWatch {
    /// For a vehicle and its channels.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &Limits) -> TemperatureWatch {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let gated = |channel: usize| Gated {
            channel,
            gate: Gate::new(&limits.oil),
            readings: Readings::default(),
        };
        // Sites are never mixed: the oil where there is one, else the housing.
        let oil = index("oil.temperature").map(|found| (found, channels[found].site));
        let housing = index("housing.temperature").map(|found| (found, Some(Site::Housing)));
        let sensor = oil.or(housing);
        let track = |name: &str| index(name).map(|found| Track::held(found, &channels[found]));
        let priors = Priors::default();
        TemperatureWatch {
            heat: HeatSeries::default(),
            sensor: sensor.map(|(found, _)| gated(found)),
            air: index("ambient.temperature").map(gated),
            power: [
                track("engine.torque"),
                track("engine.speed"),
                track("acceleration.longitudinal"),
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
        for gated in [&mut self.sensor, &mut self.air].into_iter().flatten() {
            gated.push(block);
        }
        for track in self.power.iter_mut().flatten() {
            track.extend(&block.columns[track.channel], &block.cuts);
        }
    }

    /// Takes a row.
    pub fn note(&mut self, row: &Row) {
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
        self.heat.push(&HeatSample {
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
    pub fn decay(&self) -> Result<Decay, String> {
        let Some(sensor) = self.sensor.as_ref() else {
            return Err("the map has no temperature of the unit".to_owned());
        };
        if self.site == Some(Site::ModelledByCar) {
            return Err("the oil temperature is modelled by the car and not measured".to_owned());
        }
        let air: Vec<f64> = self
            .air
            .iter()
            .flat_map(|air| air.readings.grid().bins())
            .map(|(_, bin)| bin.mean_c())
            .collect();
        if air.is_empty() {
            return Err("no value of ambient.temperature".to_owned());
        }
        let mean_c = air.iter().sum::<f64>() / air.len() as f64;
        longest_cooling(&self.heat, &sensor.readings, mean_c)
    }

    /// The temperatures so far, or why they cannot be told. `heat_relative_sd` is that of
    /// the pack's heat.
    pub fn outcome(
        &self,
        heat_relative_sd: f64,
        doubts: SensorDoubts,
    ) -> Result<ThermalEstimate, String> {
        self.outcome_of(heat_relative_sd, doubts, None)
    }

    /// The temperatures of a changed unit whose heat `changed` gathered in the same drive:
    /// what this one learned of its unit is carried over, times the factors.
    pub fn outcome_changed(
        &self,
        heat_relative_sd: f64,
        doubts: SensorDoubts,
        changed: &TemperatureWatch,
        factors: UnitFactors,
    ) -> Result<ThermalEstimate, String> {
        let unit = ChangedUnit {
            heat: &changed.heat,
            factors: factors.to_array(),
        };
        self.outcome_of(heat_relative_sd, doubts, Some(&unit))
    }

    fn outcome_of(
        &self,
        heat_relative_sd: f64,
        doubts: SensorDoubts,
        changed: Option<&ChangedUnit>,
    ) -> Result<ThermalEstimate, String> {
        let none = Readings::default();
        let of = |gated: &Option<Gated>| {
            let readings = gated.as_ref().map(|gated| &gated.readings);
            readings.unwrap_or(&none).clone()
        };
        let given = Given {
            priors: self.priors,
            site: self.site,
            sensor_step_k: self.sensor_step_k,
            pack_heat_relative_sd: heat_relative_sd,
        };
        let believed = |gated, doubt: Option<&String>| match doubt {
            Some(_) => none.clone(),
            None => of(gated),
        };
        let sensor = believed(&self.sensor, doubts.oil);
        let air = believed(&self.air, doubts.air);
        let mut found = estimate_changed(&self.heat, &sensor, &air, &given, changed)?;
        let doubted = doubts.oil.into_iter().chain(doubts.air);
        found.notes.extend(doubted.cloned());
        let n_left_out = self
            .sensor
            .as_ref()
            .map_or(0, |gated| gated.gate.n_left_out());
        if n_left_out > 0 {
            found.notes.push(format!(
                "{n_left_out} readings of the temperature jumped as no oil does and were left out"
            ));
        }
        Ok(found)
    }
}
