//! Joins the parts: takes blocks and what was derived from them, gives [`Results`] at any time.

mod judge;
mod quality;
mod reasons;
mod settle;

pub(crate) use settle::Beside;

use std::mem::Discriminant;

use crate::reason::{MapFact, Reason};

use halfshaft_driveline::align::full_scale;
use halfshaft_driveline::refit::Refit;
use halfshaft_driveline::thermal::ThermalEstimate;
use halfshaft_driveline::{Basis, Derived, Row};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Fixes, Position, Time, Vehicle};

use crate::actuator::ActuatorWatch;
use crate::band::Tolerances;
use crate::baseline::Baseline;
use crate::change::TorqueChange;
use crate::coverage::Coverage;
use crate::driving::{Parting, ROWS_LATE_S};
use crate::duty::DutyWatch;
use crate::duty_picture::DutySums;
use crate::events::EventTally;
use crate::findings::{Findings, Setup};
use crate::holding::HoldingSums;
use crate::laps::PathWatch;
use crate::ledger::Ledger;
use crate::limits::{Limits, SDS_OF_90};
use crate::nouns::Region;
use crate::oil_life::OilAgeing;
use crate::pieces::PieceWatch;
use crate::regions::RegionSorter;
use crate::ripple::RippleWatch;
use crate::sensor::SensorWatch;
use crate::sums::{PartialJudgement, PartialLimits, Sums, is_in_bend, is_open};
use crate::temperature::TemperatureWatch;
use crate::trust::{CAUSES, Kept, OIL, SLIP, Source, Sources, StillWatch, SwapWatch, Verdict, on};
use crate::two_by_two::TwoByTwoWatch;
use crate::use_class::UseWatch;
use quality::Strips;

/// What the clutch answers to the command.
const ANSWERS: Sources = on(&[Source::Slip, Source::Command, Source::State]);

/// What a bend shows of a pack that holds.
const HOLDING: Sources = on(&[
    Source::Slip,
    Source::Command,
    Source::Turning,
    Source::Sides,
]);

/// So many rows go from one part to the next at a time: each part is then done with them
/// while its code and its sums are in the cache, and the rows still are, too.
const ROWS_AT_A_TIME: usize = 64;

/// What makes another fit of the temperatures at once: the end of the drive, and a source that
/// is judged otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
struct ThermalKey {
    is_finished: bool,
    verdicts: [Discriminant<Verdict>; Source::ALL.len()],
}

/// Assesses a drive, block by block.
#[derive(Clone, Debug)]
pub struct Health {
    vehicle: Vehicle,
    channels: Vec<ChannelSpec>,
    basis: Basis,
    // The command's channel, or why it cannot be read.
    command: Result<usize, Reason>,
    limits: Limits,
    baseline: Baseline,
    partial: PartialLimits,
    coverage: Coverage,
    parting: Parting,
    actuator: ActuatorWatch,
    temperature: TemperatureWatch,
    thermal: Refit<ThermalKey, Result<ThermalEstimate, Reason>>,
    cycles: DutyWatch,
    oil_ageing: Kept<OilAgeing, OIL>,
    sums: Sums,
    findings: Findings,
    usage: UseWatch,
    duty: DutySums,
    path: PathWatch,
    // Only when a start line is given.
    fixes: Option<Fixes>,
    marker: Option<usize>,
    air: Option<usize>,
    housing: Option<usize>,
    ledger: Kept<Ledger, CAUSES>,
    bend_ledger: Kept<Ledger, CAUSES>,
    regions: Kept<RegionSorter, SLIP>,
    still: StillWatch,
    is_torque_of_state: bool,
    swap: SwapWatch,
    ripple: RippleWatch,
    holding: Kept<HoldingSums, HOLDING>,
    two_by_two: Kept<TwoByTwoWatch, ANSWERS>,
    events: EventTally,
    strips: Strips,
    oil: Option<usize>,
    pieces: PieceWatch,
    oil_sensor: SensorWatch,
    air_sensor: SensorWatch,
    housing_sensor: SensorWatch,
    has_front: bool,
    // Time of the latest row, and the noise in its mean.
    latest: Option<(Time, f64)>,
    until: Time,
    // Checks of the values against the map: passed, and all.
    fit: (usize, usize),
    is_finished: bool,
    // Only of a pack beside the one that was logged.
    other_torque: Option<TorqueChange>,
    // Rows that were passed on since the latest block came, if anybody wants them.
    believed: Option<Vec<Row>>,
    // Kept for their memory: rows of the other pack, rows known to be driving.
    changed: Vec<Row>,
    ready: Vec<Row>,
    judgements: Vec<PartialJudgement>,
    row_regions: Vec<Option<Region>>,
}

