//! Each limit just above and just below: drives that differ in the one thing that a limit is
//! compared with, a fourteenth to each side of the number that the rule states.
//!
//! The numbers stand here by hand, so a limit that is moved, or compared with something else, or
//! the wrong way round, fails. Limits that have no such drive yet are listed in
//! `tests/mutations/limits-not-held.txt`.

use super::*;
use crate::findings::{
    actuator_not_moving, command_chatter, does_not_grip, dragging_pack, front_rear_mismatch,
    judder, lazy_actuator, losing_pressure, oil_too_hot, protection_mode, repeated_launches,
    torque_report_disagrees, working_on_the_straight,
};
use crate::limits::{Driving, Oil};
use crate::nouns::{Region, Severity};
use crate::partial::is_in_bend;
use crate::testing::row;
use halfshaft_driveline::{RatioSlide, RatioStep, Row};
use halfshaft_model::Block;
use std::f64::consts::TAU;

/// So far to each side, as a share.
const ASIDE: f64 = 0.07;

/// Fires, or not, for what is compared with a limit.
type Fires = fn(f64) -> bool;

#[track_caller]
fn above(limit: &str, value: f64, fires: Fires) {
    assert!(!fires(value * (1.0 - ASIDE)), "{limit}: below {value}");
    assert!(fires(value * (1.0 + ASIDE)), "{limit}: above {value}");
}

#[track_caller]
fn below(limit: &str, value: f64, fires: Fires) {
    assert!(fires(value * (1.0 - ASIDE)), "{limit}: below {value}");
    assert!(!fires(value * (1.0 + ASIDE)), "{limit}: above {value}");
}

/// So many are enough and one less is not.
#[track_caller]
fn from(limit: &str, count: u32, fires: Fires) {
    assert!(!fires(f64::from(count - 1)), "{limit}: fewer than {count}");
    assert!(fires(f64::from(count)), "{limit}: {count}");
}

/// Rows every 10 ms, each changed by its time, which gives the region too.
fn passed(
    scene: &Scene,
    entry: &Entry,
    seconds: f64,
    change: impl Fn(f64, &mut Row) -> Region,
) -> bool {
    let mut check = scene.check(entry);
    for index in 0..(100.0 * seconds).round() as i32 {
        let time = f64::from(index) * 0.01;
        let mut row = row(time);
        let region = change(time, &mut row);
        check.note(&row);
        check.note_region(&row, region);
    }
    check.outcome(&scene.drive()).ok().flatten().is_some()
}

fn fired(scene: &Scene, entry: &Entry) -> Option<Severity> {
    let fired = scene.outcome(entry).ok().flatten();
    fired.map(|fired| fired.severity)
}

/// Asks for 0.8 three times for so long, every five seconds.
fn not_moving(asked_s: f64, state: impl Fn(f64) -> f64) -> bool {
    let scene = Scene {
        actuator: with_motor(Motor::default()),
        ..Scene::whole()
    };
    passed(&scene, &actuator_not_moving::ENTRY, 15.0, |time, row| {
        let is_asked = (2.0..2.0 + asked_s).contains(&(time % 5.0));
        row.command = Some(if is_asked { 0.8 } else { 0.0 });
        row.state = Some(state(time));
        Region::Free
    })
}

#[test]
fn an_actuator_that_does_not_move() {
    above("actuator.asked_s", 1.0, |seconds| {
        not_moving(seconds, |_| 0.02)
    });
    above("actuator.short_by", 0.2, |short| {
        not_moving(2.0, |_| 0.8 - short)
    });
    // To and fro ten times a second.
    below("actuator.still_below", 0.05, |moves| {
        not_moving(2.0, |time| {
            0.02 + moves * (10.0 * time).floor().rem_euclid(2.0)
        })
    });
}

