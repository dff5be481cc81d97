//! What a map does not state and a drive does not show, in words.

use crate::reason::{DriveFact, MapFact};

pub(super) fn map_lacks(fact: MapFact) -> &'static str {
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
        MapFact::OldTorqueTable => {
            "the map takes the torque from no table of one input, so there is none to put another in the place of"
        }
        MapFact::OldTorqueTableRising => {
            "the torque of the map's table does not rise everywhere, so it does not show what another table would be \
             read at"
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
        MapFact::Radius => "the map states no rolling radius",
        MapFact::FullScale => "the map does not state what a full clutch.command is",
        MapFact::TorqueBesidePreload => "the torque is the stated preload itself",
        MapFact::MeasuredTorque => {
            "the torque follows from the command, which is 0 with the clutch open"
        }
        MapFact::TorqueTable => {
            "the map states no table or clamp force for what the mechanism reports"
        }
        MapFact::SecondTorque => {
            "the map takes the reported torque as the torque, and nothing else beside it"
        }
        MapFact::TableOfAnother => "the table of the map starts from clutch.torque itself",
        MapFact::TorqueMeaning => {
            "the map does not state whether clutch.torque is pack torque or axle bias"
        }
    }
}

pub(super) fn drive_lacks(fact: DriveFact) -> &'static str {
    match fact {
        DriveFact::PathSpeed => "no road speed, so no path",
        DriveFact::PathTurning => {
            "neither a yaw rate nor both front wheel speeds, so the path is not known"
        }
        DriveFact::Turning => "neither a yaw rate nor both front wheel speeds",
        DriveFact::Laps => "no laps were found",
        DriveFact::OilInLastLap => "no oil temperature in the last lap",
        DriveFact::Position => "a start line was given, and the log gives no position",
        DriveFact::PositionThatMoves => {
            "the positions stand still or jump while the wheels turn, so they give no laps"
        }
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
        DriveFact::SlipOfOtherPack => {
            "another torque makes another slip and another command, and this log shows neither"
        }
        DriveFact::TyresGiveWay => {
            "in bends the tyres give way by more than any tyre would on firm ground, so what they hold cannot be read from them"
        }
        DriveFact::BendsBothWays => {
            "nearly all bends go one way, and there unlike tyres look like a drag"
        }
        DriveFact::HeldUnderCommand => {
            "too few steady bends under command in which the pack slipped at a torque the map states"
        }
        DriveFact::EvenBends => {
            "too few bends driven evenly on a firm road at a torque the map states"
        }
        DriveFact::Motion => "the car did not move",
        DriveFact::EventHeat => "no event whose heat is known",
        DriveFact::HeatOfEvents => "of no event the heat is known",
        DriveFact::HottestEvent => "no heat of the hottest event",
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
        DriveFact::OilUnit => {
            "nothing shows whether oil.temperature is in °C or °F: a housing temperature, or an air temperature and a cold start"
        }
        DriveFact::YawStoodAlone => {
            "yaw.rate stood still for 20 s or more, and the rear wheels turned too alike to show whether the car did"
        }
        DriveFact::OilAging => "oil.temperature was never seen",
        DriveFact::QuickMove => "the command never moved by 15 % of full within 0.2 s",
        DriveFact::Pedal => "throttle, or what a full clutch.command is, is not known",
        DriveFact::QuickPedal => "the pedal never moved as fast as that",
        DriveFact::IndexTimes => "the samples are too slow to tell any of its times",
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
        DriveFact::NotDrivenAgain => "the drive once more does not give it",
        DriveFact::NoneInEither => "there was none of it in either",
        DriveFact::DrawnBlocks => "too few blocks drawn again tell it",
        DriveFact::DrawnLaps => "too few laps drawn again tell it",
        DriveFact::EachTime => "a report of an older version does not hold each time",
        DriveFact::LikeCommands => "no command is found in steady bends of both",
        DriveFact::AlikeEvents => {
            "oil temperature and voltage of the events were known in one session only, so the two are not alike"
        }
        DriveFact::ClassForSure => "too few gauges could be read: the class may be higher",
        DriveFact::GearLoss => "the loss of the gears is not known from this drive",
        DriveFact::SlowTurn => "no slow turn under load with torque or command known",
        DriveFact::ColdSpread => "the temperatures below 20 °C do not spread over 10 K",
        DriveFact::TwoSignals => "left and right are one signal",
        DriveFact::UsualCurrent => {
            "neither earlier drives nor a rated current of the motor to compare with"
        }
        DriveFact::PastRise => {
            "fewer than three earlier drives in like weather give the usual rise per heat"
        }
        DriveFact::PastEqualisation => {
            "fewer than three earlier drives in like weather give the time in which pack and oil become equal"
        }
        DriveFact::Equalisation => {
            "how fast pack and oil become equal is not known from this drive"
        }
        DriveFact::SingleMoves => "the samples are too slow for the time of a single move",
        DriveFact::KnownBends => "the bends of this drive are not known",
        DriveFact::LongRoad => "no stretch of road was long and fast enough to look at",
        DriveFact::MovingValue => "it was never known while the car moved",
        DriveFact::RoadWithBends => {
            "too little road, or too few bends, in which the wheels must differ"
        }
        DriveFact::Anything => "nothing was logged",
        DriveFact::SuchFigure => "this drive has no such figure",
    }
}
