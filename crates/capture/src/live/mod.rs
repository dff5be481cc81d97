//! Follows a drive while it goes on: entries in, snapshots out.
//!
//! Batches go through the very pipeline of the report as they come. Several times a second what the car
//! does now is shown, twice a second what the whole drive says. When a drive ends it is judged once
//! more, which is what the report of its log says, and the next one begins. Asking changes nothing.
//!
//! ```text
//! LiveEnd -> Drive -> newest values  -\
//!                  -> Results, figures -> Snapshot -> lines, feed of the page
//! ```

mod figures;
mod now;
mod words;

use std::collections::HashMap;
use std::io::Write;
use std::time::{Duration, Instant};

use halfshaft_drive::Drive;
use halfshaft_health::{FindingId, Results};
use halfshaft_model::Time;
use halfshaft_report::words::clean;
use halfshaft_signal_map::Map;

use crate::feed::{Feed, Quick};
use crate::link::{Ended, Handle, Heard, LiveEnd};
use crate::snapshot::{MOST_LISTED, Mark, Now, SCHEMA, Snapshot, Value};
use figures::From;
use now::{Clock, Newests};

/// Called with a drive that has ended and its results, which are final.
pub type OnEnd = Box<dyn FnMut(&mut Drive, &Results) + Send>;

/// How a drive is followed.
#[derive(Clone, Debug)]
pub struct Options {
    /// What it is judged by.
    pub drive: halfshaft_drive::Options,
    /// Time between two askings for results.
    pub results_every: Duration,
    /// Time between two showings of what the car does now.
    pub now_every: Duration,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            drive: halfshaft_drive::Options::default(),
            results_every: Duration::from_millis(500),
            now_every: Duration::from_millis(150),
        }
    }
}

/// Where snapshots go.
#[derive(Default)]
pub struct Outputs {
    /// A line of JSON for each snapshot.
    pub lines: Option<Box<dyn Write + Send>>,
    /// The page.
    pub page: Option<Feed>,
    /// What is to be done with a drive that has ended.
    pub ended: Option<OnEnd>,
}

/// Follows drives until their source has ended.
pub fn run(live: &LiveEnd, map: &Map, options: &Options, mut out: Outputs) {
    let handle = live.handle();
    let mut number = 0;
    let mut following: Option<Following> = None;
    loop {
        let wait = match &following {
            Some(following) => following.until_due(options, out.page.is_some()),
            None => options.results_every,
        };
        let heard = live.next(wait);
        let has_ended = heard.is_err();
        match heard {
            Ok(Some(Heard::Batch(batch))) => {
                let following = following.get_or_insert_with(|| {
                    number += 1;
                    Following::new(map, options, number)
                });
                following.push(&batch);
            }
            Ok(None) => {}
            Ok(Some(Heard::DriveEnds)) | Err(Ended) => {
                if let Some(ended) = following.take() {
                    ended.end(map, &handle, &mut out);
                }
                if has_ended {
                    return;
                }
            }
        }
        match &mut following {
            Some(following) => following.show(map, options, &handle, &mut out),
            None => out.wait(&handle),
        }
    }
}

impl Outputs {
    fn show(&mut self, snapshot: Snapshot) {
        if let Some(lines) = &mut self.lines {
            let written = serde_json::to_string(&snapshot)
                .map_err(std::io::Error::from)
                .and_then(|line| writeln!(lines, "{line}").and_then(|()| lines.flush()));
            // Whoever read them has left.
            if written.is_err() {
                self.lines = None;
            }
        }
        if let Some(page) = &self.page {
            page.show(snapshot);
        }
    }

    /// No drive goes on: the state of the recording is shown all the same.
    fn wait(&mut self, handle: &Handle) {
        if let Some(page) = &self.page {
            page.show_recording(handle.recording(), handle.n_left_out());
        }
    }
}

/// A drive that goes on.
struct Following {
    drive: Drive,
    number: u32,
    newest: Newests,
    clock: Clock,
    marks: Vec<Mark>,
    findings_since: HashMap<FindingId, Time>,
    results: Option<Results>,
    asked: Instant,
    shown: Instant,
}

