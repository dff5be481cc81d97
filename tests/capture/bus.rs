//! A bus for the tests of `capture` in a virtual machine: sends, listens, and reads what was kept.
//!
//! No part of the program. It shares nothing with it, so that a mistake in one is not made twice, and
//! needs nothing but the standard library: `rustc -O bus.rs`.
//!
//!     bus send IFACE COUNT RATE FIRST [says]   numbered frames of all kinds, RATE a second
//!     bus play LOG IFACE                       the classic frames of a SocketCAN log text, at its pace
//!     bus error IFACE CLASS                    an error report
//!     bus count IFACE SECONDS                  how many frames anybody sends
//!     bus read FOLDER                          what stands in the pcapng files of a drive
//!     bus serial                               a serial adapter; orders on standard input: `listen-only
//!                                              on`, `listen-only off`, `frames COUNT FIRST`

use std::collections::BTreeSet;
use std::ffi::{CString, c_char, c_int, c_uint, c_ulong, c_void};
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::os::fd::{AsRawFd, FromRawFd};
use std::time::{Duration, Instant};

unsafe extern "C" {
    fn socket(domain: c_int, kind: c_int, protocol: c_int) -> c_int;
    fn bind(fd: c_int, address: *const c_void, length: c_uint) -> c_int;
    fn if_nametoindex(name: *const c_char) -> c_uint;
    fn setsockopt(fd: c_int, level: c_int, name: c_int, value: *const c_void, n: c_uint) -> c_int;
    fn ioctl(fd: c_int, request: c_ulong, value: *mut c_int) -> c_int;
    fn poll(fds: *mut Poll, n: u64, timeout_ms: c_int) -> c_int;
}

#[repr(C)]
struct Poll {
    fd: c_int,
    events: i16,
    revents: i16,
}

const EXTENDED: u32 = 0x8000_0000;
const REMOTE: u32 = 0x4000_0000;
const ERROR: u32 = 0x2000_0000;

/// A raw CAN socket as a file, with FD frames and error reports.
fn open(interface: &str) -> File {
    let name = CString::new(interface).unwrap();
    unsafe {
        let index = if_nametoindex(name.as_ptr());
        assert!(index > 0, "{interface} is not there");
        let fd = socket(29, 3, 1);
        assert!(fd >= 0, "no socket");
        for (option, value) in [(5, 1_i32), (2, 0x1FFF_FFFF)] {
            let value: *const i32 = &value;
            assert_eq!(setsockopt(fd, 101, option, value.cast(), 4), 0);
        }
        let mut address = [0_u8; 24];
        address[..2].copy_from_slice(&29_u16.to_ne_bytes());
        address[4..8].copy_from_slice(&index.to_ne_bytes());
        assert_eq!(bind(fd, address.as_ptr().cast(), 24), 0, "no bind");
        File::from_raw_fd(fd)
    }
}

fn put(bus: &mut File, bytes: &[u8]) {
    while let Err(error) = bus.write_all(bytes) {
        // ENOBUFS: the queue of the interface is full.
        assert_eq!(error.raw_os_error(), Some(105), "{error}");
        std::thread::sleep(Duration::from_micros(200));
    }
}

/// The frame of a number: in eight a remote request, whose identifier is its number, and two FD frames.
fn frame(number: u32) -> Vec<u8> {
    let (id, length, is_fd) = match number % 8 {
        3 => (EXTENDED | REMOTE | number, 4, false),
        5 => (EXTENDED | 0x1234_0000 | number % 16, 64, true),
        6 => (0x200, 12, true),
        _ => (0x100 + number % 16, 8, false),
    };
    let mut bytes = id.to_ne_bytes().to_vec();
    bytes.extend([length, u8::from(is_fd), 0, 0]);
    bytes.extend(number.to_be_bytes());
    bytes.resize(if is_fd { 72 } else { 16 }, number as u8);
    bytes
}

fn send(interface: &str, count: u32, rate: f64, first: u32, says: bool) {
    let mut bus = open(interface);
    let begun = Instant::now();
    let mut said = 0;
    for n in 0..count {
        let due = Duration::from_secs_f64(f64::from(n) / rate);
        // In bursts of a millisecond at most: a sleep is not shorter.
        while let Some(left) = due.checked_sub(begun.elapsed()) {
            std::thread::sleep(left.max(Duration::from_millis(1)));
        }
        put(&mut bus, &frame(first + n));
        let tick = begun.elapsed().as_millis() / 50;
        if says && tick > said {
            said = tick;
            println!("sent {}", n + 1);
        }
    }
    println!("sent {count} in {:.2} s", begun.elapsed().as_secs_f64());
}

