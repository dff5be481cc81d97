//! What names a person or a car, and is left out of every report and export: vehicle numbers,
//! folders, and the places where a drive begins and ends; and what would be an order to a
//! terminal or a mark that turns text round.

use std::collections::VecDeque;
use std::fmt::Display;

use crate::block::Block;
use crate::channel::ChannelSpec;
use crate::position::{Fixes, Position};
use crate::time::Time;

/// What stands where a vehicle number was.
const NUMBER_LEFT_OUT: &str = "[vehicle number left out]";

/// Text without vehicle identification numbers: they name an owner. One is 17 letters
/// (capitals or small) and figures, both of them there, without I, O and Q. Source: ISO 3779.
pub fn without_vehicle_number(text: &str) -> std::borrow::Cow<'_, str> {
    let is_part = |c: char| c.is_ascii_alphanumeric();
    let is_number = |word: &str| {
        word.len() == 17
            && word
                .chars()
                .all(|c| c.is_ascii_digit() || (c.is_ascii_alphabetic() && !"IOQioq".contains(c)))
            && word.chars().any(|c| c.is_ascii_digit())
            && word.chars().any(|c| c.is_ascii_alphabetic())
    };
    if !text.split(|c| !is_part(c)).any(is_number) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len());
    for piece in text.split_inclusive(|c| !is_part(c)) {
        let word = piece.trim_end_matches(|c| !is_part(c));
        if is_number(word) {
            out.push_str(NUMBER_LEFT_OUT);
            out.push_str(&piece[word.len()..]);
        } else {
            out.push_str(piece);
        }
    }
    out.into()
}

/// The last part of a path: the folders above it name a person, a customer or a place.
pub fn base_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// Foreign text made harmless: control characters, and the marks that turn the
/// direction of text or hide in it, are written out as `\u{1b}`; vehicle numbers are left
/// out. Nothing else changes.
pub fn clean(text: impl Display) -> String {
    let text = text.to_string();
    let mut out = String::with_capacity(text.len());
    for c in without_vehicle_number(&text).chars() {
        if c.is_control() || is_invisible_mark(c) {
            out.push_str(&format!("\\u{{{:x}}}", u32::from(c)));
        } else {
            out.push(c);
        }
    }
    out
}

fn is_invisible_mark(c: char) -> bool {
    matches!(
        c,
        '\u{ad}'
            | '\u{61c}'
            | '\u{200b}'..='\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{2069}'
            | '\u{feff}'
            | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e007f}'
    )
}

/// Places are left out up to this distance from where a drive begins and ends, m: home and
/// yard do not show in them. Source: common practice, no source.
pub const PLACES_LEFT_OUT_M: f64 = 500.0;

/// A receiver at rest wanders; only a move of this much counts as driven, m. Source: none,
/// engineering guess. Sensitivity: 500 m are trimmed to within this.
const LEAST_MOVE_M: f64 = 25.0;

/// Leaves out the places of the first and the last [`PLACES_LEFT_OUT_M`] of a drive, and of
/// those around every cut of the clock: there the car stood. Samples are held until the car
/// has gone that far.
#[derive(Clone, Debug)]
pub struct PlaceTrim {
    fixes: Fixes,
    travelled_m: f64,
    anchor: Option<Position>,
    // When the car had travelled so far, since it was 500 m from the start.
    marks: VecDeque<(Time, f64)>,
    held: [VecDeque<(Time, Option<f64>)>; 2],
}

impl PlaceTrim {
    /// For the channels of a map, when it has places.
    pub fn new(channels: &[ChannelSpec]) -> Option<PlaceTrim> {
        Some(PlaceTrim {
            fixes: Fixes::new(channels)?,
            travelled_m: 0.0,
            anchor: None,
            marks: VecDeque::new(),
            held: Default::default(),
        })
    }

    /// Whether a column holds places.
    pub fn is_place(&self, column: usize) -> bool {
        self.fixes.columns().contains(&column)
    }

    /// Takes a block; hands on column, time and value of samples that may be shown.
    pub fn push(&mut self, block: &Block, give: &mut dyn FnMut(usize, Time, Option<f64>)) {
        let mut found = Vec::new();
        self.fixes.push(block, &mut |fix| found.push(fix));
        let mut cuts = block.cuts.iter().copied().peekable();
        let mut ahead = self
            .fixes
            .columns()
            .map(|column| block.columns[column].iter().peekable());
        let mut hold = |held: &mut [VecDeque<_>; 2], until: Time| {
            for (held, ahead) in held.iter_mut().zip(&mut ahead) {
                while let Some(sample) = ahead.next_if(|(time, _)| *time < until) {
                    held.push_back(sample);
                }
            }
        };
        for fix in found {
            while let Some(cut) = cuts.next_if(|cut| *cut <= fix.time) {
                hold(&mut self.held, cut);
                self.cut();
            }
            hold(&mut self.held, fix.time);
            self.moved(fix.time, fix.position);
            self.give(give);
        }
        for cut in cuts {
            hold(&mut self.held, cut);
            self.cut();
        }
        hold(&mut self.held, Time(i64::MAX));
    }

