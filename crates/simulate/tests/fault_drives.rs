//! The fault drives: each shows its own fault in the truth, the healthy ones show none.

use halfshaft_model::Entry;
use halfshaft_simulate::channels::{CHANNELS, channels_sent};
use halfshaft_simulate::{
    FAULT_DRIVES, FaultDrive, Faults, Scenario, Truth, UnitTruth, fault_drive, frames, run,
    to_batch, to_block, to_text,
};

fn drive(name: &str) -> Scenario {
    fault_drive(name).expect("the lists name drives that are made")
}

fn silent(scenario: &Scenario) -> (Truth, UnitTruth) {
    let truth = run(scenario, &mut |_| {});
    let unit = truth.unit.clone().expect("these drives tell of their unit");
    (truth, unit)
}

// What would be wrong with a unit, by its truth. The limits are those that the findings
// are known by: common practice, no source.
fn faults_seen(scenario: &Scenario) -> Vec<&'static str> {
    let (truth, unit) = silent(scenario);
    let cold = unit.lags_s.iter().zip(&unit.lag_oil_c);
    let mean_lag = |is_meant: fn(f64) -> bool| {
        let lags: Vec<f64> = cold
            .clone()
            .filter(|(_, oil_c)| is_meant(**oil_c))
            .map(|(lag, _)| *lag)
            .collect();
        (lags.len() >= 10).then(|| lags.iter().sum::<f64>() / lags.len() as f64)
    };
    let is_lazy_cold = mean_lag(|oil_c| oil_c < 10.0)
        .zip(mean_lag(|oil_c| oil_c > 25.0))
        .is_some_and(|(cold_s, warm_s)| cold_s > 1.4 * warm_s);
    let straight_share = unit.straight_working_s / unit.straight_s.max(60.0);
    // Derived from the capacities and the conductance of a sound unit: 700 J/K and
    // 1800 J/K across 60 W/K.
    let usual_equalisation_s = 700.0 * 1800.0 / 2500.0 / 60.0;
    let rules = [
        ("lazy-actuator", unit.rise_time_median_s > Some(0.5)),
        ("actuator-not-moving", unit.n_not_moving >= 3),
        ("does-not-grip", unit.n_not_holding >= 3),
        ("dragging-pack", unit.n_dragging >= 3),
        (
            "slow-release",
            unit.release_time_s > 0.8 && unit.rise_time_median_s < Some(0.5),
        ),
        (
            "scattered-timing",
            !is_lazy_cold && unit.lag_variation > Some(0.35),
        ),
        ("lazy-cold", is_lazy_cold),
        ("supply-sag", unit.sag_max_v > 1.5),
        ("motor-works-hard", unit.holding_current_a >= 1.6 * 16.0),
        ("command-chatter", unit.chatter_s > 2.0),
        ("front-rear-mismatch", unit.front_faster.abs() > 0.01),
        (
            "losing-pressure",
            (unit.tyre_mismatch_at_end - truth.tyre_mismatch).abs() > 0.003,
        ),
        (
            "working-on-the-straight",
            straight_share > 0.1 && truth.tyre_mismatch > 0.01,
        ),
        (
            "hard-hit",
            unit.energy_per_area_max_j_per_mm2 > 1.0 || unit.power_per_area_max_w_per_mm2 > 1.5,
        ),
        ("repeated-launches", unit.n_launches >= 3),
        ("low-oil", unit.equalisation_s > 1.4 * usual_equalisation_s),
        (
            "hot-without-clutch",
            truth.oil_temp_max_c > 110.0
                && truth.heat_total_kj < 0.2 * (truth.heat_total_kj + 0.3 * unit.gear_heat_kj),
        ),
        (
            "does-not-cool",
            unit.standing_time_constant_s > 1.5 * 1350.0,
        ),
        ("judder", unit.n_judder >= 3),
        ("tone-ring", unit.wheel_ripple > 0.02),
        (
            "late-on-throttle",
            scenario.faults.controller.throttle_on_delay_s > 0.0
                && unit.throttle_on_delay_s > Some(0.3),
        ),
        ("hangs-on-after-lift", unit.lift_off_delay_s > Some(0.5)),
        (
            "protection-mode",
            unit.n_cuts >= 3 && truth.oil_temp_max_c > 100.0,
        ),
        (
            "torque-report-disagrees",
            (unit.reported_torque_share - 1.0).abs() > 0.25,
        ),
        ("towed", unit.one_wheel_stands_s > 10.0),
    ];
    let seen = rules.into_iter().filter(|(_, is_seen)| *is_seen);
    seen.map(|(name, _)| name).collect()
}

