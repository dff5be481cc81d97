//! What a map does not state and what a drive does not show.

/// An enum of facts without numbers, each with its stable code.
macro_rules! facts {
    ($(#[$about:meta])* $name:ident { $($(#[$doc:meta])* $fact:ident $code:literal,)* }) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum $name { $($(#[$doc])* $fact,)* }

        impl $name {
            /// Every fact, in order.
            pub const ALL: &[$name] = &[$($name::$fact,)*];

            /// Stable code.
            pub fn code(self) -> &'static str {
                match self { $($name::$fact => $code,)* }
            }
        }
    };
}

facts! {
    /// What the map does not state.
    MapFact {
        /// What counts as a full `clutch.command`.
        FullCommand "map-full-command",
        /// A channel that says what the clutch did.
        State "map-state",
        /// A channel that can be timed as the response of the clutch.
        Response "map-response",
        /// A temperature of the unit.
        UnitTemperature "map-unit-temperature",
        /// Faces and radii of the pack.
        PackShape "map-pack-shape",
        /// Friction of the pack.
        PackFriction "map-pack-friction",
        /// The preload.
        Preload "map-preload",
        /// Faces and radii of the pack that another one is to replace.
        OldPackShape "map-old-pack-shape",
        /// Friction of the pack that another one is to replace.
        OldPackFriction "map-old-pack-friction",
        /// The preload that another one is to replace.
        OldPreload "map-old-preload",
        /// A torque table of one input to put another in the place of.
        OldTorqueTable "no-old-torque-table",
        /// A torque table that rises everywhere.
        OldTorqueTableRising "old-torque-table-not-rising",
        /// A pack with torque, and oil, to compare with.
        OldPackOrOil "map-old-pack-or-oil",
        /// An area of the lining above 0.
        LiningArea "map-lining-area",
        /// Rear track and rolling radius.
        TrackAndRadius "map-track-and-radius",
        /// A rolling radius, where the log gives no speed of the car.
        RadiusOrSpeed "map-radius-or-speed",
        /// A track for the turning that the front wheels would give.
        FrontTrack "map-front-track",
        /// A rolling radius.
        Radius "map-radius",
        /// What a full `clutch.command` is, for the delay after the pedal.
        FullScale "map-full-scale",
        /// A torque that is more than the preload.
        TorqueBesidePreload "map-torque-beside-preload",
        /// A torque that does not follow from the command.
        MeasuredTorque "map-measured-torque",
        /// A table or clamp force beside the reported torque.
        TorqueTable "map-torque-table",
        /// A torque other than the reported one.
        SecondTorque "map-second-torque",
        /// A table that starts from something other than the reported torque.
        TableOfAnother "map-table-of-another",
        /// Whether the reported torque is that of the pack or of the axle.
        TorqueMeaning "map-torque-meaning",
    }
}

