//! Numbers with their units on the command line, in the units of a signal map.
//!
//! In: text as `62mm` or `62 mm`. Out: SI, or what was wanted, what was found, and the range.

use halfshaft_model::Unit;
use halfshaft_model::unit::Dimension;

/// Number of friction surfaces. The range is that of sense, not of any pack.
pub fn faces(text: &str) -> Result<u32, String> {
    let wanted = || format!("expected a whole number from 1 to 200, as 16; found `{text}`");
    let n_faces: u32 = text.trim().parse().map_err(|_| wanted())?;
    match (1..=200).contains(&n_faces) {
        true => Ok(n_faces),
        false => Err(wanted()),
    }
}

/// A reading of the odometer, m. No car has gone further than the range.
pub fn mileage(text: &str) -> Result<f64, String> {
    quantity(text, "a distance", "84200km", &["km", "mi"], (0.0, 5e6))
}

/// A radius, m.
pub fn radius(text: &str) -> Result<f64, String> {
    quantity(
        text,
        "a length",
        "62mm",
        &["mm", "cm", "m", "in"],
        (5.0, 500.0),
    )
}

/// A share of groove, 0 to 1.
pub fn groove_share(text: &str) -> Result<f64, String> {
    quantity(text, "a share", "15%", &["%", "1"], (0.0, 90.0))
}

/// A coefficient of friction.
pub fn friction(text: &str) -> Result<f64, String> {
    quantity(text, "a number", "0.12", &["1"], (0.01, 1.0))
}

/// A preload, N·m.
pub fn preload(text: &str) -> Result<f64, String> {
    let units = ["N.m", "lbf.ft", "lbf.in"];
    quantity(text, "a torque", "100N.m", &units, (0.0, 2000.0))
}

/// An oil quantity, m³.
pub fn oil(text: &str) -> Result<f64, String> {
    quantity(text, "a volume", "1.2l", &["l", "ml"], (0.1, 20.0))
}

/// A factor on the cooling.
pub fn cooling(text: &str) -> Result<f64, String> {
    let trimmed = text.trim();
    let bare = trimmed
        .strip_suffix(['x', '×'])
        .map(str::trim_end)
        .filter(|bare| !bare.is_empty());
    quantity(
        bare.unwrap_or(trimmed),
        "a factor",
        "1.3x",
        &["1"],
        (0.1, 10.0),
    )
}

/// A silence of the bus, s.
pub fn silence(text: &str) -> Result<f64, String> {
    quantity(text, "a time", "30s", &["s", "min"], (1.0, 3600.0))
}

/// An amount of data, in bytes.
pub fn bytes(text: &str) -> Result<u64, String> {
    const UNITS: [(&str, f64); 8] = [
        ("kB", 1e3),
        ("MB", 1e6),
        ("GB", 1e9),
        ("TB", 1e12),
        ("KiB", 1024.0),
        ("MiB", 1048576.0),
        ("GiB", 1073741824.0),
        ("TiB", 1099511627776.0),
    ];
    let (low, high) = (65536.0, 1e15);
    let whole = "expected an amount of data from 64 KiB to 1000 TB, as 8MiB";
    let (value, spelling) = number_and_unit(text)
        .ok_or_else(|| format!("{whole}; found `{text}`, which is no number"))?;
    let factor = UNITS.iter().find(|(unit, _)| *unit == spelling);
    let (_, factor) = factor.ok_or_else(|| {
        let units = UNITS.map(|(unit, _)| unit).join(", ");
        format!("{whole}; found `{text}`, expected a unit: one of {units}")
    })?;
    match value * factor {
        amount if (low..=high).contains(&amount) => Ok(amount as u64),
        _ => Err(format!("{whole}; found `{text}`")),
    }
}