#[test]
fn each_fault_drive_shows_its_fault_and_no_other() {
    for drive in FAULT_DRIVES.iter().filter(|drive| !drive.is_healthy()) {
        assert_eq!(faults_seen(&self::drive(drive.name)), [drive.name]);
    }
}

#[test]
fn healthy_drives_show_none_and_are_fair_to_judge() {
    for drive in FAULT_DRIVES.iter().filter(|drive| drive.is_healthy()) {
        let (name, scenario) = (drive.name, self::drive(drive.name));
        assert_eq!(faults_seen(&scenario), [""; 0], "{name}");
        assert_eq!(scenario.faults, Faults::NONE);
        let (truth, unit) = silent(&scenario);
        let is_hard = name == "track-day-hot-pack";
        let least_s = if is_hard { 480.0 } else { 600.0 };
        assert!(
            truth.moving_time_s >= least_s,
            "{name} {}",
            truth.moving_time_s
        );
        assert!(truth.engagements >= 12, "{name} {}", truth.engagements);
        assert!(
            truth.oil_temp_max_c < 130.0,
            "{name} {}",
            truth.oil_temp_max_c
        );
        assert!(unit.throttle_on_delay_s < Some(0.15), "{name} {unit:?}");
        assert_eq!(
            is_hard,
            unit.pack_above_oil_30_k_s > 10.0,
            "{name} {unit:?}"
        );
        assert!(
            truth.pack_temp_max_c < 200.0,
            "{name} {}",
            truth.pack_temp_max_c
        );
    }
}

#[test]
fn without_its_fault_the_same_drive_is_sound() {
    // What is a knob can be turned off: nothing but the knob makes the fault.
    for name in [
        "actuator-not-moving",
        "does-not-grip",
        "dragging-pack",
        "slow-release",
        "scattered-timing",
        "lazy-cold",
        "command-chatter",
        "front-rear-mismatch",
        "losing-pressure",
        "judder",
        "tone-ring",
        "late-on-throttle",
        "hangs-on-after-lift",
        "protection-mode",
        "torque-report-disagrees",
    ] {
        let mut scenario = drive(name);
        scenario.faults = Faults::NONE;
        assert_eq!(faults_seen(&scenario), [""; 0], "{name}");
    }
    // A sound pack has taken the difference away before the worn one is even asked to.
    let worn = drive("does-not-grip");
    let mut grips = worn.clone();
    grips.faults = Faults::NONE;
    let n_not_holding = |scenario: &Scenario| silent(scenario).1.n_not_holding;
    assert_eq!(n_not_holding(&grips), 0);
    assert!(n_not_holding(&worn) >= 10, "{}", n_not_holding(&worn));
}

#[test]
fn drives_are_the_same_every_time_and_short() {
    for &FaultDrive { name, .. } in FAULT_DRIVES {
        let mut scenario = drive(name);
        assert_eq!(scenario.name, name);
        assert!(!scenario.title.is_empty() && scenario.story.contains(&scenario.title));
        let (truth, _) = silent(&scenario);
        let longest_s = if name == "does-not-cool" {
            1020.0
        } else {
            761.0
        };
        assert!(truth.duration_s < longest_s, "{name} {}", truth.duration_s);
        scenario.longest_s = 90.0;
        assert_eq!(to_text(&scenario), to_text(&scenario), "{name}");
    }
    assert!(fault_drive("no such drive").is_none());
}

#[test]
fn truth_of_the_unit_is_written_where_it_is_told_only() {
    let mut scenario = drive("scattered-timing");
    scenario.longest_s = 60.0;
    let told = run(&scenario, &mut |_| {});
    let json = told.to_json();
    assert!(json.contains("lag_variation"));
    assert_eq!(serde_json::from_str::<Truth>(&json).unwrap(), told);
    scenario.tells_unit = false;
    let untold = run(&scenario, &mut |_| {});
    assert!(!untold.to_json().contains("unit\""));
    assert_eq!(Truth { unit: None, ..told }, untold);
}

