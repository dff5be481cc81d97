//! How often the lining took how much: events per 100 km at or above each level.
//!
//! In: events, the net lining area, the distance. Out: a falling curve over levels that
//! rise by equal factors, with guide values of linings beside it, which are from memory
//! and no verdict.

use super::limits::{
    CARBON_TIMES_PAPER, EXCEEDANCE_LEVELS, PAPER_BRIEF_W_PER_MM2, PAPER_CONTINUOUS_W_PER_MM2,
    PAPER_EVENT_J_PER_MM2,
};
use crate::nouns::{Event, EventKind};
use crate::reason::{DriveFact, MapFact, Measured, Reason};

/// A guide value to draw beside a curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Guide {
    /// What it is a guide for.
    pub label: &'static str,
    /// Lower end, in the unit of the curve.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Where it comes from.
    pub source: &'static str,
}

/// Events per 100 km by level.
#[derive(Clone, Debug, PartialEq)]
pub struct Exceedance {
    /// Unit of the levels.
    pub unit: &'static str,
    /// Levels, rising by equal factors.
    pub levels: Vec<f64>,
    /// Events per 100 km at or above each level.
    pub per_100_km: Vec<f64>,
    /// Events counted.
    pub n_events: usize,
    /// Events among them whose value is a lower bound.
    pub n_at_least: usize,
    /// Highest value of one event; `None` without events.
    pub highest: Option<f64>,
    /// Distance, km, of a drive too short to stand for 100 km; `None` of a longer one.
    pub short_km: Option<f64>,
    /// Guide values.
    pub guides: Vec<Guide>,
}

const FROM_MEMORY: &str = "from memory, a guide and not a limit";

