//! The command `capture` as far as it goes without a bus. With one: `tests/capture/run`, on a real
//! kernel in a virtual machine.
#![cfg(target_os = "linux")]

mod common;

use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixDatagram;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use common::program::{Folder, PROGRAM};

const LONG: Duration = Duration::from_secs(20);

/// A recorder at work.
struct Running {
    child: Child,
    input: ChildStdin,
    said: Receiver<String>,
}

impl Running {
    fn start(folder: &Folder, arguments: &[&str], set_up: impl FnOnce(&mut Command)) -> Running {
        let mut command = Command::new(PROGRAM);
        command
            .arg("capture")
            .args(arguments)
            .current_dir(folder.path("."))
            .env("XDG_CONFIG_HOME", folder.path("."))
            .env_remove("NOTIFY_SOCKET")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        set_up(&mut command);
        let mut child = command.spawn().expect("the program starts");
        let input = child.stdin.take().expect("it is piped");
        let err = child.stderr.take().expect("it is piped");
        let (to, said) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(err).lines().map_while(Result::ok) {
                if to.send(line).is_err() {
                    return;
                }
            }
        });
        Running { child, input, said }
    }

    /// Waits until it says a line with these words.
    #[track_caller]
    fn hear(&self, words: &str) {
        let mut lines = Vec::new();
        while let Ok(line) = self.said.recv_timeout(LONG) {
            if line.contains(words) {
                return;
            }
            lines.push(line);
        }
        panic!("`{words}` is not in {lines:#?}");
    }

    fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("sh")
            .args(["-c", &format!("kill -{name} {id}")])
            .status();
        assert!(sent.expect("there is a shell").success());
    }

    fn code(mut self) -> Option<i32> {
        drop(self.input);
        self.child.wait().expect("it was started").code()
    }
}

#[test]
fn a_missing_interface_is_waited_for_and_each_stop_signal_ends_it_cleanly() {
    for signal in ["INT", "TERM", "HUP"] {
        let folder = Folder::default();
        let running = Running::start(&folder, &["no-such-bus", "--into", "drives"], |_| {});
        running.hear("no-such-bus: not there; waiting for it");
        running.signal(signal);
        assert_eq!(running.code(), Some(0), "{signal}");
        assert!(folder.path("drives").is_dir());
    }
}

#[test]
fn a_line_on_standard_input_is_a_mark_and_waits_for_a_drive() {
    let folder = Folder::default();
    let mut running = Running::start(&folder, &["no-such-bus", "--into", "drives"], |_| {});
    running.hear("waiting for it");
    running
        .input
        .write_all(b"rears -0.2 bar\n")
        .expect("it reads");
    running.hear("the mark will stand at the beginning of the next");
    running.signal("TERM");
    assert_eq!(running.code(), Some(0));
}

/// Whoever reads a terminal from the background is stopped by it, and a recorder must not be.
/// `script` of util-linux is the terminal.
#[test]
fn a_recorder_in_the_background_of_a_terminal_goes_on() {
    let folder = Folder::default();
    folder.write(
        "background",
        format!(
            "set -m\n{PROGRAM} capture no-such-bus --into drives 2>err &\n\
             until grep -q waiting err; do sleep 0.1; done; sleep 0.5\n\
             ps -o stat= -p $! >state; kill $!; kill -CONT $!; wait $!; echo $? >code\n"
        ),
    );
    folder.shell("script -qec 'bash background' /dev/null </dev/null >terminal");
    let state = folder.read("state");
    assert!(!state.contains('T'), "{state}");
    assert_eq!(folder.read("code"), "0\n");
}

#[test]
fn the_service_manager_hears_that_it_is_ready_alive_and_ending() {
    let folder = Folder::default();
    let place = folder.path("notify");
    let heard = UnixDatagram::bind(&place).expect("a socket can be made");
    heard.set_read_timeout(Some(LONG)).expect("it can");
    let running = Running::start(&folder, &["no-such-bus", "--into", "drives"], |command| {
        command.env("NOTIFY_SOCKET", &place);
    });
    let next = || {
        let mut text = [0; 500];
        let n = heard.recv(&mut text).expect("it says something");
        String::from_utf8_lossy(&text[..n]).into_owned()
    };
    assert!(next().contains("READY=1"));
    let alive = next();
    let status = "STATUS=no-such-bus absent, 0 frames";
    assert!(
        alive.contains("WATCHDOG=1") && alive.contains(status),
        "{alive}"
    );
    // It goes on giving signs of life, without saying the same again.
    let alive = next();
    assert!(
        alive.contains("WATCHDOG=1") && !alive.contains("STATUS"),
        "{alive}"
    );
    running.signal("TERM");
    let last = std::iter::repeat_with(next).find(|text| text.contains("STOPPING=1"));
    assert!(last.is_some());
    assert_eq!(running.code(), Some(0));
}