#[test]
fn more_frames_are_sent_when_asked_for_only() {
    let mut scenario = drive("torque-report-disagrees");
    scenario.longest_s = 120.0;
    let (block, _) = to_block(&scenario, scenario.vehicle.radius_m);
    assert_eq!(block.columns.len(), CHANNELS.len());
    let values = |name: &str| -> Vec<f64> {
        let channel = CHANNELS.iter().position(|other| *other == name).unwrap();
        block.columns[channel]
            .iter()
            .filter_map(|(_, value)| value)
            .collect()
    };
    // The table at rest gives 70 N·m, of which 60 % are reported.
    assert!((values("clutch.torque")[0] - 42.0).abs() < 0.06);
    // Derived: engine power is the power through the case.
    let power = values("engine.speed")
        .into_iter()
        .zip(values("engine.torque"));
    let most_w = power
        .map(|(speed, torque)| speed * torque)
        .fold(0.0, f64::max);
    assert!((100e3..=192e3).contains(&most_w), "{most_w}");
    assert!(values("gear").contains(&3.0));

    scenario.rates.more_ms = None;
    assert_eq!(channels_sent(&scenario.rates).len(), 18);
    let (batch, _) = to_batch(&scenario);
    let has_more = batch.entries.iter().any(|entry| {
        matches!(entry, Entry::Frame(frame) if [frames::ENGINE, frames::TORQUE].contains(&frame.id))
    });
    assert!(!has_more);
}

#[test]
fn what_sensors_see_of_a_fault_is_in_the_frames() {
    let of = |mut scenario: Scenario, longest_s: f64, channel: &str| -> Vec<(f64, f64)> {
        scenario.longest_s = longest_s;
        let (block, _) = to_block(&scenario, scenario.vehicle.radius_m);
        let index = CHANNELS.iter().position(|other| *other == channel).unwrap();
        let values = block.columns[index].iter();
        values
            .filter_map(|(time, value)| value.map(|value| (time.seconds(), value)))
            .collect()
    };
    let column = |name: &str, longest_s: f64, channel: &str| of(drive(name), longest_s, channel);
    // Voltage falls under the motor's load.
    let volts = column("supply-sag", 60.0, "supply.voltage");
    let least_v = volts.iter().map(|sample| sample.1).fold(20.0, f64::min);
    assert!(least_v < 13.9 - 1.5, "{least_v}");
    // An unplugged motor draws nothing and stands open, whatever is asked.
    let current = column("actuator-not-moving", 200.0, "motor.current");
    let late = current.iter().filter(|sample| sample.0 > 151.0);
    assert!(late.map(|sample| sample.1.abs()).fold(0.0, f64::max) < 0.5);
    let position = column("actuator-not-moving", 200.0, "clutch.position");
    let late = position.iter().filter(|sample| sample.0 > 151.0);
    assert!(late.map(|sample| sample.1).fold(0.0, f64::max) < 0.02);
    // Fronts are faster by the share of their radius than those of the sound car.
    let mut sound = drive("front-rear-mismatch");
    sound.faults = Faults::NONE;
    let sum = |scenario: Scenario| {
        let values = of(scenario, 120.0, "wheel.front.left");
        values.iter().map(|sample| sample.1).sum::<f64>()
    };
    let ratio = sum(drive("front-rear-mismatch")) / sum(sound);
    assert!((ratio - 1.015).abs() < 1e-4, "{ratio}");
    // The ripple is 3 % of the wheel's speed either way, beside the sound wheel's noise.
    let rough = |name: &str| {
        let left = column(name, 120.0, "wheel.rear.left");
        let fast = left
            .windows(2)
            .filter(|pair| pair[0].1 > 30.0 && pair[0].1 < 45.0);
        fast.map(|pair| (pair[1].1 / pair[0].1 - 1.0).abs())
            .fold(0.0, f64::max)
    };
    let (cracked, whole) = (rough("tone-ring"), rough("late-on-throttle"));
    assert!(cracked > 0.02 && whole < 0.012, "{cracked} {whole}");
    // One wheel on a dolly stands while the other rolls.
    let n_standing = |channel: &str| {
        let values = column("towed", 760.0, channel);
        values.iter().filter(|sample| sample.1 == 0.0).count()
    };
    let more = n_standing("wheel.rear.left") - n_standing("wheel.rear.right");
    assert!(more > 3000, "{more}");
}
