//! The words of reasons: sentence fragments that fit after a colon.

use std::fmt::{Display, Formatter, Result};

use halfshaft_driveline::Refusal;

use super::{Counted, DriveFact, MapFact, Measured, Paired, Reason};
use crate::trust::Source;

impl std::error::Error for Reason {}

impl Display for Reason {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        match self {
            Reason::NotJudged => f.write_str("nothing was made of it yet"),
            Reason::NoChannel(name) => write!(f, "the map has no channel {name}"),
            Reason::NoValue(names) => write!(f, "no value of {}", names.join(" and ")),
            Reason::MapLacks(fact) => f.write_str(map_lacks(*fact)),
            Reason::DriveLacks(fact) => f.write_str(drive_lacks(*fact)),
            Reason::TooFew {
                what,
                found,
                needed,
            } => {
                too_few(f, what, *found)?;
                write!(f, ", {needed} are needed")
            }
            Reason::TooFewOfEach {
                what,
                found,
                needed,
            } => too_few_of_each(f, *what, *found, *needed),
            Reason::TooLittle {
                what,
                found,
                needed,
            } => too_little(f, *what, *found, *needed),
            Reason::NotDerived(refusal) => not_derived(f, refusal),
            Reason::TwoCars => f.write_str("the log seems to hold two cars: read them apart"),
            Reason::Swapped => f.write_str("command and state look swapped"),
            Reason::StoodStill(source) => f.write_str(stood_still(*source)),
            Reason::TorqueStoodStill(source) => {
                write!(f, "{}, and the torque is read from it", stood_still(*source))
            }
            Reason::TorqueSwapped => f.write_str(
                "command and state look swapped, and the torque is read from one of them",
            ),
            Reason::SilentTorque(names) => write!(
                f,
                "the torque comes from {}, which never gave a value",
                names.join(" and ")
            ),
            Reason::WrongGeometry { ratio } => write!(
                f,
                "in open bends the wheels differ {ratio:.2} times as much as the map's geometry says"
            ),
            Reason::FewChecksPassed { n_passed, n_all } => write!(
                f,
                "the values passed {n_passed} of {n_all} checks against the map and each other"
            ),
            Reason::SameSignal => f.write_str("both rear wheel speeds are one and the same signal"),
            Reason::SidesSwapped => f.write_str(
                "left and right, or the sign of the yaw rate, look swapped: bends read as wheelspin",
            ),
            Reason::NoGrip => f.write_str(
                "the pack does not hold when commanded, so it carries less torque than the map says",
            ),
            Reason::OilNotBelieved { high_c, most_c } => write!(
                f,
                "oil.temperature reads up to {high_c:.0} °C, {most_c:.0} °C is the most an axle's oil is believed: \
                 is it in °F (then it is {:.0} °C), or is its step wrong?",
                from_fahrenheit(*high_c)
            ),
            Reason::OilStepped { from_c, to_c } => write!(
                f,
                "oil.temperature steps from {from_c:.0} to {to_c:.0} °C as no oil does and stays: which of the two is \
                 right cannot be told"
            ),
            Reason::OilJumps { share } => write!(
                f,
                "oil.temperature jumps as no oil does in {:.0} % of its readings: look at the sensor's plug",
                100.0 * share
            ),
            Reason::OilStuck {
                at_c,
                moving_s,
                heat_kj,
            } => write!(
                f,
                "oil.temperature reads {at_c:.0} °C all the time, through {:.0} min of driving and {heat_kj:.0} kJ of \
                 heat: the sensor looks stuck",
                moving_s / 60.0
            ),
            Reason::OilApartFromHousing {
                oil_c,
                housing_c,
                most_k,
            } => write!(
                f,
                "oil.temperature is at {oil_c:.0} °C and housing.temperature at {housing_c:.0} °C on the average, and \
                 {most_k:.0} K is the most they are believed apart: is one of them in °F, or is its step wrong?"
            ),
            Reason::AirNotBelieved { low_c } => write!(
                f,
                "ambient.temperature never reads below {low_c:.0} °C: is it in °F (then it is {:.0} °C)?",
                from_fahrenheit(*low_c)
            ),
            Reason::LastLapUnlike { seconds, usual_s } => write!(
                f,
                "the last lap took {seconds:.0} s and the others {usual_s:.0} s: it was not driven alike"
            ),
            Reason::LineNotReached { nearest_m, reach_m } => write!(
                f,
                "the car never passed the start line: it came no nearer than {nearest_m:.0} m, {reach_m:.0} m are allowed"
            ),
            Reason::MayLevelOff {
                laps,
                least_laps,
                limit_c,
            } => write!(
                f,
                "{} are the likeliest and fewer than {} are not, but the oil may as well level off below {limit_c:.0} °C",
                in_laps(*laps),
                in_laps(*least_laps)
            ),
            Reason::LevelsOff {
                at_c,
                limit_c,
                least_laps,
            } => {
                write!(f, "the oil levels off at {at_c:.0} °C, below {limit_c:.0} °C")?;
                match least_laps {
                    None => Ok(()),
                    Some(laps) => write!(
                        f,
                        "; by its scatter it may still pass it, after {} at the earliest",
                        in_laps(*laps)
                    ),
                }
            }
            Reason::BadLifeLine { name, value } => {
                write!(f, "the {name} of the life line is {value}, not above 0")
            }
            Reason::NoScale {
                lowest,
                highest,
                width,
            } => write!(f, "{lowest} to {highest} in steps of {width} is no scale"),
            Reason::TooManyLevels {
                lowest,
                highest,
                width,
                most,
            } => write!(
                f,
                "{lowest} to {highest} in steps of {width} makes {:.0} levels, more than {most:.0}",
                (highest - lowest) / width
            ),
            Reason::UnlikeLaps { before_m, after_m } => write!(
                f,
                "a lap is {before_m:.0} m before and {after_m:.0} m after: not one circuit"
            ),
            Reason::UnlikeCorners { n_alike, n_all } => write!(
                f,
                "{n_alike} of {n_all} corners of a lap lie at the same place and turn alike: not one circuit"
            ),
            Reason::OfSession { is_before, why } => match is_before {
                true => write!(f, "before: {why}"),
                false => write!(f, "after: {why}"),
            },
            Reason::RadiiCrossed { inner_m, outer_m } => write!(
                f,
                "the inner radius of the pack must be less than the outer one: they would be {:.1} and {:.1} mm",
                inner_m * 1e3,
                outer_m * 1e3
            ),
            Reason::ClutchLeads {
                n_leading,
                n_all,
                response,
            } => write!(
                f,
                "the clutch moves before it is asked to in {n_leading} of {n_all} engagements: command and {} look swapped",
                response.as_deref().unwrap_or("response")
            ),
            Reason::BelowResolution { below_s, period_s } => write!(
                f,
                "shorter than the {:.0} ms that samples every {:.0} ms can tell",
                1e3 * below_s,
                1e3 * period_s
            ),
            Reason::NoHalfStep { n_moves } => write!(
                f,
                "none of {n_moves} moves of the command was a step of half of full"
            ),
            Reason::NoMoveUsable { n_moves, causes } => {
                write!(f, "none of {n_moves} moves of the command tells it")?;
                for (index, (cause, n)) in causes.iter().enumerate() {
                    let joint = if index == 0 { " (" } else { "; " };
                    write!(f, "{joint}{n}: {}", cause.text())?;
                }
                f.write_str(")")
            }
            Reason::PedalNotFollowed { n_moves } => write!(
                f,
                "none of {n_moves} movements of the pedal was followed by command and response"
            ),
            Reason::NoTyreRatio(why) => write!(f, "the tyre ratio is not known: {why}"),
            Reason::NoOilAndWork(why) => {
                write!(f, "neither oil temperature nor work is known: {why}")
            }
            Reason::NotAnchored(why) => {
                f.write_str("no sensor holds the temperatures: ")?;
                not_derived(f, why)
            }
            Reason::NoFigure(name) => write!(f, "there is no figure {name}"),
            Reason::Because(words) => f.write_str(words),
        }
    }
}