fn play(log: &str, interface: &str) {
    let mut bus = open(interface);
    let begun = Instant::now();
    let mut first = None;
    let mut n = 0;
    for line in std::fs::read_to_string(log).unwrap().lines() {
        let words: Vec<&str> = line.split([' ', '#']).collect();
        let [stamp, _, id, payload] = words[..] else {
            continue;
        };
        let stamp: f64 = stamp.trim_matches(['(', ')']).parse().unwrap();
        let due = Duration::from_secs_f64(stamp - *first.get_or_insert(stamp));
        while let Some(left) = due.checked_sub(begun.elapsed()) {
            std::thread::sleep(left.max(Duration::from_millis(1)));
        }
        let mut bytes = u32::from_str_radix(id, 16).unwrap().to_ne_bytes().to_vec();
        bytes.extend([payload.len() as u8 / 2, 0, 0, 0]);
        bytes.extend((0..payload.len() / 2).map(|at| {
            u8::from_str_radix(&payload[2 * at..2 * at + 2], 16).unwrap()
        }));
        bytes.resize(16, 0);
        put(&mut bus, &bytes);
        n += 1;
    }
    println!("played {n}");
}

fn error(interface: &str, class: u32) {
    let mut bytes = (ERROR | class).to_ne_bytes().to_vec();
    bytes.extend([8, 0, 0, 0]);
    bytes.extend([0; 8]);
    put(&mut open(interface), &bytes);
}

fn count(interface: &str, seconds: f64) {
    let mut bus = open(interface);
    let end = Instant::now() + Duration::from_secs_f64(seconds);
    let mut n = 0;
    while let Some(left) = end.checked_duration_since(Instant::now()) {
        let mut waited = Poll {
            fd: bus.as_raw_fd(),
            events: 1,
            revents: 0,
        };
        if unsafe { poll(&mut waited, 1, left.as_millis() as c_int + 1) } > 0 {
            let mut bytes = [0; 72];
            n += u32::from(bus.read(&mut bytes).is_ok());
        }
    }
    println!("counted {n}");
}

/// A terminal of its own, with the kernel's driver of serial CAN adapters on it: a controller whose
/// mode can be read and set.
fn serial() {
    let file = |path: &str| OpenOptions::new().read(true).write(true).open(path).unwrap();
    let interfaces = || -> BTreeSet<String> {
        let all = std::fs::read_dir("/sys/class/net").unwrap();
        all.map(|one| one.unwrap().file_name().into_string().unwrap()).collect()
    };
    let order = |file: &File, request, mut value: c_int| {
        assert_eq!(unsafe { ioctl(file.as_raw_fd(), request, &mut value) }, 0, "{request:#x}");
        value
    };
    let before = interfaces();
    let mut adapter = file("/dev/ptmx");
    order(&adapter, 0x4004_5431, 0);
    let line = file(&format!("/dev/pts/{}", order(&adapter, 0x8004_5430, 0)));
    order(&line, 0x5423, 17);
    let name = interfaces().difference(&before).next().expect("it is there").clone();
    println!("{name}");
    for order in std::io::stdin().lines().map_while(Result::ok) {
        match order.split(' ').collect::<Vec<_>>()[..] {
            ["listen-only", mode] => set_mode(&name, mode == "on"),
            ["frames", count, first] => {
                let (count, first): (u32, u32) = (count.parse().unwrap(), first.parse().unwrap());
                for number in first..first + count {
                    let bytes = frame(8 * number);
                    let payload: String = bytes[8..16].iter().map(|b| format!("{b:02X}")).collect();
                    let id = u32::from_ne_bytes(bytes[..4].try_into().unwrap());
                    adapter.write_all(format!("t{id:03X}8{payload}\r").as_bytes()).unwrap();
                    std::thread::sleep(Duration::from_millis(2));
                }
            }
            _ => panic!("{order}"),
        }
    }
}

/// Switches listen-only mode, as `ip link set NAME type can listen-only on` does.
fn set_mode(name: &str, is_on: bool) {
    let attribute = |number: u16, value: &[u8]| {
        let mut bytes = (value.len() as u16 + 4).to_ne_bytes().to_vec();
        bytes.extend(number.to_ne_bytes());
        bytes.extend(value);
        bytes.resize(bytes.len().next_multiple_of(4), 0);
        bytes
    };
    let flags = [2_u32, if is_on { 2 } else { 0 }];
    let mode: Vec<u8> = flags.iter().flat_map(|word| word.to_ne_bytes()).collect();
    let kind = [attribute(1, b"can"), attribute(2, &attribute(5, &mode))].concat();
    let index = unsafe { if_nametoindex(CString::new(name).unwrap().as_ptr()) };
    let mut ask = vec![0; 32];
    ask[4..8].copy_from_slice(&[16, 0, 5, 0]);
    ask[20..24].copy_from_slice(&index.to_ne_bytes());
    ask.extend(attribute(18, &kind));
    let length = ask.len() as u32;
    ask[..4].copy_from_slice(&length.to_ne_bytes());
    let mut kernel = unsafe { File::from_raw_fd(socket(16, 3, 0)) };
    kernel.write_all(&ask).unwrap();
    let mut answer = [0; 1000];
    let n = kernel.read(&mut answer).unwrap();
    let code = i32::from_ne_bytes(answer[16..20].try_into().unwrap());
    println!("listen-only {is_on}: {n} bytes, code {code}");
}

