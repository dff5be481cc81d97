//! Two threads for three stages: pieces of a log are read, rows are derived from them, and
//! they are taken.
//!
//! Every stage sees the pieces in order and one at a time, whichever thread does it, so the
//! result does not depend on the threads. The caller's thread takes; while nothing waits for
//! that it derives or reads. The other one reads ahead, and derives once it is far enough.
//! So neither stands by while there is anything to do, and two cores are not shared by three.
//! The piece given back last is filled next: memory is paid once, and still in the cache.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use anyhow::Result;

/// Pieces that may wait for a stage: slack for a thread whose core is wanted by somebody
/// else, and few enough for the cache.
const N_AHEAD: usize = 3;

/// Reads pieces until there is no more (`read` says so by `false`), derives from each, and
/// hands it to `take` on the caller's thread. What was read before an error is still taken.
pub fn run<P: Default + Send>(
    read: impl FnMut(&mut P) -> Result<bool> + Send,
    derive: impl FnMut(&mut P) + Send,
    mut take: impl FnMut(&mut P) -> Result<()>,
) -> Result<()> {
    let stages = &Stages {
        read: Mutex::new(read),
        derive: Mutex::new(derive),
        waiting: Mutex::new(Waiting::default()),
        is_new: Condvar::new(),
    };
    std::thread::scope(|scope| -> Result<()> {
        scope.spawn(|| {
            let _stop = Stop(stages);
            while stages.go_ahead() {}
        });
        let _stop = Stop(stages);
        while stages.go_on(&mut take)? {}
        Ok(())
    })?;
    let mut waiting = stages.waiting();
    waiting.failure.take().map_or(Ok(()), Err)
}

struct Stages<P, R, D> {
    read: Mutex<R>,
    derive: Mutex<D>,
    waiting: Mutex<Waiting<P>>,
    // A job is done.
    is_new: Condvar,
}

/// What waits for a stage, and what is over.
struct Waiting<P> {
    to_derive: VecDeque<P>,
    to_take: VecDeque<P>,
    spent: Vec<P>,
    n_jobs_done: u64,
    is_waited_for: bool,
    // The log; and one of the threads, since nothing is left for it, or by an error or a panic.
    has_ended: bool,
    has_stopped: bool,
    failure: Option<anyhow::Error>,
}

impl<P> Default for Waiting<P> {
    fn default() -> Waiting<P> {
        Waiting {
            to_derive: VecDeque::new(),
            to_take: VecDeque::new(),
            spent: Vec::new(),
            n_jobs_done: 0,
            is_waited_for: false,
            has_ended: false,
            has_stopped: false,
            failure: None,
        }
    }
}

impl<P, R, D> Stages<P, R, D> {
    fn waiting(&self) -> MutexGuard<'_, Waiting<P>> {
        // Nothing that can panic is done while it is locked.
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes what waits, and wakes the other thread.
    fn change(&self, change: impl FnOnce(&mut Waiting<P>)) {
        let mut waiting = self.waiting();
        change(&mut waiting);
        waiting.n_jobs_done += 1;
        // To wake nobody costs a call of the system, too.
        if std::mem::take(&mut waiting.is_waited_for) {
            self.is_new.notify_all();
        }
    }

    /// Waits until more jobs are done than that.
    fn wait(&self, n_jobs_done: u64) {
        let _waited = self.is_new.wait_while(self.waiting(), |waiting| {
            let waits = waiting.n_jobs_done == n_jobs_done;
            // Never "not any more": by now the other one may wait.
            waiting.is_waited_for |= waits;
            waits
        });
    }
}

