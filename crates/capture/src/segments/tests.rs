//! Drives kept, cut at every byte, on a full disk, rolled and deleted.

use std::cell::Cell;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use halfshaft_logs::{Log, Source, drives, segment};
use halfshaft_model::{Batch, Entry, FrameFlags, FrameId, FrameKind};

use super::file::SegmentFile;
use super::{Clocks, Error, Keeper, Options, RawFrame};

thread_local! {
    // What the disk of a test has left, and what it says when that is used up.
    static LEFT: Cell<u64> = const { Cell::new(u64::MAX) };
    static REFUSAL: Cell<io::ErrorKind> = const { Cell::new(io::ErrorKind::StorageFull) };
    static N_SYNCS: Cell<u64> = const { Cell::new(0) };
}

/// A file on a disk that fills up in the middle of a write, as disks do.
#[derive(Debug)]
struct Filling(File);

impl Write for Filling {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = LEFT.get().min(bytes.len() as u64);
        if n == 0 {
            return Err(REFUSAL.get().into());
        }
        LEFT.set(LEFT.get() - n);
        self.0.write(&bytes[..n as usize])
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl SegmentFile for Filling {
    fn sync(&mut self) -> io::Result<()> {
        N_SYNCS.set(N_SYNCS.get() + 1);
        Ok(())
    }

    fn cut(&mut self, n: u64) -> io::Result<()> {
        self.0.set_len(n)
    }
}

fn keeper(options: Options) -> Keeper {
    try_keeper(options).unwrap()
}

fn try_keeper(options: Options) -> Result<Keeper, Error> {
    Keeper::on(options, |path| {
        let file = File::options().append(true).create_new(true).open(path)?;
        Ok(Box::new(Filling(file)))
    })
}

/// So many milliseconds into the test. The clocks began a million and some seconds ago.
fn at(ms: i64) -> Clocks {
    Clocks {
        wall_ns: (1_700_000_000_000 + ms) * 1_000_000,
        monotonic_ns: (5_000 + ms) * 1_000_000,
    }
}

fn names() -> Vec<String> {
    ["can0", "can1"].map(str::to_owned).to_vec()
}

fn raw(payload: &[u8]) -> RawFrame<'_> {
    RawFrame {
        id: FrameId::standard(0x123).unwrap(),
        kind: FrameKind::Data,
        flags: FrameFlags::default(),
        payload,
    }
}

/// One word an entry: milliseconds since the test began, and what it is.
fn read(sources: &[PathBuf]) -> Vec<String> {
    let sources: Vec<Source> = sources.iter().cloned().map(Source::File).collect();
    let mut log = Log::open(&sources, &halfshaft_logs::Options::default()).unwrap();
    let (mut batch, mut found) = (Batch::default(), Vec::new());
    while log.next(&mut batch).unwrap() {
        for entry in &batch.entries {
            let what = match entry {
                Entry::Frame(frame) => format!(
                    "{} {:02x?}",
                    batch.buses[usize::from(frame.bus)],
                    batch.payload(frame)
                ),
                Entry::Lost(lost) => format!("{} lost", lost.n_frames),
                Entry::Mark(mark) => batch.note(mark).to_owned(),
                other => panic!("{other:?}"),
            };
            let ms = (entry.stamp().0 - at(0).wall_ns) / 1_000_000;
            found.push(format!("{ms} {what}"));
        }
    }
    found
}

fn paths(drive: &Path) -> Vec<PathBuf> {
    let segments = drives::segments(drive).unwrap();
    segments.into_iter().map(|(_, path)| path).collect()
}

fn folder_names(into: &Path) -> Vec<String> {
    let drives = drives::drives(into).unwrap();
    let name = |path: &Path| path.file_name().unwrap().to_string_lossy().into_owned();
    drives.iter().map(|(_, path)| name(path)).collect()
}

