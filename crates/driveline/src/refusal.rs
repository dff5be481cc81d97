//! Why something cannot be derived, with its numbers in SI units (temperatures in °C).
//!
//! Only what is the case: this crate makes no sentences.

/// Why a stretch of straight running is not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Under {
    /// A gap in the wheel signals.
    Gap,
    /// Too slow.
    Slow,
    /// Too fast.
    Fast,
    /// Braking.
    Braking,
    /// Anti-lock or stability control at work.
    Controlled,
    /// The speed changes.
    Accelerating,
    /// The clutch is commanded.
    Commanded,
    /// Tyres warming up.
    WarmUp,
    // What follows is only known when the whole drive is.
    /// Nothing parts bends from straights.
    Unseen,
    /// The pack carries more than its preload.
    Torque,
    /// A wheel spins or is dragged.
    Excess,
    /// In a bend.
    Bend,
    /// On the shorter side of a change of the tyres.
    OtherTyres,
}

impl Under {
    /// All of them, in the order in which they are checked and listed.
    pub const ALL: [Under; 13] = [
        Under::Gap,
        Under::Slow,
        Under::Fast,
        Under::Braking,
        Under::Controlled,
        Under::Accelerating,
        Under::Commanded,
        Under::WarmUp,
        Under::Unseen,
        Under::Torque,
        Under::Excess,
        Under::Bend,
        Under::OtherTyres,
    ];

    /// In words that fit after a number of stretches.
    pub fn words(self) -> &'static str {
        match self {
            Under::Gap => "a gap in the wheel signals",
            Under::Slow => "below 30 km/h",
            Under::Fast => "above 200 km/h",
            Under::Braking => "braking",
            Under::Controlled => "anti-lock or stability control at work",
            Under::Accelerating => "speed changing by more than 1 m/s²",
            Under::Commanded => "command above 5 %",
            Under::WarmUp => "first 2 km, tyres warming up",
            Under::Unseen => "yaw rate or front wheels missing",
            Under::Torque => "pack torque more than 60 N·m above preload",
            Under::Excess => "a wheel spinning or dragged",
            Under::Bend => "in a bend",
            Under::OtherTyres => "on the shorter side of a change of the tyres",
        }
    }
}

/// Why something cannot be derived.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// The map does not state where the clutch sits.
    NoLayout,
    /// The pack is driven through gears, and the map does not state both factors.
    NoGearFactors,
    /// The car corrects its wheel speeds for tyre size.
    TyreCorrected,
    /// No torque of the clutch for a channel of the map, and no preload.
    NoTorque,
    /// The torque is an axle bias, and the bias per pack torque is not stated.
    NoBiasFactor,
    /// Torque from clamp force lacks faces, radii or friction.
    NoClampGeometry,
    /// No rolling radius for stretches of road.
    NoRadius,
    /// Left and right are exactly equal through bends.
    OneSignal,
    /// Too few bends showed what the pack holds.
    FewBends {
        /// Pieces of half a second.
        n_pieces: u32,
        /// Needed of one command.
        needed: u32,
    },
    /// Too few straight stretches were usable.
    FewStraights {
        /// Usable ones.
        found: u32,
        /// Needed ones.
        needed: u32,
        /// What most of the others were unfit for, the most frequent first.
        left_out: Vec<(Under, u32)>,
    },
    /// No straight running stands out from the bends.
    NoStraightStandsOut {
        /// Width of the densest third of the stretches, as a share.
        width: f64,
        /// The greatest that is taken.
        needed: f64,
    },
    /// The straight stretches do not agree.
    StraightsDisagree {
        /// How many there are.
        n_straights: u32,
        /// Standard deviation of their ratio.
        sd: f64,
        /// The greatest that is taken.
        needed: f64,
    },
    /// The heat of the pack is not known.
    NoPackHeat,
    /// No temperature of the unit at a known place.
    NoSensor,
    /// The oil temperature is a model of the car.
    ModelledByCar,
    /// No temperature while the heat is known.
    NoReadingWithHeat,
    /// The temperature was logged for too short a time.
    ShortReadings {
        /// How long, s.
        found_s: f64,
        /// How long it must be, s.
        needed_s: f64,
    },
    /// The temperature hardly changed.
    FlatReadings {
        /// By how much, K.
        found_k: f64,
        /// By how much it must, K.
        needed_k: f64,
    },
    /// The fit found no answer.
    NoFit,
    /// The power through the axle is not known, and so not the heat of its gears.
    NoAxlePower,
    /// The pack made little of the axle's heat.
    GearsHeat {
        /// The pack's share.
        pack_share: f64,
    },
    /// No measured temperature of the unit.
    NoMeasured,
    /// The temperature rose too little.
    RoseLittle {
        /// By how much, K.
        rise_k: f64,
    },
    /// There was little pack heat until the highest temperature.
    LittleHeat {
        /// How much, J.
        heat_j: f64,
    },
    /// The unit was never warm enough to see it cool.
    NeverWarm {
        /// How far above the air it must be, K.
        needed_k: f64,
    },
    /// The cooling was too short.
    ShortCooling {
        /// How long, s.
        found_s: f64,
        /// How long it must be, s.
        needed_s: f64,
    },
    /// The temperature fell too little.
    FellLittle {
        /// By how much, K.
        found_k: f64,
        /// By how much it must, K.
        needed_k: f64,
    },
    /// It did not fall as cooling does.
    NotCooling,
    /// The pack was never without heat.
    NeverWithoutHeat,
    /// The pack was not without heat for long enough.
    ShortWithoutHeat {
        /// How long at the longest, s.
        found_s: f64,
        /// How long it must be, s.
        needed_s: f64,
    },
}
