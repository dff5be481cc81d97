//! A signal that ends the program leaves nothing half done behind.

#[cfg(unix)]
mod common;

#[cfg(unix)]
mod on_unix {
    use std::io::Write;
    use std::os::unix::process::ExitStatusExt;
    use std::process::{Child, Command, Stdio};
    use std::time::{Duration, Instant};

    use crate::common::program::{Folder, PROGRAM, drive};

    /// An export whose input comes slowly: it has begun its first file, and waits for more of the
    /// log. `by` is what starts it and then becomes it.
    fn slow_export(folder: &Folder, by: &[&str]) -> Child {
        let mut child = Command::new(by[0])
            .args(&by[1..])
            .arg(PROGRAM)
            .args("export - --map car.map --to new/tables --rate 50".split(' '))
            .current_dir(folder.path("."))
            .env("XDG_CONFIG_HOME", folder.path("."))
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .expect("the program starts");
        let input = child.stdin.as_mut().expect("standard input is a pipe");
        input
            .write_all(drive().as_bytes())
            .expect("the program reads");
        let since = Instant::now();
        while folder.list().len() < 5 {
            assert!(since.elapsed() < Duration::from_secs(30), "nothing begun");
            std::thread::sleep(Duration::from_millis(5));
        }
        child
    }

    fn send(signal: &str, to: &Child) {
        let kill = Command::new("kill")
            .args(["-s", signal, &to.id().to_string()])
            .status();
        assert!(kill.expect("there is a kill").success());
    }

    #[test]
    fn nothing_is_left_of_an_export_that_was_stopped() {
        for (signal, number) in [("INT", 2), ("TERM", 15), ("HUP", 1)] {
            let folder = Folder::with_drive();
            // A job in the background ignores the interrupt, and so would whatever it starts.
            let mut child = slow_export(&folder, &["env", "--default-signal=INT"]);
            let list = folder.list();
            assert!(list[4].starts_with("new/tables/.halfshaft-"), "{list:?}");
            send(signal, &child);
            let status = child.wait().expect("it ends");
            assert_eq!(status.signal(), Some(number), "{signal}: {status}");
            assert_eq!(folder.list(), ["car.map", "drive.log"], "{signal}");
        }
    }

    #[test]
    fn a_signal_that_is_to_be_ignored_is() {
        let folder = Folder::with_drive();
        let mut child = slow_export(&folder, &["env", "--ignore-signal=HUP"]);
        send("HUP", &child);
        drop(child.stdin.take());
        let status = child.wait().expect("it ends");
        assert!(status.success(), "{status}");
        assert!(folder.path("new/tables/samples.parquet").is_file());
    }
}
