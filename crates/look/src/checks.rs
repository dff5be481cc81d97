//! Counters, checksums and page numbers of a frame, found by trying.
//!
//! A checksum leaves the same rest in every frame once what it is of has been taken away: xor
//! and sum by their nature, a CRC because it is linear, whatever its start and its final
//! exclusive-or are. So the rule is tried and the start follows from the rest.

use std::collections::{BTreeMap, BTreeSet};

use crate::samples::Samples;
use crate::tally::Tally;
use crate::watch::Watch;

/// Steps by one of so many frames make a counter; frames may be lost.
const COUNTER_SHARE: f64 = 0.7;
/// Payloads that must differ before a checksum can be believed.
const FEWEST_PAYLOADS: usize = 8;
/// Frames a checksum is tried on.
const MOST_TRIED: usize = 200;
/// Of frames tried, so many must fit: the others are damaged.
const FITTING_SHARE: f64 = 0.98;
/// Values a page number may have.
const MOST_PAGES: usize = 32;
/// Bits other than the page number flip so much less from page to same page than from frame
/// to frame.
const CALMER_IN_PAGE: f64 = 0.5;

/// A number that goes up by one each frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counter {
    /// Its highest bit, counted from the first byte's highest.
    pub first_bit: usize,
    /// Bits: 4 or 8.
    pub n_bits: usize,
    /// The highest value seen.
    pub highest: u8,
}

/// How a checksum is worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Exclusive or of the bytes.
    Xor,
    /// Their sum, modulo 256.
    Sum,
    /// A CRC of eight bits.
    Crc8 {
        /// Its polynomial without the highest term.
        polynomial: u8,
        /// Whether the lowest bit of each byte comes first.
        is_reflected: bool,
    },
}

/// A checksum of all other bytes before it or behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Checksum {
    /// Where it stands.
    pub byte: usize,
    /// How it is worked out.
    pub rule: Rule,
    /// Its first byte and its last.
    pub of: (usize, usize),
    /// Start value.
    pub start: u8,
    /// Final exclusive or.
    pub end: u8,
}

/// A number by which the other bytes mean different things.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pages {
    /// Its highest bit, counted from the first byte's highest.
    pub first_bit: usize,
    /// Bits: 4 or 8.
    pub n_bits: usize,
    /// Values seen.
    pub values: Vec<u8>,
}

/// Polynomials tried: SAE J1850, AUTOSAR's second one, the plain one, and others in use.
const POLYNOMIALS: [(u8, &str); 6] = [
    (0x1D, "CRC-8 of SAE J1850"),
    (0x2F, "CRC-8 of AUTOSAR, 0x2F"),
    (0x07, "CRC-8, 0x07"),
    (0x31, "CRC-8, 0x31"),
    (0x9B, "CRC-8, 0x9B"),
    (0xD5, "CRC-8, 0xD5"),
];

impl Rule {
    /// The rule in words.
    pub fn words(self) -> String {
        match self {
            Rule::Xor => "xor".to_owned(),
            Rule::Sum => "sum".to_owned(),
            Rule::Crc8 {
                polynomial,
                is_reflected,
            } => {
                let known = POLYNOMIALS.iter().find(|(known, _)| *known == polynomial);
                let name = known.map_or("CRC-8", |(_, name)| *name);
                match is_reflected {
                    true => format!("{name}, lowest bit first"),
                    false => name.to_owned(),
                }
            }
        }
    }
}

/// A CRC of eight bits, bit by bit.
fn crc8(start: u8, polynomial: u8, is_reflected: bool, bytes: impl Iterator<Item = u8>) -> u8 {
    let mut crc = start;
    for byte in bytes {
        crc ^= if is_reflected {
            byte.reverse_bits()
        } else {
            byte
        };
        for _ in 0..8 {
            let carry = crc & 0x80 != 0;
            crc = crc << 1 ^ if carry { polynomial } else { 0 };
        }
    }
    crc
}

