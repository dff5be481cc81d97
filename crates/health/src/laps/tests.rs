//! Whole drives round made-up circuits and along roads that are none.

use crate::reason::{DriveFact, Reason};
use halfshaft_model::Time;

use super::circuit::{CIRCUIT, Car, Driving, JOULES_PER_RAD, N_CORNERS, Piece, length_m};
use super::*;
use crate::nouns::Course;
use crate::testing::gate_at;
use crate::trust::Source;

const SD: f64 = 0.01;
const SCALES: [f64; 5] = [1.0, 1.01, 0.99, 1.006, 0.993];

fn reversed(pieces: &[Piece]) -> Vec<Piece> {
    pieces
        .iter()
        .rev()
        .map(|&(length, turned)| (length, -turned))
        .collect()
}

/// Out of the paddock, some laps at different speeds, and back in half way round.
fn session(pieces: &[Piece], scales: &[f64], seed: u64) -> Car {
    let mut car = Car::new(Driving::default(), seed);
    car.drive(
        &[(120.0, 0.0), (20.0, -80.0), (90.0, 0.0), (40.0, 60.0)],
        1.0,
    );
    for (index, scale) in scales.iter().enumerate() {
        car.driving.speed = 28.0 + 2.0 * (index % 5) as f64;
        car.driving.lateral = 5.0 + 0.5 * (index % 5) as f64;
        car.drive(pieces, *scale);
    }
    car.drive(&pieces[..pieces.len() / 2], 1.0);
    car.drive(
        &[(25.0, 70.0), (60.0, 0.0), (25.0, -100.0), (140.0, 0.0)],
        1.0,
    );
    car
}

#[track_caller]
fn check_laps(car: &Car, laps: &Laps, pieces: &[Piece], n: usize) {
    assert_eq!(laps.method, Ok(BY_PATH));
    assert_eq!(laps.laps.len(), n);
    let length = length_m(pieces);
    let first = car.true_m_at(laps.laps[0].span.start.seconds());
    for (lap, index) in laps.laps.iter().zip(0..) {
        // Lap lengths are measured ones, so each has the scale error of its lap; what a gap
        // hides is guessed.
        let tolerance = if lap.is_at_least { 0.1 } else { 0.015 };
        assert!((lap.length_m / length - 1.0).abs() < tolerance, "{lap:?}");
        let start = car.true_m_at(lap.span.start.seconds());
        let wanted = first + f64::from(index) * length;
        assert!(
            (start - wanted).abs() < 10.0,
            "lap {} begins {start}, not {wanted}",
            lap.number
        );
    }
    let whole: Vec<f64> = laps
        .laps
        .iter()
        .filter(|lap| !lap.is_at_least)
        .map(|lap| lap.length_m)
        .collect();
    let mean = whole.iter().sum::<f64>() / whole.len() as f64;
    assert!((mean / length - 1.0).abs() < 0.01, "{mean}, true {length}");
}

fn numbers(laps: &Laps, lap: u32) -> Vec<u32> {
    let of_lap = laps.corners.iter().filter(|corner| corner.lap == Some(lap));
    of_lap.map(|corner| corner.number).collect()
}

fn none(laps: &Laps) -> &Reason {
    assert!(laps.laps.is_empty());
    assert!(laps.corners.iter().all(|corner| corner.lap.is_none()));
    laps.method
        .as_ref()
        .expect_err("laps were found where there are none")
}

#[test]
fn laps_of_a_circuit_begin_at_the_same_place_though_distance_drifts() {
    for seed in 1..6 {
        let car = session(&CIRCUIT, &SCALES, seed);
        let laps = car.watched().laps(&gate_at(SD, &[]));
        check_laps(&car, &laps, &CIRCUIT, SCALES.len());
    }
}

