//! How the channels of motion fit each other, as remarks: scale, stuck sensors,
//! signs and sides. The figures are [`super::motion`]'s.

use super::Survey;
use super::judge::Remarks;
use super::limits;
use super::motion::{LATERAL, Line, Motion, ROLES, SPEED, STEERING, WITNESSES, Witness};
use super::remark::Kind;
use super::report::short;
use crate::decode::period::LogMedian;
use halfshaft_model::Toleranced;
use halfshaft_model::channel::name;

/// Factors that mistakes of unit make, and the mistake.
const KNOWN_FACTORS: &[(f64, &str)] = &[
    (1.609_344, "miles and kilometres"),
    (2.236_936, "mph and m/s"),
    (3.6, "km/h and m/s"),
    (9.549_297, "rpm and rad/s"),
    (9.806_65, "gn and m/s2"),
    (57.295_78, "degrees and radians"),
    (2.0, "a factor of 2"),
    (10.0, "a decimal place"),
    (100.0, "two decimal places"),
    (1000.0, "three decimal places"),
];

/// Adds the remarks on motion.
pub(crate) fn judge(survey: &Survey, remarks: &mut Remarks) {
    scales(survey, remarks);
    stuck(&survey.motion, remarks);
    turning(survey, remarks);
    turning_scales(survey, remarks);
}

fn scales(survey: &Survey, remarks: &mut Remarks) {
    let motion = &survey.motion;
    let mut odd = Vec::new();
    for (wheel, ratios) in motion.wheel_ratios.iter().enumerate() {
        let Some(ratio) = ratios.median() else {
            continue;
        };
        if always_beyond(ratios, limits::WHEELS_ALIKE) {
            odd.push((wheel, ratio));
        }
    }
    // Two wheels alone, or two against two: which of them is wrong is open.
    let is_one = odd.len() == 1;
    for (wheel, ratio) in &odd {
        let doubt = match is_one {
            true => "looks wrongly scaled",
            false => "it or the others look wrongly scaled",
        };
        let text = format!(
            "{doubt}: reads {} times what the other wheels do{}",
            figure(*ratio),
            mistake(*ratio, 0.06)
        );
        remarks.add(
            Kind::WronglyScaled,
            ROLES[*wheel],
            text,
            &[("ratio", *ratio)],
        );
    }
    let Some(ratio) = motion
        .speed_ratio
        .median()
        .filter(|_| odd.is_empty() || is_one)
    else {
        return;
    };
    let (alike, slack) = match survey.map.vehicle.rolling_radius_m {
        Some(_) => (limits::SPEED_ALIKE, 0.06),
        None => (limits::SPEED_ALIKE_NO_RADIUS, 0.25),
    };
    if always_beyond(&motion.speed_ratio, alike) {
        let text = format!(
            "it or the wheels look wrongly scaled: at a rolling radius of {} m the wheels give {} times this speed{}",
            short(motion.radius_m),
            figure(ratio),
            mistake(ratio, slack)
        );
        let numbers = [("ratio", ratio), ("radius_m", motion.radius_m)];
        remarks.add(Kind::WronglyScaled, ROLES[SPEED], text, &numbers);
    }
}

/// Whether nearly all ratios are beyond a factor, all on one side.
fn always_beyond(ratios: &LogMedian, alike: f64) -> bool {
    let (of, so_many) = limits::SCALED_IN;
    let (low, high) = (
        ratios.quantile(so_many - of, so_many),
        ratios.quantile(of, so_many),
    );
    low.is_some_and(|low| low > alike) || high.is_some_and(|high| high < 1.0 / alike)
}

fn figure(ratio: f64) -> String {
    match ratio.abs() < 1000.0 {
        true => format!("{ratio:.3}"),
        false => short(ratio),
    }
}

/// The mistake that makes such a factor, where one is known.
fn mistake(ratio: f64, slack: f64) -> String {
    let times = ratio.max(1.0 / ratio);
    let nearest = KNOWN_FACTORS.iter().min_by(|a, b| {
        (times / a.0)
            .ln()
            .abs()
            .total_cmp(&(times / b.0).ln().abs())
    });
    match nearest {
        Some((factor, name)) if (times / factor).ln().abs() < slack => {
            format!(" (near {factor:.3}: {name} swapped?)")
        }
        _ => String::new(),
    }
}

fn stuck(motion: &Motion, remarks: &mut Remarks) {
    for (role, stuck) in motion.stuck.iter().enumerate() {
        let Some((start, seconds, moved)) = stuck.longest else {
            continue;
        };
        let text = format!(
            "stuck {} times, {:.1} s in all; longest {seconds:.1} s from {:.1} s on, while the car's speed changed by {:.1} km/h",
            stuck.n,
            stuck.seconds,
            start.seconds(),
            moved * 3.6
        );
        let numbers = [
            ("n", stuck.n as f64),
            ("total_s", stuck.seconds),
            ("longest_s", seconds),
        ];
        remarks.add(Kind::Stuck, ROLES[role], text, &numbers);
    }
}

