//! A drive followed live: at its end it says what the report of its log says, whatever was asked for on
//! the way; what is old says so; and nobody who reads the page holds anything up or sees what is not his.

mod common;

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::mpsc::channel;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use common::program::{CAR, Folder, base64, drive, frame};
use halfshaft_capture::follow::{Follower, Options, follow};
use halfshaft_capture::link::{Handle, Heard, link};
use halfshaft_capture::live;
use halfshaft_capture::page::{MOST_CONNECTIONS, Token};
use halfshaft_capture::replay;
use halfshaft_drive::Drive;
use halfshaft_health::Results;
use halfshaft_logs::Source;
use halfshaft_model::Stamp;
use halfshaft_report::{ClockKind, ClockRecord, Document, MapRecord};
use halfshaft_signal_map::Map;
use serde_json::Value;

/// Keys of a report that name its files and how they were read.
const OF_THE_FILES: [&str; 6] = [
    "inputs",
    "clock",
    "notices",
    "command",
    "tool_version",
    "compared_with",
];

fn root(path: &str) -> String {
    format!("{}/../../{path}", env!("CARGO_MANIFEST_DIR"))
}

#[track_caller]
fn read_map(path: &Path) -> Map {
    common::map(&std::fs::read_to_string(path).expect("the map is there"))
}

/// The report of a drive that was followed, as JSON.
fn record(map: &Map, drive: &Drive, results: &Results) -> String {
    let front = drive.front();
    halfshaft_report::json::render(&Document {
        results,
        inputs: Vec::new(),
        notices: front.notices(),
        remarks: front
            .fit()
            .remarks
            .iter()
            .map(ToString::to_string)
            .collect(),
        map: MapRecord {
            title: map.title.clone(),
            identity: map.identity.clone(),
            fingerprint: map.fingerprint.clone(),
            vehicle: map.vehicle.name.clone(),
            unit: map.vehicle.unit.clone(),
        },
        program_version: "",
        compared_with: None,
        command: String::new(),
        clock: ClockRecord {
            set_ahead_ns: 0,
            first_stamp: Stamp(0),
            last_stamp: Stamp(0),
            kind: ClockKind::Unix,
            words: String::new(),
        },
        workshop: None,
        files_written: Vec::new(),
    })
}

/// Lines that can still be read when whoever writes them has gone.
#[derive(Clone, Default)]
struct Lines(Arc<Mutex<Vec<u8>>>);

