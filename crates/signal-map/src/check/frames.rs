//! Frames: identifier, length, period, counter, checksum, pages.
//!
//! Pages are flattened: each signal carries the conditions of the pages it stands on.

use super::Check;
use super::overlap::Used;
use crate::map::{BitField, Checksum, CodeRange, Condition, Counter, FrameSpec};
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, did_you_mean};
use crate::syntax::tree::Fact;
use halfshaft_model::{Dimension, FrameId};

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
                self.gathered
                    .mistake(id_span, MistakeCode::TooLarge, message);
                return;
            }
            self.frame(fact, id, id_span, bus);
        }
    }

    fn bus(&mut self, name: &str, span: Span) -> Option<usize> {
        if let Some(index) = self.buses.get(name) {
            return Some(*index);
        }
        if !self.tree.lost.contains(name) {
            let mut suggestion = did_you_mean(name, self.buses.keys().map(String::as_str));
            if suggestion.is_empty() {
                suggestion = format!(
                    "write `bus {name}` at the left margin, or leave `on {name}` out for any bus"
                );
            }
            self.gathered.mistake_with(
                span,
                MistakeCode::UnknownName,
                format!("this map describes no bus `{name}`"),
                suggestion,
            );
        }
        None
    }

    fn frame(&mut self, fact: &'t Fact, id: FrameId, id_span: Span, bus: Option<usize>) {
        let ignored_id_bits = self.ignored_id_bits(fact, id);
        let mut spec = FrameSpec {
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
        let answers_too = self
            .map
            .frames
            .iter()
            .find(|other| both_answer(other, &spec))
            .map(|other| other.line);
        if let Some(line) = answers_too {
            let message =
                format!("line {line} already describes a frame that answers to {id} on this bus");
            self.gathered.mistake_with(
                id_span,
                MistakeCode::DoubleFrame,
                message,
                "put its signals there, or state the buses",
            );
        }
        let mut used = Vec::new();
        self.counter(fact, &mut spec, &mut used);
        self.checksum(fact, &mut spec, &mut used);
        let frame = self.map.frames.len();
        let state = PageState {
            frame,
            conditions: Vec::new(),
            period_s: spec.period_s,
        };
        self.map.frames.push(spec);
        self.frame_facts.push(fact);
        self.page_facts(fact, &state, &mut used);
        self.overlaps(used);
    }

    fn page_facts(&mut self, fact: &'t Fact, state: &PageState, used: &mut Vec<Used>) {
        for under in &fact.facts {
            match (under.form, under.slots.as_slice()) {
                (FormName::Page, [Slot::Bits(bits, span), Slot::Codes(codes, codes_span)]) => {
                    self.inside(bits, *span, state.frame, "the page number");
                    self.codes_fit(codes, bits, *codes_span);
                    if state.conditions.len() >= DEEPEST_PAGE {
                        let message = format!("pages are nested at most {DEEPEST_PAGE} deep");
                        self.gathered.mistake(*span, MistakeCode::TooLarge, message);
                        continue;
                    }
                    let mut inner = state.clone();
                    used.push(
                        Used::new(
                            "the page number",
                            bits,
                            &inner.conditions,
                            *span,
                            under.line,
                        )
                        .selector(),
                    );
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
                        self.gathered.mistake(*span, MistakeCode::TooLarge, message);
                        return;
                    }
                    self.inside(bits, *span, state.frame, &format!("`{name}`"));
                    let mut entry = Used::new(
                        &format!("`{name}`"),
                        bits,
                        &state.conditions,
                        *span,
                        under.line,
                    );
                    entry.shares = under.find(FormName::SharesBits).is_some();
                    used.push(entry);
                    self.signal(under, name, *name_span, bits, *span, state);
                }
                _ => {}
            }
        }
    }

    fn length(&mut self, fact: &'t Fact) -> u16 {
        let Some([Slot::Integer(length, span)]) = fact.slots_of(FormName::Length) else {
            return USUAL_LENGTH;
        };
        let is_possible = matches!(length, 1..=8 | 12 | 16 | 20 | 24 | 32 | 48 | 64);
        if !is_possible {
            self.gathered.mistake_with(
                *span,
                MistakeCode::FrameLength,
                format!("no frame has {length} bytes"),
                "a classic frame has up to 8, a CAN FD frame also 12, 16, 20, 24, 32, 48 or 64",
            );
        }
        (*length).clamp(1, 64) as u16
    }

    fn period(&mut self, fact: &'t Fact) -> Option<f64> {
        let Some([Slot::Quantity(quantity)]) = fact.slots_of(FormName::Every) else {
            return None;
        };
        self.positive(*quantity, Dimension::TIME, "a period")
    }

    fn ignored_id_bits(&mut self, fact: &'t Fact, id: FrameId) -> u32 {
        let mut ignored = 0;
        for under in fact
            .facts
            .iter()
            .filter(|under| under.form == FormName::IgnoreIdBits)
        {
            let [Slot::IdBits(mask, span)] = under.slots.as_slice() else {
                continue;
            };
            if !id.is_extended() && *mask > 0x7FF {
                self.gathered.mistake(
                    *span,
                    MistakeCode::RangeEmpty,
                    format!("{id} has 11 bits, 10 to 0"),
                );
            }
            ignored |= mask;
        }
        ignored
    }

    fn counter(&mut self, fact: &'t Fact, spec: &mut FrameSpec, used: &mut Vec<Used>) {
        let Some(under) = fact.find(FormName::Counter) else {
            return;
        };
        let [Slot::Bits(bits, span), Slot::Integer(step, step_span)] = under.slots.as_slice()
        else {
            return;
        };
        self.inside_of(bits, *span, spec.id, spec.length, "the counter");
        if *step == 0 || *step > largest(bits) {
            let message = format!(
                "a counter of {} bits steps by 1 to {}",
                n_bits(bits),
                largest(bits)
            );
            self.gathered
                .mistake(*step_span, MistakeCode::RangeEmpty, message);
        }
        used.push(Used::new("the counter", bits, &[], *span, under.line).selector());
        spec.counter = Some(Counter {
            bits: bits.clone(),
            step: *step,
        });
    }

    fn checksum(&mut self, fact: &'t Fact, spec: &mut FrameSpec, used: &mut Vec<Used>) {
        let Some(under) = fact.find(FormName::Checksum) else {
            return;
        };
        let (bits, span, rule, first, last, last_span, start) = match under.slots.as_slice() {
            [
                Slot::Bits(bits, span),
                Slot::Rule(rule),
                Slot::Integer(first, _),
                Slot::Integer(last, last_span),
            ] => (bits, *span, *rule, *first, *last, *last_span, None),
            [
                Slot::Bits(bits, span),
                Slot::Rule(rule),
                Slot::Integer(first, _),
                Slot::Integer(last, last_span),
                Slot::Integer(start, start_span),
            ] => {
                if *start > 0xFF {
                    self.gathered.mistake(
                        *start_span,
                        MistakeCode::CodeTooLarge,
                        "a checksum starts from one byte, 0x00 to 0xFF",
                    );
                }
                (
                    bits,
                    *span,
                    *rule,
                    *first,
                    *last,
                    *last_span,
                    Some(*start as u8),
                )
            }
            _ => return,
        };
        self.inside_of(bits, span, spec.id, spec.length, "the checksum");
        // A narrower one is the low end of the byte.
        if n_bits(bits) > 8 {
            let message = format!(
                "a checksum is at most 8 bits wide, and these are {}",
                n_bits(bits)
            );
            self.gathered.mistake(span, MistakeCode::BitField, message);
        }
        if first > last {
            self.gathered.mistake(
                last_span,
                MistakeCode::RangeEmpty,
                "the range of bytes runs backwards",
            );
            return;
        }
        if last >= u64::from(spec.length) {
            let message = format!(
                "byte {last} is covered, but frame {} has {}",
                spec.id,
                bytes_of(spec.length)
            );
            self.gathered
                .mistake(last_span, MistakeCode::BitBeyondFrame, message);
            return;
        }
        let covers_itself = bits
            .runs
            .iter()
            .any(|run| (first..=last).contains(&u64::from(run.byte)));
        if covers_itself {
            self.gathered.mistake(
                last_span,
                MistakeCode::RangeEmpty,
                "the checksum would cover itself",
            );
        }
        used.push(Used::new("the checksum", bits, &[], span, under.line));
        spec.checksum = Some(Checksum {
            bits: bits.clone(),
            rule,
            first_byte: first as u16,
            last_byte: last as u16,
            start,
        });
    }

    /// Complains when bits lie beyond the end of their frame.
    pub(super) fn inside(&mut self, bits: &BitField, span: Span, frame: usize, what: &str) {
        let spec = &self.map.frames[frame];
        let (id, length) = (spec.id, spec.length);
        self.inside_of(bits, span, id, length, what);
    }

    fn inside_of(&mut self, bits: &BitField, span: Span, id: FrameId, length: u16, what: &str) {
        let Some(last) = bits
            .runs
            .iter()
            .map(|run| run.byte)
            .max()
            .filter(|last| *last >= length)
        else {
            return;
        };
        let message = format!(
            "{what} ends at byte {last}, but frame {id} has {}",
            bytes_of(length)
        );
        self.gathered.mistake_with(
            span,
            MistakeCode::BitBeyondFrame,
            message,
            "bytes count from 0; or state the `length` of the frame",
        );
    }

    /// Complains when a code does not fit in its bits.
    pub(super) fn codes_fit(&mut self, codes: &[CodeRange], bits: &BitField, span: Span) {
        let most = largest(bits);
        if let Some(range) = codes.iter().find(|range| range.last > most) {
            let message = format!(
                "code 0x{:X} does not fit in {} bits, which end at 0x{most:X}",
                range.last,
                n_bits(bits)
            );
            self.gathered
                .mistake(span, MistakeCode::CodeTooLarge, message);
        }
    }
}

/// How many bits a field has.
pub(super) fn n_bits(bits: &BitField) -> u32 {
    bits.runs
        .iter()
        .map(|run| u32::from(run.high - run.low) + 1)
        .sum()
}

/// The largest code of a field.
pub(super) fn largest(bits: &BitField) -> u64 {
    match n_bits(bits) {
        0 => 0,
        n => u64::MAX >> (64 - n.min(64)),
    }
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
