//! The invented cars of `signal-maps/` and the examples of the documentation.

use halfshaft_signal_map::{Checked, parse};
use std::path::Path;

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."))
}

#[track_caller]
fn sound(name: &str, text: &str) -> Checked {
    parse(name, text).unwrap_or_else(|mistakes| panic!("\n{}", mistakes.render(false)))
}

#[test]
fn every_example_car_is_sound_and_in_standard_form() {
    let mut n = 0;
    for entry in std::fs::read_dir(root().join("signal-maps")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "map") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let checked = sound(&name, &text);
        eprintln!("{}", checked.warnings.render(false));
        assert_eq!(halfshaft_signal_map::format(&name, &text).unwrap(), text);
        assert!(!checked.map.proofs.is_empty() || !checked.map.sheets.is_empty());
        n += 1;
    }
    assert!(n >= 2);
}
