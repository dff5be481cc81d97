//! Writes files beside their place and then renames them: nothing half written is left, also when
//! a signal ends the program.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use halfshaft_report::words::clean;
use tempfile::{NamedTempFile, TempPath};

use crate::unfinished::{self, Unfinished};

/// How the names of temporary files begin.
const PREFIX: &str = ".halfshaft-";

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
            bail!("{} is a file; a folder was expected", dir.display());
        }
        let missing = |place: &&Path| !place.as_os_str().is_empty() && !place.exists();
        let made = dir.ancestors().take_while(missing).map(Path::to_owned);
        let folder = Folder {
            dir: dir.to_owned(),
            made: made.collect(),
            waiting: Vec::new(),
        };
        // Of folders that were made those with something in them stay.
        let mut unfinished = unfinished::all();
        unfinished.extend(folder.made.iter().rev().cloned());
        std::fs::create_dir_all(dir)
            .with_context(|| format!("could not make the folder {}", dir.display()))?;
        Ok(folder)
    }

    /// Adds a file that `fill` writes.
    pub fn add(
        &mut self,
        name: impl AsRef<Path>,
        fill: impl FnOnce(&mut dyn Write) -> Result<()>,
    ) -> Result<()> {
        let mut begun = self.begin(&name)?;
        fill(&mut begun).with_context(|| self.doing(&name))?;
        self.keep(begun)
    }

    /// Begins a file that is written to little by little; it is left away again unless it
    /// is kept.
    pub fn begin(&self, name: impl AsRef<Path>) -> Result<Begun> {
        let place = self.dir.join(&name);
        if place.is_dir() {
            bail!("{}: there is a folder of that name", self.doing(name));
        }
        let temporary = temporary(&self.dir, &place).with_context(|| self.doing(name))?;
        Ok(Begun {
            writer: std::io::BufWriter::new(temporary),
            place,
        })
    }

    /// Adds a file that was begun and is complete now.
    pub fn keep(&mut self, begun: Begun) -> Result<()> {
        let Begun { writer, place } = begun;
        let doing = || format!("could not write {}", place.display());
        let mut temporary = writer
            .into_inner()
            .map_err(|error| error.into_error())
            .with_context(doing)?;
        temporary.flush().with_context(doing)?;
        self.waiting.push((temporary, place));
        Ok(())
    }

    /// What to say when the file of that name cannot be written.
    pub fn doing(&self, name: impl AsRef<Path>) -> String {
        format!("could not write {}", self.dir.join(name).display())
    }

    /// Puts every file in its place and gives the places. Where one cannot be put there, those
    /// before it are taken back, and what they replaced stands there again.
    pub fn put_in_place(mut self) -> Result<Vec<PathBuf>> {
        // A signal waits until all are in place.
        let mut unfinished = unfinished::all();
        let mut replaced = Vec::new();
        let n = self.waiting.len();
        for (index, (temporary, place)) in self.waiting.drain(..).enumerate() {
            // Behind the last one nothing can fail.
            let may_go_back = index + 1 < n;
            match replace(temporary, &place, may_go_back, &mut unfinished) {
                Ok(old) => replaced.push((place, old)),
                Err(error) => {
                    let lost = put_back(replaced);
                    let error = anyhow::Error::from(error)
                        .context(format!("could not write {}", place.display()));
                    return Err(match lost.as_slice() {
                        [] => error,
                        lost => error.context(format!(
                            "{} could not be put back as it was",
                            names(lost).join(", ")
                        )),
                    });
                }
            }
        }
        self.made.clear();
        Ok(replaced.into_iter().map(|(place, _)| place).collect())
    }
}

/// Puts a file in its place; gives what stood there under another name, where that was asked for.
fn replace(
    temporary: NamedTempFile,
    place: &Path,
    may_go_back: bool,
    unfinished: &mut Unfinished,
) -> std::io::Result<Option<TempPath>> {
    // A folder stays where it is, and is in the way.
    let is_file = place.symlink_metadata().is_ok_and(|about| !about.is_dir());
    let old = match may_go_back && is_file {
        true => Some(set_aside(place, unfinished)?),
        false => None,
    };
    let Err(error) = temporary.persist(place) else {
        return Ok(old);
    };
    if let Some(old) = old
        && place.symlink_metadata().is_err()
    {
        old.persist(place).map_err(|error| error.error)?;
    }
    Err(error.error)
}

/// A second name beside it for the file at a place. Where a file system knows no second names, the
/// file itself goes there.
fn set_aside(place: &Path, unfinished: &mut Unfinished) -> std::io::Result<TempPath> {
    let dir = place.parent().unwrap_or(Path::new("."));
    let link = |beside: &Path| {
        std::fs::hard_link(place, beside).or_else(|_| std::fs::rename(place, beside))
    };
    let beside = tempfile::Builder::new().prefix(PREFIX).make_in(dir, link)?;
    unfinished.push(beside.path().to_owned());
    Ok(beside.into_temp_path())
}

/// Takes files back and puts what they replaced in their place; gives the places where that failed.
fn put_back(replaced: Vec<(PathBuf, Option<TempPath>)>) -> Vec<PathBuf> {
    let mut lost = Vec::new();
    for (place, old) in replaced {
        let is_back = match old {
            Some(old) => old.persist(&place).is_ok(),
            None => std::fs::remove_file(&place).is_ok(),
        };
        if !is_back {
            lost.push(place);
        }
    }
    lost
}

