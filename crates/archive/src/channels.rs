//! The channels of a drive: those of its map, and those derived from them.
//!
//! To export another derived channel, add its row to [`DERIVED`].

use halfshaft_health::limits::Slip;
use halfshaft_health::sums::is_slipping;
use halfshaft_health::trust::{COMMAND, HEAT, MOTION, SLIP, Source, Sources, TURNING, on};
use halfshaft_health::{Basis, Row};
use halfshaft_model::{Behaviour, ChannelSpec};

const WHEELS: Sources = on(&[Source::Wheels]);

/// What derived channels rest on.
#[derive(Clone, Debug)]
pub struct Ground {
    /// What can be derived.
    pub basis: Basis,
    /// What counts as slipping.
    pub slip: Slip,
}

/// A channel derived from measured ones.
pub struct Derived {
    /// Its name.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// What it does between two samples.
    pub behaviour: Behaviour,
    /// What it is and which way is positive.
    pub meaning: &'static str,
    /// What it rests on.
    pub on: Sources,
    value: fn(&Row, &Ground) -> Option<f64>,
}

impl Derived {
    /// Its value in a derived row; `None` where it is not known.
    pub fn value(&self, row: &Row, ground: &Ground) -> Option<f64> {
        (self.value)(row, ground).filter(|value| value.is_finite())
    }
}

const fn derived(
    name: &'static str,
    unit: &'static str,
    meaning: &'static str,
    on: Sources,
    value: fn(&Row, &Ground) -> Option<f64>,
) -> Derived {
    Derived {
        name,
        unit,
        behaviour: Behaviour::Continuous,
        meaning,
        on,
        value,
    }
}

/// How many derived channels.
pub const N_DERIVED: usize = 11;

/// Every derived channel.
pub const DERIVED: [Derived; N_DERIVED] = [
    derived(
        "axle.speed_difference",
        "rad/s",
        "Rear wheel speeds, right less left, as measured: what slip and heat are made from.",
        WHEELS,
        |row, _| Some(row.difference),
    ),
    derived(
        "axle.speed_difference.road",
        "rad/s",
        "The same with unequal tyres taken out as far as learned, mean over 0.2 s: what is compared with the bend.",
        WHEELS,
        |row, _| Some(row.road_referred_difference),
    ),
    derived(
        "axle.speed_difference.kinematic",
        "rad/s",
        "What the bend alone asks for, mean over 0.2 s.",
        TURNING,
        |row, _| row.kinematic_difference,
    ),
    derived(
        "axle.openness",
        "1",
        "Road-referred over kinematic difference where the bend asks enough: 1 open, 0 locked.",
        TURNING,
        |row, _| row.openness,
    ),
    derived(
        "pack.slip",
        "rad/s",
        "Slip speed of the clutch pack, with its noise; signed as the axle speed difference.",
        SLIP,
        |row, ground| ground.basis.slip.is_ok().then_some(row.slip),
    ),
    derived(
        "pack.slip.sharp",
        "rad/s",
        "The same as sharp in time as its noise allows: what the tables of duty are sorted by.",
        SLIP,
        |row, ground| ground.basis.slip.is_ok().then_some(row.slip_sharp),
    ),
    derived(
        "pack.torque",
        "N.m",
        "Torque one pack can carry.",
        HEAT,
        |row, _| row.torque_nm,
    ),
    derived(
        "pack.heat_rate",
        "W",
        "Heat rate of all packs, mean over 0.2 s; 0 where the slip does not stand out of its noise.",
        HEAT,
        |row, ground| {
            let rate_w = row.heat_rate_w.filter(|_| ground.basis.heat.is_ok())?;
            let makes_heat = row.is_turning && is_slipping(row, &ground.slip);
            Some(if makes_heat { rate_w } else { 0.0 })
        },
    ),
    derived(
        "vehicle.speed",
        "m/s",
        "Speed of the car over the road, from the best source the log has.",
        MOTION,
        |row, _| row.road_speed,
    ),
    Derived {
        name: "clutch.command.share",
        unit: "1",
        behaviour: Behaviour::Held,
        meaning: "Command, 0 open to 1 full.",
        on: COMMAND,
        value: |row, _| row.command,
    },
    derived(
        "clutch.state.share",
        "1",
        "State the clutch reports, 0 open to 1 full.",
        on(&[Source::State]),
        |row, _| row.state,
    ),
];

/// What a channel of a map is, in words.
pub(crate) fn meaning(channel: &ChannelSpec) -> &str {
    match channel.role {
        Some(role) => role.meaning,
        None => "A channel the map carries along under a name of its own.",
    }
}

/// What a channel does between two samples, in one word.
pub(crate) fn behaviour_word(behaviour: Behaviour) -> &'static str {
    match behaviour {
        Behaviour::Continuous => "interpolated",
        Behaviour::Held => "held",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::{Role, Unit};

    #[test]
    fn names_are_no_channel_of_a_map_and_units_are_known() {
        for channel in &DERIVED {
            assert_eq!(Role::find(channel.name), None, "{}", channel.name);
            assert!(!channel.name.starts_with("own."));
            assert!(Unit::find(channel.unit).is_some(), "{}", channel.unit);
            let n_same = DERIVED.iter().filter(|other| other.name == channel.name);
            assert_eq!(n_same.count(), 1, "{}", channel.name);
        }
    }
}
