//! What this project itself writes in the forms of logs.

pub mod pcapng;
mod socketcan_text;

pub use socketcan_text::write_frame;
