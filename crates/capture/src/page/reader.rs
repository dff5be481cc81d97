//! One reader of the page: what it was sent, and what comes next.
//!
//! It is asked for the next event only when the one before has gone out, and then has the latest: a
//! reader that is slow leaves out what came between, one that is stuck is never asked.

use std::collections::HashMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::response::sse::Event;
use futures_util::stream::{Stream, unfold};
use tokio::sync::watch;
use tokio::time::Instant;

use super::message;
use crate::feed::{Feed, Kept, Quick};
use crate::snapshot::Snapshot;

/// The state of the recording is sent no more often than this.
const RECORDING_EVERY: Duration = Duration::from_secs(1);

/// Something is sent at least so often, so that the page knows a lost link from a quiet car.
const SIGN_OF_LIFE: Duration = Duration::from_secs(2);

/// A reader.
#[derive(Debug)]
struct Reader {
    snapshots: watch::Receiver<Option<Arc<Snapshot>>>,
    quicks: watch::Receiver<Quick>,
    kept: watch::Receiver<Kept>,
    sent: HashMap<&'static str, String>,
    recording_due: Instant,
}

/// The events of a new reader: all there is, then what changes.
pub fn events(feed: &Feed) -> impl Stream<Item = Result<Event, Infallible>> + use<> {
    let mut reader = Reader {
        snapshots: feed.snapshots(),
        quicks: feed.quicks(),
        kept: feed.kept(),
        sent: HashMap::new(),
        recording_due: Instant::now(),
    };
    reader.snapshots.mark_changed();
    reader.quicks.mark_changed();
    reader.kept.mark_changed();
    unfold(reader, |mut reader| async move {
        let event = reader.next().await?;
        Some((Ok(event), reader))
    })
}

impl Reader {
    /// The next event; `None` when there will be none any more.
    async fn next(&mut self) -> Option<Event> {
        loop {
            let recording_due = self.recording_due;
            tokio::select! {
                biased;
                changed = self.quicks.changed() => {
                    changed.ok()?;
                    let quick = message::quick(&self.quicks.borrow_and_update());
                    return Some(Event::default().event("q").data(quick));
                }
                changed = self.snapshots.changed() => {
                    changed.ok()?;
                    if let Some(sections) = self.sections() {
                        return Some(Event::default().event("s").data(sections));
                    }
                }
                changed = async {
                    tokio::time::sleep_until(recording_due).await;
                    self.kept.changed().await
                } => {
                    changed.ok()?;
                    self.recording_due = Instant::now() + RECORDING_EVERY;
                    let recording = message::recording(&self.kept.borrow_and_update());
                    return Some(Event::default().event("s").data(recording));
                }
                () = tokio::time::sleep(SIGN_OF_LIFE) => {
                    return Some(Event::default().event("t").data("0"));
                }
            }
        }
    }

    /// The sections that are not as they were sent.
    fn sections(&mut self) -> Option<String> {
        let snapshot = self.snapshots.borrow_and_update().clone()?;
        let mut changed = Vec::new();
        for (name, section) in message::sections(&snapshot) {
            if self.sent.get(name) != Some(&section) {
                changed.push(format!("\"{name}\":{section}"));
                self.sent.insert(name, section);
            }
        }
        (!changed.is_empty()).then(|| format!("{{{}}}", changed.join(",")))
    }
}
