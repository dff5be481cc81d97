//! Bits that two signals of one frame use at the same time.
//!
//! Two uses may meet when their pages cannot both be there, when one says that it shares
//! its bits, or when a signal reads exactly the page number or the counter.

use super::Check;
use crate::map::{BitField, Condition};
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::slots::run_mask;

/// A use of bits.
pub(super) struct Used {
    what: String,
    // The bits used, byte by byte, as far as the last one.
    mask: Vec<u8>,
    conditions: Vec<Condition>,
    span: Span,
    line: usize,
    is_selector: bool,
    /// Whether the map says that sharing is meant.
    pub shares: bool,
}

impl Used {
    pub(super) fn new(
        what: &str,
        bits: &BitField,
        conditions: &[Condition],
        span: Span,
        line: usize,
    ) -> Used {
        let mut mask = vec![0; bits.n_bytes()];
        for run in &bits.runs {
            mask[usize::from(run.byte)] |= run_mask(*run);
        }
        Used {
            what: what.to_owned(),
            mask,
            conditions: conditions.to_vec(),
            span,
            line,
            is_selector: false,
            shares: false,
        }
    }

    pub(super) fn selector(mut self) -> Used {
        self.is_selector = true;
        self
    }
}

impl Check<'_> {
    pub(super) fn overlaps(&mut self, used: Vec<Used>) {
        for (index, second) in used.iter().enumerate() {
            if self.gathered.is_swamped() {
                return;
            }
            let clash = used[..index]
                .iter()
                .find_map(|first| Some((first, shared_bit(first, second)?)));
            let Some((first, (byte, bit))) = clash else {
                continue;
            };
            let (second, first) = if second.is_selector && !first.is_selector {
                (first, second)
            } else {
                (second, first)
            };
            let message = format!(
                "{} and {} (line {}) both use bit {byte}.{bit}",
                second.what, first.what, first.line
            );
            self.mistake_with(
                second.span,
                MistakeCode::BitOverlap,
                message,
                "if that is meant, write `shares its bits` under it",
            );
        }
    }
}

fn shared_bit(first: &Used, second: &Used) -> Option<(usize, u32)> {
    if first.shares || second.shares {
        return None;
    }
    let either_selects = first.is_selector || second.is_selector;
    if either_selects && first.mask == second.mask {
        return None;
    }
    let both = first.mask.iter().zip(&second.mask);
    let (byte, bits) = both
        .map(|(first, second)| first & second)
        .enumerate()
        .find(|(_, bits)| *bits != 0)?;
    if exclude(&first.conditions, &second.conditions) {
        return None;
    }
    Some((byte, bits.ilog2()))
}

/// Whether two sets of pages cannot both be there.
pub(super) fn exclude(a: &[Condition], b: &[Condition]) -> bool {
    a.iter()
        .any(|a| b.iter().any(|b| a.bits == b.bits && !codes_meet(a, b)))
}

fn codes_meet(a: &Condition, b: &Condition) -> bool {
    a.codes.iter().any(|a| {
        b.codes
            .iter()
            .any(|b| a.first <= b.last && b.first <= a.last)
    })
}
