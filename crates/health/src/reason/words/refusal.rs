//! Why something cannot be derived, in words.

use std::fmt::{Formatter, Result};

use halfshaft_driveline::Refusal;

pub(super) fn not_derived(f: &mut Formatter<'_>, why: &Refusal) -> Result {
    f.write_str(match why {
        Refusal::NoLayout => "the map does not state where the clutch sits",
        Refusal::NoGearFactors => {
            "the pack is driven through gears and the map does not state both its factors"
        }
        Refusal::TyreCorrected => {
            "the car has already corrected its wheel speeds for tyre size: the slip that mismatched tyres make cannot \
             be seen in them, so they are no basis for heat"
        }
        Refusal::NoTorque => {
            "the map states no torque of the clutch for a channel it decodes, and no preload"
        }
        Refusal::NoBiasFactor => {
            "the torque is an axle bias and the map does not state the bias per pack torque"
        }
        Refusal::NoClampGeometry => {
            "torque from clamp force needs faces, radii and friction, and the map lacks one"
        }
        Refusal::NoRadius => {
            "the map states no rolling radius, so stretches of road cannot be measured"
        }
        Refusal::OneSignal => {
            "left and right are exactly equal through bends: they are one signal"
        }
        Refusal::FewBends { n_pieces, needed } => {
            return write!(
                f,
                "{n_pieces} half seconds of steady bends show what the pack holds, and {needed} of like \
                 command are needed"
            );
        }
        Refusal::FewStraights {
            found,
            needed,
            left_out,
        } => {
            write!(
                f,
                "{found} straight stretches of 50 m were usable, {needed} are needed"
            )?;
            for (index, (under, n)) in left_out.iter().enumerate() {
                let joint = if index == 0 { "; left out: " } else { ", " };
                write!(f, "{joint}{n} {}", under.words())?;
            }
            return Ok(());
        }
        Refusal::NoStraightStandsOut { width, needed } => {
            return write!(
                f,
                "no straight running stands out from the bends: a third of the stretches lies within {:.2} %, \
                 within {:.1} % is needed, or a yaw rate",
                100.0 * width,
                100.0 * needed
            );
        }
        Refusal::StraightsDisagree {
            n_straights,
            sd,
            needed,
        } => {
            return write!(
                f,
                "{n_straights} straight stretches agree only to ± {:.2} %, ± {:.2} % is needed",
                100.0 * sd,
                100.0 * needed
            );
        }
        Refusal::NoPackHeat => "the heat of the pack is not known",
        Refusal::NoSensor => "no temperature of the unit, at a known place, was logged",
        Refusal::ModelledByCar => "the oil temperature is modelled by the car and not measured",
        Refusal::NoReadingWithHeat => {
            "no temperature of the unit was logged while its heat is known"
        }
        Refusal::ShortReadings { found_s, needed_s } => {
            return write!(
                f,
                "only {:.1} min of temperature, {:.0} min are needed",
                found_s / 60.0,
                needed_s / 60.0
            );
        }
        Refusal::FlatReadings { found_k, needed_k } => {
            return write!(
                f,
                "the temperature ranged over {found_k:.1} K only, {needed_k:.0} K are needed"
            );
        }
        Refusal::NoFit => "the fit found no answer",
        Refusal::NoAxlePower => "axle power unknown, so the heat of the gears is",
        Refusal::GearsHeat { pack_share } => {
            return write!(
                f,
                "the pack made only {:.0} % of the axle's heat, the gears the rest",
                100.0 * pack_share
            );
        }
        Refusal::NoMeasured => "no measured temperature of the unit",
        Refusal::RoseLittle { rise_k } => return write!(f, "it rose by {rise_k:.1} K only"),
        Refusal::LittleHeat { heat_j } => {
            return write!(f, "only {:.1} kJ of pack heat until then", heat_j / 1e3);
        }
        Refusal::NeverWarm { needed_k } => {
            return write!(f, "the unit was never {needed_k:.0} K above the air");
        }
        Refusal::ShortCooling { found_s, needed_s } => {
            return write!(
                f,
                "only {:.1} min of cooling, {:.0} min are needed",
                found_s / 60.0,
                needed_s / 60.0
            );
        }
        Refusal::FellLittle { found_k, needed_k } => {
            return write!(
                f,
                "it fell by {found_k:.1} K only, {needed_k:.0} K are needed"
            );
        }
        Refusal::NotCooling => "it did not fall as cooling does",
        Refusal::NeverWithoutHeat => "the pack was never without heat",
        Refusal::ShortWithoutHeat { found_s, needed_s } => {
            return write!(
                f,
                "the pack was without heat for {:.1} min at the longest, {:.1} min are needed",
                found_s / 60.0,
                needed_s / 60.0
            );
        }
    })
}
