//! Fits a lag with dead time to series on standard input, for checks against other libraries.
//!
//! In: lines `command <s> <value>` and `response <s> <value>`, each in order of time, and
//! `end` after each case. Out: one JSON line a case; `null` where there is no fit.

use std::io::BufRead;

use halfshaft_driveline::response::Reading;
use halfshaft_driveline::response::first_order::held_course;
use halfshaft_driveline::response::fit::{SearchRange, fit};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut command, mut response) = (Vec::new(), Vec::new());
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            ["end"] => {
                println!("{}", fitted(&command, &response));
                command.clear();
                response.clear();
            }
            [series, time_s, value] => {
                let reading = Reading {
                    time_s: time_s.parse()?,
                    value: value.parse()?,
                };
                match series {
                    "command" => command.push(reading),
                    "response" => response.push(reading),
                    _ => return Err(format!("no series `{series}`").into()),
                }
            }
            _ => return Err(format!("not a line of a series: `{line}`").into()),
        }
    }
    Ok(())
}

fn fitted(command: &[Reading], response: &[Reading]) -> String {
    let range = SearchRange {
        longest_dead_time_s: 2.0,
        shortest_lag_s: 0.002,
        longest_lag_s: 3.0,
    };
    let Ok(fit) = fit(&held_course(command), response, range) else {
        return "null".to_owned();
    };
    let number = |sd: Option<f64>| sd.map_or("null".to_owned(), |sd| sd.to_string());
    format!(
        r#"{{"gain":{},"offset":{},"dead_time_s":{},"dead_time_sd_s":{},"lag_s":{},"lag_sd_s":{},"residual_sd":{}}}"#,
        fit.gain,
        fit.offset,
        fit.dead_time_s,
        number(fit.dead_time_sd_s),
        fit.lag_s,
        number(fit.lag_sd_s),
        fit.residual_sd
    )
}
