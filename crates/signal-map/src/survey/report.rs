//! The survey as values, and as plain lines of text.

use halfshaft_model::{FrameId, MapUnit};

use super::remark::{Kind, Remark};
use crate::decode::coverage::FrameCoverage;

/// How a log fits a map.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SurveyReport {
    /// One for each frame of the map.
    pub frames: Vec<FrameSurvey>,
    /// One for each channel of the map.
    pub channels: Vec<ChannelSurvey>,
    /// The most frequent identifiers that are not in the map: identifier, bus, how many.
    pub unmapped: Vec<(FrameId, String, u64)>,
    /// How many identifiers are not in the map.
    pub n_unmapped_ids: u64,
    /// How many frames they make.
    pub n_unmapped: u64,
    /// Entries of the log.
    pub n_entries: u64,
    /// Entries of frames and columns that are in the map.
    pub n_mapped: u64,
    /// What looks wrong.
    pub remarks: Vec<Remark>,
}

/// How one frame of the map fared.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameSurvey {
    /// Identifier.
    pub id: FrameId,
    /// Line of the map.
    pub line: usize,
    /// Period the map states, s.
    pub stated_period_s: Option<f64>,
    /// Whether the map gives it a counter and a checksum.
    pub has_counter: bool,
    /// See there.
    pub has_checksum: bool,
    /// Counts, bus, found period, lengths.
    pub coverage: FrameCoverage,
}

/// How one channel of the map fared.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSurvey {
    /// Its name.
    pub name: String,
    /// The unit of the map, in which its line shows the range.
    pub unit: MapUnit,
    /// Whether it is worked out from others.
    pub is_derived: bool,
    /// Samples, missing ones included.
    pub n: u64,
    /// Share of samples that are missing; 0 when there is none.
    pub share_missing: f64,
    /// Values outside the range the map believes.
    pub n_beyond_belief: u64,
    /// Samples the car itself calls faulty, and floats that are not finite.
    pub n_broken: u64,
    /// Least and greatest value, SI.
    pub range: Option<(f64, f64)>,
}

impl SurveyReport {
    /// Checks that the values make sense: how many were passed, and of how many. Time that
    /// stands twice weighs as one that was not: sums of it may be too large.
    pub fn passed(&self) -> (usize, usize) {
        let all = Kind::OF_VALUES;
        let is_raised = |kind: &Kind| self.remarks.iter().any(|remark| remark.kind == *kind);
        let n_raised = all.iter().filter(|kind| is_raised(kind)).count();
        let n_twice = usize::from(is_raised(&Kind::TimeTwice));
        (all.len().saturating_sub(n_raised + n_twice), all.len())
    }

    /// The report in plain words, one fact a line.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "{} of {} entries are in the map; {} frames of {} other identifiers are not",
            self.n_mapped, self.n_entries, self.n_unmapped, self.n_unmapped_ids
        )];
        lines.extend(self.frames.iter().map(FrameSurvey::line));
        lines.extend(self.channels.iter().map(ChannelSurvey::line));
        if !self.unmapped.is_empty() {
            let ids = self.unmapped.iter().map(|(id, bus, n)| match bus.as_str() {
                "" => format!("{id} ({n})"),
                bus => format!("{id} on {bus} ({n})"),
            });
            lines.push(format!(
                "not in the map, most frequent first: {}",
                ids.collect::<Vec<_>>().join(", ")
            ));
        }
        if self.remarks.is_empty() {
            lines.push("nothing looks wrong".to_owned());
        }
        lines.extend(self.remarks.iter().map(Remark::to_string));
        lines
    }
}

impl FrameSurvey {
    fn line(&self) -> String {
        let seen = &self.coverage;
        if seen.n_seen == 0 {
            return format!("frame {}: never seen", self.id);
        }
        let mut line = format!("frame {}: seen {} times", self.id, seen.n_seen);
        if let Some(bus) = seen.bus.as_deref().filter(|bus| !bus.is_empty()) {
            line += &format!(" on {bus}");
        }
        line += &match (seen.period_s, self.stated_period_s) {
            (Some(found), Some(stated)) => format!(
                ", every {:.1} ms (map: {:.1} ms)",
                found * 1e3,
                stated * 1e3
            ),
            (Some(found), None) => format!(", every {:.1} ms", found * 1e3),
            (None, Some(stated)) => {
                format!(", too few to find a period (map: {:.1} ms)", stated * 1e3)
            }
            (None, None) => String::new(),
        };
        line += &format!(", {} bytes", lengths_seen(seen, " or "));
        if let Some(longest_s) = seen.longest_gap_s.filter(|_| seen.n_gaps > 0) {
            let (n, all_s) = (seen.n_gaps, seen.in_gaps_s);
            line += &format!(", {n} gaps ({all_s:.2} s in all, longest {longest_s:.2} s)");
        }
        if self.has_counter {
            line += &format!(", {} counter skips", seen.n_counter_skips);
        }
        if self.has_checksum {
            line += &format!(", {} checksum failures", seen.n_checksum_wrong);
        }
        for (n, what) in [
            (seen.n_duplicated, "copies dropped"),
            (seen.n_elsewhere, "more on another bus"),
            (seen.n_late, "late ones dropped"),
        ] {
            if n > 0 {
                line += &format!(", {n} {what}");
            }
        }
        line
    }
}

impl ChannelSurvey {
    fn line(&self) -> String {
        if self.n == 0 {
            return format!("channel {}: no sample", self.name);
        }
        let mut line = format!("channel {}: {} samples", self.name, self.n);
        if let Some((low, high)) = self.range {
            let unit = &self.unit;
            let [low, high] = [low, high].map(|si| short(unit.of_si(si)));
            // A bare number has no unit to print.
            let symbol = if unit.symbol == "1" { "" } else { unit.symbol };
            line += format!(", {low} to {high} {symbol}").trim_end();
        }
        if self.share_missing > 0.0 {
            line += &format!(", {:.1} % missing", self.share_missing * 100.0);
        }
        if self.n_beyond_belief > 0 {
            line += &format!(", {} outside the believed range", self.n_beyond_belief);
        }
        if self.n_broken > 0 {
            line += &format!(", {} reported faulty", self.n_broken);
        }
        line.trim_end().to_owned()
    }
}

/// The lengths of a frame in the log, `between` each and the next.
pub(crate) fn lengths_seen(seen: &FrameCoverage, between: &str) -> String {
    let lengths = seen.lengths.iter().map(|(length, _)| length.to_string());
    lengths.collect::<Vec<_>>().join(between)
}

/// Four figures or so, without needless zeros.
pub(crate) fn short(value: f64) -> String {
    let decimals = match value.abs() {
        v if !v.is_finite() => return "–".to_owned(),
        v if v >= 1e7 => return format!("{value:.2e}"),
        // What rounding leaves of a zero.
        v if v < 1e-9 => return "0".to_owned(),
        v if v >= 1000.0 => 0,
        v if v >= 100.0 => 1,
        v if v >= 1.0 => 2,
        v if v >= 0.001 => 4,
        _ => return format!("{value:.2e}"),
    };
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::short;

    #[test]
    fn numbers_are_short() {
        let values = [0.0, 1234.56, 123.456, -3.25678, 20.0, 0.01234, 1e-7, -1e-15];
        let want = [
            "0", "1235", "123.5", "-3.26", "20", "0.0123", "1.00e-7", "0",
        ];
        assert_eq!(values.map(short), want);
    }
}
