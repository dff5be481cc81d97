//! What names a person or a car, and is left out of every report and export.

/// What stands where a vehicle number was.
const NUMBER_LEFT_OUT: &str = "[vehicle number left out]";

/// Text without vehicle identification numbers: they name an owner. One is 17 letters
/// (capitals or small) and figures, both of them there, without I, O and Q. Source: ISO 3779.
pub fn without_vehicle_number(text: &str) -> std::borrow::Cow<'_, str> {
    let is_part = |c: char| c.is_ascii_alphanumeric();
    let is_number = |word: &str| {
        word.len() == 17
            && word
                .chars()
                .all(|c| c.is_ascii_digit() || (c.is_ascii_alphabetic() && !"IOQioq".contains(c)))
            && word.chars().any(|c| c.is_ascii_digit())
            && word.chars().any(|c| c.is_ascii_alphabetic())
    };
    if !text.split(|c| !is_part(c)).any(is_number) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len());
    for piece in text.split_inclusive(|c| !is_part(c)) {
        let word = piece.trim_end_matches(|c| !is_part(c));
        if is_number(word) {
            out.push_str(NUMBER_LEFT_OUT);
            out.push_str(&piece[word.len()..]);
        } else {
            out.push_str(piece);
        }
    }
    out.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_vehicle_number_is_left_out_and_a_fingerprint_stays() {
        let left_out = |text: &str| without_vehicle_number(text).into_owned();
        assert_eq!(
            left_out("car XXXZZZ1JZXW000001, 3"),
            "car [vehicle number left out], 3"
        );
        assert_eq!(
            left_out("drive-xxxzzz1jzxw000001.log"),
            "drive-[vehicle number left out].log"
        );
        // Sixteen characters, seventeen letters, and one with an I in it are none.
        for text in ["0123456789abcdef", "abcdefghjklmnprst", "XXXZZZ1JZXWI00001"] {
            assert_eq!(left_out(text), text);
        }
    }
}
