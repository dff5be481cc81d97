//! Whole drives: closed forms, determinism, and frames that agree with the truth.

use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Entry, Layout};
use halfshaft_simulate::channels::CHANNELS;
use halfshaft_simulate::controller::Strategy;
use halfshaft_simulate::{
    Piece, RandomRange, Rates, Scenario, Sensors, Style, Truth, frames, random_drive, run,
    to_batch, to_block, to_text,
};

fn silent(scenario: &Scenario) -> Truth {
    run(scenario, &mut |_| {})
}

// A drive with perfect sensors, a constant command and these pieces of road.
fn plain(pieces: Vec<Piece>, command: f64) -> Scenario {
    let mut scenario = random_drive(1, &RandomRange::default());
    scenario.vehicle = halfshaft_simulate::VehicleTrue::brindlecote_30();
    scenario.vehicle.tyre_mismatch = 0.0;
    scenario.vehicle.strategy = Strategy::Constant(command);
    scenario.sensors = perfect(scenario.sensors);
    scenario.style = steady(Style::CALM);
    scenario.pieces = pieces;
    scenario.longest_s = 600.0;
    scenario
}

fn steady(style: Style) -> Style {
    Style {
        speed_wander: 0.0,
        lane_wander_per_m: 0.0,
        ..style
    }
}

fn perfect(sensors: Sensors) -> Sensors {
    Sensors {
        wheel_noise_km_per_h: 0.0,
        yaw_bias_deg_per_s: 0.0,
        yaw_noise_deg_per_s: 0.0,
        position_noise_deg: 0.0,
        position_wakes_s: 0.0,
        ..sensors
    }
}

#[test]
fn same_seed_same_bytes() {
    let range = RandomRange {
        duration_s: [60.0, 61.0],
        ..RandomRange::default()
    };
    let first = to_text(&random_drive(5, &range));
    assert_eq!(first, to_text(&random_drive(5, &range)));
    assert_ne!(first.0, to_text(&random_drive(6, &range)).0);
}

#[test]
fn preload_costs_the_closed_form_energy_in_a_bend() {
    // Golden number K1, derived: E = ½·T·W·|Δψ|/r whatever the speed. The tyres are made
    // stiff, as the closed form has free-rolling wheels.
    for speed_km_per_h in [20.0, 45.0] {
        let straight = Piece::straight(80.0, speed_km_per_h);
        let pieces = vec![straight, Piece::bend(25.0, 90.0, speed_km_per_h), straight];
        let mut scenario = plain(pieces, 0.0);
        scenario.vehicle.tyre_stiffness_n = 80e6;
        scenario.vehicle.torque_points[0].1 = 80.0;
        let truth = silent(&scenario);
        let expected_j = 0.5 * 80.0 * 1.55 * std::f64::consts::FRAC_PI_2 / 0.32;
        let energy_j = truth.heat_total_kj * 1e3;
        assert!(
            (energy_j / expected_j - 1.0).abs() < 0.005,
            "{energy_j} {expected_j}"
        );
        // The ends of the bend's transitions are wider than 150 m.
        assert!(
            (88.0..90.0).contains(&truth.turn_total_deg),
            "{}",
            truth.turn_total_deg
        );
    }
}

#[test]
fn mismatched_tyres_cost_the_closed_form_energy_per_distance() {
    // Golden number K3, derived: E/km = ½·T·ε·1000/r, 1562 J at 1 % and 100 N·m, less the
    // share T/(C·ε·r) that the tyres take. The steady kilometres are compared: two drives
    // that differ by 2 km of straight. First order only: the drive torque on unequal radii
    // and the tyres' mean slip add about 1 %.
    let heat = |length_m: f64| {
        let mut scenario = plain(vec![Piece::straight(length_m, 100.0)], 0.0);
        scenario.vehicle.tyre_mismatch = 0.01;
        scenario.vehicle.torque_points[0].1 = 100.0;
        scenario.vehicle.torque_points[1].1 = 120.0;
        silent(&scenario).heat_total_kj
    };
    let per_km_kj = (heat(4000.0) - heat(2000.0)) / 2.0;
    let expected_kj = 0.5 * 100.0 * (0.01 - 100.0 / (80e3 * 0.32)) / 0.32;
    assert!(
        (per_km_kj / expected_kj - 1.0).abs() < 0.02,
        "{per_km_kj} {expected_kj}"
    );
}

#[test]
fn positive_mismatch_is_a_faster_right_wheel() {
    let mut scenario = plain(vec![Piece::straight(500.0, 60.0)], 0.0);
    scenario.vehicle.tyre_mismatch = 0.01;
    let (block, _) = to_block(&scenario, 0.32);
    let sum = |channel: usize| {
        block.columns[channel]
            .iter()
            .filter_map(|(_, value)| value)
            .sum::<f64>()
    };
    let ratio = (sum(1) / sum(0)).ln();
    // The preload of 70 N·m takes 70 / (C·r) = 0.27 % of it.
    assert!((ratio - 0.0073).abs() < 0.0005, "{ratio}");
}

