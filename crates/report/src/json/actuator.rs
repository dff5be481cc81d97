//! How quickly the clutch answers, pooled by direction, and the delays after the pedal.

use super::records::known;
use halfshaft_health::actuator::crossings::CrossedTime;
use halfshaft_health::actuator::{Actuator, Apparent, Motor, PedalDelay, Timing};
use halfshaft_health::response::pool::{Band, Pool};
use halfshaft_health::response::resolution::{Spread, Told};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct ActuatorJson<'a> {
    signal: Option<&'a str>,
    engage: TimingJson,
    release: TimingJson,
    throttle_on: Option<PedalJson>,
    lift_off: Option<PedalJson>,
    motor: MotorJson,
}

impl<'a> ActuatorJson<'a> {
    pub fn of(actuator: &'a Actuator) -> ActuatorJson<'a> {
        ActuatorJson {
            signal: actuator.signal.as_deref(),
            engage: TimingJson::of(&actuator.engage),
            release: TimingJson::of(&actuator.release),
            throttle_on: actuator.throttle_on.as_ref().map(PedalJson::of),
            lift_off: actuator.lift_off.as_ref().map(PedalJson::of),
            motor: MotorJson::of(&actuator.motor),
        }
    }
}

#[derive(Serialize)]
struct TimingJson {
    n_edges: usize,
    dead_time: PoolJson,
    rise_time: PoolJson,
    transition_time: PoolJson,
    crossings: Option<CrossedJson>,
    reasons: Vec<ReasonJson>,
}

impl TimingJson {
    fn of(timing: &Timing) -> TimingJson {
        TimingJson {
            n_edges: timing.n_edges,
            dead_time: PoolJson::of(&timing.dead_time),
            rise_time: PoolJson::of(&timing.rise_time),
            transition_time: PoolJson::of(&timing.transition_time),
            crossings: CrossedJson::of(timing),
            reasons: timing
                .reasons
                .iter()
                .map(|&(reason, n)| ReasonJson {
                    reason: reason.text(),
                    n,
                })
                .collect(),
        }
    }
}

#[derive(Serialize)]
struct CrossedJson {
    n: usize,
    dead_time: Option<SpreadJson>,
    rise_time: Option<SpreadJson>,
    transition_time: Option<SpreadJson>,
    settle_time: Option<SpreadJson>,
    overshoot: Option<f64>,
    steady_error: Option<f64>,
    lag_fitted: Option<SpreadJson>,
    lag_smith: Option<SpreadJson>,
    lag_sundaresan_krishnaswamy: Option<SpreadJson>,
}

impl CrossedJson {
    fn of(timing: &Timing) -> Option<CrossedJson> {
        let told = timing.told_crossings()?;
        let of = |time: CrossedTime| time.spread().map(SpreadJson::of);
        Some(CrossedJson {
            n: told.n,
            dead_time: of(told.dead_time),
            rise_time: of(told.rise_time),
            transition_time: of(told.transition_time),
            settle_time: of(told.settle_time),
            overshoot: known(told.overshoot),
            steady_error: known(told.steady_error),
            lag_fitted: of(told.lag_fitted),
            lag_smith: of(told.lag_smith),
            lag_sundaresan_krishnaswamy: of(told.lag_sundaresan_krishnaswamy),
        })
    }
}

#[derive(Serialize)]
pub(super) struct ApparentJson {
    n_edges: u64,
    told: &'static str,
    time: Option<SpreadJson>,
    below_s: Option<f64>,
    reasons: Vec<ReasonJson>,
}

impl ApparentJson {
    pub fn of(apparent: &Apparent) -> ApparentJson {
        let (told, spread, below_s) = told(&apparent.told);
        let reasons = apparent.reasons.iter();
        ApparentJson {
            n_edges: apparent.n_edges,
            told,
            time: spread.map(SpreadJson::of),
            below_s,
            reasons: reasons
                .map(|&(reason, n)| ReasonJson {
                    reason: reason.text(),
                    n,
                })
                .collect(),
        }
    }
}

/// The kind in a word, the spread where it may be said, and what the time is below.
fn told(told: &Told) -> (&'static str, Option<Spread>, Option<f64>) {
    match *told {
        Told::Singly(spread) => ("singly", Some(spread), None),
        Told::Pooled { spread, .. } => ("pooled", Some(spread), None),
        Told::BelowResolution { below_s } => ("below-resolution", None, known(below_s)),
        Told::NoEvent => ("no-event", None, None),
    }
}

#[derive(Serialize)]
struct ReasonJson {
    reason: &'static str,
    n: usize,
}

#[derive(Serialize)]
struct PoolJson {
    told: &'static str,
    n: Option<usize>,
    median_s: Option<f64>,
    p10_s: Option<f64>,
    p90_s: Option<f64>,
    below_s: Option<f64>,
    normal_median_s: Option<f64>,
    edge_doubt_s: Option<f64>,
    by_oil: Vec<BandJson>,
    by_supply: Vec<BandJson>,
    n_unusable: usize,
}

impl PoolJson {
    /// Where the samples hide the time, nothing that was fitted of it is given: neither by
    /// band nor brought to normal.
    fn of(pool: &Pool) -> PoolJson {
        let (told, spread, below_s) = told(&pool.told);
        let bands = |bands: &[Band]| match spread {
            Some(_) => bands.iter().map(BandJson::of).collect(),
            None => Vec::new(),
        };
        PoolJson {
            told,
            // How many edges stand behind a bound is not kept.
            n: match pool.told {
                Told::NoEvent => Some(0),
                _ => spread.map(|spread| spread.n_events),
            },
            median_s: spread.and_then(|spread| known(spread.median_s)),
            p10_s: spread.and_then(|spread| known(spread.p10_s)),
            p90_s: spread.and_then(|spread| known(spread.p90_s)),
            below_s,
            normal_median_s: spread
                .and(pool.normal)
                .and_then(|normal| known(normal.median_s)),
            edge_doubt_s: known(pool.edge_doubt_s),
            by_oil: bands(&pool.by_oil_c),
            by_supply: bands(&pool.by_supply_v),
            n_unusable: pool.n_unusable,
        }
    }
}

#[derive(Serialize)]
struct BandJson {
    from: Option<f64>,
    to: Option<f64>,
    #[serde(flatten)]
    spread: SpreadJson,
}

impl BandJson {
    fn of(band: &Band) -> BandJson {
        BandJson {
            from: known(band.from),
            to: known(band.to),
            spread: SpreadJson::of(band.spread),
        }
    }
}

#[derive(Serialize)]
struct SpreadJson {
    n: usize,
    median_s: Option<f64>,
    p10_s: Option<f64>,
    p90_s: Option<f64>,
}

impl SpreadJson {
    fn of(spread: Spread) -> SpreadJson {
        SpreadJson {
            n: spread.n_events,
            median_s: known(spread.median_s),
            p10_s: known(spread.p10_s),
            p90_s: known(spread.p90_s),
        }
    }
}

#[derive(Serialize)]
struct PedalJson {
    n_events: usize,
    controller: Option<SpreadJson>,
    mechanism: Option<SpreadJson>,
    vehicle: Option<SpreadJson>,
    whole: Option<SpreadJson>,
    beyond_feed: Option<SpreadJson>,
}

impl PedalJson {
    fn of(delay: &PedalDelay) -> PedalJson {
        PedalJson {
            n_events: delay.n_events,
            controller: delay.controller.map(SpreadJson::of),
            mechanism: delay.mechanism.map(SpreadJson::of),
            vehicle: delay.vehicle.map(SpreadJson::of),
            whole: delay.whole.map(SpreadJson::of),
            beyond_feed: delay.beyond_feed.map(SpreadJson::of),
        }
    }
}

#[derive(Serialize)]
struct MotorJson {
    n_holds: usize,
    hold_current_median_a: Option<f64>,
    idle_a: Option<f64>,
    n_stalls: usize,
    n_supply: usize,
    largest_supply_drop_v: Option<f64>,
}

impl MotorJson {
    fn of(motor: &Motor) -> MotorJson {
        let drops = motor.supply.iter().map(|supply| supply.drop_v());
        MotorJson {
            n_holds: motor.holds.len(),
            // A spread of currents holds amperes in its fields of seconds.
            hold_current_median_a: motor
                .hold_current()
                .and_then(|spread| known(spread.median_s)),
            idle_a: known(motor.idle_a),
            n_stalls: motor.stalls.len(),
            n_supply: motor.supply.len(),
            largest_supply_drop_v: known(drops.max_by(f64::total_cmp)),
        }
    }
}
