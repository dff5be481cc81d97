//! Several drives of one side as one session.
//!
//! In: the session of each drive. Out: one with the laps, passes, stretches and events of all, each with the
//! index of its drive, and corners numbered as in the first. Drives of another circuit leave the side without
//! laps. It compares nothing.

use super::circuit;
use super::session::{Pass, Session, Times};
use crate::limits::Compare;
use crate::reason::Reason;

/// The drives of a side as one.
pub fn pooled(drives: &[Session], limits: &Compare) -> Session {
    let Some((first, others)) = drives.split_first() else {
        return Session::default();
    };
    let mut all = first.clone();
    for (drive, other) in (1..).zip(others) {
        add_laps(&mut all, first, drive, other, limits);
        all.n_left_out += other.n_left_out;
        let stretches = other.stretches.iter().copied();
        all.stretches.extend(stretches.map(|mut one| {
            one.drive = drive;
            one
        }));
        for (ours, theirs) in all.actuator.iter_mut().zip(&other.actuator) {
            *ours = joined(ours.take(), theirs, |ours, theirs| {
                add_times(ours, theirs, drive);
            });
        }
        all.throttle_on = joined(
            all.throttle_on.take(),
            &other.throttle_on,
            |ours, theirs| {
                add_times(ours, theirs, drive);
            },
        );
        all.tyre_ratio = joined(all.tyre_ratio.take(), &other.tyre_ratio, |ours, theirs| {
            ours.extend_from_slice(theirs);
        });
        all.held = joined(all.held.take(), &other.held, |ours, theirs| {
            ours.extend_from_slice(theirs);
        });
        all.tyres_hidden = all.tyres_hidden.max(other.tyres_hidden);
        for one in &other.thermal {
            match all.thermal.iter_mut().find(|known| known.0 == one.0) {
                Some(known) => known.2.extend_from_slice(&one.2),
                None => all.thermal.push(one.clone()),
            }
        }
        all.air_c.extend_from_slice(&other.air_c);
        all.is_older |= other.is_older;
    }
    all
}

/// Adds what another drive has; one that has it not adds nothing.
fn joined<T: Clone>(
    ours: Option<Result<T, Reason>>,
    theirs: &Option<Result<T, Reason>>,
    add: impl FnOnce(&mut T, &T),
) -> Option<Result<T, Reason>> {
    match (ours, theirs) {
        (Some(Ok(mut ours)), Some(Ok(theirs))) => {
            add(&mut ours, theirs);
            Some(Ok(ours))
        }
        (Some(Ok(ours)), _) => Some(Ok(ours)),
        (_, Some(Ok(theirs))) => Some(Ok(theirs.clone())),
        (ours, theirs) => ours.or_else(|| theirs.clone()),
    }
}

/// Times that were not brought to one temperature and voltage are not mixed with those that were.
fn add_times(ours: &mut Times, theirs: &Times, drive: usize) {
    if ours.is_normal != theirs.is_normal {
        if theirs.is_normal {
            *ours = Times {
                events: Vec::new(),
                ..theirs.clone()
            };
        } else {
            return;
        }
    }
    ours.events.extend(theirs.events.iter().map(|event| {
        let mut event = *event;
        event.drive = drive;
        event
    }));
}

fn add_laps(all: &mut Session, first: &Session, drive: usize, other: &Session, limits: &Compare) {
    if all.laps.is_empty() {
        return;
    }
    let numbers = match circuit::matched(first, other, limits) {
        Ok(numbers) => numbers,
        Err(reason) => {
            all.laps.clear();
            all.passes.clear();
            all.no_laps = Some(reason);
            return;
        }
    };
    let before = all.laps.len();
    all.laps.extend(other.laps.iter().map(|lap| {
        let mut lap = *lap;
        lap.drive = drive;
        lap
    }));
    all.passes.extend(other.passes.iter().filter_map(|pass| {
        let &(number, _) = numbers.iter().find(|(_, theirs)| *theirs == pass.corner)?;
        // Its laps may begin elsewhere: its corners lie where those of the first drive do.
        let same = first.passes.iter().find(|known| known.corner == number)?;
        Some(Pass {
            lap: before + pass.lap,
            corner: number,
            middle_m: same.middle_m,
            ..*pass
        })
    }));
}