#[test]
fn a_stuck_pack_makes_no_heat_at_all() {
    // Golden number K5: nothing slips on a straight with the pack closed, mismatch or not.
    let mut scenario = plain(vec![Piece::straight(800.0, 90.0)], 1.0);
    scenario.vehicle.tyre_mismatch = 0.01;
    // The actuator needs a moment to close; the car stands until it has.
    scenario.pieces.insert(0, Piece::stop(2.0));
    let truth = silent(&scenario);
    assert_eq!(
        (
            truth.heat_total_kj,
            truth.slip_peak_rad_per_s,
            truth.partial_heat_making_s
        ),
        (0.0, 0.0, 0.0)
    );
    assert!((truth.stuck_moving_s - truth.moving_time_s).abs() < 0.01);
    assert_eq!(truth.engagements, 1);
}

#[test]
fn the_inside_wheel_is_the_one_that_spins() {
    let pieces = vec![
        Piece::straight(60.0, 50.0),
        Piece::bend(22.0, 170.0, 60.0),
        Piece::straight(60.0, 60.0),
    ];
    let mut scenario = plain(pieces, 0.0);
    scenario.style = steady(Style {
        power_from: 0.3,
        ..Style::TRACK
    });
    let (block, open) = to_block(&scenario, 0.32);
    assert!(open.inside_wheel_faster_s > 0.4 && open.slip_peak_rad_per_s > 3.0);
    // In a left bend the left wheel is inside; its speed is the drive's greatest.
    let greatest = |channel: usize| {
        block.columns[channel]
            .iter()
            .filter_map(|(_, value)| value)
            .fold(0.0, f64::max)
    };
    assert!(
        greatest(0) > greatest(1) + 3.0,
        "{} {}",
        greatest(0),
        greatest(1)
    );
    scenario.vehicle.strategy = Strategy::Constant(0.9);
    assert!(silent(&scenario).inside_wheel_faster_s < 0.1 * open.inside_wheel_faster_s);
}

#[test]
fn heat_worked_out_from_perfect_frames_is_the_truth() {
    for seed in 0..12 {
        let mut scenario = random_drive(seed, &RandomRange::default());
        scenario.sensors = perfect(scenario.sensors);
        let radius_m = scenario.vehicle.radius_m;
        let (block, truth) = to_block(&scenario, radius_m);
        let table = scenario.vehicle.torque_table();
        let full = frames::POSITION_FULL_DEG.to_radians();
        let layout = scenario.vehicle.layout;
        let (mut energy_j, mut at) = (0.0, 0);
        let position = &block.columns[5];
        let (left, right) = (&block.columns[0], &block.columns[1]);
        for i in 1..left.len() {
            let (Some(l), Some(r)) = (left.value(i), right.value(i)) else {
                continue;
            };
            let time = left.time(i);
            while at + 1 < position.len() && position.time(at + 1) <= time {
                at += 1;
            }
            // Between two samples the position is taken as linear.
            let next = (at + 1).min(position.len() - 1);
            let span = position.time(next).since(position.time(at));
            let share = if span > 0.0 {
                time.since(position.time(at)) / span
            } else {
                0.0
            };
            let (Some(before), Some(after)) = (position.value(at), position.value(next)) else {
                continue;
            };
            let state = before + share.clamp(0.0, 1.0) * (after - before);
            let torque = table.at(state / full, None).unwrap();
            let slip = layout.slip_factor().unwrap() * (r - l);
            energy_j += layout.n_packs() * torque * slip.abs() * time.since(left.time(i - 1));
        }
        let heat_kj = energy_j / 1e3;
        // 2 %, and the rounding of the wheel speeds: 0.01 km/h is 0.35 W at 80 N·m.
        let allowed = 0.02 * truth.heat_total_kj + 0.35e-3 * truth.moving_time_s;
        assert!(
            (heat_kj - truth.heat_total_kj).abs() < allowed,
            "seed {seed}: {heat_kj}, not {}",
            truth.heat_total_kj
        );
    }
}

#[test]
fn the_same_pack_torque_between_the_shafts_makes_twice_the_heat() {
    // Golden number K7, derived: at one speed difference, the shaft-to-shaft layout has
    // twice the slip. Stiff tyres keep the difference the same.
    let heat = |layout: Layout| {
        let mut scenario = plain(
            vec![Piece::straight(80.0, 40.0), Piece::bend(25.0, 120.0, 40.0)],
            0.0,
        );
        scenario.vehicle.tyre_stiffness_n = 80e6;
        scenario.vehicle.layout = layout;
        silent(&scenario).heat_total_kj
    };
    let one = heat(Layout::CaseToOneSide);
    assert!((heat(Layout::ShaftToShaft) / one - 2.0).abs() < 0.02);
    assert!((heat(Layout::CaseToBothSides) / one - 2.0).abs() < 0.02);
}

