//! The sources that figures rest on.

/// Something of the log or of the map that is believed or not as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Source {
    /// Both rear wheel speeds, there together.
    Wheels,
    /// The speed of the car over the road.
    RoadSpeed,
    /// The slip of the pack: wheel speeds of two sides, and a layout that says what they make.
    Slip,
    /// The command.
    Command,
    /// What the mechanism says of itself.
    State,
    /// The torque of the pack.
    Torque,
    /// What shows the bends: yaw rate or front wheels.
    Turning,
    /// Left and right, against what shows the bends.
    Sides,
    /// How equally the rear tyres roll.
    Tyres,
    /// Track, radius and scales of the map, against the drive.
    Fit,
    /// The oil temperature.
    Oil,
    /// The temperature of the housing.
    Housing,
    /// The air temperature.
    Air,
}

impl Source {
    /// All of them, in the order in which a reason is looked for.
    pub const ALL: [Source; 13] = [
        Source::Wheels,
        Source::RoadSpeed,
        Source::Slip,
        Source::Command,
        Source::State,
        Source::Torque,
        Source::Turning,
        Source::Sides,
        Source::Tyres,
        Source::Fit,
        Source::Oil,
        Source::Housing,
        Source::Air,
    ];

    /// Stable kebab-case word.
    pub fn word(self) -> &'static str {
        match self {
            Source::Wheels => "rear-wheels",
            Source::RoadSpeed => "road-speed",
            Source::Slip => "slip",
            Source::Command => "command",
            Source::State => "state",
            Source::Torque => "torque",
            Source::Turning => "turning",
            Source::Sides => "sides",
            Source::Tyres => "tyres",
            Source::Fit => "map-fit",
            Source::Oil => "oil-temperature",
            Source::Housing => "housing-temperature",
            Source::Air => "air-temperature",
        }
    }

    const fn bit(self) -> Sources {
        1 << self as u8
    }
}

/// A set of sources, one bit each: a number, so that a type can carry it.
pub type Sources = u16;

/// The set of these sources.
pub const fn on(sources: &[Source]) -> Sources {
    let mut set = 0;
    let mut index = 0;
    while index < sources.len() {
        set |= sources[index].bit();
        index += 1;
    }
    set
}

/// Whether a source is in a set.
pub(crate) const fn holds(set: Sources, source: Source) -> bool {
    set & source.bit() != 0
}

/// What motion rests on.
pub const MOTION: Sources = on(&[Source::Wheels, Source::RoadSpeed]);
/// What slip rests on.
pub const SLIP: Sources = on(&[Source::Wheels, Source::Slip]);
/// What heat rests on.
pub const HEAT: Sources = on(&[Source::Wheels, Source::Torque]);
/// What turning rests on.
pub const TURNING: Sources = on(&[Source::Wheels, Source::RoadSpeed, Source::Turning]);
/// What heat by cause rests on.
pub const CAUSES: Sources = on(&[
    Source::Wheels,
    Source::Torque,
    Source::Turning,
    Source::Sides,
]);
/// What the command alone gives.
pub const COMMAND: Sources = on(&[Source::Command]);
/// What the oil temperature gives.
pub const OIL: Sources = on(&[Source::Oil]);
/// What the mechanism says of itself.
pub const STATE: Sources = on(&[Source::State]);
/// What the air temperature gives.
pub const AIR: Sources = on(&[Source::Air]);
/// What straight running shows of the tyres.
pub const TYRES: Sources = on(&[Source::Wheels, Source::Tyres]);
/// What shows which side turns faster in a bend.
pub const BENDS: Sources = TURNING | on(&[Source::Sides]);
/// What needs nothing of the drive to be believed: it looks at the signals themselves, or at
/// results that were asked for already.
pub const NOTHING: Sources = 0;
