//! Figures of a run with the band that the unknowns' covariance makes.
//!
//! In: the drive laid out, the likeliest unknowns and their covariance. Out: values with
//! 90 % intervals by first order: variance gᵀ·C·g with g the change of the figure per standard
//! deviation of each unknown.

use halfshaft_model::{Site, Time, at_once};

use crate::linear::{Square, variance};
use crate::normal::SDS_OF_90;

use super::estimate::{Estimate, Peak, TracePoint, UnknownEstimate};
use super::prepared::Prepared;
use super::run::run;
use super::step::Temperatures;
use super::unknowns::{FARTHEST_SDS, FitOutcome, N_UNKNOWNS, Unknowns, Values, Vector};

/// Points of the trace for plots.
const N_TRACE: usize = 600;

/// Step of the derivatives, in standard deviations: wide enough to feel how the model bends.
const BAND_STEP: f64 = 0.3;

/// An unknown counts as told by the drive when its tolerance fell to this share.
const FITTED_SHARE: f64 = 2.0 / 3.0;

/// A drive with what is known of its unknowns.
pub struct View<'a> {
    /// The drive.
    pub prepared: &'a Prepared,
    /// What was known before.
    pub unknowns: &'a Unknowns,
    /// Where the sensor sits.
    pub site: Site,
    /// The likeliest place.
    pub z: Vector,
    /// Covariance of the unknowns in units of their tolerances.
    pub covariance: Square<N_UNKNOWNS>,
}

/// The course of a drive.
pub struct Course {
    /// Points for plots.
    pub trace: Vec<TracePoint>,
    /// The hottest the pack was.
    pub pack_max: Peak,
    /// The hottest the oil was.
    pub oil_max: Peak,
    /// The temperatures at the end.
    pub end: Temperatures,
}

/// What of a run goes into the course.
#[derive(Clone, Default)]
struct Highs {
    pack: Vec<f64>,
    pack_max: (f64, f64),
    oil_max: (f64, f64),
}

impl View<'_> {
    /// The course of the temperatures.
    pub fn course(&self) -> Course {
        let values = self.unknowns.values(&self.z);
        let n_each = self.prepared.stretches.len().div_ceil(N_TRACE).max(1);
        let mut lower: Vec<Temperatures> = Vec::new();
        let mut end = values.start;
        let highs = self.highs(&values, n_each, |group, now| {
            end = *now;
            lower.truncate(group);
            lower.push(*now);
        });
        let moved = self.all_moved(n_each);
        let banded = |here: f64, of: &dyn Fn(&Highs) -> f64| {
            let gradient = std::array::from_fn(|unknown| (of(&moved[unknown]) - here) / BAND_STEP);
            let sd = variance(&self.covariance, &gradient).sqrt();
            Estimate {
                value: here,
                low: here - SDS_OF_90 * sd,
                high: here + SDS_OF_90 * sd,
            }
        };
        let stretches = &self.prepared.stretches;
        let trace = (0..highs.pack.len())
            .map(|group| {
                let last = (group * n_each + n_each - 1).min(stretches.len() - 1);
                TracePoint {
                    time: Time::from_seconds(stretches[last].start_s + stretches[last].seconds),
                    pack_c: banded(highs.pack[group], &|highs| highs.pack[group]),
                    oil_c: lower[group].oil_c,
                    housing_c: lower[group].housing_c,
                }
            })
            .collect();
        let peak = |(celsius, time_s): (f64, f64), of: &dyn Fn(&Highs) -> f64| Peak {
            celsius: banded(celsius, of),
            time: Time::from_seconds(time_s),
        };
        Course {
            trace,
            pack_max: peak(highs.pack_max, &|highs| highs.pack_max.0),
            oil_max: peak(highs.oil_max, &|highs| highs.oil_max.0),
            end,
        }
    }

    /// What goes into the course with every unknown moved, one half of them on a second
    /// thread: the rest of a report waits for these runs.
    fn all_moved(&self, n_each: usize) -> Vec<Highs> {
        let moved = |unknowns: std::ops::Range<usize>| -> Vec<Highs> {
            unknowns
                .map(|unknown| self.highs(&self.moved(unknown), n_each, |_, _| {}))
                .collect()
        };
        let (mut all, others) = at_once(
            || moved(0..N_UNKNOWNS / 2),
            || moved(N_UNKNOWNS / 2..N_UNKNOWNS),
        );
        all.extend(others);
        all
    }

    /// A positive figure with its band on a logarithmic scale.
    pub fn positive(&self, figure: impl Fn(&Values) -> f64) -> Estimate {
        let here = figure(&self.unknowns.values(&self.z));
        if here.is_nan() || here <= 0.0 {
            return Estimate {
                value: here,
                low: here,
                high: here,
            };
        }
        let gradient =
            std::array::from_fn(|unknown| (figure(&self.moved(unknown)) / here).ln() / BAND_STEP);
        let half = SDS_OF_90 * variance(&self.covariance, &gradient).sqrt();
        Estimate {
            value: here,
            low: here * (-half).exp(),
            high: here * half.exp(),
        }
    }

    /// Every unknown before and after.
    pub fn unknowns(&self) -> Vec<UnknownEstimate> {
        let before = [0.0; N_UNKNOWNS];
        (0..N_UNKNOWNS)
            .map(|index| {
                let (name, unit) = Unknowns::name(index);
                let (prior, prior_sd) = self.unknowns.value(index, &before);
                let (value, per_sd) = self.unknowns.value(index, &self.z);
                let share = self.covariance[index][index].max(0.0).sqrt();
                UnknownEstimate {
                    name,
                    unit,
                    prior,
                    prior_sd,
                    value,
                    sd: per_sd * share,
                    outcome: if self.z[index].abs() >= FARTHEST_SDS {
                        FitOutcome::AtBound
                    } else if share <= FITTED_SHARE {
                        FitOutcome::Fitted
                    } else {
                        FitOutcome::PriorKept
                    },
                }
            })
            .collect()
    }

    fn moved(&self, unknown: usize) -> Values {
        let mut there = self.z;
        there[unknown] += BAND_STEP;
        self.unknowns.values(&there)
    }

    fn highs(
        &self,
        values: &Values,
        n_each: usize,
        mut look: impl FnMut(usize, &Temperatures),
    ) -> Highs {
        let mut highs = Highs {
            pack: Vec::with_capacity(N_TRACE),
            pack_max: (f64::NEG_INFINITY, 0.0),
            oil_max: (f64::NEG_INFINITY, 0.0),
        };
        run(self.prepared, values, self.site, |index, seen| {
            let group = index / n_each;
            if highs.pack.len() <= group {
                highs.pack.push(seen.pack_peak_c);
            }
            highs.pack[group] = highs.pack[group].max(seen.pack_peak_c);
            let stretch = &self.prepared.stretches[index];
            let end_s = stretch.start_s + stretch.seconds;
            if seen.pack_peak_c > highs.pack_max.0 {
                highs.pack_max = (seen.pack_peak_c, end_s);
            }
            if seen.oil_peak_c > highs.oil_max.0 {
                highs.oil_max = (seen.oil_peak_c, end_s);
            }
            look(group, &seen.end);
        });
        highs
    }
}
