//! The shape of `report.json`, field by field in the order written.
//!
//! These structs are the export's own: a field renamed in `health` does not rename a key.

use super::calibration::CalibrationJson;
use super::duty_picture::DutyPictureJson;
use super::findings::{FindingJson, NotCheckedJson};
use super::for_comparison::ForComparisonJson;
use super::judged::JudgedJson;
use super::laps::LapsJson;
use super::notices::NoticeJson;
use super::settings::SettingJson;
use super::use_class::ClassJson;
use crate::document::{ClockRecord, Document, InputRecord, MapRecord};
use crate::words::{NOT_FINITE, without_vehicle_number};
use halfshaft_health::Reason;
use halfshaft_health::{
    CannotTell, ChannelQuality, Event, EventKind, Figure, Gap, NoiseFloor, Quality, Region,
    Regions, Results, Tier,
};
use halfshaft_model::{Span, Stamp};
use serde::{Serialize, Serializer};
use std::borrow::Cow;

/// A list of pairs written as an object, in its own order.
pub(super) struct Ordered<K, V>(pub Vec<(K, V)>);

impl<K: Serialize, V: Serialize> Serialize for Ordered<K, V> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(key, value)| (key, value)))
    }
}

/// A number that may be unknown; one that is not finite is unknown.
pub(crate) fn known(value: impl Into<Option<f64>>) -> Option<f64> {
    value.into().filter(|number| number.is_finite())
}

#[derive(Serialize)]
pub(super) struct Report<'a> {
    schema: &'static str,
    tool_version: &'a str,
    map: MapJson<'a>,
    inputs: Vec<InputJson<'a>>,
    clock: ClockJson<'a>,
    provisional: bool,
    until_ns: i64,
    until_s: f64,
    tier: TierJson<'a>,
    quality: QualityJson<'a>,
    figures: Ordered<&'static str, FigureJson<'a>>,
    events: Vec<EventJson>,
    regions: RegionsJson,
    noise_floor: Option<NoiseJson>,
    tyre_ratio_log: Option<f64>,
    cannot_tell: Vec<CannotTellJson<'a>>,
    sanity: Vec<Cow<'a, str>>,
    notices: Vec<NoticeJson<'a>>,
    findings: Vec<FindingJson<'a>>,
    not_checked: Vec<NotCheckedJson<'a>>,
    class: ClassJson<'a>,
    calibration: CalibrationJson,
    laps: LapsJson,
    duty_picture: DutyPictureJson<'a>,
    #[serde(flatten)]
    judged: JudgedJson<'a>,
    assumptions: &'a [String],
    for_comparison: ForComparisonJson<'a>,
    compared_with: Option<Cow<'a, str>>,
    settings_changed: Vec<SettingJson<'a>>,
    command: Cow<'a, str>,
}

impl<'a> Report<'a> {
    pub(super) fn of(document: &'a Document) -> Report<'a> {
        let results: &Results = document.results;
        Report {
            schema: super::SCHEMA,
            tool_version: document.program_version,
            map: MapJson::of(&document.map),
            inputs: document
                .inputs
                .iter()
                .map(|input| InputJson::of(input, &document.clock))
                .collect(),
            clock: ClockJson::of(&document.clock),
            provisional: results.is_provisional,
            until_ns: results.until.0,
            until_s: results.until.seconds(),
            tier: TierJson::of(&results.tier),
            quality: QualityJson::of(&results.quality),
            figures: Ordered(
                results
                    .figures
                    .iter()
                    .map(|figure| (figure.name, FigureJson::of(figure)))
                    .collect(),
            ),
            events: results.events.iter().map(EventJson::of).collect(),
            regions: RegionsJson::of(&results.regions),
            noise_floor: results.noise_floor.as_ref().map(NoiseJson::of),
            tyre_ratio_log: known(results.tyre_ratio_log),
            cannot_tell: results.cannot_tell.iter().map(CannotTellJson::of).collect(),
            sanity: document
                .remarks
                .iter()
                .map(|remark| without_vehicle_number(remark))
                .collect(),
            notices: document.notices.iter().map(NoticeJson::of).collect(),
            findings: results.findings.iter().map(FindingJson::of).collect(),
            not_checked: results.not_checked.iter().map(NotCheckedJson::of).collect(),
            class: ClassJson::of(results),
            calibration: CalibrationJson::of(&results.calibration),
            laps: LapsJson::of(&results.laps),
            duty_picture: DutyPictureJson::of(&results.duty_picture),
            judged: JudgedJson::of(results),
            assumptions: &results.assumptions,
            for_comparison: ForComparisonJson::of(document),
            compared_with: document
                .compared_with
                .as_deref()
                .map(without_vehicle_number),
            settings_changed: SettingJson::all(&results.settings_changed),
            command: without_vehicle_number(&document.command),
        }
    }
}

#[derive(Serialize)]
struct MapJson<'a> {
    title: Cow<'a, str>,
    identity: Ordered<&'a str, Cow<'a, str>>,
    fingerprint: &'a str,
    vehicle: Cow<'a, str>,
    unit: Option<Cow<'a, str>>,
}

