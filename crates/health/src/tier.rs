//! What the channels of a log allow, as a tier, and what the next channel would buy.

use crate::nouns::Tier;
use halfshaft_model::channel::name;

/// Any of these says what the clutch is asked or does.
const CLUTCH: &[&str] = &[
    name::CLUTCH_COMMAND,
    name::CLUTCH_POSITION,
    name::CLUTCH_PRESSURE,
    name::CLUTCH_FORCE,
    name::CLUTCH_TORQUE,
];

/// What each tier needs beside the one below, its name, and what it buys.
const STEPS: &[(&[&[&str]], &str, &str)] = &[
    (
        &[&[name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT]],
        "wheel speeds only",
        "both rear wheel speeds: slip, cornering, tyres",
    ),
    (
        &[CLUTCH],
        "wheel speeds and clutch",
        "the clutch's command or position: engagements and partial engagement",
    ),
    (
        &[],
        "with torque",
        "a torque table or the clutch's geometry in the map: heat",
    ),
    (
        &[&[name::OIL_TEMPERATURE]],
        "with temperature",
        "the oil temperature: headroom and cooling",
    ),
    (
        &[
            &[
                name::CLUTCH_POSITION,
                name::CLUTCH_PRESSURE,
                name::MOTOR_CURRENT,
            ],
            &[name::SUPPLY_VOLTAGE, name::MOTOR_VOLTAGE],
        ],
        "with the actuator",
        "actuator position or motor current, and voltage: the health of the actuator",
    ),
    (
        &[
            &[name::THROTTLE],
            &[name::YAW_RATE],
            &[name::STEERING_ANGLE],
            &[name::BRAKE, name::BRAKE_PRESSURE],
        ],
        "with the causes",
        "throttle, steering, yaw and brake: the cause of each event",
    ),
];

/// The tier of a log in which the channels for which `was_seen` holds gave values.
pub fn tier(was_seen: impl Fn(&str) -> bool, torque_is_known: bool) -> Tier {
    let mut number = None;
    for (step, (needs, _, buys)) in STEPS.iter().enumerate() {
        // Both rear wheels are needed; of the other groups one channel each will do.
        let has = match step {
            0 => needs[0].iter().all(|name| was_seen(name)),
            2 => torque_is_known,
            _ => needs
                .iter()
                .all(|group| group.iter().any(|name| was_seen(name))),
        };
        if !has {
            let words = number.map_or("no pair of rear wheel speeds", |number: u8| {
                STEPS[usize::from(number)].1
            });
            return Tier {
                number,
                words,
                next_step: (*buys).to_owned(),
            };
        }
        number = Some(step as u8);
    }
    Tier {
        number,
        words: "complete",
        next_step: "nothing more is needed".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(seen: &str, torque_is_known: bool, wanted: Option<u8>) {
        let tier = tier(
            |name| seen.split(' ').any(|seen| seen == name),
            torque_is_known,
        );
        assert_eq!(tier.number, wanted, "{seen}");
    }

    #[test]
    fn tiers_build_on_each_other() {
        check("", false, None);
        check("wheel.rear.left", true, None);
        let wheels = "wheel.rear.left wheel.rear.right";
        check(wheels, false, Some(0));
        check(&format!("{wheels} oil.temperature"), true, Some(0));
        check(&format!("{wheels} clutch.command"), false, Some(1));
        check(&format!("{wheels} clutch.command"), true, Some(2));
        check(
            &format!("{wheels} clutch.command oil.temperature clutch.position supply.voltage"),
            true,
            Some(4),
        );
    }
}
