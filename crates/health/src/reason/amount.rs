//! What there was too little or too few of.

/// What was counted, too few of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Counted {
    /// Clean steps of the command.
    CleanSteps,
    /// Stretches of some turns of the wheels.
    WheelStretches {
        /// Turns of each.
        turns: f64,
    },
    /// Laps.
    Laps,
    /// Laps driven alike, one after the other.
    LapsAlike,
    /// Commands that were held with a state known.
    HeldCommands {
        /// Share of full that they were above.
        above: f64,
    },
    /// Commands at which there was something to lock.
    CommandsToLock {
        /// Share of full that they were above.
        above: f64,
        /// The mechanism followed them.
        followed: bool,
    },
    /// Ramps of the severity.
    Ramps {
        /// The first that is known.
        first: Option<&'static str>,
    },
    /// Needles of the class.
    Needles,
}

/// What was counted on two sides, too few on one of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paired {
    /// Half seconds of bends with and without command.
    BendPieces,
    /// Laps before and after.
    Laps,
    /// Laps with like passes of a corner, before and after.
    LapsWithLikePasses,
    /// Stretches with events, before and after.
    StretchesWithEvents,
    /// Stretches with open bends, before and after.
    StretchesWithOpenBends,
    /// Blocks of events, before and after.
    EventBlocks,
}

/// What was measured, too little of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measured {
    /// Distance to classify the use, km.
    ClassDistance,
    /// Distance for heat per km, km.
    HeatDistance,
    /// Distance for events per 100 km, km.
    EventDistance,
    /// Angle turned in bends, degrees.
    Turned,
    /// Share of the heat with the turning rate known.
    HeatWithTurning,
}
