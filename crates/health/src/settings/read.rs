//! Reads a settings file, and finds every mistake in it at once.
//!
//! In: text. Out: limits, or mistakes in order of place. What breaks the grammar of TOML is
//! said in the words of its parser; on a line that does, nothing else is looked for.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use toml::de::{DeInteger, DeTable, DeValue};

use super::Mistake;
use crate::limits::{GROUPS, Group, LimitAbout, LimitValue, Limits, RISING, all};

/// Characters shown of what was found.
const MOST_SHOWN: usize = 40;

/// Longer words are not slips of the pen.
const LONGEST_WORD: usize = 80;

/// The limits of a settings file, or every mistake in it.
pub fn read(text: &str) -> Result<Limits, Vec<Mistake>> {
    let places = Places::of(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    let mut mistakes: Vec<Mistake> = errors
        .iter()
        .map(|error| {
            let span = error.span().unwrap_or(0..0);
            let found = places.shown(&span);
            let message = error.message().replace('\n', ", ");
            let text = match found.is_empty() {
                true => message,
                false => format!("{message}: `{found}`"),
            };
            places.mistake(&span, text)
        })
        .collect();
    // What follows on a line that the parser stumbled over follows from that.
    mistakes.sort();
    mistakes.dedup_by_key(|mistake| mistake.line);
    let broken: BTreeSet<usize> = mistakes.iter().map(|mistake| mistake.line).collect();
    let mut reading = Reading {
        places,
        limits: Limits::default(),
        stated: BTreeMap::new(),
        mistakes: Vec::new(),
    };
    reading.tables(table.get_ref());
    reading.rising();
    let others = reading.mistakes.into_iter();
    mistakes.extend(others.filter(|mistake| !broken.contains(&mistake.line)));
    if mistakes.is_empty() {
        return Ok(reading.limits);
    }
    mistakes.sort();
    Err(mistakes)
}

/// Where things stand in the text.
struct Places<'a> {
    text: &'a str,
    // Offset of each line.
    lines: Vec<usize>,
}

impl<'a> Places<'a> {
    fn of(text: &'a str) -> Places<'a> {
        let ends = text.match_indices('\n').map(|(end, _)| end + 1);
        Places {
            text,
            lines: std::iter::once(0).chain(ends).collect(),
        }
    }

    fn mistake(&self, span: &Range<usize>, text: String) -> Mistake {
        let line = self.lines.partition_point(|start| *start <= span.start);
        let start = self.lines[line.saturating_sub(1)];
        let before = self.text.get(start..span.start).unwrap_or("");
        Mistake {
            line,
            // A byte order mark is no character of the line.
            column: before.chars().filter(|c| *c != '\u{feff}').count() + 1,
            text,
        }
    }

    /// What stands in a span, on one line and not too long.
    fn shown(&self, span: &Range<usize>) -> String {
        let found = self.text.get(span.clone()).unwrap_or("").trim();
        let first = found.lines().next().unwrap_or("");
        let shown: String = first.chars().take(MOST_SHOWN).collect();
        match shown.len() < found.len() {
            true => shown + "…",
            false => shown,
        }
    }
}

struct Reading<'a> {
    places: Places<'a>,
    limits: Limits,
    // Where the value of each limit stands.
    stated: BTreeMap<String, Range<usize>>,
    mistakes: Vec<Mistake>,
}

