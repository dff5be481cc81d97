//! Oil may be missing.
//!
//! Less oil stores less heat and lets the pack run out of it: the oil rises more per heat of
//! the pack, and pack and oil become equal more slowly. Only the car's own past says what is
//! usual, so without earlier drives it is not checked. Gears heat the oil too; the rise
//! counts only where most of the heat is known to be the pack's.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, Measured, Reason};
use halfshaft_driveline::thermal::{Anchor, FitOutcome, ThermalEstimate};

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::baseline::Quantity;
use crate::evidence::window;
use crate::limits::rounded;
use crate::nouns::{EvidenceValue, Grade, Severity};
use crate::trust::HEAT;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::OilLoss,
        title: "Oil loss suspected",
        severities: &[Severity::Act],
        rule: |limits| {
            let percent = |ratio: f64| rounded(100.0 * (ratio - 1.0), 0);
            format!(
                "against earlier drives of this car the oil rises {} % more per pack heat, in a drive whose pack makes \
                 at least {} % of the heat, or pack and oil take {} % longer to become equal",
                percent(limits.heat.rise_ratio),
                rounded(100.0 * limits.heat.rise_pack_share, 0),
                percent(limits.heat.equalisation_ratio)
            )
        },
        needs: "a temperature sensor in oil or housing, torque, earlier drives of the same car; for the rise power \
                through the axle; for the time to become equal heat that comes and goes",
        could_also_be: "a sensor that was moved, another undertray, much hotter air, gears or bearings that heat the oil, \
                        a torque table that became wrong",
        next_check: "Oil level, leaks at the seals, and whether the breather is free.",
        withdrawn_if: "level and oil are right, or the next drives are as the earlier ones",
    },
    on: HEAT,
    begin: |_| Box::new(outcome as Judge),
};

/// What the conductance from pack to oil is called among the unknowns.
const PACK_TO_OIL: &str = "conductance from pack to oil";

/// One comparison with the past.
struct Compared {
    now: EvidenceValue,
    past: EvidenceValue,
    source: String,
    limit: f64,
}

impl Compared {
    fn ratio(&self) -> f64 {
        self.now.value / self.past.value
    }

    fn is_over(&self) -> bool {
        self.ratio() >= self.limit
    }

    fn sentence(&self) -> String {
        format!(
            "{}: {} {}, {} {} by {}, {:+.0} % (limit {:+.0} %)",
            self.now.name,
            three_digits(self.now.value),
            self.now.unit,
            three_digits(self.past.value),
            self.past.unit,
            self.source,
            100.0 * (self.ratio() - 1.0),
            100.0 * (self.limit - 1.0)
        )
    }
}

