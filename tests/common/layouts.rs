//! Cars of the fleet whose frames are laid out anew at random, with what is there to mislead:
//! counters, checksums, page numbers, flags, filtered copies of the wheels, the road speed, an engine
//! speed, four equal tyre pressures, an odometer, noise.

use halfshaft_model::{Batch, Entry, FrameFlags, FrameId, FrameKind, Stamp};
use halfshaft_simulate::Random;
use halfshaft_simulate::fleet::signals::Quantity;
use halfshaft_simulate::fleet::{self, Car};

/// Where a wheel truly stands.
#[derive(Clone, Debug)]
pub struct Wheel {
    /// Which.
    pub quantity: Quantity,
    /// Frame.
    pub id: FrameId,
    /// Page.
    pub page: Option<u8>,
    /// Its bits in a word of eight bytes, the first byte highest.
    pub mask: u64,
    /// Whether the low byte comes first.
    pub is_low_first: bool,
}

/// A car laid out anew.
pub struct Laid {
    /// Its log.
    pub batch: Batch,
    /// Where its wheels are.
    pub wheels: Vec<Wheel>,
    /// What was drawn.
    pub words: String,
}

// Raw values by time, s.
type Course = Vec<(f64, f64)>;

#[derive(Clone)]
struct Put {
    course: usize,
    low_bit: usize,
    n_bits: usize,
    is_low_first: bool,
    offset: f64,
}

struct Plan {
    id: FrameId,
    page: Option<u8>,
    period_s: f64,
    phase_s: f64,
    used: u64,
    puts: Vec<Put>,
    counter_bit: Option<usize>,
    has_sum: bool,
    flag_bit: Option<usize>,
}

/// Bits of a number as a mask; `low_bit` counts from the first byte's lowest for a number whose low byte
/// comes first, else from the word's lowest.
fn mask(put: &Put) -> u64 {
    (0..put.n_bits).fold(0, |mask, n| mask | 1 << place(put, n))
}

fn place(put: &Put, n: usize) -> usize {
    let at = put.low_bit + n;
    match put.is_low_first {
        false => at,
        true => 8 * (7 - at / 8) + at % 8,
    }
}

impl Plan {
    fn add(&mut self, random: &mut Random, put: Put, aligned: bool) -> Option<Put> {
        for _ in 0..200 {
            let step = if aligned { 8 } else { 1 };
            let room = (64 - put.n_bits) as u64 / step + 1;
            let low_bit = (random.below(room) * step) as usize;
            let tried = Put {
                low_bit,
                ..put.clone()
            };
            if self.used & mask(&tried) == 0 {
                self.used |= mask(&tried);
                self.puts.push(tried.clone());
                return Some(tried);
            }
        }
        None
    }
}

fn value_at(course: &Course, time_s: f64, runs_straight: bool) -> f64 {
    let next = course.partition_point(|(at, _)| *at <= time_s);
    let Some(before) = next.checked_sub(1).map(|last| course[last]) else {
        return course.first().map_or(0.0, |first| first.1);
    };
    match course.get(next) {
        Some(after) if runs_straight => {
            before.1 + (after.1 - before.1) * (time_s - before.0) / (after.0 - before.0).max(1e-9)
        }
        _ => before.1,
    }
}

/// Low-pass of the first order.
fn filtered(course: &Course, lag_s: f64) -> Course {
    let mut out = Vec::with_capacity(course.len());
    let mut state = course.first().map_or(0.0, |first| first.1);
    let mut last_s = course.first().map_or(0.0, |first| first.0);
    for &(time_s, value) in course {
        state += (value - state) * (1.0 - (-(time_s - last_s) / lag_s).exp());
        last_s = time_s;
        out.push((time_s, state));
    }
    out
}

