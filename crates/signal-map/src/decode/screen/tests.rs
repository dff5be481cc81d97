//! What passes and what is left out, wheel by wheel.

use super::*;
use halfshaft_model::{Column, LeftOut};

/// What a wheel reads at times `period_s` apart, beside others, through a watch: the samples that
/// stay, and what was left out.
struct Drive {
    period_s: f64,
    step: f64,
    others: fn(f64) -> [f64; 3],
}

const STEADY: Drive = Drive {
    period_s: 0.01,
    step: 0.01,
    others: |_| [50.0; 3],
};

impl Drive {
    fn watched(&self, channel: &str, values: &[Option<f64>]) -> (Vec<f64>, Vec<LeftOut>) {
        let mut spec = ChannelSpec::new(channel);
        spec.step = Some(self.step);
        let mut watch = Watch::new(&spec).expect("it is a role");
        let (mut column, mut left_out) = (Column::default(), Vec::new());
        let mut out = Out {
            channel: 0,
            column: &mut column,
            left_out: &mut left_out,
        };
        for (index, value) in values.iter().enumerate() {
            let seconds = index as f64 * self.period_s;
            let time = Time::from_seconds(seconds);
            let [one, two, three] = (self.others)(seconds);
            let others = Others {
                speeds: [f64::NAN, one, two, three, f64::NAN],
                steps: [self.step; N_ROLLING],
            };
            if watch.passes(time, *value) {
                out.column.push(time, *value);
            } else {
                watch.take(time, *value, &others, &mut out);
            }
            watch.expire(time, &mut out);
        }
        watch.end(&mut out);
        (
            column.iter().filter_map(|(_, value)| value).collect(),
            left_out,
        )
    }

    /// Of a wheel whose number is rounded to the step, how many samples are left out.
    #[track_caller]
    fn check(&self, seconds: f64, wheel: impl Fn(f64) -> f64, wanted: &[(Trouble, u64)]) {
        let got = self.judged(seconds, wheel);
        let left_out = got
            .iter()
            .filter(|(trouble, _)| *trouble != Trouble::Suspect);
        assert_eq!(left_out.copied().collect::<Vec<_>>(), wanted);
    }

    /// The same with those that stay and look like bad ones.
    #[track_caller]
    fn check_all(&self, seconds: f64, wheel: impl Fn(f64) -> f64, wanted: &[(Trouble, u64)]) {
        assert_eq!(self.judged(seconds, wheel), wanted);
    }

    #[track_caller]
    fn judged(&self, seconds: f64, wheel: impl Fn(f64) -> f64) -> Vec<(Trouble, u64)> {
        let n = (seconds / self.period_s) as usize;
        let values: Vec<Option<f64>> = (0..n)
            .map(|index| wheel(index as f64 * self.period_s))
            .map(|value| Some((value / self.step).round() * self.step))
            .collect();
        let (stay, left_out) = self.watched("wheel.rear.left", &values);
        let got: Vec<(Trouble, u64)> = left_out.iter().map(|one| (one.trouble, one.n)).collect();
        let n_out: u64 = got
            .iter()
            .filter(|(trouble, _)| *trouble != Trouble::Suspect)
            .map(|(_, n)| n)
            .sum();
        assert_eq!(
            stay.len() as u64 + n_out,
            n as u64,
            "each stays or is left out"
        );
        got
    }
}

fn noise(time: f64) -> f64 {
    0.05 * (1234.5 * time).sin()
}

fn at(time: f64, start: f64) -> bool {
    (time - start).abs() < 0.004
}