impl Following {
    fn new(map: &Map, options: &Options, number: u32) -> Following {
        let mut drive = Drive::new(map, &options.drive);
        drive.stages().health.keep_rows();
        Following {
            newest: Newests::new(map, &drive),
            drive,
            number,
            clock: Clock::new(),
            marks: Vec::new(),
            findings_since: HashMap::new(),
            results: None,
            asked: Instant::now(),
            shown: Instant::now(),
        }
    }

    fn until_due(&self, options: &Options, has_page: bool) -> Duration {
        let results = options.results_every.saturating_sub(self.asked.elapsed());
        match has_page {
            true => results.min(options.now_every.saturating_sub(self.shown.elapsed())),
            false => results,
        }
    }

    fn push(&mut self, batch: &halfshaft_model::Batch) {
        self.drive.push(batch);
        self.took();
    }

    fn took(&mut self) {
        self.clock.hear(self.drive.block().until);
        self.newest.take(&self.drive);
        for mark in &self.drive.block().marks {
            let mark = Mark {
                at_s: mark.time.seconds(),
                note: clean(&mark.note),
            };
            self.marks.insert(0, mark);
            self.marks.truncate(MOST_LISTED);
        }
    }

    fn show(&mut self, map: &Map, options: &Options, handle: &Handle, out: &mut Outputs) {
        if self.asked.elapsed() >= options.results_every {
            self.asked = Instant::now();
            self.results = Some(self.drive.results());
            if let Some(snapshot) = self.snapshot(map, handle) {
                out.show(snapshot);
            }
        }
        if let Some(page) = &out.page
            && self.shown.elapsed() >= options.now_every
        {
            self.shown = Instant::now();
            let gate = self.results.as_ref().map(|results| &results.trust);
            page.show_now(Quick {
                drive: self.number,
                now_s: self.clock.now().seconds(),
                oil: self.newest.oil(&self.clock, gate),
                now: self.newest.now(&self.clock, gate),
            });
        }
    }

    fn end(mut self, map: &Map, handle: &Handle, out: &mut Outputs) {
        self.drive.finish();
        self.took();
        let results = self.drive.results();
        if let Some(ended) = &mut out.ended {
            ended(&mut self.drive, &results);
        }
        self.results = Some(results);
        if let Some(snapshot) = self.snapshot(map, handle) {
            out.show(snapshot);
        }
    }

    fn snapshot(&mut self, map: &Map, handle: &Handle) -> Option<Snapshot> {
        let results = self.results.take()?;
        let from = From {
            results: &results,
            newest: &self.newest,
            clock: &self.clock,
            map,
        };
        let is_provisional = results.is_provisional;
        let coverage = self.drive.front().coverage();
        let going_on = self.drive.derived().going_on.map(|event| event.span.start);
        let snapshot = Snapshot {
            schema: SCHEMA,
            drive: self.number,
            vehicle: clean(&map.vehicle.name),
            is_provisional,
            drive_s: match is_provisional {
                true => self.clock.now().seconds(),
                false => results.until.seconds(),
            },
            began_s: now::began_s(&coverage),
            recording: handle.recording(),
            n_left_out: handle.n_left_out(),
            trouble: (coverage.n_mapped == 0)
                .then(|| "No frame of the map has come: is it the map of this car?".to_owned()),
            now: match is_provisional {
                true => self.newest.now(&self.clock, Some(&results.trust)),
                false => over(),
            },
            heat: from.heat(),
            oil: from.oil(),
            pack: from.pack(),
            laps_left: from.laps_left(),
            laps: from.laps(),
            no_laps: results.laps.method.as_ref().err().map(words::reason),
            costliest_corner: from.costliest_corner(),
            events: from.events(going_on),
            findings: from.findings(&mut self.findings_since),
            marks: self.marks.clone(),
            figures: match is_provisional {
                true => Vec::new(),
                false => from.figures(),
            },
        };
        self.results = Some(results);
        Some(snapshot)
    }
}

/// Nothing is live when the drive is over.
fn over() -> Now {
    let over = |unit| Value {
        is_provisional: false,
        ..Value::missing(unit, "The drive has ended.")
    };
    Now {
        road_speed: over("km/h"),
        axle_speed_difference: over("rad/s"),
        slip: over("rad/s"),
        command: over("%"),
        state: over("%"),
        engagement: over(""),
        heat: over("kW"),
    }
}