#[test]
fn a_drive_reads_back_with_what_was_lost_and_marked() {
    let into = tempfile::tempdir().unwrap();
    let into = into.path().join("new");
    let mut keeper = keeper(Options::new(into.clone()));
    assert!(matches!(
        keeper.frame(0, at(0), &raw(&[])),
        Err(Error::NoDrive)
    ));
    assert_eq!(keeper.facts().keeps_in, None);
    keeper.begin_drive(&names(), at(0)).unwrap();
    keeper.frame(1, at(10), &raw(&[1, 2])).unwrap();
    keeper.lost(0, at(15), 3).unwrap();
    keeper.frame(0, at(20), &raw(&[3])).unwrap();
    keeper.lost(1, at(25), 4).unwrap();
    // The bus is silent: what was lost is in the log all the same.
    keeper.tick(at(600)).unwrap();
    keeper.mark(at(700), "rears −0.2 bar").unwrap();
    // A clock that is set an hour back makes no jump.
    let mut late = at(800);
    late.wall_ns -= 3_600_000_000_000;
    keeper.frame(1, late, &raw(&[4])).unwrap();
    let facts = keeper.facts();
    assert_eq!(facts.keeps_in.as_deref(), Some("drive-0001"));
    assert!((facts.unsynced_s - 0.2).abs() < 1e-9, "{facts:?}");
    assert!(facts.disk_left_bytes.is_some_and(|left| left > 0));
    keeper.end_drive().unwrap();
    let drive = drives::drive(&into, 1);
    let paths = paths(&drive);
    let expected = [
        "10 can1 [01, 02]",
        "20 3 lost",
        "20 can0 [03]",
        "20 4 lost",
        "700 rears −0.2 bar",
        "800 can1 [04]",
    ];
    assert_eq!(read(&paths), expected);
    let kept: u64 = paths
        .iter()
        .map(|path| fs::metadata(path).unwrap().len())
        .sum();
    assert!(kept > facts.kept_bytes && kept < facts.kept_bytes + 300);
    let ended = segment::ended(&mut File::open(&paths[0]).unwrap()).unwrap();
    let ended = ended.unwrap();
    assert_eq!((ended.start.0, ended.n_frames), (at(0).wall_ns, 3));
    assert_eq!(ended.end.0, at(800).wall_ns);
    assert!(matches!(
        keeper.frame(7, at(0), &raw(&[])),
        Err(Error::NoDrive)
    ));
}

#[test]
fn data_is_synced_at_least_each_second() {
    let into = tempfile::tempdir().unwrap();
    let mut keeper = keeper(Options::new(into.path().to_owned()));
    keeper.begin_drive(&names(), at(0)).unwrap();
    let n_syncs = |keeper: &mut Keeper, from: i64, to: i64, ticks: bool| {
        let before = N_SYNCS.get();
        let mut longest: f64 = 0.0;
        for ms in (from..to).step_by(10) {
            keeper.frame(0, at(ms), &raw(&[0])).unwrap();
            if ticks && ms % 250 == 0 {
                keeper.tick(at(ms)).unwrap();
            }
            longest = longest.max(keeper.facts().unsynced_s);
        }
        (N_SYNCS.get() - before, longest)
    };
    // By ticks each half second, the first being 0.5 s after the beginning.
    let (n, longest) = n_syncs(&mut keeper, 10, 5_000, true);
    assert_eq!(n, 9);
    assert!(longest < 0.5, "{longest}");
    // Where nobody ticks, by the entries themselves each second.
    let (n, longest) = n_syncs(&mut keeper, 5_000, 10_000, false);
    assert_eq!(n, 5);
    assert!(longest < 1.0, "{longest}");
    // A tick between two syncs gives all to the operating system.
    keeper.frame(0, at(10_400), &raw(&[0xAA])).unwrap();
    keeper.tick(at(10_410)).unwrap();
    let read = read(&paths(&drives::drive(into.path(), 1)));
    assert_eq!(read.last().unwrap(), "10400 can0 [aa]");
}

