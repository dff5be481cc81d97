//! The words of reasons: sentence fragments that fit after a colon.

mod amount;
mod fact;
mod refusal;

use std::fmt::{Display, Formatter, Result};

use super::Reason;
use crate::limits::rounded;
use crate::source::Source;
use amount::{too_few, too_few_of_each, too_little};
use fact::{drive_lacks, map_lacks};
use refusal::not_derived;

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
            Reason::WheelScatters { share, most } => write!(
                f,
                "{:.1} % of the samples of a rear wheel are left out because no car can make them, and from {:.1} % on \
                 a highest value may be a bad one",
                100.0 * share,
                100.0 * most
            ),
            Reason::WheelInDoubt { n_bad, n_suspect } => write!(
                f,
                "{n_bad} samples of a rear wheel are bad beyond doubt, and {n_suspect} more may be: so far apart, they \
                 look like a wheel that spins or locks"
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
            Reason::OilInFahrenheit { first_c, air_c } => write!(
                f,
                "oil.temperature begins at {first_c:.0} °C, as the air of {air_c:.0} °C would read in °F, and rises \
                 from there: is it in °F?"
            ),
            Reason::OilFroze {
                at_c,
                since_s,
                seconds,
            } => write!(
                f,
                "oil.temperature reads {at_c:.0} °C from {:.0} min on for {:.0} min of driving: the sensor looks \
                 stuck",
                since_s / 60.0,
                seconds / 60.0
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
            Reason::LapsOver { at_c, limit_c } => write!(
                f,
                "no laps left: the oil was at {at_c:.0} °C in the last lap of the pace, and {limit_c:.0} °C is its warning"
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
            Reason::Stored(words) => f.write_str(words),
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
            Reason::NoFigure(id) => write!(f, "there is no figure {id}"),
            Reason::NeverCommanded { from } => write!(
                f,
                "the command was never at {:.0} % or more long enough with a state beside it",
                100.0 * from
            ),
            Reason::SlowCommand { period_s, most_s } => write!(
                f,
                "clutch.command comes every {period_s:.2} s, {most_s} s or less is needed"
            ),
            Reason::SlowWheels { needed_per_s } => write!(
                f,
                "the rear wheel speeds come less than {needed_per_s} times a second"
            ),
            Reason::SlowSamples { from_s, limit_s } => write!(
                f,
                "the samples are too slow: times show from {from_s:.2} s on, and {limit_s:.2} s is the limit"
            ),
            Reason::NeverStood {
                needed_s,
                above_air_k,
            } => write!(
                f,
                "the car never stood for {} min with the oil falling and {above_air_k} K above the air",
                rounded(needed_s / 60.0, 0)
            ),
            Reason::DragShowsFrom { nm: Some(nm) } => write!(
                f,
                "in the bends of this log a drag below {} N·m at the axle would not show",
                rounded(10.0 * (nm / 10.0).round(), 0)
            ),
            Reason::DragShowsFrom { nm: None } => {
                f.write_str("in the bends of this log no drag would show")
            }
            Reason::GripShowsBelow { share } => write!(
                f,
                "in the bends of this log a pack that holds more than {:.0} % of its stated torque would not show",
                100.0 * share
            ),
            Reason::DragsEverywhere { share } => write!(
                f,
                "the axle makes too little difference in {:.0} % of all bends: a pack that drags from the start cannot be \
                 told from a map with a wrong track, radius or yaw scale",
                100.0 * share
            ),
            Reason::WheelRipples { is_right } => write!(
                f,
                "the {} rear wheel speed ripples with the turns of its wheel, and its slip is no slip",
                if *is_right { "right" } else { "left" }
            ),
            Reason::FrontRearScatters { low, high } => write!(
                f,
                "the ratio of front and rear speed scatters: half of the stretches lie between {:.2} and {:.2} %",
                100.0 * low,
                100.0 * high
            ),
            Reason::OilJumped { at_s, to_c } => write!(
                f,
                "the oil temperature jumped to {to_c:.0} °C at {at_s:.0} s, faster than oil can: not believed"
            ),
            Reason::OilNeverHot { from_c } => write!(
                f,
                "the oil never reached {from_c} °C while the command was known"
            ),
            Reason::OrderHidden { period_s } => write!(
                f,
                "samples {period_s:.2} s apart do not show which of command and response moves first"
            ),
            Reason::VagueTyreRatio { sd, needed } => write!(
                f,
                "the tyre ratio is known to ± {:.2} % only, ± {} % is needed",
                100.0 * sd,
                rounded(100.0 * needed, 2)
            ),
            Reason::TyresHidden { most, limit } => write!(
                f,
                "the torque in the pack ties the wheels: tyres {:.1} % apart could look alike, and {} % are looked for",
                100.0 * most,
                rounded(100.0 * limit, 1)
            ),
            Reason::ModelNotFixed(why) => {
                f.write_str("no sensor fixes the model: ")?;
                not_derived(f, why)
            }
            Reason::Both(both) => write!(f, "{}; {}", both[0], both[1]),
            Reason::Because(words) => f.write_str(words),
        }
    }
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
