//! How a log is cut changes nothing, bit for bit: neither how its bytes arrive nor how its
//! entries are cut into batches. For damaged logs too, where a stamp is judged by those
//! behind it.

mod common;

use std::fmt::Write;
use std::io::Read;

use common::map;
use halfshaft_logs::{Log, Options};
use halfshaft_model::{Batch, Block, Code, Notices, Time};
use halfshaft_signal_map::Map;
use halfshaft_signal_map::decode::{Coverage, Decoder};
use proptest::prelude::*;

const MAP: &str = r#"map "cuts"

frame 0x100
  every 10 ms
  counter 7.3..7.0 steps by 1
  checksum byte 6 is xor of bytes 0 to 5
  own.a in bytes 0 1
    step 0.01 V
    believe 0 to 500 V
    changes at most 900 V per s

frame 0x200
  own.b in bytes 0 1
    step 0.01 V

work out own.c = low-pass(own.a - own.b, 50 ms)
"#;

/// What happens to a line of the log, or to the clock from it on.
#[derive(Clone, Copy, Debug)]
enum Damage {
    None,
    /// The stamp of this line alone is off by so many seconds.
    WrongStamp(f64),
    /// The clock is set by so many seconds, or the log is silent for as long.
    Step(f64),
    /// The line ends after so many bytes.
    Torn(usize),
    Lost,
    Twice,
    /// The same stands on a second bus.
    Copied,
    /// It stands behind the line after it.
    Late,
}

fn damage() -> impl Strategy<Value = Damage> {
    let seconds = || prop::sample::select(vec![-93.0, -5.0, -0.3, 0.7, 1.5, 7.0, 40.0, 5e4]);
    prop_oneof![
        24 => Just(Damage::None),
        2 => seconds().prop_map(Damage::WrongStamp),
        1 => seconds().prop_map(Damage::Step),
        1 => (0..46_usize).prop_map(Damage::Torn),
        1 => Just(Damage::Lost),
        1 => Just(Damage::Twice),
        1 => Just(Damage::Copied),
        1 => Just(Damage::Late),
    ]
}

/// A log of a line every 5 ms: of each mapped frame, and of one nobody mapped between.
fn log(damages: &[Damage]) -> String {
    let (mut lines, mut offset_s, mut count) = (Vec::<String>::new(), 1.7e9, 0_u8);
    let mut is_late = false;
    for (n, damage) in damages.iter().enumerate() {
        let value = 2000 + 40 * (n % 50) as u16;
        let [high, low] = value.to_be_bytes();
        let data = match n % 4 {
            0 | 2 => {
                count = (count + 1) % 16;
                format!(
                    "100#{high:02X}{low:02X}00000000{:02X}{count:02X}",
                    high ^ low
                )
            }
            1 => format!("200#{low:02X}{high:02X}"),
            _ => "300#0011".to_owned(),
        };
        if let Damage::Step(by) = damage {
            offset_s += by;
        }
        let wrong_s = match damage {
            Damage::WrongStamp(by) => *by,
            _ => 0.0,
        };
        let at_s = offset_s + wrong_s + n as f64 * 0.005;
        let mut line = format!("({at_s:.6}) can0 {data}");
        match damage {
            Damage::Lost => continue,
            Damage::Torn(length) => line.truncate(*length),
            Damage::Twice => lines.push(line.clone()),
            Damage::Copied => lines.push(line.replace("can0", "can1")),
            _ => {}
        }
        let at = lines.len() - usize::from(is_late && !lines.is_empty());
        lines.insert(at, line);
        is_late = matches!(damage, Damage::Late);
    }
    lines.join("\n") + "\n"
}

/// Gives so many bytes at a time.
struct Pieces {
    text: Vec<u8>,
    at: usize,
    sizes: Vec<usize>,
    n_reads: usize,
}

impl Read for Pieces {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let size = self.sizes[self.n_reads % self.sizes.len()].min(out.len());
        let rest = &self.text[self.at..];
        let n = size.min(rest.len());
        out[..n].copy_from_slice(&rest[..n]);
        (self.at, self.n_reads) = (self.at + n, self.n_reads + 1);
        Ok(n)
    }
}

/// All entries of a text that comes in such pieces, in one batch.
fn entries(map: &Map, text: &str, is_filtered: bool, sizes: &[usize]) -> Batch {
    let only = map.id_filter();
    let pieces = Pieces {
        text: text.as_bytes().to_vec(),
        at: 0,
        sizes: sizes.to_vec(),
        n_reads: 0,
    };
    let input = (
        "test.log".to_owned(),
        Box::new(pieces) as Box<dyn Read + Send>,
    );
    let options = Options {
        sheets: &[],
        only: is_filtered.then_some(&only),
    };
    let mut log = Log::from_readers(vec![input], &options).expect("some line is whole");
    let (mut all, mut batch) = (Batch::default(), Batch::default());
    while log.next(&mut batch).expect("some line is whole") {
        all.buses.clone_from(&batch.buses);
        all.inputs.clone_from(&batch.inputs);
        (0..batch.entries.len()).for_each(|index| all.push_from(&batch, index));
    }
    all
}

