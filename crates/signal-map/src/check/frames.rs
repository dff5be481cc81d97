//! Frames: identifier, length, period, counter, checksum, pages.
//!
//! Pages are flattened: each signal carries the conditions of the pages it stands on.

use super::Check;
use super::overlap::Used;
use crate::map::{BitField, BitRun, Checksum, CodeRange, Condition, Counter, FrameSpec};
use crate::mistakes::MistakeCode::{
    BitBeyondFrame, BitField as BadBits, CodeTooLarge, DoubleFrame, FrameLength, RangeEmpty,
    TooLarge,
};
use crate::mistakes::Span;
use crate::syntax::forms::FormName;
use crate::syntax::slots::Slot;
use crate::syntax::tree::Fact;
use halfshaft_model::FrameId;

/// Most frames of a map.
const MOST_FRAMES: usize = 2000;
/// Most signals of a frame.
const MOST_SIGNALS: usize = 400;
/// Most pages inside one another.
const DEEPEST_PAGE: usize = 4;
/// Length of a frame whose map states none: the full classic frame.
const USUAL_LENGTH: u16 = 8;

/// What signals of a page have in common.
#[derive(Clone)]
pub(super) struct PageState {
    /// Index of the frame.
    pub frame: usize,
    /// The conditions of the pages around.
    pub conditions: Vec<Condition>,
    /// Time between frames, s; `None` on a page that states none.
    pub period_s: Option<f64>,
}

impl<'t> Check<'t> {
    pub(super) fn frames(&mut self) {
        for fact in self.top(FormName::Frame) {
            let (id, id_span, bus) = match fact.slots.as_slice() {
                [Slot::Id(id, span)] => (*id, *span, None),
                [Slot::Id(id, span), Slot::Name(bus, bus_span)] => {
                    (*id, *span, self.bus(bus, *bus_span))
                }
                _ => continue,
            };
            if self.map.frames.len() >= MOST_FRAMES {
                let message = format!("a map describes at most {MOST_FRAMES} frames");
                self.mistake(id_span, TooLarge, message);
                return;
            }
            self.frame(fact, id, id_span, bus);
        }
    }

    fn bus(&mut self, name: &str, span: Span) -> Option<usize> {
        let known = self.buses.get(name).copied();
        if known.is_none() {
            let message = format!("this map describes no bus `{name}`");
            let names = self.buses.keys().map(String::as_str);
            let suggestion = format!(
                "write `bus {name}` at the left margin, or leave `on {name}` out for any bus"
            );
            let fault = self
                .tree
                .unknown_name(name, span, message, names, &suggestion);
            self.gathered.mistakes(fault);
        }
        known
    }

    fn frame(&mut self, fact: &'t Fact, id: FrameId, id_span: Span, bus: Option<usize>) {
        let ignored_id_bits = self.ignored_id_bits(fact, id);
        let spec = FrameSpec {
            id: without(id, ignored_id_bits),
            ignored_id_bits,
            bus,
            length: self.length(fact),
            period_s: self.period(fact),
            counter: None,
            checksum: None,
            signals: Vec::new(),
            line: fact.line,
        };
        if let Some(other) = self
            .map
            .frames
            .iter()
            .find(|other| both_answer(other, &spec))
        {
            let line = other.line;
            let message =
                format!("line {line} already describes a frame that answers to {id} on this bus");
            let suggestion = "put its signals there, or state the buses";
            self.mistake_with(id_span, DoubleFrame, message, suggestion);
        }
        let mut used = Vec::new();
        let state = PageState {
            frame: self.map.frames.len(),
            conditions: Vec::new(),
            period_s: spec.period_s,
        };
        self.map.frames.push(spec);
        self.frame_facts.push(fact);
        self.counter(fact, state.frame, &mut used);
        self.checksum(fact, state.frame, &mut used);
        self.page_facts(fact, &state, &mut used);
        self.overlaps(used);
    }

