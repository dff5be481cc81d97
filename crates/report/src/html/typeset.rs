//! What text needs on its way to a line: no break between a number and its unit, and quotes where it
//! stands in the style.

/// Units that stay with their number.
const UNITS: [&str; 29] = [
    "km", "kJ/km", "miles", "m", "mm", "mm²", "kJ", "J", "kW", "W", "W/mm²", "J/mm²", "J/°", "°C",
    "K", "°", "s", "ms", "min", "h", "rad/s", "N·m", "kN", "%", "V", "A", "kg", "litres", "L",
];

/// The page with each space between a number and its unit made one that no line breaks at. Of tags
/// only texts that are spoken can hold such a pair; numbers of drawings are parted by numbers.
pub(super) fn with_units_kept(page: &str) -> String {
    let mut text = String::with_capacity(page.len() + page.len() / 200);
    let mut rest = page;
    while let Some(place) = rest.find(' ') {
        let (before, after) = rest.split_at(place);
        text.push_str(before);
        rest = &after[1..];
        let is_pair =
            before.ends_with(|last: char| last.is_ascii_digit()) && starts_with_unit(rest);
        text.push(if is_pair { '\u{a0}' } else { ' ' });
    }
    text.push_str(rest);
    text
}

fn starts_with_unit(text: &str) -> bool {
    let is_of_a_unit = |letter: char| letter.is_alphanumeric() || "/°·%²".contains(letter);
    let word = text.split(|letter| !is_of_a_unit(letter)).next();
    word.is_some_and(|word| UNITS.contains(&word))
}

/// A string of the style, in its quotes: whatever could end it, or the style, is written as a number.
pub(super) fn style_string(text: &str) -> String {
    let escaped = |letter: char| match letter {
        '"' | '\\' | '<' | '>' | '&' => format!("\\{:x} ", u32::from(letter)),
        _ if letter.is_control() => " ".to_owned(),
        _ => letter.to_string(),
    };
    format!("\"{}\"", text.chars().map(escaped).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_stays_with_its_unit_and_nothing_else_does() {
        let kept =
            with_units_kept("<p>At 57 kJ/km or 8 km, 90 % of 3 W/mm²; 5 minutes, 4 miles.</p>");
        assert_eq!(
            kept,
            "<p>At 57\u{a0}kJ/km or 8\u{a0}km, 90\u{a0}% of 3\u{a0}W/mm²; 5 minutes, 4\u{a0}miles.</p>"
        );
        for same in [
            "viewBox=\"0 0 28 10\"",
            "d=\"M0 5H28\"",
            "no km here",
            "2 kmh",
            "",
        ] {
            assert_eq!(with_units_kept(same), same);
        }
    }

    #[test]
    fn no_text_ends_the_style() {
        assert_eq!(
            style_string("A \"B\\</style>\n"),
            "\"A \\22 B\\5c \\3c /style\\3e  \""
        );
    }
}