/// Bends of so long, ten seconds apart, asked for 0.9 and slipping on.
fn no_grip(n: f64, each_s: f64, change: impl Fn(&mut Row)) -> bool {
    let scene = Scene::whole();
    passed(&scene, &does_not_grip::ENTRY, 10.0 * n, |time, row| {
        row.road_speed = Some(60.0 * 0.32);
        if time % 10.0 >= each_s - 0.005 {
            return Region::Free;
        }
        (row.command, row.state) = (Some(0.9), Some(0.88));
        row.kinematic_difference = Some(2.0);
        (row.difference_mean, row.slip_mean) = (1.9, 0.95);
        row.torque_nm = Some(800.0);
        change(row);
        Region::AskedNotHolding
    })
}

/// What the check says by the tyres alone, of a pack that holds so much.
fn held_over_stated(over: f64, change: impl Fn(&mut Shape)) -> Outcome {
    let mut shape = Shape::default();
    shape.is_weak = true;
    shape.n_commanded = 60;
    shape.over_stated = over;
    change(&mut shape);
    let scene = Scene {
        held: Ok(found_held(Some(shape), None)),
        ..Scene::whole()
    };
    scene.outcome(&does_not_grip::ENTRY)
}

#[test]
fn a_pack_that_does_not_grip() {
    from("grip.occurrences", 3, |n| no_grip(n, 3.0, |_| ()));
    above("grip.least_s", 0.5, |seconds| no_grip(4.0, seconds, |_| ()));
    above("grip.follows", 0.8, |share| {
        no_grip(4.0, 3.0, |row| row.state = Some(0.9 * share))
    });
    above("holding.asked_for_all", 0.8, |command| {
        no_grip(4.0, 3.0, |row| {
            (row.command, row.state) = (Some(command), Some(command))
        })
    });
    above("holding.opportunity_rad_per_s", 1.0, |difference| {
        no_grip(4.0, 3.0, |row| {
            (row.kinematic_difference, row.difference_mean) = (Some(0.5), difference);
        })
    });
    // Derived: of 2 rad/s at 60 rad/s a bias T takes 60·T/(80 kN·0.32 m), and T may be 1.7 times less.
    above("holding.fall", 0.30, |share| {
        no_grip(4.0, 3.0, |row| {
            row.torque_nm = Some(1.7 * share * 2.0 * 80e3 * 0.32 / 60.0)
        })
    });
    above("grip.could_hold_room", 1.7, |room| {
        no_grip(4.0, 3.0, |row| {
            row.torque_nm = Some(room * 0.30 * 2.0 * 80e3 * 0.32 / 60.0)
        })
    });
    // The slower wheel turns at 60 − 1.9/2 rad/s.
    below("grip.both_spin", 0.05, |ahead| {
        no_grip(4.0, 3.0, |row| {
            row.road_speed = Some(59.05 * 0.32 / (1.0 + ahead))
        })
    });
    below("grip.held_act", 0.6, |over| {
        severity_of(&held_over_stated(over, |_| ())) == Some(Severity::Act)
    });
    below("grip.held_look", 0.8, |over| {
        severity_of(&held_over_stated(over, |_| ())).is_some()
    });
    from("grip.held_pieces", 8, |n| {
        severity_of(&held_over_stated(0.2, |shape| {
            shape.n_commanded = n as usize
        }))
        .is_some()
    });
    // Derived: 0.8 over the doubt of the ratio.
    above("grip.must_show", 0.5, |share| {
        let sd = (0.8 / share).ln() / 1.645;
        held_over_stated(1.0, |shape| shape.over_stated_sd = sd) == Ok(None)
    });
}

fn losing_pressure(change: impl Fn(&mut Calibration)) -> bool {
    let mut scene = Scene::whole();
    scene.calibration = calibration(Ok(RatioEstimate {
        ratio_log: 0.0,
        sd: 1e-4,
        low: -1e-3,
        high: 1e-3,
        grade_factor: 0.8,
    }));
    change(&mut scene.calibration);
    fired(&scene, &losing_pressure::ENTRY) == Some(Severity::Stop)
}

