//! Fields of a frame by how often their bits flip, and what each holds.
//!
//! Within a number the lower bits flip more often; where a bit flips clearly less often than the
//! one above it, another number begins. Source: Marchetti and Stabili, "READ: Reverse
//! Engineering of Automotive Data Frames", IEEE Transactions on Information Forensics and
//! Security 14(4), 2019, 1083-1097. Here this gives proposals in both byte orders, with bits cut
//! off above and below; of those that overlap the one is taken whose values run smoothest,
//! since wrong bounds and wrong byte order make jumps.

use crate::samples::Samples;

/// Bits of one field at most.
const WIDEST: usize = 24;
/// Bits beyond which a wider proposal has to be clearly better.
const USUAL_WIDTH: usize = 16;
/// Samples that the range of a proposal is taken from.
const SAMPLES_OF_RANGE: usize = 400;
/// Samples further apart than this are not compared, s.
const LONGEST_STEP_S: f64 = 2.5;
/// What is cut off above must make the rest so many bits smoother: a number that passes a power of two
/// only where nothing was kept looks as smooth without its highest bit.
const COST_OF_A_CUT: f64 = 1.0;
/// Bits cut off above: flags that ran into a number.
const MOST_CUT: usize = 5;

/// In which order the bytes of a number stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// The high byte first.
    HighFirst,
    /// The low byte first.
    LowFirst,
}

/// Which bits of a word of eight bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bits {
    /// Which eight bytes of the payload.
    pub word: usize,
    /// Bytes of that word in a frame.
    pub n_bytes: usize,
    /// Order of bytes.
    pub order: Order,
    /// Its highest bit, counted from the highest one in that order.
    pub start: usize,
    /// How many bits.
    pub n_bits: usize,
}

impl Bits {
    /// The number in a word.
    pub fn of(self, word: u64) -> u64 {
        let ordered = match self.order {
            Order::HighFirst => word << self.start,
            Order::LowFirst => word.swap_bytes() << (64 - 8 * self.n_bytes + self.start),
        };
        ordered >> (64 - self.n_bits)
    }

    /// Place of the `n`th bit from its highest, counted from the word's first byte's highest.
    fn place(self, n: usize) -> usize {
        let at = self.start + n;
        match self.order {
            Order::HighFirst => at,
            Order::LowFirst => 8 * (self.n_bytes - 1 - at / 8) + at % 8,
        }
    }

    /// Which bits of a word, as a mask.
    pub fn mask(self) -> u64 {
        (0..self.n_bits).fold(0, |mask, n| mask | 1 << (63 - self.place(n)))
    }

    /// The bits as maps write them: `bytes 2 3`, or runs of `byte.bit`.
    pub fn words(self) -> String {
        let mut runs: Vec<(usize, usize, usize)> = Vec::new();
        for n in 0..self.n_bits {
            let place = self.place(n);
            let (byte, bit) = (8 * self.word + place / 8, 7 - place % 8);
            match runs.last_mut() {
                Some((last, _, low)) if *last == byte && *low == bit + 1 => *low = bit,
                _ => runs.push((byte, bit, bit)),
            }
        }
        if runs.iter().all(|(_, high, low)| (*high, *low) == (7, 0)) {
            let bytes: Vec<String> = runs.iter().map(|(byte, ..)| byte.to_string()).collect();
            let word = if bytes.len() == 1 { "byte" } else { "bytes" };
            return format!("{word} {}", bytes.join(" "));
        }
        let run = |(byte, high, low): &(usize, usize, usize)| match high == low {
            true => format!("{byte}.{high}"),
            false => format!("{byte}.{high}..{byte}.{low}"),
        };
        runs.iter().map(run).collect::<Vec<_>>().join(" ")
    }
}

