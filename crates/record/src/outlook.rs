//! What comes next if the drive goes on as in its last minute.

use halfshaft_health::laps_to_limit::{LapsAhead, LapsToLimit};
use halfshaft_health::outlook::{self, Ahead as Found, SeenCooling};
use halfshaft_health::thermal::TimeToLimit;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::macros::stored;
use crate::value::{Estimate, Outcome, known};

/// Whether a limit is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reaches {
    /// It is reached already.
    Reached,
    /// It will be.
    In,
    /// The temperature levels off below it.
    LevelsOff,
}

stored! {
    /// What comes next if the drive goes on as in its last minute.
    Outlook of outlook: &outlook::Outlook;
    /// What it rests on.
    basis: String = outlook.basis.clone(),
    /// The oil.
    oil: Ahead = Ahead::of(&outlook.oil),
    /// The pack.
    pack: Ahead = Ahead::of(&outlook.pack),
    /// Heat rate of the pack in the last minute.
    recent_pack_w: Option<f64> ["W"] = known(outlook.recent_w.0),
    /// Heat rate of the gears in the last minute.
    recent_gear_w: Option<f64> ["W"] = known(outlook.recent_w.1),
    /// Cooling down.
    cool_down: CoolDown = CoolDown::of(&outlook.cool_down),
    /// Laps left after the last one.
    laps: Outcome<LapsLeft> = Outcome::of(&outlook.laps, LapsLeft::of),
}

stored! {
    /// One temperature and its limit.
    Ahead of ahead: &Found;
    {
        let (reaches, reaches_s) = match ahead.reaches {
            TimeToLimit::Reached => (Reaches::Reached, None),
            TimeToLimit::In { seconds } => (Reaches::In, known(seconds)),
            TimeToLimit::LevelsOff { .. } => (Reaches::LevelsOff, None),
        };
    }
    /// The temperature now.
    now_c: Option<f64> ["degC"] = known(ahead.now_c),
    /// How far it may be off.
    band_k: Option<f64> ["K"] = known(ahead.band_k),
    /// The limit.
    limit_c: Option<f64> ["degC"] = known(ahead.limit_c),
    /// Margin to the limit.
    headroom_k: Option<f64> ["K"] = known(ahead.headroom_k),
    /// Whether the limit is reached.
    reaches: Reaches = reaches,
    /// Time until then.
    reaches_s: Option<f64> ["s"] = reaches_s,
    /// Where the present heat would lead.
    levels_off_c: Option<f64> ["degC"] = known(ahead.levels_off_c),
}

stored! {
    /// Cooling down.
    CoolDown of cool_down: &outlook::CoolDown;
    /// To this temperature.
    to_c: Option<f64> ["degC"] = known(cool_down.to_c),
    /// Time it takes standing.
    standing_s: Option<f64> ["s"] = known(cool_down.standing_s),
    /// Time it takes moving.
    moving_s: Option<f64> ["s"] = known(cool_down.moving_s),
    /// How fast that is.
    moving_m_per_s: Option<f64> ["m/s"] = known(cool_down.moving_m_per_s),
    /// As the drive itself showed it.
    shown: Outcome<Cooling> = Outcome::of(&cool_down.shown, Cooling::of),
}

stored! {
    /// Cooling as the drive showed it.
    Cooling of shown: &SeenCooling;
    /// Its time constant.
    time_constant_s: Option<f64> ["s"] = known(shown.decay.time_constant_s),
    /// One standard deviation of it.
    sd_s: Option<f64> ["s"] = known(shown.decay.sd_s),
    /// When it began.
    start_s: Option<f64> ["s"] = known(shown.decay.start_s),
    /// How long it was watched.
    watched_s: Option<f64> ["s"] = known(shown.decay.seconds),
    /// By how much the temperature fell.
    fell_k: Option<f64> ["K"] = known(shown.decay.fell_k),
    /// Mean road speed meanwhile.
    mean_speed_m_per_s: Option<f64> ["m/s"] = known(shown.decay.mean_speed_m_per_s),
    /// Time it takes from now on.
    from_now: Option<Estimate> ["s"] = shown.seconds.as_ref().map(Estimate::of),
}

stored! {
    /// Laps left until the oil is at its warning, by its highest in each lap.
    LapsLeft of found: &LapsToLimit;
    {
        let (ahead, laps, low, high, levels_off_c) = match found.ahead {
            LapsAhead::Reached => (Reaches::Reached, None, None, None, None),
            LapsAhead::In { laps, low, high } => (Reaches::In, known(laps), known(low), known(high), None),
            LapsAhead::LevelsOff { at_c, least_laps } => {
                (Reaches::LevelsOff, None, known(least_laps), None, known(at_c))
            }
        };
    }
    /// Whether the warning is reached.
    ahead: Reaches = ahead,
    /// Laps left.
    laps: Option<f64> = laps,
    /// Lower end of the 90 % interval.
    low: Option<f64> = low,
    /// Upper end of the 90 % interval.
    high: Option<f64> = high,
    /// Where the oil levels off.
    levels_off_c: Option<f64> ["degC"] = levels_off_c,
    /// The warning.
    limit_c: Option<f64> ["degC"] = known(found.limit_c),
    /// The oil in the last lap.
    now_c: Option<f64> ["degC"] = known(found.now_c),
    /// Laps it rests on.
    n_laps: usize = found.n_laps,
    /// How far the laps scatter.
    scatter_k: Option<f64> ["K"] = known(found.scatter_k),
}
