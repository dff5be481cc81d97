//! Finds and reads the settings: the file that was named, else the one in its usual place,
//! else none.
//!
//! Mistakes are printed and end the program: judging by half a settings file would be
//! judging by limits nobody chose.

use std::env;
use std::ffi::OsString;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use halfshaft_health::limits::Limits;
use halfshaft_health::settings;

use crate::output;
use crate::pipeline::counted_mistakes;

/// Where a settings file usually lies, below the folder of settings.
const USUAL_PLACE: &str = "halfshaft/settings.toml";

/// A settings file may not be larger than this; all of them with their comments are a
/// twentieth of it.
const LARGEST_BYTES: u64 = 1 << 18;

/// Mistakes shown at the most.
const MOST_MISTAKES: usize = 100;

/// Limits, and where they come from.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// The limits.
    pub limits: Limits,
    /// The file to name when the run is to be repeated; `None` when none is needed.
    pub named: Option<PathBuf>,
}

/// The settings to judge by.
pub fn find(named: Option<&Path>) -> Result<Settings> {
    if let Some(path) = named {
        let bytes = bytes(path)?.with_context(|| {
            format!(
                "could not read the settings {}: no such file",
                path.display()
            )
        })?;
        return Ok(Settings {
            limits: parse(path, &bytes)?,
            named: Some(path.to_owned()),
        });
    }
    let usual = usual_place(env::var_os("XDG_CONFIG_HOME"), env::var_os("HOME"));
    let Some(path) = usual else {
        return Ok(Settings::default());
    };
    let Some(bytes) = bytes(&path)? else {
        return Ok(Settings::default());
    };
    let limits = parse(&path, &bytes)?;
    let is_changed = limits != Limits::default();
    Ok(Settings {
        limits,
        named: is_changed.then_some(path),
    })
}

/// Where a settings file usually lies. A relative folder is none: XDG Base Directory
/// Specification 0.8, "Basics".
fn usual_place(config_home: Option<OsString>, home: Option<OsString>) -> Option<PathBuf> {
    let config = config_home.map(PathBuf::from);
    let config = config.filter(|path| path.is_absolute());
    let fallback = || {
        let home = home.map(PathBuf::from).filter(|path| path.is_absolute());
        home.map(|home| home.join(".config"))
    };
    Some(config.or_else(fallback)?.join(USUAL_PLACE))
}

/// The bytes of a settings file; `None` where there is none.
fn bytes(path: &Path) -> Result<Option<Vec<u8>>> {
    let doing = || format!("could not read the settings {}", path.display());
    let file = match std::fs::File::open(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        file => file.with_context(doing)?,
    };
    let mut bytes = Vec::new();
    file.take(LARGEST_BYTES + 1)
        .read_to_end(&mut bytes)
        .with_context(doing)?;
    if bytes.len() as u64 > LARGEST_BYTES {
        bail!(
            "{}: longer than {LARGEST_BYTES} bytes, no settings file is; is this the log?",
            path.display()
        );
    }
    Ok(Some(bytes))
}

fn parse(path: &Path, bytes: &[u8]) -> Result<Limits> {
    let name = path.display().to_string();
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let before = String::from_utf8_lossy(&bytes[..error.valid_up_to()]);
            let line = before.matches('\n').count() + 1;
            let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
            bail!(
                "{name}:{line}:{column}: found the byte 0x{:02X}, expected text in UTF-8",
                bytes[error.valid_up_to()]
            );
        }
    };
    settings::read(text).or_else(|mistakes| {
        for mistake in mistakes.iter().take(MOST_MISTAKES) {
            output::write_error_text(&format!(
                "{}\n",
                output::harmless(&format!("{name}:{mistake}"))
            ));
        }
        let n = counted_mistakes(mistakes.len());
        bail!("{name}: the settings have {n}; `halfshaft settings` writes a file without any")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_place() {
        let place = |config: Option<&str>, home: Option<&str>| {
            usual_place(config.map(OsString::from), home.map(OsString::from))
        };
        let wanted = |text: &str| Some(PathBuf::from(text));
        assert_eq!(
            place(Some("/c"), Some("/h")),
            wanted("/c/halfshaft/settings.toml")
        );
        assert_eq!(
            place(None, Some("/h")),
            wanted("/h/.config/halfshaft/settings.toml")
        );
        // Empty or relative is as good as not set.
        for config in ["", "c"] {
            assert_eq!(
                place(Some(config), Some("/h")),
                wanted("/h/.config/halfshaft/settings.toml")
            );
        }
        assert_eq!(place(None, None), None);
    }
}
