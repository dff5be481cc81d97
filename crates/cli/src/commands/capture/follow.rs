//! Follows a drive live: the page, and lines of JSON for other programs.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;

use anyhow::{Context, Result, anyhow, bail};
use halfshaft_capture::follow::{self, Follower, Options};
use halfshaft_capture::link::LiveEnd;
use halfshaft_capture::live;
use halfshaft_capture::page::{LEAST_TOKEN_BYTES, Token};

use crate::arguments::CaptureOptions;
use crate::job::Job;
use crate::output;

/// Where the page is when nothing else is said: seen from this computer only.
const USUAL: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 8470);

/// What follows a drive.
#[derive(Debug)]
pub struct Following(Follower);

impl Following {
    /// Waits until it has taken all that the source gave.
    pub fn end(self) -> Result<()> {
        let ended = self.0.thread.join();
        ended.map_err(|_| anyhow!("the live side broke off"))
    }
}

/// Follows, judging as a report does. Says where the page is.
pub fn follow(end: LiveEnd, job: &Job, options: &CaptureOptions) -> Result<Following> {
    let drive = halfshaft_drive::Options {
        limits: job.settings.limits,
        baseline: Some(job.baseline()),
        start_line: None,
    };
    let token = options.token_file.as_deref().map(token).transpose()?;
    let follow_options = Options {
        live: live::Options {
            drive,
            ..live::Options::default()
        },
        lines: options.lines.then(|| Box::new(std::io::stdout()) as _),
        listen: place(options.listen).map(|place| (place, token)),
        ended: None,
    };
    let follower = follow::follow(end, job.map.clone(), follow_options)
        .context("could not serve the live page")?;
    if let Some(place) = follower.page {
        output::write_error_line(&format!("the live page: http://{place}"));
    }
    Ok(Following(follower))
}

/// Where the page is served. Where the usual place is taken, by another recorder or its replay, the
/// recording goes on without a page; a place that was asked for must be had.
fn place(asked: Option<SocketAddr>) -> Option<SocketAddr> {
    if asked.is_some() {
        return asked;
    }
    match TcpListener::bind(USUAL) {
        Ok(_) => Some(USUAL),
        Err(error) => {
            let words = format!("no live page at {USUAL}: {error}; --listen names another place");
            output::write_error_line(&words);
            None
        }
    }
}

/// The token in a file.
fn token(file: &Path) -> Result<Token> {
    let doing = || format!("could not read the token in {}", file.display());
    let text = std::fs::read_to_string(file).with_context(doing)?;
    match Token::of(&text) {
        Some(token) => Ok(token),
        None => bail!("{}: expected at least {LEAST_TOKEN_BYTES} letters", doing()),
    }
}
