//! Which identifiers somebody cares for: lets a reader pass over frames nobody mapped.

use crate::entry::FrameId;

/// A set of identifiers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IdFilter {
    // One bit for each 11-bit identifier.
    standard: [u64; 32],
    // 29-bit identifiers: number and the bits that must agree.
    extended: Vec<(u32, u32)>,
}

impl IdFilter {
    /// The set of these identifiers, each with the bits of it that do not matter.
    pub fn new(ids: impl IntoIterator<Item = (FrameId, u32)>) -> IdFilter {
        let mut filter = IdFilter {
            standard: [0; 32],
            extended: Vec::new(),
        };
        for (id, ignored) in ids {
            let matters = !ignored;
            if id.is_extended() {
                filter.extended.push((id.number() & matters, matters));
                continue;
            }
            for number in (0..0x800_u32).filter(|number| (number ^ id.number()) & matters == 0) {
                filter.standard[(number / 64) as usize] |= 1 << (number % 64);
            }
        }
        filter
    }

    /// Whether an identifier is in the set.
    #[inline]
    pub fn wants(&self, id: FrameId) -> bool {
        let number = id.number();
        match id.is_extended() {
            true => self
                .extended
                .iter()
                .any(|(wanted, matters)| number & matters == *wanted),
            false => self.standard[(number / 64) as usize & 31] >> (number % 64) & 1 == 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_kinds_and_ignored_bits() {
        let standard = |number| FrameId::standard(number).unwrap();
        let extended = |number| FrameId::extended(number).unwrap();
        let filter = IdFilter::new([
            (standard(0x123), 0),
            (standard(0x700), 0x00F),
            (extended(0x18FE_BF0B), 0xFF),
        ]);
        for (id, is_wanted) in [
            (standard(0x123), true),
            (standard(0x124), false),
            (standard(0x70F), true),
            (standard(0x710), false),
            (extended(0x123), false),
            (extended(0x18FE_BF21), true),
            (extended(0x18FE_BE0B), false),
        ] {
            assert_eq!(filter.wants(id), is_wanted, "{id}");
        }
    }
}
