//! What there was too little or too few of.

use halfshaft_driveline::response::ladder::Pedal;

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
    /// Times at which the pack was held closed and still.
    HeldClosed,
    /// Moves of closing at like temperature and voltage.
    AlikeMoves,
    /// Moves of closing in a drive over which a time may grow.
    MovesOfTrend,
    /// Quick rises of the command at which the supply was sampled well enough.
    SupplyRises,
    /// Moves with warm oil and enough voltage that gave a time.
    TimedMoves(Moves),
    /// Movements of a pedal that command and response followed.
    FollowedMoves {
        /// Of which pedal movement.
        pedal: Pedal,
        /// Of how many.
        n_all: usize,
    },
}

/// Moves of the command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moves {
    /// All of them.
    OfCommand,
    /// Steps of half of full and more.
    HalfSteps,
}

/// What was counted on two sides, too few on one of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paired {
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
    /// Moves of closing with cold and with warm oil.
    ColdAndWarmMoves,
}

/// What was measured, too little of it.
#[derive(Clone, Copy, Debug, PartialEq)]
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
    /// Time commanded with something to hold, s.
    CommandToHold {
        /// Share of full from which it counts.
        from: f64,
    },
    /// Time in bends with the clutch open, s.
    OpenBends,
    /// Distance of straight running with four wheel speeds, km.
    FourWheelDistance,
    /// Time with two torques steady, s.
    SteadyTorques {
        /// Torque from which it counts, N·m.
        from_nm: f64,
    },
    /// Time of straight running, s.
    StraightRunning {
        /// Speed from which it counts, km/h.
        from_km_per_h: f64,
    },
    /// Share of the pack in the heat of the axle.
    PackShare,
    /// Time of driving with the command so high beside a state, s.
    CommandBesideState {
        /// Share of full from which it counts.
        from: f64,
    },
    /// Time with hot oil and the pedal down, s.
    PedalInHotOil {
        /// Throttle from which it counts, share.
        throttle_from: f64,
        /// Oil temperature from which it counts, °C.
        oil_from_c: f64,
    },
    /// Time with cooler oil, the pedal down and the clutch commanded, s.
    CommandedInCoolerOil {
        /// How often the command was cut with hot oil.
        n_cuts: usize,
    },
}