#[test]
fn one_sample_out_of_place_is_left_out_whichever_way() {
    for bad in [0.0, 12.3, 45.0, 60.0, 110.0, 300.0] {
        let wheel = |time: f64| {
            if at(time, 3.0) {
                bad
            } else {
                50.0 + noise(time)
            }
        };
        STEADY.check(6.0, wheel, &[(Trouble::StandsOut, 1)]);
    }
    let wheel = |time: f64| match time {
        time if at(time, 3.0) => 90.0,
        time if at(time, 3.01) => 20.0,
        _ => 50.0 + noise(time),
    };
    STEADY.check(
        6.0,
        wheel,
        &[(Trouble::StandsOut, 1), (Trouble::StandsOut, 1)],
    );
    let wheel = |time: f64| {
        if at(time, 3.0) {
            700.0
        } else {
            50.0 + noise(time)
        }
    };
    STEADY.check(6.0, wheel, &[(Trouble::BeyondRange, 1)]);
    // Two of them, both on one side of it.
    let wheel = |time: f64| match time {
        time if at(time, 3.0) => 120.0,
        time if at(time, 3.01) => 250.0,
        _ => 50.0 + noise(time),
    };
    STEADY.check(
        6.0,
        wheel,
        &[(Trouble::StandsOut, 1), (Trouble::StandsOut, 1)],
    );
    // Two near each other.
    let wheel = |time: f64| match time {
        time if at(time, 3.0) => 120.0,
        time if at(time, 3.01) => 130.0,
        _ => 50.0 + noise(time),
    };
    STEADY.check(6.0, wheel, &[(Trouble::StandsOut, 2)]);
    // At standstill, too.
    let wheel = |time: f64| if at(time, 3.0) { 80.0 } else { 0.0 };
    let standing = Drive {
        others: |_| [0.0; 3],
        ..STEADY
    };
    standing.check(6.0, wheel, &[(Trouble::StandsOut, 1)]);
}

#[test]
fn a_signal_that_falls_to_a_number_is_left_out_until_it_moves() {
    for bad in [0.0, 7.5, 260.0] {
        let wheel = |time: f64| {
            if (2.995..3.995).contains(&time) {
                bad
            } else {
                50.0 + noise(time)
            }
        };
        STEADY.check(6.0, wheel, &[(Trouble::DropsOut, 100)]);
    }
}

#[test]
fn a_stuck_wheel_is_left_out_from_its_first_repeat() {
    let rolling = |time: f64| 40.0 + 3.0 * time;
    let drive = Drive {
        others: |time| [40.0 + 3.0 * time; 3],
        ..STEADY
    };
    let wheel = |time: f64| {
        if time < 1.995 {
            rolling(time)
        } else if time < 6.995 {
            45.97
        } else {
            rolling(time)
        }
    };
    drive.check(9.0, wheel, &[(Trouble::Stuck, 500)]);
    // Beside one wheel only.
    let alone = Drive {
        others: |time| [40.0 + 3.0 * time, f64::NAN, f64::NAN],
        ..STEADY
    };
    alone.check(9.0, wheel, &[(Trouble::Stuck, 500)]);
    // The other wheel spins, and the rest of the car goes on as it did.
    let spins = Drive {
        others: |time| [40.0 + 5.0 * time, 40.0, 40.0],
        ..STEADY
    };
    spins.check(9.0, |_| 40.0, &[]);
    // It reads 0 until it wakes, and the car drives off at 2 s.
    let starts = Drive {
        others: |time| [3.0 * (time - 2.0).max(0.0); 3],
        ..STEADY
    };
    let wakes = |at_s: f64| move |time: f64| if time < at_s { 0.0 } else { 3.0 * (time - 2.0) };
    let n_out = |at_s: f64| {
        let values: Vec<Option<f64>> = (0..2000)
            .map(|index| Some(wakes(at_s)(f64::from(index) * 0.01)))
            .collect();
        let (_, left_out) = starts.watched("wheel.rear.left", &values);
        left_out.iter().map(|one| one.n).sum::<u64>()
    };
    // From 1 rad/s of the others on, at 2.34 s, but no more than a second before 3.34 s.
    assert!((464..=467).contains(&n_out(7.0)), "{}", n_out(7.0));
    // On a dolly.
    assert_eq!(n_out(17.0), 0);
}

