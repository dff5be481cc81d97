//! Between whoever follows the drive and the readers of its page: the latest snapshot, what the car does
//! now, and the last minutes for drawing.
//!
//! Each reader has the latest of everything and never a queue: one that is slow leaves out what came
//! between, and one that is stuck costs nothing.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde::Serialize;
use tokio::sync::watch;

use crate::recording::Recording;
use crate::snapshot::{Now, Snapshot, Value};

/// Time of a point of the strips, s.
pub const STEP_S: f64 = 2.0;

/// Points that are kept: a quarter of an hour.
const MOST_POINTS: usize = 450;

/// What the car does now, several times a second.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Quick {
    /// Which drive.
    pub drive: u32,
    /// Time of the drive now, s.
    pub now_s: f64,
    /// The oil by its sensor, where there is one.
    pub oil: Option<Value>,
    /// The rest.
    pub now: Now,
}

/// The state of the recording, with what the live side had no time for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Kept {
    /// The recording.
    pub recording: Recording,
    /// Entries that the live side had no time for.
    pub n_left_out: u64,
}

/// One series of a strip: the highest magnitude of each slot of [`STEP_S`], by the number of the slot.
pub type Series = VecDeque<(i64, f64)>;

/// The last minutes of a drive.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct History {
    /// Which drive.
    pub drive: u32,
    /// Oil, °C.
    pub oil: Series,
    /// Heat, kW.
    pub heat: Series,
    /// Slip, rad/s.
    pub slip: Series,
    /// Command, %.
    pub command: Series,
}

/// The latest of everything; whoever has a copy shares it.
#[derive(Clone, Debug)]
pub struct Feed {
    snapshot: watch::Sender<Option<Arc<Snapshot>>>,
    quick: watch::Sender<Quick>,
    kept: watch::Sender<Kept>,
    history: Arc<Mutex<History>>,
}

impl Default for Feed {
    fn default() -> Feed {
        Feed {
            snapshot: watch::Sender::new(None),
            quick: watch::Sender::new(Quick::default()),
            kept: watch::Sender::new(Kept::default()),
            history: Arc::default(),
        }
    }
}

impl Feed {
    /// Shows a snapshot.
    pub fn show(&self, snapshot: Snapshot) {
        self.show_recording(snapshot.recording.clone(), snapshot.n_left_out);
        self.snapshot.send_replace(Some(Arc::new(snapshot)));
    }

    /// Shows the state of the recording, with or without a drive.
    pub fn show_recording(&self, recording: Recording, n_left_out: u64) {
        let kept = Kept {
            recording,
            n_left_out,
        };
        self.kept.send_if_modified(|shown| {
            let is_new = *shown != kept;
            *shown = kept;
            is_new
        });
    }

    /// Shows what the car does now.
    pub fn show_now(&self, quick: Quick) {
        self.history().add(&quick);
        self.quick.send_replace(quick);
    }

    /// The latest snapshot, and word of new ones.
    pub fn snapshots(&self) -> watch::Receiver<Option<Arc<Snapshot>>> {
        self.snapshot.subscribe()
    }

    /// What the car does now, and word of it.
    pub fn quicks(&self) -> watch::Receiver<Quick> {
        self.quick.subscribe()
    }

    /// The state of the recording, and word of it.
    pub fn kept(&self) -> watch::Receiver<Kept> {
        self.kept.subscribe()
    }

    /// The last minutes.
    pub fn history(&self) -> MutexGuard<'_, History> {
        // Nothing that can panic half way is done while it is locked.
        self.history.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl History {
    fn add(&mut self, quick: &Quick) {
        if quick.drive != self.drive {
            *self = History {
                drive: quick.drive,
                ..History::default()
            };
        }
        let now = &quick.now;
        let oil = quick.oil.as_ref();
        let all = [
            (&mut self.oil, oil),
            (&mut self.heat, Some(&now.heat)),
            (&mut self.slip, Some(&now.slip)),
            (&mut self.command, Some(&now.command)),
        ];
        for (series, value) in all {
            if let Some((at_s, value)) = value.and_then(|value| value.at_s.zip(value.value)) {
                add(series, (at_s / STEP_S).floor() as i64, value.abs());
            }
        }
    }
}

fn add(series: &mut Series, slot: i64, value: f64) {
    match series.back_mut() {
        Some((latest, highest)) if *latest == slot => *highest = highest.max(value),
        Some((latest, _)) if *latest > slot => {}
        _ => series.push_back((slot, value)),
    }
    let oldest = slot - MOST_POINTS as i64;
    while series.pop_front_if(|(slot, _)| *slot <= oldest).is_some() {}
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quick(drive: u32, at_s: f64, celsius: f64) -> Quick {
        let oil = Value {
            at_s: Some(at_s),
            value: Some(celsius),
            ..Value::default()
        };
        Quick {
            drive,
            now_s: at_s,
            oil: Some(oil),
            ..Quick::default()
        }
    }

    #[test]
    fn a_quarter_of_an_hour_is_kept_of_the_drive_that_goes_on() {
        let feed = Feed::default();
        for tenth in 0..20_000 {
            let at_s = f64::from(tenth) * 0.1;
            feed.show_now(quick(1, at_s, 90.0 + at_s.rem_euclid(2.0)));
        }
        let oil = feed.history().oil.clone();
        assert_eq!(oil.len(), MOST_POINTS);
        assert_eq!(oil.back().map(|(slot, _)| *slot), Some(999));
        assert!(
            oil.iter().all(|(_, highest)| (highest - 91.9).abs() < 1e-6),
            "{oil:?}"
        );
        feed.show_now(quick(2, 1.0, 20.0));
        assert_eq!(feed.history().oil, [(0, 20.0)]);
    }
}
