//! A bench cycle as a sheet of comma-separated values.
//!
//! In: a [`BenchCycle`]. Out: text after RFC 4180 with units in its header. A cell without
//! a value is empty, never 0.

use super::bench_cycle::{BenchCycle, BenchStep};

/// A column: its title, and its cell.
type Column = (&'static str, fn(&BenchStep) -> Option<f64>);

const COLUMNS: [Column; 9] = [
    ("slip speed, rad/s", |step| step.slip_rad_per_s),
    ("torque of one pack, N·m", |step| step.torque_nm),
    ("duration, s", |step| Some(step.duration_s)),
    ("energy, J", |step| Some(step.energy_j)),
    ("power per net lining area, W/mm²", |step| {
        step.power_w_per_mm2
    }),
    ("highest peak in the drive, W/mm²", |step| {
        step.peak_w_per_mm2
    }),
    ("count", |step| Some(step.count as f64)),
    ("pause after, s", |step| step.pause_s),
    ("oil temperature, °C", |step| step.oil_temp_c),
];

/// The sheet: a header, and one line for each step, numbered from 1.
pub fn bench_csv(cycle: &BenchCycle) -> String {
    let titles = COLUMNS.iter().map(|(title, _)| quoted(title));
    let mut text = line(std::iter::once("step".to_owned()).chain(titles));
    for (number, step) in (1..).zip(&cycle.steps) {
        let number: u32 = number;
        let cells = COLUMNS.iter().map(|(_, cell)| match cell(step) {
            Some(value) if value.is_finite() => value.to_string(),
            _ => String::new(),
        });
        text += &line(std::iter::once(number.to_string()).chain(cells));
    }
    text
}

fn line(cells: impl Iterator<Item = String>) -> String {
    let cells: Vec<String> = cells.collect();
    cells.join(",") + "\r\n"
}

/// A cell that may hold commas, quotes and line ends.
fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_by_hand() {
        let cycle = BenchCycle {
            steps: vec![BenchStep {
                slip_rad_per_s: Some(8.0),
                torque_nm: Some(512.5),
                duration_s: 2.0,
                energy_j: 8200.0,
                power_w_per_mm2: None,
                peak_w_per_mm2: None,
                count: 3,
                pause_s: Some(43.25),
                oil_temp_c: None,
            }],
            ..BenchCycle::default()
        };
        assert_eq!(
            bench_csv(&cycle),
            "step,\"slip speed, rad/s\",\"torque of one pack, N·m\",\"duration, s\",\"energy, J\",\
             \"power per net lining area, W/mm²\",\"highest peak in the drive, W/mm²\",count,\
             \"pause after, s\",\"oil temperature, °C\"\r\n1,8,512.5,2,8200,,,3,43.25,\r\n"
        );
        assert_eq!(bench_csv(&BenchCycle::default()).lines().count(), 1);
    }

    #[test]
    fn quotes_are_doubled() {
        assert_eq!(quoted("a \"b\""), "\"a \"\"b\"\"\"");
        assert_eq!(quoted("a b"), "a b");
    }
}