/// Signs and sides: every witness of turning against the yaw rate.
fn turning(survey: &Survey, remarks: &mut Remarks) {
    let judged: Vec<(Witness, f64, f64, u64)> = WITNESSES
        .into_iter()
        .zip(&survey.motion.turning)
        .filter(|(_, line)| is_enough_turning(line))
        .filter_map(|(witness, line)| Some((witness, line.correlation()?, line.slope()?, line.n)))
        .filter(|(_, correlation, ..)| correlation.abs() >= limits::SIGN_CORRELATION)
        .collect();
    let runs_against = |(_, correlation, ..): &&(Witness, f64, f64, u64)| *correlation < 0.0;
    let against = judged.iter().filter(runs_against).count();
    if against >= 2 && against * 2 > judged.len() {
        let n = judged.len();
        let mean = judged
            .iter()
            .map(|(_, correlation, ..)| correlation)
            .sum::<f64>()
            / n as f64;
        let text = format!(
            "its sign looks reversed: {against} of {n} witnesses of turning (wheels, steering, lateral acceleration) run against it"
        );
        let numbers = [("against", against as f64), ("correlation", mean)];
        remarks.add(Kind::SignReversed, name::YAW_RATE, text, &numbers);
        return;
    }
    for (witness, correlation, slope, n) in judged.iter().filter(runs_against) {
        let numbers = [
            ("correlation", *correlation),
            ("slope", *slope),
            ("seconds", *n as f64),
        ];
        // A single witness cannot outvote the yaw rate; nor the yaw rate it.
        let doubt = match judged.len() {
            1 => ", or yaw.rate has the wrong sign",
            _ => "",
        };
        let (kind, subject) = match witness {
            Witness::Rear => (Kind::LeftRightSwapped, "wheel.rear"),
            Witness::Front => (Kind::LeftRightSwapped, "wheel.front"),
            Witness::Steering => (Kind::SignReversed, ROLES[STEERING]),
            Witness::Lateral => (Kind::SignReversed, ROLES[LATERAL]),
        };
        let what = match kind {
            Kind::SignReversed => "its sign looks reversed",
            _ => "left and right look swapped",
        };
        let text = format!(
            "{what}{doubt}: it runs against the yaw rate (correlation {correlation:.2} over {n} s of driving, slope {})",
            short(*slope)
        );
        remarks.add(kind, subject, text, &numbers);
    }
}

fn is_enough_turning(line: &Line) -> bool {
    line.n >= limits::SIGN_SECONDS && line.sd_x() >= limits::SIGN_YAW_SD
}

/// Slopes of the witnesses that have a known one: the track for wheels, 1 for lateral acceleration.
fn turning_scales(survey: &Survey, remarks: &mut Remarks) {
    let vehicle = &survey.map.vehicle;
    let track_m = |track: Option<Toleranced>| track.map(|track| track.value);
    let (rear_m, front_m) = (
        track_m(vehicle.track_rear_m),
        track_m(vehicle.track_front_m),
    );
    for (witness, line) in WITNESSES.into_iter().zip(&survey.motion.turning) {
        let (subject, against, want) = match witness {
            Witness::Rear => (name::YAW_RATE, "the rear wheels and the track", rear_m),
            Witness::Front => (name::YAW_RATE, "the front wheels and the track", front_m),
            Witness::Lateral => (ROLES[LATERAL], "yaw rate times speed", Some(1.0)),
            Witness::Steering => continue,
        };
        let is_clear = |of: f64| of.abs() >= limits::TURNING_CORRELATION;
        let is_clear = is_enough_turning(line) && line.correlation().is_some_and(is_clear);
        let want = want.filter(|want| is_clear && *want > 0.0);
        let Some((slope, want)) = line.slope().zip(want) else {
            continue;
        };
        // A yaw rate too large makes the wheels' slope too small.
        let ratio = match witness {
            Witness::Lateral => slope.abs() / want,
            _ => want / slope.abs(),
        };
        let most = match witness {
            Witness::Rear => limits::TIED_ALIKE,
            _ => limits::TURNING_ALIKE,
        };
        if !(1.0 / limits::TURNING_ALIKE..=most).contains(&ratio) {
            let text = format!(
                "it or what it is compared with looks wrongly scaled: {} times what {against} make{}",
                figure(ratio),
                mistake(ratio, 0.06)
            );
            remarks.add(Kind::WronglyScaled, subject, text, &[("ratio", ratio)]);
        }
    }
}
