//! What a section says of its interfaces, and how their times are to be read.

use halfshaft_model::Stamp;
use halfshaft_model::constants::NS_PER_S;

use super::packet;
use crate::blocks::*;
use crate::context::{Context, LONGEST_BUS_NAME};

/// More interfaces than this are noise.
const MOST: usize = 1024;

/// One interface.
pub(super) struct Interface {
    /// Its kind of packets.
    pub link: u16,
    /// Its name, as the log has it.
    pub name: String,
    /// Which bus it is.
    pub bus: u16,
    clock: Option<Scale>,
    // Frames lost that are known: since the section began, and since the latest packet.
    n_lost: u64,
    n_lost_since_packet: u64,
}

/// How the numbers of an interface's times are to be read.
#[derive(Clone, Copy, Debug)]
struct Scale {
    units_per_s: u128,
    offset_s: i64,
}

impl Interface {
    /// The `index`th interface of a section from its block; `None` where it cannot be read.
    pub fn read(body: Fields, index: usize, context: &mut Context) -> Option<Interface> {
        let link = body.u16(0)?;
        if index >= MOST {
            return None;
        }
        let (mut name, mut resolution, mut offset_s) = (format!("interface{index}"), 6, 0);
        for (code, value) in body.options(8) {
            match code {
                OPTION_NAME => {
                    let bytes = &value.bytes[..value.bytes.len().min(LONGEST_BUS_NAME)];
                    // A name may end in a zero byte where a recorder counts it in.
                    let text = String::from_utf8_lossy(bytes);
                    name = text.trim_end_matches('\0').to_owned();
                }
                OPTION_RESOLUTION => resolution = value.bytes.first().copied().unwrap_or(6),
                OPTION_OFFSET => offset_s = value.u64(0).unwrap_or(0) as i64,
                _ => {}
            }
        }
        let power = u32::from(resolution & 0x7F);
        let units_per_s = match resolution & 0x80 {
            0 => 10_u128.checked_pow(power),
            _ => 1_u128.checked_shl(power),
        };
        // Interfaces without packets of a bus are none.
        let bus = match packet::is_known(link) {
            true => context.buses.index(name.as_bytes()),
            false => 0,
        };
        Some(Interface {
            link,
            name,
            bus,
            clock: units_per_s.map(|units_per_s| Scale {
                units_per_s,
                offset_s,
            }),
            n_lost: 0,
            n_lost_since_packet: 0,
        })
    }

    /// A time of this interface; `None` where it is none.
    pub fn stamp(&self, units: u64) -> Option<Stamp> {
        const NS: u128 = NS_PER_S as u128;
        let clock = self.clock?;
        let ns = match clock.units_per_s {
            NS => i128::from(units),
            per_s => i128::try_from(u128::from(units) * NS / per_s).ok()?,
        };
        let offset = i128::from(clock.offset_s) * i128::from(NS_PER_S);
        i64::try_from(ns + offset).ok().map(Stamp)
    }

    /// Of the packets lost between the latest one and this, those not known yet.
    pub fn lost_before_packet(&mut self, n: u64) -> u64 {
        let new = n.saturating_sub(std::mem::take(&mut self.n_lost_since_packet));
        self.n_lost = self.n_lost.saturating_add(new);
        new
    }

    /// Of the packets lost since the section began, those not known yet.
    pub fn lost_so_far(&mut self, n: u64) -> u64 {
        let new = n.saturating_sub(self.n_lost);
        self.n_lost += new;
        self.n_lost_since_packet = self.n_lost_since_packet.saturating_add(new);
        new
    }
}
