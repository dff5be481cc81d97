//! The apparent time: how soon after the command the slip goes away.
//!
//! In: slip, axle speed difference, throttle and control flags around an edge of the
//! command. Out: edge to |slip| at 37 % of its mean before. Named apparent because tyres
//! and driver take part in it. It refuses where there was nothing to lock, where the driver
//! moved the throttle, under anti-lock or stability control, and where the slip that should
//! be left hides in the noise.

use crate::heat_by_floor::SIGNIFICANT_SDS;
use crate::response::Reading;

/// There is something to lock from this axle speed difference on, rad/s. Engineering
/// default.
pub const OPPORTUNITY_RAD_PER_S: f64 = 1.0;
/// Looked for in this time before the edge, s; slip before is the mean over it.
pub const BEFORE_S: f64 = 0.5;
/// Share of the slip before at which it counts as gone: e⁻¹, one lag of a first-order fall.
pub const GONE_AT: f64 = 0.37;
/// The throttle may move by this share of full either way. Engineering default.
pub const THROTTLE_WITHIN: f64 = 0.10;

/// Signals around an edge, each from half a second before it on, in order of time, on one
/// clock in s.
#[derive(Clone, Copy, Debug)]
pub struct Surroundings<'a> {
    /// Time of the edge, s.
    pub edge_s: f64,
    /// Slip of the pack, rad/s.
    pub slip: &'a [Reading],
    /// Axle speed difference, raw or by kinematics, rad/s.
    pub difference: &'a [Reading],
    /// Accelerator pedal, 0 to 1; empty when not logged.
    pub throttle: &'a [Reading],
    /// Anti-lock, traction or stability control was at work at any time.
    pub is_controlled: bool,
    /// Standard deviation of the noise of one slip sample, rad/s, where it is known.
    pub slip_sd: Option<f64>,
    /// Longest interval between slip readings that is no gap, s.
    pub gap_limit_s: f64,
}

/// Why there is no apparent time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotApparent {
    /// No slip was seen before the edge, or a gap lies in it.
    SlipNotSeen,
    /// The axle speed difference stayed below [`OPPORTUNITY_RAD_PER_S`]: not observable.
    NothingToLock,
    /// The throttle was not logged, so whether it was steady is not known.
    ThrottleNotSeen,
    /// The throttle moved.
    ThrottleMoved,
    /// Anti-lock, traction or stability control was at work.
    Controlled,
    /// 37 % of the slip before is within the noise, or its noise is not known.
    LostInNoise,
    /// The slip had fallen so far of itself when the command came.
    GoneBefore,
    /// The slip did not fall so far in the time looked at.
    NeverFell,
}

impl NotApparent {
    /// The reason in words, for after "not told:".
    pub fn text(self) -> &'static str {
        match self {
            NotApparent::SlipNotSeen => "slip was not seen without a gap",
            NotApparent::NothingToLock => {
                "there was nothing to lock: the wheels turned alike before the command"
            }
            NotApparent::ThrottleNotSeen => "the throttle was not logged",
            NotApparent::ThrottleMoved => "the throttle moved by more than 10 % of full",
            NotApparent::Controlled => "anti-lock or stability control was at work",
            NotApparent::LostInNoise => "the slip to be left lies within the noise",
            NotApparent::GoneBefore => "the slip had fallen before the command",
            NotApparent::NeverFell => "the slip did not fall to 37 % of what it was",
        }
    }
}

/// The apparent time, s: from the edge to where |slip| first falls to [`GONE_AT`] of its
/// mean over [`BEFORE_S`] before, interpolated.
pub fn apparent_time(around: &Surroundings) -> Result<f64, NotApparent> {
    let start_s = around.edge_s - BEFORE_S;
    let is_before =
        |reading: &&Reading| start_s <= reading.time_s && reading.time_s <= around.edge_s;
    if around.is_controlled {
        return Err(NotApparent::Controlled);
    }
    let slip: Vec<Reading> = around
        .slip
        .iter()
        .copied()
        .filter(|reading| start_s <= reading.time_s)
        .collect();
    // Whoever sums |slip| sums its noise: the mean is taken first, its size afterwards.
    let mean = |readings: &[Reading]| {
        let before: Vec<f64> = readings.iter().filter(is_before).map(|r| r.value).collect();
        (!before.is_empty()).then(|| before.iter().sum::<f64>() / before.len() as f64)
    };
    let slip_before = mean(&slip).ok_or(NotApparent::SlipNotSeen)?;
    let difference_before = mean(around.difference).ok_or(NotApparent::NothingToLock)?;
    if difference_before.abs() < OPPORTUNITY_RAD_PER_S || slip_before == 0.0 {
        return Err(NotApparent::NothingToLock);
    }
    let throttle_before = mean(around.throttle).ok_or(NotApparent::ThrottleNotSeen)?;
    let noise = around.slip_sd.ok_or(NotApparent::LostInNoise)?;
    if GONE_AT * slip_before.abs() < SIGNIFICANT_SDS * noise {
        return Err(NotApparent::LostInNoise);
    }
    let fallen_s = first_fall(around, &slip, slip_before)?;
    let moved = around
        .throttle
        .iter()
        .filter(|reading| (start_s..=around.edge_s + fallen_s).contains(&reading.time_s))
        .any(|reading| (reading.value - throttle_before).abs() > THROTTLE_WITHIN);
    if moved {
        return Err(NotApparent::ThrottleMoved);
    }
    Ok(fallen_s)
}