impl Reading<'_> {
    fn wrong(&mut self, span: Range<usize>, text: String) {
        let mistake = self.places.mistake(&span, text);
        self.mistakes.push(mistake);
    }

    fn tables(&mut self, root: &DeTable) {
        for (key, value) in root {
            let name = key.get_ref().as_ref();
            let Some(group) = GROUPS.iter().find(|group| group.table == name) else {
                self.wrong(key.span(), unknown_table(name));
                continue;
            };
            match value.get_ref() {
                DeValue::Table(table) => self.keys(group, table),
                _ => {
                    let found = self.places.shown(&value.span());
                    let text = format!("`{name}`: found {found}, expected a table `[{name}]`");
                    self.wrong(value.span(), text);
                }
            }
        }
    }

    fn keys(&mut self, group: &'static Group, table: &DeTable) {
        for (key, value) in table {
            let name = key.get_ref().as_ref();
            let Some(about) = group.limits.iter().find(|about| about.key == name) else {
                self.wrong(key.span(), unknown_key(group, name));
                continue;
            };
            match allowed(about, value.get_ref()) {
                Some(value_read) => {
                    (about.set)(&mut self.limits, value_read);
                    self.stated.insert(about.name(), value.span());
                }
                None => {
                    let found = self.places.shown(&value.span());
                    let (name, wanted) = (about.name(), about.wanted());
                    let text = format!("`{name}`: found {found}, expected {wanted}");
                    self.wrong(value.span(), text);
                }
            }
        }
    }

    /// Limits that must stand in order; the mistake is where the later of them was stated.
    fn rising(&mut self) {
        for [low, high] in RISING {
            let value = |name: &str| {
                let found = all().find(|(_, about)| about.name() == name);
                found.and_then(|(_, about)| (about.get)(&self.limits).number())
            };
            let (Some(low_value), Some(high_value)) = (value(low), value(high)) else {
                continue;
            };
            let stated = [(*low, low_value), (*high, high_value)]
                .map(|(name, value)| (self.stated.get(name).cloned(), name, value));
            let latest = stated
                .iter()
                .filter_map(|(span, name, value)| Some((span.clone()?, *name, *value)))
                .max_by_key(|(span, ..)| span.start);
            let Some((span, name, value)) = latest.filter(|_| low_value >= high_value) else {
                continue;
            };
            let (side, other, other_value) = match name == *low {
                true => ("below", high, high_value),
                false => ("above", low, low_value),
            };
            let text = format!(
                "`{name}`: found {value}, expected {side} `{other}`, which is {other_value}"
            );
            self.wrong(span, text);
        }
    }
}

/// The value of a limit, when it is of its kind and within its range.
fn allowed(about: &LimitAbout, value: &DeValue) -> Option<LimitValue> {
    let read = match (about.default_value(), value) {
        (LimitValue::Number(_), value) => LimitValue::Number(number(value)?),
        (LimitValue::Count(_), DeValue::Integer(integer)) => {
            LimitValue::Count(u32::try_from(whole(integer)?).ok()?)
        }
        (LimitValue::Edges(_), DeValue::Array(items)) => {
            let numbers: Option<Vec<f64>> =
                items.iter().map(|item| number(item.get_ref())).collect();
            LimitValue::Edges(numbers?.try_into().ok()?)
        }
        _ => return None,
    };
    about.allows(read).then_some(read)
}

