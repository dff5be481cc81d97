//! How quickly the clutch answers, pooled by direction, and the delays after the pedal.

use halfshaft_health::actuator::crossings::{CrossedTime, StatedCrossings};
use halfshaft_health::actuator::{self, Motor as Found, PedalDelay};
use halfshaft_health::response::pool::{Band, Pool as Pooled};
use halfshaft_health::response::resolution::{Spread, StatedTime};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::macros::stored;
use crate::value::known;

stored! {
    /// How quickly the clutch answers its command.
    Actuator of actuator: &actuator::Actuator;
    /// The channel that says what the mechanism did.
    signal: Option<String> = actuator.signal.clone(),
    /// Closing.
    engage: Timing = Timing::of(&actuator.engage),
    /// Opening.
    release: Timing = Timing::of(&actuator.release),
    /// Delays after the throttle is pressed; null without throttle or command.
    throttle_on: Option<Pedal> = actuator.throttle_on.as_ref().map(Pedal::of),
    /// Delays after the throttle is lifted; null without throttle or command.
    lift_off: Option<Pedal> = actuator.lift_off.as_ref().map(Pedal::of),
    /// The motor that closes the clutch.
    motor: Motor = Motor::of(&actuator.motor),
}

stored! {
    /// Times of one direction.
    Timing of timing: &actuator::Timing;
    /// Edges of the command.
    n_edges: usize = timing.n_edges,
    /// Command to first movement.
    dead_time: Pool = Pool::of(&timing.dead_time),
    /// 10 to 90 % of the way.
    rise_time: Pool = Pool::of(&timing.rise_time),
    /// Command to 90 % of the way.
    transition_time: Pool = Pool::of(&timing.transition_time),
    /// Times read off between samples.
    crossings: Option<Crossed> =
        timing.stated_crossings().map(Crossed::of),
    /// Edges that tell nothing.
    reasons: Vec<Refused> = timing
        .reasons
        .iter()
        .map(|&(reason, n)| Refused::of((reason.text(), n)))
        .collect(),
}

stored! {
    /// Times read off between samples, of edges after which the command held until the response had
    /// settled; null where the sample periods hide them.
    Crossed of crossings: StatedCrossings;
    {
        let of = |time: CrossedTime| time.spread().map(Times::of);
    }
    /// Edges.
    n: usize = crossings.n,
    /// Command to first movement.
    dead_time: Option<Times> = of(crossings.dead_time),
    /// 10 to 90 % of the way.
    rise_time: Option<Times> = of(crossings.rise_time),
    /// Command to 90 % of the way.
    transition_time: Option<Times> = of(crossings.transition_time),
    /// Command to where the response stays near its end.
    settle_time: Option<Times> = of(crossings.settle_time),
    /// Overshoot, a share of the way.
    overshoot: Option<f64> ["1"] = known(crossings.overshoot),
    /// Remaining error, a share of full.
    steady_error: Option<f64> ["1"] = known(crossings.steady_error),
    /// Time constant of the fit.
    lag_fitted: Option<Times> = of(crossings.lag_fitted),
    /// Time constant after Smith.
    lag_smith: Option<Times> = of(crossings.lag_smith),
    /// Time constant after Sundaresan and Krishnaswamy.
    lag_sundaresan_krishnaswamy: Option<Times> = of(crossings.lag_sundaresan_krishnaswamy),
}

stored! {
    /// From the command to where the slip has fallen to 37 %, where nothing else says how quickly the
    /// clutch answers. Tyres and driver take part in it.
    Apparent of apparent: &actuator::Apparent;
    {
        let (told, spread, below_s) = stated(&apparent.stated);
    }
    /// Edges of the command.
    n_edges: u64 = apparent.n_edges,
    /// What the sample periods allow.
    told: Told = told,
    /// The time.
    time: Option<Times> = spread.map(Times::of),
    /// What the time is below, where the samples hide it.
    below_s: Option<f64> ["s"] = below_s,
    /// Edges that tell nothing.
    reasons: Vec<Refused> = apparent
        .reasons
        .iter()
        .map(|&(reason, n)| Refused::of((reason.text(), n)))
        .collect(),
}

/// What the sample periods allow to say of a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Told {
    /// Each edge tells its time.
    Singly,
    /// Only the median of many does.
    Pooled,
    /// The samples hide it: it is below `below_s`, and every other value is null.
    BelowResolution,
    /// There was no such edge.
    NoEvent,
}

