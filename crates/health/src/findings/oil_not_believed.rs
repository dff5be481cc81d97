//! The oil temperature cannot be believed.
//!
//! What is wrong with it is judged with the other sources, before anything is computed from it; here it
//! is reported. Where neither a housing nor a cold start beside an air temperature shows the unit, it says so.

use halfshaft_model::Time;
use halfshaft_model::channel::name;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome};
use crate::evidence::window;
use crate::nouns::Severity;
use crate::reason::{DriveFact, Reason};
use crate::trust::{AIR, OIL};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::OilNotBelieved,
        title: "Oil temperature cannot be believed",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let oil = &limits.oil;
            format!(
                "above {} °C; a step that oil cannot take, or jumps in {} % of the readings; one number to the end for \
                 {} s or more through changes of the housing, or where none is logged through {} km and {} swings of the \
                 road speed by {} m/s, with steps of {} K or less; {} K from the housing on average, or {} K where that is \
                 the housing in °F; a start within {} K of the air in °F that rises by {} K in a drive of up to {} m/s on average",
                oil.believable_to_c,
                100.0 * oil.jumps_share,
                oil.stuck_after_s,
                1e-3 * oil.stuck_over_m,
                oil.stuck_swings,
                oil.stuck_swing_m_per_s,
                oil.stuck_step_k,
                oil.housing_apart_k,
                oil.housing_apart_in_fahrenheit_k,
                oil.starts_in_fahrenheit_k,
                oil.cold_rise_k,
                oil.gentle_m_per_s
            )
        },
        needs: "oil temperature; for its unit a housing temperature, or an air temperature and a cold start",
        could_also_be: "a gateway that repeats the last value of a unit that is gone, a map that reads the wrong bits, \
                        an axle that was warm by chance where it looks like °F",
        next_check: "The map's unit and step for the oil temperature; then the sensor's plug, and its number beside a \
                     second thermometer.",
        owner_sees: "The oil temperature in this recording cannot be right.",
        owner_does: "Whoever wrote the map checks its unit. After that have the sensor and its plug checked.",
        withdrawn_if: "a second thermometer at the drain plug reads the same",
    },
    on: AIR,
    begin: |_| Box::new(OilNotBelieved::default()),
};

/// The first readings, °C.
#[derive(Clone, Copy, Debug, Default)]
struct OilNotBelieved {
    oil_c: Option<f64>,
    air_c: Option<f64>,
}

impl Check for OilNotBelieved {
    fn note_oil(&mut self, _time: Time, celsius: f64) {
        self.oil_c.get_or_insert(celsius);
    }

    fn note_air(&mut self, _time: Time, celsius: f64) {
        self.air_c.get_or_insert(celsius);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.all_of(&[name::OIL_TEMPERATURE])?;
        let Some(why) = drive.trust.why_withheld(OIL) else {
            let starts_cold = self.oil_c.zip(self.air_c).is_some_and(|(oil_c, air_c)| {
                (oil_c - air_c).abs() <= drive.limits.oil.cold_start_k
            });
            return match starts_cold || drive.was_seen(name::HOUSING_TEMPERATURE) {
                true => Ok(None),
                false => Err(DriveFact::OilUnit.into()),
            };
        };
        let start = match why {
            Reason::TwoCars => return Err(why.clone()),
            Reason::OilFroze { since_s, .. } => Time::from_seconds(*since_s),
            _ => Time(0),
        };
        let what = why.to_string();
        let summary = what.replace(name::OIL_TEMPERATURE, "the oil temperature");
        let first = summary.get(..1).unwrap_or_default().to_uppercase();
        Ok(Some(Fired {
            severity: Severity::LookSoon,
            grade: drive.quality.grade,
            summary: format!(
                "{first}{}. Nothing here rests on it.",
                summary.get(1..).unwrap_or_default().trim_end_matches('?')
            ),
            evidence: vec![window(start, drive.until, &[])],
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::trust::{Source, Verdict};

    fn outcome(scene: &Scene, oil_c: f64, air_c: Option<f64>) -> Outcome {
        let mut check = scene.check(&ENTRY);
        check.note_oil(Time(0), oil_c);
        if let Some(air_c) = air_c {
            check.note_air(Time(0), air_c);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn what_is_wrong_with_the_sensor_is_reported() {
        let mut scene = Scene::whole();
        let froze = Reason::OilFroze {
            at_c: 62.0,
            since_s: 120.0,
            seconds: 300.0,
        };
        scene.trust.judge(Source::Oil, Verdict::Withheld(froze));
        let fired = outcome(&scene, 62.0, None).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(
            &fired.summary,
            "The oil temperature reads 62 °C from 2 min on",
        );
        assert_eq!(fired.evidence[0].span.start, Time::from_seconds(120.0));
        // Of two cars in one log another finding reports.
        scene
            .trust
            .judge(Source::Oil, Verdict::Withheld(Reason::TwoCars));
        assert_eq!(outcome(&scene, 62.0, None), Err(Reason::TwoCars));
    }

    #[test]
    fn its_unit_is_known_beside_a_housing_or_by_a_cold_start() {
        let mut scene = Scene::whole();
        let unknown = Err(DriveFact::OilUnit.into());
        scene.seen.retain(|name| name != name::HOUSING_TEMPERATURE);
        assert_eq!(outcome(&scene, 30.0, Some(20.0)), Ok(None));
        assert_eq!(outcome(&scene, 30.1, Some(20.0)), unknown);
        assert_eq!(outcome(&scene, 20.0, None), unknown);
        scene.seen.push(name::HOUSING_TEMPERATURE.to_owned());
        assert_eq!(outcome(&scene, 80.0, None), Ok(None));
    }
}