#[test]
fn a_tyre_that_loses_pressure() {
    above("tyres.pressure_step", 0.003, |size| {
        losing_pressure(|calibration| {
            calibration.step = Some(RatioStep {
                km: 12.0,
                time: Time::from_seconds(600.0),
                before: 0.0,
                after: -size,
            });
        })
    });
    above("tyres.pressure_slope_per_km", 0.0005, |slope| {
        losing_pressure(|calibration| {
            calibration.slide = Some(RatioSlide {
                km: 4.0,
                time: Time::from_seconds(200.0),
                per_km: (slope, 0.0),
                change: 20.0 * slope,
            });
        })
    });
}

/// A bend of 4 s, held by the open pack or not.
fn bend(row: &mut Row, is_held: bool, within: f64) -> Region {
    (row.case_speed, row.front_speed) = (30.0, Some(30.0));
    if within >= 4.0 {
        return Region::Free;
    }
    let openness = if is_held { 0.2 } else { 0.95 };
    row.kinematic_difference = Some(2.0);
    row.openness = Some(openness);
    row.road_referred_difference = 2.0 * openness;
    match is_held && within >= 2.0 {
        true => Region::HoldingUnasked,
        false => Region::Free,
    }
}

/// Ten bends, the last of them held by the open pack.
fn drags(scene: &Scene, n_held: f64, change: impl Fn(bool, &mut Row)) -> bool {
    passed(scene, &dragging_pack::ENTRY, 100.0, |time, row| {
        let (is_held, within) = (time >= 100.0 - 10.0 * n_held, time % 10.0);
        let region = bend(row, is_held, within);
        if within < 4.0 {
            change(is_held, row);
        }
        region
    })
}

fn severity_of(outcome: &Outcome) -> Option<Severity> {
    let fired = outcome.as_ref().ok()?.as_ref()?;
    Some(fired.severity)
}

/// The torque at the axle never falls below so much by the tyres.
fn drags_by_tyres(resting_nm: Option<f64>, low_nm: f64) -> Option<Severity> {
    let mut shape = Shape::default();
    shape.resting_nm = resting_nm;
    shape.drag_nm = [low_nm; 3];
    let scene = Scene {
        held: Ok(found_held(Some(shape), None)),
        ..Scene::whole()
    };
    severity_of(&scene.outcome(&dragging_pack::ENTRY))
}

#[test]
fn a_pack_that_drags() {
    above("drag.held_nm", 150.0, |held_nm| {
        drags_by_tyres(Some(80.0), held_nm).is_some()
    });
    above("drag.held_ratio", 1.3, |ratio| {
        drags_by_tyres(Some(200.0), 200.0 * ratio).is_some()
    });
    above("drag.held_unstated_nm", 280.0, |held_nm| {
        drags_by_tyres(None, held_nm).is_some()
    });
    // Bends of 4 s every 5 s, the first three of them held.
    above("drag.held_share", 0.15, |share| {
        let scene = Scene::whole();
        passed(&scene, &dragging_pack::ENTRY, 15.0 / share, |time, row| {
            bend(row, time < 15.0, time % 5.0)
        })
    });
    from("drag.bends", 3, |n| drags(&Scene::whole(), n, |_, _| ()));
    // Derived: 600 N·m take 30·600/(80 kN·0.32 m) = 0.703 rad/s of 2, and leave 0.648.
    above("drag.below_preload", 0.25, |by| {
        let mut scene = Scene::whole();
        scene.basis.preload_nm = 600.0;
        drags(&scene, 4.0, |is_held, row| {
            if is_held {
                row.openness = Some(0.6484 - by);
            }
        })
    });
    // Held, 1.6 rad/s of the bend's 2 are missing.
    below("drag.ahead_share", 0.25, |share| {
        drags(&Scene::whole(), 4.0, |is_held, row| {
            row.case_speed += if is_held { 1.6 * share } else { 0.0 };
        })
    });
    above("holding.openness_below", 0.5, |openness| {
        drags(&Scene::whole(), 4.0, |is_held, row| {
            if !is_held {
                row.openness = Some(openness);
            }
        })
    });
}

