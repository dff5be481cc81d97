//! Figures, engagement events, time and heat by region, by torque and slip.

use halfshaft_health::Reason;
use halfshaft_health::{DutyPicture as Picture, EventKind as Kind, Regions as ByRegion};

use crate::macros::{stored, words};
use crate::value::{Grade, NOT_FINITE, Span, all_known, known, or_reason, why};

stored! {
    /// One figure: a value with its 90 % interval, or why there is none.
    #[schemars(transform = or_reason("value low high grade"))]
    Figure of figure: &halfshaft_health::Figure;
    {
        let outcome = figure.outcome.as_ref();
        let found = outcome.ok().filter(|estimate| estimate.value.is_finite());
    }
    /// What it is called on a page.
    title: String = figure.title.to_owned(),
    /// The number, in the unit beside it; null when it is not known.
    value: Option<f64> = found.map(|estimate| estimate.value),
    /// Unit of value, low and high.
    unit: String = figure.unit.to_owned(),
    /// Lower end of the 90 % interval.
    low: Option<f64> = found.and_then(|estimate| known(estimate.low)),
    /// Upper end of the 90 % interval.
    high: Option<f64> = found.and_then(|estimate| known(estimate.high)),
    /// A gap hid a part: the truth is this or more.
    at_least: bool = found.is_some_and(|estimate| estimate.is_at_least),
    /// A to D; null without a number.
    grade: Option<Grade> = figure.grade.filter(|_| found.is_some()).map(Grade::from),
    /// How it was made.
    method: String = figure.method.clone(),
    /// Why there is no number.
    why_null: Option<String> = match outcome {
        Err(reason) => Some(why(reason)),
        Ok(_) => found.is_none().then(|| NOT_FINITE.to_owned()),
    },
}

words! {
    /// `command`: the controller commanded it; `slip-only`: the pack slipped with no command.
    EventKind of Kind;
    /// The controller commanded it.
    Command = Kind::Command,
    /// The pack slipped beyond what the bend needs, with no command.
    SlipOnly = Kind::SlipOnly,
}

stored! {
    /// One engagement event.
    Event of event: &halfshaft_health::Event;
    /// command: the controller asked; slip-only: it slipped with no command.
    kind: EventKind = event.kind.into(),
    #[serde(flatten)]
    /// When it was.
    span: Span = Span::of(event.span),
    /// Its length.
    duration_s: f64 ["s"] = event.span.seconds(),
    /// Highest command, 0 to 1.
    command_peak: Option<f64> ["1"] = known(event.command_peak),
    /// Highest slip speed of the pack.
    slip_peak_rad_per_s: Option<f64> ["rad/s"] = known(event.slip_peak),
    /// Heat in the pack.
    heat_kj: Option<f64> ["kJ"] = known(event.heat_kj),
    /// Highest heat rate of the moment.
    heat_peak_kw: Option<f64> ["kW"] = known(event.heat_peak_kw),
    /// Mean heat rate.
    heat_mean_kw: Option<f64> ["kW"] = known(event.heat_mean_kw),
    /// Way the linings slid at their mean radius.
    slip_distance_m: Option<f64> ["m"] = known(event.slip_distance_m),
    /// Time slipping under load.
    partial_heat_making_s: Option<f64> ["s"] = known(event.partial_heat_making_s),
    /// Highest road speed.
    speed_peak_m_per_s: Option<f64> ["m/s"] = known(event.speed_peak_m_per_s),
    /// A gap lies in it, its torque is missing in part, or the log cuts it off: its length, heat
    /// and times are lower bounds.
    broken: bool = event.is_broken,
}

stored! {
    /// Time and heat in each of the seven regions.
    Regions of regions: &Result<ByRegion, Reason>;
    {
        let found = regions.as_ref().ok();
        let joules = found.and_then(|regions| regions.joules.as_ref());
    }
    /// Time in each.
    seconds: Option<InRegion> ["s"] = found.map(|regions| InRegion::of(&regions.seconds)),
    /// Heat in each.
    joules: Option<InRegion> ["J"] = joules.map(InRegion::of),
    /// Why one of them is null.
    why_null: Option<String> = match regions {
        Err(reason) => Some(why(reason)),
        Ok(_) => joules.is_none().then(|| "the torque of the pack is not known".to_owned()),
    },
}

stored! {
    /// One number for each region.
    #[serde(rename_all = "kebab-case")]
    InRegion of values: &[f64; 7];
    {
        let [free, preload_drag, working_slip, held, asked_not_holding, holding_unasked, not_observable] =
            values.map(known);
    }
    /// Open: the wheels turn as the bend needs.
    free: Option<f64> = free,
    /// Open: the preload rubs.
    preload_drag: Option<f64> = preload_drag,
    /// Commanded and slipping: this makes the heat.
    working_slip: Option<f64> = working_slip,
    /// Commanded and holding.
    held: Option<f64> = held,
    /// Commanded nearly in full and not holding.
    asked_not_holding: Option<f64> = asked_not_holding,
    /// Holding without command.
    holding_unasked: Option<f64> = holding_unasked,
    /// Nothing to judge by.
    not_observable: Option<f64> = not_observable,
}

stored! {
    /// Time and heat by torque and slip: one number for each cell, torque cell by torque cell, slip
    /// rising within. The last cell of each is open, so there is one cell more than edges.
    #[schemars(transform = or_reason("seconds joules"))]
    DutyPicture of picture: &Result<Picture, Reason>;
    {
        let found = picture.as_ref().ok();
    }
    /// Upper ends of the torque cells.
    #[schemars(inner(range(min = 0)))]
    torque_edges_nm: Option<Vec<f64>> ["N.m"] = found.map(|picture| picture.torque_edges_nm.to_vec()),
    /// Upper ends of the slip cells.
    #[schemars(inner(range(min = 0)))]
    slip_edges_rad_per_s: Option<Vec<f64>> ["rad/s"] = found.map(|picture| picture.slip_edges.to_vec()),
    /// Time in each cell.
    seconds: Option<Vec<Option<f64>>> ["s"] = found.map(|picture| all_known(&picture.seconds)),
    /// Heat in each cell.
    joules: Option<Vec<Option<f64>>> ["J"] = found.map(|picture| all_known(&picture.joules)),
    /// Time in no cell: the wheels did not turn fast enough to be believed.
    not_turning_s: Option<f64> ["s"] = found.and_then(|picture| known(picture.not_turning_s)),
    /// Time in no cell: the torque was not known.
    torque_unknown_s: Option<f64> ["s"] = found.and_then(|picture| known(picture.torque_unknown_s)),
    /// Time in no cell: gaps, and before the first row and after the last. Cells and rests sum to
    /// the drive.
    gap_s: Option<f64> ["s"] = found.and_then(|picture| known(picture.gap_s)),
    /// Why there is none.
    why_null: Option<String> = picture.as_ref().err().map(why),
}
