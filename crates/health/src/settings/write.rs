//! Writes a settings file: every key with its value, unit, range, meaning and source.

use crate::limits::{GROUPS, LimitAbout, Limits};

/// Columns of a comment.
const WIDTH: usize = 96;

const HEAD: &str = "\
Settings of halfshaft: the limits it judges by. Used when named by --settings, or else when \
it lies in $XDG_CONFIG_HOME/halfshaft/settings.toml (~/.config where that is not set). A key \
left out keeps its usual value; a report lists what was changed.";

/// Limits as a settings file.
pub fn write(limits: &Limits) -> String {
    let mut text = String::new();
    comment(&mut text, HEAD);
    for group in GROUPS {
        text += "\n";
        comment(&mut text, group.about);
        text += &format!("[{}]\n", group.table);
        for about in group.limits {
            text += "\n";
            comment(&mut text, about.meaning);
            comment(&mut text, &around(about));
            text += &format!("{} = {}\n", about.key, (about.get)(limits));
        }
    }
    text
}

/// Unit, range, reason, source and sensitivity.
fn around(about: &LimitAbout) -> String {
    let mut parts = vec![format!("Wanted: {}.", about.wanted())];
    for (word, text) in [
        ("Reason", about.reason),
        ("Source", about.source),
        ("Sensitivity", about.sensitivity),
    ] {
        if !text.is_empty() {
            parts.push(format!("{word}: {text}."));
        }
    }
    parts.join(" ")
}

fn comment(text: &mut String, words: &str) {
    let mut line = "#".to_owned();
    for word in words.split(' ') {
        if line.len() > 1 && line.chars().count() + 1 + word.chars().count() > WIDTH {
            *text += &format!("{line}\n");
            line = "#".to_owned();
        }
        line += " ";
        line += word;
    }
    *text += &format!("{line}\n");
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use crate::limits::all;

    #[test]
    fn what_is_written_reads_back_to_the_same_bits() {
        let text = write(&Limits::default());
        assert_eq!(read(&text), Ok(Limits::default()));
        for (_, about) in all() {
            let line = format!("\n{} = {}\n", about.key, about.default_value());
            assert!(text.contains(&line), "{}", about.name());
        }
        let mut others = Limits::default();
        others.oil.warn_c = 0.1 + 130.2;
        others.trust.enough_events = 7;
        others.usage.heat_kj_per_km[4] = 1.0 / 3.0 + 25.0;
        assert_eq!(read(&write(&others)), Ok(others));
    }

    #[test]
    fn every_line_is_a_comment_a_table_or_a_key_and_none_is_long() {
        for line in write(&Limits::default()).lines() {
            let is_known = line.is_empty()
                || line.starts_with("# ")
                || line.starts_with('[')
                || line.contains(" = ");
            assert!(is_known && line.chars().count() <= WIDTH, "{line}");
        }
    }
}