/// The pack slips for the first part of every ten seconds, the first `n` of them.
fn works(seconds: f64, n: f64, working_s: f64, change: impl Fn(bool, &mut Row)) -> bool {
    works_in(&Scene::whole(), seconds, n, working_s, change)
}

fn works_in(
    scene: &Scene,
    seconds: f64,
    n: f64,
    working_s: f64,
    change: impl Fn(bool, &mut Row),
) -> bool {
    passed(
        scene,
        &working_on_the_straight::ENTRY,
        seconds,
        |time, row| {
            let is_working = time % 10.0 < working_s - 0.005 && time < 10.0 * n;
            row.torque_nm = Some(if is_working { 400.0 } else { 10.0 });
            row.slip_sharp = 0.5;
            change(is_working, row);
            Region::Free
        },
    )
}

fn with_preload(preload_nm: f64) -> Scene {
    let mut scene = Scene::whole();
    scene.basis.preload_nm = preload_nm;
    scene.basis.resting_nm = Some(preload_nm);
    scene
}

#[test]
fn a_pack_that_slips_on_the_straight() {
    above("straight.partial_share", 0.10, |share| {
        works(100.0, 10.0, 10.0 * share, |_, _| ())
    });
    above("straight.least_s", 60.0, |seconds| {
        works(seconds, 9.0, 3.0, |_, _| ())
    });
    from("straight.occurrences", 3, |n| {
        works(80.0, n, 4.5, |_, _| ())
    });
    above("straight.sustained_s", 5.0, |seconds| {
        works(65.0, 2.0, seconds, |_, _| ())
    });
    above("straight.from_km_per_h", 50.0, |km_per_h| {
        works(100.0, 10.0, 3.0, |_, row| {
            row.road_speed = Some(km_per_h / 3.6)
        })
    });
    above("straight.radius_m", 500.0, |radius_m| {
        works(100.0, 10.0, 3.0, |_, row| {
            row.yaw_rate = Some(20.0 / radius_m)
        })
    });
    below("straight.difference_rad_per_s", 0.3, |difference| {
        works(100.0, 10.0, 3.0, |_, row| {
            row.kinematic_difference = Some(difference)
        })
    });
    below("slip.event_from_rad_per_s", 1.5, |excess| {
        works(100.0, 10.0, 3.0, |_, row| {
            row.road_referred_difference = excess
        })
    });
    above("slip.working_rad_per_s", 0.3, |slip| {
        works(100.0, 10.0, 3.0, |_, row| row.slip_sharp = slip)
    });
    above("slip.torque_floor_nm", 50.0, |torque_nm| {
        works_in(&with_preload(0.0), 100.0, 10.0, 3.0, |is_working, row| {
            row.torque_nm = Some(if is_working { torque_nm } else { 0.0 });
        })
    });
    above("slip.torque_floor_preloads", 1.5, |preloads| {
        works_in(&with_preload(80.0), 100.0, 10.0, 3.0, |is_working, row| {
            row.torque_nm = Some(if is_working { 80.0 * preloads } else { 0.0 });
        })
    });
    above("slip.command_floor", 0.10, |command| {
        works(100.0, 10.0, 3.0, |is_working, row| {
            row.torque_nm = None;
            row.command = Some(if is_working { command } else { 0.0 });
        })
    });
}

