//! What comes next if the drive goes on as in its last minute.
//!
//! In: the temperatures of the drive, its cooling, its laps. Out: [`Outlook`]: room to the
//! limits now, when they are reached, where it would level off, how long cooling takes, laps
//! left. A forecast is the model's; what the drive itself showed stands beside it with its
//! own band. It refuses where the temperatures cannot be told.

use crate::reason::Reason;
use halfshaft_driveline::thermal::parameters::air_flow;
use halfshaft_driveline::thermal::{
    Anchor, Decay, Load, Node, Temperatures, ThermalEstimate, TimeToLimit, cool_down_s,
    time_to_cool_s, time_to_limit,
};

use crate::laps_to_limit::LapsToLimit;
use crate::limits::{Heat, SDS_OF_90};
use crate::nouns::Estimate;

/// What comes next.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// What the temperatures rest on, in words; where the sensor sits is in it.
    pub basis: String,
    /// The oil, against its warning.
    pub oil: Ahead,
    /// The pack, against its limit.
    pub pack: Ahead,
    /// Mean heat of the last minute, of pack and gears, W.
    pub recent_w: (f64, f64),
    /// Cooling.
    pub cool_down: CoolDown,
    /// Laps until the oil is at its warning, or why they are not told.
    pub laps: Result<LapsToLimit, Reason>,
}

/// One temperature and its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ahead {
    /// Now, °C.
    pub now_c: f64,
    /// Half of its 90 % interval, K; `None` when not told.
    pub band_k: Option<f64>,
    /// The limit, °C.
    pub limit_c: f64,
    /// Room to it, K; below 0 it is passed.
    pub headroom_k: f64,
    /// When it is reached at the mean heat of the last minute.
    pub reaches: TimeToLimit,
    /// Where it would level off at that heat, °C.
    pub levels_off_c: f64,
}

/// How long the oil takes to cool.
#[derive(Clone, Debug, PartialEq)]
pub struct CoolDown {
    /// To this temperature, °C.
    pub to_c: f64,
    /// Standing, by the model, s; `None` when it does not cool so far.
    pub standing_s: Option<f64>,
    /// Moving without work for the pack, by the model, s.
    pub moving_s: Option<f64>,
    /// Road speed of that, m/s.
    pub moving_m_per_s: f64,
    /// As the drive itself showed, or why it did not.
    pub shown: Result<SeenCooling, Reason>,
}

/// Cooling that was seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeenCooling {
    /// The decay; its mean speed says whether it stood.
    pub decay: Decay,
    /// Time to cool as fast again from now, s; `None` where the air is too warm for it.
    pub seconds: Option<Estimate>,
}

/// What an outlook is made from.
#[derive(Clone, Debug)]
pub struct OutlookInput<'a> {
    /// Temperatures.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
    /// Where the temperature sensor sits, in words.
    pub sensor: &'static str,
    /// Oil temperature to warn at, °C.
    pub oil_warn_c: f64,
    /// Limits.
    pub heat: &'a Heat,
    /// Rolling radius, m, where the map states it.
    pub radius_m: Option<f64>,
    /// The longest cooling of the drive, or why there was none.
    pub decay: Result<Decay, Reason>,
    /// Laps left, or why they are not told.
    pub laps: Result<LapsToLimit, Reason>,
}

/// Rolling radius where the map states none, m. Source: none, engineering guess; it only sets
/// the churning of a car that rolls.
const USUAL_RADIUS_M: f64 = 0.32;

/// The outlook, or why there is none.
pub fn outlook(input: OutlookInput) -> Result<Outlook, Reason> {
    let thermal = input.thermal.as_ref().map_err(Clone::clone)?;
    let parameters = &thermal.parameters;
    let (now, load) = (&thermal.end, &thermal.recent);
    let level = Temperatures::level(parameters, load);
    let ahead = |node: Node, limit_c: f64, band_k: Option<f64>| Ahead {
        now_c: node.of(now),
        band_k,
        limit_c,
        headroom_k: limit_c - node.of(now),
        reaches: time_to_limit(parameters, now, load, node, limit_c),
        levels_off_c: node.of(&level),
    };
    let pack_band_k = thermal
        .trace
        .last()
        .map(|point| 0.5 * (point.pack_c.high - point.pack_c.low));
    let speed = input.heat.cooling_speed_m_per_s;
    let case_speed = speed / input.radius_m.unwrap_or(USUAL_RADIUS_M);
    let without_work = |speed: f64, gear_w: f64| Load {
        pack_w: 0.0,
        gear_w,
        air_flow: air_flow(speed),
        ambient_c: load.ambient_c,
    };
    let standing = without_work(0.0, 0.0);
    // The gears go on with what they did of late, and with no less than churning.
    let churning_w = parameters.gear_heat_w(0.0, case_speed * case_speed);
    let moving = without_work(speed, churning_w);
    let to_c = input.heat.cooled_c;
    let cools = |load: &Load| cool_down_s(parameters, now, load, to_c);
    Ok(Outlook {
        basis: match &thermal.anchor {
            Anchor::Fitted(_) => format!("fitted to the {}", input.sensor),
            Anchor::Open(why) => format!(
                "model, unanchored{}: {}",
                pack_band_k.map_or(String::new(), |band| format!(", pack ± {band:.0} K")),
                Reason::from(why.clone())
            ),
        },
        oil: ahead(Node::Oil, input.oil_warn_c, None),
        pack: ahead(Node::Pack, input.heat.pack_limit_c, pack_band_k),
        recent_w: (load.pack_w, load.gear_w),
        cool_down: CoolDown {
            to_c,
            standing_s: cools(&standing),
            moving_s: cools(&moving),
            moving_m_per_s: speed,
            shown: input.decay.map(|decay| SeenCooling {
                seconds: cooling_time(&decay, now.oil_c, to_c, load.ambient_c),
                decay,
            }),
        },
        laps: input.laps,
    })
}

