//! A log that seems to hold drives of two cars.
//!
//! Where the clock was cut, the ignition was off or a log was put behind another. If the
//! map then fits one piece and not the next, that piece is of another car, or of another
//! wiring. What the map says nothing of makes no figure; the reader must know it is there.

use super::{About, Drive, Entry, FindingId, Fired, Judge, MOST_EVIDENCE, Outcome};
use crate::evidence::window;
use crate::nouns::Severity;
use crate::pieces::{Piece, foreign};
use crate::reason::DriveFact;
use crate::trust::NOTHING;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::TwoCars,
        title: "The log seems to hold two cars",
        severities: &[Severity::Act],
        rule: |limits| {
            let trust = &limits.trust;
            format!(
                "of two pieces of the log, each {:.0} s long or more and parted by a silence or a jump of its \
                 clock, one gives values of less than {:.0} % of the channels that the other gives; \
                 two cars of one type look alike and are not told apart",
                trust.piece_least_s,
                100.0 * trust.common_channels
            )
        },
        needs: "two pieces of a log",
        could_also_be: "a bus that was unplugged, a logger set up anew, an ignition that was on without the engine",
        next_check: "Read the pieces apart, each with the map of its car.",
        owner_sees: "The recording seems to hold two cars.",
        owner_does: "Nothing to do on the car. Make one report for each car, with its own map.",
        withdrawn_if: "both pieces are known to be of one car",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    if drive.pieces.is_empty() {
        return Err(DriveFact::Anything.into());
    }
    let n_seen = |piece: &Piece| piece.n_values.iter().filter(|n| **n > 0).count();
    let fullest = drive.pieces.iter().map(n_seen).max().unwrap_or(0);
    let strange = foreign(drive.pieces, &drive.limits.trust);
    if strange.is_empty() {
        return Ok(None);
    }
    let seconds: f64 = strange.iter().map(|piece| piece.span.seconds()).sum();
    let windows = strange.iter().take(MOST_EVIDENCE).map(|piece| {
        let values = [("channels with values", n_seen(piece) as f64, "1")];
        window(piece.span.start, piece.span.end, &values)
    });
    Ok(Some(Fired {
        severity: Severity::Act,
        grade: drive.quality.grade,
        summary: format!(
            "{:.0} min of the log give values of less than half of the {} channels that the rest gives: they look \
             like another car's. The figures are of what the map fits.",
            seconds / 60.0,
            fullest
        ),
        evidence: windows.collect(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use halfshaft_model::{Span, Time};

    fn piece(start_s: f64, end_s: f64, n_values: &[u64]) -> Piece {
        Piece {
            span: Span {
                start: Time::from_seconds(start_s),
                end: Time::from_seconds(end_s),
            },
            n_values: n_values.to_vec(),
        }
    }

    fn outcome(pieces: &[Piece]) -> Outcome {
        let mut scene = Scene::whole();
        scene.pieces = pieces.to_vec();
        scene.outcome(&ENTRY)
    }

    #[test]
    fn a_piece_of_which_the_map_knows_nothing_is_another_cars() {
        let mine = piece(0.0, 600.0, &[9, 9, 9, 9]);
        let theirs = piece(700.0, 1300.0, &[0, 0, 0, 5]);
        let fired = outcome(&[mine.clone(), theirs]).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        says(&fired.summary, "10 min of the log");
        // Short pieces, and one channel less, prove nothing.
        assert_eq!(
            outcome(&[mine.clone(), piece(700.0, 900.0, &[9, 9, 9, 0])]),
            Ok(None)
        );
        assert_eq!(
            outcome(&[mine.clone(), piece(700.0, 730.0, &[0, 0, 0, 0])]),
            Ok(None)
        );
        assert_eq!(outcome(&[mine]), Ok(None));
        says(&outcome(&[]).unwrap_err(), "nothing was logged");
    }
}