    fn cut(&mut self) {
        self.travelled_m = 0.0;
        self.anchor = None;
        self.marks.clear();
        self.held.iter_mut().for_each(VecDeque::clear);
    }

    fn moved(&mut self, time: Time, position: Position) {
        let anchor = *self.anchor.get_or_insert(position);
        let metres = position.distance_m(anchor);
        if metres < LEAST_MOVE_M {
            return;
        }
        self.anchor = Some(position);
        self.travelled_m += metres;
        if self.travelled_m < PLACES_LEFT_OUT_M {
            for held in &mut self.held {
                while held.pop_front_if(|(held, _)| *held < time).is_some() {}
            }
        } else {
            self.marks.push_back((time, self.travelled_m));
        }
    }

    fn give(&mut self, give: &mut dyn FnMut(usize, Time, Option<f64>)) {
        let far = self.travelled_m - PLACES_LEFT_OUT_M;
        while let Some((until, _)) = self.marks.pop_front_if(|(_, at_m)| *at_m <= far) {
            for (held, column) in self.held.iter_mut().zip(self.fixes.columns()) {
                while let Some((time, value)) = held.pop_front_if(|(time, _)| *time <= until) {
                    give(column, time, value);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Latitudes given of a drive north at 10 m/s for 300 s, standing for 600 s with a
    /// wandering receiver before it and after it, in blocks of so many samples.
    fn given_m(cuts_s: &[f64], block_of: usize) -> Vec<(f64, f64)> {
        let channels = ["position.latitude", "position.longitude"].map(ChannelSpec::new);
        let mut trim = PlaceTrim::new(&channels).expect("both are there");
        let samples: Vec<f64> = (0..1500).map(f64::from).collect();
        let mut given = Vec::new();
        for some in samples.chunks(block_of) {
            let mut block = Block::new(2);
            for &time in some {
                let wander = 3.0 * ((time * 1.7).sin() + (time * 0.9).cos());
                let north_m = 10.0 * (time - 600.0).clamp(0.0, 300.0) + wander;
                block.columns[0].push(Time::from_seconds(time), Some(north_m / 6_371_008.8));
                block.columns[1].push(Time::from_seconds(time), Some(0.0));
                if cuts_s.contains(&time) {
                    block.cuts.push(Time::from_seconds(time));
                }
            }
            trim.push(&block, &mut |column, time, value| {
                if column == 0 {
                    given.push((time.seconds(), value.unwrap_or(f64::NAN) * 6_371_008.8));
                }
            });
        }
        given
    }

    #[test]
    fn the_first_and_last_half_kilometre_are_left_out() {
        let given = given_m(&[], 1500);
        let (first, last) = (given[0], given[given.len() - 1]);
        assert!((480.0..560.0).contains(&first.1), "{first:?}");
        assert!((2430.0..2520.0).contains(&last.1), "{last:?}");
        // Nothing between is lost, and how the log is cut into blocks changes nothing.
        assert_eq!(given.len() as f64, last.0 - first.0 + 1.0);
        assert_eq!(given_m(&[], 7), given);
    }

    #[test]
    fn a_stop_with_the_ignition_off_is_an_end_too() {
        let given = given_m(&[750.0], 100);
        assert!(
            given.iter().all(|(_, at)| !(1020.0..1980.0).contains(at)),
            "{given:?}"
        );
        assert!(given.iter().any(|(_, at)| *at < 1000.0));
        assert!(given.iter().any(|(_, at)| *at > 2000.0));
        assert_eq!(given_m(&[750.0], 1), given);
    }

    #[test]
    fn a_vehicle_number_is_left_out_and_a_fingerprint_stays() {
        let left_out = |text: &str| without_vehicle_number(text).into_owned();
        assert_eq!(
            left_out("car XXXZZZ1JZXW000001, 3"),
            "car [vehicle number left out], 3"
        );
        assert_eq!(
            left_out("drive-xxxzzz1jzxw000001.log"),
            "drive-[vehicle number left out].log"
        );
        // Sixteen characters, seventeen letters, and one with an I in it are none.
        for text in ["0123456789abcdef", "abcdefghjklmnprst", "XXXZZZ1JZXWI00001"] {
            assert_eq!(left_out(text), text);
        }
    }
}