#[test]
fn segments_roll_by_size_and_by_time_and_read_as_one() {
    for (segment_bytes, segment_s, n_least, n_most) in [
        (1000, 1e9, 13, 17),
        (1 << 30, 2.0, 5, 5),
        (1 << 30, 1e9, 1, 1),
    ] {
        let into = tempfile::tempdir().unwrap();
        let mut keeper = keeper(Options {
            segment_bytes,
            segment_s,
            ..Options::new(into.path().to_owned())
        });
        keeper.begin_drive(&names(), at(0)).unwrap();
        let mut expected = Vec::new();
        for n in 0..200_u8 {
            let ms = 50 * i64::from(n);
            // Some are lost around a roll: they count once, though the next segment's frame
            // comes after them.
            if n == 41 {
                keeper.lost(0, at(ms), 5).unwrap();
                keeper.tick(at(ms)).unwrap();
                expected.push(format!("{} 5 lost", ms - 50));
            }
            keeper.frame(0, at(ms), &raw(&[n])).unwrap();
            keeper.tick(at(ms)).unwrap();
            expected.push(format!("{ms} can0 [{n:02x}]"));
        }
        keeper.end_drive().unwrap();
        let paths = paths(&drives::drive(into.path(), 1));
        assert!((n_least..=n_most).contains(&paths.len()), "{}", paths.len());
        let mut found = read(&paths);
        // By when they were lost is the frame before, or where a segment begins with the loss its beginning.
        for entry in &mut found {
            if entry.ends_with("lost") {
                let ms: i64 = entry.split(' ').next().unwrap().parse().unwrap();
                assert!((2_000..=2_050).contains(&ms), "{entry}");
                *entry = "2000 5 lost".to_owned();
            }
        }
        assert_eq!(found, expected);
        for path in &paths {
            let size = fs::metadata(path).unwrap().len();
            assert!(size < segment_bytes + 600, "{size}");
            assert!(
                segment::ended(&mut File::open(path).unwrap())
                    .unwrap()
                    .is_some()
            );
        }
    }
}

/// A small segment that was never ended, with the places where a cut still leaves each entry.
fn unended() -> (Vec<u8>, Vec<String>) {
    let into = tempfile::tempdir().unwrap();
    let mut keeper = keeper(Options::new(into.path().to_owned()));
    keeper.begin_drive(&names(), at(0)).unwrap();
    for n in 0..6_u8 {
        keeper
            .frame(0, at(100 * i64::from(n)), &raw(&[n; 5]))
            .unwrap();
        keeper.tick(at(100 * i64::from(n))).unwrap();
    }
    keeper.mark(at(600), "mark").unwrap();
    keeper.tick(at(601)).unwrap();
    let paths = paths(&drives::drive(into.path(), 1));
    assert_eq!(paths.len(), 1);
    (fs::read(&paths[0]).unwrap(), read(&paths))
}