    fn page_facts(&mut self, fact: &'t Fact, state: &PageState, used: &mut Vec<Used>) {
        for under in &fact.facts {
            match (under.form, under.slots.as_slice()) {
                (FormName::Page, [Slot::Bits(bits, span), Slot::Codes(codes, codes_span)]) => {
                    let what = "the page number";
                    self.inside(bits, *span, state.frame, what);
                    self.codes_fit(codes, bits, *codes_span);
                    if state.conditions.len() >= DEEPEST_PAGE {
                        let message = format!("pages are nested at most {DEEPEST_PAGE} deep");
                        self.mistake(*span, TooLarge, message);
                        continue;
                    }
                    let mut inner = state.clone();
                    let page = Used::new(what, bits, &inner.conditions, *span, under.line);
                    used.push(page.selector());
                    inner.conditions.push(Condition {
                        bits: bits.clone(),
                        codes: codes.clone(),
                    });
                    inner.period_s = self.period(under);
                    self.page_facts(under, &inner, used);
                }
                (FormName::Signal, [Slot::Name(name, name_span), Slot::Bits(bits, span)]) => {
                    if self.map.frames[state.frame].signals.len() >= MOST_SIGNALS {
                        let message = format!("a frame carries at most {MOST_SIGNALS} signals");
                        self.mistake(*span, TooLarge, message);
                        return;
                    }
                    let what = format!("`{name}`");
                    self.inside(bits, *span, state.frame, &what);
                    let mut entry = Used::new(&what, bits, &state.conditions, *span, under.line);
                    entry.shares = under.states(FormName::SharesBits);
                    used.push(entry);
                    self.signal(under, (name, *name_span), (bits, *span), state);
                }
                _ => {}
            }
        }
    }

    fn length(&mut self, fact: &'t Fact) -> u16 {
        let Some([Slot::Integer(length, span)]) = fact.slots_of(FormName::Length) else {
            return USUAL_LENGTH;
        };
        if !matches!(length, 1..=8 | 12 | 16 | 20 | 24 | 32 | 48 | 64) {
            self.mistake_with(
                *span,
                FrameLength,
                format!("no frame has {length} bytes"),
                "a classic frame has up to 8, a CAN FD frame also 12, 16, 20, 24, 32, 48 or 64",
            );
        }
        (*length).clamp(1, 64) as u16
    }

    fn period(&mut self, fact: &'t Fact) -> Option<f64> {
        let period = self.figure(fact.find(FormName::Every)?)?;
        Some(period.value)
    }

    fn ignored_id_bits(&mut self, fact: &'t Fact, id: FrameId) -> u32 {
        let mut ignored = 0;
        for under in fact.all(FormName::IgnoreIdBits) {
            let [Slot::IdBits(mask, span)] = under.slots.as_slice() else {
                continue;
            };
            if !id.is_extended() && *mask > 0x7FF {
                self.mistake(*span, RangeEmpty, format!("{id} has 11 bits, 10 to 0"));
            }
            ignored |= mask;
        }
        ignored
    }

    fn counter(&mut self, fact: &'t Fact, frame: usize, used: &mut Vec<Used>) {
        let Some(under) = fact.find(FormName::Counter) else {
            return;
        };
        let [Slot::Bits(bits, span), Slot::Integer(step, step_span)] = under.slots.as_slice()
        else {
            return;
        };
        self.inside(bits, *span, frame, "the counter");
        let (n, most) = (bits.width(), largest(bits));
        if !(1..=most).contains(step) {
            let message = format!("a counter of {n} bits steps by 1 to {most}");
            self.mistake(*step_span, RangeEmpty, message);
        }
        used.push(Used::new("the counter", bits, &[], *span, under.line).selector());
        self.map.frames[frame].counter = Some(Counter {
            bits: bits.clone(),
            step: *step,
        });
    }

