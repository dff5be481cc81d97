//! Laps and corners.

use crate::macros::stored;
use crate::value::{Span, foreign, known, or_reason, why};

stored! {
    /// Laps and corners, and how laps were found.
    #[schemars(transform = or_reason("method"))]
    Laps of laps: &halfshaft_health::Laps;
    /// How laps were found.
    method: Option<String> = laps.method.as_ref().ok().map(|&method| method.to_owned()),
    /// Why there are none.
    why_null: Option<String> = laps.method.as_ref().err().map(why),
    /// The laps.
    laps: Vec<Lap> = laps.laps.iter().map(Lap::of).collect(),
    /// All corners, those not listed too.
    n_corners: u64 = laps.n_corners,
    /// Corners.
    corners: Vec<Corner> = laps.corners.iter().map(Corner::of).collect(),
}

stored! {
    /// One lap.
    Lap of lap: &halfshaft_health::Lap;
    /// Its number, from 1.
    #[schemars(range(min = 1))]
    number: u32 = lap.number,
    /// The stint it belongs to, from 1: marks begin others; null when a mark was made in it.
    #[schemars(range(min = 1))]
    stint: Option<u32> = lap.stint,
    #[serde(flatten)]
    /// When it was.
    span: Span = Span::of(lap.span),
    /// Its length.
    length_m: Option<f64> ["m"] = known(lap.length_m),
    /// Heat in the pack.
    heat_kj: Option<f64> ["kJ"] = known(lap.heat_kj),
    /// Highest oil temperature.
    oil_max_c: Option<f64> ["degC"] = known(lap.oil_max_c),
    /// Oil temperature at its end less that at its start; null where it is not known near both.
    oil_rise_k: Option<f64> ["K"] = known(lap.oil_rise_k),
    /// How far the throttle was open on the average.
    throttle: Option<f64> ["1"] = known(lap.throttle),
    /// A gap hides a part: the heat is this or more.
    at_least: bool = lap.is_at_least,
}

stored! {
    /// A note of somebody who was there.
    Mark of mark: &halfshaft_model::Mark;
    /// When it was made, since the first entry.
    time_ns: i64 ["ns"] = mark.time.0,
    /// The same in seconds.
    time_s: f64 ["s"] = mark.time.seconds(),
    /// What it says; empty for a mark without words.
    note: String = foreign(&mark.note),
}

stored! {
    /// One corner.
    Corner of corner: &halfshaft_health::Corner;
    /// Lap it belongs to, from 1; null outside laps.
    #[schemars(range(min = 1))]
    lap: Option<u32> = corner.lap,
    /// Its number within the lap, the same in every lap; outside laps in order of driving.
    #[schemars(range(min = 1))]
    number: u32 = corner.number,
    #[serde(flatten)]
    /// When it was.
    span: Span = Span::of(corner.span),
    /// Where it begins, from the start of the lap, or of the drive outside laps.
    start_m: Option<f64> ["m"] = known(corner.start_m),
    /// Its length.
    length_m: Option<f64> ["m"] = known(corner.length_m),
    /// Change of heading, positive to the left.
    turned_deg: Option<f64> ["deg"] = known(corner.turned_deg),
    /// Road speed where it begins.
    entry_speed_m_per_s: Option<f64> ["m/s"] = known(corner.entry_speed_m_per_s),
    /// Lowest road speed in it.
    least_speed_m_per_s: Option<f64> ["m/s"] = known(corner.least_speed_m_per_s),
    /// Heat in the pack.
    heat_kj: Option<f64> ["kJ"] = known(corner.heat_kj),
    /// Oil temperature where it begins; null where it is not known near it.
    oil_c: Option<f64> ["degC"] = known(corner.oil_c),
    /// Supply voltage at the nearest move of the command; null where none is near.
    supply_v: Option<f64> ["V"] = known(corner.supply_v),
    /// A gap hides a part: the heat is this or more.
    at_least: bool = corner.is_at_least,
}