/// Counters: whole bytes first, then nibbles.
pub fn counters(watch: &mut Watch) -> Vec<Counter> {
    let n = watch.n_frames.saturating_sub(1) as f64;
    if n < 15.0 {
        return Vec::new();
    }
    let n_bits = usize::from(watch.length().min(64)) * 8;
    let rates = watch.flip_rates();
    let mut found: Vec<Counter> = Vec::new();
    for n_wide in [8, 4] {
        for first_bit in (0..n_bits).step_by(n_wide) {
            let counts = &mut watch.words[first_bit / 64];
            let steps: &mut Tally = match n_wide {
                8 => &mut counts.byte_steps,
                _ => &mut counts.nibble_steps,
            };
            let share = f64::from(steps.counts()[63 - first_bit % 64]) / n;
            let is_taken = found.iter().any(|counter| {
                let taken = counter.first_bit..counter.first_bit + counter.n_bits;
                taken.contains(&first_bit)
            });
            // A byte that only ever moves in its lower half is a nibble.
            let moves_above = rates[first_bit] > 0.0 || n_wide == 4;
            if share >= COUNTER_SHARE && !is_taken && moves_above {
                found.push(Counter {
                    first_bit,
                    n_bits: n_wide,
                    highest: highest(&watch.samples, first_bit, n_wide),
                });
            }
        }
    }
    found
}

/// A nibble or byte of a sample.
pub fn part(samples: &Samples, sample: usize, first_bit: usize, n_bits: usize) -> u8 {
    let byte = samples.byte(sample, first_bit / 8);
    match (n_bits, first_bit % 8) {
        (4, 0) => byte >> 4,
        (4, _) => byte & 0x0F,
        _ => byte,
    }
}

fn highest(samples: &Samples, first_bit: usize, n_bits: usize) -> u8 {
    let values = (0..samples.len()).map(|sample| part(samples, sample, first_bit, n_bits));
    values.max().unwrap_or(0)
}

/// The checksum of a frame, where it has one.
pub fn checksum(watch: &Watch, rates: &[f64]) -> Option<Checksum> {
    let samples = &watch.samples;
    let length = usize::from(watch.length().min(64));
    let of_length: Vec<usize> = (0..samples.len())
        .filter(|sample| usize::from(samples.lengths[*sample]) == length)
        .collect();
    let every = of_length.len().div_ceil(MOST_TRIED).max(1);
    let tried: Vec<usize> = of_length.into_iter().step_by(every).collect();
    // The last byte and the first are the usual places.
    let mut places: Vec<usize> = (0..length).rev().collect();
    places.sort_by_key(|byte| *byte != length.wrapping_sub(1) && *byte != 0);
    places.into_iter().find_map(|byte| {
        let moving = rates.get(8 * byte..8 * byte + 8)?;
        if length < 2 || moving.iter().filter(|rate| **rate > 0.02).count() < 3 {
            return None;
        }
        checksum_at(samples, &tried, byte, length)
    })
}

fn checksum_at(samples: &Samples, tried: &[usize], byte: usize, length: usize) -> Option<Checksum> {
    let of = if byte == 0 {
        (1, length - 1)
    } else {
        (0, length - 1)
    };
    // A sum over bytes before and behind is no sum of the map's language; over those before is.
    let of = if byte > 0 { (0, byte - 1) } else { of };
    let bytes = |sample: usize| (of.0..=of.1).map(move |byte| samples.byte(sample, byte));
    let payloads: BTreeSet<Vec<u8>> = tried
        .iter()
        .map(|sample| bytes(*sample).collect())
        .collect();
    let sums: BTreeSet<u8> = tried.iter().map(|s| samples.byte(*s, byte)).collect();
    if payloads.len() < FEWEST_PAYLOADS || sums.len() < FEWEST_PAYLOADS {
        return None;
    }
    let rules = [Rule::Xor, Rule::Sum]
        .into_iter()
        .chain(POLYNOMIALS.iter().flat_map(|&(polynomial, _)| {
            [false, true].map(|is_reflected| Rule::Crc8 {
                polynomial,
                is_reflected,
            })
        }));
    for rule in rules {
        let rest = |sample: usize| {
            let stated = samples.byte(sample, byte);
            match rule {
                Rule::Xor => bytes(sample).fold(stated, |rest, byte| rest ^ byte),
                Rule::Sum => bytes(sample).fold(stated, |rest, byte| rest.wrapping_sub(byte)),
                Rule::Crc8 {
                    polynomial,
                    is_reflected,
                } => {
                    let crc = crc8(0, polynomial, is_reflected, bytes(sample));
                    crc ^ if is_reflected {
                        stated.reverse_bits()
                    } else {
                        stated
                    }
                }
            }
        };
        // Most rules are out after a few frames.
        let first: Vec<u8> = tried.iter().take(6).map(|sample| rest(*sample)).collect();
        let most_of_first = first.iter().filter(|r| **r == first[0]).count();
        if most_of_first < 3 && first.len() > 4 {
            continue;
        }
        let mut counts: BTreeMap<u8, usize> = BTreeMap::new();
        for sample in tried {
            *counts.entry(rest(*sample)).or_default() += 1;
        }
        let Some((rest, n)) = counts.into_iter().max_by_key(|(_, n)| *n) else {
            continue;
        };
        if (n as f64) < FITTING_SHARE * tried.len() as f64 {
            continue;
        }
        let (start, end) = ends(rule, rest, of.1 + 1 - of.0);
        return Some(Checksum {
            byte,
            rule,
            of,
            start,
            end,
        });
    }
    None
}