/// What stands in the files of a drive.
#[derive(Default)]
struct Kept {
    numbers: Vec<u32>,
    n_fd: u32,
    n_remote: u32,
    n_error: u32,
    n_altered: u32,
    lost_by_frame: u64,
    lost_by_file: u64,
    n_backwards: u32,
    n_torn: u64,
    first_ns: Option<u64>,
    last_ns: u64,
}

fn word(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap())
}

/// The value of an option of a block.
fn option(mut options: &[u8], code: u16) -> Option<u64> {
    while options.len() >= 4 {
        let found = u16::from_le_bytes([options[0], options[1]]);
        let length = usize::from(u16::from_le_bytes([options[2], options[3]]));
        if found == code && length == 8 {
            return Some(u64::from_le_bytes(options[4..12].try_into().unwrap()));
        }
        options = options.get(4 + length.next_multiple_of(4)..)?;
    }
    None
}

impl Kept {
    fn file(&mut self, bytes: &[u8]) {
        let mut at = 0;
        let mut lost = [0; 4];
        while at + 12 <= bytes.len() {
            let length = word(bytes, at + 4) as usize;
            if length < 12 || at + length > bytes.len() {
                break;
            }
            assert_eq!(word(bytes, at + length - 4) as usize, length, "block at {at}");
            let body = &bytes[at + 8..at + length - 4];
            match word(bytes, at) {
                6 => self.packet(body),
                5 => lost[word(body, 0) as usize] = option(&body[12..], 7).unwrap_or(0),
                _ => {}
            }
            at += length;
        }
        self.n_torn += (bytes.len() - at) as u64;
        self.lost_by_file += lost.iter().sum::<u64>();
    }

    fn packet(&mut self, body: &[u8]) {
        let ns = u64::from(word(body, 4)) << 32 | u64::from(word(body, 8));
        self.n_backwards += u32::from(ns < self.last_ns);
        self.last_ns = ns;
        self.first_ns.get_or_insert(ns);
        let length = word(body, 12) as usize;
        let packet = &body[20..20 + length];
        self.lost_by_frame += option(&body[20 + length.next_multiple_of(4)..], 4).unwrap_or(0);
        let id = u32::from_be_bytes(packet[..4].try_into().unwrap());
        let number = if id & ERROR != 0 {
            self.n_error += 1;
            return;
        } else if id & REMOTE != 0 {
            self.n_remote += 1;
            id & 0x1FFF_FFFF
        } else {
            u32::from_be_bytes(packet[8..12].try_into().unwrap())
        };
        let sent = frame(number);
        let is_fd = sent.len() == 72;
        self.n_fd += u32::from(is_fd);
        let payload = match id & REMOTE {
            0 => &sent[8..8 + usize::from(sent[4])],
            _ => &[],
        };
        let is_same = id == u32::from_ne_bytes(sent[..4].try_into().unwrap())
            && packet[4] == sent[4]
            && packet[5] & 0x04 == if is_fd { 0x04 } else { 0 }
            && &packet[8..] == payload;
        self.n_altered += u32::from(!is_same);
        self.numbers.push(number);
    }
}

fn read(folder: &str) {
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap_or_else(|error| panic!("{folder}: {error}"))
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "pcapng"))
        .collect();
    paths.sort();
    let mut kept = Kept::default();
    for path in &paths {
        kept.file(&std::fs::read(path).unwrap());
    }
    let all: BTreeSet<u32> = kept.numbers.iter().copied().collect();
    let (first, last) = (all.first().copied().unwrap_or(0), all.last().copied().unwrap_or(0));
    let missing = if all.is_empty() { 0 } else { last - first + 1 - all.len() as u32 };
    let n_twice = kept.numbers.len() - all.len();
    let n_disorder = kept.numbers.windows(2).filter(|two| two[1] < two[0]).count();
    let span_ms = (kept.last_ns - kept.first_ns.unwrap_or(kept.last_ns)) / 1_000_000;
    println!(
        "files={} frames={} first={first} last={last} missing={missing} twice={n_twice} \
         disorder={n_disorder} altered={} fd={} remote={} errors={} lost={} backwards={} torn={} \
         span_ms={span_ms}",
        paths.len(),
        kept.numbers.len(),
        kept.n_altered,
        kept.n_fd,
        kept.n_remote,
        kept.n_error,
        kept.lost_by_file.max(kept.lost_by_frame),
        kept.n_backwards,
        kept.n_torn
    );
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let number = |text: &str| text.parse::<f64>().unwrap();
    match words[..] {
        ["send", bus, n, rate, first, ref says @ ..] => {
            let (n, first) = (number(n) as u32, number(first) as u32);
            send(bus, n, number(rate), first, !says.is_empty());
        }
        ["play", log, bus] => play(log, bus),
        ["error", bus, class] => error(bus, u32::from_str_radix(class, 16).unwrap()),
        ["count", bus, seconds] => count(bus, number(seconds)),
        ["read", folder] => read(folder),
        ["serial"] => serial(),
        _ => panic!("send, play, error, count, read or serial, not {words:?}"),
    }
}
