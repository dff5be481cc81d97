//! Notices: the data was damaged, the result stands. Counted by code.
//!
//! A million bad lines cost one line of output: one notice per code, with a count,
//! the first place and one example. Codes are stable kebab-case words; `docs/notices.md`
//! is printed from [`Code::ALL`].

use std::collections::BTreeMap;
use std::fmt;

/// Where in a log something was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogPlace {
    /// File name without its folder, or `standard input`.
    pub source: String,
    /// Line of a text, from 1; byte of a binary log; 0 when it concerns all of it.
    pub line: u64,
}

impl fmt::Display for LogPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => write!(f, "{}", self.source),
            line => write!(f, "{}:{line}", self.source),
        }
    }
}

/// Declares stable codes once: the enum, its words and their meanings.
#[macro_export]
macro_rules! codes {
    ($doc:literal $name:ident { $($variant:ident $word:literal $meaning:literal)* }) => {
        #[doc = $doc]
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $(#[doc = $meaning] $variant,)* }

        impl $name {
            /// Every code, in the order of the documentation.
            pub const ALL: &'static [$name] = &[$($name::$variant,)*];

            /// The stable word.
            pub fn word(self) -> &'static str {
                match self { $($name::$variant => $word,)* }
            }

            /// What it means, in one sentence.
            pub fn meaning(self) -> &'static str {
                match self { $($name::$variant => $meaning,)* }
            }
        }
    };
}

codes! { "What was wrong with the data." Code {
    LineUnreadable "line-unreadable" "A line is not in the form of this log; it was skipped."
    LineTooLong "line-too-long" "A line is longer than any entry can be; it was skipped to its end."
    LineTruncated "line-truncated" "The last line ends in the middle of an entry; it was skipped."
    BytesUndecodable "bytes-undecodable" "Bytes are not text in the encoding of this file; they were replaced."
    BlockDamaged "block-damaged" "Bytes of a binary log are not in its form; they were passed over up to the next that are."
    SegmentTorn "segment-torn" "Bytes of a recording were torn by a cut of the power and set aside beside their segment; they were not read."
    PacketForeign "packet-foreign" "A packet is of another kind of network, or of CAN XL; it was passed over."
    InputTruncated "input-truncated" "Compressed or binary input ends early or is damaged; what came before was read."
    RowWidth "row-width" "A row of a sheet has fewer or more cells than its header; the cells that are there were read."
    CellUnreadable "cell-unreadable" "A cell is neither a number nor a mark for missing; it was taken as missing."
    TimeUnreadable "time-unreadable" "A row or a frame has no readable time; it was skipped."
    HeaderRepeated "header-repeated" "The header of a sheet stands again among its rows; columns were matched anew."
    RowOutOfOrder "row-out-of-order" "A row is older than the one before it by less than two seconds; it was put in order."
    TimeShared "time-shared" "Rows of a sheet have one time and the same columns; in their order they were set evenly up to the next time."
    ErrorFrame "error-frame" "The controller reported a bus error; counted, not decoded."
    FramesLost "frames-lost" "Frames that went by on the bus and that the recorder did not get, by its own count."
    RemoteFrame "remote-frame" "A remote request; counted, not decoded."
    ClockSilence "clock-silence" "The whole log is silent for more than 30 s; nothing was carried across."
    ClockJumpForward "clock-jump-forward" "The log's clock was set forward; the stretch was split and no time was invented."
    ClockJumpBack "clock-jump-back" "The log's clock stepped back; the stretch was split and the order of arrival kept."
    StampOff "stamp-off" "A stamp is far from those before and after it; its entry was not used."
    FrameDuplicated "frame-duplicated" "The same frame stands twice within a fifth of its period; the copy was dropped."
    FrameLate "frame-late" "A frame is older than one of the same kind before it; it was dropped."
    FrameLength "frame-length" "A mapped frame has another length than the map states; signals beyond its end are missing."
    CounterSkipped "counter-skipped" "A rolling counter skipped: frames were lost."
    ChecksumWrong "checksum-wrong" "A checksum does not fit its frame; the frame was not used."
    ValueBeyondBelief "value-beyond-belief" "A value is outside the range the map believes; it was taken as missing."
    ValueTooFast "value-too-fast" "A value changes faster than the map believes; it was taken as missing."
    SignalBroken "signal-broken" "The car itself reports a signal as faulty; it was taken as missing."
    ValueNotFinite "value-not-finite" "A floating-point signal is not a finite number; it was taken as missing."
} }

/// One code's tally.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tally {
    /// How often.
    pub count: u64,
    /// Where first.
    pub first: LogPlace,
    /// What was found there, short.
    pub example: String,
}

/// Notices by code.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Notices {
    tallies: BTreeMap<Code, Tally>,
}

impl Notices {
    /// Counts one; place and example are asked for only the first time.
    #[cold]
    pub fn count(&mut self, code: Code, first: impl FnOnce() -> (LogPlace, String)) {
        self.count_many(code, 1, first);
    }

    /// Counts several at one place.
    #[cold]
    pub fn count_many(&mut self, code: Code, n: u64, first: impl FnOnce() -> (LogPlace, String)) {
        if let Some(tally) = self.tallies.get_mut(&code) {
            tally.count = tally.count.saturating_add(n);
            return;
        }
        let (first, example) = first();
        let tally = Tally {
            count: n,
            first,
            example,
        };
        self.tallies.insert(code, tally);
    }

    /// Adds another set; the first place of `self` stays the first.
    pub fn merge(&mut self, other: Notices) {
        for (code, tally) in other.tallies {
            match self.tallies.get_mut(&code) {
                Some(known) => known.count += tally.count,
                None => {
                    self.tallies.insert(code, tally);
                }
            }
        }
    }

    /// How often a code was counted.
    pub fn n(&self, code: Code) -> u64 {
        self.tallies.get(&code).map_or(0, |tally| tally.count)
    }

    /// All tallies, in the order of the documentation.
    pub fn iter(&self) -> impl Iterator<Item = (Code, &Tally)> {
        self.tallies.iter().map(|(&code, tally)| (code, tally))
    }

    /// Whether nothing was counted.
    pub fn is_empty(&self) -> bool {
        self.tallies.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_million_bad_lines_cost_one_entry_with_the_first_place() {
        let mut notices = Notices::default();
        for line in 7..1_000_007 {
            notices.count(Code::LineUnreadable, || {
                let source = "a.log".to_owned();
                (LogPlace { source, line }, "xx".to_owned())
            });
        }
        let all: Vec<_> = notices.iter().collect();
        assert_eq!(all.len(), 1);
        assert_eq!(all[0].1.count, 1_000_000);
        assert_eq!(all[0].1.first.to_string(), "a.log:7");
    }

    #[test]
    fn words_are_unique_and_kebab_case() {
        let mut words: Vec<_> = Code::ALL.iter().map(|code| code.word()).collect();
        assert!(
            words
                .iter()
                .all(|word| word.chars().all(|c| c.is_ascii_lowercase() || c == '-'))
        );
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), Code::ALL.len());
    }
}
