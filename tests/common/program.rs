//! The built program, a folder to run it in, and a small car with a short drive.

use std::ffi::OsStr;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::time::Duration;

use tempfile::TempDir;

/// The built program.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_halfshaft");

/// A small car: wheels and torque every 20 ms, with a counter and a checksum.
pub const CAR: &str = r#"map "small car"
  written by "the tests"

vehicle "small car"
  unit "SC-1"
  rear track 1.55 m
  rolling radius 0.32 m
  clutch between case and left side gear
  preload 60 N.m
  torque from clutch.torque

bus main
  in the log "can0"

frame 0x100 on main
  length 8 bytes
  every 20 ms
  counter 6.3..6.0 steps by 1
  checksum byte 7 is xor of bytes 0 to 6
  wheel.rear.left in bytes 0 1
    step 0.01 rad/s
    absent 0xFFFF
    believe 0 to 300 rad/s
  wheel.rear.right in bytes 2 3
    same as wheel.rear.left

frame 0x101 on main
  length 4 bytes
  every 20 ms
  clutch.command in byte 0
    step 0.5 %
    means share
    full at 100 %
  clutch.torque in bytes 1 2
    step 0.1 N.m
    means pack torque
  oil.temperature in byte 3
    step 1 degC
    zero at -40 degC
    sensor in oil
"#;

/// A drive of the small car: ten seconds at 60 rad/s; from second 4 to second 6 the clutch
/// is asked for all with 500 N·m, and the right wheel turns 4 rad/s faster.
pub fn drive() -> String {
    let mut log = String::new();
    for index in 0..=500_u32 {
        let time = f64::from(index) * 0.02;
        let is_engaged = (200..300).contains(&index);
        let right: u16 = if is_engaged { 6400 } else { 6000 };
        let left: u16 = 6000;
        let mut bytes = [0_u8; 8];
        bytes[..2].copy_from_slice(&left.to_be_bytes());
        bytes[2..4].copy_from_slice(&right.to_be_bytes());
        bytes[6] = (index % 16) as u8;
        bytes[7] = bytes[..7].iter().fold(0, |sum, byte| sum ^ byte);
        frame(&mut log, 100.0 + time, 0x100, &bytes);
        let torque: u16 = if is_engaged { 5000 } else { 600 };
        let [high, low] = torque.to_be_bytes();
        let command = if is_engaged { 200 } else { 0 };
        frame(&mut log, 100.001 + time, 0x101, &[command, high, low, 120]);
    }
    log
}

/// A line of SocketCAN log text.
pub fn frame(log: &mut String, time_s: f64, id: u32, bytes: &[u8]) {
    let _ = write!(log, "({time_s:.6}) can0 {id:03X}#");
    for byte in bytes {
        let _ = write!(log, "{byte:02X}");
    }
    log.push('\n');
}

/// Bytes as gzip.
pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    std::io::Write::write_all(&mut packed, bytes).expect("memory does not fail");
    packed.finish().expect("memory does not fail")
}

/// Bytes in base64: RFC 4648, section 4.
pub fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let of = |three: &[u8]| {
        let number = (0..3).fold(0_usize, |number, at| {
            number << 8 | usize::from(three.get(at).copied().unwrap_or(0))
        });
        let sign = move |at: usize| match at <= three.len() {
            true => char::from(SIGNS[number >> (18 - 6 * at) & 63]),
            false => '=',
        };
        (0..4).map(sign).collect::<String>()
    };
    bytes.chunks(3).map(of).collect()
}

/// A folder of its own for one test.
pub struct Folder(TempDir);

impl Default for Folder {
    fn default() -> Folder {
        Folder(tempfile::tempdir().expect("a temporary folder can be made"))
    }
}

impl Folder {
    /// With the map of the small car as `car.map` and its drive as `drive.log`.
    pub fn with_drive() -> Folder {
        let folder = Folder::default();
        folder.write("car.map", CAR);
        folder.write("drive.log", drive());
        folder
    }

