//! The way back: the car as before, driven once more after the change was taken back.
//!
//! In: what changed from before to after, from then to after, and from before to then. Out: the first, with a
//! difference called the car's only where it is there against both, in the same direction, and the two of
//! the same car do not differ by as much. Weather, tyres and a warming track change one way all day; a part that
//! was put in and taken out again goes there and back.

use super::beside::Whose;
use super::{Change, Comparison};
use crate::reason::{DriveFact, Reason};

/// The car as before, once more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Again {
    /// Value then.
    pub value: f64,
    /// From then to after.
    pub back: Change,
    /// Then less before.
    pub drift: f64,
}

/// Judges the first by the way back.
pub fn judge(first: &mut Comparison, back: &Comparison, drift: &Comparison) {
    first.n_laps[2] = back.n_laps[0];
    for note in back
        .notes
        .iter()
        .map(|note| note.replace("before", "again"))
    {
        if !first.notes.contains(&note)
            && !first
                .notes
                .iter()
                .any(|known| known.replace("before", "again") == note)
        {
            first.notes.push(note);
        }
    }
    for (one, then) in first.beside.iter_mut().zip(&back.beside) {
        if one.title == then.title {
            one.again = Some(then.before);
        }
    }
    for figure in &mut first.figures {
        let of = |comparison: &Comparison| -> Result<Change, Reason> {
            let figure = comparison.figure(figure.name);
            figure.map_or(Err(DriveFact::NotDrivenAgain.into()), |figure| {
                figure.outcome.clone()
            })
        };
        let again = of(back).and_then(|back| {
            Ok(Again {
                value: back.before,
                back,
                drift: of(drift)?.difference,
            })
        });
        let by_driving = back.figure(figure.name).and_then(|figure| figure.whose);
        if let (Some(whose), Ok(change)) = (figure.whose, &figure.outcome) {
            figure.whose = Some(match (&again, by_driving) {
                (Ok(again), _) if again.has_drifted(change) => Whose::Drift,
                (Ok(again), Some(Whose::Car)) if again.is_back(change) => whose,
                (Ok(again), Some(other)) if again.is_back(change) => other,
                _ => Whose::Unconfirmed,
            });
        }
        figure.again = Some(again);
    }
}

impl Again {
    /// The two of the same car differ by as much as the change.
    fn has_drifted(&self, change: &Change) -> bool {
        let least = change.difference.abs().min(self.back.difference.abs());
        self.drift.abs() >= least && self.drift * change.difference > 0.0
    }

    /// The difference is there on the way back too, in the same direction.
    fn is_back(&self, change: &Change) -> bool {
        self.back.is_seen() && self.back.difference * change.difference > 0.0
    }
}