/// Hot oil; every ten seconds the command falls away while the wheels differ by 4 rad/s.
fn protects(n: f64, throttle: f64, change: impl Fn(f64, &mut Row)) -> bool {
    let mut scene = Scene::whole();
    scene.channels.push(ChannelSpec::new("throttle"));
    let mut check = scene.check(&protection_mode::ENTRY);
    for index in 0..(1000.0 * n) as i32 {
        let time = f64::from(index) * 0.01;
        let mut row = row(time);
        check.note_oil(row.time, 110.0);
        let mut block = Block::new(scene.channels.len());
        block.columns[scene.channels.len() - 1].push(row.time, Some(throttle));
        block.until = row.time;
        check.note_block(&block);
        let within = time % 10.0;
        row.command = Some(if within < 5.0 { 0.6 } else { 0.0 });
        let is_needed = (4.0..8.0).contains(&within);
        row.road_referred_difference = if is_needed { 4.0 } else { 0.0 };
        change(within, &mut row);
        check.note(&row);
    }
    check.outcome(&scene.drive()).ok().flatten().is_some()
}

#[test]
fn a_controller_that_saves_the_clutch() {
    from("protection.occurrences", 3, |n| protects(n, 0.8, |_, _| ()));
    above("protection.throttle_from", 0.4, |throttle| {
        protects(4.0, throttle, |_, _| ())
    });
    above("protection.command_from", 0.2, |command| {
        protects(4.0, 0.8, |within, row| {
            row.command = Some(if within < 5.0 { command } else { 0.0 });
        })
    });
    above("protection.excess_rad_per_s", 1.0, |excess| {
        protects(4.0, 0.8, |_, row| {
            row.road_referred_difference *= excess / 4.0;
        })
    });
    above("protection.stays_s", 0.5, |seconds| {
        protects(4.0, 0.8, |within, row| {
            if within >= 5.0 + seconds {
                row.road_referred_difference = 0.0;
            }
        })
    });
    // At a tenth on its way down.
    below("protection.within_s", 0.5, |seconds| {
        protects(4.0, 0.8, |within, row| {
            if (5.0..5.0 + seconds).contains(&within) {
                row.command = Some(0.1);
            }
        })
    });
}

/// Slow turns of 3 s, ten seconds apart; the slip swings by 2 rad/s.
fn judders(n: f64, hz: f64, change: impl Fn(f64, &mut Row)) -> bool {
    passed(&Scene::whole(), &judder::ENTRY, 10.0 * n, |time, row| {
        row.command = Some(0.5);
        // One and a half turns a second: twice as much is far below any swing here.
        (row.road_speed, row.case_speed) = (Some(3.0), 1.5 * TAU);
        if time % 10.0 < 3.0 {
            row.kinematic_difference = Some(2.0);
            row.torque_nm = Some(150.0);
            row.slip = 1.0 + 2.0 * (TAU * hz * time).sin();
        }
        change(time, row);
        Region::Free
    })
}

#[test]
fn stick_and_slip() {
    from("judder.turns", 3, |n| judders(n, 12.0, |_, _| ()));
    above("judder.from_hz", 5.0, |hz| judders(5.0, hz, |_, _| ()));
    below("judder.to_hz", 25.0, |hz| judders(5.0, hz, |_, _| ()));
    below("judder.below_km_per_h", 30.0, |km_per_h| {
        judders(5.0, 12.0, |_, row| row.road_speed = Some(km_per_h / 3.6))
    });
    below("judder.command_swing", 0.1, |swing| {
        judders(5.0, 12.0, |time, row| {
            row.command = Some(0.5 + 0.5 * swing * (TAU * 12.0 * time).sin());
        })
    });
    above("judder.amplitude_rad_per_s", 1.0, |amplitude| {
        judders(5.0, 12.0, |time, row| {
            row.slip = 1.0 + amplitude * (TAU * 12.0 * time).sin();
        })
    });
}

/// Driving straight at 20 m/s, the front wheels faster by a share.
fn front_rear(seconds: f64, change: impl Fn(f64, &mut Row)) -> bool {
    passed(
        &Scene::whole(),
        &front_rear_mismatch::ENTRY,
        seconds,
        |time, row| {
            row.front_speed = Some(60.0 * 1.015);
            change(time, row);
            Region::Free
        },
    )
}

