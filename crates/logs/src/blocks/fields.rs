//! Numbers and options inside a block, in the byte order of its section.

/// Which end of a number comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Order {
    /// The little end.
    Little,
    /// The big end.
    Big,
}

/// Some bytes of a block. Whatever lies behind them is `None`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fields<'a> {
    /// The bytes.
    pub bytes: &'a [u8],
    /// The byte order of the section.
    pub order: Order,
}

impl<'a> Fields<'a> {
    fn at<const N: usize>(&self, at: usize) -> Option<[u8; N]> {
        self.bytes.get(at..)?.first_chunk().copied()
    }

    /// Two bytes.
    #[inline]
    pub fn u16(&self, at: usize) -> Option<u16> {
        let bytes = self.at(at)?;
        Some(match self.order {
            Order::Little => u16::from_le_bytes(bytes),
            Order::Big => u16::from_be_bytes(bytes),
        })
    }

    /// Four bytes.
    #[inline]
    pub fn u32(&self, at: usize) -> Option<u32> {
        let bytes = self.at(at)?;
        Some(match self.order {
            Order::Little => u32::from_le_bytes(bytes),
            Order::Big => u32::from_be_bytes(bytes),
        })
    }

    /// Eight bytes.
    #[inline]
    pub fn u64(&self, at: usize) -> Option<u64> {
        let bytes = self.at(at)?;
        Some(match self.order {
            Order::Little => u64::from_le_bytes(bytes),
            Order::Big => u64::from_be_bytes(bytes),
        })
    }

    /// A time in two halves, the high one first.
    #[inline]
    pub fn halves(&self, at: usize) -> Option<u64> {
        Some(u64::from(self.u32(at)?) << 32 | u64::from(self.u32(at + 4)?))
    }

    /// The options from here on, up to their end or to what is no option.
    pub fn options(&self, at: usize) -> Options<'a> {
        Options {
            rest: Fields {
                bytes: self.bytes.get(at..).unwrap_or(&[]),
                order: self.order,
            },
        }
    }
}

/// Options, each with its code.
pub(crate) struct Options<'a> {
    rest: Fields<'a>,
}

impl<'a> Iterator for Options<'a> {
    type Item = (u16, Fields<'a>);

    fn next(&mut self) -> Option<(u16, Fields<'a>)> {
        let (code, length) = (self.rest.u16(0)?, usize::from(self.rest.u16(2)?));
        if code == 0 {
            return None;
        }
        let bytes = self.rest.bytes.get(4..4 + length)?;
        let next = 4 + length.next_multiple_of(4);
        self.rest.bytes = self.rest.bytes.get(next..).unwrap_or(&[]);
        let order = self.rest.order;
        Some((code, Fields { bytes, order }))
    }
}