impl<'a> MapJson<'a> {
    fn of(map: &'a MapRecord) -> MapJson<'a> {
        MapJson {
            title: without_vehicle_number(&map.title),
            identity: Ordered(
                map.identity
                    .iter()
                    .map(|(label, text)| (label.as_str(), without_vehicle_number(text)))
                    .collect(),
            ),
            fingerprint: &map.fingerprint,
            vehicle: without_vehicle_number(&map.vehicle),
            unit: map.unit.as_deref().map(without_vehicle_number),
        }
    }
}

#[derive(Serialize)]
struct InputJson<'a> {
    name: Cow<'a, str>,
    format: &'a str,
    compression: Option<&'a str>,
    size: u64,
    fingerprint: &'a str,
    entries: u64,
    lines_skipped: u64,
    first_t_ns: Option<i64>,
    first_t: Option<f64>,
    first_utc: Option<String>,
    last_t_ns: Option<i64>,
    last_t: Option<f64>,
    last_utc: Option<String>,
    trouble: Option<&'a str>,
}

impl<'a> InputJson<'a> {
    fn of(input: &'a InputRecord, clock: &ClockRecord) -> InputJson<'a> {
        InputJson {
            name: without_vehicle_number(&input.name),
            format: &input.format,
            compression: input.compression.as_deref(),
            size: input.size_bytes,
            fingerprint: &input.fingerprint,
            entries: input.n_entries,
            lines_skipped: input.n_lines_skipped,
            first_t_ns: input.first_stamp.map(|stamp| stamp.0),
            first_t: input.first_stamp.map(Stamp::seconds),
            first_utc: input.first_stamp.and_then(|stamp| clock.utc(stamp)),
            last_t_ns: input.last_stamp.map(|stamp| stamp.0),
            last_t: input.last_stamp.map(Stamp::seconds),
            last_utc: input.last_stamp.and_then(|stamp| clock.utc(stamp)),
            trouble: input.trouble.as_deref(),
        }
    }
}

#[derive(Serialize)]
struct ClockJson<'a> {
    kind: &'static str,
    words: &'a str,
    first_ns: i64,
    first_utc: Option<String>,
    last_ns: i64,
    last_utc: Option<String>,
}

impl<'a> ClockJson<'a> {
    fn of(clock: &'a ClockRecord) -> ClockJson<'a> {
        ClockJson {
            kind: clock.kind.word(),
            words: &clock.words,
            first_ns: clock.first_stamp.0,
            first_utc: clock.utc(clock.first_stamp),
            last_ns: clock.last_stamp.0,
            last_utc: clock.utc(clock.last_stamp),
        }
    }
}

#[derive(Serialize)]
struct TierJson<'a> {
    number: Option<u8>,
    words: &'static str,
    next_step: &'a str,
}

impl<'a> TierJson<'a> {
    fn of(tier: &'a Tier) -> TierJson<'a> {
        TierJson {
            number: tier.number,
            words: tier.words,
            next_step: &tier.next_step,
        }
    }
}

#[derive(Serialize)]
pub(super) struct SpanJson {
    start_ns: i64,
    end_ns: i64,
    start_s: f64,
    end_s: f64,
}

impl SpanJson {
    pub(super) fn of(span: Span) -> SpanJson {
        SpanJson {
            start_ns: span.start.0,
            end_ns: span.end.0,
            start_s: span.start.seconds(),
            end_s: span.end.seconds(),
        }
    }
}

#[derive(Serialize)]
struct QualityJson<'a> {
    grade: &'static str,
    worst_factor: &'a str,
    coverage: Ordered<&'a str, CoverageJson>,
    n_gaps: u64,
    gaps: Vec<GapJson<'a>>,
}

