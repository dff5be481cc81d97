//! Joins the stages: log -> map -> blocks, rows derived from them where somebody wants rows,
//! and what is made of them. Who does which when is told in `stages`.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use halfshaft_driveline::{Driveline, Row};
use halfshaft_logs::{Input, Log, Options, Source};
use halfshaft_model::{Batch, Block, IdFilter, Notices};
use halfshaft_signal_map::decode::{Coverage, Decoder};
use halfshaft_signal_map::survey::{Survey, SurveyReport};
use halfshaft_signal_map::{Checked, Map};

use crate::output;
use crate::progress::Shown;
use crate::stages;

/// Of a long log the first so many pieces are held against the map, some hundred thousand
/// entries, and then one in so many: a signal read wrongly is wrong all along.
const SURVEYED_WHOLE: usize = 128;
const SURVEYED_EVERY: usize = 64;

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
            output::say_as_is(&mistakes.render(is_error_colour_wanted()));
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
    Ok(halfshaft_signal_map::parse_bytes(
        &output::harmless(&path.display().to_string()),
        &bytes,
    ))
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
            "{}: longer than {} bytes, no map is; is this the log?",
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

/// Reads logs through a map, handing each batch and its block to `take`. A log of which
/// the map says nothing is an error.
pub fn read(
    logs: &[PathBuf],
    map: &Map,
    mut take: impl FnMut(&Batch, &Block) -> Result<()>,
) -> Result<Read> {
    read_mapped(logs, map, None, |piece| take(&piece.batch, &piece.block))
}

/// The same, handing each block and the rows that are derived by then to `take`.
pub fn derive(
    logs: &[PathBuf],
    map: &Map,
    driveline: &mut Driveline,
    mut take: impl FnMut(&Block, &mut Vec<Row>) -> Result<()>,
) -> Result<Read> {
    read_mapped(logs, map, Some(driveline), |piece| {
        take(&piece.block, &mut piece.rows)
    })
}

fn read_mapped(
    logs: &[PathBuf],
    map: &Map,
    driveline: Option<&mut Driveline>,
    take: impl FnMut(&mut Piece) -> Result<()>,
) -> Result<Read> {
    // Frames nobody mapped need not even be decoded.
    let only = map.id_filter();
    let read = read_some(logs, map, Some(&only), driveline, take)?;
    if read.coverage.n_mapped == 0 {
        bail!(nothing_mapped(map, &read));
    }
    Ok(read)
}

/// Like [`read`], for a log that may not fit the map at all.
pub fn survey(
    logs: &[PathBuf],
    map: &Map,
    mut take: impl FnMut(&Batch, &Block) -> Result<()>,
) -> Result<Read> {
    read_some(logs, map, None, None, |piece| {
        take(&piece.batch, &piece.block)
    })
}

fn read_some(
    logs: &[PathBuf],
    map: &Map,
    only: Option<&IdFilter>,
    mut driveline: Option<&mut Driveline>,
    mut take: impl FnMut(&mut Piece) -> Result<()>,
) -> Result<Read> {
    let sources: Vec<Source> = logs
        .iter()
        .map(|path| match path.as_os_str() == "-" {
            true => Source::StandardInput,
            false => Source::File(path.clone()),
        })
        .collect();
    let sheets = map.sheet_specs();
    let options = Options {
        sheets: &sheets,
        only,
    };
    let mut log = Log::open(&sources, &options).context("could not read the log")?;
    let mut decoder = Decoder::new(map);
    let mut survey = Survey::new(map);
    // Whoever only wants the report need not have hours of signals held against the map.
    let is_thin = only.is_some();
    let shown = Shown::start(log.progress());
    let mut index = 0_usize;
    let mut has_ended = false;
    let fill = |piece: &mut Piece| {
        piece.read_bytes = log.progress().read_bytes;
        if has_ended {
            return Ok(false);
        }
        has_ended = !log
            .next(&mut piece.batch)
            .context("could not read the log")?;
        if has_ended {
            decoder.finish(&mut piece.block);
            survey.push(&piece.batch, &piece.block);
            return Ok(true);
        }
        decoder.push(&piece.batch, &mut piece.block);
        match is_thin && index >= SURVEYED_WHOLE && !index.is_multiple_of(SURVEYED_EVERY) {
            true => survey.pass_over(),
            false => survey.push(&piece.batch, &piece.block),
        }
        index += 1;
        piece.read_bytes = log.progress().read_bytes;
        Ok(true)
    };
    let derive = |piece: &mut Piece| {
        if let Some(driveline) = &mut driveline {
            piece.rows.clear();
            driveline.push(&piece.block, &mut piece.rows);
        }
    };
    stages::run(fill, derive, |piece| {
        take(piece)?;
        shown.at(piece.read_bytes);
        Ok(())
    })?;
    shown.end();
    // The report says it too; whoever mistyped a name should not have to read that far.
    let troubles = log.inputs().into_iter().filter_map(|input| input.trouble);
    for trouble in troubles {
        output::say(&trouble);
    }
    let mut notices = log.notices().clone();
    notices.merge(decoder.notices().clone());
    let coverage = decoder.coverage();
    Ok(Read {
        inputs: log.inputs(),
        notices,
        fit: survey.finish(&coverage),
        coverage,
    })
}

/// A piece of the log on its way from one stage to the next.
#[derive(Debug, Default)]
struct Piece {
    batch: Batch,
    block: Block,
    rows: Vec<Row>,
    read_bytes: u64,
}

fn nothing_mapped(map: &Map, read: &Read) -> String {
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
         is this the map of another car? `halfshaft map check MAP LOG` lists what the log holds",
        map.title,
        read.inputs.iter().map(|input| input.n_entries).sum::<u64>(),
        wanted.join(", "),
    )
}