impl Write for Lines {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0
            .lock()
            .expect("nobody panicked")
            .extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Lines {
    fn json(&self) -> Vec<Value> {
        let bytes = self.0.lock().expect("nobody panicked").clone();
        let text = String::from_utf8(bytes).expect("it is text");
        text.lines()
            .map(|line| {
                serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"))
            })
            .collect()
    }
}

/// Plays a log back, asks for results every so often, and gives the record and all snapshots.
fn replayed(map: &Map, log: &Path, speed: f64, every: Duration) -> (Value, Vec<Value>) {
    let (source, end) = link();
    let lines = Lines::default();
    let (records, kept) = channel();
    let of_map = map.clone();
    let options = Options {
        live: live::Options {
            results_every: every,
            ..live::Options::default()
        },
        lines: Some(Box::new(lines.clone())),
        ended: Some(Box::new(move |drive, results| {
            records
                .send(record(&of_map, drive, results))
                .expect("the test waits for it");
        })),
        listen: None,
    };
    let follower = follow(end, map.clone(), options).expect("threads can be started");
    replay::run(source, &[Source::File(log.to_owned())], map, speed).expect("the log can be read");
    follower.thread.join().expect("nothing panics");
    let record = kept.recv().expect("the drive has ended");
    (
        serde_json::from_str(&record).expect("it is JSON"),
        lines.json(),
    )
}

/// The same numbers as the report of the program, bit for bit; `false` where it refuses the log.
#[track_caller]
fn check(name: &str, folder: &Folder, map: &str, log: &str, every_ms: u64) -> bool {
    let run = folder.run(["report", log, "--map", map, "--json"]);
    if run.code != Some(0) {
        return false;
    }
    let parsed = read_map(&folder.path(map));
    let every = Duration::from_millis(every_ms);
    let (live, snapshots) = replayed(&parsed, &folder.path(log), 0.0, every);
    let report = run.json();
    let keys = report.as_object().expect("a record is an object").keys();
    for key in keys.filter(|key| !OF_THE_FILES.contains(&key.as_str())) {
        assert!(live[key] == report[key], "{name}: {key} differs");
    }
    let last = snapshots.last().expect("there is a last one");
    assert_eq!(last["is_provisional"], false, "{name}");
    let figures = last["figures"].as_array().expect("the last one has them");
    assert!(figures.len() > 30, "{name}");
    for figure in figures {
        let id = figure["id"].as_str().expect("it has a name");
        let of_report = &report["figures"][id];
        for key in ["value", "low", "high", "grade"] {
            assert_eq!(figure[key], of_report[key], "{name}: {id} {key}");
        }
        assert_eq!(
            figure["value"].is_null(),
            figure["why"].is_string(),
            "{name}: {id}"
        );
    }
    let before = &snapshots[..snapshots.len() - 1];
    assert!(
        before
            .iter()
            .all(|one| one["is_provisional"] == true && one.get("figures").is_none())
    );
    true
}

fn sample(name: &str) -> String {
    let packed = std::fs::read(root(&format!("sample-logs/{name}.log.zst")));
    let log = zstd::decode_all(packed.expect("the sample is there").as_slice());
    String::from_utf8(log.expect("it is packed")).expect("it is text")
}

fn car(folder: &Folder) {
    let text = std::fs::read_to_string(root("signal-maps/brindlecote-30.map"));
    folder.write("car.map", text.expect("the map is there"));
}

#[test]
fn every_sample_drive_ends_with_the_figures_of_its_report() {
    let names = [
        "healthy-road",
        "hard-track-day",
        "tired-motor",
        "mismatched-tyres",
    ];
    for (name, every_ms) in names.into_iter().zip([3, 40, 90, 17]) {
        let folder = Folder::default();
        car(&folder);
        folder.write("drive.log", sample(name));
        assert!(
            check(name, &folder, "car.map", "drive.log", every_ms),
            "{name} has a report"
        );
    }
}

#[test]
fn so_does_a_damaged_one() {
    let text = sample("hard-track-day");
    let lines: Vec<&str> = text.lines().take(60_000).collect();
    let shifted = |line: &str, by_s: f64| {
        let (stamp, rest) = line[1..].split_once(')').expect("a line has its stamp");
        format!(
            "({:.6}){rest}",
            stamp.parse::<f64>().expect("a number") + by_s
        )
    };
    let with_silence = [&lines[..9_000], &lines[30_000..], &lines[..5_000]].concat();
    let set_clock = lines.iter().enumerate().map(|(index, line)| match index {
        20_000..40_000 => shifted(line, 3600.0),
        40_000.. => shifted(line, -7.5),
        _ => (*line).to_owned(),
    });
    let mut state = 7_u32;
    let mut random = move |n: u32| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) % n
    };
    let torn = lines.iter().filter_map(|line| match random(20) {
        0 => None,
        1 => Some(line[..line.len() - 3].to_owned()),
        2 => Some(line.replace('0', "F")),
        _ => Some((*line).to_owned()),
    });
    let logs = [
        ("a silence and the beginning again", with_silence.join("\n")),
        (
            "a clock that was set twice",
            set_clock.collect::<Vec<_>>().join("\n"),
        ),
        (
            "frames lost, torn and changed",
            torn.collect::<Vec<_>>().join("\n"),
        ),
    ];
    for (name, log) in logs {
        let folder = Folder::default();
        car(&folder);
        folder.write("drive.log", log);
        assert!(
            check(name, &folder, "car.map", "drive.log", 11),
            "{name} has a report"
        );
    }
}