#[test]
fn energies_of_the_events_are_part_of_the_whole() {
    for seed in 0..20 {
        let truth = silent(&random_drive(seed, &RandomRange::default()));
        let sum_kj: f64 = truth.events.iter().map(|event| event.energy_j / 1e3).sum();
        assert!(sum_kj <= truth.heat_total_kj + 1e-6, "seed {seed}");
        // Golden number K13: the causes make the whole.
        let causes_kj = truth.heat_spin_kj
            + truth.heat_mismatch_kj
            + truth.heat_preload_kj
            + truth.heat_commanded_kj;
        assert!(
            (causes_kj - truth.heat_total_kj).abs() < 1e-5,
            "seed {seed}: {causes_kj}"
        );
        assert_eq!(truth.engagements as usize, truth.events.len());
        let peak_w = truth
            .events
            .iter()
            .map(|event| event.peak_heat_w)
            .fold(0.0, f64::max);
        assert!(peak_w <= truth.heat_peak_kw * 1e3 + 0.01);
        for event in &truth.events {
            assert!(event.start_s < event.end_s && event.energy_j >= 0.0);
            assert!(
                event.peak_heat_w <= event.peak_heat_instant_w + 1e-3,
                "seed {seed}: {event:?}"
            );
        }
        for pair in truth.events.windows(2) {
            assert!(
                pair[1].start_s - pair[0].end_s >= 0.3,
                "seed {seed}: events closer than they may be"
            );
        }
    }
}

#[test]
fn the_number_of_events_is_no_matter_of_a_tick() {
    // Counted from the frames, with thresholds in time moved by half a period either way.
    for seed in 0..60 {
        let mut scenario = random_drive(seed, &RandomRange::default());
        if seed % 2 == 0 {
            scenario.rates = Rates::LEAN;
        }
        let (block, truth) = to_block(&scenario, scenario.vehicle.radius_m);
        let commands: Vec<(f64, f64)> = block.columns[4]
            .iter()
            .map(|(time, value)| (time.seconds(), value.unwrap()))
            .collect();
        for (begin_s, end_s, merge_s) in
            [(0.03, 0.14, 0.29), (0.04, 0.15, 0.30), (0.05, 0.16, 0.31)]
        {
            let n = count_events(&commands, begin_s, end_s, merge_s);
            assert_eq!(
                n, truth.engagements,
                "seed {seed} with {begin_s} {end_s} {merge_s}"
            );
        }
    }
}

// Events by hysteresis from 0.10 to 0.05, written anew and more plainly than in the truth.
fn count_events(commands: &[(f64, f64)], begin_s: f64, end_s: f64, merge_s: f64) -> u32 {
    let last_s = commands.last().map_or(0.0, |command| command.0);
    let mut events: Vec<(f64, f64, f64)> = Vec::new();
    let mut i = 0;
    while i < commands.len() {
        let run = |from: usize, holds: &dyn Fn(f64) -> bool| {
            (from..commands.len())
                .find(|&k| !holds(commands[k].1))
                .map_or(last_s, |k| commands[k].0)
        };
        if commands[i].1 < 0.10 || run(i, &|u| u >= 0.10) - commands[i].0 < begin_s {
            i += 1;
            continue;
        }
        let start = i;
        while i < commands.len()
            && !(commands[i].1 < 0.05 && run(i, &|u| u < 0.05) - commands[i].0 >= end_s)
        {
            i += 1;
        }
        let end = commands.get(i).map_or(last_s, |command| command.0);
        let peak = commands[start..i]
            .iter()
            .map(|command| command.1)
            .fold(0.0, f64::max);
        match events.last_mut() {
            Some(last) if commands[start].0 - last.1 < merge_s => {
                *last = (last.0, end, last.2.max(peak))
            }
            _ => events.push((commands[start].0, end, peak)),
        }
    }
    events.iter().filter(|event| event.2 >= 0.15).count() as u32
}