/// All that the decoder gives, values bit for bit.
#[derive(Debug, PartialEq)]
struct Decoded {
    columns: Vec<Vec<(Time, Option<u64>)>>,
    cuts: Vec<Time>,
    until: Time,
    coverage: Coverage,
    notices: Notices,
}

/// Decodes the entries in batches of so many, in turn.
fn decode(map: &Map, all: &Batch, sizes: &[usize]) -> Decoded {
    let mut decoder = Decoder::new(map);
    let mut block = Block::new(map.channels.len());
    let (mut columns, mut cuts) = (vec![Vec::new(); map.channels.len()], Vec::new());
    let mut take = |block: &Block| {
        for (all, column) in columns.iter_mut().zip(&block.columns) {
            let samples = column.iter();
            all.extend(samples.map(|(time, value)| (time, value.map(f64::to_bits))));
        }
        cuts.extend_from_slice(&block.cuts);
    };
    let mut batch = all.of_same_log();
    let mut sizes = sizes.iter().cycle();
    let mut first = 0;
    while first < all.entries.len() {
        let end = all
            .entries
            .len()
            .min(first + sizes.next().expect("some size"));
        batch.clear();
        (first..end).for_each(|index| batch.push_from(all, index));
        decoder.push(&batch, &mut block);
        take(&block);
        first = end;
    }
    decoder.finish(&mut block);
    take(&block);
    Decoded {
        columns,
        cuts,
        until: block.until,
        coverage: decoder.coverage(),
        notices: decoder.notices().clone(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_cuts_of_a_damaged_log_give_the_same(
        damages in prop::collection::vec(damage(), 20..160),
        is_filtered in any::<bool>(),
        piece_sizes in prop::collection::vec(1..200_usize, 1..6),
        batch_sizes in prop::collection::vec(prop_oneof![1..4_usize, 1..30_usize], 1..9),
    ) {
        let map = map(MAP);
        // One whole line, so that there is always something to read.
        let text = log(&damages) + "(1800000000.000000) can0 300#00\n";
        let all = entries(&map, &text, is_filtered, &[1 << 20]);
        let in_pieces = entries(&map, &text, is_filtered, &piece_sizes);
        prop_assert_eq!(&in_pieces.entries, &all.entries);
        let whole = decode(&map, &all, &[all.entries.len()]);
        prop_assert_eq!(&decode(&map, &in_pieces, &[1]), &whole);
        prop_assert_eq!(&decode(&map, &in_pieces, &batch_sizes), &whole);
    }
}

/// A text of frames by seconds and identifier.
fn text(frames: impl IntoIterator<Item = (f64, u32)>) -> String {
    frames
        .into_iter()
        .fold(String::new(), |mut text, (at_s, id)| {
            let _ = writeln!(text, "({at_s:.6}) can0 {id:03X}#0102");
            text
        })
}

#[test]
fn a_wrong_stamp_is_named_by_its_line_wherever_a_batch_ends() {
    let map = map(MAP);
    // Mapped and not in turn; the 31st line is wrong, and two behind it are as well.
    let frames = (0..60).map(|n| {
        let wrong_s = if (30..33).contains(&n) { 500.0 } else { 0.0 };
        (
            1.7e9 + f64::from(n) * 0.02 + wrong_s,
            [0x200, 0x300][n as usize % 2],
        )
    });
    // With the filter nothing is given on of the wrong one that nobody mapped: the frame before
    // it stands in the same second.
    for (is_filtered, n_wrong) in [(false, 3), (true, 2)] {
        let all = entries(&map, &text(frames.clone()), is_filtered, &[1 << 20]);
        for size in 1..60 {
            let decoded = decode(&map, &all, &[size]);
            assert_eq!((decoded.cuts.len(), decoded.columns[1].len()), (0, 28));
            let (code, tally) = decoded.notices.iter().next().unwrap();
            assert_eq!(
                (code, tally.count),
                (Code::StampOff, n_wrong),
                "{size} at a time"
            );
            assert_eq!(tally.first.to_string(), "test.log:31");
        }
    }
}

#[test]
fn a_log_is_not_silent_while_frames_nobody_mapped_go_by() {
    let map = map(MAP);
    let quiet = |step_s: f64| {
        let ends = [(1.7e9, 0x200), (1.7e9 + 100.0, 0x200)];
        let between =
            (1..(100.0 / step_s) as i32).map(move |n| (1.7e9 + f64::from(n) * step_s, 0x300));
        let frames = [ends[0]].into_iter().chain(between).chain([ends[1]]);
        let all = entries(&map, &text(frames), true, &[1 << 20]);
        let decoded = decode(&map, &all, &[1000]);
        (
            decoded.cuts.len(),
            decoded.until.seconds(),
            all.entries.len(),
        )
    };
    // One a second is given on, of however many there are.
    let (n_cuts, until_s, n_entries) = quiet(0.01);
    assert_eq!((n_cuts, until_s), (0, 100.0));
    assert!((90..=110).contains(&n_entries), "{n_entries}");
    assert_eq!(quiet(20.0), (0, 100.0, 6));
    assert_eq!(quiet(40.0).0, 2);
}