fn number(value: &DeValue) -> Option<f64> {
    match value {
        DeValue::Integer(integer) => whole(integer).map(|whole| whole as f64),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

fn whole(integer: &DeInteger) -> Option<i64> {
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

/// The nearest of the words, when it is near: at most one slip in three letters.
fn nearest<'a>(word: &str, words: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let length = word.chars().count();
    if length > LONGEST_WORD {
        return None;
    }
    words
        .map(|known| (strsim::osa_distance(word, known), known))
        .filter(|(distance, known)| *distance <= length.max(known.len()).div_ceil(3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, known)| known)
}

/// Tables that have a key of that name.
fn elsewhere(key: &str) -> Option<String> {
    let found: Vec<String> = all()
        .filter(|(_, about)| about.key == key)
        .map(|(group, _)| format!("`[{}]`", group.table))
        .collect();
    (!found.is_empty()).then(|| format!("; `{key}` belongs below {}", found.join(" or ")))
}

fn unknown_table(name: &str) -> String {
    let meant = || {
        let tables = GROUPS.iter().map(|group| group.table);
        nearest(name, tables).map(|table| format!("; `{table}` is near"))
    };
    let meant = elsewhere(name).or_else(meant).unwrap_or_default();
    let tables: Vec<&str> = GROUPS.iter().map(|group| group.table).collect();
    format!(
        "found `{}`, expected a table of {}{meant}",
        shortened(name),
        tables.join(", ")
    )
}

fn unknown_key(group: &Group, name: &str) -> String {
    let keys = group.limits.iter().map(|about| about.key);
    let meant = nearest(name, keys)
        .map(|key| format!("; `{key}` is near"))
        .or_else(|| elsewhere(name))
        .unwrap_or_default();
    format!(
        "found `{}`, which is no key of `[{}]`{meant}",
        shortened(name),
        group.table
    )
}

fn shortened(word: &str) -> String {
    match word.char_indices().nth(MOST_SHOWN) {
        Some((end, _)) => format!("{}…", &word[..end]),
        None => word.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, wanted: &[&str]) {
        let mistakes = read(text).expect_err("it has mistakes");
        let got: Vec<String> = mistakes.iter().map(ToString::to_string).collect();
        assert_eq!(got, wanted);
    }

    #[test]
    fn keys_left_out_keep_their_usual_values() {
        assert_eq!(read(""), Ok(Limits::default()));
        let mut wanted = Limits::default();
        wanted.oil.warn_c = 120.0;
        wanted.launch.count = 5;
        // A whole number is a number too, and so is one with dotted key or Windows line ends.
        let text = "[oil]\r\nwarn_c = 120 # own oil\r\n[launch]\r\ncount = 0x5\r\n";
        assert_eq!(read(text), Ok(wanted));
        assert_eq!(
            read("\u{feff}oil.warn_c = 1.2e2\nlaunch = { count = 5 }"),
            Ok(wanted)
        );
    }

    #[test]
    fn a_word_nobody_knows_names_the_nearest() {
        check(
            "[oil]\nwarm_c = 120\n",
            &["2:1: found `warm_c`, which is no key of `[oil]`; `warn_c` is near"],
        );
        check(
            "[oil]\npower_s = 1\nzzz = 1\n",
            &[
                "2:1: found `power_s`, which is no key of `[oil]`; `power_s` belongs below `[hit]`",
                "3:1: found `zzz`, which is no key of `[oil]`",
            ],
        );
        let tables: Vec<&str> = GROUPS.iter().map(|group| group.table).collect();
        let tables = tables.join(", ");
        check(
            "\n[coling]\nratio = 2.0\n",
            &[&format!(
                "2:2: found `coling`, expected a table of {tables}; `cooling` is near"
            )],
        );
        check(
            "warn_c = 120\n",
            &[&format!(
                "1:1: found `warn_c`, expected a table of {tables}; `warn_c` belongs below `[oil]`"
            )],
        );
    }

    #[test]
    fn the_wrong_kind_and_the_wrong_size_say_what_was_wanted() {
        check(
            "[oil]\nwarn_c = \"120\"\nlimit_c = 999\nabove_s = nan\njump_k = -1\n\n[launch]\ncount = 3.0\n",
            &[
                "2:10: `oil.warn_c`: found \"120\", expected a number from 40 to 300 (°C)",
                "3:11: `oil.limit_c`: found 999, expected a number from 40 to 300 (°C)",
                "4:11: `oil.above_s`: found nan, expected a number from 0 to 3600 (s)",
                "5:10: `oil.jump_k`: found -1, expected a number from 0 to 200 (K)",
                "8:9: `launch.count`: found 3.0, expected a whole number from 1 to 1000",
            ],
        );
        let wanted = "expected five rising numbers from 0 to 1000 (W/mm²)";
        for found in ["[1, 2, 3, 4]", "[1, 2, 2, 4, 5]", "[1, 2, 3, 4, \"5\"]"] {
            check(
                &format!("[usage]\npower_w_per_mm2 = {found}\n"),
                &[&format!(
                    "2:19: `usage.power_w_per_mm2`: found {found}, {wanted}"
                )],
            );
        }
        check(
            "oil = 3\n",
            &["1:7: `oil`: found 3, expected a table `[oil]`"],
        );
        check(
            "[oil]\nwarn_c = 99999999999999999999\n",
            &[
                "2:10: `oil.warn_c`: found 99999999999999999999, expected a number from 40 to 300 (°C)",
            ],
        );
    }

    #[test]
    fn limits_that_must_stand_in_order() {
        check(
            "[oil]\nwarn_c = 155.5\n",
            &["2:10: `oil.warn_c`: found 155.5, expected below `oil.limit_c`, which is 150"],
        );
        check(
            "[oil]\nwarn_c = 120\nlimit_c = 110\n",
            &["3:11: `oil.limit_c`: found 110, expected above `oil.warn_c`, which is 120"],
        );
    }

    #[test]
    fn a_key_twice_and_broken_grammar_do_not_hide_the_rest() {
        check(
            "[oil]\nwarn_c = 120\nwarn_c = 125\n\n[hit]\npower_s = = 3\n[slip]\nfringe = 1\n",
            &[
                "3:1: duplicate key: `warn_c`",
                "6:11: extra `=`, expected nothing: `=`",
                "8:1: found `fringe`, which is no key of `[slip]`; `fringe_s` is near",
            ],
        );
        check("[oil]\nwarn_c\n", &["2:7: key with no value, expected `=`"]);
    }

    #[test]
    fn columns_count_characters() {
        check(
            "oil = { \"ähnlich\" = 1, 'warn_c' = true }\n",
            &[
                "1:9: found `ähnlich`, which is no key of `[oil]`",
                "1:35: `oil.warn_c`: found true, expected a number from 40 to 300 (°C)",
            ],
        );
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "[\\[\\]a-z_.= \"'0-9\n\u{e9}{},#-]{0,200}") {
            if let Err(mistakes) = read(&text) {
                proptest::prop_assert!(mistakes.iter().all(|mistake| mistake.line > 0));
            }
        }
    }
}
