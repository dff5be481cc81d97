//! The five needles and their edges, and the class they make together.
//!
//! In: readings. Out: levels 0 to 5, and the class: the second highest level, so that one
//! odd needle does not decide alone, except that temperature and specific power may when
//! they stand two levels above.

use crate::figure_id::FigureId;
use crate::limits::Usage;
use crate::nouns::Meter;

/// A needle whatever the drive.
#[derive(Debug)]
pub struct Needle {
    /// Stable name, snake case.
    pub name: &'static str,
    /// For a page.
    pub title: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Upper edges of the levels 0 to 4.
    pub edges: fn(&Usage) -> [f64; 5],
    /// It may raise the class alone.
    pub is_harm_itself: bool,
    /// It moves with the torque the map states.
    pub goes_with_torque: bool,
}

/// The needles, in the order of the page.
pub const NEEDLES: [Needle; 5] = [
    Needle {
        name: "partial_heat_making_per_100_km",
        title: "Time slipping under load",
        unit: "s/100 km",
        edges: |usage| usage.partial_s_per_100_km,
        is_harm_itself: false,
        goes_with_torque: true,
    },
    Needle {
        name: FigureId::HeatPerKm.word(),
        title: "Heat per distance",
        unit: "kJ/km",
        edges: |usage| usage.heat_kj_per_km,
        is_harm_itself: false,
        goes_with_torque: true,
    },
    Needle {
        name: "events_per_100_km",
        title: "Engagements",
        unit: "1/100 km",
        edges: |usage| usage.events_per_100_km,
        is_harm_itself: false,
        goes_with_torque: false,
    },
    Needle {
        name: "oil_temp_p99",
        title: "Oil temperature, passed 1 % of the time",
        unit: "°C",
        edges: |usage| usage.oil_p99_c,
        is_harm_itself: true,
        goes_with_torque: false,
    },
    Needle {
        name: "specific_power_p99",
        title: "Peak power per area, passed by 1 % of the events",
        unit: "W/mm²",
        edges: |usage| usage.power_w_per_mm2,
        is_harm_itself: true,
        goes_with_torque: true,
    },
];

impl Needle {
    /// The level of a reading.
    pub fn level(&self, reading: f64, usage: &Usage) -> u8 {
        // Edges belong to the level above: the table says "less than".
        (self.edges)(usage)
            .iter()
            .filter(|edge| reading >= **edge)
            .count() as u8
    }
}

/// The class of five readings, in the order of [`NEEDLES`]; `None` for fewer than two.
pub fn class(readings: &[Option<f64>; 5], usage: &Usage) -> Option<u8> {
    let mut levels: Vec<(u8, bool)> = NEEDLES
        .iter()
        .zip(readings)
        .filter_map(|(needle, reading)| {
            Some((needle.level((*reading)?, usage), needle.is_harm_itself))
        })
        .collect();
    if levels.len() < usage.lower_bound_needles as usize {
        return None;
    }
    // Of equals, one that is harm itself goes first.
    levels.sort_unstable_by(|one, other| other.cmp(one));
    let (highest, is_harm_itself) = levels[0];
    let second = levels[1].0;
    Some(if is_harm_itself && highest >= second + 2 {
        highest
    } else {
        second
    })
}

/// The readings of the needles.
pub fn readings(meters: &[Meter]) -> [Option<f64>; 5] {
    std::array::from_fn(|index| {
        meters
            .get(index)
            .and_then(|meter| meter.reading.as_ref().ok())
            .map(|reading| reading.value)
    })
}

