//! Counts the cycles of the pack torque and sums its slip while the drive goes by, and settles the
//! duty.
//!
//! In: rows; at the end events, area, distance and temperatures. Out: [`Duty`].

use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::thermal::ThermalEstimate;
use halfshaft_model::Time;

use super::bench_sums::BenchSums;
use super::limits::{
    TEMPERATURE_LEVELS_C, TEMPERATURE_MEAN_EDGES_C, TEMPERATURE_RANGE_EDGES_K, TORQUE_LEVELS_NM,
    TORQUE_MEAN_EDGES_NM, TORQUE_RANGE_EDGES_NM,
};
use super::{
    BenchCycle, BenchPack, CycleCount, CycleMatrix, Exceedance, Levels, LifeLine, bench_cycle,
    energy_exceedance, miner_sum, power_exceedance,
};
use crate::limits::{DutyLimits, LifeLimits, Slip};
use crate::nouns::Event;
use crate::part::{Part, Passage};
use crate::trust::{Gate, HEAT, Kept};

/// Watches the pack torque and its slip.
#[derive(Clone, Debug)]
pub struct DutyWatch {
    limits: DutyLimits,
    torque: Kept<CycleCount, HEAT>,
    bench: Kept<BenchSums, HEAT>,
}

fn count((width, lowest, highest): (f64, f64, f64), least_range: f64) -> CycleCount {
    let levels = Levels::new(width, lowest, highest).expect("the divisions of the duty are scales");
    CycleCount::new(levels, least_range)
}

/// How hard the drive was on the discs.
#[derive(Clone, Debug, PartialEq)]
pub struct Duty {
    /// Cycles of the pack torque, N·m, by range and mean; rainflow after ASTM E1049-85.
    pub torque_cycles: CycleMatrix,
    /// The same of the estimated pack temperature, °C, or why there are none.
    pub temperature_cycles: Result<CycleMatrix, Reason>,
    /// Events per 100 km by peak power per area.
    pub power: Result<Exceedance, Reason>,
    /// Events per 100 km by energy per area.
    pub energy: Result<Exceedance, Reason>,
    /// Share of life used by the torque cycles after Palmgren and Miner, for a life line of the
    /// user, or why there is none.
    pub miner_sum: Result<f64, Reason>,
    /// Steps that reproduce the duty on a bench.
    pub bench: BenchCycle,
}

/// What the duty is settled with.
#[derive(Clone, Debug)]
pub struct DutyInput<'a> {
    /// What is believed.
    pub gate: &'a Gate,
    /// The events.
    pub events: &'a [Event],
    /// Net lining area of all packs, mm², or why it is not known.
    pub area_mm2: Result<f64, Reason>,
    /// Packs that share the work.
    pub n_packs: f64,
    /// Distance, km, or why it is not known.
    pub distance_km: Result<f64, Reason>,
    /// Heat of the drive, kJ, or why it is not known.
    pub heat_kj: Result<f64, Reason>,
    /// A shorter drive is marked as short, km.
    pub least_km: f64,
    /// The user's life line.
    pub life_line: LifeLimits,
    /// The temperatures.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
}

impl Part for DutyWatch {
    fn rows(&mut self, passage: &Passage) {
        let slip = &passage.partial.limits.slip;
        passage.rows.iter().for_each(|row| self.add(row, slip));
    }
}

impl DutyWatch {
    /// Nothing seen yet.
    pub fn new(limits: &DutyLimits) -> DutyWatch {
        DutyWatch {
            limits: *limits,
            torque: Kept::new(count(TORQUE_LEVELS_NM, limits.torque_range_nm)),
            bench: Kept::new(BenchSums::default()),
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row, slip: &Slip) {
        self.bench.gather().add(row, slip);
        if let Some(torque_nm) = row.torque_nm {
            self.torque.gather().add(torque_nm);
        }
    }

    /// The duty so far; of a drive whose torque is never known, or why there is none.
    pub fn outcome(&self, input: DutyInput) -> Duty {
        let temperature_cycles = input.thermal.as_ref().map_err(Clone::clone).map(|thermal| {
            let mut cycles = count(TEMPERATURE_LEVELS_C, self.limits.temperature_range_k);
            for point in &thermal.trace {
                cycles.add(point.pack_c.value);
            }
            cycles.matrix(&TEMPERATURE_RANGE_EDGES_K, &TEMPERATURE_MEAN_EDGES_C)
        });
        let oil_c = |time: Time| {
            let trace = &input.thermal.as_ref().ok()?.trace;
            let after = trace.partition_point(|point| point.time < time);
            trace.get(after).map(|point| point.oil_c)
        };
        let pack = BenchPack {
            area_mm2: input.area_mm2.clone().ok(),
            n_packs: input.n_packs,
        };
        let torque = self.torque.ask(input.gate);
        let cycles = torque.map_or_else(|_| Vec::new(), CycleCount::cycles);
        Duty {
            torque_cycles: CycleMatrix::of(&cycles, &TORQUE_RANGE_EDGES_NM, &TORQUE_MEAN_EDGES_NM),
            temperature_cycles,
            miner_sum: life_line(&input.life_line).and_then(|line| match cycles.is_empty() {
                true => Err(DriveFact::MovingTorque.into()),
                false => Ok(miner_sum(&cycles, &line)),
            }),
            power: power_exceedance(
                input.events,
                input.area_mm2.clone(),
                input.distance_km.clone(),
                input.least_km,
            ),
            energy: energy_exceedance(
                input.events,
                input.area_mm2,
                input.distance_km,
                input.least_km,
            ),
            bench: self.bench.ask(input.gate).map_or_else(
                |_| BenchCycle::default(),
                |sums| {
                    let heat_j = input.heat_kj.ok().map(|kj| 1e3 * kj);
                    bench_cycle(sums, input.gate.slip_sd(), &pack, heat_j, oil_c)
                },
            ),
        }
    }
}
fn life_line(limits: &LifeLimits) -> Result<LifeLine, Reason> {
    if limits.exponent == 0.0 {
        return Err(DriveFact::LifeLine.into());
    }
    LifeLine::new(limits.exponent, limits.range_nm, limits.cycles)
}
