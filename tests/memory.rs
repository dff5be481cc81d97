//! Memory does not grow with the log: a drive of hours, through standard input.

#[cfg(target_os = "linux")]
mod common;

#[cfg(target_os = "linux")]
mod on_linux {
    use std::io::{BufWriter, Write};
    use std::process::{Child, ChildStdin, Command, Stdio};
    use std::time::Duration;

    use parquet::file::reader::{FileReader, SerializedFileReader};

    use crate::common::program::{CAR, Folder, PROGRAM};

    /// Highest resident memory of a process so far, kB; `None` when it has ended.
    fn peak_kb(id: u32) -> Option<u64> {
        let status = std::fs::read_to_string(format!("/proc/{id}/status")).ok()?;
        let line = status
            .lines()
            .find_map(|line| line.strip_prefix("VmHWM:"))?;
        line.trim().strip_suffix("kB")?.trim().parse().ok()
    }

    /// The frames of the wheels and the clutch at sample `index`, 20 ms apart.
    fn write_frames(
        out: &mut impl Write,
        index: u64,
        [left, right]: [u16; 2],
        is_engaged: bool,
    ) -> std::io::Result<()> {
        let mut bytes = [0_u8; 8];
        bytes[..2].copy_from_slice(&left.to_be_bytes());
        bytes[2..4].copy_from_slice(&right.to_be_bytes());
        bytes[6] = (index % 16) as u8;
        bytes[7] = bytes[..7].iter().fold(0, |sum, byte| sum ^ byte);
        let (seconds, micros) = (index / 50, index % 50 * 20_000);
        let wheels = u64::from_be_bytes(bytes);
        // Command, torque in two bytes, temperature.
        let clutch = if is_engaged {
            0xC813_8878_u32
        } else {
            0x0002_5878
        };
        writeln!(out, "({seconds}.{micros:06}) can0 100#{wheels:016X}")?;
        writeln!(
            out,
            "({seconds}.{:06}) can0 101#{clutch:08X}",
            micros + 1000
        )
    }

    /// A drive of the small car in `n_lines` lines: every ten seconds the clutch is asked
    /// for half a second, and every hundred seconds a second of the log is missing.
    fn write_drive(mut out: impl Write, n_lines: u64) -> std::io::Result<()> {
        for index in 0..n_lines / 2 {
            let within = index % 500;
            let is_engaged = within >= 475;
            if index % 5000 < 50 {
                continue;
            }
            let (left, right): (u16, u16) = match is_engaged {
                true => (6000, 6400),
                false => (6000, 6000 + (within % 7) as u16),
            };
            write_frames(&mut out, index, [left, right], is_engaged)?;
        }
        out.flush()
    }

    /// Runs a report of so long a drive; gives its peak memory and its report.
    fn report(folder: &Folder, n_lines: u64) -> (u64, serde_json::Value) {
        let arguments = ["report", "-", "--map", "car.map", "--json"];
        let (peak, printed) = peak_of(folder, &arguments, move |out| write_drive(out, n_lines));
        let report = serde_json::from_slice(&printed).expect("the report is JSON");
        (peak, report)
    }

    /// Runs the program on what is written to it; gives its peak memory and what it printed.
    fn peak_of(
        folder: &Folder,
        arguments: &[&str],
        write: impl FnOnce(BufWriter<ChildStdin>) -> std::io::Result<()> + Send + 'static,
    ) -> (u64, Vec<u8>) {
        let mut child: Child = Command::new(PROGRAM)
            .args(arguments)
            .current_dir(folder.path("."))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let input = child.stdin.take().expect("standard input is a pipe");
        let id = child.id();
        let writer = std::thread::spawn(move || write(BufWriter::with_capacity(1 << 16, input)));
        // The mark only rises, so the last one seen before the end is the highest.
        let watcher = std::thread::spawn(move || {
            let mut highest = 0;
            while let Some(peak) = peak_kb(id) {
                highest = highest.max(peak);
                std::thread::sleep(Duration::from_millis(2));
            }
            highest
        });
        let output = child.wait_with_output().expect("the program ends");
        let written = writer.join().expect("the writer does not panic");
        assert!(written.is_ok() && output.status.success(), "{written:?}");
        let peak = watcher.join().expect("the watcher does not panic");
        assert!(peak > 1000, "no peak was seen: {peak} kB");
        (peak, output.stdout)
    }

    #[test]
    fn ten_times_the_log_takes_no_more_memory() {
        let folder = Folder::default();
        folder.write("car.map", CAR);
        let (short_kb, short) = report(&folder, 200_000);
        let (long_kb, long) = report(&folder, 2_000_000);
        println!("{short_kb} kB for 200 000 lines, {long_kb} kB for 2 000 000");
        let engagements = |report: &serde_json::Value| {
            report["figures"]["engagements"]["value"]
                .as_f64()
                .expect("it is known")
        };
        // It was all read: an engagement every ten seconds of 2000 s and of 20 000 s.
        assert_eq!((engagements(&short), engagements(&long)), (200.0, 2000.0));
        assert!(
            long_kb < short_kb + 20 * 1024,
            "{short_kb} kB for a tenth of the log, {long_kb} kB for all of it"
        );
    }

    /// A drive on which the clutch is asked for 0.2 s of every 0.6 s.
    fn write_engagements(mut out: impl Write, n: u64) -> std::io::Result<()> {
        for index in 0..n * 30 {
            let is_engaged = index % 30 >= 20;
            let right: u16 = if is_engaged { 6400 } else { 6000 };
            let right = right + (index * 7 % 11) as u16;
            write_frames(&mut out, index, [6000, right], is_engaged)?;
        }
        out.flush()
    }

