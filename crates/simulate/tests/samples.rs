//! The committed sample logs are what this crate writes, byte for byte.

use halfshaft_simulate::{Truth, scenarios, to_text};
use std::fs;
use std::path::Path;

#[test]
fn committed_samples_are_reproducible() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sample-logs");
    for scenario in scenarios() {
        let (text, truth) = to_text(&scenario);
        let compressed = fs::read(folder.join(format!("{}.log.zst", scenario.name))).unwrap();
        assert!(
            compressed.len() < 2_000_000,
            "{} has {} bytes",
            scenario.name,
            compressed.len()
        );
        let committed = zstd::decode_all(&compressed[..]).unwrap();
        assert!(
            committed == text.as_bytes(),
            "{}: run the example make-samples",
            scenario.name
        );
        let json =
            fs::read_to_string(folder.join(format!("{}.truth.json", scenario.name))).unwrap();
        assert_eq!(json, truth.to_json());
        assert_eq!(serde_json::from_str::<Truth>(&json).unwrap(), truth);
        let readme = fs::read_to_string(folder.join("README.md")).unwrap();
        assert!(
            readme.contains(&scenario.name),
            "{} is not in sample-logs/README.md",
            scenario.name
        );
    }
}
