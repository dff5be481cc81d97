//! What comes next if the drive goes on as in its last minute.

use super::oil::EstimateJson;
use super::outcome::Outcome;
use super::records::known;
use halfshaft_health::laps_to_limit::{LapsAhead, LapsToLimit};
use halfshaft_health::outlook::{Ahead, CoolDown, Outlook, Shown};
use halfshaft_health::thermal::TimeToLimit;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct OutlookJson<'a> {
    basis: &'a str,
    oil: AheadJson,
    pack: AheadJson,
    recent_pack_w: Option<f64>,
    recent_gear_w: Option<f64>,
    cool_down: CoolDownJson,
    laps: Outcome<LapsJson>,
}

impl<'a> OutlookJson<'a> {
    pub fn of(outlook: &'a Outlook) -> OutlookJson<'a> {
        OutlookJson {
            basis: &outlook.basis,
            oil: AheadJson::of(&outlook.oil),
            pack: AheadJson::of(&outlook.pack),
            recent_pack_w: known(outlook.recent_w.0),
            recent_gear_w: known(outlook.recent_w.1),
            cool_down: CoolDownJson::of(&outlook.cool_down),
            laps: Outcome::of(&outlook.laps, LapsJson::of),
        }
    }
}

#[derive(Serialize)]
struct AheadJson {
    now_c: Option<f64>,
    band_k: Option<f64>,
    limit_c: Option<f64>,
    headroom_k: Option<f64>,
    reaches: &'static str,
    reaches_s: Option<f64>,
    levels_off_c: Option<f64>,
}

impl AheadJson {
    fn of(ahead: &Ahead) -> AheadJson {
        let (reaches, reaches_s) = match ahead.reaches {
            TimeToLimit::Reached => ("reached", None),
            TimeToLimit::In { seconds } => ("in", known(seconds)),
            TimeToLimit::LevelsOff { .. } => ("levels-off", None),
        };
        AheadJson {
            now_c: known(ahead.now_c),
            band_k: known(ahead.band_k),
            limit_c: known(ahead.limit_c),
            headroom_k: known(ahead.headroom_k),
            reaches,
            reaches_s,
            levels_off_c: known(ahead.levels_off_c),
        }
    }
}

#[derive(Serialize)]
struct CoolDownJson {
    to_c: Option<f64>,
    standing_s: Option<f64>,
    moving_s: Option<f64>,
    moving_m_per_s: Option<f64>,
    shown: Outcome<ShownJson>,
}

impl CoolDownJson {
    fn of(cool_down: &CoolDown) -> CoolDownJson {
        CoolDownJson {
            to_c: known(cool_down.to_c),
            standing_s: known(cool_down.standing_s),
            moving_s: known(cool_down.moving_s),
            moving_m_per_s: known(cool_down.moving_m_per_s),
            shown: Outcome::of(&cool_down.shown, ShownJson::of),
        }
    }
}

#[derive(Serialize)]
struct ShownJson {
    time_constant_s: Option<f64>,
    sd_s: Option<f64>,
    start_s: Option<f64>,
    watched_s: Option<f64>,
    fell_k: Option<f64>,
    mean_speed_m_per_s: Option<f64>,
    from_now: Option<EstimateJson>,
}

impl ShownJson {
    fn of(shown: &Shown) -> ShownJson {
        ShownJson {
            time_constant_s: known(shown.decay.time_constant_s),
            sd_s: known(shown.decay.sd_s),
            start_s: known(shown.decay.start_s),
            watched_s: known(shown.decay.seconds),
            fell_k: known(shown.decay.fell_k),
            mean_speed_m_per_s: known(shown.decay.mean_speed_m_per_s),
            from_now: shown.seconds.as_ref().map(EstimateJson::of),
        }
    }
}

#[derive(Serialize)]
struct LapsJson {
    ahead: &'static str,
    laps: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    levels_off_c: Option<f64>,
    limit_c: Option<f64>,
    now_c: Option<f64>,
    n_laps: usize,
    scatter_k: Option<f64>,
}

impl LapsJson {
    fn of(found: &LapsToLimit) -> LapsJson {
        let (ahead, laps, low, high, levels_off_c) = match found.ahead {
            LapsAhead::Reached => ("reached", None, None, None, None),
            LapsAhead::In { laps, low, high } => ("in", known(laps), known(low), known(high), None),
            LapsAhead::LevelsOff { at_c, least_laps } => {
                ("levels-off", None, known(least_laps), None, known(at_c))
            }
        };
        LapsJson {
            ahead,
            laps,
            low,
            high,
            levels_off_c,
            limit_c: known(found.limit_c),
            now_c: known(found.now_c),
            n_laps: found.n_laps,
            scatter_k: known(found.scatter_k),
        }
    }
}
