//! Writes every sample drive, its truth and the list of stories into a folder.
//!
//! `cargo run -p halfshaft-simulate --example make-samples -- sample-logs`

use halfshaft_simulate::{scenarios, to_text};
use std::fs;
use std::path::PathBuf;
use std::process::ExitCode;

/// Small files matter more here than a second of work.
const COMPRESSION_LEVEL: i32 = 19;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("wanted the folder to write to");
        return ExitCode::from(2);
    };
    match write_all(&folder) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("could not write to {}: {error}", folder.display());
            ExitCode::from(2)
        }
    }
}

fn write_all(folder: &std::path::Path) -> std::io::Result<()> {
    fs::create_dir_all(folder)?;
    for scenario in scenarios() {
        let (text, truth) = to_text(&scenario);
        let compressed = zstd::encode_all(text.as_bytes(), COMPRESSION_LEVEL)?;
        fs::write(
            folder.join(format!("{}.log.zst", scenario.name)),
            &compressed,
        )?;
        fs::write(
            folder.join(format!("{}.truth.json", scenario.name)),
            truth.to_json(),
        )?;
        println!(
            "{:18} {:5.0} s {:6.2} km {:7.1} kJ {:4} events {:6} kB: {}",
            scenario.name,
            truth.duration_s,
            truth.distance_km,
            truth.heat_total_kj,
            truth.engagements,
            compressed.len() / 1000,
            scenario.title,
        );
    }
    Ok(())
}