    /// An engagement costs what stands of it in the report, and little more.
    #[test]
    fn thousands_of_engagements_take_little_memory() {
        let folder = Folder::default();
        folder.write("car.map", CAR);
        let peak = |n: u64| {
            let arguments = ["report", "--full", "-", "--map", "car.map"];
            let (peak, printed) =
                peak_of(&folder, &arguments, move |out| write_engagements(out, n));
            let printed = String::from_utf8(printed).expect("the program writes UTF-8");
            assert!(printed.contains(&format!(" {n} ")), "{printed}");
            peak
        };
        let (few_kb, many_kb) = (peak(1000), peak(11_000));
        let each = (many_kb.saturating_sub(few_kb)) as f64 / 10.0;
        println!("{few_kb} kB for 1000 engagements, {many_kb} kB for 11 000");
        assert!(each < 1500.0, "{each} bytes for an engagement");
    }

    /// A log of which every line names a bus of its own, as noise does: buses have 65,535 numbers, the rest share one.
    #[test]
    fn a_million_bus_names_are_read_in_seconds_and_take_no_more_memory() {
        let folder = Folder::default();
        folder.write("car.map", CAR);
        let peak = |n_names: u64| {
            let arguments = ["report", "-", "--map", "car.map"];
            let began = std::time::Instant::now();
            let (peak, _) = peak_of(&folder, &arguments, move |mut out| {
                for index in 0..n_names {
                    let (seconds, micros) = (index / 10_000, index % 10_000 * 100);
                    if index % 200 == 0 {
                        write_frames(
                            &mut out,
                            index / 200,
                            [6000, 6000 + (index % 7) as u16],
                            false,
                        )?;
                    }
                    writeln!(out, "({seconds}.{micros:06}) bus{index} 700#00")?;
                }
                out.flush()
            });
            (peak, began.elapsed().as_secs_f64())
        };
        let ((few_kb, _), (many_kb, seconds)) = (peak(100_000), peak(1_000_000));
        println!("{few_kb} kB for 100 000 names, {many_kb} kB and {seconds:.1} s for 1 000 000");
        assert!(many_kb < few_kb + 20 * 1024, "{few_kb} and {many_kb} kB");
        // Derived: in a debug build a line of one bus takes some 5 µs; names that are looked for one after the
        // other would take an hour.
        assert!(seconds < 120.0, "{seconds} s");
    }

    /// A sheet of 2000 columns, of which the map names all.
    #[test]
    fn an_export_of_many_columns_takes_no_more_memory_for_five_times_the_rows() {
        const N_COLUMNS: usize = 2000;
        let folder = Folder::default();
        let mut map = "map \"wide\"\nvehicle \"car\"\n  rolling radius 0.32 m\nsheet \"s\"\n  \
            time in \"time\" as s\n"
            .to_owned();
        for index in 0..N_COLUMNS {
            map += &format!("  own.c{index} in \"c{index}\"\n    unit 1\n");
        }
        folder.write("wide.map", map);
        let write = |mut out: BufWriter<ChildStdin>, n_rows: usize| {
            write!(out, "time")?;
            for index in 0..N_COLUMNS {
                write!(out, ",c{index}")?;
            }
            for row in 0..n_rows {
                write!(out, "\n{:.2}", row as f64 * 0.02)?;
                for index in 0..N_COLUMNS {
                    write!(out, ",{}", (row * 31 + index * 17) % 1009)?;
                }
            }
            writeln!(out)?;
            out.flush()
        };
        let peak = |n_rows: usize, to: &str| {
            let arguments = [
                "export", "-", "--map", "wide.map", "--rate", "50", "--to", to,
            ];
            peak_of(&folder, &arguments, move |out| write(out, n_rows)).0
        };
        // More than a row group holds, and five times that.
        let (short_kb, long_kb) = (peak(5_000, "short"), peak(25_000, "long"));
        println!("{short_kb} kB for 5 000 rows of {N_COLUMNS} columns, {long_kb} kB for 25 000");
        assert!(2 * long_kb < 3 * short_kb, "{short_kb} kB, {long_kb} kB");
    }

    #[test]
    fn an_export_of_ten_times_the_log_takes_no_more_memory() {
        let folder = Folder::default();
        folder.write("car.map", CAR);
        for more in [&[][..], &["--rate", "50"]] {
            let export = |n_lines, to: &str| {
                let mut arguments = vec!["export", "-", "--map", "car.map", "--to", to];
                arguments.extend(more);
                peak_of(&folder, &arguments, move |out| write_drive(out, n_lines)).0
            };
            // Short enough to be quick, long enough to fill row groups.
            let (short_kb, long_kb) = (export(100_000, "short"), export(1_000_000, "long"));
            println!("{more:?}: {short_kb} kB for 100 000 lines, {long_kb} kB for 1 000 000");
            // It was all written: ten times the rows.
            let n_rows = |to: &str| {
                let file = std::fs::File::open(folder.path(to).join("samples.parquet"));
                let table = SerializedFileReader::new(file.expect("it was written"));
                let table = table.expect("it is Parquet");
                table.metadata().file_metadata().num_rows()
            };
            let (n_short, n_long) = (n_rows("short"), n_rows("long"));
            assert!(
                n_short > 40_000 && n_long > 9 * n_short,
                "{n_short}, {n_long}"
            );
            assert!(
                long_kb < short_kb + 20 * 1024,
                "{more:?}: {short_kb} kB for a tenth of the log, {long_kb} kB for all of it"
            );
        }
    }
}