#[test]
fn so_does_every_log_of_the_corpus() {
    let mut n_compared = 0;
    for entry in std::fs::read_dir(root("tests/corpus")).expect("the corpus is there") {
        let place = entry.expect("it can be read").path();
        let (map, log) = (place.join("car.map"), place.join("log.txt"));
        if !log.is_file() {
            continue;
        }
        let folder = Folder::default();
        folder.write("car.map", std::fs::read(map).expect("each has a map"));
        folder.write("log.txt", std::fs::read(log).expect("it is there"));
        let name = place.display().to_string();
        n_compared += usize::from(check(&name, &folder, "car.map", "log.txt", 1));
    }
    assert!(n_compared >= 14, "{n_compared}");
}

#[test]
fn what_stopped_coming_is_stale_and_what_goes_on_is_not() {
    let folder = Folder::default();
    // The clutch falls silent half way; the wheels go on to the end.
    let all = drive();
    let log = all.lines().filter(|line| {
        let stamp: f64 = line[1..11].parse().expect("a stamp");
        !(line.contains("101#") && stamp > 105.0)
    });
    folder.write(
        "drive.log",
        log.map(|line| format!("{line}\n")).collect::<String>(),
    );
    let every = Duration::from_millis(100);
    let (_, snapshots) = replayed(&common::map(CAR), &folder.path("drive.log"), 4.0, every);
    let going_on: Vec<&Value> = snapshots
        .iter()
        .filter(|one| one["is_provisional"] == true)
        .collect();
    let at = |from: f64, to: f64| {
        let within = |one: &&&Value| {
            one["drive_s"]
                .as_f64()
                .is_some_and(|at| at > from && at < to)
        };
        going_on.iter().filter(within).copied().collect::<Vec<_>>()
    };
    let early = at(4.5, 4.95);
    assert!(!early.is_empty());
    for one in early {
        assert_eq!(one["schema"], "halfshaft-live/1");
        assert_eq!(one["now"]["command"]["value"], 100.0, "{one}");
        assert_eq!(one["now"]["command"]["is_stale"], false, "{one}");
        assert_eq!(one["oil"]["now"]["value"], 80.0, "{one}");
        assert_eq!(one["oil"]["now"]["is_provisional"], true, "{one}");
    }
    let late = at(7.0, 9.5);
    assert!(late.len() >= 3);
    for one in late {
        let (command, oil, slip) = (
            &one["now"]["command"],
            &one["oil"]["now"],
            &one["now"]["slip"],
        );
        assert_eq!(
            (&command["is_stale"], &oil["is_stale"]),
            (&Value::Bool(true), &Value::Bool(true)),
            "{one}"
        );
        assert_eq!(slip["is_stale"], false, "{one}");
        let age = command["age_s"].as_f64().expect("it has an age");
        let expected = one["drive_s"].as_f64().expect("it has a time") - 5.0;
        assert!((age - expected).abs() < 0.2, "{age} {expected}");
    }
    // Nothing is live when the drive is over.
    let last = snapshots.last().expect("there is one");
    for value in last["now"].as_object().expect("it is an object").values() {
        assert_eq!(value["value"], Value::Null);
        assert_eq!(value["why"], "The drive has ended.");
    }
}