fn map_lacks(fact: MapFact) -> &'static str {
    match fact {
        MapFact::FullCommand => "the map does not say what counts as a full clutch.command",
        MapFact::State => "the map has no channel that says what the clutch did",
        MapFact::Response => {
            "the map has no channel that says what the clutch did: position, torque, pressure, force or motor current"
        }
        MapFact::UnitTemperature => "the map has no temperature of the unit",
        MapFact::PackShape => "the map does not state faces and radii of the pack",
        MapFact::PackFriction => "the map states no friction of the pack",
        MapFact::Preload => "the map states no preload",
        MapFact::OldPackShape => {
            "the map does not state faces and radii of the pack, so there is nothing to hold another one against"
        }
        MapFact::OldPackFriction => {
            "the map states no friction of the pack, so there is nothing to hold another one against"
        }
        MapFact::OldPreload => {
            "the map states no preload, so nobody knows how much of the torque another one would replace"
        }
        MapFact::OldPackOrOil => "the map's pack has no torque or no oil to compare with",
        MapFact::LiningArea => "the lining has no area",
        MapFact::TrackAndRadius => "the map does not state both rear track and rolling radius",
        MapFact::RadiusOrSpeed => {
            "the map states no rolling radius and the log gives no speed.vehicle"
        }
        MapFact::FrontTrack => {
            "turning would come from the front wheels, and the map states no track"
        }
    }
}

