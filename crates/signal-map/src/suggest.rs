//! The word that was probably meant.
//!
//! In: an unknown word and the words that would do. Out: the nearest, if any is near
//! enough to be a slip of the pen.

/// The nearest of `candidates`, when it is near: at most one slip in three letters.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let length = word.chars().count();
    // Names longer than this are not slips of the pen, and comparing them costs time.
    if length > 80 {
        return None;
    }
    let lower = word.to_lowercase();
    candidates
        .into_iter()
        .filter(|candidate| {
            candidate.len().abs_diff(word.len()) <= word.len().max(candidate.len()).div_ceil(3) * 2
        })
        // A map of thousands of names is no reason to be slow.
        .take(3000)
        .map(|candidate| {
            let candidate_lower = candidate.to_lowercase();
            let distance = strsim::osa_distance(&lower, &candidate_lower);
            (distance, candidate)
        })
        .filter(|(distance, candidate)| {
            *distance <= length.max(candidate.chars().count()).div_ceil(3)
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Words that others use, and what is written here.
const OTHER_WORDS: &[(&str, &str)] = &[
    ("author", "written by"),
    ("car", "vehicle"),
    ("channel", "work out"),
    ("circumference", "roll-out"),
    ("compute", "work out"),
    ("crc", "checksum"),
    ("cycle", "every"),
    ("date", "written on"),
    ("delay", "late by"),
    ("delimiter", "columns parted by"),
    ("error", "broken"),
    ("factor", "step"),
    ("gain", "step"),
    ("guard", "checksum"),
    ("invalid", "absent"),
    ("limits", "believe"),
    ("max", "believe"),
    ("message", "frame"),
    ("min", "believe"),
    ("missing", "absent"),
    ("msg", "frame"),
    ("mu", "friction"),
    ("mux", "page"),
    ("network", "bus"),
    ("offset", "zero at"),
    ("period", "every"),
    ("radius", "rolling radius"),
    ("range", "believe"),
    ("rate", "changes at most"),
    ("ratio", "final drive"),
    ("resolution", "step"),
    ("roll", "counter"),
    ("scale", "step"),
    ("separator", "columns parted by"),
    ("tire", "tyre"),
    ("track", "rear track"),
];

/// What is written here for a word that others use.
pub fn our_word(word: &str) -> Option<&'static str> {
    let found = OTHER_WORDS
        .iter()
        .find(|(other, _)| other.eq_ignore_ascii_case(word));
    found.map(|(_, ours)| *ours)
}

/// The candidates as "`a`, `b` or `c`", at most `most` of them.
pub fn list<'a>(candidates: impl IntoIterator<Item = &'a str>, most: usize) -> String {
    let mut words: Vec<String> = candidates
        .into_iter()
        .map(|word| format!("`{word}`"))
        .collect();
    words.dedup();
    if words.len() > most {
        words.truncate(most);
        return format!("{} …", words.join(", "));
    }
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_finds_slips_and_nothing_else() {
        let words = [
            "friction",
            "preload",
            "faces",
            "wheel.rear.left",
            "wheel.rear.right",
        ];
        for (slip, meant) in [
            ("fricton", Some("friction")),
            ("perload", Some("preload")),
            ("Wheel.Rear.Rigth", Some("wheel.rear.right")),
            ("gearbox", None),
            ("", None),
        ] {
            assert_eq!(nearest(slip, words), meant, "{slip}");
        }
    }

    #[test]
    fn words_of_others_lead_to_sentences_of_ours() {
        use crate::syntax::forms::FORMS;
        for (other, ours) in OTHER_WORDS {
            let is_ours = FORMS.iter().any(|form| form.pattern.starts_with(ours));
            assert!(is_ours, "{other}: {ours}");
        }
    }

    #[test]
    fn lists_read_like_a_sentence() {
        assert_eq!(list(["a", "b", "c"], 5), "`a`, `b` or `c`");
        assert_eq!(list(["a"], 5), "`a`");
        assert_eq!(list(["a", "b", "c"], 2), "`a`, `b` …");
    }
}
