//! How hard this drive was, from 0 to 100: the steepest of four ramps.
//!
//! In: four readings, each known or not. Out: the index with all four ramps and the one
//! that decides. No weights are hidden: it is the greatest, and nothing is averaged.

use crate::figure_id::FigureId;
use crate::limits::SeverityRamps;
use crate::reason::{Counted, Reason};

/// One ramp: 0 points at quiet and below, 100 at the limit and above.
#[derive(Clone, Debug, PartialEq)]
pub struct Ramp {
    /// Stable name, snake case.
    pub name: &'static str,
    /// What it is called on a page.
    pub title: &'static str,
    /// Unit of the reading.
    pub unit: &'static str,
    /// Reading that gives 0 points.
    pub quiet: f64,
    /// Reading that gives 100 points.
    pub limit: f64,
    /// The reading; `None` when it is not known.
    pub value: Option<f64>,
    /// Its points, 0 to 100.
    pub points: Option<f64>,
}

/// The severity of a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct SeverityIndex {
    /// 0 to 100.
    pub value: f64,
    /// A ramp is not known and could stand higher: the index is this or more.
    pub is_at_least: bool,
    /// All four ramps.
    pub ramps: [Ramp; 4],
    /// Name of the ramp that decides, the first of equals; `None` when all stand at 0.
    pub winner: Option<&'static str>,
}

/// The severity from peak power per net lining area (W/mm²), heat (kJ/km), the oil
/// temperature passed in 1 % of the time (°C), and slipping under load (% of
/// moving time).
///
/// Points of a ramp = 100·(reading − quiet)/(limit − quiet), kept within 0 and 100; the
/// index is the greatest. With fewer than two ramps known there is none, and the reason.
/// Source: a definition of this program.
pub fn severity_index(
    limits: &SeverityRamps,
    power_w_per_mm2: Option<f64>,
    heat_kj_per_km: Option<f64>,
    oil_p99_c: Option<f64>,
    partial_percent: Option<f64>,
) -> Result<SeverityIndex, Reason> {
    let ramp = |name, title, unit, (quiet, limit): (f64, f64), value: Option<f64>| {
        let value = value.filter(|value| value.is_finite());
        Ramp {
            name,
            title,
            unit,
            quiet,
            limit,
            value,
            points: value
                .map(|value| (100.0 * (value - quiet) / (limit - quiet)).clamp(0.0, 100.0)),
        }
    };
    let ramps = [
        ramp(
            "specific_power",
            "Peak power per lining area",
            "W/mm²",
            (limits.power_quiet_w_per_mm2, limits.power_limit_w_per_mm2),
            power_w_per_mm2,
        ),
        ramp(
            FigureId::HeatPerKm.word(),
            "Heat",
            "kJ/km",
            (limits.heat_quiet_kj_per_km, limits.heat_limit_kj_per_km),
            heat_kj_per_km,
        ),
        ramp(
            "oil_temp",
            "Oil temperature passed in 1 % of the time",
            "°C",
            (limits.oil_quiet_c, limits.oil_limit_c),
            oil_p99_c,
        ),
        ramp(
            FigureId::PartialHeatMaking.word(),
            "Time slipping under load",
            "% of moving time",
            (limits.partial_quiet_percent, limits.partial_limit_percent),
            partial_percent,
        ),
    ];
    let known: Vec<(&'static str, f64)> = ramps
        .iter()
        .filter_map(|ramp| Some((ramp.name, ramp.points?)))
        .collect();
    if known.len() < limits.least_ramps as usize {
        return Err(Reason::TooFew {
            what: Counted::Ramps {
                first: known.first().map(|(name, _)| *name),
            },
            found: known.len(),
            needed: limits.least_ramps as usize,
        });
    }
    let mut value = 0.0;
    let mut winner = None;
    for (name, points) in &known {
        if *points > value {
            (value, winner) = (*points, Some(*name));
        }
    }
    Ok(SeverityIndex {
        value,
        // Nothing can stand above 100.
        is_at_least: known.len() < ramps.len() && value < 100.0,
        ramps,
        winner,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(readings: [Option<f64>; 4], wanted: f64, is_at_least: bool, winner: Option<&str>) {
        let [power, heat, oil, partial] = readings;
        let index = severity_index(&SeverityRamps::default(), power, heat, oil, partial).unwrap();
        assert!((index.value - wanted).abs() < 1e-9, "{}", index.value);
        assert_eq!((index.is_at_least, index.winner), (is_at_least, winner));
    }

    #[test]
    fn greatest_of_four_by_hand() {
        // Points: 50, 25, 50·… : power (0.8 − 0.1)/1.4 = 50, heat (10.75 − 1)/39 = 25,
        // oil (105 − 90)/60 = 25, partial (0.5 − 0.5)/19.5 = 0.
        let quiet = [Some(0.8), Some(10.75), Some(105.0), Some(0.5)];
        check(quiet, 50.0, false, Some("specific_power"));
        let hot = [Some(0.8), Some(10.75), Some(141.0), Some(0.5)];
        check(hot, 85.0, false, Some("oil_temp"));
        let index = severity_index(
            &SeverityRamps::default(),
            Some(0.8),
            Some(10.75),
            Some(141.0),
            Some(0.5),
        )
        .unwrap();
        let points: Vec<f64> = index.ramps.iter().filter_map(|ramp| ramp.points).collect();
        assert!((points[0] - 50.0).abs() < 1e-9 && (points[1] - 25.0).abs() < 1e-9);
        assert_eq!(points[3], 0.0);
    }

    #[test]
    fn ends_of_the_ramps() {
        let zero = [Some(0.0), Some(-1.0), Some(20.0), Some(0.1)];
        check(zero, 0.0, false, None);
        check(
            [Some(99.0), None, Some(20.0), None],
            100.0,
            false,
            Some("specific_power"),
        );
    }

    #[test]
    fn what_is_not_known_could_stand_higher() {
        check(
            [None, Some(40.0 / 4.0), Some(120.0), None],
            50.0,
            true,
            Some("oil_temp"),
        );
        check(
            [None, Some(5.0), Some(120.0), Some(1.0)],
            50.0,
            true,
            Some("oil_temp"),
        );
        let why = severity_index(
            &SeverityRamps::default(),
            None,
            Some(9.0),
            None,
            Some(f64::NAN),
        )
        .unwrap_err();
        assert!(why.to_string().contains("only one (heat_per_km)"), "{why}");
        assert!(
            severity_index(&SeverityRamps::default(), None, None, None, None)
                .unwrap_err()
                .to_string()
                .contains("none")
        );
    }
}
