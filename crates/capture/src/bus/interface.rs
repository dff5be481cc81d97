//! What the kernel says of an interface, and whether it may be listened to.
//!
//! In: the name. Out: what it is, by one netlink question. Nothing here changes an interface; the
//! one message that is sent goes to the kernel and asks. Source: linux/rtnetlink.h,
//! linux/if_link.h, linux/can/netlink.h.

use std::io;
use std::os::fd::AsRawFd;

use nix::errno::Errno;
use nix::sys::socket::{
    AddressFamily, MsgFlags, SockFlag, SockProtocol, SockType, recv, send, socket,
};

const ASK_LINK: u16 = 18;
const NEW_LINK: u16 = 16;
const FAILED: u16 = 2;
const IS_REQUEST: u16 = 1;
const NAME: u16 = 3;
const LINK_INFO: u16 = 18;
const INFO_KIND: u16 = 1;
const INFO_DATA: u16 = 2;
const CAN_BIT_TIMING: u16 = 1;
const CAN_CONTROL_MODE: u16 = 5;
const LISTEN_ONLY: u32 = 0x02;
const KIND_CAN: u16 = 280;
const IS_UP: u32 = 1;

/// What an interface is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Interface {
    /// Whether it is a CAN interface at all.
    pub is_can: bool,
    /// Whether it is up.
    pub is_up: bool,
    /// The driver's word for its kind: `can`, `vcan`, `vxcan`; `None`: it says none.
    pub kind: Option<String>,
    /// Whether its controller is in listen-only mode; `None`: it has no such mode.
    pub listen_only: Option<bool>,
    /// Bits a second; `None`: not set.
    pub bit_rate: Option<u32>,
}

/// Asks for an interface; `None`: there is none of this name.
pub fn ask(name: &str) -> io::Result<Option<Interface>> {
    let protocol = SockProtocol::NetlinkRoute;
    let kernel = socket(
        AddressFamily::Netlink,
        SockType::Raw,
        SockFlag::SOCK_CLOEXEC,
        protocol,
    )?;
    send(kernel.as_raw_fd(), &question(name), MsgFlags::empty())?;
    // The kernel has answered by now: it does so within the call above.
    let mut answer = vec![0; 64 << 10];
    let n = recv(kernel.as_raw_fd(), &mut answer, MsgFlags::MSG_DONTWAIT)?;
    read(&answer[..n])
}

/// The question for an interface by its name.
fn question(name: &str) -> Vec<u8> {
    let mut ask = vec![0; 16];
    ask.extend([0; 16]);
    let attribute = name.len() + 5;
    ask.extend((attribute as u16).to_ne_bytes());
    ask.extend(NAME.to_ne_bytes());
    ask.extend(name.as_bytes());
    ask.push(0);
    ask.resize(ask.len().next_multiple_of(4), 0);
    let length = ask.len() as u32;
    ask[..4].copy_from_slice(&length.to_ne_bytes());
    ask[4..6].copy_from_slice(&ASK_LINK.to_ne_bytes());
    ask[6..8].copy_from_slice(&IS_REQUEST.to_ne_bytes());
    ask
}

/// Reads the kernel's answer.
fn read(answer: &[u8]) -> io::Result<Option<Interface>> {
    let short = || io::Error::other("the kernel's answer on the interface is cut short");
    let body = answer.get(16..).ok_or_else(short)?;
    match half(answer, 4) {
        Some(FAILED) => {
            let code = word(body, 0).ok_or_else(short)? as i32;
            return match Errno::from_raw(code.wrapping_neg()) {
                Errno::ENODEV => Ok(None),
                error => Err(error.into()),
            };
        }
        Some(NEW_LINK) => {}
        _ => return Err(io::Error::other("the kernel's answer is on something else")),
    }
    let mut found = Interface {
        is_can: half(body, 2) == Some(KIND_CAN),
        is_up: word(body, 8).ok_or_else(short)? & IS_UP != 0,
        ..Interface::default()
    };
    let info = attribute(body.get(16..).unwrap_or_default(), LINK_INFO).unwrap_or_default();
    found.kind = attribute(info, INFO_KIND).map(|kind| {
        let kind = String::from_utf8_lossy(kind);
        kind.trim_end_matches('\0').to_owned()
    });
    let about = attribute(info, INFO_DATA).unwrap_or_default();
    // Of the mode the first word says which flags there are, the second which are on.
    found.listen_only = attribute(about, CAN_CONTROL_MODE)
        .and_then(|mode| word(mode, 4))
        .map(|on| on & LISTEN_ONLY != 0);
    found.bit_rate = attribute(about, CAN_BIT_TIMING)
        .and_then(|timing| word(timing, 0))
        .filter(|rate| *rate > 0);
    Ok(Some(found))
}