impl<'a> QualityJson<'a> {
    fn of(quality: &'a Quality) -> QualityJson<'a> {
        let channels = quality.channels.iter();
        QualityJson {
            grade: quality.grade.letter(),
            worst_factor: &quality.worst_factor,
            coverage: Ordered(
                channels
                    .map(|channel| (channel.name.as_str(), CoverageJson::of(channel)))
                    .collect(),
            ),
            n_gaps: quality.n_gaps,
            gaps: quality.gaps.iter().map(GapJson::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct CoverageJson {
    share: Option<f64>,
    samples: u64,
    missing: u64,
    period_s: Option<f64>,
    gaps: u64,
    gap_s: Option<f64>,
}

impl CoverageJson {
    fn of(channel: &ChannelQuality) -> CoverageJson {
        CoverageJson {
            share: known(channel.coverage),
            samples: channel.n_samples,
            missing: channel.n_missing,
            period_s: known(channel.period_s),
            gaps: channel.n_gaps,
            gap_s: known(channel.gap_s),
        }
    }
}

#[derive(Serialize)]
struct GapJson<'a> {
    channel: &'a str,
    #[serde(flatten)]
    span: SpanJson,
}

impl<'a> GapJson<'a> {
    fn of(gap: &'a Gap) -> GapJson<'a> {
        GapJson {
            channel: &gap.channel,
            span: SpanJson::of(gap.span),
        }
    }
}

#[derive(Serialize)]
struct FigureJson<'a> {
    title: &'static str,
    value: Option<f64>,
    unit: &'static str,
    low: Option<f64>,
    high: Option<f64>,
    at_least: bool,
    grade: Option<&'static str>,
    method: &'a str,
    why_null: Option<String>,
}

impl<'a> FigureJson<'a> {
    fn of(figure: &'a Figure) -> FigureJson<'a> {
        let estimate = figure
            .outcome
            .as_ref()
            .ok()
            .filter(|estimate| estimate.value.is_finite());
        let why_null = match &figure.outcome {
            Err(why) => Some(why.to_string()),
            Ok(_) if estimate.is_none() => Some(NOT_FINITE.to_owned()),
            Ok(_) => None,
        };
        FigureJson {
            title: figure.title,
            value: estimate.map(|estimate| estimate.value),
            unit: figure.unit,
            low: estimate.and_then(|estimate| known(estimate.low)),
            high: estimate.and_then(|estimate| known(estimate.high)),
            at_least: estimate.is_some_and(|estimate| estimate.is_at_least),
            grade: figure
                .grade
                .filter(|_| estimate.is_some())
                .map(|grade| grade.letter()),
            method: &figure.method,
            why_null,
        }
    }
}

#[derive(Serialize)]
struct EventJson {
    kind: &'static str,
    #[serde(flatten)]
    span: SpanJson,
    duration_s: f64,
    command_peak: Option<f64>,
    slip_peak_rad_per_s: Option<f64>,
    heat_kj: Option<f64>,
    heat_peak_kw: Option<f64>,
    heat_mean_kw: Option<f64>,
    slip_distance_m: Option<f64>,
    partial_heat_making_s: Option<f64>,
    speed_peak_m_per_s: Option<f64>,
    broken: bool,
}

impl EventJson {
    fn of(event: &Event) -> EventJson {
        EventJson {
            kind: match event.kind {
                EventKind::Command => "command",
                EventKind::SlipOnly => "slip-only",
            },
            span: SpanJson::of(event.span),
            duration_s: event.span.seconds(),
            command_peak: known(event.command_peak),
            slip_peak_rad_per_s: known(event.slip_peak),
            heat_kj: known(event.heat_kj),
            heat_peak_kw: known(event.heat_peak_kw),
            heat_mean_kw: known(event.heat_mean_kw),
            slip_distance_m: known(event.slip_distance_m),
            partial_heat_making_s: known(event.partial_heat_making_s),
            speed_peak_m_per_s: known(event.speed_peak_m_per_s),
            broken: event.is_broken,
        }
    }
}

/// Region words with a number each.
type ByRegion = Ordered<&'static str, Option<f64>>;

#[derive(Serialize)]
struct RegionsJson {
    seconds: Option<ByRegion>,
    joules: Option<ByRegion>,
    why_null: Option<String>,
}

impl RegionsJson {
    fn of(regions: &Result<Regions, Reason>) -> RegionsJson {
        let by_region = |values: &[f64; 7]| {
            Ordered(
                Region::ALL
                    .iter()
                    .zip(values)
                    .map(|(region, &value)| (region.word(), known(value)))
                    .collect(),
            )
        };
        match regions {
            Ok(regions) => RegionsJson {
                seconds: Some(by_region(&regions.seconds)),
                joules: regions.joules.as_ref().map(by_region),
                why_null: regions
                    .joules
                    .is_none()
                    .then(|| "the torque of the pack is not known".to_owned()),
            },
            Err(why) => RegionsJson {
                seconds: None,
                joules: None,
                why_null: Some(why.to_string()),
            },
        }
    }
}

#[derive(Serialize)]
struct NoiseJson {
    slip_sd_rad_per_s: Option<f64>,
    slip_step_rad_per_s: Option<f64>,
    smallest_slip_rad_per_s: Option<f64>,
    samples: u64,
}

impl NoiseJson {
    fn of(floor: &NoiseFloor) -> NoiseJson {
        NoiseJson {
            slip_sd_rad_per_s: known(floor.slip_sd),
            // `health` writes a step it does not know as 0; a step of 0 does not exist.
            slip_step_rad_per_s: known(floor.slip_step).filter(|&step| step > 0.0),
            smallest_slip_rad_per_s: known(floor.smallest_slip),
            samples: floor.n_samples,
        }
    }
}

#[derive(Serialize)]
struct CannotTellJson<'a> {
    code: &'static str,
    question: &'static str,
    why: &'a str,
    next_time: &'a str,
}

impl<'a> CannotTellJson<'a> {
    fn of(item: &'a CannotTell) -> CannotTellJson<'a> {
        CannotTellJson {
            code: item.code,
            question: item.question,
            why: &item.why,
            next_time: &item.next_time,
        }
    }
}