/// The class that a shift of the needles within their bands makes of this one: the nearest shift wins. Needles move one by one, and those that go with the torque
/// also together.
pub fn alternative(meters: &[Meter], here: u8, usage: &Usage) -> Option<u8> {
    let middle = readings(meters);
    let shifted = |index: usize, sds: f64| {
        let reading = meters[index].reading.as_ref().ok()?;
        let end = if sds > 0.0 { reading.high } else { reading.low };
        let half = (end - reading.value).abs();
        Some(reading.value + sds * half)
    };
    let others: [&dyn Fn(usize) -> bool; 6] = [
        &|index| index == 0,
        &|index| index == 1,
        &|index| index == 2,
        &|index| index == 3,
        &|index| index == 4,
        &|index| NEEDLES[index].goes_with_torque,
    ];
    for step in 1..=10 {
        // Of two classes equally near, the higher is said.
        for sign in [1.0, -1.0] {
            for moves in others {
                let sds = sign * 0.1 * f64::from(step);
                let readings = std::array::from_fn(|index| {
                    middle[index].and_then(|reading| {
                        if moves(index) {
                            shifted(index, sds)
                        } else {
                            Some(reading)
                        }
                    })
                });
                if let Some(other) = class(&readings, usage).filter(|other| *other != here) {
                    return Some(other);
                }
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::band::relative;

    #[test]
    fn the_table_by_hand() {
        let usage = Usage::default();
        // One row of each needle as an owner would look it up.
        for (index, reading, level) in [
            (0, 262.0, 4),
            (1, 2.9, 2),
            (2, 40.0, 2),
            (3, 79.0, 0),
            (3, 134.0, 5),
            (4, 0.22, 2),
        ] {
            assert_eq!(NEEDLES[index].level(reading, &usage), level, "{reading}");
        }
        // Just below and at each edge.
        for needle in &NEEDLES {
            for (level, edge) in (needle.edges)(&usage).iter().enumerate() {
                assert_eq!(
                    needle.level(edge * 0.999, &usage),
                    level as u8,
                    "{}",
                    needle.name
                );
                assert_eq!(
                    needle.level(*edge, &usage),
                    level as u8 + 1,
                    "{}",
                    needle.name
                );
            }
            assert_eq!(needle.level(0.0, &usage), 0);
        }
    }

    #[track_caller]
    fn check(readings: [Option<f64>; 5], wanted: Option<u8>) {
        assert_eq!(class(&readings, &Usage::default()), wanted, "{readings:?}");
    }

    #[test]
    fn the_second_highest_decides() {
        let all = |partial, heat, events, oil, power| {
            [
                Some(partial),
                Some(heat),
                Some(events),
                Some(oil),
                Some(power),
            ]
        };
        check(all(1.0, 0.1, 5.0, 60.0, 0.01), Some(0));
        // Levels 3 2 2 1 1: one odd needle does not decide alone.
        check(all(100.0, 2.0, 100.0, 85.0, 0.1), Some(2));
        // Levels 4 3 2 1 1.
        check(all(300.0, 5.0, 100.0, 85.0, 0.1), Some(3));
        // 262 s and 9 kJ per km: hard.
        check(all(262.0, 9.0, 250.0, 110.0, 0.5), Some(4));
        // Partial alone, four above: no.
        check(all(1000.0, 0.5, 20.0, 85.0, 0.1), Some(1));
        // Temperature or power alone, two above: yes; one above: no.
        check(all(10.0, 0.5, 20.0, 110.0, 0.1), Some(3));
        check(all(10.0, 0.5, 20.0, 95.0, 0.1), Some(1));
        check(all(10.0, 0.5, 20.0, 85.0, 1.6), Some(5));
        // Oil and partial both at the top: the second is as high.
        check(all(1000.0, 0.5, 20.0, 140.0, 0.1), Some(5));
    }

    #[test]
    fn needles_that_are_missing() {
        check([Some(100.0), Some(5.0), None, None, None], Some(3));
        check([Some(100.0), Some(0.1), None, None, None], Some(0));
        check([Some(100.0), None, None, None, None], None);
        check([None; 5], None);
    }

    fn meters(values: [f64; 5], sd: f64) -> Vec<Meter> {
        NEEDLES
            .iter()
            .zip(values)
            .map(|(needle, value)| Meter {
                name: needle.name,
                title: needle.title,
                unit: needle.unit,
                edges: (needle.edges)(&Usage::default()),
                reading: Ok(relative(value, sd)),
            })
            .collect()
    }

    #[test]
    fn a_class_near_its_edge_names_both() {
        // Levels 3 3 2 1 1, the second needle 5 % above its edge of 3 kJ/km.
        let usage = &Usage::default();
        let values = [100.0, 3.15, 100.0, 85.0, 0.1];
        let near = meters(values, 0.1);
        assert_eq!(class(&readings(&near), usage), Some(3));
        assert_eq!(alternative(&near, 3, usage), Some(2));
        assert_eq!(alternative(&meters(values, 0.01), 3, usage), None);
        // From below: 2 % under 180 s with heat already at level 4.
        let below = meters([176.0, 9.0, 100.0, 85.0, 0.1], 0.1);
        assert_eq!(
            (
                class(&readings(&below), usage),
                alternative(&below, 3, usage)
            ),
            (Some(3), Some(4))
        );
    }

    #[test]
    fn needles_of_the_same_torque_move_together() {
        // Both stand 5 % below their edge; one alone changes nothing, as the second
        // highest stays.
        let both = meters([171.0, 7.6, 100.0, 85.0, 0.1], 0.1);
        assert_eq!(alternative(&both, 3, &Usage::default()), Some(4));
    }
}
