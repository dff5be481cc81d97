//! Builds the figures of the report from the sums: value, band, grade, method, or why not.
//!
//! In: what the other files summed, and the gate that says what of it is believed. Out: one
//! [`Figure`] per name, in the order of the report. Cautions about the sources that a figure was
//! made from reach its grade and its band by themselves. To add a figure add its name to
//! [`FigureId`], its function to the file of its kind and its line in [`all`].

pub(crate) mod actuator;
pub(crate) mod duty;
mod engagement;
mod heat;
mod heat_parts;
pub(crate) mod holding;
mod motion;
mod thermal;

use crate::Calibration;
use crate::figure_id::FigureId;
use crate::reason::Reason;
use halfshaft_driveline::thermal::ThermalEstimate;
use halfshaft_driveline::{Basis, MISMATCH_NOT_LEARNED, SIGNIFICANT_SDS};
use halfshaft_model::Vehicle;

use crate::actuator::Actuator;
use crate::band::Tolerances;
use crate::baseline::Baseline;
use crate::highest::Highest;
use crate::ledger::Ledger;
use crate::limits::{Limits, SDS_OF_90};
use crate::nouns::{Estimate, Figure, Grade};
use crate::sums::Sums;
use crate::trust::{Asked, CAUSES, COMMAND, Gate, HEAT, Kept, OIL};

use self::engagement::{engagements, partial_by_command, partial_heat_making, slip_peak};
use self::heat::{heat_peak, heat_per_km, heat_total, oil_temp_max};
use self::heat_parts::{Specific, heat_by_cause, heat_per_degree, specific, specific_power};
use self::motion::{distance, duration, moving_time, turned, tyre_ratio};

/// Everything the figures are made from.
#[derive(Debug)]
pub struct Ingredients<'a> {
    /// What is believed.
    pub gate: &'a Gate,
    /// What the derivation rests on.
    pub basis: &'a Basis,
    /// Sums over the rows.
    pub sums: &'a Sums,
    /// Tolerances.
    pub tolerances: Tolerances,
    /// Length of the drive, s.
    pub duration_s: f64,
    /// Time of the drive that the rear wheels do not cover, s.
    pub hidden_s: f64,
    /// A highest value rests on single samples: whether it may be given, or why not.
    pub peaks: Result<(), Reason>,
    /// Seconds by level of the command, or why there are none.
    pub command: &'a Kept<Option<halfshaft_driveline::CommandTime>, COMMAND>,
    /// Period of the command, s.
    pub command_period_s: f64,
    /// Engagements, how many of them a gap breaks, and how many may be the second half of
    /// the one before.
    pub engagements: (u64, u64, u64),
    /// Highest oil temperature, °C.
    pub oil_c: Kept<Option<f64>, OIL>,
    /// Where its sensor sits, in words.
    pub oil_site: &'static str,
    /// Engagements that there may be fewer and more, for what period and step leave open.
    pub engagements_off: (f64, f64),
    /// Torque of one pack above which slip counts as partial engagement, N·m.
    pub torque_floor_nm: f64,
    /// Bias of the yaw sensor as seen at standstill, rad/s.
    pub standing_yaw: Option<f64>,
    /// Period of the wheel samples, s.
    pub wheel_period_s: f64,
    /// Coverage of the rear wheels, 0 to 1.
    pub wheel_coverage: f64,
    /// Source of the turning rate in words.
    pub turning_words: &'static str,
    /// Wheel samples per second are at least those of a tenth of the shortest slip.
    pub resolution: f64,
    /// The tyres' rolling ratio.
    pub calibration: &'a Calibration,
    /// Heat by cause.
    pub ledger: &'a Kept<Ledger, CAUSES>,
    /// The same in bends only.
    pub bend_ledger: &'a Kept<Ledger, CAUSES>,
    /// Heat of the hottest event, kJ.
    pub hottest_event_kj: Kept<Option<f64>, HEAT>,
    /// Net lining area of all packs, mm², or what is missing.
    pub area_mm2: Result<f64, Reason>,
    /// The limits in force.
    pub limits: &'a Limits,
    /// Answers of the actuator, or why there are none.
    pub actuator: &'a Result<Actuator, Reason>,
    /// What to compare with.
    pub baseline: &'a Baseline,
    /// The vehicle.
    pub vehicle: &'a Vehicle,
    /// Temperatures, or why there are none.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
    /// Oil temperature to warn at, °C.
    pub oil_warn_c: f64,
    /// Torque source in words.
    pub torque_words: String,
}

/// Engagements come no closer than this from start to start, s: 0.04 s to rise, 0.3 s
/// apart, and what an actuator needs.
const SHORTEST_PAIR_S: f64 = 0.5;

/// A figure of what was asked for: cautions about that lower its grade and open its band.
fn figure(
    asked: &Asked,
    id: FigureId,
    title: &'static str,
    unit: &'static str,
    outcome: Result<Estimate, Reason>,
    factor: f64,
    method: String,
) -> Figure {
    let mut figure = Figure {
        id,
        title,
        unit,
        grade: outcome.is_ok().then(|| Grade::of(factor)),
        outcome,
        method,
    };
    let (Ok(estimate), Some(grade)) = (&mut figure.outcome, &mut figure.grade) else {
        return figure;
    };
    for doubt in asked.doubts() {
        *grade = (*grade).max(Grade::of(doubt.factor));
        if doubt.is_upper_bound {
            estimate.low = estimate.low.min(0.0);
            figure.method.push_str("; an upper bound: ");
            figure.method.push_str(&doubt.why.to_string());
        }
    }
    figure
}