    fn checksum(&mut self, fact: &'t Fact, frame: usize, used: &mut Vec<Used>) {
        let Some(under) = fact.find(FormName::Checksum) else {
            return;
        };
        let [
            Slot::Bits(bits, span),
            Slot::Rule(rule),
            Slot::Integer(first, _),
            Slot::Integer(last, last_span),
            start @ ..,
        ] = under.slots.as_slice()
        else {
            return;
        };
        let start = match start {
            [Slot::Integer(start, start_span)] => {
                if *start > 0xFF {
                    let message = "a checksum starts from one byte, 0x00 to 0xFF";
                    self.mistake(*start_span, CodeTooLarge, message);
                }
                Some(*start as u8)
            }
            _ => None,
        };
        self.inside(bits, *span, frame, "the checksum");
        // A narrower one is the low end of the byte.
        if bits.width() > 8 {
            let n = bits.width();
            let message = format!("a checksum is at most 8 bits wide, and these are {n}");
            self.mistake(*span, BadBits, message);
        }
        if first > last {
            return self.mistake(*last_span, RangeEmpty, "the range of bytes runs backwards");
        }
        let spec = &self.map.frames[frame];
        if *last >= u64::from(spec.length) {
            let (id, length) = (spec.id, bytes_of(spec.length));
            let message = format!("byte {last} is covered, but frame {id} has {length}");
            return self.mistake(*last_span, BitBeyondFrame, message);
        }
        let is_covered = |run: &BitRun| (*first..=*last).contains(&u64::from(run.byte));
        if bits.runs.iter().any(is_covered) {
            self.mistake(*last_span, RangeEmpty, "the checksum would cover itself");
        }
        used.push(Used::new("the checksum", bits, &[], *span, under.line));
        self.map.frames[frame].checksum = Some(Checksum {
            bits: bits.clone(),
            rule: *rule,
            first_byte: *first as u16,
            last_byte: *last as u16,
            start,
        });
    }

    /// Complains when bits lie beyond the end of their frame.
    pub(super) fn inside(&mut self, bits: &BitField, span: Span, frame: usize, what: &str) {
        let FrameSpec { id, length, .. } = self.map.frames[frame];
        if bits.n_bytes() <= usize::from(length) {
            return;
        }
        let (last, length) = (bits.n_bytes() - 1, bytes_of(length));
        self.mistake_with(
            span,
            BitBeyondFrame,
            format!("{what} ends at byte {last}, but frame {id} has {length}"),
            "bytes count from 0; or state the `length` of the frame",
        );
    }

    /// Complains when a code does not fit in its bits.
    pub(super) fn codes_fit(&mut self, codes: &[CodeRange], bits: &BitField, span: Span) {
        let (n, most) = (bits.width(), largest(bits));
        if let Some(CodeRange { last, .. }) = codes.iter().find(|range| range.last > most) {
            let message =
                format!("code 0x{last:X} does not fit in {n} bits, which end at 0x{most:X}");
            self.mistake(span, CodeTooLarge, message);
        }
    }
}

/// The largest code of a field.
fn largest(bits: &BitField) -> u64 {
    u64::MAX.checked_shr(64 - bits.width().min(64)).unwrap_or(0)
}

fn bytes_of(length: u16) -> String {
    match length {
        1 => "1 byte (0)".to_owned(),
        n => format!("{n} bytes (0 to {})", n - 1),
    }
}

fn without(id: FrameId, ignored: u32) -> FrameId {
    let number = id.number() & !ignored;
    let bare = if id.is_extended() {
        FrameId::extended(number)
    } else {
        FrameId::standard(number)
    };
    bare.unwrap_or(id)
}

fn both_answer(a: &FrameSpec, b: &FrameSpec) -> bool {
    let ignored = a.ignored_id_bits | b.ignored_id_bits;
    let same_id = without(a.id, ignored) == without(b.id, ignored);
    same_id && (a.bus == b.bus || a.bus.is_none() || b.bus.is_none())
}