#[test]
fn what_must_not_be_listened_to_is_refused_before_anything_is_recorded() {
    let folder = Folder::with_drive();
    folder
        .run(["capture", "lo", "--into", "drives"])
        .refused(&["lo is no CAN interface"]);
    folder
        .run(["capture", "lo", "--bench", "--into", "drives"])
        .refused(&["lo is no CAN interface"]);
}

#[test]
fn a_mistake_in_what_it_is_given_is_said_at_once() {
    let folder = Folder::with_drive();
    folder.write("file", "not a folder");
    for (arguments, words) in [
        (&["can0"][..], "--into <DIR>"),
        (&["--into", "drives"][..], "<IFACE>"),
        (&["--replay", "drive.log"][..], "--map <MAP>"),
        (&["can0", "--into", "drives", "--lines"][..], "--map <MAP>"),
        (
            &["can0", "--into", "drives", "--keep", "20"][..],
            "expected a unit: one of kB",
        ),
        (
            &["can0", "--into", "drives", "--silence", "0s"][..],
            "from 1 to 3600 s",
        ),
        (&["can0", "--into", "file"][..], "file"),
        (
            &["can0", "--into", "drives", "--map", "none.map"][..],
            "none.map",
        ),
        (
            &[
                "can0",
                "--into",
                "d",
                "--replay",
                "drive.log",
                "--map",
                "car.map",
            ][..],
            "cannot be used with",
        ),
    ] {
        let all = ["capture"].iter().chain(arguments);
        folder.run(all).refused(&[words]);
    }
    assert!(!folder.path("drives/drive-0001").exists());
}

#[test]
fn a_log_played_back_is_followed_in_lines_of_json() {
    let folder = Folder::with_drive();
    let words = "capture --replay drive.log --map car.map --speed 0 --lines --listen 127.0.0.1:0";
    let run = folder.run(words.split(' '));
    assert_eq!(run.code, Some(0), "{run:#?}");
    let run = run.said(&["the live page: http://127.0.0.1:"]);
    let last = run.out.lines().last().expect("there are lines");
    let last: serde_json::Value = serde_json::from_str(last).expect("a line is JSON");
    assert!(last.is_object(), "{last}");
}

#[test]
fn the_page_is_not_served_elsewhere_without_a_token() {
    let folder = Folder::with_drive();
    folder.write("short", "short\n");
    let words = "capture --replay drive.log --map car.map --speed 0 --listen 0.0.0.0:0";
    folder.run(words.split(' ')).refused(&["token"]);
    let words = words.split(' ').chain(["--token-file", "short"]);
    folder.run(words).refused(&["short", "16"]);
}

#[test]
fn commands_of_the_page_are_understood() {
    let page = include_str!("../docs/capture.md");
    let folder = Folder::with_drive();
    std::fs::copy(folder.path("car.map"), folder.path("my-car.map")).expect("it is there");
    folder.write("token", "a-token-of-the-tests-that-is-long-enough\n");
    let mut n = 0;
    for line in page.lines().filter(|line| line.starts_with("halfshaft ")) {
        let words: Vec<&str> = line.split_whitespace().skip(1).collect();
        n += 1;
        match words[..] {
            ["demo", ..] => {
                folder.run(&words).done();
            }
            ["capture", "--replay", ..] => {
                let run = folder.run(words.iter().chain(&["--speed", "0"]));
                assert_eq!(run.code, Some(0), "{run:#?}");
            }
            // There is no bus here, and so no drive: it waits, and it says so.
            ["capture", ..] => {
                let mut words = words[1..].to_vec();
                for word in &mut words {
                    // A place that is free on any machine, and within it.
                    if *word == "0.0.0.0:8470" {
                        *word = "127.0.0.1:0";
                    }
                }
                words[0] = "no-such-bus";
                let running = Running::start(&folder, &words, |_| {});
                running.hear("waiting for it");
                running.signal("TERM");
                assert_eq!(running.code(), Some(0), "{line}");
            }
            ["report", ..] => {
                folder.run(&words).refused(&["drives/drive-0001"]);
            }
            _ => panic!("{line}"),
        }
    }
    assert!(n >= 6, "{n} commands were found");
}