/// Drives a car and lays its frames out anew.
pub fn lay_out(car: &Car, seed: u64) -> Laid {
    let mut random = Random::new(seed);
    let (batch, _) = fleet::drive(car);
    let first = batch.entries.first().map_or(Stamp(0), Entry::stamp);
    let seconds = |stamp: Stamp| (stamp.0 - first.0) as f64 / 1e9;
    let mut courses: Vec<Course> = Vec::new();
    let mut names: Vec<Quantity> = Vec::new();
    let mut frames: Vec<(usize, Vec<usize>)> = Vec::new();
    for (number, plan) in car.signals.frames.iter().enumerate() {
        let mut own = Vec::new();
        for (at, item) in plan.items.iter().enumerate() {
            let id = FrameId::standard(plan.id);
            let of_frame = batch.entries.iter().filter_map(|entry| match entry {
                Entry::Frame(frame) if Some(frame.id) == id => {
                    let bytes = batch.payload(frame);
                    let raw = i16::from_be_bytes([bytes[2 * at], bytes[2 * at + 1]]);
                    Some((seconds(frame.stamp), f64::from(raw)))
                }
                _ => None,
            });
            own.push(courses.len());
            courses.push(of_frame.collect());
            names.push(item.quantity);
        }
        frames.push((number, own));
    }
    // Front wheels on the scale of the rear ones.
    let step_of = |quantity: Quantity| {
        let mut items = car.signals.frames.iter().flat_map(|frame| &frame.items);
        items
            .find(|item| item.quantity == quantity)
            .map(|item| item.step)
    };
    let rear_step = step_of(Quantity::RearLeft).expect("rear wheels are always sent");
    for (course, quantity) in courses.iter_mut().zip(&names) {
        if quantity.is_wheel() {
            let ratio = step_of(*quantity).unwrap_or(rear_step) / rear_step;
            course
                .iter_mut()
                .for_each(|(_, value)| *value = (*value * ratio).round());
        }
    }
    let end_s = courses[0].last().map_or(0.0, |last| last.0);
    let wheel_courses: Vec<usize> = (0..courses.len())
        .filter(|at| names[*at].is_wheel())
        .collect();
    let wheel_period_s = car.signals.period_ms(Quantity::RearLeft).unwrap_or(20) as f64 * 1e-3;

    // How wheels are written.
    let extent = wheel_courses
        .iter()
        .flat_map(|at| courses[*at].iter().map(|point| point.1));
    let (low, high) = extent.fold((0.0_f64, 0.0_f64), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let is_low_first = random.below(2) == 0;
    let offset = match random.below(3) {
        0 => (random.below(4000) as f64).max(-low),
        1 => (random.below(60) as f64 * 100.0).max(-low),
        _ => (-low).max(0.0),
    };
    let fewest_bits = ((high + offset + 1.0).log2().ceil() as usize).max(6);
    let n_bits = fewest_bits.max(
        *[12, 13, 15, 16, 16]
            .get(random.below(5) as usize)
            .unwrap_or(&16),
    );
    let n_bits = n_bits.min(16);
    let aligned = n_bits == 16 || n_bits == 8;
    let put = |course: usize| Put {
        course,
        low_bit: 0,
        n_bits,
        is_low_first,
        offset,
    };
    let mut ids: Vec<u32> = Vec::new();
    let mut new_id = |random: &mut Random| loop {
        let id = 0x20 + random.below(0x700) as u32;
        if !ids.contains(&id) {
            ids.push(id);
            return FrameId::standard(id).expect("it has eleven bits");
        }
    };
    let plan = |random: &mut Random, id: FrameId, period_s: f64| {
        let has_sum = random.below(3) == 0;
        let counter_bit = (random.below(3) == 0).then(|| {
            if has_sum {
                8
            } else {
                4 * random.below(2) as usize
            }
        });
        let mut used = 0;
        if has_sum {
            used |= 0xFF;
        }
        if let Some(bit) = counter_bit {
            used |= 0xF << bit;
        }
        Plan {
            id,
            page: None,
            period_s,
            phase_s: random.between(0.0, period_s),
            used,
            puts: Vec::new(),
            counter_bit,
            has_sum,
            flag_bit: None,
        }
    };
    let mut plans: Vec<Plan> = Vec::new();
    let mut wheels: Vec<Wheel> = Vec::new();
    let way = random.below(5);
    let per_frame = match (way, n_bits) {
        // Four of sixteen bits leave no room for anything else.
        (0 | 1, n) if n <= 12 || n == 16 => 4,
        (2, _) => 1,
        _ => 2,
    };
    let is_paged = way == 4;
    let mut order = wheel_courses.clone();
    if random.below(2) == 0 {
        order.chunks_mut(2).for_each(|pair| pair.reverse());
    }
    if random.below(2) == 0 && order.len() == 4 {
        order.rotate_left(2);
    }
    let shared = new_id(&mut random);
    let mut layout: Option<Vec<Put>> = None;
    for (number, group) in order.chunks(per_frame).enumerate() {
        let id = if is_paged {
            shared
        } else {
            new_id(&mut random)
        };
        let mut own = plan(&mut random, id, wheel_period_s);
        if is_paged || (per_frame == 4 && n_bits == 16) {
            (own.used, own.has_sum, own.counter_bit) = (0, false, None);
        }
        if is_paged {
            own.page = Some(number as u8 + 1);
            own.used |= 0xF << 60;
        }
        // Frames alike are laid out alike.
        let places = match &layout {
            Some(layout) if !is_paged => {
                own.puts
                    .extend(layout.iter().zip(group).map(|(put, course)| Put {
                        course: *course,
                        ..put.clone()
                    }));
                let used: Vec<u64> = own.puts.iter().map(mask).collect();
                if used.iter().any(|bits| bits & own.used != 0) {
                    (own.has_sum, own.counter_bit) = (false, None);
                }
                own.used |= used.iter().fold(0, |all, bits| all | bits);
                own.puts.clone()
            }
            _ => {
                let mut puts = Vec::new();
                let wide = n_bits * group.len() + (own.used.count_ones() as usize) > 56;
                for (at, course) in group.iter().enumerate() {
                    let tried = if wide {
                        // Side by side from the front.
                        let start = 64 - n_bits * (at + 1) - if is_paged { 8 } else { 0 };
                        let low_bit = if is_low_first {
                            n_bits * at + if is_paged { 8 } else { 0 }
                        } else {
                            start
                        };
                        let tried = Put {
                            low_bit,
                            ..put(*course)
                        };
                        (own.has_sum, own.counter_bit) = (false, None);
                        own.used |= mask(&tried);
                        own.puts.push(tried.clone());
                        Some(tried)
                    } else {
                        own.add(&mut random, put(*course), aligned)
                    };
                    puts.extend(tried);
                }
                puts
            }
        };
        layout = Some(places.clone());
        if own.used != u64::MAX && random.below(2) == 0 {
            let free: Vec<usize> = (0..64).filter(|bit| own.used >> bit & 1 == 0).collect();
            let bit = free[random.below(free.len() as u64) as usize];
            own.flag_bit = Some(bit);
            own.used |= 1 << bit;
        }
        for put in &places {
            wheels.push(Wheel {
                quantity: names[put.course],
                id,
                page: own.page,
                mask: mask(put),
                is_low_first,
            });
        }
        plans.push(own);
    }
    // Everything else as it was, laid out at random.
    for (number, own) in &frames {
        let rest: Vec<usize> = own
            .iter()
            .copied()
            .filter(|at| !names[*at].is_wheel())
            .collect();
        if rest.is_empty() {
            continue;
        }
        let period_s = car.signals.frames[*number].period_ms as f64 * 1e-3;
        let id = new_id(&mut random);
        let mut plan = plan(&mut random, id, period_s);
        for course in rest {
            let values = courses[course].iter().map(|point| point.1);
            let lowest = values.clone().fold(f64::INFINITY, f64::min);
            let highest = values.fold(f64::NEG_INFINITY, f64::max);
            let offset = if lowest < 0.0 {
                (-lowest * 1.2).ceil()
            } else {
                0.0
            };
            let n_bits = ((highest + offset + 1.0).log2().ceil() as usize).clamp(1, 16);
            let n_bits = if n_bits > 8 && random.below(2) == 0 {
                16
            } else {
                n_bits
            };
            let put = Put {
                course,
                low_bit: 0,
                n_bits,
                is_low_first: random.below(2) == 0,
                offset,
            };
            plan.add(&mut random, put, n_bits == 16);
        }
        plans.push(plan);
    }
    // What misleads.
    let sources = courses.clone();
    let mut decoy = |random: &mut Random, courses_of: Vec<Course>, n_bits: usize, period_s: f64| {
        let id = new_id(random);
        let mut plan = plan(random, id, period_s);
        (plan.has_sum, plan.counter_bit, plan.used) = (false, None, 0);
        let is_low_first = random.below(2) == 0;
        for course in courses_of {
            courses.push(course);
            let put = Put {
                course: courses.len() - 1,
                low_bit: 0,
                n_bits,
                is_low_first,
                offset: 0.0,
            };
            plan.add(random, put, n_bits.is_multiple_of(8));
        }
        plans.push(plan);
    };
    let times: Vec<f64> = (0..(end_s / 0.05) as usize)
        .map(|n| n as f64 * 0.05)
        .collect();
    let lag_s = random.between(0.05, 0.4);
    let copies: Vec<Course> = order
        .iter()
        .map(|at| filtered(&sources[*at], lag_s))
        .collect();
    let copies: Vec<Course> = copies
        .into_iter()
        .map(|course| {
            course
                .into_iter()
                .map(|(at, value)| (at, (value + offset).max(0.0)))
                .collect()
        })
        .collect();
    let mean: Course = times
        .iter()
        .map(|at| {
            let sum: f64 = copies
                .iter()
                .map(|course| value_at(course, *at, true))
                .sum();
            (*at, sum / copies.len() as f64)
        })
        .collect();
    let engine: Course = mean
        .iter()
        .map(|(at, value)| {
            let speed = (value - offset).max(0.0);
            let share = speed / high.max(1.0);
            let gear = [6.0, 3.6, 2.4, 1.7, 1.3, 1.0][((share * 6.0) as usize).min(5)];
            (
                *at,
                (speed * gear * 1.3 + 40.0 * (at * 7.0).sin()).max(0.12 * high),
            )
        })
        .collect();
    let pressures = (0..4).map(|n| {
        let base = 120.0 + random.below(3) as f64;
        let course = times
            .iter()
            .map(|at| (*at, base + f64::from(n % 2) + (at / 60.0).min(12.0)));
        course.collect::<Course>()
    });
    let pressures: Vec<Course> = pressures.collect();
    let odometer: Course = mean
        .iter()
        .scan(0.0, |way, (at, value)| {
            *way += (value - offset).max(0.0) * 0.002;
            Some((*at, *way % 65_000.0))
        })
        .collect();
    let mut noise = Random::new(seed ^ 77);
    let noisy: Course = times
        .iter()
        .map(|at| (*at, noise.below(4096) as f64))
        .collect();
    let copies_in = if random.below(2) == 0 {
        copies
    } else {
        vec![copies[0].clone()]
    };
    let slower_s = wheel_period_s * 2.0;
    decoy(&mut random, copies_in, 16, slower_s);
    decoy(&mut random, vec![mean], 16, 0.05);
    decoy(&mut random, vec![engine], 16, 0.02);
    decoy(&mut random, pressures, 8, 0.5);
    decoy(&mut random, vec![odometer], 16, 0.1);
    decoy(&mut random, vec![noisy], 12, 0.05);

    let mut out: Vec<(f64, FrameId, [u8; 8])> = Vec::new();
    for plan in &plans {
        let mut time_s = plan.phase_s;
        let mut n = 0_u64;
        while time_s < end_s {
            let mut word = 0_u64;
            for put in &plan.puts {
                let runs_straight = names.get(put.course).is_some_and(|name| name.is_wheel());
                let value = value_at(&courses[put.course], time_s, runs_straight) + put.offset;
                let code = value.round().clamp(0.0, ((1_u64 << put.n_bits) - 1) as f64) as u64;
                for bit in 0..put.n_bits {
                    word |= (code >> bit & 1) << place(put, bit);
                }
            }
            if let Some(page) = plan.page {
                word |= u64::from(page) << 60;
            }
            if let Some(bit) = plan.counter_bit {
                word |= (n % 16) << bit;
            }
            if let Some(bit) = plan.flag_bit {
                word |= u64::from(time_s as u64 % 37 > 20) << bit;
            }
            if plan.has_sum {
                let bytes = word.to_be_bytes();
                word |= u64::from(bytes[..7].iter().fold(0x3C, |sum, byte| sum ^ byte));
            }
            let late_s = random.between(0.0, car.signals.jitter_s);
            out.push((time_s + late_s, plan.id, word.to_be_bytes()));
            n += 1;
            time_s += plan.period_s;
        }
    }
    out.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut batch = Batch::default();
    let bus = batch.bus("can0");
    for (time_s, id, bytes) in out {
        let stamp = Stamp(first.0 + (time_s * 1e9) as i64);
        batch.push_frame(
            stamp,
            bus,
            id,
            FrameKind::Data,
            FrameFlags::default(),
            &bytes,
        );
    }
    let spans: Vec<String> = wheel_courses
        .iter()
        .map(|at| {
            let values = || sources[*at].iter().map(|point| point.1);
            let (low, high) = (values().fold(1e9, f64::min), values().fold(-1e9, f64::max));
            format!("{:?} {low} to {high}", names[*at])
        })
        .collect();
    let words = format!(
        "wheels {n_bits} bits, low first {is_low_first}, offset {offset}, {per_frame} a frame, paged {is_paged}, \
         {wheel_period_s} s, lag {lag_s:.2} s; {}; {}; {:?}",
        car.signals.in_words(),
        spans.join(", "),
        car.route.kind,
    );
    Laid {
        batch,
        wheels,
        words,
    }
}