/// How the values of a field run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quality {
    /// Whether its highest bit is a sign.
    pub is_signed: bool,
    /// Whether its highest code means that there is no value.
    pub has_absent: bool,
    /// Range of the middle 99 of 100 values.
    pub range: f64,
    /// How far values lie beside a line through their neighbours, one standard deviation.
    pub roughness: f64,
    /// Different values, as far as counted.
    pub n_values: usize,
    /// Share of steps that are not 0 and go up.
    pub rising: f64,
    /// The two as doublings: how many bits of it carry something smooth.
    pub smooth_bits: f64,
}

/// A field: its bits and how its values run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// Which bits.
    pub bits: Bits,
    /// How its values run.
    pub quality: Quality,
    /// Bits above it that never change and are no other's.
    pub n_constant_above: usize,
}

impl Field {
    /// Its bits with those above that never changed, up to a usual width: a number that stayed
    /// small did not use its highest bits.
    pub fn whole(&self) -> Bits {
        let room = USUAL_WIDTH.saturating_sub(self.bits.n_bits);
        let to_byte = self.bits.start % 8;
        let n_above = if self.n_constant_above >= to_byte + 8 && room >= to_byte + 8 {
            to_byte + 8
        } else {
            to_byte.min(self.n_constant_above).min(room)
        };
        // Where a byte in part is all there is room for, what is there is taken.
        let n_above = if n_above == 0 {
            self.n_constant_above.min(room).min(7)
        } else {
            n_above
        };
        Bits {
            start: self.bits.start - n_above,
            n_bits: self.bits.n_bits + n_above,
            ..self.bits
        }
    }

    /// A value, signed or not; `None` for the code that stands for none.
    pub fn value(&self, word: u64) -> Option<f64> {
        value(
            self.bits,
            self.quality.is_signed,
            self.quality.has_absent,
            word,
        )
    }
}

fn value(bits: Bits, is_signed: bool, has_absent: bool, word: u64) -> Option<f64> {
    let code = bits.of(word);
    let n = bits.n_bits;
    if has_absent && code == (1 << n) - 1 {
        return None;
    }
    let is_negative = is_signed && code >> (n - 1) == 1;
    Some(
        code as f64
            - if is_negative {
                (1_u64 << n) as f64
            } else {
                0.0
            },
    )
}

/// The fields of some samples in one word. `taken` are bits of counters, checksums, pages.
pub fn fields(
    samples: &Samples,
    chosen: &[usize],
    word: usize,
    n_bytes: usize,
    taken: u64,
) -> Vec<Field> {
    let flips = flips(samples, chosen, word);
    let mut proposals: Vec<(f64, Proposal)> = Vec::new();
    for order in [Order::HighFirst, Order::LowFirst] {
        let bits = |start, n_bits| Bits {
            word,
            n_bytes,
            order,
            start,
            n_bits,
        };
        let counts: Vec<Option<u32>> = (0..8 * n_bytes)
            .map(|at| {
                let place = bits(at, 1).place(0);
                (taken >> (63 - place) & 1 == 0).then_some(flips[place])
            })
            .collect();
        for run in runs(&counts) {
            for (start, end) in cuts(&run) {
                if order == Order::LowFirst && start / 8 == (end - 1) / 8 {
                    // Within a byte both orders are one.
                    continue;
                }
                let bits = bits(start, end - start);
                if let Some((smooth_bits, is_signed, has_absent)) =
                    smoothness(samples, chosen, bits)
                {
                    let too_wide = bits.n_bits.saturating_sub(USUAL_WIDTH) as f64;
                    let cut = if start > run.first {
                        COST_OF_A_CUT
                    } else {
                        0.0
                    };
                    let score = smooth_bits + 0.05 * bits.n_bits as f64 - 0.3 * too_wide - cut;
                    let is_whole = start == run.first;
                    let n_constant_above = if is_whole { start - run.start } else { 0 };
                    let proposal = Proposal {
                        bits,
                        is_signed,
                        has_absent,
                        n_constant_above,
                    };
                    proposals.push((score, proposal));
                }
            }
        }
    }
    proposals.sort_by(|one, other| other.0.total_cmp(&one.0));
    let mut used = taken;
    let mut found: Vec<Field> = Vec::new();
    for (_, proposal) in proposals {
        let mask = proposal.bits.mask();
        if used & mask == 0 {
            used |= mask;
            found.extend(proposal.field(samples, chosen));
        }
    }
    // Bits above that another field has are not this one's.
    for field in &mut found {
        let others = used & !field.bits.mask();
        let free = (1..=field.n_constant_above).take_while(|n| {
            let bit = Bits {
                start: field.bits.start - n,
                n_bits: 1,
                ..field.bits
            };
            bit.mask() & others == 0
        });
        field.n_constant_above = free.count();
    }
    found.sort_by_key(|field| std::cmp::Reverse(field.bits.mask()));
    found
}

