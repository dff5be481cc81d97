//! Remarks: what looks wrong between a map and a log, in the words of the trade.

use std::fmt;

/// What kind of remark; the words are stable.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A frame or a channel the log does not carry.
    NeverSeen,
    /// A period off by more than a fifth.
    PeriodOff,
    /// Another length than stated.
    OtherLength,
    /// Frames lost by their counter.
    CounterSkips,
    /// Checksums that do not fit.
    ChecksumFails,
    /// A frame on more than one bus, where the map does not say which.
    OnTwoBuses,
    /// Values outside the range the map believes.
    BeyondBelief,
    /// High and low byte look exchanged.
    ByteSwapped,
    /// A factor between channels that should agree.
    WronglyScaled,
    /// The same number while others move.
    Stuck,
    /// Left and right look exchanged.
    LeftRightExchanged,
    /// A sign that disagrees with the others.
    SignReversed,
    /// Two channels that are the same signal.
    SameSignal,
    /// A supply voltage no running car has.
    VoltageOdd,
    /// A temperature that jumps.
    TemperatureJumps,
    /// The log's clock is passed through twice.
    TimeTwice,
}

impl Kind {
    /// What a right map does not raise: the checks that the values make sense.
    pub const OF_VALUES: [Kind; 9] = [
        Kind::BeyondBelief,
        Kind::ByteSwapped,
        Kind::WronglyScaled,
        Kind::Stuck,
        Kind::LeftRightExchanged,
        Kind::SignReversed,
        Kind::SameSignal,
        Kind::VoltageOdd,
        Kind::TemperatureJumps,
    ];

    /// The stable word.
    pub fn word(self) -> &'static str {
        match self {
            Kind::NeverSeen => "never-seen",
            Kind::PeriodOff => "period-off",
            Kind::OtherLength => "other-length",
            Kind::CounterSkips => "counter-skips",
            Kind::ChecksumFails => "checksum-fails",
            Kind::OnTwoBuses => "on-two-buses",
            Kind::BeyondBelief => "beyond-belief",
            Kind::ByteSwapped => "byte-swapped",
            Kind::WronglyScaled => "wrongly-scaled",
            Kind::Stuck => "stuck",
            Kind::LeftRightExchanged => "left-right-exchanged",
            Kind::SignReversed => "sign-reversed",
            Kind::SameSignal => "same-signal",
            Kind::VoltageOdd => "voltage-odd",
            Kind::TemperatureJumps => "temperature-jumps",
            Kind::TimeTwice => "time-twice",
        }
    }
}

/// One remark.
#[derive(Clone, Debug, PartialEq)]
pub struct Remark {
    /// What kind.
    pub kind: Kind,
    /// The frame or channel it is about.
    pub subject: String,
    /// In words, numbers included.
    pub text: String,
    /// The numbers it rests on: name and value, SI.
    pub numbers: Vec<(&'static str, f64)>,
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} [{}]", self.subject, self.text, self.kind.word())
    }
}