impl<P, R, D> Stages<P, R, D>
where
    P: Default,
    R: FnMut(&mut P) -> Result<bool>,
    D: FnMut(&mut P),
{
    /// The caller's thread does one job, or waits; false when all is done.
    fn go_on(&self, take: &mut impl FnMut(&mut P) -> Result<()>) -> Result<bool> {
        let (piece, is_over, n_jobs_done) = {
            let mut waiting = self.waiting();
            // The other thread leaves when nothing is left to read or to derive.
            let is_over = waiting.has_stopped;
            (waiting.to_take.pop_front(), is_over, waiting.n_jobs_done)
        };
        if let Some(mut piece) = piece {
            take(&mut piece)?;
            self.change(|waiting| waiting.spent.push(piece));
        } else if is_over {
            return Ok(false);
        } else if !self.derive(2 * N_AHEAD) && !self.read(2 * N_AHEAD) {
            self.wait(n_jobs_done);
        }
        Ok(true)
    }

    /// The other thread does one job, or waits; false when nothing is left for it.
    fn go_ahead(&self) -> bool {
        let n_jobs_done = {
            let waiting = self.waiting();
            let is_over = waiting.has_ended && waiting.to_derive.is_empty();
            if is_over || waiting.has_stopped {
                return false;
            }
            waiting.n_jobs_done
        };
        if !self.read(N_AHEAD) && !self.derive(N_AHEAD) {
            self.wait(n_jobs_done);
        }
        true
    }

    /// Reads a piece, unless the other thread is at it or so many wait already.
    fn read(&self, most: usize) -> bool {
        // Kept until the piece waits: the next one must wait behind it.
        let Ok(mut read) = self.read.try_lock() else {
            return false;
        };
        let mut piece = {
            let mut waiting = self.waiting();
            if waiting.has_ended || waiting.to_derive.len() >= most {
                return false;
            }
            waiting.spent.pop().unwrap_or_default()
        };
        let outcome = read(&mut piece);
        self.change(|waiting| match outcome {
            Ok(true) => waiting.to_derive.push_back(piece),
            Ok(false) => waiting.has_ended = true,
            Err(error) => {
                waiting.has_ended = true;
                waiting.failure = Some(error);
            }
        });
        true
    }

    /// Derives rows from a piece, unless the other thread is at it, none waits, or so many
    /// wait behind it already.
    fn derive(&self, most: usize) -> bool {
        let Ok(mut derive) = self.derive.try_lock() else {
            return false;
        };
        let mut piece = {
            let mut waiting = self.waiting();
            if waiting.to_take.len() >= most {
                return false;
            }
            let Some(piece) = waiting.to_derive.pop_front() else {
                return false;
            };
            piece
        };
        derive(&mut piece);
        self.change(|waiting| waiting.to_take.push_back(piece));
        true
    }
}

/// Says that a thread has left, however it did: the other one must not wait for it.
struct Stop<'a, P, R, D>(&'a Stages<P, R, D>);

impl<P, R, D> Drop for Stop<'_, P, R, D> {
    fn drop(&mut self) {
        self.0.change(|waiting| waiting.has_stopped = true);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use anyhow::bail;

    type Piece = (u32, Vec<u32>);

    /// Reads pieces up to `n`, each as long as `wait` says, and gives what was taken.
    fn taken(n: u32, wait: fn(u32, u32)) -> Vec<Piece> {
        let (mut next, mut n_derived) = (0, 0);
        let mut taken = Vec::new();
        let read = |piece: &mut Piece| {
            wait(0, next);
            *piece = (next, Vec::new());
            next += 1;
            Ok(next <= n)
        };
        let derive = |piece: &mut Piece| {
            wait(1, piece.0);
            piece.1.push(n_derived);
            n_derived += 1;
        };
        run(read, derive, |piece| {
            wait(2, piece.0);
            taken.push(piece.clone());
            Ok(())
        })
        .unwrap();
        taken
    }

    #[test]
    fn every_stage_sees_every_piece_in_order_whichever_is_slow() {
        let wanted: Vec<Piece> = (0..200).map(|n| (n, vec![n])).collect();
        let waits: [fn(u32, u32); 5] = [
            |_, _| {},
            |stage, _| pause(stage == 0),
            |stage, _| pause(stage == 1),
            |stage, _| pause(stage == 2),
            |stage, n| pause((n / 20) % 3 == stage),
        ];
        for wait in waits {
            assert_eq!(taken(200, wait), wanted);
        }
        assert_eq!(taken(0, |_, _| {}), []);
    }

    /// Ends and waits that meet each other are rare in one run.
    #[test]
    fn nobody_waits_for_ever_in_many_runs() {
        for n in 0..20_000 {
            assert_eq!(taken(n % 7, |_, _| {}).len(), (n % 7) as usize);
        }
    }

    fn pause(is_slow: bool) {
        if is_slow {
            std::thread::sleep(std::time::Duration::from_micros(50));
        }
    }

    #[test]
    fn what_was_read_before_an_error_is_taken() {
        let (mut next, mut n_taken) = (0, 0);
        let read = |piece: &mut u32| {
            next += 1;
            *piece = next;
            match next {
                ..=30 => Ok(true),
                _ => bail!("broken"),
            }
        };
        let outcome = run(
            read,
            |_| {},
            |_| {
                n_taken += 1;
                Ok(())
            },
        );
        assert_eq!(outcome.unwrap_err().to_string(), "broken");
        assert_eq!(n_taken, 30);
    }

    #[test]
    fn whoever_gives_up_ends_it() {
        let outcome = run(|_: &mut u32| Ok(true), |_: &mut u32| {}, |_| bail!("full"));
        assert_eq!(outcome.unwrap_err().to_string(), "full");
    }

    #[test]
    fn a_panic_in_any_stage_is_passed_on_and_nobody_waits_for_ever() {
        for stage in 0..3 {
            let panics = |here: u32| assert_ne!(here, stage, "wanted");
            let outcome = std::panic::catch_unwind(|| {
                run(
                    |_: &mut u32| {
                        panics(0);
                        Ok(true)
                    },
                    |_: &mut u32| panics(1),
                    |_| {
                        panics(2);
                        Ok(())
                    },
                )
            });
            assert!(outcome.is_err(), "stage {stage}");
        }
    }
}