facts! {
    /// What the drive does not show.
    DriveFact {
        /// A road speed for the path.
        PathSpeed "no-path-speed",
        /// A turning rate for the path.
        PathTurning "no-path-turning",
        /// A turning rate.
        Turning "no-turning",
        /// Laps.
        Laps "no-laps",
        /// Oil temperature in the last lap.
        OilInLastLap "no-oil-in-last-lap",
        /// A position for the start line that was given.
        Position "no-position",
        /// A position that moves with the car.
        PositionThatMoves "position-stands",
        /// A second passing of the start line.
        SecondPassing "one-passing",
        /// A start line passed no more often than one can be.
        LineOfLaps "line-too-often",
        /// A marker that changes no more often than laps can.
        MarkerOfLaps "marker-too-often",
        /// A drive short enough to look for laps.
        ShortPath "path-too-long",
        /// A path long enough for two laps.
        TwoLaps "path-too-short",
        /// A path that repeats.
        RepeatedPath "path-not-repeated",
        /// What slips and what is commanded with another pack.
        SlipOfOtherPack "slip-of-other-pack",
        /// Tyres as stiff as any that were tried.
        TyresGiveWay "tyres-give-way",
        /// Steady bends under command with a torque to hold, and the pack slipping.
        HeldUnderCommand "no-held-under-command",
        /// Bends both ways, which part a drag from unlike tyres.
        BendsBothWays "no-bends-both-ways",
        /// Even bends on a firm road, with a torque that the map states.
        EvenBends "no-even-bends",
        /// Motion.
        Motion "no-motion",
        /// An event whose heat is known.
        EventHeat "no-event-heat",
        /// Heat of any of the events.
        HeatOfEvents "no-heat-of-events",
        /// Heat of the hottest event.
        HottestEvent "no-hottest-event",
        /// A torque of the pack that moved.
        MovingTorque "no-moving-torque",
        /// Torque while the wheels turned.
        Torque "no-torque",
        /// Torque or command while the wheels turned.
        TorqueOrCommand "no-torque-or-command",
        /// Command or state of the clutch.
        CommandOrState "no-command-or-state",
        /// Both rear wheel speeds at one time.
        WheelsTogether "wheels-apart",
        /// Wheels that turn as those of a driven car.
        DrivenWheels "not-driven",
        /// A rear wheel fast enough to believe differences.
        FastWheel "no-fast-wheel",
        /// More than one value of `clutch.command`.
        CommandValues "one-command-value",
        /// More than one value of `oil.temperature`.
        OilValues "one-oil-value",
        /// What shows the unit of `oil.temperature`.
        OilUnit "no-oil-unit",
        /// Bends beside a yaw rate that stood still.
        YawStoodAlone "yaw-stood-alone",
        /// An oil temperature at any time.
        OilAging "no-oil-seen",
        /// A quick move of the command.
        QuickMove "no-quick-move",
        /// Throttle, or a full scale of the command.
        Pedal "no-pedal",
        /// A quick movement of the pedal.
        QuickPedal "no-quick-pedal",
        /// Samples quick enough for any time of the health index.
        IndexTimes "no-index-times",
        /// A full engagement held with the motor's current known.
        HeldCurrent "no-held-current",
        /// A cooling at standstill.
        StandingCooling "no-standing-cooling",
        /// Oil temperature and supply voltage of the events.
        OilAndVoltage "no-oil-and-voltage",
        /// A value above 0 to compare with.
        Positive "not-positive",
        /// A class before it was looked for.
        Class "not-classed",
        /// A life line in the settings.
        LifeLine "no-life-line",
        /// Laps in both sessions.
        LapsInBoth "no-laps-in-both",
        /// The same figure of the drive once more.
        NotDrivenAgain "not-driven-again",
        /// Something of it in either session.
        NoneInEither "none-in-either",
        /// A change that blocks drawn again agree on.
        DrawnBlocks "few-blocks-drawn",
        /// A change that laps drawn again agree on.
        DrawnLaps "few-laps-drawn",
        /// Each time of the actuator, which an older record does not hold.
        EachTime "each-time-not-stored",
        /// Bends at like commands in both sessions.
        LikeCommands "no-like-commands",
        /// Events known alike in both sessions.
        AlikeEvents "events-not-alike",
        /// Needles enough for a class that is not higher.
        ClassForSure "class-at-least",
        /// The loss of the gears.
        GearLoss "no-gear-loss",
        /// A slow turn under load.
        SlowTurn "no-slow-turn",
        /// Cold moves at unlike temperatures.
        ColdSpread "cold-alike",
        /// Two signals of the rear wheels.
        TwoSignals "one-signal",
        /// A usual current of the motor.
        UsualCurrent "no-usual-current",
        /// An earlier rise per heat.
        PastRise "no-past-rise",
        /// An earlier time in which pack and oil become equal.
        PastEqualisation "no-past-equalisation",
        /// The time in which pack and oil become equal.
        Equalisation "no-equalisation",
        /// Samples quick enough for a single move.
        SingleMoves "no-single-moves",
        /// What the bends are.
        KnownBends "no-known-bends",
        /// A stretch of road long and fast enough.
        LongRoad "no-long-road",
        /// A value while the car moved.
        MovingValue "no-moving-value",
        /// Road and bends in which the wheels must differ.
        RoadWithBends "no-road-with-bends",
        /// Anything.
        Anything "nothing-logged",
        /// The figure that was asked for.
        SuchFigure "no-such-figure",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_a_kebab_case_word_of_one_fact() {
        let of_map = MapFact::ALL.iter().map(|fact| fact.code());
        let of_drive = DriveFact::ALL.iter().map(|fact| fact.code());
        let mut codes: Vec<&str> = of_map.chain(of_drive).collect();
        for code in &codes {
            assert!(
                code.chars().all(|c| c == '-' || c.is_ascii_lowercase()),
                "{code}"
            );
        }
        let n = codes.len();
        codes.sort_unstable();
        codes.dedup();
        assert_eq!(codes.len(), n);
    }
}
