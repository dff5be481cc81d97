//! Starts whatever follows a drive: the live side, its lines, its page.

use std::io::{self, Write};
use std::net::SocketAddr;
use std::thread::JoinHandle;

use halfshaft_signal_map::Map;

use crate::feed::Feed;
use crate::link::LiveEnd;
use crate::live::{self, OnEnd, Outputs};
use crate::page::{self, Token};

/// How a drive is followed.
#[derive(Default)]
pub struct Options {
    /// What it is judged by, and how often.
    pub live: live::Options,
    /// Where lines of JSON go.
    pub lines: Option<Box<dyn Write + Send>>,
    /// Where the page listens, and the token it asks for.
    pub listen: Option<(SocketAddr, Option<Token>)>,
    /// What is done with a drive that has ended.
    pub ended: Option<OnEnd>,
}

/// What was started.
#[derive(Debug)]
pub struct Follower {
    /// Where the page is, with the port that was found where none was named.
    pub page: Option<SocketAddr>,
    /// Ends when the source has ended and the last drive was judged. The page stays for as long as the
    /// program runs.
    pub thread: JoinHandle<()>,
}

/// Follows the drives of a source on a thread of its own.
pub fn follow(end: LiveEnd, map: Map, options: Options) -> io::Result<Follower> {
    let feed = options.listen.is_some().then(Feed::default);
    let page = match (options.listen, &feed) {
        (Some((listen, token)), Some(feed)) => {
            Some(page::serve(listen, token, feed.clone(), end.handle())?)
        }
        _ => None,
    };
    let outputs = Outputs {
        lines: options.lines,
        page: feed,
        ended: options.ended,
    };
    let thread = std::thread::Builder::new()
        .name("live".to_owned())
        .spawn(move || live::run(&end, &map, &options.live, outputs))?;
    Ok(Follower { page, thread })
}