#[test]
fn rest_steady_speed_and_coarse_steps_are_sound() {
    let spins = Drive {
        others: |time| [10.0 * time, 0.0, 0.0],
        ..STEADY
    };
    spins.check(9.0, |_| 0.0, &[]);
    // 1 km/h steps on a motorway, each wheel with its own; a gentle rise.
    let coarse = Drive {
        step: 0.868,
        others: |time| {
            [0.0, 0.3, 0.6].map(|off| ((90.0 + off + 0.1 * time) / 0.868).round() * 0.868)
        },
        ..STEADY
    };
    coarse.check(60.0, |time| 90.2 + 0.1 * time, &[]);
    // Every sample ten times, as a sheet has it.
    let held = Drive {
        others: |time| [40.0 + 6.0 * ((time * 10.0).floor() / 10.0); 3],
        ..STEADY
    };
    held.check(
        9.0,
        |time| 40.0 + 6.0 * (((time + 0.03) * 10.0).floor() / 10.0),
        &[],
    );
}

#[test]
fn wheelspin_lock_up_and_kerbs_pass_untouched() {
    for period_s in [0.004, 0.01, 0.02, 0.05, 0.1] {
        let drive = Drive { period_s, ..STEADY };
        // Spins up at 400 rad/s² and is caught at 600.
        let spin = |time: f64| {
            let since = time % 1.0;
            50.0 + noise(time) + (400.0 * since).min((0.25 - since) * 600.0).max(0.0)
        };
        drive.check(10.0, spin, &[]);
        // Anti-lock control: ten dips a second and a half, nearly to rest.
        let dips = |time: f64| {
            let since = time % 0.15;
            50.0 + noise(time) - (900.0 * since).min((0.12 - since) * 700.0).clamp(0.0, 45.0)
        };
        drive.check(10.0, dips, &[]);
        // A kerb: three swings of 25 Hz that die away.
        let kerb = |time: f64| {
            let since = time % 1.0;
            50.0 + noise(time) + 9.0 * (-25.0 * since).exp() * (157.0 * since).sin()
        };
        drive.check(10.0, kerb, &[]);
    }
    // Cobbles: noise of 0.5 rad/s.
    let cobbles = |time: f64| {
        let scatter = (time * 12_345.678).sin() * 43_758.545;
        50.0 + 1.7 * (scatter - scatter.floor() - 0.5)
    };
    for period_s in [0.01, 0.02] {
        Drive { period_s, ..STEADY }.check(120.0, cobbles, &[]);
    }
    // Locked within 50 ms while the car brakes at 8 m/s², and held.
    let braked = Drive {
        others: |time| [60.0 - 25.0 * time; 3],
        ..STEADY
    };
    let locks = |time: f64| {
        if time < 0.5 {
            60.0 - 25.0 * time
        } else {
            (47.5 - 950.0 * (time - 0.5)).max(0.0)
        }
    };
    braked.check(2.0, locks, &[]);
}