/// Three digits.
fn three_digits(value: f64) -> String {
    let decimals = (2.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{value:.decimals$}")
}

fn rise(drive: &Drive, thermal: &ThermalEstimate) -> Result<Compared, Reason> {
    let past = drive
        .baseline
        .get(Quantity::RisePerHeat)
        .ok_or(DriveFact::PastRise)?;
    let now = thermal.rise_k_per_kj.clone()?;
    let share = thermal.pack_share.clone()?;
    let least = drive.limits.heat.rise_pack_share;
    if share.value < least {
        return Err(Reason::TooLittle {
            what: Measured::PackShare,
            found: share.value,
            needed: least,
        });
    }
    Ok(Compared {
        now: value("rise of the oil per pack heat", now, "K/kJ"),
        past: value("the same in the past", past.value, "K/kJ"),
        source: past.source(),
        limit: drive.limits.heat.rise_ratio,
    })
}

fn equalisation(drive: &Drive, thermal: &ThermalEstimate) -> Result<Compared, Reason> {
    let past = drive
        .baseline
        .get(Quantity::Equalisation)
        .ok_or(DriveFact::PastEqualisation)?;
    let fit = thermal
        .unknowns
        .iter()
        .find(|unknown| unknown.name == PACK_TO_OIL)
        .map(|unknown| unknown.outcome);
    if fit != Some(FitOutcome::Fitted) {
        return Err(DriveFact::Equalisation.into());
    }
    Ok(Compared {
        now: value(
            "time in which pack and oil become equal",
            thermal.equalisation_s.value,
            "s",
        ),
        past: value("the same in the past", past.value, "s"),
        source: past.source(),
        limit: drive.limits.heat.equalisation_ratio,
    })
}

fn value(name: &'static str, value: f64, unit: &'static str) -> EvidenceValue {
    EvidenceValue { name, value, unit }
}

fn outcome(drive: &Drive) -> Outcome {
    let thermal = drive.thermal.as_ref().map_err(Clone::clone)?;
    if let Anchor::Open(reason) = &thermal.anchor {
        return Err(reason.clone().into());
    }
    let (rise, equalisation) = (rise(drive, thermal), equalisation(drive, thermal));
    let both = [&rise, &equalisation];
    let over: Vec<&Compared> = both
        .iter()
        .filter_map(|compared| compared.as_ref().ok())
        .filter(|compared| compared.is_over())
        .collect();
    if over.is_empty() {
        return match (rise, equalisation) {
            (Err(one), Err(other)) => Err(Reason::Both(Box::new([one.clone(), other.clone()]))),
            _ => Ok(None),
        };
    }
    let sentences: Vec<String> = over.iter().map(|compared| compared.sentence()).collect();
    let mut evidence = window(drive.span().start, drive.span().end, &[]);
    for compared in &over {
        evidence
            .values
            .extend([compared.now.clone(), compared.past.clone()]);
    }
    Ok(Some(Fired {
        severity: Severity::Act,
        grade: drive.grade_of(FigureId::HeatTotal).max(Grade::B),
        summary: format!(
            "The oil behaves as if there were less of it: {}.",
            sentences.join("; ")
        ),
        evidence: vec![evidence],
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, thermal};
    use super::*;
    use halfshaft_driveline::Refusal;
    use halfshaft_model::Site;

    fn scene(change: impl Fn(&mut ThermalEstimate)) -> Scene {
        let mut scene = Scene::whole();
        scene.baseline.note_past(Quantity::RisePerHeat, &[0.05]);
        scene.baseline.note_past(Quantity::Equalisation, &[8.4]);
        let mut thermal = thermal();
        change(&mut thermal);
        scene.thermal = Ok(thermal);
        scene
    }

    #[test]
    fn either_sign_is_enough_and_the_numbers_are_said() {
        assert_eq!(scene(|_| ()).outcome(&ENTRY), Ok(None));
        let rises = scene(|thermal| thermal.rise_k_per_kj = Ok(0.064));
        let fired = rises.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        // Derived: 0.064/0.05 is +28 %.
        says(
            &fired.summary,
            "0.0640 K/kJ, 0.0500 K/kJ by an earlier drive",
        );
        says(&fired.summary, "+28 % (limit +25 %)");
        assert_eq!(fired.evidence[0].values.len(), 2);
        let slow = scene(|thermal| thermal.equalisation_s.value = 12.0);
        says(&slow.outcome(&ENTRY).unwrap().unwrap().summary, "+43 %");
    }

    #[test]
    fn below_the_limits_it_is_none() {
        let near = scene(|thermal| {
            thermal.rise_k_per_kj = Ok(0.062);
            thermal.equalisation_s.value = 11.7;
        });
        assert_eq!(near.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn heat_of_the_gears_is_no_loss_of_oil() {
        // Ten times the rise, and the pack made a tenth of the heat.
        let gears = |thermal: &mut ThermalEstimate| {
            thermal.rise_k_per_kj = Ok(0.5);
            thermal.pack_share.as_mut().unwrap().value = 0.1;
        };
        assert_eq!(scene(gears).outcome(&ENTRY), Ok(None));
        let unknown = scene(|thermal| {
            thermal.rise_k_per_kj = Ok(0.5);
            thermal.pack_share = Err(Refusal::NoAxlePower);
        });
        assert_eq!(unknown.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn what_the_drive_cannot_tell_is_not_compared() {
        let held = scene(|thermal| {
            thermal.unknowns[0].outcome = FitOutcome::PriorKept;
            thermal.equalisation_s.value = 20.0;
            thermal.rise_k_per_kj = Err(Refusal::RoseLittle { rise_k: 2.0 });
        });
        let reason = held.outcome(&ENTRY).unwrap_err();
        says(&reason, "2.0 K only");
        says(&reason, "how fast pack and oil become equal is not known");
    }

    #[test]
    fn without_past_or_sensor_it_was_not_checked() {
        let mut alone = scene(|thermal| thermal.rise_k_per_kj = Ok(0.1));
        alone.baseline = Default::default();
        says(&alone.outcome(&ENTRY).unwrap_err(), "no earlier drive");
        let open = scene(|thermal| {
            thermal.anchor = Anchor::Open(Refusal::ModelledByCar);
            thermal.rise_k_per_kj = Ok(0.1);
        });
        says(&open.outcome(&ENTRY).unwrap_err(), "modelled by the car");
        let mut none = scene(|_| ());
        none.thermal = Err(Refusal::NoPackHeat.into());
        says(&none.outcome(&ENTRY).unwrap_err(), "not known");
        let housing = scene(|thermal| {
            thermal.anchor = Anchor::Fitted(Site::Housing);
            thermal.rise_k_per_kj = Ok(0.1);
        });
        assert!(housing.outcome(&ENTRY).unwrap().is_some());
    }
}
