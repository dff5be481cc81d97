//! Where the numbers of a file come from: its key-value metadata.
//!
//! The keys are part of the form: `docs/export.md` lists them. Nothing here changes from
//! run to run, so that the same input gives the same bytes: no date, no name of a file, no
//! machine.
use halfshaft_model::personal::clean;

/// Facts of the run that stand in every file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// Version of the program.
    pub program_version: String,
    /// Title of the signal map.
    pub map_title: String,
    /// Fingerprint of its text, hexadecimal.
    pub map_fingerprint: String,
    /// Name of the vehicle.
    pub vehicle: String,
    /// Fingerprints of the logs in the order they were given, hexadecimal.
    pub inputs: Vec<String>,
    /// What the stamps of the log count from: `unix`, `boot` or `relative`.
    pub clock_kind: String,
    /// Stamp of the first entry, ns: time 0 of every table.
    pub origin_ns: i64,
    /// Limits that were not the usual ones, `key=value` each.
    pub settings_changed: Vec<String>,
    /// What the drive was compared with, `key=value`, with the number of drives it is the
    /// median of.
    pub baseline: Vec<String>,
}

impl About {
    /// The metadata of a file whose form is `schema`.
    pub(crate) fn pairs(&self, schema: &str) -> Vec<(String, String)> {
        let pair = |key: &str, value: &str| (format!("halfshaft.{key}"), value.to_owned());
        vec![
            pair("schema", schema),
            pair("program", &self.program_version),
            pair("map.title", &clean(&self.map_title)),
            pair("map.fingerprint", &self.map_fingerprint),
            pair("vehicle", &clean(&self.vehicle)),
            pair("inputs", &self.inputs.join(" ")),
            pair("clock.kind", &self.clock_kind),
            pair("clock.origin_ns", &self.origin_ns.to_string()),
            pair("settings.changed", &self.settings_changed.join("; ")),
            pair("baseline", &self.baseline.join("; ")),
        ]
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_page_names_every_key() {
        let page = include_str!("../../../docs/export.md");
        for (key, _) in crate::testing::about().pairs("") {
            assert!(page.contains(&format!("`{key}`")), "{key}");
        }
    }
}
