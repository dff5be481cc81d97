//! Counts the cycles of a series, for comparison with other programs.
//!
//! In, on the standard input: width of the levels, lowest, highest and least range on the
//! first line, then one value a line. Out: range, mean and count, one cycle a line.

use std::io::Read as _;

use halfshaft_health::duty::{CycleCount, Levels};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text)?;
    let mut lines = text.lines();
    let scale: Vec<f64> = lines
        .next()
        .unwrap_or_default()
        .split_whitespace()
        .map(str::parse)
        .collect::<Result<_, _>>()?;
    let [width, lowest, highest, least_range] = scale[..] else {
        return Err("the first line is: width lowest highest least-range".into());
    };
    let mut count = CycleCount::new(Levels::new(width, lowest, highest)?, least_range);
    for line in lines {
        count.add(line.trim().parse()?);
    }
    for cycle in count.cycles() {
        println!("{} {} {}", cycle.range, cycle.mean, cycle.count);
    }
    Ok(())
}
