//! Notes of whoever was there, and the stints they cut a drive into.
//!
//! In: the marks of blocks. Out: the marks, and of each lap the stint it belongs to. Something was
//! changed where a mark was made, tyre pressures perhaps: laps on its two sides are not mixed.

use halfshaft_model::Mark;

use crate::nouns::Lap;
use crate::part::{Came, Part};

/// More marks than this nobody makes in a day; further ones are not kept.
const MOST_MARKS: usize = 1000;

/// Letters of a note that are kept.
const LONGEST_NOTE: usize = 200;

/// Keeps the marks.
#[derive(Clone, Debug, Default)]
pub struct MarkWatch {
    marks: Vec<Mark>,
}

impl Part for MarkWatch {
    fn block(&mut self, came: &Came) {
        for mark in &came.block.marks {
            if self.marks.len() < MOST_MARKS {
                self.marks.push(Mark {
                    time: mark.time,
                    note: mark.note.chars().take(LONGEST_NOTE).collect(),
                });
            }
        }
    }
}

impl MarkWatch {
    /// The marks in order of time.
    pub fn marks(&self) -> Vec<Mark> {
        let mut marks = self.marks.clone();
        marks.sort_by_key(|mark| mark.time);
        marks
    }
}

/// Writes to each lap its stint, from 1. The first whole lap after a mark begins one; a lap in
/// which a mark was made belongs to none. Marks between the same two laps begin one together.
pub fn note_stints(laps: &mut [Lap], marks: &[Mark]) {
    let (mut stint, mut n_before) = (0, None);
    for lap in laps {
        let n = marks.partition_point(|mark| mark.time <= lap.span.start);
        let n_by_its_end = marks.partition_point(|mark| mark.time < lap.span.end);
        lap.stint = None;
        if n_by_its_end == n {
            stint += u32::from(n_before != Some(n));
            n_before = Some(n);
            lap.stint = Some(stint);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laps_to_limit::lap_peaks;
    use crate::limits::LapsLeft;
    use halfshaft_model::{Block, Span, Time};

    /// Laps of 90 s, but for those with a time of their own, hotter by 5 K each.
    fn laps(n: u32, own_s: &[(u32, f64)]) -> Vec<Lap> {
        let mut start = 0.0;
        let lap = |number| {
            let own = own_s.iter().find(|(of, _)| *of == number);
            let span = Span {
                start: Time::from_seconds(start),
                end: Time::from_seconds(start + own.map_or(90.0, |(_, seconds)| *seconds)),
            };
            start = span.end.seconds();
            Lap {
                number,
                stint: Some(1),
                span,
                length_m: 3000.0,
                heat_kj: None,
                oil_max_c: Some(80.0 + 5.0 * f64::from(number)),
                oil_rise_k: None,
                throttle: None,
                is_at_least: false,
            }
        };
        (1..=n).map(lap).collect()
    }

    fn marks(seconds: &[f64]) -> Vec<Mark> {
        let mark = |seconds: &f64| Mark {
            time: Time::from_seconds(*seconds),
            note: String::new(),
        };
        seconds.iter().map(mark).collect()
    }

    fn stints(mut laps: Vec<Lap>, marks_s: &[f64]) -> Vec<Option<u32>> {
        note_stints(&mut laps, &marks(marks_s));
        laps.iter().map(|lap| lap.stint).collect()
    }

    #[test]
    fn the_first_whole_lap_after_a_mark_begins_a_stint() {
        let one = Some(1);
        assert_eq!(stints(laps(3, &[]), &[]), [one, one, one]);
        // Made in the second lap, which is of neither stint.
        assert_eq!(stints(laps(3, &[]), &[100.0]), [one, None, Some(2)]);
        // On the line.
        assert_eq!(stints(laps(3, &[]), &[90.0]), [one, Some(2), Some(2)]);
        // Three in one lap and one in the next, as somebody who is unsure of his button makes them.
        assert_eq!(
            stints(laps(4, &[]), &[100.0, 101.0, 110.0, 190.0]),
            [one, None, None, Some(2)]
        );
        // Before the first lap and after the last.
        assert_eq!(stints(laps(2, &[]), &[-1.0, 200.0]), [one, one]);
    }

    #[test]
    fn laps_on_two_sides_of_a_mark_are_not_mixed() {
        let peaks = |mut laps: Vec<Lap>, marks_s: &[f64]| {
            note_stints(&mut laps, &marks(marks_s));
            lap_peaks(&laps, &LapsLeft::default())
        };
        // Seven alike: without a mark the last five count, at the most.
        assert_eq!(peaks(laps(7, &[]), &[]).unwrap().len(), 5);
        // A mark in the third leaves the four behind it.
        let found = peaks(laps(7, &[]), &[200.0]).unwrap();
        assert_eq!(found, [100.0, 105.0, 110.0, 115.0]);
        // Two behind it are too few, however many were before.
        assert!(peaks(laps(7, &[]), &[400.0]).is_err());
        // Into the pits, a change, and one lap out: the pace of before says nothing of now.
        let session = || laps(7, &[(6, 150.0), (7, 130.0)]);
        assert_eq!(
            peaks(session(), &[]).unwrap(),
            [85.0, 90.0, 95.0, 100.0, 105.0]
        );
        assert!(peaks(session(), &[590.0]).is_err());
        // A mark after the last whole lap begins no stint yet.
        assert_eq!(peaks(laps(7, &[]), &[640.0]).unwrap().len(), 5);
        // Made on the way in, and no whole lap since.
        let home = || laps(6, &[(6, 150.0)]);
        assert_eq!(peaks(home(), &[500.0]).unwrap().len(), 5);
    }

    #[test]
    fn marks_are_kept_in_order_and_are_few_and_short() {
        let mut watch = MarkWatch::default();
        let mut block = Block::new(0);
        let derived = halfshaft_driveline::Derived::default();
        let mut push = |marks: Vec<Mark>| {
            block.marks = marks;
            watch.block(&Came {
                block: &block,
                derived: &derived,
                oil: &[],
                air: &[],
            });
        };
        push(marks(&[5.0, 4.0]));
        push(vec![Mark {
            time: Time(0),
            note: "ä".repeat(300),
        }]);
        push(marks(&[9.0; 2000]));
        let kept = watch.marks();
        assert_eq!(kept.len(), 1000);
        assert_eq!(kept[0].note, "ä".repeat(200));
        assert_eq!((kept[1].time.seconds(), kept[2].time.seconds()), (4.0, 5.0));
    }
}
