//! A socket on a CAN interface that can only listen.
//!
//! The descriptor never leaves this file, and nothing here writes to it: the part of the library
//! that sends is a trait that is not imported, the socket it belongs to is given back at once, and
//! what is kept has no method but those below. `tests/listen_only.rs` reads this crate for calls
//! that send.

use std::io::{self, IoSliceMut};
use std::os::fd::{AsFd, AsRawFd, OwnedFd, RawFd};
use std::time::Duration;

use nix::errno::Errno;
use nix::libc;
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::sys::socket::{
    ControlMessageOwned, MsgFlags, MultiHeaders, getsockopt, recvmmsg, setsockopt, sockopt,
};
use nix::sys::time::TimeSpec;
use socketcan::{CanFdSocket, SocketOptions};

use super::socket::{Datagram, LONGEST};

/// Receive buffer asked for, in bytes. The usual one holds 278 frames, which is 70 ms of a busy
/// bus; this one, which the kernel doubles, holds more than a second of 8,000 frames a second.
const BUFFER: usize = 4 << 20;

/// Datagrams taken in one call.
pub const AT_ONCE: usize = 128;

/// A socket that can only listen.
#[derive(Debug)]
pub struct ListenOnly {
    held: Held,
    buffer_bytes: usize,
}

/// The descriptor, for the library's calls that set options.
#[derive(Debug)]
struct Held(OwnedFd);

impl AsRawFd for Held {
    fn as_raw_fd(&self) -> RawFd {
        self.0.as_raw_fd()
    }
}

impl SocketOptions for Held {}

impl ListenOnly {
    /// Opens a socket on an interface, which may be down.
    pub fn open(interface: &str) -> io::Result<ListenOnly> {
        // FD frames are on in this kind of socket.
        let opened = <CanFdSocket as socketcan::Socket>::open(interface)?;
        let held = Held(opened.as_fd().try_clone_to_owned()?);
        drop(opened);
        held.set_error_filter_accept_all()?;
        held.set_recv_own_msgs(false)?;
        setsockopt(&held.0, sockopt::RxqOvfl, &1)?;
        setsockopt(&held.0, sockopt::ReceiveTimestampns, &true)?;
        // To go over the system's limit takes a right that a service need not have.
        if setsockopt(&held.0, sockopt::RcvBufForce, &BUFFER).is_err() {
            setsockopt(&held.0, sockopt::RcvBuf, &BUFFER)?;
        }
        let buffer_bytes = getsockopt(&held.0, sockopt::RcvBuf)?;
        Ok(ListenOnly { held, buffer_bytes })
    }

    /// The receive buffer got, in bytes.
    pub fn buffer_bytes(&self) -> usize {
        self.buffer_bytes
    }

    /// Takes at most [`AT_ONCE`] datagrams, without waiting; says how many. Fewer: there are no
    /// more.
    pub fn read(&self, into: &mut Vec<Datagram>) -> io::Result<usize> {
        let mut bytes = [[0_u8; LONGEST]; AT_ONCE];
        let mut slices: Vec<[IoSliceMut; 1]> = bytes
            .iter_mut()
            .map(|bytes| [IoSliceMut::new(bytes)])
            .collect();
        // New ones for each call: the kernel writes into the headers how much of the room for
        // what stands beside a datagram it used, and has only that much the next time.
        let beside = nix::cmsg_space!(TimeSpec, u32);
        let mut headers = MultiHeaders::<()>::preallocate(AT_ONCE, Some(beside));
        let fd = self.held.as_raw_fd();
        let flags = MsgFlags::MSG_DONTWAIT;
        let messages = match recvmmsg(fd, &mut headers, slices.iter_mut(), flags, None) {
            Ok(messages) => messages,
            Err(Errno::EAGAIN | Errno::EINTR) => return Ok(0),
            Err(error) => return Err(error.into()),
        };
        let mut n = 0;
        for message in messages {
            n += 1;
            let mut datagram = Datagram {
                bytes: [0; LONGEST],
                n_bytes: 0,
                wall_ns: None,
                n_dropped: None,
            };
            if let Some(got) = message.iovs().next() {
                datagram.bytes[..got.len()].copy_from_slice(got);
                datagram.n_bytes = got.len();
            }
            for beside in message.cmsgs().into_iter().flatten() {
                match beside {
                    ControlMessageOwned::ScmTimestampns(at) => {
                        datagram.wall_ns = Some(at.tv_sec() * 1_000_000_000 + at.tv_nsec());
                    }
                    ControlMessageOwned::RxqOvfl(total) => datagram.n_dropped = Some(total),
                    _ => {}
                }
            }
            into.push(datagram);
        }
        Ok(n)
    }

    /// Frames dropped since the socket was opened, as of now. The count that comes with a frame
    /// says nothing of drops before a silence; this one does.
    pub fn n_dropped(&self) -> io::Result<Option<u32>> {
        // Nine numbers, the last of them the drops. Source: linux/sock_diag.h, SK_MEMINFO_DROPS.
        let mut words = [0_u8; 36];
        let (level, name) = (libc::SOL_SOCKET, libc::SO_MEMINFO);
        let n = self.held.get_socket_option_bytes(level, name, &mut words)?;
        let drops = words[..n.min(words.len())].get(32..);
        Ok(drops
            .and_then(|drops| drops.first_chunk())
            .map(|drops| u32::from_ne_bytes(*drops)))
    }
}

/// Waits until one of the sockets has something to read, at most so long.
pub fn wait<'a>(sockets: impl Iterator<Item = &'a ListenOnly>, most: Duration) -> io::Result<()> {
    let mut waited: Vec<PollFd> = sockets
        .map(|socket| PollFd::new(socket.held.0.as_fd(), PollFlags::POLLIN))
        .collect();
    let most = PollTimeout::try_from(most).unwrap_or(PollTimeout::ZERO);
    match poll(&mut waited, most) {
        Ok(_) | Err(Errno::EINTR) => Ok(()),
        Err(error) => Err(error.into()),
    }
}