/// How often each bit flips from sample to sample, the first byte's highest first.
fn flips(samples: &Samples, chosen: &[usize], word: usize) -> Vec<u32> {
    let mut tally = crate::tally::Tally::default();
    // Over the edge of a slot as well: a bit that differs only there is no constant.
    for pair in chosen.windows(2) {
        tally.add(samples.word(pair[0], word) ^ samples.word(pair[1], word));
    }
    tally.counts().iter().rev().copied().collect()
}

/// A stretch of bits whose flips do not fall: constant ones from `start`, the first that flips
/// at `first`, behind the last `end`.
struct Run {
    start: usize,
    first: usize,
    end: usize,
}

/// Stretches of bits in which none flips clearly less often than the one above it.
fn runs(flips: &[Option<u32>]) -> Vec<Run> {
    let mut runs = Vec::new();
    let mut start = 0;
    let mut first: Option<usize> = None;
    for at in 0..=flips.len() {
        let now = flips.get(at).copied().flatten();
        if let Some(begun) = first {
            let before = f64::from(flips[at - 1].unwrap_or(0));
            let falls = now.is_none_or(|now| {
                let now = f64::from(now);
                // Where a higher bit flips, those below it do; what never does is no part of it.
                now == 0.0 || now < 0.7 * before && before - now > 4.0 * (before + now).sqrt()
            });
            if falls {
                runs.push(Run {
                    start,
                    first: begun,
                    end: at,
                });
                start = at;
                first = None;
            }
        }
        match now {
            None => start = at + 1,
            Some(n) if n > 0 && first.is_none() => first = Some(at),
            Some(_) => {}
        }
    }
    runs
}

/// Proposals of a run: flags cut off above, and what ran into it below.
fn cuts(run: &Run) -> Vec<(usize, usize)> {
    let mut starts: Vec<usize> = (run.first..run.end).take(MOST_CUT + 1).collect();
    let bytes = (run.first..run.end).filter(|at| at % 8 == 0);
    starts.extend(bytes.clone());
    starts.sort_unstable();
    starts.dedup();
    let mut ends: Vec<usize> = bytes.filter(|at| *at > run.first).collect();
    ends.extend([run.end]);
    let mut all = Vec::new();
    for start in starts {
        for &end in &ends {
            if start < end && end - start <= WIDEST && (end - start >= 3 || end == run.end) {
                all.push((start, end));
            }
        }
    }
    all
}

/// Bits that may be a number.
struct Proposal {
    bits: Bits,
    is_signed: bool,
    has_absent: bool,
    n_constant_above: usize,
}

impl Proposal {
    fn field(&self, samples: &Samples, chosen: &[usize]) -> Option<Field> {
        let (bits, is_signed, has_absent) = (self.bits, self.is_signed, self.has_absent);
        let mut points: Vec<(f64, u32, f64)> = Vec::with_capacity(chosen.len());
        for &sample in chosen {
            let word = samples.word(sample, bits.word);
            if let Some(value) = value(bits, is_signed, has_absent, word) {
                points.push((samples.times_s[sample], samples.slots[sample], value));
            }
        }
        Some(Field {
            bits,
            quality: Quality::of(&points, is_signed, has_absent)?,
            n_constant_above: self.n_constant_above,
        })
    }
}

