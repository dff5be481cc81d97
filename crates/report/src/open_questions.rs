//! What a log leaves open, each reason once.
//!
//! In: the checks that were not made and the questions without an answer. Out: one list, by what is
//! missing, so that a reader sees what one more channel or another drive would bring.

use std::collections::BTreeMap;

use halfshaft_health::Results;

use crate::words::{clean, sentence};

/// Something that is missing, and all that waits for it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Open {
    /// What is missing, a sentence.
    pub missing: String,
    /// Checks that were not made for want of it.
    pub checks: Vec<String>,
    /// Questions that have no answer for want of it.
    pub questions: Vec<String>,
    /// What to record or to add to the map next time, each a sentence.
    pub next_time: Vec<String>,
}

/// All that is open: what holds up most checks first, the rest in the order of the report.
pub fn open(results: &Results) -> Vec<Open> {
    let mut all: Vec<Open> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut of = |missing: &str| {
        let missing = sentence(&clean(missing));
        let at = *places.entry(missing.clone()).or_insert(all.len());
        if at == all.len() {
            all.push(Open {
                missing,
                ..Open::default()
            });
        }
        at
    };
    let checks: Vec<(usize, String)> = results
        .not_checked
        .iter()
        .map(|item| (of(&item.missing.to_string()), clean(item.title)))
        .collect();
    let questions: Vec<(usize, String, String)> = results
        .cannot_tell
        .iter()
        .map(|item| {
            let next_time = sentence(&clean(&item.next_time));
            (of(&item.why), clean(item.question), next_time)
        })
        .collect();
    for (at, title) in checks {
        all[at].checks.push(title);
    }
    for (at, question, next_time) in questions {
        all[at].questions.push(question);
        if !next_time.is_empty() && !all[at].next_time.contains(&next_time) {
            all[at].next_time.push(next_time);
        }
    }
    all.sort_by_key(|open| std::cmp::Reverse(open.checks.len()));
    all
}