/// A quantity in one of some units; the range is in the first of them.
fn quantity(
    text: &str,
    what: &str,
    example: &str,
    units: &[&str],
    (low, high): (f64, f64),
) -> Result<f64, String> {
    let of_range = Unit::find(units[0]).expect("the first unit of each option is known");
    let range_unit = match units[0] {
        "1" => String::new(),
        unit => format!(" {unit}"),
    };
    let whole = format!("expected {what} from {low} to {high}{range_unit}, as {example}");
    let units_in_words = units.join(", ");
    let (value, spelling) = number_and_unit(text)
        .ok_or_else(|| format!("{whole}; found `{text}`, which is no number"))?;
    let symbol = match (spelling, of_range.dimension == Dimension::NONE) {
        ("", true) => "1",
        ("", false) => {
            return Err(format!(
                "{whole}; found `{text}`, which has no unit: one of {units_in_words}"
            ));
        }
        (spelling, _) => spelling,
    };
    let unit = Unit::find(symbol)
        .ok_or_else(|| format!("{whole}; found `{spelling}`, which is no unit known here"))?;
    if unit.dimension != of_range.dimension {
        let found = unit.dimension.describe();
        return Err(format!("{whole}; found `{spelling}`, which is {found}"));
    }
    // Angles are ratios and energies torques by dimension, and not by what is meant.
    if !units.contains(&unit.symbol) {
        return Err(format!(
            "{whole}; found `{spelling}`, expected one of {units_in_words}"
        ));
    }
    let si = unit.to_si(value);
    let (low, high) = (of_range.to_si(low), of_range.to_si(high));
    // What is written as an end of the range is in it, whichever unit it is written in.
    let slack = 1e-9 * high;
    if !(low - slack..=high + slack).contains(&si) {
        return Err(format!("{whole}; found `{text}`"));
    }
    Ok(si)
}

/// The longest beginning that is a number, and what follows it.
fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let is_number = |c: char| c.is_ascii_digit() || ".+-eE".contains(c);
    let reach = text.find(|c| !is_number(c)).unwrap_or(text.len());
    (1..=reach).rev().find_map(|end| {
        let value: f64 = text[..end].parse().ok()?;
        value.is_finite().then(|| (value, text[end..].trim_start()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_have_the_units_of_a_map() {
        let near = |got: Result<f64, String>, wanted: f64| {
            let got = got.unwrap();
            assert!((got - wanted).abs() < 1e-12, "{got} is not {wanted}");
        };
        near(radius("62mm"), 0.062);
        near(radius(" 6.2 cm"), 0.062);
        near(groove_share("15%"), 0.15);
        near(groove_share("0.15"), 0.15);
        near(friction("0.12"), 0.12);
        near(preload("100N.m"), 100.0);
        near(preload("1e2 Nm"), 100.0);
        near(oil("1.2l"), 1.2e-3);
        near(oil("900 ml"), 0.9e-3);
        near(cooling("1.3x"), 1.3);
        near(cooling("1.3"), 1.3);
        near(silence("30s"), 30.0);
        near(silence("2 min"), 120.0);
        assert_eq!(faces("16"), Ok(16));
        assert_eq!(bytes("8MiB"), Ok(8 << 20));
        assert_eq!(bytes("64 KiB"), Ok(65536));
        assert_eq!(bytes("1.5 GB"), Ok(1_500_000_000));
    }

    #[test]
    fn wrong_values_say_what_was_wanted_and_found() {
        #[track_caller]
        fn says(outcome: Result<f64, String>, words: [&str; 2]) {
            let told = outcome.unwrap_err();
            for word in words {
                assert!(told.contains(word), "`{word}` is not in `{told}`");
            }
        }
        says(radius("62"), ["5 to 500 mm", "no unit"]);
        says(radius("62 l"), ["a length", "a volume"]);
        says(radius("62 furlong"), ["`furlong`", "no unit known"]);
        says(radius("6.2 m"), ["5 to 500 mm", "`6.2 m`"]);
        says(radius("mm"), ["as 62mm", "no number"]);
        says(groove_share("15 deg"), ["a share", "expected one of %"]);
        says(groove_share("-1%"), ["0 to 90 %", "`-1%`"]);
        says(preload("100 kJ"), ["a torque", "N.m"]);
        says(friction("nan"), ["0.01 to 1", "no number"]);
        says(oil("0l"), ["0.1 to 20 l", "`0l`"]);
        says(cooling("x"), ["as 1.3x", "no number"]);
        says(silence("0.5s"), ["1 to 3600 s", "`0.5s`"]);
        says(silence("30"), ["as 30s", "no unit"]);
        for (text, word) in [
            ("8", "one of kB, MB"),
            ("8 mb", "one of kB, MB"),
            ("MiB", "no number"),
            ("1KiB", "`1KiB`"),
            ("-8MiB", "`-8MiB`"),
            ("1e300TB", "`1e300TB`"),
        ] {
            let said = bytes(text).unwrap_err();
            assert!(said.contains(word) && said.contains("as 8MiB"), "{said}");
        }
        assert!(faces("0").unwrap_err().contains("from 1 to 200"));
        assert!(faces("7.5").unwrap_err().contains("`7.5`"));
    }
}