/// The attribute of this number in a row of them.
fn attribute(mut row: &[u8], number: u16) -> Option<&[u8]> {
    loop {
        let length = usize::from(half(row, 0)?);
        // The two highest bits say how it is nested.
        let is_it = half(row, 2)? & 0x3FFF == number;
        let value = row.get(4..length)?;
        if is_it {
            return Some(value);
        }
        row = row.get(length.next_multiple_of(4)..)?;
    }
}

fn half(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_ne_bytes(*bytes.get(at..)?.first_chunk()?))
}

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_ne_bytes(*bytes.get(at..)?.first_chunk()?))
}

impl Interface {
    /// Whether it may be listened to: what was found, or why not. A bench is a bus that nothing
    /// depends on; a virtual bus is one.
    pub fn footing(&self, name: &str, is_bench: bool) -> Result<String, String> {
        if !self.is_can {
            return Err(format!("{name} is no CAN interface"));
        }
        let rate = match self.bit_rate {
            Some(rate) if rate.is_multiple_of(1000) => format!(", {} kbit/s", rate / 1000),
            Some(rate) => format!(", {rate} bit/s"),
            None => String::new(),
        };
        let kind = self.kind.as_deref();
        match self.listen_only {
            Some(true) => Ok(format!(
                "{name}: listen-only mode is on{rate}. It acknowledges nothing: on a bench of two \
                 nodes, this one and a sender, the sender repeats its first frame for ever and \
                 nothing arrives; a third node that acknowledges helps"
            )),
            None if matches!(kind, Some("vcan" | "vxcan")) => {
                Ok(format!("{name}: a virtual bus, which counts as a bench"))
            }
            Some(false) if is_bench => Ok(format!(
                "{name}: listen-only mode is off{rate}; --bench says that this is a bench. \
                 Nothing is sent, but the controller acknowledges frames of others"
            )),
            None if is_bench => Ok(format!(
                "{name}: no listen-only mode is to be seen{rate}; --bench says that this is a bench"
            )),
            Some(false) => Err(format!(
                "{name} is not in listen-only mode, so its controller acknowledges frames and may \
                 disturb the bus. Switch it on (ip link set {name} down, ip link set {name} type \
                 can bitrate RATE listen-only on, ip link set {name} up), or say --bench where \
                 nothing depends on the bus"
            )),
            None => Err(format!(
                "{name} has no listen-only mode that could be read. Take an adapter whose driver \
                 has one, or say --bench where nothing depends on the bus"
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn attribute_of(number: u16, value: &[u8]) -> Vec<u8> {
        let mut bytes = (value.len() as u16 + 4).to_ne_bytes().to_vec();
        bytes.extend(number.to_ne_bytes());
        bytes.extend(value);
        bytes.resize(bytes.len().next_multiple_of(4), 0);
        bytes
    }

    /// An answer as the kernel writes it: of a link of this type with these flags and kind, and,
    /// of a controller, the bit rate and the flags of its mode.
    fn answer(link: u16, flags: u32, kind: &str, controller: Option<(u32, u32)>) -> Vec<u8> {
        let mut info = attribute_of(INFO_KIND, &[kind.as_bytes(), b"\0"].concat());
        if let Some((rate, on)) = controller {
            let mut timing = rate.to_ne_bytes().to_vec();
            timing.extend([0; 28]);
            let mode = [0xFF_u32.to_ne_bytes(), on.to_ne_bytes()].concat();
            let data = [
                attribute_of(CAN_BIT_TIMING, &timing),
                attribute_of(CAN_CONTROL_MODE, &mode),
            ];
            info.extend(attribute_of(INFO_DATA | 0x8000, &data.concat()));
        }
        let mut bytes = vec![0; 16];
        bytes[4..6].copy_from_slice(&NEW_LINK.to_ne_bytes());
        bytes.extend([0, 0]);
        bytes.extend(link.to_ne_bytes());
        bytes.extend(7_u32.to_ne_bytes());
        bytes.extend(flags.to_ne_bytes());
        bytes.extend([0; 4]);
        bytes.extend(attribute_of(NAME, b"can0\0"));
        if !kind.is_empty() {
            bytes.extend(attribute_of(LINK_INFO, &info));
        }
        bytes
    }

    #[track_caller]
    fn check(answer: &[u8], is_bench: bool, wanted: Result<&str, &str>) {
        let found = read(answer).unwrap().unwrap();
        let footing = found.footing("can0", is_bench);
        let (text, wanted) = match (&footing, wanted) {
            (Ok(text), Ok(wanted)) | (Err(text), Err(wanted)) => (text, wanted),
            _ => panic!("{footing:?}, expected {wanted:?}"),
        };
        assert!(text.contains(wanted), "{text}");
    }

    #[test]
    fn only_listen_only_or_a_bench_is_listened_to() {
        let on = answer(KIND_CAN, 0x41, "can", Some((500_000, LISTEN_ONLY | 1)));
        check(&on, false, Ok("listen-only mode is on, 500 kbit/s"));
        check(&on, false, Ok("bench of two nodes"));
        check(&on, true, Ok("listen-only mode is on"));
        let off = answer(KIND_CAN, 0x41, "can", Some((83_333, 0x21)));
        check(&off, false, Err("not in listen-only mode"));
        check(&off, true, Ok("acknowledges frames of others"));
        check(&off, true, Ok("83333 bit/s"));
        let virtual_bus = answer(KIND_CAN, 0, "vcan", None);
        check(&virtual_bus, false, Ok("counts as a bench"));
        // A serial adapter under an old driver: a real bus, with nothing to be read.
        let serial = answer(KIND_CAN, 1, "", None);
        check(
            &serial,
            false,
            Err("no listen-only mode that could be read"),
        );
        check(&serial, true, Ok("--bench says"));
        let cable = answer(1, 1, "", None);
        check(&cable, false, Err("can0 is no CAN interface"));
        check(&cable, true, Err("can0 is no CAN interface"));
    }

    #[test]
    fn up_and_down_are_told_apart_and_no_cut_answer_is_believed() {
        let is_up = |flags| {
            let answer = answer(KIND_CAN, flags, "can", Some((500_000, 2)));
            read(&answer).unwrap().unwrap().is_up
        };
        assert!(is_up(0x41) && !is_up(0x40));
        let whole = answer(KIND_CAN, 1, "can", Some((500_000, LISTEN_ONLY)));
        for n in 0..whole.len() {
            // A cut answer never makes an interface listen-only that is not.
            if let Ok(Some(found)) = read(&whole[..n]) {
                assert_ne!(found.listen_only, Some(true), "{n} bytes");
            }
        }
        let mut gone = vec![0; 36];
        gone[4..6].copy_from_slice(&FAILED.to_ne_bytes());
        gone[16..20].copy_from_slice(&(-19_i32).to_ne_bytes());
        assert_eq!(read(&gone).unwrap(), None);
    }

    #[test]
    fn the_kernel_answers_here_too() {
        assert_eq!(ask("no-such-bus").unwrap(), None);
        let own = ask("lo").unwrap().unwrap();
        assert!(!own.is_can);
    }
}
