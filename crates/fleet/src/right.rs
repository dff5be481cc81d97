//! What the right answer is: which findings a fault deserves, and which a healthy drive does.
//!
//! In: a fault, or the truth of a drive. Out: findings and remarks.

use halfshaft_health::FindingId;
use halfshaft_signal_map::survey::Kind;
use halfshaft_simulate::fleet::{Car, Fault, Truth};

/// The right answers to a fault.
#[derive(Clone, Copy, Debug)]
pub struct Right {
    /// Findings that name it.
    pub findings: &'static [FindingId],
    /// Remarks on log and map that name it.
    pub remarks: &'static [Kind],
    /// Findings that are true of it as well, under another name.
    pub akin: &'static [FindingId],
}

/// The right answers to a fault.
pub fn right(fault: Fault) -> Right {
    use FindingId::*;
    let answer = |findings, akin| Right {
        findings,
        remarks: &[],
        akin,
    };
    match fault {
        Fault::SlowActuator => answer(
            &[LazyActuator],
            &[
                ScatteredTiming,
                LateOnThrottle,
                SlowRelease,
                HangsOnAfterLift,
            ],
        ),
        Fault::DriftingLag => answer(&[LazyActuator, ScatteredTiming], &[LateOnThrottle]),
        Fault::SlowRelease => answer(&[FindingId::SlowRelease], &[HangsOnAfterLift]),
        Fault::NoGrip => answer(&[DoesNotGrip], &[]),
        Fault::Dragging => answer(&[DraggingPack], &[HeavyPreload]),
        Fault::CommandFrozen => Right {
            remarks: &[Kind::Stuck],
            ..answer(&[FindingId::CommandFrozen], &[])
        },
        Fault::StateFrozen => Right {
            remarks: &[Kind::Stuck],
            // A state that stands at its rest to the last digit, and always read so there, is the same
            // evidence for a mechanism and for a signal that stands: the finding names both.
            ..answer(&[FindingId::StateFrozen, ActuatorNotMoving], &[])
        },
        Fault::YawFrozen => Right {
            remarks: &[Kind::Stuck],
            ..answer(&[FindingId::YawFrozen], &[])
        },
        Fault::Swapped => answer(&[CommandExchanged], &[]),
        Fault::SidesSwapped => Right {
            remarks: &[Kind::LeftRightSwapped, Kind::SignReversed],
            ..answer(&[SidesExchanged], &[])
        },
        Fault::WheelScale => Right {
            remarks: &[Kind::WronglyScaled],
            ..answer(&[], &[FrontRearMismatch])
        },
        Fault::StuckWheel => Right {
            remarks: &[Kind::Stuck],
            ..answer(&[SensorDropsOut], &[ToneRing])
        },
        Fault::DropOuts | Fault::BadSamples => Right {
            remarks: &[Kind::Stuck, Kind::BeyondBelief, Kind::ByteSwapped],
            ..answer(&[SensorDropsOut], &[ToneRing])
        },
        Fault::Fahrenheit => Right {
            remarks: &[Kind::BeyondBelief, Kind::WronglyScaled],
            ..answer(&[OilNotBelieved], &[])
        },
        Fault::OilFrozen => Right {
            remarks: &[Kind::Stuck],
            ..answer(&[OilNotBelieved], &[])
        },
        Fault::TyreMismatch => answer(&[TyresMismatched], &[WorkingOnTheStraight]),
        Fault::LosingPressure => answer(&[FindingId::LosingPressure], &[TyresMismatched]),
        Fault::OilLoss => answer(
            &[FindingId::OilLoss],
            &[OilTooHot, HotWithoutClutch, DoesNotCool],
        ),
        Fault::Overheating => answer(&[OilTooHot], &[]),
        Fault::Protection => answer(&[ProtectionMode], &[OilTooHot]),
        Fault::MotorCurrent => answer(&[MotorWorksHard], &[]),
        Fault::LowVoltage => answer(&[SupplySag], &[]),
    }
}

/// Whether the drive deserves a finding about its use, healthy or not: by the truth, with a
/// fifth to spare, as the map's values miss it.
pub fn is_deserved(id: FindingId, truth: &Truth, car: &Car) -> bool {
    match id {
        FindingId::HardHit => truth.specific_energy > 0.7 || truth.hit_w_per_mm2 > 1.05,
        FindingId::RepeatedLaunches => truth.n_spinning_starts >= 3,
        FindingId::OilTooHot => truth.oil_hot_s > 8.0 || truth.pack_max_c > 170.0,
        FindingId::WorkingOnTheStraight => truth.straight_share > 0.07,
        FindingId::FrontRearMismatch => truth.front_ratio > 1.0085,
        FindingId::HardDriving => {
            let per_km = |amount: f64| amount / truth.distance_km.max(0.1);
            per_km(truth.heat_kj) > 6.0
                || per_km(truth.partial_s) > 1.4
                || per_km(truth.engagements) > 2.4
                || truth.oil_max_c > 110.0
        }
        FindingId::CommandChatter => {
            truth.chatter_s > 1.5 || truth.engagements / truth.distance_km.max(0.1) > 5.0
        }
        FindingId::LazyCold => car.actuator.per_k_cold > 0.008,
        // It depends on what was logged, not on the car.
        FindingId::LogNotFit => true,
        _ => false,
    }
}
