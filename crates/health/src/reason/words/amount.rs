//! What there was too little or too few of, in words.

use std::fmt::{Formatter, Result};

use halfshaft_driveline::response::ladder::Pedal;

use crate::limits::rounded;
use crate::reason::{Counted, Measured, Moves, Paired};

pub(super) fn too_few(f: &mut Formatter<'_>, what: &Counted, n: usize) -> Result {
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
        Counted::Needles => write!(f, "{n} of the five gauges could be read"),
        Counted::HeldClosed => write!(f, "the pack was held closed and still {n} times"),
        Counted::AlikeMoves => write!(
            f,
            "at most {n} moves of closing at like temperature and voltage gave a rise"
        ),
        Counted::MovesOfTrend => write!(
            f,
            "{n} moves of closing with warm oil gave a time to follow over the drive"
        ),
        Counted::SupplyRises => write!(
            f,
            "the supply was sampled well enough at {n} quick rises of the command"
        ),
        Counted::TimedMoves(moves) => write!(
            f,
            "{n} {} of the command with warm oil and enough voltage gave a time",
            match moves {
                Moves::OfCommand => "moves",
                Moves::HalfSteps => "steps",
            }
        ),
        Counted::FollowedMoves { pedal, n_all } => write!(
            f,
            "{n} of {n_all} {} of the throttle were followed by command and response",
            match pedal {
                Pedal::On => "quick presses",
                Pedal::Off => "lifts",
            }
        ),
    }
}

pub(super) fn too_few_of_each(
    f: &mut Formatter<'_>,
    what: Paired,
    [n, m]: [usize; 2],
    needed: usize,
) -> Result {
    let sides = match what {
        Paired::ColdAndWarmMoves => {
            return write!(
                f,
                "{n} moves of closing below 20 °C and {m} above gave a rise, {needed} are needed of each"
            );
        }
        Paired::Laps => "laps",
        Paired::LapsWithLikePasses => "laps with like passes",
        Paired::StretchesWithEvents => "stretches with events",
        Paired::StretchesWithOpenBends => "stretches with open bends",
        Paired::EventBlocks => "groups of events",
    };
    write!(
        f,
        "too few {sides}: {n} before and {m} after, {needed} each are needed"
    )
}

pub(super) fn too_little(f: &mut Formatter<'_>, what: Measured, found: f64, needed: f64) -> Result {
    match what {
        Measured::ClassDistance => {
            write!(f, "too short to classify: {found:.1} km of {needed} km")
        }
        Measured::HeatDistance => write!(
            f,
            "the drive is too short: {found:.2} km, {needed} km needed"
        ),
        Measured::EventDistance => write!(
            f,
            "{found:.1} km were driven; less than {needed:.0} km are not told per 100 km"
        ),
        Measured::CommandToHold { from } => write!(
            f,
            "command from {} % with something to hold and a state of the clutch known lasted {found:.1} s, {needed} s \
             are needed",
            rounded(100.0 * from, 0)
        ),
        Measured::OpenBends => write!(
            f,
            "bends with a difference and the clutch open lasted {found:.1} s, {needed} s are needed"
        ),
        Measured::FourWheelDistance => write!(
            f,
            "{found:.1} km of steady straight running with four wheel speeds, {needed} km are needed"
        ),
        Measured::SteadyTorques { from_nm } => write!(
            f,
            "both torques were steady above {from_nm:.0} N·m for {found:.1} s, {needed} s are needed"
        ),
        Measured::StraightRunning { from_km_per_h } => write!(
            f,
            "{found:.0} s of straight running above {from_km_per_h} km/h with torque or command known, {needed} s are \
             needed"
        ),
        Measured::PackShare => write!(
            f,
            "the pack made {:.0} % of the heat, {:.0} % are needed: the gears' part rules the rise",
            100.0 * found,
            100.0 * needed
        ),
        Measured::CommandBesideState { from } => write!(
            f,
            "the command was at {} % or more beside a state of the clutch for {found:.1} s of driving, {needed} s are \
             needed",
            rounded(100.0 * from, 0)
        ),
        Measured::PedalInHotOil {
            throttle_from,
            oil_from_c,
        } => write!(
            f,
            "with the oil above {oil_from_c} °C the pedal was at {} % or more for {found:.1} s, {needed} s are needed",
            rounded(100.0 * throttle_from, 0)
        ),
        Measured::CommandedInCoolerOil { n_cuts } => write!(
            f,
            "with hot oil the command fell to nothing {n_cuts} times under a pedal that stayed down; to tell that from \
             a calibration it must have been given so with cooler oil for {needed:.1} s, and was for {found:.1} s"
        ),
        Measured::Turned => write!(f, "{found:.0}° turned in bends, {needed:.0}° needed"),
        Measured::HeatWithTurning => write!(
            f,
            "the turning rate is known for {:.0} % of the heat, {:.0} % needed",
            100.0 * found,
            100.0 * needed
        ),
    }
}
