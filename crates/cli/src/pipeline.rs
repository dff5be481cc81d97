//! Joins the readers of logs with the stages of a drive: log -> map -> blocks, what is derived
//! from them, and what is made of that. Which thread does what stands in `stages`.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use halfshaft_drive::{Drive, Front, Stages};
use halfshaft_driveline::Derived;
use halfshaft_health::Health;
use halfshaft_logs::{Input, Log, Options, Source};
use halfshaft_model::{Batch, Block, IdFilter, Notices};
use halfshaft_signal_map::decode::Coverage;
use halfshaft_signal_map::survey::SurveyReport;
use halfshaft_signal_map::{Checked, Map};

use crate::output;
use crate::progress::Indicator;
use crate::stages;

/// A map file may not be larger than this; the largest sensible one is a thousandth of it.
const LARGEST_MAP_BYTES: u64 = 4 << 20;

/// What is left when a log has been read.
#[derive(Debug)]
pub struct Read {
    /// The inputs.
    pub inputs: Vec<Input>,
    /// Damage, of the log and of its frames.
    pub notices: Notices,
    /// What the decoder saw.
    pub coverage: Coverage,
    /// How log and map fit each other.
    pub fit: SurveyReport,
}

/// Standard input can be read once: an error when logs and map name it twice.
pub fn check_standard_input(logs: &[PathBuf], map: &Path) -> Result<()> {
    let paths = logs.iter().map(PathBuf::as_path).chain([map]);
    if paths.filter(|path| path.as_os_str() == "-").count() > 1 {
        bail!("standard input was named twice, and can be read once");
    }
    Ok(())
}

/// Reads a map; mistakes are printed and end the program.
pub fn read_map(path: &Path) -> Result<Map> {
    match check_map(path)? {
        Ok(checked) => Ok(checked.map),
        Err(mistakes) => {
            output::write_error_text(&mistakes.render(is_error_colour_wanted()));
            bail!(
                "{}: the map has {}",
                path.display(),
                counted_mistakes(mistakes.len())
            )
        }
    }
}

/// `1 mistake`, `3 mistakes`.
pub fn counted_mistakes(n: usize) -> String {
    if n == 1 {
        "1 mistake".to_owned()
    } else {
        format!("{n} mistakes")
    }
}

/// Reads and checks a map.
pub fn check_map(path: &Path) -> Result<Result<Checked, halfshaft_signal_map::Mistakes>> {
    let bytes = map_bytes(path)?;
    if looks_like_a_log(&bytes) {
        bail!(
            "{}: found a log, expected a map; are the two swapped? Maps stand behind --map, and first in `map check`",
            path.display()
        );
    }
    Ok(halfshaft_signal_map::parse_bytes(
        &output::harmless(&path.display().to_string()),
        &bytes,
    ))
}

/// Whether bytes begin as compressed files and SocketCAN text do; no map begins so.
fn looks_like_a_log(bytes: &[u8]) -> bool {
    const GZIP: &[u8] = &[0x1F, 0x8B];
    const ZSTD: &[u8] = &[0x28, 0xB5, 0x2F, 0xFD];
    let is_stamp = |start: &[u8]| start.len() == 2 && start[0] == b'(' && start[1].is_ascii_digit();
    bytes.starts_with(GZIP) || bytes.starts_with(ZSTD) || bytes.get(..2).is_some_and(is_stamp)
}

/// The bytes of a map file, or of standard input for `-`.
pub fn map_bytes(path: &Path) -> Result<Vec<u8>> {
    use std::io::Read;
    let doing = || format!("could not read the map {}", path.display());
    let mut bytes = Vec::new();
    let limit = LARGEST_MAP_BYTES + 1;
    if path.as_os_str() == "-" {
        std::io::stdin()
            .lock()
            .take(limit)
            .read_to_end(&mut bytes)
            .with_context(doing)?;
    } else {
        std::fs::File::open(path)
            .with_context(doing)?
            .take(limit)
            .read_to_end(&mut bytes)
            .with_context(doing)?;
    }
    if bytes.len() as u64 >= limit {
        bail!(
            "{}: longer than {} bytes, which no map is; is this the log?",
            path.display(),
            LARGEST_MAP_BYTES
        );
    }
    Ok(bytes)
}