/// How soon after the edge the slip first falls to its share, s, with no gap up to there.
fn first_fall(
    around: &Surroundings,
    slip: &[Reading],
    slip_before: f64,
) -> Result<f64, NotApparent> {
    for pair in slip.windows(2) {
        if pair[1].time_s - pair[0].time_s > around.gap_limit_s {
            return Err(NotApparent::SlipNotSeen);
        }
        // A slip that has changed sides has passed 37 % on its way, so sign and all.
        let (before, after) = (pair[0].value / slip_before, pair[1].value / slip_before);
        if pair[1].time_s <= around.edge_s || after > GONE_AT {
            continue;
        }
        if before <= GONE_AT {
            return Err(NotApparent::GoneBefore);
        }
        let share = (before - GONE_AT) / (before - after);
        let at_s = pair[0].time_s + share * (pair[1].time_s - pair[0].time_s);
        return match at_s > around.edge_s {
            true => Ok(at_s - around.edge_s),
            false => Err(NotApparent::GoneBefore),
        };
    }
    Err(NotApparent::NeverFell)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(of: impl Fn(f64) -> f64) -> Vec<Reading> {
        (0..150)
            .map(|index| {
                let time_s = 9.0 + f64::from(index) * 0.02;
                Reading {
                    time_s,
                    value: of(time_s),
                }
            })
            .collect()
    }

    /// Slip of `level` that falls with a lag of 0.2 s from 0.1 s after the edge at 10 s on.
    fn falling(level: f64) -> Vec<Reading> {
        series(|time| level * (-(time - 10.1).max(0.0) / 0.2).exp())
    }

    fn try_with(slip: &[Reading], change: impl Fn(&mut Surroundings)) -> Result<f64, NotApparent> {
        let difference: Vec<Reading> = slip
            .iter()
            .map(|reading| Reading {
                value: 2.0 * reading.value,
                ..*reading
            })
            .collect();
        let throttle = series(|_| 0.6);
        let mut around = Surroundings {
            edge_s: 10.0,
            slip,
            difference: &difference,
            throttle: &throttle,
            is_controlled: false,
            slip_sd: Some(0.05),
            gap_limit_s: 0.25,
        };
        change(&mut around);
        apparent_time(&around)
    }

    #[test]
    fn slip_falls_to_thirty_seven_per_cent() {
        // Derived: 0.1 s and 0.2 s·ln(1/0.37) = 0.1989 s; either side alike.
        for level in [3.0, -3.0] {
            let got = try_with(&falling(level), |_| {}).unwrap();
            assert!((got - 0.2989).abs() < 2e-3, "{got}");
        }
    }

    #[test]
    fn refusals() {
        let check = |slip: &[Reading], change: &dyn Fn(&mut Surroundings), wanted| {
            assert_eq!(try_with(slip, change), Err(wanted));
        };
        let plain = falling(3.0);
        check(&falling(0.4), &|_| {}, NotApparent::NothingToLock);
        check(
            &plain,
            &|around| around.is_controlled = true,
            NotApparent::Controlled,
        );
        check(
            &plain,
            &|around| around.throttle = &[],
            NotApparent::ThrottleNotSeen,
        );
        check(
            &plain,
            &|around| around.slip_sd = Some(0.5),
            NotApparent::LostInNoise,
        );
        check(
            &plain,
            &|around| around.slip_sd = None,
            NotApparent::LostInNoise,
        );
        check(&series(|_| 3.0), &|_| {}, NotApparent::NeverFell);
        let gone = series(|time| if time < 9.8 { 3.0 } else { 0.1 });
        check(&gone, &|_| {}, NotApparent::GoneBefore);
        let gap: Vec<Reading> = plain
            .iter()
            .copied()
            .filter(|reading| !(10.05..10.5).contains(&reading.time_s))
            .collect();
        check(&gap, &|_| {}, NotApparent::SlipNotSeen);
        let lifted = series(|time| if time < 10.1 { 0.6 } else { 0.3 });
        let late = series(|time| if time < 10.5 { 0.6 } else { 0.3 });
        let with = |throttle: &[Reading]| {
            let difference = falling(6.0);
            apparent_time(&Surroundings {
                edge_s: 10.0,
                slip: &plain,
                difference: &difference,
                throttle,
                is_controlled: false,
                slip_sd: Some(0.05),
                gap_limit_s: 0.25,
            })
        };
        assert_eq!(with(&lifted), Err(NotApparent::ThrottleMoved));
        // What the driver does once the slip is gone is no matter.
        assert!(with(&late).is_ok());
    }
}
