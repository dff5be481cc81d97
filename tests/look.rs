//! What `look` finds in logs nobody has mapped: wheel speeds in cars laid out at random and in real
//! recordings, and what it says of logs in which there are none.

#[path = "common/layouts.rs"]
mod layouts;

use halfshaft_look::{Found, Look, Place};
use halfshaft_simulate::fleet::Car;
use layouts::{Laid, Wheel};

fn look_at(laid: &Laid) -> Found {
    let mut look = Look::new(&[]);
    look.push(&laid.batch);
    look.found()
}

/// Whether a signal is this wheel: most of its bits and its lowest ones.
fn is_wheel(found: &Found, place: &Place, wheel: &Wheel) -> bool {
    let Place::Bits {
        identifier, field, ..
    } = place
    else {
        return false;
    };
    let is_page = !matches!((place, wheel.page), (Place::Bits { page: Some(page), .. }, Some(wanted)) if *page != wanted);
    // Higher bits may never have changed; the lowest one is the scale.
    let bits = field.bits.mask();
    let lowest = |mask: u64| match wheel.is_low_first {
        true => mask.swap_bytes().trailing_zeros(),
        false => mask.trailing_zeros(),
    };
    is_page
        && found.identifiers[*identifier].id == wheel.id
        && bits & wheel.mask == bits
        && lowest(bits) == lowest(wheel.mask)
}

/// Whether the first candidates are the wheels.
fn are_first(found: &Found, wheels: &[Wheel]) -> bool {
    let first = found.candidates.iter().take(wheels.len());
    let places: Vec<&Place> = first
        .map(|candidate| &found.signals[candidate.signal].place)
        .collect();
    wheels
        .iter()
        .all(|wheel| places.iter().any(|place| is_wheel(found, place, wheel)))
}

fn in_words(found: &Found) -> String {
    let mut words = String::new();
    for candidate in &found.candidates {
        if let Place::Bits {
            identifier,
            page,
            field,
        } = &found.signals[candidate.signal].place
        {
            words += &format!(
                "    {:?} {} page {page:?} {} ({} bits, {:.1} smooth): {}\n",
                candidate.kind,
                found.identifiers[*identifier].id,
                field.whole().words(),
                field.bits.n_bits,
                field.quality.smooth_bits,
                candidate.evidence.join("; ")
            );
        }
    }
    words
}

fn reach(seed: u64, n_cars: u32) -> (usize, Vec<String>) {
    let mut n_right = 0;
    let mut wrong = Vec::new();
    for number in 1..=n_cars {
        let car = Car::healthy(seed, number as _);
        let laid = layouts::lay_out(&car, seed * 1000 + u64::from(number));
        let found = look_at(&laid);
        if are_first(&found, &laid.wheels) {
            n_right += 1;
        } else {
            let truth: Vec<String> = laid
                .wheels
                .iter()
                .map(|wheel| {
                    format!(
                        "{:?} {} page {:?} {:016X}",
                        wheel.quantity, wheel.id, wheel.page, wheel.mask
                    )
                })
                .collect();
            if std::env::var("LOOK_DEBUG").is_ok() {
                for identifier in &found.identifiers {
                    if laid.wheels.iter().any(|wheel| wheel.id == identifier.id) {
                        let rates: Vec<String> = identifier
                            .flip_rates
                            .chunks(8)
                            .map(|byte| {
                                byte.iter()
                                    .map(|rate| format!("{:.4}", rate))
                                    .collect::<Vec<_>>()
                                    .join(" ")
                            })
                            .collect();
                        println!(
                            "DBG {number} {} {:?} {:?} {:?} {}",
                            identifier.id,
                            identifier.counters,
                            identifier.checksum,
                            identifier.pages,
                            rates.join(" | ")
                        );
                    }
                }
                for signal in &found.signals {
                    if let Place::Bits {
                        identifier,
                        page,
                        field,
                    } = &signal.place
                    {
                        let id = found.identifiers[*identifier].id;
                        if laid.wheels.iter().any(|wheel| wheel.id == id) {
                            println!(
                                "DBG {number} {id} {page:?} {} core {} {:?} span {:?}",
                                field.whole().words(),
                                field.bits.words(),
                                field.quality,
                                signal.span
                            );
                        }
                    }
                }
            }
            wrong.push(format!(
                "seed {seed} car {number}: {}\n  truth {}\n{}",
                laid.words.replace("RearLeft RearRight", ""),
                truth.join(", "),
                in_words(&found)
            ));
        }
    }
    (n_right, wrong)
}

#[test]
fn wheels_come_first_in_cars_laid_out_at_random() {
    let seed = std::env::var("LOOK_SEED")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(1);
    let n = std::env::var("LOOK_N")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(12);
    let (n_right, wrong) = reach(seed, n);
    println!("{n_right} of {n}\n{}", wrong.join("\n"));
    assert!(
        n_right * 20 >= n as usize * 19,
        "{n_right} of {n}:\n{}",
        wrong.join("\n")
    );
}
