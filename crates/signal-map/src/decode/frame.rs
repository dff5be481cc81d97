//! One frame of the map at work: which of the log's frames count, and what they say.
//!
//! In: data frames that carry its identifier, on buses the map allows. Out: samples, and
//! a notice for every frame or sample that was not used.

use halfshaft_model::{Block, Code, FrameId, LogPlace, Notices, Time};

use super::Origin;
use super::bits;
use super::channels::{self, Channels};
use super::checksum;
use super::counter::{self, Step};
use super::coverage::FrameCoverage;
use super::period::LogMedian;
use super::quick::head;
use super::signal::SignalState;
use crate::map::{FrameSpec, Map, Signal};

/// A frame seen again within this share of its period is a copy.
/// Source: job practice for logs of two taps; a fifth.
const COPY_WITHIN_PERIODS: f64 = 0.2;
/// Where the map states no period, a copy comes within this at most, s: a log that lost
/// frames teaches too long a period. Source: none, engineering guess.
const COPY_WITHIN_LEARNED_S: f64 = 0.002;
/// The same while no period is learned yet, s: two frames of one identifier are never
/// sent that close. Source: none, engineering guess (two frame times at 500 kbit/s).
const COPY_WITHIN_S: f64 = 0.0005;
/// Bytes of a payload that are compared as one number, [`head`].
const HEAD_BYTES: usize = 8;
/// When the bus a frame is taken from has been silent for this many periods, and for at
/// least a second, another bus that carries it takes over. Source: none, engineering guess.
const BUS_LOST_PERIODS: f64 = 10.0;

/// One data frame of the log.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Arrival<'a> {
    pub(crate) time: Time,
    pub(crate) bus: u16,
    pub(crate) id: FrameId,
    pub(crate) payload: &'a [u8],
    pub(crate) origin: Origin<'a>,
}

impl Arrival<'_> {
    pub(crate) fn place(&self) -> LogPlace {
        self.origin.place()
    }
}

/// A frame of the map with its state.
#[derive(Clone, Debug)]
pub(crate) struct FrameState {
    spec: FrameSpec,
    signals: Vec<SignalState>,
    // The bus it is taken from, and the one it was last taken from before a cut.
    bus: Option<u16>,
    bus_seen: Option<u16>,
    last: Option<Last>,
    // Payload of the last frame, where eight bytes do not hold it.
    payload: Vec<u8>,
    gaps: LogMedian,
    // How many frames of each length, as far as the longest seen.
    lengths: Vec<u64>,
    tally: FrameCoverage,
}

// What is remembered of the frame before, within a piece of the timeline.
#[derive(Clone, Copy, Debug)]
struct Last {
    time: Time,
    id: FrameId,
    length: usize,
    head: u64,
    count: Option<u64>,
}

impl FrameState {
    pub(crate) fn new(spec: &FrameSpec, map: &Map) -> FrameState {
        let of_channels = |signal: &&Signal| signal.channel < map.channels.len();
        let signals = spec.signals.iter().filter(of_channels);
        let signals = signals
            .map(|signal| SignalState::new(signal, &map.channels[signal.channel].name))
            .collect();
        FrameState {
            spec: spec.clone(),
            signals,
            bus: None,
            bus_seen: None,
            last: None,
            payload: Vec::new(),
            gaps: LogMedian::default(),
            lengths: Vec::new(),
            tally: FrameCoverage::default(),
        }
    }

    /// Forgets what may not be compared across a cut.
    pub(crate) fn cut(&mut self) {
        self.last = None;
        self.bus = None;
        self.signals.iter_mut().for_each(SignalState::cut);
    }

    pub(crate) fn coverage(&self, bus_name: impl Fn(u16) -> String) -> FrameCoverage {
        let lengths = (0..).zip(self.lengths.iter().copied());
        FrameCoverage {
            bus: self.bus_seen.map(bus_name),
            period_s: self.gaps.median(),
            lengths: lengths.filter(|(_, n)| *n > 0).collect(),
            ..self.tally.clone()
        }
    }

    fn period_s(&self) -> Option<f64> {
        self.spec.period_s.or_else(|| self.gaps.usual())
    }

    /// Takes one frame.
    #[inline(never)]
    pub(crate) fn take(
        &mut self,
        arrival: &Arrival,
        channels: &mut Channels,
        notices: &mut Notices,
        block: &mut Block,
    ) {
        let head = head(arrival.payload);
        let gap_s = self.last.as_ref().map(|last| arrival.time.since(last.time));
        if !self.is_our_bus(arrival, gap_s, notices)
            || self.is_copy_or_late(arrival, head, gap_s, notices)
        {
            return;
        }
        let length = arrival.payload.len();
        self.tally.n_seen += 1;
        self.bus_seen = self.bus;
        if length >= self.lengths.len() {
            self.lengths.resize(length + 1, 0);
        }
        self.lengths[length] += 1;
        if self.spec.length != 0 && length != usize::from(self.spec.length) {
            self.tally.n_other_length += 1;
            notices.count(Code::FrameLength, || {
                let example = format!(
                    "{} has {length} bytes, the map says {}",
                    arrival.id, self.spec.length
                );
                (arrival.place(), example)
            });
        }
        if let Some(gap_s) = gap_s {
            self.gaps.add(gap_s);
            self.tally_gap(gap_s);
        }
        let is_right = self.check_sum(arrival, notices);
        // The count of a damaged frame is not to be trusted either.
        let count = if is_right {
            self.check_count(arrival, gap_s, notices)
        } else {
            None
        };
        let known_count = self.last.as_ref().and_then(|last| last.count);
        if length > HEAD_BYTES {
            self.payload.clear();
            self.payload.extend_from_slice(arrival.payload);
        }
        self.last = Some(Last {
            time: arrival.time,
            id: arrival.id,
            length,
            head,
            count: count.or(known_count),
        });
        if !is_right {
            return;
        }
        self.tally.n_used += 1;
        let mut has_room = true;
        let heads = [head, head.swap_bytes()];
        for signal in &mut self.signals {
            if let Some(value) = signal.value(arrival, heads, notices) {
                has_room &= channels.push(signal.channel(), arrival.time, value, block);
            }
        }
        if !has_room {
            self.count_late(arrival, notices);
        }
    }