#[test]
fn a_segment_cut_at_any_byte_keeps_every_whole_block() {
    let (bytes, entries) = unended();
    let into = tempfile::tempdir().unwrap();
    let drive = drives::drive(into.path(), 1);
    let path = drives::segment(&drive, 1);
    fs::create_dir(&drive).unwrap();
    let mut most = 0;
    for cut in 0..=bytes.len() {
        // As a file system may leave it: cut short, or with zeros in place of what was not written.
        for tail in [0, 100] {
            let mut left = bytes[..cut].to_vec();
            left.resize(cut + tail, 0);
            fs::write(&path, &left).unwrap();
            let _ = fs::remove_file(drives::torn(&path));
            let mut keeper = keeper(Options::new(into.path().to_owned()));
            let kept = fs::read(&path).unwrap_or_default();
            let torn = fs::read(drives::torn(&path)).unwrap_or_default();
            assert_eq!([&kept[..], &torn].concat(), left, "cut at {cut}");
            assert!(bytes.starts_with(&kept));
            let told: u64 = keeper.set_aside().iter().map(|one| one.n_bytes).sum();
            assert_eq!(told, torn.len() as u64);
            assert!(keeper.set_aside().iter().all(|one| one.trouble.is_none()));
            // What is kept is whole, and all that was whole is kept. Zeros may be the very ones
            // that were cut off.
            let whole = segment::whole(&left[..]).unwrap();
            assert!(whole.n_bytes >= segment::whole(&bytes[..cut]).unwrap().n_bytes);
            if whole.n_entries == 0 {
                assert!(kept.is_empty(), "{cut}");
            } else {
                assert_eq!(kept.len() as u64, whole.n_bytes);
                assert!(kept.len() <= left.len() && left.len() - kept.len() < tail + 120);
                let found = read(std::slice::from_ref(&path));
                assert_eq!(found, entries[..found.len()]);
                assert_eq!(found.len() as u64, whole.n_entries);
                most = most.max(found.len());
            }
            // What comes next is a drive of its own.
            keeper.begin_drive(&names(), at(9_000)).unwrap();
            assert_eq!(folder_names(into.path()), ["drive-0001", "drive-0002"]);
            drop(keeper);
            fs::remove_dir_all(drives::drive(into.path(), 2)).unwrap();
        }
    }
    assert_eq!(most, entries.len());
    assert_eq!(entries.len(), 7);
}

#[test]
fn a_last_block_that_does_not_fit_its_checksum_is_torn() {
    let (bytes, _) = unended();
    let whole = segment::whole(&bytes[..]).unwrap();
    assert_eq!((whole.n_entries, whole.n_bytes), (7, bytes.len() as u64));
    // The data of the last frame: cut behind it, it is the last block.
    let last = bytes.windows(5).rposition(|five| five == [5; 5]).unwrap();
    let end = last + 5 + 3 + 16 + 4;
    let before = segment::whole(&bytes[..end - 1]).unwrap();
    assert_eq!(
        segment::whole(&bytes[..end]).unwrap().n_entries,
        before.n_entries + 1
    );
    let mut rotten = bytes[..end].to_vec();
    rotten[last] ^= 1;
    assert_eq!(segment::whole(&rotten[..]).unwrap(), before);
}

#[test]
fn on_a_full_disk_all_that_was_synced_stays() {
    for (refusal, budgets) in [
        (io::ErrorKind::StorageFull, (0..1200).step_by(7)),
        (io::ErrorKind::ReadOnlyFilesystem, (300..310).step_by(7)),
        (io::ErrorKind::Other, (300..310).step_by(7)),
    ] {
        REFUSAL.set(refusal);
        for budget in budgets {
            let into = tempfile::tempdir().unwrap();
            let mut keeper = keeper(Options::new(into.path().to_owned()));
            LEFT.set(budget);
            let mut n_synced = 0;
            let mut record = || {
                keeper.begin_drive(&names(), at(0))?;
                for n in 0..100_u8 {
                    let ms = 600 * i64::from(n);
                    keeper.frame(0, at(ms), &raw(&[n]))?;
                    keeper.tick(at(ms + 599))?;
                    n_synced = usize::from(n) + 1;
                }
                Ok(())
            };
            let error: Error = record().unwrap_err();
            match refusal {
                io::ErrorKind::StorageFull => assert!(matches!(error, Error::DiskFull { .. })),
                io::ErrorKind::ReadOnlyFilesystem => {
                    assert!(matches!(error, Error::ReadOnly { .. }));
                }
                _ => assert!(matches!(error, Error::Refused { .. })),
            }
            assert!(
                error.to_string().contains("drive-0001/0001.pcapng: "),
                "{error}"
            );
            // No drive goes on, and nothing half written is left.
            assert!(matches!(
                keeper.frame(0, at(0), &raw(&[])),
                Err(Error::NoDrive)
            ));
            assert!(keeper.end_drive().is_ok() && keeper.facts().keeps_in.is_none());
            let path = drives::segment(&drives::drive(into.path(), 1), 1);
            let kept = fs::read(&path).unwrap();
            let whole = segment::whole(&kept[..]).unwrap();
            assert_eq!(whole.n_bytes, kept.len() as u64);
            assert_eq!(whole.n_entries as usize, n_synced, "{budget}");
            LEFT.set(u64::MAX);
            // With room again the next drive is another.
            keeper.begin_drive(&names(), at(90_000)).unwrap();
            assert_eq!(folder_names(into.path()).len(), 2);
        }
    }
}

