//! One file a command.

pub mod capture;
pub mod compare;
pub mod decode;
pub mod demo;
pub mod export;
pub mod install;
pub mod look;
pub mod map_check;
pub mod map_format;
pub mod map_start;
pub mod report;
pub mod settings;
pub mod what_if;
