//! The board: every part of the assessment, each with what it knows of the drive so far.
//!
//! To add a part write its file, with its [`Part`], and its line in [`Board::parts`].

use halfshaft_model::ChannelSpec;

use super::ledgers::Ledgers;
use super::strips::Strips;
use crate::actuator::ActuatorWatch;
use crate::band::Tolerances;
use crate::coverage::Coverage;
use crate::duty::DutyWatch;
use crate::duty_picture::DutySums;
use crate::events::EventTally;
use crate::findings::{Findings, Setup};
use crate::holding::HoldingSums;
use crate::laps::PathWatch;
use crate::limits::SDS_OF_90;
use crate::oil_life::OilAgeing;
use crate::part::Part;
use crate::pieces::PieceWatch;
use crate::ripple::RippleWatch;
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

/// Every part.
#[derive(Clone, Debug)]
pub(super) struct Board {
    pub(super) coverage: Coverage,
    pub(super) pieces: PieceWatch,
    pub(super) actuator: ActuatorWatch,
    pub(super) temperature: TemperatureWatch,
    pub(super) findings: Findings,
    pub(super) sums: Sums,
    pub(super) usage: UseWatch,
    pub(super) duty: DutySums,
    pub(super) cycles: DutyWatch,
    pub(super) oil_ageing: Kept<OilAgeing, OIL>,
    pub(super) path: PathWatch,
    pub(super) ripple: RippleWatch,
    pub(super) swap: SwapWatch,
    pub(super) holding: Kept<HoldingSums, HOLDING>,
    pub(super) two_by_two: Kept<TwoByTwoWatch, ANSWERS>,
    pub(super) events: EventTally,
    pub(super) ledgers: Ledgers,
    pub(super) strips: Strips,
}

impl Board {
    /// Every part at the start of a drive.
    pub(super) fn new(setup: &Setup, tolerances: &Tolerances) -> Board {
        let (vehicle, limits) = (setup.vehicle, setup.limits);
        let channels: &[ChannelSpec] = setup.channels;
        let bends_share = SDS_OF_90 * tolerances.bends;
        Board {
            coverage: Coverage::new(channels),
            pieces: PieceWatch::new(channels.len()),
            actuator: ActuatorWatch::new(vehicle, channels),
            temperature: TemperatureWatch::new(vehicle, channels, limits),
            findings: Findings::new(setup),
            sums: Sums::default(),
            usage: UseWatch::new(setup),
            duty: DutySums::default(),
            cycles: DutyWatch::default(),
            oil_ageing: Kept::new(OilAgeing::new(setup.oil_reach_s(), &limits.oil_distance)),
            path: PathWatch::of_channels(channels, limits),
            ripple: RippleWatch::new(limits),
            swap: SwapWatch::default(),
            holding: Kept::new(HoldingSums::new(limits)),
            two_by_two: Kept::new(TwoByTwoWatch::new(limits)),
            events: EventTally::default(),
            ledgers: Ledgers::new(setup.basis.preload_nm, bends_share, &limits.slip),
            strips: Strips::default(),
        }
    }

    /// Every part, each of which takes what the drive brings. None needs another one.
    pub(super) fn parts(&mut self) -> [&mut dyn Part; 18] {
        [
            &mut self.coverage,
            &mut self.pieces,
            &mut self.actuator,
            &mut self.temperature,
            &mut self.findings,
            &mut self.sums,
            &mut self.usage,
            &mut self.duty,
            &mut self.cycles,
            &mut self.oil_ageing,
            &mut self.path,
            &mut self.ripple,
            &mut self.swap,
            &mut self.holding,
            &mut self.two_by_two,
            &mut self.events,
            &mut self.ledgers,
            &mut self.strips,
        ]
    }
}