#[test]
fn tyres_of_front_and_rear() {
    above("tyres.front_rear", 0.010, |share| {
        front_rear(200.0, |_, row| row.front_speed = Some(60.0 * share.exp()))
    });
    above("tyres.front_rear_least_km", 2.0, |km| {
        front_rear(1000.0 * km / 20.0, |_, _| ())
    });
    below("tyres.front_rear_steady_m_per_s2", 0.5, |acceleration| {
        front_rear(200.0, |time, row| {
            row.road_speed = Some(20.0 + acceleration * time)
        })
    });
    // Half a minute higher, half a minute lower.
    below("tyres.front_rear_scatter", 0.006, |scatter| {
        front_rear(200.0, |time, row| {
            let side = if time % 50.0 < 25.0 { 0.5 } else { -0.5 };
            row.front_speed = Some(60.0 * (0.015 + side * scatter).exp());
        })
    });
}

/// 20 s of a torque that the table and the car give; time and table to the car's.
fn torques_differ(seconds: f64, table: impl Fn(f64) -> f64, report: impl Fn(f64) -> f64) -> bool {
    let scene = torque_by_table_and_car();
    let mut check = scene.check(&torque_report_disagrees::ENTRY);
    for index in 0..(100.0 * seconds) as i32 {
        let time = f64::from(index) * 0.01;
        let mut row = row(time);
        row.torque_nm = Some(table(time));
        let mut block = Block::new(scene.channels.len());
        block.columns[6].push(row.time, Some(report(time)));
        block.until = row.time;
        check.note_block(&block);
        check.note(&row);
    }
    check.outcome(&scene.drive()).ok().flatten().is_some()
}

#[test]
fn a_torque_that_is_reported_otherwise() {
    above("torque_report.disagreement", 0.25, |less| {
        let report = 400.0 * (1.0 - less);
        torques_differ(20.0, |_| 400.0, |_| report)
    });
    // The first 0.3 s of each steady stretch are left out.
    above("torque_report.least_s", 5.0, |seconds| {
        torques_differ(seconds + 0.3, |_| 400.0, |_| 200.0)
    });
    // Every 0.2 s to and fro: steady only if the swing is none.
    below("torque_report.steady", 0.10, |swing| {
        let table = |time: f64| 400.0 * (1.0 - swing * (5.0 * time).floor().rem_euclid(2.0));
        torques_differ(20.0, table, |_| 200.0)
    });
}

/// Command every 10 ms while cruising at 20 m/s.
fn hunts(seconds: f64, change: impl Fn(f64, &mut Row)) -> bool {
    passed(
        &Scene::whole(),
        &command_chatter::ENTRY,
        seconds,
        |time, row| {
            change(time, row);
            Region::Free
        },
    )
}

/// Up and down by `swing`, ten reversals a second.
fn swings(time: f64, swing: f64) -> f64 {
    0.4 + swing * (2.0 * (5.0 * time).fract() - 1.0).abs()
}

#[test]
fn a_command_that_hunts() {
    above("chatter.swing", 0.10, |swing| {
        hunts(20.0, |time, row| row.command = Some(swings(time, swing)))
    });
    above("chatter.lasts_s", 2.0, |seconds| {
        hunts(20.0, |time, row| {
            let is_on = (10.0..10.15 + seconds).contains(&time);
            row.command = Some(if is_on { swings(time, 0.3) } else { 0.4 });
        })
    });
    below("chatter.spinning_share", 0.1, |share| {
        hunts(30.0, |time, row| {
            row.command = Some(swings(time, 0.3));
            row.road_referred_difference = if time % 1.0 < share { 3.0 } else { 0.0 };
        })
    });
    above("chatter.cruise_from_km_per_h", 50.0, |km_per_h| {
        hunts(420.0, |time, row| {
            row.command = Some(if time % 5.0 < 1.0 { 0.3 } else { 0.0 });
            row.road_speed = Some(km_per_h / 3.6);
        })
    });
    below("chatter.cruise_steady_m_per_s2", 0.5, |acceleration| {
        hunts(310.0, |time, row| {
            row.command = Some(if time % 1.0 < 0.5 { 0.3 } else { 0.0 });
            row.road_speed = Some(20.0 + acceleration * time);
        })
    });
    above("chatter.cruise_least_km", 5.0, |km| {
        hunts(1.0 + 1000.0 * km / 20.0, |time, row| {
            row.command = Some(if time % 5.0 < 1.0 { 0.3 } else { 0.0 });
        })
    });
}