/// How many bits of a proposal carry something smooth, every jump counted; whether it has a sign;
/// whether its highest code stands for no value.
fn smoothness(samples: &Samples, chosen: &[usize], bits: Bits) -> Option<(f64, bool, bool)> {
    let codes: Vec<u64> = chosen
        .iter()
        .map(|sample| bits.of(samples.word(*sample, bits.word)))
        .collect();
    let all_ones = (1_u64 << bits.n_bits) - 1;
    let next = codes.iter().filter(|code| **code != all_ones).max()?;
    let is_far = (*next as f64) < 0.97 * all_ones as f64;
    let has_absent = bits.n_bits >= 8 && is_far && codes.contains(&all_ones);
    let smooth = |is_signed: bool, has_absent: bool| {
        let half = 1_i64 << (bits.n_bits - 1);
        let number = |code: &u64| match (has_absent && *code == all_ones, is_signed) {
            (true, _) => None,
            (false, true) => Some((*code as i64 ^ half) - half),
            (false, false) => Some(*code as i64),
        };
        let numbers: Vec<Option<i64>> = codes.iter().map(number).collect();
        let (mut sum, mut n) = (0.0, 0_u32);
        for (three, at) in numbers.windows(3).zip(chosen.windows(3)) {
            let [Some(v0), Some(v1), Some(v2)] = *three else {
                continue;
            };
            // Slots that follow each other are joined: what wraps between them is seen.
            let time = |n: usize| samples.times_s[at[n]];
            let (first_s, second_s) = (time(1) - time(0), time(2) - time(1));
            let share = first_s / (first_s + second_s);
            if (0.2..=0.8).contains(&share) && first_s < LONGEST_STEP_S {
                sum += ((v1 - v0) as f64 - (v2 - v0) as f64 * share).powi(2);
                n += 1;
            }
        }
        if n < 8 {
            return None;
        }
        let every = numbers.len().div_ceil(SAMPLES_OF_RANGE).max(1);
        let mut some: Vec<i64> = numbers.iter().step_by(every).filter_map(|v| *v).collect();
        some.sort_unstable();
        let at = |share: f64| some[((some.len() - 1) as f64 * share).round() as usize];
        let range = (some.len() > 4).then(|| at(0.995) - at(0.005))?;
        let roughness = (sum / f64::from(n) / 1.5).sqrt().max(1.0 / 12_f64.sqrt());
        Some((range as f64 / roughness).max(1e-3).log2())
    };
    let plain = smooth(false, has_absent);
    let signed = (bits.n_bits >= 4).then(|| smooth(true, false)).flatten();
    match (plain, signed) {
        (Some(plain), Some(signed)) if signed > plain + 0.3 => Some((signed, true, false)),
        (plain, _) => plain.map(|plain| (plain, false, has_absent)),
    }
}

