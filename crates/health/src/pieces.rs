//! The pieces a log consists of, and whether they look like one car.
//!
//! In: blocks with their cuts. Out: for each piece between two cuts its length and which
//! channels gave values. Two logs of two cars, one behind the other, differ in that: the
//! map of the one says nothing of the other. Cars of one type it cannot tell apart.

use halfshaft_model::{Block, Span, Time};

use crate::limits::Trust;
use crate::part::{Came, Part};

/// Pieces kept; a log with more is a row of short drives, and they are pooled in the last.
const MOST_PIECES: usize = 256;

/// A stretch of the log between two cuts of its clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// From its first sample to its last.
    pub span: Span,
    /// Values of each channel, in the order of the map.
    pub n_values: Vec<u64>,
}

/// Watches the pieces.
#[derive(Clone, Debug)]
pub struct PieceWatch {
    pieces: Vec<Piece>,
    n_channels: usize,
}

impl Part for PieceWatch {
    fn block(&mut self, came: &Came) {
        self.push(came.block);
    }
}

impl PieceWatch {
    /// Nothing seen yet.
    pub fn new(n_channels: usize) -> PieceWatch {
        PieceWatch {
            pieces: Vec::new(),
            n_channels,
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        if self.pieces.is_empty() {
            self.begin(Time(0));
        }
        let first = self.pieces.len() - 1;
        if block.cuts.is_empty() {
            // Nearly every block is of one piece.
            let into = &mut self.pieces[first];
            for (n_values, column) in into.n_values.iter_mut().zip(&block.columns) {
                *n_values += column.iter().filter(|(_, value)| value.is_some()).count() as u64;
            }
            into.span.end = into.span.end.max(block.until);
            return;
        }
        for cut in &block.cuts {
            self.begin(*cut);
        }
        for (channel, column) in block.columns.iter().enumerate() {
            let mut piece = first;
            for (time, value) in column.iter() {
                while piece + 1 < self.pieces.len() && self.pieces[piece + 1].span.start <= time {
                    piece += 1;
                }
                let into = &mut self.pieces[piece];
                into.n_values[channel] += u64::from(value.is_some());
                into.span.end = into.span.end.max(time);
            }
        }
        // A piece the map does not name lasts as well.
        if let Some(last) = self.pieces.last_mut() {
            last.span.end = last.span.end.max(block.until);
        }
    }

    fn begin(&mut self, start: Time) {
        if self.pieces.len() == MOST_PIECES {
            return;
        }
        self.pieces.push(Piece {
            span: Span { start, end: start },
            n_values: vec![0; self.n_channels],
        });
    }

    /// The pieces so far.
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }
}

/// Long pieces that give values of less than a half of the channels that the fullest one gives:
/// they look like another car's.
pub fn foreign<'a>(pieces: &'a [Piece], limits: &Trust) -> Vec<&'a Piece> {
    let long = || {
        pieces
            .iter()
            .filter(|piece| piece.span.seconds() >= limits.piece_least_s)
    };
    let n_seen = |piece: &Piece| piece.n_values.iter().filter(|n| **n > 0).count();
    let Some(fullest) = long().max_by_key(|piece| n_seen(piece)) else {
        return Vec::new();
    };
    let is_foreign = |piece: &&Piece| {
        let (of_full, _, both) = common(fullest, piece);
        (both as f64) < limits.common_channels * of_full as f64
    };
    long().filter(is_foreign).collect()
}

/// Channels that each of two pieces gave values of, and how many of them both did.
pub fn common(one: &Piece, other: &Piece) -> (usize, usize, usize) {
    let seen = |piece: &Piece, channel: usize| piece.n_values[channel] > 0;
    let channels = 0..one.n_values.len();
    let of = |piece: &Piece| {
        channels
            .clone()
            .filter(|&channel| seen(piece, channel))
            .count()
    };
    let both = channels
        .clone()
        .filter(|&channel| seen(one, channel) && seen(other, channel));
    (of(one), of(other), both.count())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_fall_into_their_pieces_however_blocks_are_cut() {
        let watch = |blocks: &[&[(usize, f64)]], cut_s: f64| {
            let mut watch = PieceWatch::new(2);
            for samples in blocks {
                let mut block = Block::new(2);
                for &(channel, time) in *samples {
                    block.columns[channel].push(Time::from_seconds(time), Some(1.0));
                    block.until = Time::from_seconds(time);
                }
                let times = samples.iter().map(|(_, time)| *time);
                if times.clone().any(|time| time >= cut_s)
                    && times.clone().any(|time| time <= 100.0)
                {
                    block.cuts.push(Time::from_seconds(cut_s));
                }
                watch.push(&block);
            }
            watch.pieces().to_vec()
        };
        let whole = watch(&[&[(0, 1.0), (1, 2.0), (0, 100.0), (0, 101.0)]], 100.0);
        assert_eq!(whole.len(), 2);
        assert_eq!(
            (&whole[0].n_values, &whole[1].n_values),
            (&vec![1, 1], &vec![2, 0])
        );
        assert_eq!(common(&whole[0], &whole[1]), (2, 1, 1));
        let parts = watch(
            &[&[(0, 1.0), (1, 2.0)], &[(0, 100.0)], &[(0, 101.0)]],
            100.0,
        );
        assert_eq!(parts, whole);
    }
}
