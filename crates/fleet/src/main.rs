//! The command `halfshaft-fleet`: draws a fleet, drives it, and prints the table of evidence.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Parser;
use halfshaft_fleet::evidence::Evidence;
use halfshaft_fleet::{chains, changes, pairs, run, table};
use halfshaft_simulate::fleet::{self, Fault};

/// Draws cars and drives from a seed, runs each through the whole program with a map of its own,
/// and prints how often the program was right.
#[derive(Parser)]
struct Arguments {
    /// Seed of the fleet.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Healthy cars.
    #[arg(long, default_value_t = 300)]
    healthy: u64,
    /// Ill cars of each fault, mild and plain, in town and on the track.
    #[arg(long, default_value_t = 3)]
    ill: u64,
    /// Only ill cars of this fault, by its word in the table.
    #[arg(long, value_parser = fault_of_word)]
    fault: Option<Fault>,
    /// Threads; all cores when not stated.
    #[arg(long)]
    threads: Option<usize>,
    /// List each false alarm, miss and figure outside its band too.
    #[arg(long)]
    list: bool,
    /// In place of the fleet: so many cars, each before and after a change, through the comparison.
    #[arg(long)]
    pairs: Option<u64>,
    /// In place of the fleet: so many cars, each over chains of drives, compared with its own past.
    #[arg(long)]
    chains: Option<u64>,
    /// In place of the fleet: so many drives with another pack, by `whatif` and truly.
    #[arg(long)]
    changes: Option<u64>,
    /// Only the car of this number.
    #[arg(long)]
    car: Option<u64>,
    /// With --car: write its log, map and truth into this folder. With --pairs: log and map of each drive.
    #[arg(long)]
    write: Option<PathBuf>,
}

/// Prints a page, and below its table the list of what is in it where that is asked for.
fn print_page(page: &str, list: Option<String>) {
    print!("{page}");
    if let Some(list) = list {
        print!("\n## List\n\n{list}");
    }
}

fn main() -> Result<()> {
    let arguments = Arguments::parse();
    if let (Some(number), Some(folder)) = (arguments.car, &arguments.write) {
        return write(arguments.seed, number, folder);
    }
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let n_threads = arguments.threads.unwrap_or(cores);
    if let (Some(n_cars), Some(folder)) = (arguments.pairs, &arguments.write) {
        return write_pairs(arguments.seed, n_cars, n_threads, folder);
    }
    if let Some(n_cars) = arguments.pairs {
        let pairs = pairs::compare_all(arguments.seed, n_cars, n_threads);
        let page = pairs_start(arguments.seed, n_cars) + &pairs::text(&pairs);
        print_page(&page, arguments.list.then(|| pairs::list(&pairs)));
        return Ok(());
    }
    if let Some(n_cars) = arguments.chains {
        let numbers: Vec<u64> = match arguments.car {
            Some(number) => vec![number],
            None => (1..=n_cars).collect(),
        };
        let chains = chains::drive_all(arguments.seed, &numbers, n_threads);
        let page = chains_start(arguments.seed, n_cars) + &chains::text(&chains);
        print_page(&page, arguments.list.then(|| chains::list(&chains)));
        return Ok(());
    }
    if let Some(n_drives) = arguments.changes {
        let told = changes::drive_all(arguments.seed, n_drives, n_threads);
        let page = changes_start(arguments.seed, n_drives) + &changes::text(&told);
        print_page(&page, arguments.list.then(|| changes::list(&told)));
        return Ok(());
    }
    let numbers = match arguments.car {
        Some(number) => vec![number],
        None => run::numbers(arguments.healthy, arguments.ill, arguments.fault),
    };
    let evidence = Evidence::of(&run::judge_all(arguments.seed, &numbers, n_threads));
    if arguments.car.is_none() {
        print!("{}", page_start(&arguments));
    }
    print!("{}", table::text(&evidence));
    if arguments.list || arguments.car.is_some() {
        println!("\n## List\n");
        for line in &evidence.list {
            println!("- {line}");
        }
    }
    Ok(())
}

fn fault_of_word(word: &str) -> Result<Fault, String> {
    let mut faults = Fault::ALL.iter();
    let found = faults.find(|fault| fault.word() == word).copied();
    found.ok_or_else(|| "there is no such fault".to_owned())
}

fn page_start(arguments: &Arguments) -> String {
    format!(
        "# Evidence\n\n\
         How often the program is right about cars and drives it has never seen. They are drawn at random\n\
         from a seed (`crates/simulate/src/fleet/`): body, tyres, pack, actuator, controller, road, weather,\n\
         bus and map, the map's values missing the truth by errors of their stated tolerances. Each goes\n\
         through the whole program. Nothing of the plant is shared with what estimates.\n\n\
         Made by `tests/fleet/run`; command: `halfshaft-fleet --seed {} --healthy {} --ill {}`; with `--list` each\n\
         false alarm, miss and figure outside its band is named with its car, and\n\
         `halfshaft-fleet --seed {} --car N --write FOLDER` writes that car's log, map and truth.\n\n\
         - *Deserved* is what the truth of the drive bears out, such as hot oil in a healthy car.\n\
         - *Named otherwise*: something is said to be wrong, under another name. *Not checked*: the report\n  \
         says that it did not look for it.\n\
         - Times of the actuator are those of the first-order lag with dead time that comes closest to its\n  \
         own step, as the car sends it, position or torque; a unit with a limit of speed has none. Oil loss, and an eighth of the healthy cars, are\n  \
         compared with three earlier drives. The highest heat rate is that of the moment; bends are all those\n  \
         tighter than 150 m.\n\n",
        arguments.seed, arguments.healthy, arguments.ill, arguments.seed
    )
}