fn guides(labels: [&'static str; 2], paper: (f64, f64)) -> [Guide; 2] {
    let guide = |label, times: (f64, f64)| Guide {
        label,
        low: paper.0 * times.0,
        high: paper.1 * times.1,
        source: FROM_MEMORY,
    };
    [
        guide(labels[0], (1.0, 1.0)),
        guide(labels[1], CARBON_TIMES_PAPER),
    ]
}

/// Peak power per net lining area of all packs, W/mm²: highest heat rate of an event over the
/// area. Never negative.
///
/// A drive shorter than `least_km` has a curve, marked as short, once it has an event: a designer
/// wants to see a short hot drive, too. `Err` is why there is no curve: area, distance or torque is
/// not known.
pub fn power_exceedance(
    events: &[Event],
    area_mm2: Result<f64, Reason>,
    distance_km: Result<f64, Reason>,
    least_km: f64,
) -> Result<Exceedance, Reason> {
    let mut curve = curve("W/mm²", events, area_mm2, distance_km, least_km, |event| {
        event.heat_peak_kw
    })?;
    curve.guides.extend(guides(
        ["paper, all the time", "carbon, all the time"],
        PAPER_CONTINUOUS_W_PER_MM2,
    ));
    curve.guides.extend(guides(
        ["paper, for a moment", "carbon, for a moment"],
        PAPER_BRIEF_W_PER_MM2,
    ));
    Ok(curve)
}

/// Energy of an event per net lining area of all packs, J/mm². As [`power_exceedance`].
pub fn energy_exceedance(
    events: &[Event],
    area_mm2: Result<f64, Reason>,
    distance_km: Result<f64, Reason>,
    least_km: f64,
) -> Result<Exceedance, Reason> {
    let mut curve = curve("J/mm²", events, area_mm2, distance_km, least_km, |event| {
        event.heat_kj
    })?;
    curve.guides.extend(guides(
        ["paper, one event", "carbon, one event"],
        PAPER_EVENT_J_PER_MM2,
    ));
    Ok(curve)
}

/// The curve of a value in kW or kJ.
fn curve(
    unit: &'static str,
    events: &[Event],
    area_mm2: Result<f64, Reason>,
    distance_km: Result<f64, Reason>,
    least_km: f64,
    kilo: impl Fn(&Event) -> Option<f64>,
) -> Result<Exceedance, Reason> {
    let area_mm2 = area_mm2?;
    let km = distance_km?;
    if area_mm2.is_nan() || area_mm2 <= 0.0 {
        return Err(MapFact::LiningArea.into());
    }
    let mut values = Vec::new();
    let mut n_at_least = 0;
    let is_told = |event: &&Event| event.kind == EventKind::Command || event.heat_kj.is_some();
    for event in events.iter().filter(is_told) {
        if let Some(kilo) = kilo(event) {
            values.push(kilo * 1e3 / area_mm2);
            n_at_least += usize::from(event.is_broken);
        }
    }
    if values.is_empty() && !events.is_empty() {
        return Err(DriveFact::HeatOfEvents.into());
    }
    let is_long = km >= least_km;
    if !is_long && (values.is_empty() || km.is_nan() || km <= 0.0) {
        return Err(Reason::TooLittle {
            what: Measured::EventDistance,
            found: km,
            needed: least_km,
        });
    }
    values.sort_by(f64::total_cmp);
    let levels = levels();
    let per_100_km = levels
        .iter()
        .map(|level| {
            let below = values.partition_point(|value| value < level);
            (values.len() - below) as f64 * 100.0 / km
        })
        .collect();
    Ok(Exceedance {
        unit,
        levels,
        per_100_km,
        n_events: values.len(),
        n_at_least,
        highest: values.last().copied(),
        short_km: (!is_long).then_some(km),
        guides: Vec::new(),
    })
}

/// Levels rising by equal factors.
fn levels() -> Vec<f64> {
    let (lowest, per_decade, n) = EXCEEDANCE_LEVELS;
    (0..n)
        .map(|index| {
            let decades = (index / per_decade) as i32;
            let within = f64::from(index % per_decade) / f64::from(per_decade);
            // Whole decades by themselves, so that 0.1 is 0.1.
            lowest * 10_f64.powi(decades) * 10_f64.powf(within)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::event;

    fn events() -> Vec<Event> {
        // Peaks and energies are the same number by the maker: 100, 50, 50, 1 kW and kJ.
        [100.0, 50.0, 50.0, 1.0]
            .map(|heat_kj| event(0.0, 1.0, heat_kj))
            .to_vec()
    }

    #[track_caller]
    fn at_or_above(curve: &Exceedance, level: f64) -> f64 {
        let found = curve
            .levels
            .iter()
            .position(|at| (at / level - 1.0).abs() < 1e-12);
        curve.per_100_km[found.expect("it is a level")]
    }

    #[test]
    fn events_by_hand() {
        // Derived: 60/40 mm radii and 16 faces have 100,531 mm²: 50 kJ are 0.4974 J/mm²,
        // 10 kW 0.0995 W/mm². Here 100,000 mm²: 1, 0.5, 0.5, 0.01.
        let curve = energy_exceedance(&events(), Ok(100e3), Ok(200.0), 10.0).unwrap();
        assert_eq!(curve.levels.len(), 25);
        assert_eq!((curve.n_events, curve.n_at_least), (4, 0));
        // Four events in 200 km are two in 100 km; what stands on a level is at it.
        assert_eq!(at_or_above(&curve, 1e-3), 2.0);
        assert_eq!(at_or_above(&curve, 0.01), 2.0);
        assert_eq!(at_or_above(&curve, 0.1), 1.5);
        assert_eq!(at_or_above(&curve, 1.0), 0.5);
        assert_eq!(at_or_above(&curve, 10.0), 0.0);
        assert_eq!(curve.highest, Some(1.0));
        assert!(curve.per_100_km.is_sorted_by(|one, next| one >= next));
        let area = std::f64::consts::PI * (60.0_f64.powi(2) - 40.0_f64.powi(2)) * 16.0;
        let whole = energy_exceedance(&[event(0.0, 1.0, 50.0)], Ok(area), Ok(100.0), 10.0).unwrap();
        assert!((whole.highest.unwrap() - 0.4974).abs() < 1e-4);
        let power = power_exceedance(&[event(0.0, 1.0, 10.0)], Ok(area), Ok(100.0), 10.0).unwrap();
        assert!((power.highest.unwrap() - 0.0995).abs() < 1e-4);
    }

    #[test]
    fn guides_say_where_they_come_from() {
        let power = power_exceedance(&[], Ok(1.0), Ok(100.0), 10.0).unwrap();
        let told: Vec<(&str, f64, f64)> = power
            .guides
            .iter()
            .map(|guide| (guide.label, guide.low, guide.high))
            .collect();
        assert_eq!(told[0], ("paper, all the time", 0.1, 0.3));
        assert_eq!(told[3], ("carbon, for a moment", 1.5, 4.0));
        assert!(
            power
                .guides
                .iter()
                .all(|guide| guide.source.contains("from memory"))
        );
        assert_eq!(power.highest, None);
    }

    #[test]
    fn without_area_distance_or_heat_there_is_a_reason() {
        let told = |area, km| energy_exceedance(&events(), area, km, 10.0).unwrap_err();
        let no_faces: Reason = MapFact::PackShape.into();
        assert_eq!(told(Err(no_faces.clone()), Ok(100.0)), no_faces);
        let no_speed: Reason = MapFact::RadiusOrSpeed.into();
        assert_eq!(told(Ok(1.0), Err(no_speed.clone())), no_speed);
        let none = energy_exceedance(&[], Ok(1.0), Ok(9.0), 10.0).unwrap_err();
        assert!(none.to_string().contains("9.0 km"), "{none}");
        assert!(told(Ok(1.0), Ok(0.0)).to_string().contains("km"));
        assert_eq!(told(Ok(0.0), Ok(100.0)), MapFact::LiningArea.into());
        assert!(told(Ok(1.0), Ok(f64::NAN)).to_string().contains("km"));
        let mut cold = event(0.0, 1.0, 1.0);
        cold.heat_kj = None;
        assert!(energy_exceedance(&[cold], Ok(1.0), Ok(100.0), 10.0).is_err());
    }

    #[test]
    fn a_short_hot_drive_has_a_curve_marked_as_short() {
        // Derived: four events in 9 km are 44.4 in 100 km.
        let short = energy_exceedance(&events(), Ok(100e3), Ok(9.0), 10.0).unwrap();
        assert!((at_or_above(&short, 1e-3) - 400.0 / 9.0).abs() < 1e-9);
        assert_eq!(short.short_km, Some(9.0));
        let long = energy_exceedance(&events(), Ok(100e3), Ok(10.0), 10.0).unwrap();
        assert_eq!(long.short_km, None);
    }

    #[test]
    fn a_broken_event_counts_and_is_said_to_be_more() {
        let mut broken = event(0.0, 1.0, 50.0);
        broken.is_broken = true;
        let curve = energy_exceedance(&[broken], Ok(100e3), Ok(100.0), 10.0).unwrap();
        assert_eq!((curve.n_events, curve.n_at_least), (1, 1));
    }
}
