//! From what was counted to remarks.

use super::limits;
use super::remark::{Kind, Remark};
use super::report::{ChannelSurvey, FrameSurvey, SurveyReport, lengths_seen, short};
use super::{Survey, agreement};
use crate::decode::coverage::{Coverage, FrameCoverage};
use crate::map::FrameSpec;
use halfshaft_model::channel::name;

pub(crate) fn report(survey: &Survey, coverage: &Coverage) -> SurveyReport {
    let mut report = SurveyReport {
        n_unmapped_ids: survey.unmapped.len() as u64,
        n_unmapped: survey.n_unmapped,
        n_entries: coverage.n_entries,
        n_mapped: coverage.n_mapped,
        ..SurveyReport::default()
    };
    let mut ids: Vec<_> = survey
        .unmapped
        .iter()
        .map(|(&(bus, id), &n)| (n, id, bus))
        .collect();
    ids.sort_unstable_by_key(|&(n, id, bus)| (std::cmp::Reverse(n), id, bus));
    ids.truncate(limits::LISTED_IDS);
    report.unmapped = ids
        .into_iter()
        .map(|(n, id, bus)| (id, survey.buses.name(bus).to_owned(), n))
        .collect();
    let mut remarks = Remarks::default();
    report.frames = frames(survey, coverage, &mut remarks);
    report.channels = channels(survey, &mut remarks);
    byte_orders(survey, &mut remarks);
    same_signals(survey, &mut remarks);
    agreement::judge(survey, &mut remarks);
    time_twice(coverage, &mut remarks);
    report.remarks = remarks.0;
    report
        .remarks
        .sort_by(|a, b| (a.kind, &a.subject).cmp(&(b.kind, &b.subject)));
    report
}

/// The same stretch of the clock twice is a copy, or the clock was set back: the sums do not
/// know.
fn time_twice(coverage: &Coverage, remarks: &mut Remarks) {
    let twice_s = coverage.twice_ns as f64 * 1e-9;
    if twice_s > limits::TWICE_FROM_S {
        let text = format!(
            "its clock passes through {} s twice: where that is a copy, everything in it is counted twice; where the \
             clock was set back, it is right",
            short(twice_s)
        );
        remarks.add(Kind::TimeTwice, "the log", text, &[("twice_s", twice_s)]);
    }
}

#[derive(Default)]
pub(crate) struct Remarks(Vec<Remark>);

