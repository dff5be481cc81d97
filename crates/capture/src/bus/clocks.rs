//! What time it is on both clocks, and when by the monotonic one a frame came whose stamp is of
//! the wall clock.

use nix::time::{ClockId, clock_gettime};

use crate::segments::Clocks;

/// Now.
pub fn now() -> Clocks {
    let of = |clock| {
        clock_gettime(clock).map_or(0, |time| time.tv_sec() * 1_000_000_000 + time.tv_nsec())
    };
    Clocks {
        wall_ns: of(ClockId::CLOCK_REALTIME),
        monotonic_ns: of(ClockId::CLOCK_MONOTONIC),
    }
}

/// Finds the monotonic time of frames. The kernel's stamps jump when the wall clock is set, and a
/// frame may have come before the jump and be read after it; so both offsets are tried, and the
/// one taken by which the frame came after the frame before it, and not later than now.
#[derive(Clone, Copy, Debug)]
pub struct FrameClock {
    // Wall minus monotonic, now and before.
    offset_ns: i64,
    offset_before_ns: i64,
    // The frame before.
    latest_ns: i64,
}

impl FrameClock {
    /// A socket is opened.
    pub fn new(now: Clocks) -> FrameClock {
        let offset_ns = offset(now);
        FrameClock {
            offset_ns,
            offset_before_ns: offset_ns,
            latest_ns: now.monotonic_ns,
        }
    }

    /// Frames are going to be read.
    pub fn read_at(&mut self, now: Clocks) {
        self.offset_before_ns = self.offset_ns;
        self.offset_ns = offset(now);
    }

    /// When a frame came that was read just now; never earlier than the one before.
    pub fn frame(&mut self, wall_ns: Option<i64>, now_ns: i64) -> i64 {
        // The two clocks are not read at the same instant, and the wall clock is slowed and
        // hastened while it is set right.
        const SLACK_NS: i64 = 5_000_000;
        let since = |offset_ns| wall_ns.map(|wall_ns| wall_ns.saturating_sub(offset_ns));
        let possible = self.latest_ns.saturating_sub(SLACK_NS)..=now_ns.saturating_add(SLACK_NS);
        let came_ns = [self.offset_ns, self.offset_before_ns]
            .into_iter()
            .filter_map(since)
            .find(|came_ns| possible.contains(came_ns))
            .unwrap_or(now_ns);
        self.latest_ns = came_ns.min(now_ns).max(self.latest_ns);
        self.latest_ns
    }
}

fn offset(now: Clocks) -> i64 {
    now.wall_ns.saturating_sub(now.monotonic_ns)
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: i64 = 1_000_000_000;
    const HOUR: i64 = 3600 * S;

    fn at(wall_ns: i64, monotonic_ns: i64) -> Clocks {
        Clocks {
            wall_ns,
            monotonic_ns,
        }
    }

    #[test]
    fn a_clock_that_is_set_moves_no_frame() {
        for step in [HOUR, -HOUR] {
            let mut clock = FrameClock::new(at(1000 * S, 10 * S));
            clock.read_at(at(1001 * S, 11 * S));
            assert_eq!(clock.frame(Some(1000 * S + S / 2), 11 * S), 10 * S + S / 2);
            // The clock is set between these two, and both are read in one go.
            clock.read_at(at(1002 * S + step, 12 * S));
            let before = clock.frame(Some(1001 * S + S / 4), 12 * S);
            let after = clock.frame(Some(1001 * S + S / 2 + step), 12 * S);
            assert_eq!([before, after], [11 * S + S / 4, 11 * S + S / 2]);
            clock.read_at(at(1003 * S + step, 13 * S));
            assert_eq!(
                clock.frame(Some(1002 * S + S / 2 + step), 13 * S),
                12 * S + S / 2
            );
        }
    }

    #[test]
    fn no_stamp_or_an_impossible_one_is_now_and_time_never_runs_back() {
        let mut clock = FrameClock::new(at(1000 * S, 10 * S));
        clock.read_at(at(1001 * S, 11 * S));
        assert_eq!(clock.frame(None, 11 * S), 11 * S);
        assert_eq!(clock.frame(Some(7), 11 * S), 11 * S);
        clock.read_at(at(1002 * S, 12 * S));
        // A hair before the frame before: clocks are not read at the same instant.
        assert_eq!(clock.frame(Some(1001 * S - 1000), 12 * S), 11 * S);
        assert_eq!(clock.frame(Some(1002 * S + 1000), 12 * S), 12 * S);
    }
}