#[test]
fn slow_samples_show_by_the_other_wheels_whether_one_locked_or_dropped_out() {
    // 0.2 s apart a wheel can lock and roll again between two samples: then the car brakes.
    let dips = |period_s: f64, n: f64, others: fn(f64) -> [f64; 3]| {
        let drive = Drive {
            period_s,
            others,
            ..STEADY
        };
        let until_s = 3.0 + (n - 0.5) * period_s;
        let wheel = move |time: f64| match (3.0 - 0.5 * period_s..until_s).contains(&time) {
            true => 0.0,
            false => others(time)[0] + noise(time),
        };
        (drive, wheel)
    };
    let steady = |_: f64| [20.0; 3];
    // 1.7 and 2.1 m/s² of 0.32 m: 5.2 and 6.5 rad/s each second, with 0.3 rad/s for noise.
    let coasts = |time: f64| [40.0 - 4.4 * time; 3];
    let brakes = |time: f64| [40.0 - 6.5 * time; 3];
    for (n, trouble) in [(1.0, Trouble::StandsOut), (3.0, Trouble::DropsOut)] {
        for others in [steady as fn(f64) -> [f64; 3], coasts] {
            let (drive, wheel) = dips(0.2, n, others);
            drive.check_all(5.0, wheel, &[(trouble, n as u64)]);
        }
        let (drive, wheel) = dips(0.2, n, brakes);
        drive.check_all(5.0, wheel, &[(Trouble::Suspect, n as u64)]);
    }
    // Coarse numbers need longer: three others in steps of 2.6 rad/s may hide 0.9 of it.
    for (n, trouble) in [(2.0, Trouble::Suspect), (6.0, Trouble::DropsOut)] {
        let (drive, wheel) = dips(0.05, n, steady);
        let coarse = Drive { step: 2.6, ..drive };
        let wheel = move |time: f64| if wheel(time) == 0.0 { 0.0 } else { 20.8 };
        let values: Vec<_> = (0..200).map(|i| Some(wheel(f64::from(i) * 0.05))).collect();
        // Unlike numbers, as each is of another tooth.
        let values: Vec<_> = values
            .iter()
            .enumerate()
            .map(|(i, value)| {
                value.map(|v: f64| if v > 0.0 { v + 2.6 * (i % 2) as f64 } else { v })
            })
            .collect();
        let (_, left_out) = coarse.watched("wheel.rear.left", &values);
        let got: Vec<_> = left_out.iter().map(|one| (one.trouble, one.n)).collect();
        assert_eq!(got, [(trouble, n as u64)]);
    }
}

#[test]
fn a_wheel_that_was_bad_beyond_doubt_has_no_benefit_of_it() {
    // A rise and fall of 15 rad/s within 0.1 s may be wheelspin on ice.
    let drive = Drive {
        period_s: 0.05,
        ..STEADY
    };
    let blips = |n_bad: u64| {
        move |time: f64| {
            let place = (time / 0.05).round() as u64;
            match place {
                20 | 40 | 60 if place <= 20 * n_bad => 0.0,
                // What it moved by is forgotten by then.
                110 => 65.0,
                _ => 50.0 + noise(time),
            }
        }
    };
    let (stays, bad) = ((Trouble::Suspect, 1), (Trouble::StandsOut, 1));
    drive.check_all(6.0, blips(0), &[stays]);
    // Each of the dips may be a lock-up, and the car does not slow: three of them are none.
    drive.check_all(6.0, blips(2), &[stays; 3]);
    drive.check_all(6.0, blips(3), &[stays, stays, stays, bad]);
    // A slide of several samples is none that stands alone.
    let slides = |time: f64| match time {
        time if time < 3.9 => blips(3)(time),
        time if (4.5..5.0).contains(&time) => {
            50.0 + 40.0 * (2.0 * std::f64::consts::PI * (time - 4.5)).sin()
        }
        _ => 50.0 + noise(time),
    };
    drive.check_all(6.0, slides, &[stays; 3]);
}

#[test]
fn cuts_missing_samples_and_slow_signals_end_what_waits() {
    // A missing sample behind one that may stand out.
    let values = [Some(50.0), Some(50.1), Some(90.0), None, Some(50.2)];
    let (stay, left_out) = STEADY.watched("wheel.rear.left", &values);
    assert_eq!((stay, left_out.len()), (vec![50.0, 50.1, 50.2], 1));
    // A new level is believed.
    let values: Vec<_> = [50.0, 50.1, 80.0, 80.2, 80.1].map(Some).to_vec();
    let (stay, left_out) = STEADY.watched("wheel.rear.left", &values);
    assert_eq!((stay.len(), left_out.len()), (5, 0));
    // Temperatures have a range, and a command its steps.
    let values: Vec<_> = [20.0, 1e300, -273.0, 21.0].map(Some).to_vec();
    let (stay, left_out) = STEADY.watched("oil.temperature", &values);
    assert_eq!((stay, left_out.len()), (vec![20.0, 21.0], 2));
    let values: Vec<_> = [0.0, 1.0, 0.0, 1.0].map(Some).to_vec();
    assert_eq!(STEADY.watched("clutch.command", &values).0.len(), 4);
}
