//! The user's signal map: text to a checked map, entries to columns of named channels.
//!
//! In: the text of a `.map` file, and batches of entries. Out: a [`Map`], every mistake
//! in it at once, blocks of columns at native rates on the vehicle's clock, and a survey
//! of how a log fits the map. This crate knows no log format and reads no file.

mod check;
pub mod decode;
mod format;
pub mod map;
pub mod mistakes;
mod suggest;
pub mod survey;
pub mod syntax;

pub use map::Map;
pub use mistakes::{Mistake, MistakeCode, Mistakes};

use mistakes::Gathered;

/// A map that was understood, and what it leaves open.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The map.
    pub map: Map,
    /// What the user should know of it; possibly nothing.
    pub warnings: Mistakes,
}

/// Reads and checks a map; on failure every mistake in it at once.
///
/// `source_name` is what messages call the text, a file name as a rule.
pub fn parse(source_name: &str, text: &str) -> Result<Checked, Mistakes> {
    let mut gathered = Gathered::default();
    let tree = syntax::tree::read(text, &mut gathered);
    let mut map = check::check(&tree, &mut gathered);
    if !gathered.is_clean() {
        return Err(gathered.into_mistakes(source_name, text));
    }
    map.fingerprint = format!(
        "{:016x}",
        xxhash_rust::xxh3::xxh3_64(format::bare(&tree.printed).as_bytes())
    );
    Ok(Checked {
        map,
        warnings: gathered.into_warnings(source_name, text),
    })
}

/// Like [`parse`], from bytes that may not even be text.
pub fn parse_bytes(source_name: &str, bytes: &[u8]) -> Result<Checked, Mistakes> {
    parse(source_name, mistakes::as_text(source_name, bytes)?)
}

/// The map in standard form, notes kept. Only the sentences must be right for that: a
/// map with an unknown channel can be put in form, one with an unknown word cannot.
pub fn format(source_name: &str, text: &str) -> Result<String, Mistakes> {
    let mut gathered = Gathered::default();
    let tree = syntax::tree::read(text, &mut gathered);
    if !gathered.is_clean() {
        return Err(gathered.into_mistakes(source_name, text));
    }
    let standard = format::standard(&tree.printed, &mut gathered);
    if !gathered.is_clean() {
        return Err(gathered.into_mistakes(source_name, text));
    }
    Ok(standard)
}