#[test]
fn the_next_drive_begins_anew() {
    let (source, end) = link();
    let map = common::map(CAR);
    let lines = Lines::default();
    let options = Options {
        lines: Some(Box::new(lines.clone())),
        ..Options::default()
    };
    let follower = follow(end, map.clone(), options).expect("threads can be started");
    for _ in 0..2 {
        common::batches(&map, drive().as_bytes(), |batch| {
            source.give(Heard::Batch(batch.clone()));
        });
        source.give(Heard::DriveEnds);
    }
    drop(source);
    follower.thread.join().expect("nothing panics");
    let finals = lines
        .json()
        .into_iter()
        .filter(|one| one["is_provisional"] == false);
    let finals: Vec<(Value, Value)> = finals
        .map(|one| (one["drive"].clone(), one["figures"].clone()))
        .collect();
    assert_eq!(finals.len(), 2);
    assert_eq!(
        (&finals[0].0, &finals[1].0),
        (&Value::from(1), &Value::from(2))
    );
    assert_eq!(finals[0].1, finals[1].1);
}

// --- The page -----------------------------------------------------------------------------

const TOKEN: &str = "sixteen letters and some more";

/// A page of a drive that is played back, or of none yet.
fn page(
    listen: &str,
    token: Option<&str>,
) -> (
    SocketAddr,
    Handle,
    Follower,
    halfshaft_capture::link::SourceEnd,
) {
    let (source, end) = link();
    let handle = end.handle();
    let token = token.map(|token| Token::of(token).expect("it is long enough"));
    let options = Options {
        listen: Some((listen.parse().expect("an address"), token)),
        ..Options::default()
    };
    let follower = follow(end, common::map(CAR), options).expect("the page can be served");
    let mut address = follower.page.expect("there is a page");
    if address.ip().is_unspecified() {
        address.set_ip([127, 0, 0, 1].into());
    }
    (address, handle, follower, source)
}

/// What is answered to a request, head and body; the connection is closed by the other side.
fn ask(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &str,
) -> String {
    let mut stream = TcpStream::connect(address).expect("the page is there");
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .expect("it can be set");
    let host = format!("127.0.0.1:{}", address.port());
    let host = headers
        .iter()
        .find(|(name, _)| *name == "Host")
        .map_or(host.as_str(), |(_, host)| host);
    let mut text = format!(
        "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Length: {}\r\n",
        body.len()
    );
    if !body.is_empty() {
        text += "Content-Type: application/x-www-form-urlencoded\r\n";
    }
    for (name, value) in headers.iter().filter(|(name, _)| *name != "Host") {
        text += &format!("{name}: {value}\r\n");
    }
    stream
        .write_all(format!("{text}\r\n{body}").as_bytes())
        .expect("it takes it");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("it answers");
    answer
}

fn status(answer: &str) -> u32 {
    let word = answer.split(' ').nth(1).unwrap_or_default();
    word.parse()
        .unwrap_or_else(|_| panic!("no status in {answer}"))
}

#[test]
fn without_the_token_nothing_is_served_beyond_this_machine() {
    let (_, end) = link();
    let options = Options {
        listen: Some(("0.0.0.0:0".parse().expect("an address"), None)),
        ..Options::default()
    };
    let refused = follow(end, common::map(CAR), options);
    assert!(refused.is_err_and(|why| why.to_string().contains("token")));

    let (address, handle, _follower, source) = page("0.0.0.0:0", Some(TOKEN));
    for path in [
        "/",
        "/events",
        "/history",
        "/snapshot",
        "/nothing",
        "/?token=sixteen+letters+and+some+more",
    ] {
        let answer = ask(address, "GET", path, &[], "");
        assert_eq!(status(&answer), 401, "{path}");
        assert!(
            answer.contains("<label for=\"token\">") && !answer.contains("id=\"oil\""),
            "{path}"
        );
    }
    assert_eq!(
        status(&ask(address, "POST", "/mark", &[], "note=mine")),
        401
    );
    let start = Instant::now();
    assert_eq!(
        status(&ask(
            address,
            "POST",
            "/token",
            &[],
            "token=sixteen+letters+and+some+les"
        )),
        401
    );
    assert!(
        start.elapsed() >= Duration::from_millis(900),
        "guessing is slow"
    );
    assert_eq!(source.marks().count(), 0);

    let bearer = format!("Bearer {TOKEN}");
    assert_eq!(
        status(&ask(address, "GET", "/", &[("Authorization", &bearer)], "")),
        200
    );
    let given = ask(
        address,
        "POST",
        "/token",
        &[],
        "token=sixteen+letters+and+some+more",
    );
    assert_eq!(status(&given), 303);
    let cookie = given
        .lines()
        .find_map(|line| line.strip_prefix("set-cookie: "));
    let cookie = cookie.expect("a session begins");
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    assert!(!given.contains(TOKEN));
    let pair = cookie.split(';').next().expect("a pair");
    let answer = ask(address, "GET", "/", &[("Cookie", pair)], "");
    assert!(status(&answer) == 200 && answer.contains("id=\"oil\""));
    assert_eq!(
        status(&ask(
            address,
            "POST",
            "/mark",
            &[("Cookie", pair)],
            "note=rears+%E2%88%920.2+bar"
        )),
        204
    );
    assert_eq!(source.marks().collect::<Vec<_>>(), ["rears −0.2 bar"]);
    drop(handle);
}

