//! A sample of the fleet through the whole program: what was reached is not lost again.

use halfshaft_fleet::chains::{Heard, drive_all, text};
use halfshaft_fleet::evidence::{Answer, Evidence};
use halfshaft_fleet::run::{FIRST_ILL, MOST_OF_A_KIND, car, judge_all, log_text, numbers};
use halfshaft_fleet::{changes, pairs, table};
use halfshaft_health::{FigureId, FindingId};
use halfshaft_model::{Batch, Entry};
use halfshaft_simulate::fleet::chain::Creeps;
use halfshaft_simulate::fleet::pair::{Altered, Changed};
use halfshaft_simulate::fleet::{self, Fault};

const SEED: u64 = 1;

fn n_threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

#[test]
fn threads_change_nothing() {
    let numbers = &numbers(4, 0, None);
    let one = Evidence::of(&judge_all(7, numbers, 1));
    let three = Evidence::of(&judge_all(7, numbers, 3));
    assert_eq!(table::text(&one), table::text(&three));
    assert_eq!(one.list, three.list);
}

#[test]
fn the_log_of_a_car_reads_as_its_frames() {
    let car = car(SEED, 2).expect("there is a car 2");
    let (batch, _) = fleet::drive(&car);
    let mut read = Batch::default();
    let text = log_text(&batch).expect("every drawn frame fits the form");
    let input: Box<dyn std::io::Read + Send> = Box::new(std::io::Cursor::new(text));
    let options = halfshaft_logs::Options {
        sheets: &[],
        only: None,
    };
    let inputs = vec![("car.log".to_owned(), input)];
    let mut log = halfshaft_logs::Log::from_readers(inputs, &options).expect("it is a log");
    let mut n = 0;
    while log.next(&mut read).expect("it has frames") {
        for entry in &read.entries {
            let (Entry::Frame(got), Entry::Frame(sent)) = (entry, &batch.entries[n]) else {
                panic!("entry {n} is no frame");
            };
            // The text has microseconds.
            assert!((got.stamp.0 - sent.stamp.0).abs() < 1_000, "entry {n}");
            assert_eq!(got.id, sent.id);
            assert_eq!(read.payload(got), batch.payload(sent));
            n += 1;
        }
    }
    assert_eq!(n, batch.entries.len());
}

#[test]
fn every_map_that_can_be_drawn_is_right() {
    for number in (1..400).chain(numbers(0, 2, None)) {
        let car = car(SEED, number).expect("the number is one of the fleet's");
        let text = fleet::map_text(&car);
        if let Err(mistakes) = halfshaft_signal_map::parse("fleet.map", &text) {
            panic!("car {number}: {}", mistakes.render(false));
        }
    }
}

/// Healthy cars, and every fault in its plain form, by turns in town and on the track.
fn sample() -> Vec<u64> {
    let ill = (0..Fault::ALL.len() as u64).map(|fault| {
        let place = fault % 2;
        FIRST_ILL + (4 * fault + 2 + place) * MOST_OF_A_KIND
    });
    (1..=24).chain(ill).collect()
}

#[test]
fn a_sample_is_judged_no_worse_than_before() {
    let evidence = Evidence::of(&judge_all(SEED, &sample(), n_threads()));
    let answered = |answer: Answer| {
        let places = evidence.ill.values().flatten();
        places
            .map(|answers| answers[answer as usize])
            .sum::<usize>()
    };
    let held = |id: FigureId| {
        let mut fared = evidence.figures.iter();
        fared
            .find(|fared| fared.id == id)
            .map_or(0, |fared| fared.n_held)
    };
    // As measured; what is better is made the new floor.
    let mut worse = Vec::new();
    for (what, n, most) in [
        ("healthy with a wrong act or stop", evidence.n_act, 0),
        ("healthy with a wrong look soon", evidence.n_look, 0),
        ("healthy with a wrong remark", evidence.n_remarks, 0),
        ("missed", answered(Answer::Missed), 4),
    ] {
        if n > most {
            worse.push(format!("{what}: {n}, at most {most}"));
        }
    }
    for (what, n, least) in [
        ("found", answered(Answer::Found), 12),
        ("heat held", held(FigureId::HeatTotal), 21),
        ("highest heat rate held", held(FigureId::HeatPeak), 16),
        ("highest slip held", held(FigureId::SlipPeak), 12),
        (
            "highest oil temperature held",
            held(FigureId::OilTempMax),
            17,
        ),
        ("distance held", held(FigureId::Distance), 22),
    ] {
        if n < least {
            worse.push(format!("{what}: {n}, at least {least}"));
        }
    }
    assert!(
        worse.is_empty(),
        "{}\n{}",
        worse.join("\n"),
        evidence.list.join("\n")
    );
}

#[test]
fn a_change_is_seen_and_a_driver_is_not_the_car() {
    let pairs = pairs::compare_all(5, 2, n_threads());
    let (wrong, all) = pairs::wrongly_of_car(&pairs);
    assert!(all >= 20 && 10 * wrong <= all, "{wrong} of {all}");
    // Closing +20 % drowns where frames come slowly; a doubled release does not.
    for (changed, least) in [(Changed::Rise, 0.5), (Changed::Release, 1.0)] {
        let (seen, all) = pairs::found(&pairs, changed);
        let is_enough = f64::from(seen) >= least * f64::from(all);
        assert!(all > 0 && is_enough, "{changed:?}: {seen} of {all}");
    }
    assert!(pairs::text(&pairs).contains("driver 10 % faster"));
}

/// Every range that is stated for another pack holds what the car that truly has it does, and a bigger pack pressed
/// alike does far less than its bound on some of them.
#[test]
fn what_is_said_of_another_pack_holds_for_the_car_that_has_it() {
    let told = changes::drive_all(SEED, 2, n_threads());
    let outside = changes::list(&told);
    assert!(outside.is_empty(), "{outside}");
    let n_stated = told
        .iter()
        .filter(|told| told.is_inside().is_some())
        .count();
    // As measured: six changes of two drives, of which four leave the time under load open.
    assert!(n_stated >= 70, "{n_stated}");
    let is_below = |told: &&changes::Told| {
        told.altered == Altered::Faces && told.figure == "heat_total" && told.truth < 0.25
    };
    assert!(told.iter().any(|told| is_below(&told)));
}

/// Two cars, each over twelve drives compared with their own past: of what creeps nothing is missed that was found
/// before, and with nothing changed, or in other weather, nothing is reported.
#[test]
fn own_past_reports_what_creeps_and_nothing_else() {
    let chains = drive_all(SEED, &[1, 2], n_threads());
    let mut n_found = 0;
    for chain in &chains {
        for (id, heard) in &chain.heard {
            match (chain.creeps, id, heard) {
                (Creeps::Nothing | Creeps::Weather, _, Heard::At(drive)) => {
                    panic!("car {}: {id:?} at drive {drive}", chain.number)
                }
                (Creeps::Motor, FindingId::LazyActuator, Heard::At(5..=7))
                | (Creeps::Oil, FindingId::OilLoss, Heard::At(4..=6)) => n_found += 1,
                _ => {}
            }
        }
    }
    // As measured; what is better is made the new floor.
    assert!(n_found >= 2, "{}", text(&chains));
}