impl Quality {
    /// Of values with their time and slot.
    pub fn of(points: &[(f64, u32, f64)], is_signed: bool, has_absent: bool) -> Option<Quality> {
        if points.len() < 12 {
            return None;
        }
        let mut sorted: Vec<f64> = points.iter().map(|point| point.2).collect();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
        let range = at(0.995) - at(0.005);
        let mut n_values = 1;
        n_values += sorted.windows(2).filter(|pair| pair[0] != pair[1]).count();
        let mut bends: Vec<f64> = Vec::with_capacity(points.len());
        let (mut n_up, mut n_down) = (0_u32, 0_u32);
        for three in points.windows(3) {
            let [(t0, s0, v0), (t1, _, v1), (t2, s2, v2)] = [three[0], three[1], three[2]];
            let (first_s, second_s) = (t1 - t0, t2 - t1);
            n_up += u32::from(v1 > v0);
            n_down += u32::from(v1 < v0);
            if s0 != s2 || first_s <= 0.0 || second_s <= 0.0 {
                continue;
            }
            let share = first_s / (first_s + second_s);
            if !(0.2..=0.8).contains(&share) {
                continue;
            }
            bends.push((v1 - v0 - (v2 - v0) * share).powi(2));
        }
        if bends.len() < 8 {
            return None;
        }
        // A few single samples may be damaged.
        bends.sort_by(f64::total_cmp);
        let n = (bends.len() as f64 * 0.998).floor().max(1.0) as usize;
        // Noise of one sample and half that of two others; a step leaves 1/12.
        let roughness = (bends[..n].iter().sum::<f64>() / n as f64 / 1.5).sqrt();
        let smallest_step = sorted
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .filter(|step| *step > 0.0);
        let step = smallest_step.fold(f64::INFINITY, f64::min).min(1.0);
        let floor = step / 12_f64.sqrt();
        Some(Quality {
            is_signed,
            has_absent,
            range,
            roughness,
            n_values,
            rising: f64::from(n_up) / f64::from((n_up + n_down).max(1)),
            smooth_bits: (range / roughness.max(floor)).max(1e-3).log2(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // A speed that swings, with a little noise.
    fn speed(n: usize, shift: f64) -> u16 {
        let noise = ((n * 7919) % 13) as f64 - 6.0;
        (6000.0 + 4000.0 * (n as f64 * 0.004 + shift).sin() + noise) as u16
    }

    fn found(payload: impl Fn(usize) -> [u8; 8]) -> Vec<String> {
        let mut samples = Samples::default();
        for n in 0..3000 {
            samples.add(n as f64 * 0.01, n as u32 / 400, &payload(n));
        }
        let chosen: Vec<usize> = (0..samples.len()).collect();
        let fields = fields(&samples, &chosen, 0, 8, 0);
        let wide = fields
            .iter()
            .filter(|field| field.quality.smooth_bits > 5.0);
        wide.map(|field| field.whole().words()).collect()
    }

    #[test]
    fn numbers_are_found_in_both_byte_orders() {
        let numbers = |n| [speed(n, 0.0), speed(n, 0.02), speed(n, 2.0)];
        let high = found(|n| {
            let [a, b, c] = numbers(n).map(u16::to_be_bytes);
            [a[0], a[1], b[0], b[1], 7, c[0], c[1], 0]
        });
        assert_eq!(high, ["bytes 0 1", "bytes 2 3", "bytes 5 6"]);
        let low = found(|n| {
            let [a, b, c] = numbers(n).map(u16::to_le_bytes);
            [a[0], a[1], b[0], b[1], 7, c[0], c[1], 0]
        });
        assert_eq!(low, ["bytes 1 0", "bytes 3 2", "bytes 6 5"]);
    }

    #[test]
    fn fifteen_bits_under_a_flag_are_found() {
        let fields = found(|n| {
            let flag = u16::from(n % 900 > 450) << 15;
            let a = (speed(n, 0.0) | flag).to_be_bytes();
            let b = (speed(n, 0.3) | flag).to_be_bytes();
            [a[0], a[1], b[0], b[1], 0, 0, 0, 0]
        });
        assert_eq!(fields.len(), 2, "{fields:?}");
        assert!(fields[0].ends_with("0.0 1.7..1.0"), "{fields:?}");
    }

    #[test]
    fn bits_are_written_as_maps_write_them() {
        let bits = |order, start, n_bits| Bits {
            word: 0,
            n_bytes: 8,
            order,
            start,
            n_bits,
        };
        assert_eq!(bits(Order::HighFirst, 4, 12).words(), "0.3..0.0 1.7..1.0");
        assert_eq!(bits(Order::HighFirst, 8, 8).words(), "byte 1");
        assert_eq!(bits(Order::LowFirst, 48, 16).words(), "bytes 1 0");
        assert_eq!(
            bits(Order::LowFirst, 48, 16).of(0x3412_0000_0000_0000),
            0x1234
        );
        assert_eq!(bits(Order::HighFirst, 4, 12).of(0xF123 << 48), 0x123);
    }
}
