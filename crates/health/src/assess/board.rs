//! The board: every part of the assessment, each with what it has seen of the drive so far.
//!
//! To add a part write its file, with its [`Part`], and its line in `board!`.

use super::ledgers::Ledgers;
use super::strips::Strips;
use crate::actuator::ActuatorWatch;
use crate::band::Tolerances;
use crate::coverage::Coverage;
use crate::duty::DutyWatch;
use crate::duty_picture::DutySums;
use crate::events::EventTally;
use crate::findings::{Findings, Setup};
use crate::held::HeldTorque;
use crate::laps::PathWatch;
use crate::left_out::LeftOutTally;
use crate::oil_life::OilAgeing;
use crate::part::Part;
use crate::pieces::PieceWatch;
use crate::ripple::RippleWatch;
use crate::since_oil::SinceOil;
use crate::stint::StintWatch;
use crate::sums::Sums;
use crate::temperature::TemperatureWatch;
use crate::trust::{Kept, OIL, Source, Sources, SwapWatch, on};
use crate::two_by_two::TwoByTwoWatch;
use crate::use_class::UseWatch;

/// What the clutch answers to the command.
const ANSWERS: Sources = on(&[Source::Slip, Source::Command, Source::State]);

/// What a bend shows of a pack that holds.
const HOLDING: Sources = on(&[
    Source::Slip,
    Source::Command,
    Source::Turning,
    Source::Sides,
]);

/// The struct of all parts, how each begins, and the walk over them, from one line for each.
macro_rules! board {
    ($setup:ident, $tolerances:ident; $($name:ident: $part:ty = $begin:expr;)*) => {
        /// Every part.
        #[derive(Clone, Debug)]
        pub(super) struct Board {
            $(pub(super) $name: $part,)*
        }

        impl Board {
            /// Every part at the start of a drive.
            pub(super) fn new($setup: &Setup, $tolerances: &Tolerances) -> Board {
                Board {
                    $($name: $begin,)*
                }
            }

            /// Hands something to every part. None needs another one.
            pub(super) fn each(&mut self, mut hand: impl FnMut(&mut dyn Part)) {
                $(hand(&mut self.$name);)*
            }
        }
    };
}

board! {
    setup, tolerances;
    coverage: Coverage = Coverage::new(setup.channels);
    left_out: LeftOutTally = LeftOutTally::new(setup.channels.len());
    pieces: PieceWatch = PieceWatch::new(setup.channels.len());
    actuator: ActuatorWatch = ActuatorWatch::new(setup.vehicle, setup.channels, setup.limits);
    temperature: TemperatureWatch = TemperatureWatch::new(setup.vehicle, setup.channels, setup.limits);
    findings: Findings = Findings::new(setup);
    since_oil: SinceOil = SinceOil::new(setup.limits.oil.stuck_swing_m_per_s);
    sums: Sums = Sums::default();
    stint: StintWatch = StintWatch::default();
    usage: UseWatch = UseWatch::new(setup);
    duty: DutySums = DutySums::default();
    cycles: DutyWatch = DutyWatch::new(&setup.limits.duty);
    oil_ageing: Kept<OilAgeing, OIL> =
        Kept::new(OilAgeing::new(setup.oil_reach_s(), &setup.limits.oil_distance));
    path: PathWatch = PathWatch::of_channels(setup.channels, setup.limits);
    ripple: RippleWatch = RippleWatch::new(setup.limits);
    swap: SwapWatch = SwapWatch::new(setup.vehicle, setup.channels);
    held: Kept<HeldTorque, HOLDING> =
        Kept::new(HeldTorque::new(setup.limits.driving));
    two_by_two: Kept<TwoByTwoWatch, ANSWERS> = Kept::new(TwoByTwoWatch::new(setup.limits));
    events: EventTally = EventTally::default();
    ledgers: Ledgers = Ledgers::new(setup.basis.resting_nm, tolerances, &setup.limits.slip);
    strips: Strips = Strips::default();
}