#[test]
fn only_the_oldest_drives_make_room_and_only_if_that_was_asked_for() {
    let record = |keep_bytes, n_drives: i64| {
        let into = tempfile::tempdir().unwrap();
        let mut keeper = keeper(Options {
            keep_bytes,
            segment_bytes: 2_000,
            ..Options::new(into.path().to_owned())
        });
        // The oldest by number, whatever the file times say; what bears another name is not ours.
        fs::create_dir(into.path().join("drive-0001-good")).unwrap();
        for drive in 0..n_drives {
            keeper.begin_drive(&names(), at(drive * 100_000)).unwrap();
            for n in 0..100 {
                keeper
                    .frame(0, at(drive * 100_000 + n), &raw(&[0; 8]))
                    .unwrap();
            }
            // About 7 kB each.
            keeper.end_drive().unwrap();
        }
        assert!(into.path().join("drive-0001-good").exists());
        let names = folder_names(into.path());
        drop(keeper);
        // Another run knows what the earlier ones left.
        let mut keeper = self::keeper(Options {
            keep_bytes,
            ..Options::new(into.path().to_owned())
        });
        keeper.begin_drive(&self::names(), at(0)).unwrap();
        (names, folder_names(into.path()))
    };
    let (names, after) = record(None, 4);
    assert_eq!(
        names,
        ["drive-0001", "drive-0002", "drive-0003", "drive-0004"]
    );
    assert_eq!(after.last().unwrap(), "drive-0005");
    let (names, after) = record(Some(20_000), 4);
    assert_eq!(names, ["drive-0003", "drive-0004"]);
    assert_eq!(after, ["drive-0003", "drive-0004", "drive-0005"]);
    // The drive that goes on stays, however little is to be kept.
    let (names, after) = record(Some(10), 3);
    assert_eq!(names, ["drive-0003"]);
    assert_eq!(after, ["drive-0004"]);
}

#[test]
fn one_folder_has_one_recorder() {
    let into = tempfile::tempdir().unwrap();
    let first = keeper(Options::new(into.path().to_owned()));
    let second = try_keeper(Options::new(into.path().to_owned()));
    assert!(matches!(second, Err(Error::InUse { .. })));
    drop(first);
    keeper(Options::new(into.path().to_owned()));
    // A folder that cannot be made.
    let file = into.path().join("file");
    fs::write(&file, "").unwrap();
    let refused = Keeper::open(Options::new(file.join("into")));
    assert!(matches!(refused, Err(Error::Refused { .. })));
}

#[test]
fn a_segment_is_made_on_the_disk_itself() {
    let into = tempfile::tempdir().unwrap();
    let mut keeper = Keeper::open(Options::new(into.path().to_owned())).unwrap();
    keeper.begin_drive(&names(), at(0)).unwrap();
    keeper.frame(0, at(1), &raw(&[7])).unwrap();
    assert!(matches!(
        keeper.frame(2, at(1), &raw(&[7])),
        Err(Error::NoInterface(2))
    ));
    assert!(matches!(
        keeper.frame(0, at(2), &raw(&[8])),
        Err(Error::NoDrive)
    ));
    keeper.begin_drive(&names(), at(5)).unwrap();
    keeper.frame(0, at(6), &raw(&[9])).unwrap();
    keeper.end_drive().unwrap();
    let second = drives::drive(into.path(), 2);
    assert_eq!(read(&paths(&second)), ["6 can0 [09]"]);
}
