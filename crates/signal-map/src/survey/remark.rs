//! Remarks: what looks wrong between a map and a log, in the words of the trade.

use std::fmt;

halfshaft_model::codes! { "What kind of remark; the words are stable." Kind {
    NeverSeen "never-seen" "A frame or a channel the log does not carry."
    PeriodOff "period-off" "A period off by more than a fifth."
    OtherLength "other-length" "Another length than stated."
    CounterSkips "counter-skips" "Frames lost by their counter."
    ChecksumFails "checksum-fails" "Checksums that do not fit."
    OnTwoBuses "on-two-buses" "A frame on more than one bus, where the map states none."
    BeyondBelief "beyond-belief" "Values outside the range the map believes."
    ByteSwapped "byte-swapped" "High and low byte look swapped."
    WronglyScaled "wrongly-scaled" "A factor between channels that should agree."
    Stuck "stuck" "The same number while others move."
    LeftRightSwapped "left-right-exchanged" "Left and right look swapped."
    SignReversed "sign-reversed" "A sign that disagrees with the others."
    SameSignal "same-signal" "Two channels that are the same signal."
    VoltageOdd "voltage-odd" "A supply voltage no running car has."
    TemperatureJumps "temperature-jumps" "A temperature that jumps."
    TimeTwice "time-twice" "The log's clock is passed through twice."
} }

impl Kind {
    /// The checks that the values make sense: a right map raises none of them.
    pub const OF_VALUES: [Kind; 9] = [
        Kind::BeyondBelief,
        Kind::ByteSwapped,
        Kind::WronglyScaled,
        Kind::Stuck,
        Kind::LeftRightSwapped,
        Kind::SignReversed,
        Kind::SameSignal,
        Kind::VoltageOdd,
        Kind::TemperatureJumps,
    ];
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
