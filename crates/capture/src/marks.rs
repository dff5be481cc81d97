//! Lines that somebody types, as marks.
//!
//! In: lines of a terminal or a pipe. Out: notes for the source of frames. To be run on a thread of its own,
//! which waits for lines and for nothing else.

use std::io::{BufRead, Read};

use crate::link::{Handle, LONGEST_NOTE};

/// Each line is a mark, until there are no more. One without end is cut, not kept whole.
pub fn take(mut input: impl BufRead, handle: &Handle) {
    go_on_in_the_background();
    loop {
        let mut line = Vec::new();
        let most = 4 * LONGEST_NOTE as u64;
        match input.by_ref().take(most).read_until(b'\n', &mut line) {
            Ok(0) | Err(_) => return,
            Ok(_) => {}
        }
        let note = String::from_utf8_lossy(&line);
        if !note.trim().is_empty() {
            handle.mark(&note);
        }
    }
}

/// Whoever reads a terminal from the background is stopped, and all its threads with it, the one that
/// records too. While this thread holds the signal back, the read fails instead.
#[cfg(unix)]
fn go_on_in_the_background() {
    use nix::sys::signal::{SigSet, Signal};
    let mut stop = SigSet::empty();
    stop.add(Signal::SIGTTIN);
    // If that cannot be had, it is stopped as any other program is.
    let _ = stop.thread_block();
}

#[cfg(not(unix))]
fn go_on_in_the_background() {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::link;

    #[test]
    fn lines_are_marks_and_empty_ones_are_none() {
        let (source, live) = link();
        let input = b"rears -0.2 bar\n\n  \nlap \xff two\r\nlast";
        take(&input[..], &live.handle());
        let notes: Vec<String> = source.marks().collect();
        assert_eq!(notes, ["rears -0.2 bar", "lap \u{fffd} two", "last"]);
    }
}
