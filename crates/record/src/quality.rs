//! What the log allows: channels, coverage, gaps, noise, and what stays open.

use halfshaft_health::{CannotTell as Open, ChannelQuality, Quality as Found};

use crate::macros::stored;
use crate::value::{Grade, Ordered, Span, known};

stored! {
    /// What the channels allow.
    Tier of tier: &halfshaft_health::Tier;
    /// 0 to 5; null without both rear wheel speeds.
    #[schemars(range(max = 5))]
    number: Option<u8> = tier.number,
    /// The same in words.
    words: String = tier.words.to_owned(),
    /// What the next channel would bring.
    next_step: String = tier.next_step.clone(),
}

stored! {
    /// How good the log is.
    Quality of quality: &Found;
    /// Grade of the whole log.
    grade: Grade = quality.grade.into(),
    /// What decides it.
    worst_factor: String = quality.worst_factor.clone(),
    /// By channel.
    coverage: Ordered<Coverage> = quality
        .channels
        .iter()
        .map(|channel| (channel.name.as_str(), Coverage::of(channel)))
        .collect(),
    /// All gaps.
    n_gaps: u64 = quality.n_gaps,
    /// The longest of them.
    gaps: Vec<Gap> = quality.gaps.iter().map(Gap::of).collect(),
}

stored! {
    /// How much of the drive a channel covers.
    Coverage of channel: &ChannelQuality;
    /// Share of the drive, 0 to 1.
    #[schemars(range(min = 0, max = 1))]
    share: Option<f64> ["1"] = known(channel.coverage),
    /// Samples.
    samples: u64 = channel.n_samples,
    /// Samples that the car or the map says are missing.
    missing: u64 = channel.n_missing,
    /// Median period.
    period_s: Option<f64> ["s"] = known(channel.period_s),
    /// Gaps.
    gaps: u64 = channel.n_gaps,
    /// Their length in all.
    gap_s: Option<f64> ["s"] = known(channel.gap_s),
}

stored! {
    /// One silence of a channel, from the last sample before it to the first one after it.
    Gap of gap: &halfshaft_health::Gap;
    /// Name of the channel, or `whole log`.
    channel: String = gap.channel.clone(),
    #[serde(flatten)]
    /// When it was.
    span: Span = Span::of(gap.span),
    /// Its length.
    duration_s: f64 ["s"] = gap.span.seconds(),
}

stored! {
    /// The noise of the slip, learned from this drive.
    NoiseFloor of floor: &halfshaft_health::NoiseFloor;
    /// Standard deviation of one sample.
    slip_sd_rad_per_s: Option<f64> ["rad/s"] = known(floor.slip_sd),
    /// Step of the wheel-speed number. `health` writes one it does not know as 0, and a step of 0
    /// does not exist.
    slip_step_rad_per_s: Option<f64> ["rad/s"] = known(floor.slip_step).filter(|&step| step > 0.0),
    /// Smallest slip that stands out of the noise.
    smallest_slip_rad_per_s: Option<f64> ["rad/s"] = known(floor.smallest_slip),
    /// Samples it was learned from.
    samples: u64 = floor.n_samples,
}

stored! {
    /// A question left open.
    CannotTell of item: &Open;
    /// Stable word.
    code: String = item.code.to_owned(),
    /// The question.
    question: String = item.question.to_owned(),
    /// Why it is open.
    why: String = item.why.clone(),
    /// What to log, or to add to the map.
    next_time: String = item.next_time.clone(),
}