impl Health {
    /// An assessment of a vehicle by the channels of its map, by the usual limits.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Health {
        Health::with_limits(vehicle, channels, &Limits::default())
    }

    /// The same by limits of one's own.
    pub fn with_limits(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &Limits) -> Health {
        let basis = Basis::new(vehicle, channels);
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let tolerances = Tolerances::new(vehicle, channels, &basis, &limits.trust);
        let (torque, slip) = (SDS_OF_90 * tolerances.torque, SDS_OF_90 * tolerances.slip);
        let command = match index(name::CLUTCH_COMMAND) {
            None => Err(Reason::NoChannel(name::CLUTCH_COMMAND)),
            Some(found) => full_scale(&channels[found], vehicle)
                .map(|_| found)
                .ok_or(MapFact::FullCommand.into()),
        };
        let partial = PartialLimits::new(&basis, torque, slip, limits);
        let oil = index(name::OIL_TEMPERATURE);
        let is_torque_of_state = judge::is_torque_of_state(vehicle, channels);
        let setup = Setup {
            vehicle,
            channels,
            basis: &basis,
            partial,
            limits,
        };
        Health {
            limits: *limits,
            baseline: Baseline::of_map(vehicle),
            partial,
            command,
            coverage: Coverage::new(channels),
            parting: Parting::new(&basis, limits),
            actuator: ActuatorWatch::new(vehicle, channels),
            temperature: TemperatureWatch::new(vehicle, channels, limits),
            thermal: Refit::default(),
            cycles: DutyWatch::default(),
            oil_ageing: Kept::new(OilAgeing::new(setup.oil_reach_s(), &limits.oil_distance)),
            sums: Sums::default(),
            findings: Findings::new(&setup),
            usage: UseWatch::new(&setup),
            duty: DutySums::default(),
            path: PathWatch::with_limits(limits),
            fixes: None,
            marker: index(name::LAP_MARKER),
            air: index(name::AMBIENT_TEMPERATURE),
            housing: index(name::HOUSING_TEMPERATURE),
            ledger: Kept::new(Ledger::new(
                basis.preload_nm,
                SDS_OF_90 * tolerances.bends,
                &limits.slip,
            )),
            bend_ledger: Kept::new(Ledger::new(basis.preload_nm, 0.0, &limits.slip)),
            regions: Kept::new(RegionSorter::new(limits)),
            still: StillWatch::new(&basis, is_torque_of_state, limits),
            is_torque_of_state,
            swap: SwapWatch::default(),
            ripple: RippleWatch::new(limits),
            holding: Kept::new(HoldingSums::new(limits)),
            two_by_two: Kept::new(TwoByTwoWatch::new(limits)),
            events: EventTally::default(),
            strips: Strips::default(),
            oil,
            pieces: PieceWatch::new(channels.len()),
            oil_sensor: SensorWatch::new(limits),
            air_sensor: SensorWatch::new(limits),
            housing_sensor: SensorWatch::new(limits),
            has_front: index(name::WHEEL_FRONT_LEFT).is_some()
                && index(name::WHEEL_FRONT_RIGHT).is_some(),
            latest: None,
            until: Time(0),
            fit: (1, 1),
            is_finished: false,
            other_torque: None,
            believed: None,
            changed: Vec::new(),
            ready: Vec::new(),
            judgements: Vec::new(),
            row_regions: Vec::new(),
            vehicle: vehicle.clone(),
            channels: channels.to_vec(),
            basis,
        }
    }

    /// Assess another pack in the same drive: its linings and oil, and what each torque that
    /// was logged would be. Only before the first block. Slip, noise, tyres and what
    /// counts as partial engagement stay those of the pack that was logged.
    pub(crate) fn with_other_pack(mut self, vehicle: &Vehicle, torque: TorqueChange) -> Health {
        self.vehicle.pack = vehicle.pack;
        self.vehicle.oil_volume_m3 = vehicle.oil_volume_m3;
        for ledger in [&mut self.ledger, &mut self.bend_ledger] {
            ledger.gather().set_preload(torque.preload_nm());
        }
        self.other_torque = Some(torque);
        self
    }

    /// What earlier drives of this car were like.
    pub fn compare_with(&mut self, baseline: Baseline) {
        self.baseline = baseline;
    }

    /// Laps begin at a line across the track at this point.
    pub fn start_line(&mut self, point: Position) {
        self.path.start_line(point);
        self.fixes = Fixes::new(&self.channels);
    }

    /// How many checks of the values against the map were passed, and of how many.
    pub fn note_fit(&mut self, (n_passed, n_all): (usize, usize)) {
        self.fit = (n_passed.min(n_all), n_all.max(1));
    }

    /// Keeps the rows that it believes until the next block comes, for [`Health::believed`].
    pub fn keep_rows(&mut self) {
        self.believed = Some(Vec::new());
    }

    /// Rows without what stood still that became known with the latest block, in order of time;
    /// none unless [`Health::keep_rows`] asked for them.
    pub fn believed(&self) -> &[Row] {
        self.believed.as_deref().unwrap_or_default()
    }

    /// Takes a block and what was derived by then.
    pub fn push(&mut self, block: &Block, derived: &Derived) {
        if let Some(believed) = &mut self.believed {
            believed.clear();
        }
        self.until = self.until.max(block.until);
        self.coverage.push(block);
        self.pieces.push(block);
        if let Some(oil) = self.oil {
            let mut cuts = block.cuts.iter().peekable();
            for (time, value) in block.columns[oil].iter() {
                while cuts.next_if(|cut| **cut <= time).is_some() {
                    self.oil_sensor.interrupt();
                }
                if let Some(celsius) = value {
                    self.strips.oil.note(time, celsius);
                    // It looks for jumps on its own, and states where they were.
                    self.findings.note_oil(time, celsius);
                    if self.oil_sensor.takes(time, celsius) {
                        self.path.note_oil(time, celsius);
                        self.usage.note_oil(time, celsius);
                        self.oil_ageing.gather().note(time, celsius);
                    }
                }
            }
            cuts.for_each(|_| self.oil_sensor.interrupt());
        }
        if let Some(air) = self.air {
            for (time, value) in block.columns[air].iter() {
                if let Some(celsius) = value
                    && self.air_sensor.takes(time, celsius)
                {
                    self.findings.note_air(time, celsius);
                }
            }
        }
        if let Some(housing) = self.housing {
            for (time, value) in block.columns[housing].iter() {
                if let Some(celsius) = value {
                    self.housing_sensor.takes(time, celsius);
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
        if let Some(fixes) = &mut self.fixes {
            fixes.push(block, &mut |fix| self.path.note_fix(&fix));
        }
        self.events.follow(derived);
        self.findings.note_block(block);
        self.actuator.push(block);
        self.temperature.push(block);
        self.pass(&derived.rows);
        let rows_until = self.latest.map_or(Time(0), |(time, _)| time);
        let never_later = self.until.plus(-ROWS_LATE_S);
        self.actuator.settle(Some(rows_until.max(never_later)));
    }

    /// The log has ended: nothing more is pushed.
    pub fn finish(&mut self) {
        let mut known = Vec::new();
        self.still.finish(&mut |row| known.push(row));
        for rows in known.chunks(ROWS_AT_A_TIME) {
            self.pass_on(rows);
        }
        self.part(|parting, take| parting.finish(take));
        self.actuator.settle(None);
        self.is_finished = true;
    }

    /// Rows that are known in full go to everything.
    fn pass(&mut self, rows: &[Row]) {
        let mut changed = std::mem::take(&mut self.changed);
        for rows in rows.chunks(ROWS_AT_A_TIME) {
            let mut rest = rows;
            if let Some(change) = &self.other_torque {
                changed.clear();
                changed.extend_from_slice(rows);
                changed.iter_mut().for_each(|row| change.apply(row));
                rest = &changed;
            }
            while !rest.is_empty() {
                let n_plain = self.still.n_plain(rest);
                let (plain, others) = rest.split_at(n_plain);
                self.pass_on(plain);
                rest = others;
                if let Some((row, others)) = rest.split_first() {
                    let mut known = Vec::new();
                    self.still.take(row, &mut |row| known.push(row));
                    self.pass_on(&known);
                    rest = others;
                }
            }
        }
        self.changed = changed;
    }

    /// Rows without what stood still go on.
    fn pass_on(&mut self, rows: &[Row]) {
        if let Some(believed) = &mut self.believed {
            believed.extend_from_slice(rows);
        }
        rows.iter().for_each(|row| self.temperature.note(row));
        rows.iter().for_each(|row| self.actuator.note(row));
        let mut rest = rows;
        while let Some(row) = rest.first() {
            let is_plain = |row: &Row| self.parting.is_plain(row);
            let n_plain = rest.iter().take_while(|row| is_plain(row)).count();
            if n_plain == 0 {
                self.part(|parting, take| parting.note(*row, take));
            }
            self.take(&rest[..n_plain]);
            rest = &rest[n_plain.max(1)..];
        }
    }

    /// Takes what the parting hands on as driving.
    fn part(&mut self, hand_on: impl FnOnce(&mut Parting, &mut dyn FnMut(Row))) {
        let mut ready = std::mem::take(&mut self.ready);
        hand_on(&mut self.parting, &mut |row| ready.push(row));
        ready
            .chunks(ROWS_AT_A_TIME)
            .for_each(|rows| self.take(rows));
        ready.clear();
        self.ready = ready;
    }

    /// What the derivation rests on: what cannot be derived says why there.
    pub fn basis(&self) -> &Basis {
        &self.basis
    }

    /// The limits it judges by.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// Takes rows of the drive, not many at once.
    fn take(&mut self, rows: &[Row]) {
        let (partial, limits) = (&self.partial, &self.limits);
        let moves = |row: &Row| {
            row.road_speed
                .is_some_and(|speed| speed > limits.driving.moving_from())
        };
        self.judgements.clear();
        self.judgements
            .extend(rows.iter().map(|row| partial.judge(row)));
        self.row_regions.clear();
        for row in rows {
            let region = moves(row).then(|| self.regions.gather().note(row));
            self.row_regions.push(region);
        }
        self.findings.note_rows(rows, &self.row_regions);
        for (row, judgement) in rows.iter().zip(&self.judgements) {
            self.sums.note(row, partial, judgement);
        }
        for (row, judgement) in rows.iter().zip(&self.judgements) {
            self.usage.note(row, judgement);
        }
        rows.iter().for_each(|row| self.duty.note(row));
        rows.iter().for_each(|row| self.cycles.note(row));
        rows.iter().for_each(|row| self.path.note(row));
        rows.iter().for_each(|row| self.ripple.note(row));
        rows.iter().for_each(|row| self.swap.note(row));
        rows.iter().for_each(|row| self.holding.gather().note(row));
        rows.iter()
            .for_each(|row| self.two_by_two.gather().note(row));
        rows.iter().for_each(|row| self.events.note(row, partial));
        rows.iter().for_each(|row| self.ledger.gather().note(row));
        rows.iter()
            .filter(|row| is_in_bend(row, partial) && is_open(row))
            .for_each(|row| self.bend_ledger.gather().note(row));
        rows.iter()
            .for_each(|row| self.strips.note(row, &limits.slip));
        if let Some(row) = rows.last() {
            self.latest = Some((row.time, row.noise_in_mean));
        }
    }
}