#[test]
fn launches() {
    from("launch.count", 3, |n| {
        passed(
            &Scene::whole(),
            &repeated_launches::ENTRY,
            60.0 * n,
            |time, row| {
                row.road_speed = Some(4.0);
                row.road_referred_difference = if time % 60.0 < 2.0 { 14.0 } else { 0.0 };
                Region::Free
            },
        )
    });
}

/// Closing with a lag of 0.4 s, at that oil and voltage.
fn is_lazy(n: usize, oil_c: f64, volts: f64) -> bool {
    let scene = Scene {
        actuator: answers(n, Direction::Engage, |_| (0.06, 0.4, oil_c, volts)),
        ..Scene::whole()
    };
    fired(&scene, &lazy_actuator::ENTRY).is_some()
}

#[test]
fn when_times_of_the_actuator_count() {
    above("actuator.warm_from_c", 30.0, |celsius| {
        is_lazy(12, celsius, 13.5)
    });
    above("actuator.voltage_from_v", 12.0, |volts| {
        is_lazy(12, 60.0, volts)
    });
    from("actuator.least_steps", 10, |n| {
        is_lazy(n as usize, 60.0, 13.5)
    });
}

#[test]
fn oil_that_jumps_or_is_silent() {
    // Within a tenth of a second, and over ten.
    above("oil.jump_k", 10.0, |kelvin| {
        Oil::default().is_jump(kelvin, 0.1)
    });
    above("oil.slew_k_per_s", 5.0, |per_s| {
        Oil::default().is_jump(-10.0 * per_s, 10.0)
    });
    // A minute at 135 °C, sampled so seldom.
    below("oil.reach_s", 5.0, |every_s| {
        let scene = Scene::whole();
        let mut check = scene.check(&oil_too_hot::ENTRY);
        for index in 0..12 {
            check.note_oil(Time::from_seconds(every_s * f64::from(index)), 135.0);
        }
        check.outcome(&scene.drive()).ok().flatten().is_some()
    });
}

/// Whether a bend of that radius at that speed counts, with that preload.
fn is_bend(radius_m: f64, speed: f64, preload_nm: f64) -> bool {
    let mut row = row(1.0);
    (row.road_speed, row.yaw_rate) = (Some(speed), Some(-speed / radius_m));
    is_in_bend(&row, &with_preload(preload_nm).setup().partial)
}

#[test]
fn what_counts_as_a_bend() {
    below("driving.bend_radius_m", 150.0, |radius_m| {
        is_bend(radius_m, 15.0, 0.0)
    });
    above("driving.moving_from_km_per_h", 5.0, |km_per_h| {
        is_bend(10.0, km_per_h / 3.6, 0.0)
    });
    // Derived: the compliance of the tyres takes T/(C·r) of the wheel speed, the bend makes W/R.
    above("driving.compliance_margin", 10.0, |margin| {
        is_bend(1.55 * 80e3 * 0.32 / (margin * 400.0), 8.0, 400.0)
    });
    // A wheel that turns backwards slower than this stands.
    below("driving.wheel_stands_rad_per_s", 0.1, |backwards| {
        let mut row = row(1.0);
        row.case_speed = -backwards;
        crate::evidence::counts(&row, &Driving::default())
    });
}