#[test]
fn frames_come_in_order_late_by_the_jitter_and_keep_count() {
    let scenario = random_drive(3, &RandomRange::default());
    let (batch, truth) = to_batch(&scenario);
    assert_eq!(truth.n_frames as usize, batch.entries.len());
    let mut last = batch.entries[0].stamp();
    assert_eq!(last.0, scenario.start_stamp_s * NS_PER_S);
    let mut next_counter = 0;
    let (mut n_rear, mut lateness) = (0i64, [f64::MAX, 0.0f64]);
    for entry in &batch.entries {
        let Entry::Frame(frame) = entry else {
            panic!("a simulated car sends frames only")
        };
        assert!(frame.stamp >= last);
        last = frame.stamp;
        if frame.id == frames::REAR {
            let bytes = batch.payload(frame);
            assert_eq!(bytes[6] & 0x0F, next_counter);
            next_counter = (next_counter + 1) & 0x0F;
            let nominal_ns = scenario.start_stamp_s * NS_PER_S + (3 + 10 * n_rear) * 1_000_000;
            let late_s = (frame.stamp.0 - nominal_ns) as f64 * 1e-9;
            lateness = [lateness[0].min(late_s), lateness[1].max(late_s)];
            n_rear += 1;
        }
    }
    assert!((truth.duration_s - (last.0 - batch.entries[0].stamp().0) as f64 * 1e-9).abs() < 1e-9);
    assert!(
        lateness[0] >= 50e-6 && lateness[1] <= scenario.sensors.jitter_s + 2e-6,
        "{lateness:?}"
    );
    assert!(lateness[1] - lateness[0] > 0.4e-3, "{lateness:?}");
}

#[test]
fn lost_frames_and_silences_are_missing_and_nothing_else() {
    let mut scenario = random_drive(4, &RandomRange::default());
    let (whole, truth) = to_block(&scenario, 0.32);
    scenario.sensors.loss_share = 0.05;
    scenario.silences_s = vec![[20.0, 25.0]];
    let (damaged, same_truth) = to_block(&scenario, 0.32);
    assert_eq!(truth.heat_total_kj, same_truth.heat_total_kj);
    let share = damaged.columns[0].len() as f64 / whole.columns[0].len() as f64;
    let expected = 0.95 * (1.0 - 5.0 / truth.duration_s);
    assert!((share - expected).abs() < 0.01, "{share} {expected}");
    assert!(
        !damaged.columns[0]
            .iter()
            .any(|(time, _)| (20.01..25.0).contains(&time.seconds()))
    );
}

#[test]
fn a_car_at_rest_says_so() {
    let mut scenario = random_drive(2, &RandomRange::default());
    scenario.pieces = vec![
        Piece::stop(4.0),
        Piece::straight(60.0, 30.0),
        Piece::stop(6.0),
    ];
    scenario.sensors.wheel_noise_km_per_h = 0.1;
    let (block, truth) = to_block(&scenario, 0.32);
    assert!(truth.moving_time_s < truth.duration_s - 9.0);
    for (name, column) in CHANNELS.iter().zip(&block.columns).take(4) {
        let n_zero = column
            .iter()
            .filter(|(_, value)| *value == Some(0.0))
            .count();
        let at_rest = n_zero as f64 / column.len() as f64 * truth.duration_s;
        assert!(at_rest > 9.0, "{name} reads 0 for {at_rest} s");
    }
    // The yaw sensor's bias shows, and the oil sensor sleeps at first.
    let yaw = block.columns[6]
        .iter()
        .take(50)
        .filter_map(|(_, value)| value)
        .sum::<f64>()
        / 50.0;
    assert!((yaw.to_degrees() - scenario.sensors.yaw_bias_deg_per_s).abs() < 0.05);
    assert_eq!(block.columns[15].value(0), None);
    assert!(block.columns[15].iter().last().unwrap().1.is_some());
}

#[test]
fn random_drives_are_drives() {
    let (mut n_spin, mut n_stuck, mut n_slow_heat, mut n_layouts) = (0, 0, 0, [0; 3]);
    for seed in 0..60 {
        let scenario = random_drive(seed, &RandomRange::default());
        let truth = silent(&scenario);
        assert!(
            (59.0..181.0).contains(&truth.duration_s),
            "seed {seed}: {} s",
            truth.duration_s
        );
        assert!(
            truth.moving_time_s > 0.7 * truth.duration_s,
            "seed {seed}: stands for long"
        );
        assert!(truth.heat_total_kj > 0.1, "seed {seed}: no heat to find");
        assert!(
            truth.slip_peak_rad_per_s < 60.0 && truth.oil_temp_max_c < 160.0,
            "seed {seed}: outside the believed range"
        );
        n_spin += u32::from(truth.inside_wheel_faster_s > 0.3);
        n_stuck += u32::from(truth.stuck_moving_s > 10.0);
        n_slow_heat += u32::from(truth.heat_share_below_0_3_rad_per_s > 0.05);
        n_layouts[match scenario.vehicle.layout {
            Layout::CaseToOneSide => 0,
            Layout::CaseToBothSides => 1,
            _ => 2,
        }] += 1;
    }
    assert!(
        n_spin > 20 && n_stuck > 30 && n_slow_heat > 15,
        "{n_spin} {n_stuck} {n_slow_heat}"
    );
    assert!(n_layouts.iter().all(|&n| n > 5), "{n_layouts:?}");
}
