//! What it costs to follow a drive live: a log through the pipeline with 8,000 frames a second, results
//! asked for twice a second of its clock.
//!
//! `cost-of-live MAP LOG…`. Frames that no map names are added between those of the log until there are
//! enough. Prints for each five minutes of driving the share of one core that frames and results take,
//! the dearest results, and at the end the memory.

use std::time::Instant;

use halfshaft_drive::{Drive, Options};
use halfshaft_logs::{Log, Source};
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Batch, FrameFlags, FrameId, FrameKind, Stamp};

const FRAMES_A_SECOND: i64 = 8_000;
const PIECE_NS: i64 = NS_PER_S / 20;
const PIECES_BETWEEN_RESULTS: u64 = 10;
const PIECES_SHOWN: u64 = 20 * 300;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let map = arguments.next().expect("cost-of-live MAP LOG…");
    let text = std::fs::read_to_string(&map).expect("the map can be read");
    let map = halfshaft_signal_map::parse(&map, &text)
        .expect("the map is right")
        .map;
    let logs: Vec<Source> = arguments.map(|log| Source::File(log.into())).collect();
    let mut log =
        Log::open(&logs, &halfshaft_logs::Options::default()).expect("the log can be read");
    let mut drive = Drive::new(&map, &Options::default());
    drive.stages().health.keep_rows();
    let mut cost = Cost::default();
    let (mut batch, mut piece) = (Batch::default(), Batch::default());
    let mut piece_ends: Option<i64> = None;
    while log.next(&mut batch).expect("the log can be read") {
        for (index, entry) in batch.entries.iter().enumerate() {
            let stamp = entry.stamp();
            let ends = piece_ends.get_or_insert(stamp.0 + PIECE_NS);
            while stamp.0 >= *ends {
                fill(&mut piece, Stamp(*ends - PIECE_NS));
                cost.piece(&mut drive, &piece);
                piece = batch.of_same_log();
                *ends += PIECE_NS;
            }
            piece.push_from(&batch, index);
        }
    }
    cost.show();
    let ended = Instant::now();
    drive.finish();
    drive.results();
    println!(
        "the end {:.0} ms; {}",
        1e3 * ended.elapsed().as_secs_f64(),
        memory()
    );
}

/// Adds frames that nobody mapped. They stand behind those of the log, with stamps among them.
fn fill(piece: &mut Batch, start: Stamp) {
    let wanted = (FRAMES_A_SECOND * PIECE_NS / NS_PER_S) as usize;
    let bus = piece.bus("can0");
    let last = piece.entries.last().map_or(start, |entry| entry.stamp());
    for number in piece.entries.len()..wanted {
        let id = FrameId::standard(0x600 + number as u32 % 64).expect("eleven bits");
        piece.push_frame(
            last,
            bus,
            id,
            FrameKind::Data,
            FrameFlags::default(),
            &[0; 8],
        );
    }
}

#[derive(Default)]
struct Cost {
    n_pieces: u64,
    n_frames: usize,
    push_s: f64,
    results_s: f64,
    dearest_s: f64,
    all: (f64, f64),
}

impl Cost {
    fn piece(&mut self, drive: &mut Drive, piece: &Batch) {
        let start = Instant::now();
        drive.push(piece);
        self.push_s += start.elapsed().as_secs_f64();
        self.n_frames += piece.entries.len();
        self.n_pieces += 1;
        if self.n_pieces.is_multiple_of(PIECES_BETWEEN_RESULTS) {
            let start = Instant::now();
            drive.results();
            let seconds = start.elapsed().as_secs_f64();
            self.results_s += seconds;
            self.dearest_s = self.dearest_s.max(seconds);
        }
        if self.n_pieces.is_multiple_of(PIECES_SHOWN) {
            self.show();
        }
    }

    fn show(&mut self) {
        let pieces = self.n_pieces % PIECES_SHOWN;
        let pieces = if pieces == 0 { PIECES_SHOWN } else { pieces };
        let seconds = pieces as f64 / 20.0;
        self.all.0 += self.push_s + self.results_s;
        self.all.1 += seconds;
        println!(
            "at {:5.0} s: {:.0} frames/s take {:.1} % of a core, results {:.1} % ({:.1} ms each, {:.0} ms the dearest); {}",
            self.n_pieces as f64 / 20.0,
            self.n_frames as f64 / seconds,
            100.0 * self.push_s / seconds,
            100.0 * self.results_s / seconds,
            1e3 * self.results_s / (2.0 * seconds),
            1e3 * self.dearest_s,
            memory(),
        );
        if self.n_pieces % PIECES_SHOWN != 0 {
            println!(
                "mean of the drive: {:.1} % of a core",
                100.0 * self.all.0 / self.all.1
            );
        }
        (self.n_frames, self.push_s, self.results_s, self.dearest_s) = (0, 0.0, 0.0, 0.0);
    }
}

/// Memory of this process, where the system says it.
fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    format!("memory {}", line.unwrap_or("not known").trim())
}