#[test]
fn a_corner_has_the_same_number_turn_and_heat_in_every_lap() {
    let car = session(&CIRCUIT, &SCALES, 3);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    let wanted: Vec<u32> = (1..=N_CORNERS as u32).collect();
    let of_first: Vec<_> = laps
        .corners
        .iter()
        .filter(|corner| corner.lap == Some(1))
        .collect();
    for lap in 1..=SCALES.len() as u32 {
        assert_eq!(numbers(&laps, lap), wanted, "lap {lap}");
        for corner in laps.corners.iter().filter(|corner| corner.lap == Some(lap)) {
            let first = of_first[corner.number as usize - 1];
            assert!(
                (corner.turned_deg - first.turned_deg).abs() < 6.0,
                "{corner:?}"
            );
        }
    }
    // The one bend that stands alone on the straights: 95°, heat by turning alone.
    let alone = |corner: &&Corner| corner.lap.is_some() && (corner.turned_deg - 95.0).abs() < 4.0;
    let corners: Vec<&Corner> = laps.corners.iter().filter(alone).collect();
    assert!(corners.len() >= SCALES.len());
    for corner in corners {
        let joules = corner.heat_kj.unwrap() * 1e3;
        let wanted = JOULES_PER_RAD * 95.0_f64.to_radians();
        // But for the ends, which are known to a part of a step.
        assert!(
            (joules - wanted).abs() < 0.03 * wanted,
            "{joules} J, true {wanted}"
        );
    }
}

#[test]
fn laps_and_what_is_outside_them_add_up_to_all_heat() {
    let car = session(&CIRCUIT, &SCALES, 4);
    let watch = car.watched();
    let laps = watch.laps(&gate_at(SD, &[]));
    let gate = gate_at(SD, &[]);
    let path = Path::new(watch.steps.iter().chain(&watch.open), Some(&gate));
    let (first, last) = (
        laps.laps[0].span.start,
        laps.laps[SCALES.len() - 1].span.end,
    );
    let heat_kj = |start_m, end_m| path.heat_kj(start_m, end_m).unwrap();
    let outside_kj =
        heat_kj(0.0, path.distance_m(first)) + heat_kj(path.distance_m(last), path.length_m());
    let sum_kj = outside_kj + laps.laps.iter().filter_map(|lap| lap.heat_kj).sum::<f64>();
    let all_kj = car.rows.iter().filter_map(|row| row.work_j).sum::<f64>() * 1e-3;
    assert!(
        (sum_kj - all_kj).abs() < 1e-5 * all_kj,
        "{sum_kj} kJ, true {all_kj}"
    );
    assert!((heat_kj(0.0, path.length_m()) - all_kj).abs() < 1e-5 * all_kj);
    // Each lap turns by 800° all told.
    for lap in &laps.laps {
        let wanted = JOULES_PER_RAD * 800.0_f64.to_radians() * 1e-3;
        assert!(
            (lap.heat_kj.unwrap() - wanted).abs() < 0.01 * wanted,
            "{lap:?}"
        );
    }
    assert!(
        watch
            .laps(&gate_at(SD, &[Source::Torque]))
            .laps
            .iter()
            .all(|lap| lap.heat_kj.is_none())
    );
}

#[test]
fn an_oval_is_one_lap_not_two_halves() {
    let oval = [(300.0, 0.0), (250.0, 180.0), (300.0, 0.0), (250.0, 180.0)];
    let mut car = Car::new(Driving::default(), 1);
    for scale in SCALES {
        car.drive(&oval, scale);
    }
    let laps = car.watched().laps(&gate_at(SD, &[]));
    check_laps(&car, &laps, &oval, SCALES.len());
    assert_eq!(numbers(&laps, 2), [1, 2]);
}

#[test]
fn a_figure_eight_closes_though_it_turns_by_nothing() {
    // Two arcs of 270° and the straights that cross: a circle of radius r needs straights 2r.
    let radius = 60.0;
    let arc = 1.5 * std::f64::consts::PI * radius;
    let eight = [
        (2.0 * radius, 0.0),
        (arc, 270.0),
        (2.0 * radius, 0.0),
        (arc, -270.0),
    ];
    let mut car = Car::new(Driving::default(), 2);
    for scale in SCALES {
        car.drive(&eight, scale);
    }
    let laps = car.watched().laps(&gate_at(SD, &[]));
    check_laps(&car, &laps, &eight, SCALES.len());
    assert_eq!(numbers(&laps, 2).len(), 2);
}

#[test]
fn bends_that_repeat_and_lead_away_are_no_laps() {
    // A valley road: the same bends to the left and to the right, again and again.
    let valley = [
        (180.0, 0.0),
        (60.0, 60.0),
        (90.0, 0.0),
        (120.0, -100.0),
        (70.0, 0.0),
        (40.0, 40.0),
    ];
    let mut car = Car::new(Driving::default(), 5);
    for _ in 0..6 {
        car.drive(&valley, 1.0);
    }
    assert!(*none(&car.watched().laps(&gate_at(SD, &[]))) == DriveFact::RepeatedPath.into());
}