/// Time to cool with the time constant of a decay, and its band; none when it is cool already.
fn cooling_time(decay: &Decay, now_c: f64, to_c: f64, ambient_c: f64) -> Option<Estimate> {
    let from_c = now_c.max(to_c);
    let seconds = time_to_cool_s(decay.time_constant_s, from_c, to_c, ambient_c)?;
    let share = SDS_OF_90 * decay.sd_s / decay.time_constant_s;
    Some(Estimate {
        value: seconds,
        low: seconds * (1.0 - share).max(0.0),
        high: seconds * (1.0 + share),
        is_at_least: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::{says, thermal};
    use crate::reason::DriveFact;
    use halfshaft_driveline::Refusal;

    fn of(change: impl Fn(&mut ThermalEstimate), decay: Result<Decay, Reason>) -> Outlook {
        let mut thermal = thermal();
        change(&mut thermal);
        outlook(OutlookInput {
            thermal: &Ok(thermal),
            sensor: "sensor in the oil",
            oil_warn_c: 130.0,
            heat: &Heat::default(),
            radius_m: Some(0.32),
            decay,
            laps: Err(DriveFact::Laps.into()),
        })
        .unwrap()
    }

    #[test]
    fn room_level_and_time_follow_the_last_minute() {
        let found = of(|_| (), Err(Refusal::NeverWithoutHeat.into()));
        assert_eq!((found.oil.headroom_k, found.pack.headroom_k), (20.0, 70.0));
        // Derived: 2.5 kW over 30 and over 80 W/K above 20 °C is 134.6; the pack 2 kW over
        // 60 W/K more, 167.9.
        assert!((found.oil.levels_off_c - 134.58).abs() < 0.01, "{found:?}");
        assert!((found.pack.levels_off_c - 167.92).abs() < 0.01, "{found:?}");
        assert!(matches!(found.oil.reaches, TimeToLimit::In { seconds } if seconds > 60.0));
        assert!(matches!(found.pack.reaches, TimeToLimit::LevelsOff { .. }));
        says(&found.basis, "sensor in the oil");
    }

    #[test]
    fn moving_cools_faster_and_an_idle_unit_levels_off_at_the_air() {
        let found = of(
            |thermal| (thermal.recent.pack_w, thermal.recent.gear_w) = (0.0, 0.0),
            Err(Refusal::NeverWithoutHeat.into()),
        );
        assert_eq!(found.oil.levels_off_c, 20.0);
        let (standing, moving) = (
            found.cool_down.standing_s.unwrap(),
            found.cool_down.moving_s.unwrap(),
        );
        assert!(moving < 0.6 * standing, "{standing} {moving}");
    }

    #[test]
    fn a_decay_of_the_drive_stands_beside_the_model() {
        let decay = Decay {
            time_constant_s: 1320.0,
            sd_s: 40.0,
            start_s: 500.0,
            seconds: 400.0,
            fell_k: 20.0,
            mean_speed_m_per_s: Some(0.0),
        };
        let found = of(|thermal| thermal.end.oil_c = 120.0, Ok(decay));
        let seconds = found.cool_down.shown.unwrap().seconds.unwrap();
        // Derived: 1320·ln(100/70) = 470.8 s, ± 1.645·40/1320 of it.
        assert!((seconds.value - 470.8).abs() < 0.1, "{seconds:?}");
        assert!((seconds.high - 494.3).abs() < 0.1, "{seconds:?}");
    }

    #[test]
    fn a_model_without_a_sensor_says_so_and_none_refuses() {
        let found = of(
            |thermal| thermal.anchor = Anchor::Open(Refusal::NoSensor),
            Err(Refusal::NeverWithoutHeat.into()),
        );
        says(&found.basis, "model, unanchored: no temperature");
        let none = outlook(OutlookInput {
            thermal: &Err(Refusal::NoPackHeat.into()),
            sensor: "",
            oil_warn_c: 130.0,
            heat: &Heat::default(),
            radius_m: None,
            decay: Err(Refusal::NoPackHeat.into()),
            laps: Err(Refusal::NoPackHeat.into()),
        });
        says(&none.unwrap_err(), "not known");
    }
}
