//! Writes files beside their place and then renames them: nothing half written is left.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use halfshaft_report::words::clean;
use tempfile::NamedTempFile;

/// Files that all appear, or none: each is written to a temporary neighbour, and only
/// when all are complete are they renamed.
#[derive(Debug)]
pub struct Folder {
    dir: PathBuf,
    // Folders that were not there before, the innermost first.
    made: Vec<PathBuf>,
    waiting: Vec<(NamedTempFile, PathBuf)>,
}

impl Folder {
    /// Opens a folder, making it when it is not there.
    pub fn open(dir: &Path) -> Result<Folder> {
        if dir.exists() && !dir.is_dir() {
            bail!("{} is a file; a folder was wanted", dir.display());
        }
        let missing = |place: &&Path| !place.as_os_str().is_empty() && !place.exists();
        let made = dir.ancestors().take_while(missing).map(Path::to_owned);
        let folder = Folder {
            dir: dir.to_owned(),
            made: made.collect(),
            waiting: Vec::new(),
        };
        std::fs::create_dir_all(dir)
            .with_context(|| format!("could not make the folder {}", dir.display()))?;
        Ok(folder)
    }

    /// Adds a file that `fill` writes.
    pub fn add(
        &mut self,
        name: &str,
        fill: impl FnOnce(&mut dyn Write) -> Result<()>,
    ) -> Result<()> {
        let place = self.dir.join(name);
        let doing = || format!("could not write {}", place.display());
        if place.is_dir() {
            bail!("{}: there is a folder of that name", doing());
        }
        let temporary = tempfile::Builder::new()
            .prefix(".halfshaft-")
            .tempfile_in(&self.dir)
            .with_context(doing)?;
        let mut writer = std::io::BufWriter::new(temporary);
        fill(&mut writer).with_context(doing)?;
        let mut temporary = writer
            .into_inner()
            .map_err(|error| error.into_error())
            .with_context(doing)?;
        temporary.flush().with_context(doing)?;
        self.waiting.push((temporary, place));
        Ok(())
    }

    /// Puts every file in its place and gives the places.
    pub fn settle(mut self) -> Result<Vec<PathBuf>> {
        let mut places = Vec::new();
        for (temporary, place) in self.waiting.drain(..) {
            readable(temporary.as_file())
                .with_context(|| format!("could not write {}", place.display()))?;
            temporary
                .persist(&place)
                .map_err(|error| error.error)
                .with_context(|| format!("could not write {}", place.display()))?;
            places.push(place);
        }
        self.made.clear();
        Ok(places)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        self.waiting.clear();
        for dir in &self.made {
            // Only succeeds when the folder is empty, which is when it is ours to take away.
            let _ = std::fs::remove_dir(dir);
        }
    }
}

/// Temporary files are private to their maker; a report is as readable as any other file.
#[cfg(unix)]
fn readable(file: &std::fs::File) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable(_: &std::fs::File) -> std::io::Result<()> {
    Ok(())
}

/// Prints to standard output.
pub fn print(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .context("could not print")
}

/// Says something on standard error, with foreign text made harmless: names of files,
/// buses and channels may hold what a terminal takes for an order.
pub fn say(text: &str) {
    say_as_is(&format!("halfshaft: {}\n", harmless(text)));
}

/// Writes text that is harmless already on standard error. Where nobody can be told that
/// this failed, there is nothing left to do.
pub fn say_as_is(text: &str) {
    let _ = std::io::stderr().write_all(text.as_bytes());
}

/// Text with every control character but the end of a line written out.
pub fn harmless(text: &str) -> String {
    let lines: Vec<String> = text.split('\n').map(clean).collect();
    lines.join("\n")
}

/// Whether an error only says that nobody reads our output any more.
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error
        .chain()
        .filter_map(|cause| cause.downcast_ref::<std::io::Error>())
        .any(|cause| cause.kind() == std::io::ErrorKind::BrokenPipe)
}

/// Whether colour is wanted on standard output: a terminal, and `NO_COLOR` not set.
pub fn is_colour_wanted() -> bool {
    use std::io::IsTerminal;
    std::io::stdout().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Columns of the terminal, 80 when there is none.
pub fn width() -> usize {
    let columns = std::env::var("COLUMNS")
        .ok()
        .and_then(|columns| columns.parse().ok());
    columns.unwrap_or(80)
}
