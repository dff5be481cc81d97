//! Plays a log back and serves its page: what the page is tried with.
//!
//! `follow-log MAP LOG SPEED ADDRESS [TOKEN]`. Prints where the page is, and when the log begins; ends when standard input does.

use std::io::Read;

use halfshaft_capture::follow::{Options, follow};
use halfshaft_capture::link::link;
use halfshaft_capture::page::Token;
use halfshaft_capture::replay;
use halfshaft_logs::Source;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [map, log, speed, listen, rest @ ..] = arguments.as_slice() else {
        return Err("follow-log MAP LOG SPEED ADDRESS [TOKEN]".into());
    };
    let text = std::fs::read_to_string(map)?;
    let map = halfshaft_signal_map::parse(map, &text)
        .map_err(|mistakes| mistakes.render(false))?
        .map;
    let (source, live) = link();
    let token = rest.first().and_then(|token| Token::of(token));
    let options = Options {
        listen: Some((listen.parse()?, token)),
        ..Options::default()
    };
    let follower = follow(live, map.clone(), options)?;
    println!("{}", follower.page.ok_or("there is no page")?);
    let logs = [Source::File(log.into())];
    let speed = speed.parse()?;
    println!("begins");
    std::thread::spawn(move || replay::run(source, &logs, &map, speed));
    std::io::stdin().read_to_end(&mut Vec::new())?;
    Ok(())
}
