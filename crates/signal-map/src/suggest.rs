//! The word that was probably meant.
//!
//! In: a word nobody knows and the words that would do. Out: the nearest, if any is near
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
        .filter(|candidate| candidate.len().abs_diff(word.len()) <= word.len().max(candidate.len()).div_ceil(3) * 2)
        // A map of thousands of names is no reason to be slow.
        .take(3000)
        .map(|candidate| {
            let candidate_lower = candidate.to_lowercase();
            let distance = strsim::osa_distance(&lower, &candidate_lower);
            (distance, candidate)
        })
        .filter(|(distance, candidate)| *distance <= length.max(candidate.chars().count()).div_ceil(3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// The candidates as "`a`, `b` or `c`", at most `most` of them.
pub fn list<'a>(candidates: impl IntoIterator<Item = &'a str>, most: usize) -> String {
    let mut words: Vec<String> = candidates.into_iter().map(|word| format!("`{word}`")).collect();
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
        let words = ["friction", "preload", "faces", "wheel.rear.left", "wheel.rear.right"];
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
    fn lists_read_like_a_sentence() {
        assert_eq!(list(["a", "b", "c"], 5), "`a`, `b` or `c`");
        assert_eq!(list(["a"], 5), "`a`");
        assert_eq!(list(["a", "b", "c"], 2), "`a`, `b` …");
    }
}