/// Whether colour is wanted on standard error.
pub fn is_error_colour_wanted() -> bool {
    use std::io::IsTerminal;
    std::io::stderr().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Reads logs through all stages of a drive to their end, and hands every block with what was
/// derived and judged by then to `see`. A log of which the map says nothing is an error.
pub fn drive(
    logs: &[PathBuf],
    map: &Map,
    drive: &mut Drive,
    mut see: impl FnMut(&Block, &Derived, &Health) -> Result<()>,
) -> Result<Read> {
    let Stages {
        front,
        driveline,
        health,
    } = drive.stages();
    let log = read(
        logs,
        map,
        Some(&map.id_filter()),
        front,
        |piece| driveline.push(&piece.block, &mut piece.derived),
        |piece| {
            health.push(&piece.block, &piece.derived);
            see(&piece.block, &piece.derived, health)
        },
    )?;
    // The last entries may have waited for others.
    drive.finish();
    check_mapped(map, drive.front(), &log)?;
    see(drive.block(), drive.derived(), drive.health())?;
    Ok(Read::new(log, drive.front()))
}

/// Reads logs through a map and hands every block of channels to `see`.
pub fn decode(
    logs: &[PathBuf],
    map: &Map,
    mut see: impl FnMut(&Block) -> Result<()>,
) -> Result<()> {
    let mut front = Front::unscreened(map);
    let log = read(
        logs,
        map,
        Some(&map.id_filter()),
        &mut front,
        |_| {},
        |piece| see(&piece.block),
    )?;
    let mut block = Block::new(map.channels.len());
    front.finish(&mut block);
    check_mapped(map, &front, &log)?;
    see(&block)
}

/// Reads logs that may not fit the map at all, frames nobody mapped too, to see how they fit.
pub fn survey(logs: &[PathBuf], map: &Map) -> Result<Read> {
    let mut front = Front::with_whole_survey(map);
    let log = read(logs, map, None, &mut front, |_| {}, |_| Ok(()))?;
    front.finish(&mut Block::new(map.channels.len()));
    Ok(Read::new(log, &front))
}

/// What the reader of the log leaves.
struct LogFacts {
    inputs: Vec<Input>,
    notices: Notices,
}

impl Read {
    fn new(log: LogFacts, front: &Front) -> Read {
        let mut notices = log.notices;
        notices.merge(front.notices().clone());
        Read {
            inputs: log.inputs,
            notices,
            coverage: front.coverage(),
            fit: front.fit(),
        }
    }
}

/// Logs as they are named on the command line.
pub fn sources(logs: &[PathBuf]) -> Vec<Source> {
    let source = |path: &PathBuf| match path.as_os_str() == "-" {
        true => Source::StandardInput,
        false => Source::File(path.clone()),
    };
    logs.iter().map(source).collect()
}

/// Reads logs piece by piece. Frames that `only` leaves out need not even be decoded.
fn read(
    logs: &[PathBuf],
    map: &Map,
    only: Option<&IdFilter>,
    front: &mut Front,
    derive: impl FnMut(&mut Piece) + Send,
    mut take: impl FnMut(&mut Piece) -> Result<()>,
) -> Result<LogFacts> {
    let sources = sources(logs);
    let sheets = map.sheet_specs();
    let options = Options {
        sheets: &sheets,
        only,
    };
    let mut log = Log::open(&sources, &options).context("could not read the log")?;
    let indicator = Indicator::start(log.progress());
    let fill = |piece: &mut Piece| {
        if !log
            .next(&mut piece.batch)
            .context("could not read the log")?
        {
            return Ok(false);
        }
        front.push(&piece.batch, &mut piece.block);
        piece.read_bytes = log.progress().read_bytes;
        Ok(true)
    };
    stages::run(fill, derive, |piece| {
        take(piece)?;
        indicator.at(piece.read_bytes);
        Ok(())
    })?;
    indicator.end();
    let inputs = log.inputs();
    // The report says it too; whoever mistyped a name should not have to read that far.
    for trouble in inputs.iter().filter_map(|input| input.trouble.as_ref()) {
        output::write_error_line(trouble);
    }
    Ok(LogFacts {
        inputs,
        notices: log.notices().clone(),
    })
}

/// A piece of the log on its way from one stage to the next.
#[derive(Debug, Default)]
struct Piece {
    batch: Batch,
    block: Block,
    derived: Derived,
    read_bytes: u64,
}

fn check_mapped(map: &Map, front: &Front, log: &LogFacts) -> Result<()> {
    if front.coverage().n_mapped > 0 {
        return Ok(());
    }
    bail!(nothing_mapped(map, &log.inputs))
}

fn nothing_mapped(map: &Map, inputs: &[Input]) -> String {
    if map.frames.is_empty() && map.sheets.is_empty() {
        return format!(
            "the map \"{}\" describes no frame and no sheet, so nothing in a log has a meaning",
            map.title
        );
    }
    let frames = map.frames.iter().map(|frame| frame.id.to_string());
    let sheets = map
        .sheets
        .iter()
        .map(|sheet| format!("\"{}\"", sheet.spec.name));
    let mut wanted: Vec<String> = frames.chain(sheets).collect();
    if wanted.len() > 5 {
        wanted.truncate(4);
        wanted.push("…".to_owned());
    }
    format!(
        "the log fits no part of the map \"{}\": {} entries were read and none is of the map's frames or sheets ({}); \
         is this the map of another car? `halfshaft look LOG` shows what the log holds, `halfshaft map start` begins a map of it",
        map.title,
        inputs.iter().map(|input| input.n_entries).sum::<u64>(),
        wanted.join(", "),
    )
}
