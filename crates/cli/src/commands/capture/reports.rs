//! Reports of drives that have ended, written while the next is recorded.
//!
//! In: the folder of a drive. Out: `report.html` and `report.json` in a folder of the drive's name.
//! Each is made on a thread of its own, one after the other, so that it takes no more than one
//! processor from the recorder.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Sender, channel};
use std::thread::JoinHandle;

use anyhow::Result;

use crate::commands::report;
use crate::job::Job;
use crate::output;

/// Reports of drives that have ended.
#[derive(Debug, Default)]
pub struct Reports {
    making: Option<(Sender<PathBuf>, JoinHandle<()>)>,
}

impl Reports {
    /// Reports that go into this folder.
    pub fn into(into: &Path, job: &Job) -> Reports {
        let (into, job) = (into.to_owned(), job.clone());
        let (to, drives) = channel::<PathBuf>();
        let making = std::thread::spawn(move || {
            for drive in drives {
                let name = drive.file_name().unwrap_or(drive.as_os_str());
                let out = into.join(name);
                let words = match write(&job, &drive, &out) {
                    Ok(()) => format!("report: {}", out.join("report.html").display()),
                    Err(error) => format!("no report of {}: {error:#}", drive.display()),
                };
                output::write_error_line(&words);
            }
        });
        Reports {
            making: Some((to, making)),
        }
    }

    /// Begins the report of a drive.
    pub fn begin(&mut self, drive: &Path) {
        if let Some((to, _)) = &self.making {
            // A thread that broke off has said so.
            let _ = to.send(drive.to_owned());
        }
    }

    /// Waits for those that are begun.
    pub fn wait(self) {
        if let Some((to, making)) = self.making {
            drop(to);
            let _ = making.join();
        }
    }
}

fn write(job: &Job, drive: &Path, out: &Path) -> Result<()> {
    let job = Job {
        logs: vec![drive.to_owned()],
        ..job.clone()
    };
    let (read, results) = job.assess()?;
    let document = job.document(&read, &results);
    report::write(out, &document)?;
    Ok(())
}