impl Remarks {
    pub(crate) fn add(
        &mut self,
        kind: Kind,
        subject: &str,
        text: String,
        numbers: &[(&'static str, f64)],
    ) {
        self.0.push(Remark {
            kind,
            subject: subject.to_owned(),
            text,
            numbers: numbers.to_vec(),
        });
    }
}

fn share(n: u64, of: u64) -> f64 {
    if of == 0 { 0.0 } else { n as f64 / of as f64 }
}

fn frames(survey: &Survey, coverage: &Coverage, remarks: &mut Remarks) -> Vec<FrameSurvey> {
    let mut all = Vec::new();
    let mut coverage = coverage.frames.iter().cloned();
    for spec in &survey.map.frames {
        let seen = coverage.next().unwrap_or_default();
        frame(spec, &seen, remarks);
        all.push(FrameSurvey {
            id: spec.id,
            line: spec.line,
            stated_period_s: spec.period_s,
            has_counter: spec.counter.is_some(),
            has_checksum: spec.checksum.is_some(),
            coverage: seen,
        });
    }
    all
}

fn frame(spec: &FrameSpec, seen: &FrameCoverage, remarks: &mut Remarks) {
    let subject = format!("frame {}", spec.id);
    let mut add = |kind, text: String, numbers: &[_]| remarks.add(kind, &subject, text, numbers);
    let (n, of) = (|n: u64| ("n", n as f64), ("of", seen.n_seen as f64));
    if seen.n_seen == 0 {
        let text = format!("never seen (map line {})", spec.line);
        add(Kind::NeverSeen, text, &[]);
    }
    if let Some((found, stated)) = seen.period_s.zip(spec.period_s)
        && (found / stated - 1.0).abs() > limits::PERIOD_OFF
    {
        let (found_ms, stated_ms) = (found * 1e3, stated * 1e3);
        let text = format!("comes every {found_ms:.1} ms, the map says {stated_ms:.1} ms");
        let numbers = [("found_s", found), ("stated_s", stated)];
        add(Kind::PeriodOff, text, &numbers);
    }
    if seen.n_other_length > 0 {
        let (other, n_seen, length) = (seen.n_other_length, seen.n_seen, spec.length);
        let lengths = lengths_seen(seen, ", ");
        let text = format!(
            "{other} of {n_seen} have another length than the {length} bytes of the map (seen: {lengths})"
        );
        add(Kind::OtherLength, text, &[n(other), of]);
    }
    if seen.n_counter_skips > 0 {
        let (skips, lost) = (seen.n_counter_skips, seen.n_lost);
        let skipped = match skips {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        let frames = if lost == 1 { "frame is" } else { "frames are" };
        let text = format!("the counter skips {skipped}, about {lost} {frames} lost");
        let numbers = [("skips", skips as f64), ("lost", lost as f64)];
        add(Kind::CounterSkips, text, &numbers);
    }
    if seen.n_checksum_wrong > 0 {
        let (wrong, n_seen) = (seen.n_checksum_wrong, seen.n_seen);
        let text = format!("the checksum does not fit in {wrong} of {n_seen}");
        add(Kind::ChecksumFails, text, &[n(wrong), of]);
    }
    if seen.n_elsewhere > 0 {
        let (elsewhere, bus) = (seen.n_elsewhere, seen.bus.as_deref().unwrap_or("the first"));
        let text = format!(
            "also on another bus ({elsewhere} frames); {bus} is used: let the map say which bus it is on"
        );
        add(Kind::OnTwoBuses, text, &[n(elsewhere)]);
    }
}

fn channels(survey: &Survey, remarks: &mut Remarks) -> Vec<ChannelSurvey> {
    let mut all = Vec::new();
    for (index, spec) in survey.map.channels.iter().enumerate() {
        let (watch, codes) = (&survey.columns[index], &survey.codes[index]);
        let role = spec.role.map_or("", |role| role.name);
        let mut add =
            |kind, text: String, numbers: &[_]| remarks.add(kind, &spec.name, text, numbers);
        if watch.n == 0 {
            add(Kind::NeverSeen, "no sample in this log".to_owned(), &[]);
        }
        let beyond = share(codes.n_beyond_belief, codes.n);
        if beyond > limits::BEYOND_BELIEF_SHARE {
            let percent = beyond * 100.0;
            let text =
                format!("{percent:.1} % of the values are outside the range the map believes");
            let numbers = [("share", beyond), ("n", codes.n_beyond_belief as f64)];
            add(Kind::BeyondBelief, text, &numbers);
        }
        let outside = share(watch.n_outside_voltage, watch.n - watch.n_missing);
        if role == name::SUPPLY_VOLTAGE && outside > limits::VOLTAGE_SHARE {
            let (low, high) = watch.range.unwrap_or_default();
            let text = format!(
                "outside 9 to 16 V in {:.1} % of the samples ({} to {} V)",
                outside * 100.0,
                short(low),
                short(high)
            );
            let numbers = [("share", outside), ("low_v", low), ("high_v", high)];
            add(Kind::VoltageOdd, text, &numbers);
        }
        if role.ends_with(".temperature") && watch.n_too_fast > 0 {
            let (n, fastest) = (watch.n_too_fast, watch.fastest);
            let text = format!(
                "jumps {n} times, at up to {} °C/s; oil and metal take longer",
                short(fastest)
            );
            let numbers = [("n", n as f64), ("fastest_k_per_s", fastest)];
            add(Kind::TemperatureJumps, text, &numbers);
        }
        all.push(ChannelSurvey {
            name: spec.name.clone(),
            unit: spec.shown_unit(),
            is_derived: is_derived(survey, index),
            n: watch.n,
            share_missing: share(watch.n_missing, watch.n),
            n_beyond_belief: codes.n_beyond_belief,
            n_broken: codes.n_broken,
            range: watch.range,
        });
    }
    all
}

fn is_derived(survey: &Survey, channel: usize) -> bool {
    survey
        .map
        .derived
        .iter()
        .any(|derived| derived.channel == channel)
}

fn byte_orders(survey: &Survey, remarks: &mut Remarks) {
    for (frame, watches) in survey.map.frames.iter().zip(&survey.raw) {
        for (signal, watch) in frame.signals.iter().zip(watches) {
            let order = watch.order.as_ref();
            let times = order.and_then(|order| order.times_rougher(limits::BYTES_STEPS));
            let spec = survey.map.channels.get(signal.channel);
            let Some((times, spec)) = times.zip(spec) else {
                continue;
            };
            if times > limits::BYTES_ROUGHER {
                let text = format!(
                    "looks byte-swapped: {} times smoother with its bytes in {} the other way round (map line {})",
                    short(times),
                    frame.id,
                    signal.line
                );
                let numbers = [("times_smoother", times)];
                remarks.add(Kind::ByteSwapped, &spec.name, text, &numbers);
            }
        }
    }
}

/// The wheels that the clutch ties.
const REAR_WHEELS: [&str; 2] = [name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT];

fn same_signals(survey: &Survey, remarks: &mut Remarks) {
    let specs = &survey.map.channels;
    let measured = (0..specs.len()).filter(|index| !is_derived(survey, *index));
    let measured: Vec<usize> = measured.collect();
    for (at, &first) in measured.iter().enumerate() {
        for &second in &measured[at + 1..] {
            if specs[first].dimension != specs[second].dimension {
                continue;
            }
            let (first_name, second_name) = (&specs[first].name, &specs[second].name);
            // A pack that sticks ties them; whether they are one signal the bends show, later.
            if [first_name, second_name]
                .iter()
                .all(|name| REAR_WHEELS.contains(&name.as_str()))
            {
                continue;
            }
            if let Some(n) = survey.columns[first].same_changes(&survey.columns[second]) {
                let text = format!("the same signal as {first_name}: {n} changes are identical");
                remarks.add(
                    Kind::SameSignal,
                    second_name,
                    text,
                    &[("changes", n as f64)],
                );
            }
        }
    }
}
