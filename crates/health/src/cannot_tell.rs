//! What a log leaves open: the question, why, and what to log or to write down next time.

use crate::limits::Limits;
use crate::nouns::CannotTell;
use crate::reason::Reason;
use halfshaft_model::channel::name;

/// What the drive showed, as far as open questions turn on it.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// Channels that gave values.
    pub channels: Vec<String>,
    /// Why heat is refused.
    pub heat_refusal: Option<Reason>,
    /// Why there is no engagement count, for want of a full scale.
    pub command_refusal: Option<Reason>,
    /// Engagements.
    pub n_engagements: u64,
    /// Share of the moving time in which nothing could be judged; `None` without regions.
    pub not_observable_share: Option<f64>,
    /// Period of the slower rear wheel signal, s.
    pub wheel_period_s: Option<f64>,
    /// Torque was taken from the command although the map has a source with a state.
    pub torque_by_command: bool,
    /// Heat of the preload only.
    pub is_preload_only: bool,
    /// Why the tyre ratio is not known.
    pub tyre_refusal: Option<Reason>,
    /// Turning in open bends, deg, when there is a turning rate and a track.
    pub open_turn_deg: Option<f64>,
    /// The limits in force.
    pub limits: Limits,
}

/// Every question the log leaves open, the gravest first.
pub fn cannot_tell(seen: &Seen) -> Vec<CannotTell> {
    let limits = &seen.limits;
    let has = |name: &str| seen.channels.iter().any(|channel| channel == name);
    let mut open = Vec::new();
    let mut add = |code, question, why: String, next_time: &str| {
        open.push(CannotTell {
            code,
            question,
            why,
            next_time: next_time.to_owned(),
        });
    };
    if !has(name::WHEEL_REAR_LEFT) || !has(name::WHEEL_REAR_RIGHT) {
        add(
            "slip",
            "Did the pack slip?",
            "both rear wheel speeds are needed and the log does not give both".to_owned(),
            "wheel.rear.left and wheel.rear.right at 50 Hz",
        );
    }
    if !has(name::CLUTCH_COMMAND) {
        add(
            "engagement",
            "When and how long was the pack commanded?",
            "the log gives no clutch command".to_owned(),
            "clutch.command at 50 Hz",
        );
    } else if let Some(reason) = &seen.command_refusal {
        add(
            "engagement",
            "When and how long was the pack commanded?",
            reason.to_string(),
            "in the map: `full at …` for clutch.command",
        );
    }
    if let Some(reason) = &seen.heat_refusal {
        add(
            "heat",
            "How much heat did the pack make?",
            reason.to_string(),
            "in the map: torque of the pack by table, by report, or by clamp force, with its tolerance",
        );
    } else if seen.torque_by_command {
        add(
            "heat-by-state",
            "How much heat did the pack make while the actuator was still on its way?",
            "the torque follows the command for want of a state, which on simulated drives read 14 to 73 % high".to_owned(),
            "clutch.position or clutch.pressure at 50 Hz",
        );
    } else if seen.is_preload_only && has(name::WHEEL_REAR_LEFT) && has(name::WHEEL_REAR_RIGHT) {
        add(
            "heat-beyond-preload",
            "How much heat did the pack make when it was squeezed?",
            "the map states the preload only, so the heat is that of the preload".to_owned(),
            "in the map: torque of the pack against command or position",
        );
    }
    if ![
        name::CLUTCH_POSITION,
        name::CLUTCH_PRESSURE,
        name::CLUTCH_FORCE,
        name::CLUTCH_TORQUE,
        name::MOTOR_CURRENT,
    ]
    .iter()
    .any(|name| has(name))
    {
        add(
            "actuator",
            "Does the actuator do what it is asked, and how fast?",
            "the log gives neither position, pressure, reported torque nor motor current"
                .to_owned(),
            "clutch.position at 50 Hz, motor.current and supply.voltage at 10 Hz",
        );
    }
    if !has(name::OIL_TEMPERATURE) {
        add(
            "temperature",
            "How hot did the oil get?",
            "the log gives no oil temperature".to_owned(),
            "oil.temperature and ambient.temperature at 1 Hz",
        );
    }
    let has_front = has(name::WHEEL_FRONT_LEFT) && has(name::WHEEL_FRONT_RIGHT);
    if !(has(name::YAW_RATE) || has_front) {
        add(
            "cornering",
            "Was a wheel-speed difference the bend's or the pack's doing?",
            "the log gives neither yaw rate nor both front wheel speeds".to_owned(),
            "yaw.rate at 20 Hz",
        );
    }
    if let Some(reason) = &seen.tyre_refusal {
        add(
            "tyres",
            "Do left and right tyres roll alike?",
            reason.to_string(),
            "forty straight stretches of 50 m, driven steadily on warm tyres. They count from 30 km/h",
        );
    }
    if let Some(turned) = seen
        .open_turn_deg
        .filter(|turned| *turned < limits.trust.geometry_turn_deg)
    {
        let why = format!(
            "the bends are too gentle: {turned:.0}° were turned in tight ones with the clutch open, {}° are needed",
            limits.trust.geometry_turn_deg
        );
        add(
            "geometry",
            "Are track, rolling radius and signs of the map right?",
            why,
            "a figure of eight of 10 to 15 m radius, three times each way",
        );
    }
    if seen.command_refusal.is_none()
        && has(name::CLUTCH_COMMAND)
        && seen.n_engagements < u64::from(limits.trust.enough_events)
    {
        let why = format!(
            "the drive has {} engagement{}, and {} are needed to judge by",
            seen.n_engagements,
            if seen.n_engagements == 1 { "" } else { "s" },
            limits.trust.enough_events
        );
        add(
            "exercise",
            "Does the unit work as it should?",
            why,
            "a drive in which the clutch engages at least ten times",
        );
    }
    if let Some(share) = seen.not_observable_share.filter(|share| *share > 0.5) {
        let why = format!(
            "in {:.0} % of the moving time there was no bend and no slip to show the pack at work: open and locked look the same",
            100.0 * share
        );
        add(
            "holding",
            "Did the pack hold when it was asked to?",
            why,
            "bends of less than 50 m radius, driven both ways",
        );
    }
    if let Some(period) = seen.wheel_period_s.filter(|period| *period > 0.1) {
        let why = format!(
            "the wheel speeds come every {:.0} ms; shorter slips are blurred",
            1e3 * period
        );
        add(
            "short-slips",
            "How long were the shortest slips?",
            why,
            "wheel speeds at 50 Hz",
        );
    }
    open
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(channels: &str, change: impl Fn(&mut Seen)) -> Vec<&'static str> {
        let mut seen = Seen {
            channels: channels.split(' ').map(str::to_owned).collect(),
            n_engagements: 20,
            ..Seen::default()
        };
        change(&mut seen);
        cannot_tell(&seen).iter().map(|open| open.code).collect()
    }

    #[test]
    fn wheel_speeds_only_leave_almost_everything_open() {
        let got = codes("wheel.rear.left wheel.rear.right", |seen| {
            seen.heat_refusal = Some(crate::reason::DriveFact::Torque.into())
        });
        assert_eq!(
            got,
            ["engagement", "heat", "actuator", "temperature", "cornering"]
        );
    }

    #[test]
    fn a_full_log_leaves_nothing_open() {
        let full = "wheel.rear.left wheel.rear.right clutch.command clutch.position oil.temperature yaw.rate";
        assert_eq!(codes(full, |_| ()), [""; 0]);
        assert_eq!(codes(full, |seen| seen.n_engagements = 2), ["exercise"]);
        assert_eq!(
            codes(full, |seen| seen.not_observable_share = Some(0.8)),
            ["holding"]
        );
    }
}
