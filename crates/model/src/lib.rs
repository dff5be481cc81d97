//! The nouns of halfshaft: what every other crate talks about.
//!
//! In: nothing. Out: types, and how two things are done at once. Data moves one way through the program,
//!
//! ```text
//! log + signal map -> timeline -> driveline -> health -> report
//! ```
//!
//! and each arrow carries a type of this crate: `logs` yields [`Batch`]es of
//! frames and rows, `signal-map` turns them into [`Block`]s of columns at native
//! rates on the vehicle's clock, `driveline` and `health` read those. Nothing here
//! touches a file, a clock or the screen.

pub mod at_once;
pub mod belief;
pub mod block;
pub mod channel;
pub mod constants;
pub mod entry;
pub mod id_filter;
pub mod left_out;
pub mod notice;
pub mod octaves;
pub mod personal;
pub mod position;
pub mod sheet;
pub mod table;
pub mod time;
pub mod timeline;
pub mod unit;
pub mod vehicle;

pub use at_once::at_once;
pub use belief::Belief;
pub use block::{Block, Column, Mark, SampleOrCut};
pub use channel::{Behaviour, ChannelSpec, MapUnit, Meaning, Role, Site};
pub use entry::{Batch, Entry, Frame, FrameFlags, FrameId, FrameKind, Lost, Note, SheetRow};
pub use id_filter::IdFilter;
pub use left_out::{LeftOut, Trouble};
pub use notice::{Code, LogPlace, Notices};
pub use position::{Fix, Fixes, Position};
pub use sheet::SheetSpec;
pub use table::{Beyond, Table};
pub use time::{Span, Stamp, Time};
pub use unit::{Dimension, Unit};
pub use vehicle::{Layout, Toleranced, TorqueSource, Vehicle};