#[test]
fn out_and_back_is_no_lap() {
    let mut car = Car::new(Driving::default(), 6);
    car.drive(&CIRCUIT, 1.0);
    car.drive(&[(30.0, 180.0)], 1.0);
    car.drive(&reversed(&CIRCUIT), 1.0);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    assert!(*none(&laps) == DriveFact::RepeatedPath.into());
    assert!(laps.corners.len() >= 2 * N_CORNERS);
    assert!(
        laps.corners
            .iter()
            .zip(1..)
            .all(|(corner, number)| corner.number == number)
    );
}

#[test]
fn country_roads_have_no_laps() {
    for seed in 1..30 {
        let mut car = Car::new(Driving::default(), seed);
        for _ in 0..60 {
            let straight = 20.0 + 400.0 * car.random() * car.random();
            let turned = 240.0 * (car.random() - 0.5);
            let radius = 15.0 + 120.0 * car.random();
            car.drive(
                &[
                    (straight, 0.0),
                    (radius * turned.abs().to_radians() + 1.0, turned),
                ],
                1.0,
            );
        }
        assert!(
            *none(&car.watched().laps(&gate_at(SD, &[]))) == DriveFact::RepeatedPath.into(),
            "{seed}"
        );
    }
}

#[test]
fn a_marker_goes_before_the_path() {
    let mut car = Car::new(Driving::default(), 7);
    let mut marks = Vec::new();
    car.drive(&[(150.0, 0.0)], 1.0);
    for scale in SCALES {
        marks.push(car.true_m.last().unwrap() + 100.0);
        car.drive(&CIRCUIT, scale);
    }
    let marked = |skipped: Option<usize>| {
        let mut watch = car.watched();
        watch.note_marker(Time(0), 0.0);
        for (index, at_m) in marks
            .iter()
            .enumerate()
            .filter(|(index, _)| Some(*index) != skipped)
        {
            let time = Time::from_seconds(car.seconds_at(*at_m));
            watch.note_marker(time, 1.0 + index as f64);
            watch.note_oil(time.plus(1.0), 80.0 + index as f64);
        }
        watch.laps(&gate_at(SD, &[]))
    };
    let laps = marked(None);
    assert_eq!(laps.method, Ok(BY_MARKER));
    assert_eq!(laps.laps.len(), marks.len() - 1);
    for (lap, at_m) in laps.laps.iter().zip(&marks) {
        assert_eq!(lap.span.start.seconds(), car.seconds_at(*at_m));
        assert!((lap.length_m / length_m(&CIRCUIT) - 1.0).abs() < 0.015);
    }
    let oil: Vec<_> = laps.laps.iter().filter_map(|lap| lap.oil_max_c).collect();
    assert_eq!(oil, [80.0, 81.0, 82.0, 83.0]);
    assert_eq!(numbers(&laps, 1), numbers(&laps, 4));
    // A mark that did not come: the road says where it would have been.
    let laps = marked(Some(2));
    assert_eq!(laps.laps.len(), marks.len() - 1);
    let start = car.true_m_at(laps.laps[2].span.start.seconds());
    assert!(
        (start - marks[2]).abs() < 10.0,
        "{start}, true {}",
        marks[2]
    );
}

#[test]
fn one_mark_makes_no_lap_so_the_path_decides() {
    let car = session(&CIRCUIT, &SCALES, 8);
    let mut watch = car.watched();
    watch.note_marker(Time(0), 0.0);
    watch.note_marker(Time::from_seconds(60.0), 1.0);
    check_laps(&car, &watch.laps(&gate_at(SD, &[])), &CIRCUIT, SCALES.len());
}

