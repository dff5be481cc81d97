//! Everything in a log that may carry a number over time: fields of frames, columns of sheets.

use crate::curve::Curve;
use crate::field::{Field, Quality};

/// Where a signal stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// Bits of a frame: the identifier as an index, and the value of its page number.
    Bits {
        /// Index of the identifier.
        identifier: usize,
        /// Page, where the frame has pages.
        page: Option<u8>,
        /// Which bits and how they run.
        field: Field,
    },
    /// A column of a sheet, from 0.
    Column {
        /// Which column.
        column: usize,
    },
}

/// A signal and its values.
#[derive(Clone, Debug)]
pub struct Signal {
    /// Where it stands.
    pub place: Place,
    /// How its values run.
    pub quality: Quality,
    /// Median time between two, s.
    pub period_s: f64,
    /// Its values at the instants of all slots.
    pub curve: Curve,
    /// Lowest and highest value kept.
    pub span: (f64, f64),
}

impl Signal {
    /// The frame or sheet it stands in; pages of a frame are one.
    pub fn frame(&self) -> usize {
        match self.place {
            Place::Bits { identifier, .. } => identifier,
            Place::Column { .. } => usize::MAX,
        }
    }

    /// What bits it has, in short: width, byte order, and its place in the frame.
    pub fn layout(&self) -> Option<(usize, crate::field::Order, usize)> {
        match self.place {
            Place::Bits { field, .. } => {
                let bits = field.bits;
                Some((bits.n_bits, bits.order, bits.start + bits.n_bits))
            }
            Place::Column { .. } => None,
        }
    }

    /// Bits that its values are made of: what is above them never changed.
    pub fn n_bits(&self) -> Option<usize> {
        match self.place {
            Place::Bits { field, .. } => Some(field.bits.n_bits),
            Place::Column { .. } => None,
        }
    }
}