fn drive_lacks(fact: DriveFact) -> &'static str {
    match fact {
        DriveFact::PathSpeed => "no road speed, so no path",
        DriveFact::PathTurning => {
            "neither a yaw rate nor both front wheel speeds, so the path is not known"
        }
        DriveFact::Turning => "neither a yaw rate nor both front wheel speeds",
        DriveFact::Laps => "no laps were found",
        DriveFact::OilInLastLap => "no oil temperature in the last lap",
        DriveFact::Position => "a start line was given, and the log gives no position",
        DriveFact::SecondPassing => "the car passed the start line once, a lap needs two passings",
        DriveFact::LineOfLaps => "the start line was passed more than 10 000 times, so it is none",
        DriveFact::MarkerOfLaps => {
            "lap.marker changed more than 10 000 times, so it does not mark laps"
        }
        DriveFact::ShortPath => "the drive is longer than 300 km",
        DriveFact::TwoLaps => "the drive is too short for two laps",
        DriveFact::RepeatedPath => {
            "the path does not repeat: no laps, the whole session counts as one"
        }
        DriveFact::CommandSpread => "the command in bends hardly differed",
        DriveFact::Motion => "the car did not move",
        DriveFact::EventHeat => "no event whose heat is known",
        DriveFact::HeatOfEvents => "of no event the heat is known",
        DriveFact::HottestEvent => "no heat of the hottest event",
        DriveFact::HeatPeak => "no highest heat rate (mean over 0.2 s)",
        DriveFact::MovingTorque => "the pack torque is not known, or never moved",
        DriveFact::Torque => "the torque was never known while the wheels turned",
        DriveFact::TorqueOrCommand => {
            "neither torque nor command was ever known while the wheels turned"
        }
        DriveFact::CommandOrState => "neither command nor state of the clutch is known",
        DriveFact::WheelsTogether => {
            "the two rear wheel speeds were not there together for two samples on end"
        }
        DriveFact::DrivenWheels => {
            "the wheels turned as no driven car's do all through the log: towed, one wheel up, or on rollers"
        }
        DriveFact::FastWheel => {
            "no rear wheel ever turned above the speed from which differences are believed"
        }
        DriveFact::CommandValues => "clutch.command gave one value only: too short",
        DriveFact::OilValues => "oil.temperature gave one value only",
        DriveFact::OilAging => "oil.temperature was never seen",
        DriveFact::QuickMove => "the command never moved by 15 % of full within 0.2 s",
        DriveFact::Pedal => "throttle, or what a full clutch.command is, is not known",
        DriveFact::QuickPedal => "the pedal never moved as fast as that",
        DriveFact::IndexTimes => "the samples are too slow to tell any of its times",
        DriveFact::HoldingBends => "no bends were looked at",
        DriveFact::HeldCurrent => {
            "no full engagement was held long enough with the motor's current known"
        }
        DriveFact::StandingCooling => "the longest cooling was seen on the move",
        DriveFact::OilAndVoltage => {
            "oil temperature and supply voltage were not known at any of its events, so it cannot be brought to 60 °C \
             and 13.5 V"
        }
        DriveFact::Positive => "none of these is 0 or less: nothing to compare with",
        DriveFact::Class => "not classed yet",
        DriveFact::LifeLine => "no life line is set: `[life_line]` of the settings",
        DriveFact::LapsInBoth => "one of the sessions has no lap",
        DriveFact::DrawnBlocks => "too few blocks drawn again tell it",
        DriveFact::DrawnLaps => "too few laps drawn again tell it",
        DriveFact::LookedFor => "not looked for",
        DriveFact::AlikeEvents => {
            "oil temperature and voltage of the events were known in one session only, so the two are not alike"
        }
        DriveFact::SuchFigure => "this drive has no such figure",
    }
}