#[test]
fn a_lap_with_a_gap_stays_a_lap_and_says_at_least() {
    let mut car = session(&CIRCUIT, &SCALES, 9);
    let whole = car.watched().laps(&gate_at(SD, &[]));
    let swallowed = whole
        .corners
        .iter()
        .find(|corner| corner.lap == Some(2) && corner.turned_deg < -120.0)
        .unwrap()
        .number;
    // The third corner of the third lap, 150°, with some straight on both sides.
    let from_m = 270.0 + 2.0 * length_m(&CIRCUIT) + 850.0;
    car.cut(from_m, from_m + 110.0);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    check_laps(&car, &laps, &CIRCUIT, SCALES.len());
    for (lap, before) in laps.laps.iter().zip(&whole.laps) {
        let is_cut = lap.number == 3;
        assert_eq!(lap.is_at_least, is_cut, "{lap:?}");
        let lost_kj = before.heat_kj.unwrap() - lap.heat_kj.unwrap();
        assert!(
            if is_cut {
                lost_kj > 0.05
            } else {
                lost_kj.abs() < 1e-3
            },
            "{lap:?} {lost_kj}"
        );
    }
    // The corner that the gap swallowed is missed, and its number is not used for another.
    assert_eq!(numbers(&laps, 2), [1, 2, 3, 4, 5, 6, 7]);
    assert_eq!(
        numbers(&laps, 3),
        numbers(&laps, 2)
            .into_iter()
            .filter(|number| *number != swallowed)
            .collect::<Vec<_>>()
    );
    // With less lost, the corner is there and says that it is not all.
    let mut car = session(&CIRCUIT, &SCALES, 9);
    car.cut(from_m + 20.0, from_m + 40.0);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    let broken: Vec<_> = laps
        .corners
        .iter()
        .filter(|corner| corner.is_at_least)
        .map(|corner| (corner.lap, corner.number))
        .collect();
    assert_eq!(broken, [(Some(3), swallowed)]);
}

#[test]
fn the_line_does_not_wander_over_many_laps() {
    let scales: Vec<f64> = (0..40)
        .map(|lap| 1.0 + 0.01 * f64::from(lap * 7 % 5 - 2) / 2.0)
        .collect();
    let car = session(&CIRCUIT, &scales, 15);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    check_laps(&car, &laps, &CIRCUIT, scales.len());
}

#[test]
fn a_gap_is_bridged_by_the_speed_around_it() {
    let mut car = session(&CIRCUIT, &SCALES, 16);
    // On the straight of 260 m.
    let from_m = 270.0 + length_m(&CIRCUIT) + 650.0;
    car.cut(from_m, from_m + 150.0);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    let lap = &laps.laps[1];
    assert!(lap.is_at_least);
    assert!(
        (lap.length_m / length_m(&CIRCUIT) - 1.01).abs() < 0.01,
        "{lap:?}"
    );
}

#[test]
fn without_torque_there_are_laps_but_no_heat() {
    let mut car = session(&CIRCUIT, &SCALES, 13);
    for row in &mut car.rows {
        row.work_j = None;
    }
    let laps = car.watched().laps(&gate_at(SD, &[Source::Torque]));
    check_laps(&car, &laps, &CIRCUIT, SCALES.len());
    assert!(
        laps.laps
            .iter()
            .all(|lap| lap.heat_kj.is_none() && !lap.is_at_least)
    );
}

#[test]
fn a_square_driven_round_in_the_paddock_is_not_the_circuit() {
    let mut car = Car::new(Driving::default(), 14);
    for _ in 0..2 {
        car.drive(&[(80.0, 0.0), (20.0, 90.0)].repeat(4), 1.0);
    }
    car.drive(
        &[(120.0, 0.0), (20.0, -80.0), (90.0, 0.0), (40.0, 60.0)],
        1.0,
    );
    for scale in SCALES {
        car.drive(&CIRCUIT, scale);
    }
    check_laps(
        &car,
        &car.watched().laps(&gate_at(SD, &[])),
        &CIRCUIT,
        SCALES.len(),
    );
}

#[test]
fn what_is_missing_is_said() {
    let mut car = session(&CIRCUIT, &SCALES, 10);
    let reason = |car: &Car| none(&car.watched().laps(&gate_at(SD, &[]))).to_string();
    for row in &mut car.rows {
        row.yaw_rate = None;
    }
    assert!(reason(&car).contains("neither a yaw rate"));
    for row in &mut car.rows {
        row.road_speed = None;
    }
    assert!(reason(&car).contains("no road speed"));
    car.rows.clear();
    assert!(reason(&car).contains("no road speed"));
    car.drive(&[(150.0, 90.0), (150.0, 0.0)], 1.0);
    assert!(reason(&car).contains("too short"));
}

#[test]
fn memory_is_bounded_and_a_drive_of_400_km_says_why_it_has_no_laps() {
    let mut watch = PathWatch::new();
    let mut car = Car::new(
        Driving {
            period_s: 0.1,
            ..Driving::default()
        },
        11,
    );
    let n_laps = (400_000.0 / length_m(&CIRCUIT)).ceil() as u64;
    for _ in 0..n_laps {
        car.drive(&CIRCUIT, 1.0);
        for row in car.rows.drain(..) {
            watch.add(&row);
        }
        assert!(watch.steps.len() <= MOST_STEPS);
    }
    let laps = watch.laps(&gate_at(SD, &[]));
    assert_eq!(*none(&laps), DriveFact::ShortPath.into());
    assert!(laps.corners.is_empty());
    let wanted = n_laps * N_CORNERS as u64;
    assert!(
        laps.n_corners.abs_diff(wanted) < wanted / 10,
        "{}, true {wanted}",
        laps.n_corners
    );
    assert!(
        size_of::<Step>() <= 104,
        "{} bytes a step",
        size_of::<Step>()
    );
}

