//! What is taken away when a signal ends the program before it is done.
//!
//! In: the names of temporary files, and of folders made for them, while the program runs. Interrupt,
//! terminate and hang-up remove them, and the program ends by the signal as it would have without
//! this. A command that has more to bring to an end (a drive that is being recorded) asks to be told
//! of the first signal instead; the second is heeded as above. A signal that whoever started the program had it ignore stays ignored (`nohup`). While the
//! list is held, a signal waits: files that are to appear together do.

use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Files, and folders that may hold them, the later inside the earlier.
pub type Unfinished = Vec<PathBuf>;

static ALL: Mutex<Unfinished> = Mutex::new(Vec::new());

/// What the first signal does instead, if a command asked for it.
static END: Mutex<Option<Box<dyn FnOnce() + Send>>> = Mutex::new(None);

/// The first signal calls this instead of ending the program.
pub fn end_by(end: impl FnOnce() + Send + 'static) {
    *END.lock().unwrap_or_else(PoisonError::into_inner) = Some(Box::new(end));
}

/// The list, held. What has got another name or is gone may stay in it.
pub fn all() -> MutexGuard<'static, Unfinished> {
    ALL.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Watches for signals from now on.
#[cfg(unix)]
pub fn watch() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let ignored = ignored();
    let is_heeded = |signal: &i32| ignored >> (signal - 1) & 1 == 0;
    let heeded = [SIGHUP, SIGINT, SIGTERM].into_iter().filter(is_heeded);
    // Where they cannot be watched, they end the program as ever.
    let Ok(mut signals) = signal_hook::iterator::Signals::new(heeded) else {
        return;
    };
    std::thread::spawn(move || {
        let mut coming = signals.forever();
        let mut next = coming.next();
        let end = END.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let (Some(end), Some(_)) = (end, next) {
            end();
            next = coming.next();
        }
        let Some(signal) = next else {
            return;
        };
        let unfinished = all();
        for path in unfinished.iter().rev() {
            // A folder goes only when it is empty, which is when it is ours to take away.
            let _ = std::fs::remove_file(path).or_else(|_| std::fs::remove_dir(path));
        }
        let _ = signal_hook::low_level::emulate_default_handler(signal);
    });
}

/// Signals that were ignored when the program began, the first in the lowest bit; none where the
/// system does not say. Source: Linux, proc_pid_status(5), `SigIgn`.
#[cfg(unix)]
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .unwrap_or(0)
}

/// Elsewhere there are no such signals.
#[cfg(not(unix))]
pub fn watch() {}