fn changes_start(seed: u64, n_drives: u64) -> String {
    format!(
        "# Evidence: another pack\n\n\
         What `halfshaft whatif` says of another pack, oil quantity, cooling or torque table, beside what the drawn car\n\
         truly does with it on the same drive: same road, driver, weather and noise. The car answers as it must: its\n\
         tyres, its controller and its driver do otherwise with another torque. Pressed with the same force; by turns on\n\
         a pass and on a circuit, the first cars whose map states all that is changed.\n\n\
         Command: `halfshaft-fleet --seed {seed} --changes {n_drives}`; with `--list` each number outside its range is\n\
         named with its car.\n\n\
         - *Told* and *truly* are the lowest and the highest change of the drives: per cent of the figure as it was, or\n  \
         kelvin. What the map is off by concerns both drives and falls out.\n\
         - Of a bound, *at most* or *at least*, the truth may lie anywhere on its side. A pack that holds makes no heat, so\n  \
         the truth of a bigger pack lies far below its bound on some drives and near it on others.\n\
         - A truth counts as inside up to 3 % or 1 K beyond the range: so much do two drives differ in which a wheel\n  \
         breaks away a millisecond later.\n\n"
    )
}

fn pairs_start(seed: u64, n_cars: u64) -> String {
    format!(
        "# Evidence: before and after\n\n\
         What `halfshaft compare` claims of two drives of one drawn car, on two days: air, oil at the start, supply, \
         noise and\nthe driver's moods differ in either, whatever is changed.\n\n\
         Made by `halfshaft-fleet --seed {seed} --pairs {n_cars}`; with `--list` each figure of each pair is named.\n\n\
         - *Pairs*: those in which the figure could be compared. *Seen*: its band leaves 0 out. *Called the car's*: and\n  \
         driving does not explain it.\n\
         - *Smallest said*: what the page says a difference would have to be, median; *by the scatter*: what it would\n  \
         have to be by how far the figure truly wanders with nothing changed, (1.645 + 0.842) deviations.\n\n"
    )
}

fn chains_start(seed: u64, n_cars: u64) -> String {
    format!(
        "# Evidence: own past\n\n\
         Twelve drives of each drawn car on one circuit, on twelve days: air, oil at the start, supply, noise and the \
         driver's\nmoods differ, and beside that one thing creeps or nothing does. Each drive is compared with all before \
         it, as\n`halfshaft report --baseline` does.\n\n\
         Made by `halfshaft-fleet --seed {seed} --chains {n_cars}`; with `--list` what each drive gave to compare with is \
         named.\n\n\
         - *Not checked*: no drive could look for it, or too few gave a value of grade B or better to compare: a log\n  \
         that lacks a channel, comes slowly, or has too few moves, or gears that hide the pack's heat.\n\
         - A fault that creeps from the first drive on can be said from the fourth, and is to be said by the seventh: the\n  \
         first three show what is usual. With nothing changed, and with the weather alone, nothing is to be said.\n\n"
    )
}

fn write_pairs(seed: u64, n_cars: u64, n_threads: usize, folder: &Path) -> Result<()> {
    fs::create_dir_all(folder).context("could not make the folder")?;
    let all = pairs::drives(n_cars);
    let written = run::on_threads(all.len(), n_threads, |index| {
        let (name, car) = all[index].car(seed);
        let (batch, _) = fleet::drive(&car);
        let path = |ending: &str| folder.join(format!("{name}.{ending}"));
        fs::write(path("map"), fleet::map_text(&car)).context("could not write the map")?;
        fs::write(path("log"), run::log_text(&batch)?).context("could not write the log")
    });
    written.into_iter().collect()
}

fn write(seed: u64, number: u64, folder: &Path) -> Result<()> {
    let car = run::car(seed, number).context("no car has this number")?;
    let (batch, truth) = fleet::drive(&car);
    fs::create_dir_all(folder).context("could not make the folder")?;
    let path = |ending: &str| folder.join(format!("car-{number}.{ending}"));
    fs::write(path("map"), fleet::map_text(&car)).context("could not write the map")?;
    fs::write(path("log"), run::log_text(&batch)?).context("could not write the log")?;
    fs::write(path("truth.json"), truth.to_json()).context("could not write the truth")?;
    println!("{}\n{}", path("log").display(), car.in_words());
    Ok(())
}