    fn tally_gap(&mut self, gap_s: f64) {
        let usual_s = channels::REACH_PERIODS * self.period_s().unwrap_or(0.0);
        if gap_s > usual_s.max(channels::SHORTEST_REACH_S) {
            self.tally.n_gaps += 1;
            self.tally.in_gaps_s += gap_s;
        }
        let longest_s = self
            .tally
            .longest_gap_s
            .map_or(gap_s, |longest_s| longest_s.max(gap_s));
        self.tally.longest_gap_s = Some(longest_s);
    }

    // One bus only: a gateway's copies on another would be taken twice.
    #[inline]
    fn is_our_bus(&mut self, arrival: &Arrival, gap_s: Option<f64>, notices: &mut Notices) -> bool {
        let Some(bus) = self.bus else {
            self.bus = Some(arrival.bus);
            return true;
        };
        if bus == arrival.bus {
            return true;
        }
        let lost_after_s = (BUS_LOST_PERIODS * self.period_s().unwrap_or(0.0)).max(1.0);
        if gap_s.is_some_and(|gap_s| gap_s > lost_after_s) {
            self.bus = Some(arrival.bus);
            return true;
        }
        self.tally.n_elsewhere += 1;
        notices.count(Code::FrameDuplicated, || {
            (
                arrival.place(),
                format!("{} is on a second bus, too; the first is used", arrival.id),
            )
        });
        false
    }

    #[inline]
    fn is_copy_or_late(
        &mut self,
        arrival: &Arrival,
        head: u64,
        gap_s: Option<f64>,
        notices: &mut Notices,
    ) -> bool {
        let (Some(last), Some(gap_s)) = (&self.last, gap_s) else {
            return false;
        };
        let share_s = |period_s: f64| COPY_WITHIN_PERIODS * period_s;
        let copy_within_s = match (self.spec.period_s, self.gaps.usual()) {
            (Some(stated_s), _) => share_s(stated_s),
            (None, Some(learned_s)) => share_s(learned_s).min(COPY_WITHIN_LEARNED_S),
            (None, None) => COPY_WITHIN_S,
        };
        // The same payload carries the same count.
        if gap_s.abs() <= copy_within_s
            && last.id == arrival.id
            && last.length == arrival.payload.len()
            && last.head == head
            && (last.length <= HEAD_BYTES || self.payload == arrival.payload)
        {
            self.tally.n_duplicated += 1;
            notices.count(Code::FrameDuplicated, || {
                (
                    arrival.place(),
                    format!("{} again after {:.3} ms", arrival.id, gap_s * 1e3),
                )
            });
            return true;
        }
        if gap_s < 0.0 {
            self.count_late(arrival, notices);
            return true;
        }
        false
    }

    fn count_late(&mut self, arrival: &Arrival, notices: &mut Notices) {
        self.tally.n_late += 1;
        notices.count(Code::FrameLate, || {
            (
                arrival.place(),
                format!("{} is not later than one before it", arrival.id),
            )
        });
    }

    fn check_sum(&mut self, arrival: &Arrival, notices: &mut Notices) -> bool {
        // A frame too short for its checksum is a short frame, not a wrong one.
        let rule = self.spec.checksum.as_ref();
        if rule.and_then(|rule| checksum::fits(rule, arrival.payload)) != Some(false) {
            return true;
        }
        self.tally.n_checksum_wrong += 1;
        notices.count(Code::ChecksumWrong, || {
            (
                arrival.place(),
                format!("{} with bytes {}", arrival.id, hex(arrival.payload)),
            )
        });
        false
    }

    fn check_count(
        &mut self,
        arrival: &Arrival,
        gap_s: Option<f64>,
        notices: &mut Notices,
    ) -> Option<u64> {
        let counter = self.spec.counter.as_ref()?;
        let count = bits::extract(&counter.bits, arrival.payload)?;
        let Some(from) = self.last.as_ref().and_then(|last| last.count) else {
            return Some(count);
        };
        let n_periods = || {
            gap_s
                .zip(self.period_s())
                .map(|(gap_s, period_s)| gap_s / period_s)
        };
        match counter::step(from, count, counter.bits.width(), counter.step, n_periods) {
            Step::Right => {}
            Step::Stood => self.tally.n_counter_stood += 1,
            Step::Skipped(n_lost) => {
                self.tally.n_counter_skips += 1;
                self.tally.n_lost = self.tally.n_lost.saturating_add(n_lost);
                notices.count(Code::CounterSkipped, || {
                    let example = format!(
                        "{} counts {count} after {from}: about {n_lost} lost",
                        arrival.id
                    );
                    (arrival.place(), example)
                });
            }
        }
        Some(count)
    }
}

fn hex(payload: &[u8]) -> String {
    let bytes: Vec<String> = payload.iter().map(|byte| format!("{byte:02X}")).collect();
    bytes.join(" ")
}