/// Start and final exclusive or that leave this rest: a usual pair where one does.
fn ends(rule: Rule, rest: u8, n_bytes: usize) -> (u8, u8) {
    let Rule::Crc8 {
        polynomial,
        is_reflected,
    } = rule
    else {
        return (rest, 0);
    };
    let leaves = |start: u8| {
        let nothing = std::iter::repeat_n(0, n_bytes);
        crc8(start, polynomial, is_reflected, nothing)
    };
    let usual = [(0xFF, 0xFF), (0, 0), (0xFF, 0), (0, 0xFF)];
    if let Some(pair) = usual
        .into_iter()
        .find(|(start, end)| leaves(*start) ^ end == rest)
    {
        return pair;
    }
    // Of the J1850 rule maps state the start alone, its end is 0xFF.
    let end = if polynomial == 0x1D { 0xFF } else { 0 };
    let start = (0..=255).find(|start| leaves(*start) ^ end == rest);
    (start.unwrap_or(0), end)
}

/// The page number of a frame, where it has one: bits that are neither counter nor checksum
/// are calm from page to same page and not from frame to frame.
pub fn pages(samples: &Samples, rates: &[f64], taken: &[bool], length: usize) -> Option<Pages> {
    if samples.len() < 24 || length < 2 {
        return None;
    }
    // Eight bits first: of a byte with more than 15 pages a nibble would pass as well.
    let places = [(0, 8), (4, 4), (0, 4), (8, 8), (12, 4), (8, 4)];
    let mut found = places.into_iter().filter_map(|(first_bit, n_bits)| {
        if first_bit + n_bits > 8 * length {
            return None;
        }
        let own = first_bit..first_bit + n_bits;
        // Of a whole byte both halves change, or one of them is the number.
        let mut halves = own.clone().step_by(4);
        let changes = |half: usize| (half..half + 4).any(|bit| rates[bit] > 0.02);
        let flips = own.clone().any(|bit| rates[bit] > 0.1);
        if own.clone().any(|bit| taken[bit]) || !flips || !halves.all(changes) {
            return None;
        }
        let page = |sample| part(samples, sample, first_bit, n_bits);
        let mut values: BTreeMap<u8, usize> = BTreeMap::new();
        for sample in 0..samples.len() {
            *values.entry(page(sample)).or_default() += 1;
        }
        let fewest = values.values().min().copied().unwrap_or(0);
        if !(2..=MOST_PAGES).contains(&values.len()) || fewest < 3 {
            return None;
        }
        let mut mask = 0_u64;
        for (bit, is_taken) in taken.iter().enumerate().take((8 * length).min(64)) {
            if !own.contains(&bit) && !is_taken {
                mask |= 1 << (63 - bit);
            }
        }
        // Flips from frame to frame, and from page to same page.
        let (mut between, mut within) = ((0_u64, 0_u64), (0_u64, 0_u64));
        let mut last: BTreeMap<u8, u64> = BTreeMap::new();
        for sample in 0..samples.len() {
            let now = samples.word(sample, 0) & mask;
            if let Some(before) = last.insert(page(sample), now) {
                within.0 += u64::from((now ^ before).count_ones());
                within.1 += 1;
            }
            if sample > 0 && page(sample) != page(sample - 1) {
                let before = samples.word(sample - 1, 0) & mask;
                between.0 += u64::from((now ^ before).count_ones());
                between.1 += 1;
            }
        }
        let mean = |(sum, n): (u64, u64)| sum as f64 / n.max(1) as f64;
        let share = mean(within) / mean(between).max(1e-9);
        // Pages come round in their order; the bits of a number do not.
        let mut next: BTreeMap<(u8, u8), usize> = BTreeMap::new();
        for sample in 1..samples.len() {
            *next.entry((page(sample - 1), page(sample))).or_default() += 1;
        }
        let usual = values.keys().map(|from| {
            let of_page = next
                .iter()
                .filter(|((own, to), _)| own == from && to != from);
            of_page.map(|(_, n)| *n).max().unwrap_or(0)
        });
        let is_turning = 10 * usual.sum::<usize>() >= 6 * samples.len();
        // Pages that differ by less than a few bits are a flag, not a page.
        (is_turning && mean(between) >= 4.0 && share < CALMER_IN_PAGE).then_some(Pages {
            first_bit,
            n_bits,
            values: values.into_keys().collect(),
        })
    });
    found.next()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::Key;
    use halfshaft_model::FrameId;

    fn watch(n: usize, payload: impl Fn(usize) -> Vec<u8>) -> Watch {
        let id = FrameId::standard(0x123).expect("it has eleven bits");
        let mut watch = Watch::new(Key { bus: 0, id });
        for n in 0..n {
            watch.add(n as f64 * 0.01, Some(0), &payload(n));
        }
        watch
    }

    // Seven bytes that move like no sum of each other.
    fn seven(n: usize) -> Vec<u8> {
        let mut state = n as u32;
        let byte = |_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        };
        (0..7).map(byte).collect()
    }

    #[track_caller]
    fn check(sum: impl Fn(&[u8]) -> u8, expected: Option<(Rule, u8, u8)>) {
        let mut watch = watch(300, |n| {
            let mut bytes = seven(n);
            bytes.push(sum(&bytes));
            bytes
        });
        let rates = watch.flip_rates();
        let found = checksum(&watch, &rates);
        let found = found.map(|found| {
            assert_eq!((found.byte, found.of), (7, (0, 6)));
            (found.rule, found.start, found.end)
        });
        assert_eq!(found, expected);
    }

    #[test]
    fn checksums_are_found_with_their_start() {
        let crc = |polynomial| Rule::Crc8 {
            polynomial,
            is_reflected: false,
        };
        check(
            |bytes| bytes.iter().fold(0x5A, |a, b| a ^ b),
            Some((Rule::Xor, 0x5A, 0)),
        );
        check(
            |bytes| bytes.iter().fold(7, |a: u8, b| a.wrapping_add(*b)),
            Some((Rule::Sum, 7, 0)),
        );
        let j1850 = |bytes: &[u8]| crc8(0xFF, 0x1D, false, bytes.iter().copied()) ^ 0xFF;
        check(j1850, Some((crc(0x1D), 0xFF, 0xFF)));
        // The published check value of the rule.
        assert_eq!(j1850(b"123456789"), 0x4B);
        check(
            |bytes| crc8(0x42, 0x1D, false, bytes.iter().copied()) ^ 0xFF,
            Some((crc(0x1D), 0x42, 0xFF)),
        );
        check(
            |bytes| crc8(0xFF, 0x2F, false, bytes.iter().copied()) ^ 0xFF,
            Some((crc(0x2F), 0xFF, 0xFF)),
        );
        check(
            |bytes| crc8(0, 0x07, false, bytes.iter().copied()),
            Some((crc(0x07), 0, 0)),
        );
        // Something that is none.
        check(|bytes| bytes[0].wrapping_mul(bytes[1]), None);
    }

    #[test]
    fn counters_are_found_with_their_wrap() {
        let mut nibble = watch(200, |n| vec![0xA0 | (n % 15) as u8, 3]);
        assert_eq!(
            counters(&mut nibble),
            [Counter {
                first_bit: 4,
                n_bits: 4,
                highest: 14
            }]
        );
        let mut byte = watch(600, |n| vec![9, n as u8]);
        let found = counters(&mut byte);
        assert_eq!((found[0].first_bit, found[0].n_bits), (8, 8));
        assert_eq!(found.len(), 1);
        let mut none = watch(200, seven);
        assert_eq!(counters(&mut none), []);
    }

    #[test]
    fn pages_are_told_from_counters() {
        let found = |watch: &mut Watch| {
            let rates = watch.flip_rates();
            let length = usize::from(watch.length());
            pages(&watch.samples, &rates, &[false; 64], length)
        };
        let mut paged = watch(300, |n| match n % 3 {
            0 => vec![1, 0x12, 0x34, 0xFF, 0],
            1 => vec![2, 0xE0, 0x01, 0x00, (n / 100) as u8],
            _ => vec![7, 0x55, 0x00, 0x73, 0xFF],
        });
        let pages = found(&mut paged).expect("it has pages");
        assert_eq!(pages.values, [1, 2, 7]);
        let mut counted = watch(300, |n| {
            let mut bytes = seven(n / 20);
            bytes[0] = (n % 16) as u8;
            bytes
        });
        assert_eq!(found(&mut counted), None);
    }
}