#[test]
fn another_page_in_the_browser_reaches_nothing() {
    let (address, _handle, _follower, source) = page("127.0.0.1:0", None);
    for path in ["/", "/events", "/history"] {
        let answer = ask(address, "GET", path, &[("Host", "attacker.example")], "");
        assert_eq!(status(&answer), 421, "{path}");
    }
    let from = |origin: &str| {
        status(&ask(
            address,
            "POST",
            "/mark",
            &[("Origin", origin)],
            "note=x",
        ))
    };
    assert_eq!(from("http://attacker.example"), 403);
    assert_eq!(from("null"), 403);
    assert_eq!(source.marks().count(), 0);
    assert_eq!(from(&format!("http://127.0.0.1:{}", address.port())), 204);
    assert_eq!(source.marks().count(), 1);
    assert_eq!(
        status(&ask(
            address,
            "POST",
            "/mark",
            &[],
            &format!("note={}", "x".repeat(9000))
        )),
        413
    );
    assert_eq!(status(&ask(address, "PUT", "/mark", &[], "note=x")), 405);
}

/// The policy of the page names its look and its script. Needs `sha256sum`.
#[cfg(target_os = "linux")]
#[test]
fn the_policy_of_the_page_lets_it_do_its_own_work_only() {
    let (address, _handle, _follower, _source) = page("127.0.0.1:0", None);
    let answer = ask(address, "GET", "/", &[], "");
    let (head, body) = answer.split_once("\r\n\r\n").expect("head and body");
    let policy = head
        .lines()
        .find_map(|line| line.strip_prefix("content-security-policy: "));
    let policy = policy.expect("there is a policy");
    let folder = Folder::default();
    for (tag, directive) in [("style", "style-src"), ("script", "script-src")] {
        let (_, inside) = body.split_once(&format!("<{tag}>")).expect("it is there");
        let (inside, _) = inside.split_once(&format!("</{tag}>")).expect("it ends");
        folder.write("inside", inside);
        let sum = folder.shell("sha256sum inside").done().out;
        let bytes: Vec<u8> = (0..32)
            .map(|at| u8::from_str_radix(&sum[2 * at..2 * at + 2], 16).expect("hexadecimal"))
            .collect();
        let wanted = format!("{directive} 'sha256-{}'", base64(&bytes));
        assert!(
            policy.contains(&wanted),
            "policy.txt needs {wanted}, it is {policy}"
        );
    }
    assert!(!policy.contains("unsafe"), "{policy}");
    for header in [
        "cache-control: no-store",
        "x-content-type-options: nosniff",
        "referrer-policy: no-referrer",
    ] {
        assert!(head.contains(header), "{header}");
    }
}

