//! How hard the drive was on the discs: cycles, exceedance, severity.

use halfshaft_health::Results;
use halfshaft_health::duty::{self, CycleMatrix};

use crate::macros::stored;
use crate::value::{Outcome, all_known, known};

stored! {
    /// How hard the drive was on the discs.
    Duty of results: &Results;
    {
        let duty = &results.duty;
        // Without torque nothing was counted, which is not the same as no cycles.
        let is_counted = duty.torque_cycles.counts.iter().any(|&count| count > 0.0);
        let torque = || Cycles::of((&duty.torque_cycles, "N·m"));
    }
    /// Cycles of the torque.
    torque_cycles: Outcome<Cycles> = match &results.duty_picture {
        Err(_) if is_counted => Outcome::found(torque()),
        picture => Outcome::of(picture, |_| torque()),
    },
    /// Cycles of the temperature.
    temperature_cycles: Outcome<Cycles> =
        Outcome::of(&duty.temperature_cycles, |matrix| Cycles::of((matrix, "°C"))),
    /// Events by their highest heat rate.
    power: Outcome<Exceedance> = Outcome::of(&duty.power, Exceedance::of),
    /// Events by their heat.
    energy: Outcome<Exceedance> = Outcome::of(&duty.energy, Exceedance::of),
    /// Share of life used by the torque cycles after Palmgren and Miner, for the life line of the
    /// settings.
    miner_sum: Outcome<f64> ["1"] = Outcome::number(&duty.miner_sum),
}

stored! {
    /// Rainflow cycles, cells of range by cells of mean; edges are upper edges, the last cell of
    /// each is open.
    Cycles of found: (&CycleMatrix, &str);
    {
        let (matrix, unit) = found;
        let rows = matrix.counts.chunks(matrix.mean_edges.len() + 1);
    }
    /// Unit of the edges.
    unit: String = unit.to_owned(),
    /// Upper ends of the cells of range.
    range_edges: Vec<f64> = matrix.range_edges.to_vec(),
    /// Upper ends of the cells of mean.
    mean_edges: Vec<f64> = matrix.mean_edges.to_vec(),
    /// A list for each cell of range, a number for each cell of mean.
    counts: Vec<Vec<Option<f64>>> = rows.map(all_known).collect(),
    /// How they were counted.
    method: String =
        "rainflow of the whole drive; a range gone through one way only counts half".to_owned(),
}

stored! {
    /// Events per 100 km at or above each level.
    Exceedance of curve: &duty::Exceedance;
    /// Unit of the levels.
    unit: String = curve.unit.to_owned(),
    /// The levels.
    levels: Vec<f64> = curve.levels.to_vec(),
    /// Events per 100 km.
    per_100_km: Vec<Option<f64>> ["1/(100 km)"] = all_known(&curve.per_100_km),
    /// Events counted.
    n_events: usize = curve.n_events,
    /// Events of which a gap hides a part.
    n_at_least: usize = curve.n_at_least,
    /// The highest event.
    highest: Option<f64> = known(curve.highest),
    /// Distance of a drive too short to stand for 100 km; null of a longer one.
    short_drive_km: Option<f64> ["km"] = curve.short_km,
    /// Values to compare with; they are no limits.
    guides: Vec<Guide> = curve.guides.iter().map(Guide::of).collect(),
}

stored! {
    /// A value to compare with.
    Guide of guide: &duty::Guide;
    /// What it is.
    label: String = guide.label.to_owned(),
    /// Its lower end.
    low: Option<f64> = known(guide.low),
    /// Its upper end.
    high: Option<f64> = known(guide.high),
    /// Where it comes from.
    source: String = guide.source.to_owned(),
}

stored! {
    /// How hard the drive was, 0 to 100: the greatest of the ramps.
    SeverityIndex of severity: &duty::SeverityIndex;
    /// Points of 100.
    #[schemars(range(min = 0, max = 100))]
    value: Option<f64> = known(severity.value),
    /// A ramp is not known and could stand higher.
    at_least: bool = severity.is_at_least,
    /// Name of the ramp that decides.
    winner: Option<String> = severity.winner.map(str::to_owned),
    /// The ramps.
    #[schemars(length(equal = 4))]
    ramps: Vec<Ramp> = severity.ramps.iter().map(Ramp::of).collect(),
}

stored! {
    /// One ramp of the severity.
    Ramp of ramp: &duty::Ramp;
    /// Stable name.
    name: String = ramp.name.to_owned(),
    /// What it is called on a page.
    title: String = ramp.title.to_owned(),
    /// Unit of quiet, limit and value.
    unit: String = ramp.unit.to_owned(),
    /// 0 points.
    quiet: Option<f64> = known(ramp.quiet),
    /// 100 points.
    limit: Option<f64> = known(ramp.limit),
    /// Where the drive stands.
    value: Option<f64> = known(ramp.value),
    /// Points of 100.
    points: Option<f64> = known(ramp.points),
}