/// The kind, the spread where it may be said, and what the time is below.
fn stated(time: &StatedTime) -> (Told, Option<Spread>, Option<f64>) {
    match *time {
        StatedTime::Singly(spread) => (Told::Singly, Some(spread), None),
        StatedTime::Pooled { spread, .. } => (Told::Pooled, Some(spread), None),
        StatedTime::BelowResolution { below_s } => (Told::BelowResolution, None, known(below_s)),
        StatedTime::NoEvent => (Told::NoEvent, None, None),
    }
}

stored! {
    /// Edges that tell nothing for one reason.
    Refused of found: (&str, usize);
    /// The reason.
    reason: String = found.0.to_owned(),
    /// How many.
    n: usize = found.1,
}

stored! {
    /// One time over many edges. Where the samples hide it, nothing that was fitted of it is given:
    /// neither by band nor brought to normal.
    Pool of pool: &Pooled;
    {
        let (told, spread, below_s) = stated(&pool.stated);
        let bands = |bands: &[Band]| match spread {
            Some(_) => bands.iter().map(TimeBand::of).collect(),
            None => Vec::new(),
        };
    }
    /// What the sample periods allow.
    told: Told = told,
    /// Edges. How many stand behind a bound is not kept.
    n: Option<usize> = match told {
        Told::NoEvent => Some(0),
        _ => spread.map(|spread| spread.n_events),
    },
    /// Median.
    median_s: Option<f64> ["s"] = spread.and_then(|spread| known(spread.median)),
    /// A tenth of the times is below this.
    p10_s: Option<f64> ["s"] = spread.and_then(|spread| known(spread.p10)),
    /// A tenth of the times is above this.
    p90_s: Option<f64> ["s"] = spread.and_then(|spread| known(spread.p90)),
    /// What the time is below, where the samples hide it.
    below_s: Option<f64> ["s"] = below_s,
    /// Median at 60 °C and 13.5 V.
    normal_median_s: Option<f64> ["s"] =
        spread.and(pool.normal).and_then(|normal| known(normal.median)),
    /// By how much it may be off either way because all edges fall at one place of the command's
    /// period.
    edge_doubt_s: Option<f64> ["s"] = known(pool.edge_doubt_s),
    /// By oil temperature, °C.
    by_oil: Vec<TimeBand> = bands(&pool.by_oil_c),
    /// By supply voltage, V.
    by_supply: Vec<TimeBand> = bands(&pool.by_supply_v),
    /// Edges that give no such time.
    n_unusable: usize = pool.n_unusable,
}

stored! {
    /// Times from one oil temperature in °C, or supply voltage in V, to another.
    TimeBand of band: &Band;
    /// From this, included.
    from: Option<f64> = known(band.from),
    /// To this, not included.
    to: Option<f64> = known(band.to),
    #[serde(flatten)]
    /// The times.
    times: Times = Times::of(band.spread),
}

stored! {
    /// Median and spread of a time.
    Times of spread: Spread;
    /// Events.
    n: usize = spread.n_events,
    /// Median.
    median_s: Option<f64> ["s"] = known(spread.median),
    /// A tenth of the times is below this.
    p10_s: Option<f64> ["s"] = known(spread.p10),
    /// A tenth of the times is above this.
    p90_s: Option<f64> ["s"] = known(spread.p90),
}

stored! {
    /// Delays after one movement of the pedal.
    Pedal of delay: &PedalDelay;
    /// Movements.
    n_events: usize = delay.n_events,
    /// The controller's part.
    controller: Option<Times> = delay.controller.map(Times::of),
    /// The mechanism's part.
    mechanism: Option<Times> = delay.mechanism.map(Times::of),
    /// The vehicle's part.
    vehicle: Option<Times> = delay.vehicle.map(Times::of),
    /// The first two together.
    whole: Option<Times> = delay.whole.map(Times::of),
    /// The same less the time the driver took.
    beyond_feed: Option<Times> = delay.beyond_feed.map(Times::of),
}

stored! {
    /// The motor that closes the clutch.
    Motor of motor: &Found;
    {
        let drops = motor.supply.iter().map(|supply| supply.drop_v());
    }
    /// Full engagements that were held.
    n_holds: usize = motor.holds.len(),
    /// Median current of the holds. A spread of currents holds amperes in its fields of seconds.
    hold_current_median_a: Option<f64> ["A"] =
        motor.hold_current().and_then(|spread| known(spread.median)),
    /// Current at rest.
    idle_a: Option<f64> ["A"] = known(motor.idle_a),
    /// Stalls.
    n_stalls: usize = motor.stalls.len(),
    /// Engagements with a supply voltage.
    n_supply: usize = motor.supply.len(),
    /// Largest drop of the supply when the clutch closes.
    largest_supply_drop_v: Option<f64> ["V"] = known(drops.max_by(f64::total_cmp)),
}
