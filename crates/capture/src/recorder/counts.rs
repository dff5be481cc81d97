//! What was counted of one interface, and what of it is worth saying.

use crate::bus::BusFrame;
use crate::segments::Clocks;

// What the classes of an error report mean. Source: linux/can/error.h.
const CONTROLLER: u32 = 0x04;
const BUS_OFF: u32 = 0x40;
const RESTARTED: u32 = 0x100;
/// The controller's own receive buffer was full: what that cost is counted nowhere.
const OVERFLOW: u8 = 0x01;

/// What was counted of one interface.
#[derive(Clone, Debug, Default)]
pub(super) struct Counts {
    /// Frames got.
    pub n_frames: u64,
    /// Frames that were not got.
    pub n_lost: u64,
    /// Error reports of the controller.
    pub n_errors: u64,
    /// When the latest frame came, by the monotonic clock.
    pub latest_ns: Option<i64>,
    // Not said yet.
    n_lost_unsaid: u64,
    n_overflows_unsaid: u64,
    is_bus_off: bool,
}

impl Counts {
    /// A frame came.
    pub fn frame(&mut self, at: Clocks) {
        self.n_frames += 1;
        self.latest_ns = Some(at.monotonic_ns);
    }

    /// Frames were not got.
    pub fn lost(&mut self, n: u32) {
        self.n_lost += u64::from(n);
        self.n_lost_unsaid += u64::from(n);
    }

    /// An error report came. What is to be said of it at once.
    pub fn error_report(&mut self, frame: &BusFrame) -> Option<&'static str> {
        let class = frame.error_class();
        self.n_errors += 1;
        let detail = frame.payload().get(1).copied().unwrap_or(0);
        let is_overflow = class & CONTROLLER != 0 && detail & OVERFLOW != 0;
        self.n_overflows_unsaid += u64::from(is_overflow);
        let was_off = self.is_bus_off;
        self.is_bus_off = class & BUS_OFF != 0 || was_off && class & RESTARTED == 0;
        match (was_off, self.is_bus_off) {
            (false, true) => Some("bus off: too many errors, the controller has left the bus"),
            (true, false) => Some("the controller is on the bus again"),
            _ => None,
        }
    }

    /// What has been counted since it was last said.
    pub fn unsaid(&mut self) -> Vec<String> {
        let mut all = Vec::new();
        match std::mem::take(&mut self.n_lost_unsaid) {
            0 => {}
            n => all.push(format!("{n} frames went by that could not be taken")),
        }
        match std::mem::take(&mut self.n_overflows_unsaid) {
            0 => {}
            n => all.push(format!(
                "the controller's own buffer was full {n} times; how many frames that cost is \
                 counted nowhere"
            )),
        }
        all
    }
}