#[test]
fn fifty_readers_that_are_stuck_hold_nobody_up() {
    let folder = Folder::default();
    let mut log = String::new();
    // Three minutes of wheels and clutch, each drive of ten seconds behind the other.
    for round in 0..18 {
        for line in drive().lines() {
            let stamp: f64 = line[1..11].parse().expect("a stamp");
            let bytes = line.split_once('#').expect("a frame").1;
            let id = if line.contains(" 100#") { 0x100 } else { 0x101 };
            let bytes: Vec<u8> = (0..bytes.len() / 2)
                .map(|at| u8::from_str_radix(&bytes[2 * at..2 * at + 2], 16).expect("two digits"))
                .collect();
            frame(&mut log, stamp + f64::from(round) * 10.02, id, &bytes);
        }
    }
    folder.write("drive.log", log);
    let (address, handle, follower, source) = page("127.0.0.1:0", None);
    let request = format!(
        "GET /events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n",
        address.port()
    );
    let stuck: Vec<TcpStream> = (0..50)
        .map(|_| {
            let mut stream = TcpStream::connect(address).expect("there is room");
            stream.write_all(request.as_bytes()).expect("it takes it");
            stream
        })
        .collect();
    const { assert!(MOST_CONNECTIONS > 50) };
    let map = common::map(CAR);
    let logs = [Source::File(folder.path("drive.log"))];
    let player = std::thread::spawn(move || {
        let start = Instant::now();
        replay::run(source, &logs, &map, 60.0).expect("the log can be read");
        start.elapsed()
    });
    // One more reader, who reads, has everything in time.
    let mut reader = TcpStream::connect(address).expect("there is room");
    reader.write_all(request.as_bytes()).expect("it takes it");
    reader
        .set_read_timeout(Some(Duration::from_millis(1500)))
        .expect("it can be set");
    let (mut n_events, mut bytes) = (0, [0; 4096]);
    let start = Instant::now();
    while start.elapsed() < Duration::from_secs(2) {
        let n = reader.read(&mut bytes).expect("something comes");
        n_events += String::from_utf8_lossy(&bytes[..n])
            .matches("event: q")
            .count();
    }
    assert!(n_events >= 6, "{n_events}");
    // Derived: 180 s at sixty times the pace are 3 s.
    let took = player.join().expect("nothing panics");
    assert!(took < Duration::from_secs(5), "{took:?}");
    follower.thread.join().expect("nothing panics");
    assert_eq!(handle.n_left_out(), 0);
    drop(stuck);
}

#[test]
fn the_page_takes_less_than_two_kilobytes_a_second() {
    let folder = Folder::default();
    car(&folder);
    // A busy stretch of the track day.
    let text = sample("hard-track-day");
    let lines: Vec<&str> = text.lines().skip(60_000).take(6_000).collect();
    folder.write("drive.log", lines.join("\n"));
    let (source, end) = link();
    let map = read_map(&folder.path("car.map"));
    let options = Options {
        listen: Some(("127.0.0.1:0".parse().expect("an address"), None)),
        ..Options::default()
    };
    let follower = follow(end, map.clone(), options).expect("the page can be served");
    let address = follower.page.expect("there is a page");
    let logs = [Source::File(folder.path("drive.log"))];
    let handle_map = map.clone();
    std::thread::spawn(move || replay::run(source, &logs, &handle_map, 1.0));
    std::thread::sleep(Duration::from_secs(4));
    let mut reader = TcpStream::connect(address).expect("there is room");
    write!(reader, "GET /events HTTP/1.1\r\nHost: {address}\r\n\r\n").expect("it takes it");
    let mut bytes = [0; 65_536];
    let mut read_for = |seconds: f64| {
        let start = Instant::now();
        let mut all = 0;
        while start.elapsed().as_secs_f64() < seconds {
            all += reader.read(&mut bytes).expect("something comes");
        }
        all as f64 / start.elapsed().as_secs_f64()
    };
    read_for(1.0);
    let per_second = read_for(6.0);
    println!("{per_second:.0} bytes a second");
    assert!((300.0..2000.0).contains(&per_second), "{per_second}");
}
