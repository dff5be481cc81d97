//! The marks of a drive in words: when, what was noted, and which stint begins with it.

use crate::words::{clean, drive_time, shorten};
use halfshaft_health::Results;

/// Letters of a note that are shown.
const MOST_SHOWN: usize = 200;

/// One mark.
pub(crate) struct Noted {
    /// Its number, from 1: the strips have it too.
    pub number: usize,
    /// When it was made, in drive time.
    pub at: String,
    /// What was noted.
    pub note: String,
    /// Which stint begins with it, a sentence; `None`: none does.
    pub begins: Option<String>,
}

/// The marks, in order of time.
pub(crate) fn noted(results: &Results) -> Vec<Noted> {
    let marks = results.marks.iter().enumerate();
    marks
        .map(|(index, mark)| {
            let note = shorten(&clean(&mark.note), MOST_SHOWN);
            Noted {
                number: index + 1,
                at: drive_time(mark.time),
                note: match note.trim() {
                    "" => "no words".to_owned(),
                    note => note.to_owned(),
                },
                begins: begins(results, index),
            }
        })
        .collect()
}

/// Whether any mark parts the laps.
pub(crate) fn has_stints(results: &Results) -> bool {
    results.laps.laps.iter().any(|lap| lap.stint != Some(1))
}

/// The stint whose first lap is the first whole one after this mark and before the next.
fn begins(results: &Results, index: usize) -> Option<String> {
    let from = results.marks[index].time;
    let next = results.marks.get(index + 1).map(|mark| mark.time);
    let mut laps = results.laps.laps.iter();
    let lap = laps.find(|lap| lap.span.start >= from && lap.stint.is_some())?;
    let is_before_next = next.is_none_or(|next| lap.span.start < next);
    let stint = lap.stint.filter(|stint| *stint > 1 && is_before_next)?;
    Some(format!("Stint {stint} begins with lap {}.", lap.number))
}