fn too_few(f: &mut Formatter<'_>, what: &Counted, n: usize) -> Result {
    match what {
        Counted::CleanSteps => write!(f, "{n} clean steps of the command"),
        Counted::WheelStretches { turns } => write!(
            f,
            "{n} stretches of {turns:.0} turns of the wheels with enough samples"
        ),
        Counted::Laps => write!(f, "{n} laps"),
        Counted::LapsAlike => write!(f, "{n} laps driven alike one after the other"),
        Counted::HeldCommands { above } => write!(
            f,
            "{n} times a command above {:.0} % was held for a second with a state known",
            100.0 * above
        ),
        Counted::CommandsToLock { above, followed } => write!(
            f,
            "the mechanism {}, and {n} such times there was something to lock when the command rose above {:.0} % and \
             stayed",
            if *followed {
                "followed"
            } else {
                "did not follow"
            },
            100.0 * above
        ),
        Counted::Ramps { first: None } => f.write_str("none of four ramps is known"),
        Counted::Ramps { first: Some(name) } => {
            write!(f, "only one ({name}) of four ramps is known")
        }
        Counted::Needles => write!(f, "{n} of five needles known"),
    }
}

fn too_few_of_each(
    f: &mut Formatter<'_>,
    what: Paired,
    [n, m]: [usize; 2],
    needed: usize,
) -> Result {
    let sides = match what {
        Paired::BendPieces => {
            return write!(
                f,
                "{n} half seconds of bends with and {m} without command in bends of like radius, {needed} of each are \
                 needed"
            );
        }
        Paired::Laps => "laps",
        Paired::LapsWithLikePasses => "laps with like passes",
        Paired::StretchesWithEvents => "stretches with events",
        Paired::StretchesWithOpenBends => "stretches with open bends",
        Paired::EventBlocks => "blocks of events",
    };
    write!(
        f,
        "{n} {sides} before and {m} after tell it, {needed} each are needed"
    )
}

fn too_little(f: &mut Formatter<'_>, what: Measured, found: f64, needed: f64) -> Result {
    match what {
        Measured::ClassDistance => {
            write!(f, "too short to class: {found:.1} km, {needed} km wanted")
        }
        Measured::HeatDistance => write!(
            f,
            "the drive is too short: {found:.2} km, {needed} km wanted"
        ),
        Measured::EventDistance => write!(
            f,
            "{found:.1} km were driven; less than {needed:.0} km are not told per 100 km"
        ),
        Measured::Turned => write!(f, "{found:.0}° turned in bends, {needed:.0}° wanted"),
        Measured::HeatWithTurning => write!(
            f,
            "the turning rate is known for {:.0} % of the heat, {:.0} % wanted",
            100.0 * found,
            100.0 * needed
        ),
    }
}

fn not_derived(f: &mut Formatter<'_>, why: &Refusal) -> Result {
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

fn stood_still(source: Source) -> &'static str {
    match source {
        Source::State => "the state of the clutch stands still while the command moves",
        Source::Command => "the command stands still while the state of the clutch moves",
        _ => "yaw.rate stands still while the wheels go through bends",
    }
}

fn from_fahrenheit(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

/// Laps; below ten by tenths, so that a part of a lap is not none.
fn in_laps(laps: f64) -> String {
    match laps < 9.95 {
        true => format!("{laps:.1} laps"),
        false => format!("{laps:.0} laps"),
    }
}