#[test]
fn long_laps_are_found_too() {
    // 14 km, as a road circuit in the hills has it: bends drawn once, then driven four times.
    let mut dice = Car::new(Driving::default(), 77);
    let mut pieces: Vec<Piece> = Vec::new();
    let mut turned = 0.0;
    while length_m(&pieces) < 13_500.0 {
        let angle = 200.0 * (dice.random() - 0.5);
        turned += angle;
        pieces.push((30.0 + 300.0 * dice.random(), 0.0));
        pieces.push((20.0 + 0.9 * angle.abs(), angle));
    }
    // It turns once round in the end.
    while (360.0 - turned).abs() > 1.0 {
        let angle = (360.0 - turned).clamp(-90.0, 90.0);
        turned += angle;
        pieces.extend([(60.0, angle), (80.0, 0.0)]);
    }
    let mut car = Car::new(
        Driving {
            yaw_bias: 0.001,
            ..Driving::default()
        },
        12,
    );
    for scale in [1.0, 0.99, 1.01, 1.0] {
        car.drive(&pieces, scale);
    }
    let laps = car.watched().laps(&gate_at(SD, &[]));
    check_laps(&car, &laps, &pieces, 4);
}

/// A closed course: its length, its width and its height, m, by its own drawing.
fn extent(course: &Course) -> (f64, f64, f64) {
    let ends = |axis: usize| {
        let values = course.outline_m.iter().map(|point| point[axis]);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        high - low
    };
    let course_m = course.cell_m * (course.outline_m.len() - 1) as f64;
    (course_m, ends(0), ends(1))
}

#[test]
fn the_course_has_the_shape_of_the_road_and_its_heat_where_it_was_made() {
    let half = 80.0 * std::f64::consts::PI;
    let stadium: [Piece; 6] = [
        (200.0, 0.0),
        (half, 180.0),
        (300.0, 0.0),
        (0.5 * half, 90.0),
        (0.5 * half, 90.0),
        (100.0, 0.0),
    ];
    let car = session(&stadium, &SCALES, 5);
    let course = car
        .watched()
        .laps(&gate_at(SD, &[]))
        .course
        .expect("it closes");
    let (course_m, width_m, height_m) = extent(&course);
    let near = |got: f64, true_m: f64| (got / true_m - 1.0).abs() < 0.03;
    assert!(near(course_m, length_m(&stadium)), "{course_m}");
    // Straights of 300 m with half rings of 80 m, however the course lies.
    let (long, short) = (width_m.max(height_m), width_m.min(height_m));
    assert!(near(long, 460.0) && near(short, 160.0), "{long} by {short}");
    let first = course.outline_m[0];
    let last = course.outline_m[course.outline_m.len() - 1];
    assert!((first[0] - last[0]).hypot(first[1] - last[1]) < 1e-6);
    // Heat goes with the turning: all of it in the rings, 40 J for each of 2π rad.
    let heat = course.heat_j_per_m.expect("the torque is known");
    let all_j: f64 = heat.iter().sum::<f64>() * course.cell_m;
    assert!(
        near(all_j, JOULES_PER_RAD * std::f64::consts::TAU),
        "{all_j}"
    );
    let in_rings = heat
        .iter()
        .filter(|heat| **heat > 0.25 * JOULES_PER_RAD / 80.0);
    let ring_m = in_rings.count() as f64 * course.cell_m;
    assert!((ring_m / (2.0 * half) - 1.0).abs() < 0.06, "{ring_m}");
    assert!(
        course.by_lap.len() >= SCALES.len() - 1,
        "{}",
        course.by_lap.len()
    );
}

#[test]
fn a_path_that_does_not_close_has_no_course() {
    // The made-up circuit turns once round, and its ends lie apart.
    let car = session(&CIRCUIT, &SCALES, 5);
    let laps = car.watched().laps(&gate_at(SD, &[]));
    assert!(laps.laps.len() >= SCALES.len() - 1 && laps.course.is_none());
}
