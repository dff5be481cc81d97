//! The folders of a recording: `INTO/drive-0001/0001.pcapng`, `0002.pcapng` …
//!
//! In: a folder. Out: its drives or its segments in the order of their numbers, and what an
//! earlier cut left torn. Names decide only here; what is in a segment is found out by its bytes.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Ending of a segment.
const SEGMENT: &str = ".pcapng";
/// Ending of what was torn off a segment, behind its name.
const TORN: &str = ".pcapng.torn";
/// What the name of a drive begins with.
const DRIVE: &str = "drive-";

/// A drive or a segment with its number.
pub type Numbered = (u64, PathBuf);

/// The folder of a drive of this number.
pub fn drive(into: &Path, number: u64) -> PathBuf {
    into.join(format!("{DRIVE}{number:04}"))
}

/// The segment of this number in the folder of a drive.
pub fn segment(drive: &Path, number: u64) -> PathBuf {
    drive.join(format!("{number:04}{SEGMENT}"))
}

/// Where the torn tail of a segment is set aside.
pub fn torn(segment: &Path) -> PathBuf {
    segment.with_extension(&TORN[1..])
}

/// The drives of a folder, by number.
pub fn drives(into: &Path) -> io::Result<Vec<Numbered>> {
    numbered(into, |name| name.strip_prefix(DRIVE), true)
}

/// The segments of a drive, by number.
pub fn segments(drive: &Path) -> io::Result<Vec<Numbered>> {
    numbered(drive, |name| name.strip_suffix(SEGMENT), false)
}

/// What was torn off segments of a drive and set aside, by their numbers.
pub fn torn_tails(drive: &Path) -> io::Result<Vec<Numbered>> {
    numbered(drive, |name| name.strip_suffix(TORN), false)
}

fn numbered(
    folder: &Path,
    digits: impl Fn(&str) -> Option<&str>,
    are_folders: bool,
) -> io::Result<Vec<Numbered>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let number = name.to_str().and_then(&digits).and_then(number);
        if let Some(number) = number
            && entry.file_type()?.is_dir() == are_folders
        {
            found.push((number, entry.path()));
        }
    }
    found.sort_unstable();
    Ok(found)
}

/// A number as it stands in names: digits, four at the least.
fn number(digits: &str) -> Option<u64> {
    let is_one = digits.len() >= 4 && digits.bytes().all(|digit| digit.is_ascii_digit());
    digits.parse().ok().filter(|_| is_one)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drives_and_segments_are_found_in_the_order_of_their_numbers() {
        let into = tempfile::tempdir().unwrap();
        let into = into.path();
        for name in [
            "drive-0002",
            "drive-10000",
            "drive-9999",
            "drive-02",
            "drive-0002-good",
        ] {
            fs::create_dir(into.join(name)).unwrap();
        }
        fs::write(into.join("drive-0001"), "").unwrap();
        let numbers = |found: io::Result<Vec<Numbered>>| -> Vec<u64> {
            found.unwrap().iter().map(|(number, _)| *number).collect()
        };
        assert_eq!(numbers(drives(into)), [2, 9999, 10_000]);
        let of_two = drive(into, 2);
        assert_eq!(of_two, into.join("drive-0002"));
        for name in [
            "0010.pcapng",
            "0002.pcapng",
            "0003.pcapng.torn",
            "x.pcapng",
            "+001.pcapng",
        ] {
            fs::write(of_two.join(name), "").unwrap();
        }
        assert_eq!(numbers(segments(&of_two)), [2, 10]);
        assert_eq!(numbers(torn_tails(&of_two)), [3]);
        assert_eq!(torn(&segment(&of_two, 3)), of_two.join("0003.pcapng.torn"));
        assert!(drives(&into.join("nowhere")).is_err());
    }
}
