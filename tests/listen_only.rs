//! No path of the program sends on a bus: read from its source.
//!
//! A CAN socket is made by way of the operating system's sockets only, so it matters which files
//! name them. Those are few and listed, and in them every line that could send is listed, too. Both
//! lists are exact: a line or file that is no longer there fails as well.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use serde_json::Value;

/// Ways to a socket of the operating system.
const WAYS: &[&str] = &[
    "socketcan",
    "socket2",
    "rustix",
    "libc",
    "nix::sys::socket",
    "nix::sys::sendfile",
    "nix::sys::{",
    "nix::{",
    "nix::unistd",
    "std::os::fd",
    "std::os::unix",
    "AsFd",
    "AsRawFd",
    "IntoRawFd",
    "OwnedFd",
    "BorrowedFd",
    "as_raw_fd",
    "into_raw_fd",
    "from_raw_fd",
    "process::Command",
];

/// Files of the crate `capture` that name one of them.
const MAY: &[&str] = &["bus/interface.rs", "bus/listen_only.rs"];

/// Words that send, write, or change an interface.
const SENDS: &[&str] = &[
    "send",
    "sendto",
    "send_to",
    "sendmsg",
    "sendmmsg",
    "sendfile",
    "send_vectored",
    "send_with_flags",
    "write",
    "write_all",
    "write_fmt",
    "write_vectored",
    "write_frame",
    "write_frame_insist",
    "writev",
    "pwrite",
    "transmit",
    "splice",
    "tee",
    "vmsplice",
    "Write",
    "ioctl",
    "bring_up",
    "bring_down",
    "CanInterface",
    "CanSocket",
];

/// Lines of those files with such a word: the import, and the question to the kernel.
const LINES: &[&str] = &[
    "AddressFamily, MsgFlags, SockFlag, SockProtocol, SockType, recv, send, socket,",
    "send(kernel.as_raw_fd(), &question(name), MsgFlags::empty())?;",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn sources(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).expect("the folder can be read") {
        let path = entry.expect("the folder can be read").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

fn has_word(line: &str, word: &str) -> bool {
    let is_part = |c: char| c.is_alphanumeric() || c == '_';
    line.match_indices(word).any(|(place, _)| {
        let before = line[..place].chars().next_back();
        let after = line[place + word.len()..].chars().next();
        !(before.is_some_and(is_part) || word.ends_with(is_part) && after.is_some_and(is_part))
    })
}

/// Lines of code that name one of these words. A block comment would hide a line from nobody: it
/// is read as code.
fn lines<'a>(code: &'a str, words: &'static [&str]) -> impl Iterator<Item = &'a str> {
    let lines = code.lines().map(str::trim);
    lines
        .filter(|line| !line.starts_with("//"))
        .filter(|line| words.iter().any(|word| has_word(line, word)))
}

/// Files, by their path in the crate, that name a way to a socket, and lines of them that send.
fn found_in(dir: &Path) -> (BTreeSet<String>, Vec<String>) {
    let mut paths = Vec::new();
    sources(dir, &mut paths);
    paths.sort_unstable();
    assert!(paths.len() > 5, "{paths:?}");
    let mut files = BTreeSet::new();
    let mut sending = Vec::new();
    for path in paths {
        let code = std::fs::read_to_string(&path).expect("it can be read");
        if lines(&code, WAYS).next().is_some() {
            let inside = path.strip_prefix(dir).expect("it lies in it");
            files.insert(inside.to_string_lossy().replace('\\', "/"));
            sending.extend(lines(&code, SENDS).map(str::to_owned));
        }
    }
    (files, sending)
}

#[test]
fn a_socket_is_named_in_two_files_and_nothing_is_sent_but_a_question_to_the_kernel() {
    let (files, sending) = found_in(&root().join("crates/capture/src"));
    assert_eq!(files.into_iter().collect::<Vec<_>>(), MAY);
    assert_eq!(sending, LINES);
}

#[test]
fn a_line_that_sends_is_found() {
    for line in [
        "self.held.write_frame(&frame)?;",
        "nix::sys::socket::sendmsg(fd, &iov, &[], flags, None)",
        "use std::io::Write;",
        "unsafe { libc::send(fd, bytes, 16, 0) }",
        "    socket.transmit(frame)",
        "/* quiet */ write_all(&bytes)",
    ] {
        assert_eq!(lines(line, SENDS).count(), 1, "{line}");
    }
    for line in ["// it could send", "sender.sends_nothing()", "overwrite(x)"] {
        assert_eq!(lines(line, SENDS).count(), 0, "{line}");
    }
    assert_eq!(lines("let fd = held.as_raw_fd();", WAYS).count(), 1);
    assert_eq!(lines("use nix::time::ClockId;", WAYS).count(), 0);
}

#[test]
fn no_other_crate_can_open_a_can_socket_and_nothing_can_change_an_interface() {
    let output = std::process::Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .expect("cargo runs, since it runs this");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo writes JSON");
    let packages = metadata["packages"].as_array().expect("there are packages");
    let mut users = Vec::new();
    for package in packages {
        let of = package["name"].as_str().expect("it has a name");
        for used in package["dependencies"].as_array().expect("a list") {
            let name = used["name"].as_str().expect("it has a name");
            if ["socketcan", "socket2", "rustix", "libc", "nix", "neli"].contains(&name) {
                users.push(format!("{of} uses {name}"));
            }
            if name == "socketcan" {
                // The part of it that changes interfaces is behind a feature.
                assert_eq!(used["uses_default_features"], false);
                assert_eq!(used["features"], serde_json::json!([]));
            }
        }
    }
    users.sort_unstable();
    let capture = "halfshaft-capture";
    let wanted = ["nix", "socketcan"].map(|name| format!("{capture} uses {name}"));
    assert_eq!(users, wanted);
}
