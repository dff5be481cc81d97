//! A bus to crash-safe raw segments, and what they mean while the drive goes on.
//!
//! In: sockets that can only listen, or a log played back in their place. Out: segments of raw
//! frames in a folder for each drive, and live figures from the very pipeline of the report. No
//! code path here or anywhere in the project sends on a bus.
//!
//! ```text
//! socket | replay -> source -> segments (kept at all cost)
//!                      \-> link -> live (may fall behind, never holds the source up) -> page, lines
//! ```

#[cfg(target_os = "linux")]
pub mod bus;
pub mod feed;
pub mod follow;
pub mod link;
pub mod live;
pub mod marks;
pub mod page;
#[cfg(target_os = "linux")]
pub mod recorder;
pub mod recording;
pub mod replay;
pub mod segments;
pub mod snapshot;