/// A file that is being written beside its place.
#[derive(Debug)]
pub struct Begun {
    writer: std::io::BufWriter<NamedTempFile>,
    place: PathBuf,
}

impl Begun {
    /// Ends the file before it is kept and gives it to be read from its start; it is gone from
    /// its folder.
    pub fn complete(self) -> std::io::Result<std::fs::File> {
        let temporary = self
            .writer
            .into_inner()
            .map_err(|error| error.into_error())?;
        temporary.reopen()
    }
}

impl Write for Begun {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.writer.flush()
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

/// A temporary file that is as readable as any other its maker makes, or as the file whose
/// place it will take.
#[cfg(unix)]
fn temporary(dir: &Path, place: &Path) -> std::io::Result<NamedTempFile> {
    use std::os::unix::fs::PermissionsExt;
    let usual = std::fs::Permissions::from_mode(0o666);
    let mut unfinished = unfinished::all();
    let temporary = tempfile::Builder::new()
        .prefix(PREFIX)
        .permissions(usual)
        .tempfile_in(dir)?;
    unfinished.push(temporary.path().to_owned());
    if let Ok(there) = place.metadata() {
        temporary.as_file().set_permissions(there.permissions())?;
    }
    Ok(temporary)
}

#[cfg(not(unix))]
fn temporary(dir: &Path, _: &Path) -> std::io::Result<NamedTempFile> {
    tempfile::Builder::new().prefix(PREFIX).tempfile_in(dir)
}

/// Writes a file that must not be there; its folder is made when it is not.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<()> {
    let doing = || format!("could not write {}", path.display());
    if path.symlink_metadata().is_ok() {
        bail!("{}: it is there already", doing());
    }
    let parent = path.parent().filter(|dir| !dir.as_os_str().is_empty());
    let dir = parent.unwrap_or(Path::new("."));
    std::fs::create_dir_all(dir).with_context(doing)?;
    let mut file = temporary(dir, path).with_context(doing)?;
    file.write_all(bytes).with_context(doing)?;
    file.persist_noclobber(path)
        .map_err(|error| error.error)
        .with_context(doing)?;
    Ok(())
}

/// Prints to standard output.
pub fn print(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .context("could not print")
}

/// The name of a file as it may be passed on: without its folder.
pub fn file_name(path: &Path) -> String {
    let name = path.file_name().unwrap_or(path.as_os_str());
    name.display().to_string()
}

/// The names of files that were written.
pub fn names(places: &[PathBuf]) -> Vec<String> {
    let names = places.iter().map(|place| place.display().to_string());
    names.collect()
}

/// Writes a line on standard error, with foreign text made harmless: names of files,
/// buses and channels may hold what a terminal takes for an order.
pub fn write_error_line(text: &str) {
    write_error_text(&format!("halfshaft: {}\n", harmless(text)));
}

/// Writes text that is harmless already on standard error. That this
/// failed has no other place to go.
pub fn write_error_text(text: &str) {
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

/// Columns of the terminal, 80 when there is none; `COLUMNS` decides where it is set.
pub fn width() -> usize {
    let stated = std::env::var("COLUMNS").ok();
    let stated = stated.and_then(|columns| columns.parse().ok());
    let seen = || terminal_size::terminal_size().map(|(columns, _)| usize::from(columns.0));
    stated.or_else(seen).unwrap_or(80)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn add(folder: &mut Folder, name: &str) {
        let fill = |out: &mut dyn Write| Ok(out.write_all(b"new")?);
        folder.add(name, fill).expect("there is room");
    }

    #[test]
    fn where_one_file_cannot_be_put_in_place_none_is() {
        let dir = tempfile::tempdir().expect("a temporary folder can be made");
        let path = |name: &str| dir.path().join(name);
        std::fs::write(path("old"), "old").expect("there is room");
        let mut folder = Folder::open(dir.path()).expect("it is there");
        for name in ["old", "none", "taken", "last"] {
            add(&mut folder, name);
        }
        // Made after the files were begun: a file cannot replace a folder.
        std::fs::create_dir(path("taken")).expect("there is room");
        let error = folder.put_in_place().expect_err("a folder is in the way");
        assert!(format!("{error:#}").contains("taken"), "{error:#}");
        assert_eq!(std::fs::read(path("old")).expect("it is there"), b"old");
        let mut left: Vec<_> = std::fs::read_dir(dir.path())
            .expect("it is there")
            .map(|entry| entry.expect("it is there").file_name())
            .collect();
        left.sort();
        assert_eq!(left, ["old", "taken"]);
        // Without it they all are.
        std::fs::remove_dir(path("taken")).expect("it is empty");
        let mut folder = Folder::open(dir.path()).expect("it is there");
        add(&mut folder, "old");
        add(&mut folder, "taken");
        assert_eq!(
            folder.put_in_place().expect("nothing is in the way").len(),
            2
        );
        assert_eq!(std::fs::read(path("old")).expect("it is there"), b"new");
        assert_eq!(
            std::fs::read_dir(dir.path()).expect("it is there").count(),
            2
        );
    }
}