/// All figures.
pub fn all(from: &Ingredients) -> Vec<Figure> {
    let heat = heat_total(from);
    let heat_peak = heat_peak(from);
    let oil = oil_temp_max(from);
    let [turn_total, heading_total] = turned(from);
    vec![
        duration(from),
        moving_time(from),
        distance(from),
        turn_total,
        heading_total,
        slip_peak(from),
        partial_by_command(from),
        partial_heat_making(from),
        engagements(from),
        heat.clone(),
        heat_peak.clone(),
        heat_per_km(from, &heat),
        oil.clone(),
        tyre_ratio(from),
        heat_per_degree(from),
    ]
    .into_iter()
    .chain(heat_by_cause(from, &heat))
    .chain([
        specific(from, &Specific::ENERGY, from.hottest_event_kj),
        specific_power(from, &heat_peak),
    ])
    .chain(actuator::times(from))
    .chain([
        actuator::health(from),
        thermal::pack_temp_max(from),
        thermal::oil_headroom(from, &oil),
    ])
    .collect()
}

/// The figure of that name.
pub fn named(figures: &[Figure], id: FigureId) -> Option<&Figure> {
    figures.iter().find(|figure| figure.id == id)
}

/// The number of the figure of that name, or why there is none.
pub fn estimate_of(figures: &[Figure], id: FigureId) -> Result<Estimate, Reason> {
    named(figures, id)
        .ok_or(Reason::NoFigure(id))?
        .outcome
        .clone()
}

impl Ingredients<'_> {
    /// ln of the tyre ratio, 0 while it is not known.
    fn ratio_log(&self) -> f64 {
        self.calibration
            .outcome
            .as_ref()
            .map_or(0.0, |ratio| ratio.ratio_log)
    }

    fn ratio_band(&self) -> (f64, f64) {
        // With what the preload may hide: that is heat of the mismatch as well.
        let unknown = (-MISMATCH_NOT_LEARNED, MISMATCH_NOT_LEARNED);
        let ratio = self.calibration.outcome.as_ref();
        ratio.map_or(unknown, |ratio| (ratio.low, ratio.high))
    }

    /// A highest value of the moment with its band; `None` without a sample. `ends` are the same
    /// at the least and the most of a torque that is not known to the moment, 0 where it is.
    ///
    /// The highest of many noisy samples picks the noise that points its way, so the truth may be
    /// lower by three deviations of what noise the value holds. It may be higher where smoothing
    /// took the tip off, which happens within the noise of a sample only, and by what lies
    /// between two samples. All are independent, the last is one-sided.
    fn highest(&self, highest: &Highest, tolerance: f64, ends: [f64; 2]) -> Option<Estimate> {
        let (value, _) = highest.peak?;
        let noise = highest.per_slip * self.gate.slip_sd();
        let by_map = SDS_OF_90 * tolerance * value;
        let [least, most] = match ends[1] > 0.0 {
            true => [value - ends[0], ends[1] - value],
            false => [0.0; 2],
        };
        let below = by_map
            .hypot(SIGNIFICANT_SDS * highest.noise_share * noise)
            .hypot(least);
        let above = by_map.hypot(SDS_OF_90 * noise).hypot(most);
        Some(Estimate {
            value,
            low: (value - below).max(0.0),
            high: value + above + highest.between_samples(),
            // Slips last 50 to 150 ms: slow samples miss the highest of them.
            is_at_least: self.hidden_s > self.limits.driving.uncovered_from_s
                || self.resolution_period() > self.limits.trust.peak_period_s,
        })
    }

    /// Noise of one road speed, as a standard deviation, m/s: that of the mean of two wheels.
    fn speed_noise(&self) -> f64 {
        let per_difference = self.basis.slip.as_ref().map_or(0.5, |factors| factors.0);
        let of_difference = self.gate.slip_sd() / per_difference.abs().max(1e-3);
        0.5 * of_difference * self.basis.radius_m.unwrap_or(0.0)
    }

    /// Trust in what parts the heat by cause: the tyres' ratio.
    fn split_factor(&self) -> f64 {
        let ratio = self.calibration.outcome.as_ref();
        let unknown = self.limits.grades.unknown_ratio;
        ratio.map_or(unknown, |ratio| ratio.grade_factor)
    }

    /// Period of the wheel samples, s, behind the resolution factor.
    fn resolution_period(&self) -> f64 {
        // `resolution` is 1 up to the sharp period and falls as that over the period.
        self.limits.trust.sharp_period_s / self.resolution.max(1e-3)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::gate;
    use crate::trust::{Doubt, Source, Verdict, on};

    #[test]
    fn an_upper_bound_may_be_nothing_and_has_the_grade_of_its_caution() {
        let mut gate = gate(&[]);
        let doubt = Doubt {
            why: Reason::NoGrip,
            factor: 0.1,
            is_upper_bound: true,
        };
        gate.judge(Source::Torque, Verdict::Doubtful(doubt));
        let made_on = |source: Source| {
            let asked = gate.asking();
            let estimate = Estimate {
                value: 10.0,
                low: 9.0,
                high: 11.0,
                is_at_least: false,
            };
            let outcome = asked.rest_on(on(&[source])).map(|()| estimate);
            let made = figure(
                &asked,
                FigureId::HeatTotal,
                "Heat",
                "kJ",
                outcome,
                1.0,
                String::new(),
            );
            let estimate = made.outcome.expect("nothing is withheld");
            (estimate.low, estimate.high, made.grade)
        };
        assert_eq!(made_on(Source::Slip), (9.0, 11.0, Some(Grade::A)));
        assert_eq!(made_on(Source::Torque), (0.0, 11.0, Some(Grade::D)));
    }
}