    /// The place of a file in it.
    pub fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.0.path().join(name)
    }

    /// Writes a file.
    pub fn write(&self, name: impl AsRef<Path>, content: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), content).expect("the temporary folder can be written to");
    }

    /// Reads a file.
    #[track_caller]
    pub fn read(&self, name: impl AsRef<Path>) -> String {
        let path = self.path(name);
        std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
    }

    /// Everything in it, in order of the alphabet.
    pub fn list(&self) -> Vec<String> {
        fn walk(dir: &Path, root: &Path, all: &mut Vec<String>) {
            for entry in std::fs::read_dir(dir).expect("the temporary folder can be read") {
                let path = entry.expect("the temporary folder can be read").path();
                let name = path.strip_prefix(root).expect("it lies in it");
                all.push(name.to_string_lossy().into_owned());
                if path.is_dir() && !path.is_symlink() {
                    walk(&path, root, all);
                }
            }
        }
        let mut all = Vec::new();
        walk(self.0.path(), self.0.path(), &mut all);
        all.sort_unstable();
        all
    }

    /// The program, to be run in this folder, which is its folder of settings too: those of
    /// the person who runs the tests must not reach it.
    pub fn program(&self) -> assert_cmd::Command {
        let mut program = assert_cmd::Command::new(PROGRAM);
        program
            .current_dir(self.0.path())
            .env("COLUMNS", "100")
            .env("XDG_CONFIG_HOME", self.0.path())
            .env_remove("NO_COLOR")
            .timeout(Duration::from_secs(60));
        program
    }

    /// Runs it.
    pub fn run<I: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = I>) -> Run {
        Run::of(self.program().args(arguments).output())
    }

    /// Runs `sh -c` in this folder, with the program as `$0`.
    pub fn shell(&self, script: &str) -> Run {
        let output = std::process::Command::new("sh")
            .args(["-c", script, PROGRAM])
            .current_dir(self.0.path())
            .env("COLUMNS", "100")
            .env("XDG_CONFIG_HOME", self.0.path())
            .output();
        Run::of(output)
    }
}

#[cfg(unix)]
impl Folder {
    /// Like [`Folder::shell`], as a user whom permissions bind: `setpriv` of util-linux makes
    /// the superuser nobody.
    #[track_caller]
    pub fn shell_bound(&self, script: &str) -> Run {
        use std::os::unix::fs::{MetadataExt, PermissionsExt};
        let about = self.0.path().metadata().expect("the folder is there");
        if about.uid() != 0 {
            return self.shell(script);
        }
        // Nobody may not enter the folder, nor perhaps the one the program lies in.
        let open = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(self.0.path(), open).expect("the mode can be changed");
        let beside = tempfile::tempdir().expect("a temporary folder can be made");
        let open = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(beside.path(), open).expect("the mode can be changed");
        let program = beside.path().join("halfshaft");
        std::fs::copy(PROGRAM, &program).expect("the program can be copied");
        let output = std::process::Command::new("setpriv")
            .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
            .args(["sh", "-c", script])
            .arg(program)
            .current_dir(self.0.path())
            .env("COLUMNS", "100")
            .env("XDG_CONFIG_HOME", self.0.path())
            .output();
        Run::of(output)
    }
}

/// What came of a run.
#[derive(Debug)]
pub struct Run {
    /// Exit code; `None` when a signal or the time limit ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Run {
    #[track_caller]
    fn of(output: std::io::Result<Output>) -> Run {
        let output = output.expect("the program starts");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("the program writes UTF-8");
        let run = Run {
            code: output.status.code(),
            out: text(output.stdout),
            err: text(output.stderr),
        };
        assert!(!run.err.contains("panicked"), "{run:#?}");
        run
    }

    /// It did what was asked, without a word of complaint.
    #[track_caller]
    pub fn done(self) -> Run {
        assert_eq!(self.code, Some(0), "{self:#?}");
        assert_eq!(self.err, "", "{self:#?}");
        self
    }

    /// It could not do it, printed nothing, and said each of these.
    #[track_caller]
    pub fn refused(self, words: &[&str]) -> Run {
        assert_eq!(self.code, Some(2), "{self:#?}");
        assert_eq!(self.out, "", "{self:#?}");
        self.said(words)
    }

    /// Each of these stands on standard error.
    #[track_caller]
    pub fn said(self, words: &[&str]) -> Run {
        for word in words {
            assert!(self.err.contains(word), "`{word}` is not in {self:#?}");
        }
        self
    }

    /// Each of these stands on standard output, line ends counting as blanks.
    #[track_caller]
    pub fn printed(self, words: &[&str]) -> Run {
        let text: Vec<&str> = self.out.split_whitespace().collect();
        let text = text.join(" ");
        for word in words {
            assert!(text.contains(word), "`{word}` is not in {self:#?}");
        }
        self
    }

    /// Standard output as JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error} in {self:#?}"))
    }
}
