//! The figures that are compared, each with its blocks.
//!
//! In: the two sides. Out: [`Compared`], one for each figure, with a reason where it cannot be told.

use super::Compared;
use super::moves;
use super::oil_rise::oil_rise;
use super::sides::Sides;
use crate::figure_id::FigureId;

/// Figures that move with how the car is driven.
pub const DRIVEN: [&str; 7] = [
    FigureId::ThrottleOnDelay.word(),
    "heat_per_lap",
    "heat_per_corner",
    "slid_per_lap",
    "partial_per_lap",
    "specific_power_peak",
    "oil_rise_per_lap",
];

/// The same, but so little that it is put down to the car where nothing shows how it was driven.
pub const HARDLY_DRIVEN: &str = "heat_per_degree_open";

/// Every figure but those that a whole drive has once.
pub fn all(sides: &Sides) -> Vec<Compared> {
    let same_share = sides.limits.same_car_share;
    let mut all = vec![
        Compared {
            name: "heat_per_lap",
            title: "Heat per lap",
            unit: "kJ",
            outcome: sides.by_lap(|lap| lap.heat_kj, same_share),
            method: "mean heat of a lap, laps with a gap left out; laps drawn again",
            whose: None,
            again: None,
        },
        Compared {
            name: "slid_per_lap",
            title: "Way the linings slid per lap",
            unit: "m",
            outcome: sides.by_lap(|lap| lap.slid_m, sides.limits.same_slid_share),
            method: "mean over laps of the way slid in events; laps drawn again",
            whose: None,
            again: None,
        },
        Compared {
            name: "partial_per_lap",
            title: "Time slipping under load per lap",
            unit: "s",
            outcome: sides.by_lap(|lap| lap.partial_s, same_share),
            method: "mean over laps of the time slipping under load in events; laps drawn again",
            whose: None,
            again: None,
        },
        Compared {
            name: "heat_per_corner",
            title: "Heat per corner",
            unit: "kJ",
            outcome: sides.by_corner(|_| true, |pass| pass.heat_kj, same_share),
            method: "differences of like passes of the same corner, mean of the corners; laps drawn again",
            whose: None,
            again: None,
        },
        Compared {
            name: "heat_per_degree_open",
            title: "Heat per degree turned, open bends",
            unit: "J/deg",
            outcome: sides.open_bends(),
            method: "heat over heading change of bends without an engagement or a slip event: of like passes of the same corner where corners are matched, else the sums of stretches; laps or stretches drawn again",
            whose: None,
            again: None,
        },
    ];
    let times = [
        (FigureId::DeadTime.word(), "Dead time of the actuator"),
        (FigureId::RiseTime.word(), "Rise time, 10 to 90 %"),
        (FigureId::TransitionTime.word(), "Closing time, to 90 %"),
        (FigureId::ReleaseTime.word(), "Release time, to 10 %"),
    ];
    for (index, (name, title)) in times.into_iter().enumerate() {
        all.push(Compared {
            name,
            title,
            unit: "s",
            outcome: moves::compared(sides, |session| session.actuator[index].as_ref()),
            method: "difference of the medians, at 60 °C and 13.5 V where oil and voltage are known in both, and at like oil, steps and ramps of the command; minutes with moves drawn again",
            whose: None,
            again: None,
        });
    }
    all.push(Compared {
        name: FigureId::ThrottleOnDelay.word(),
        title: "Throttle-on delay",
        unit: "s",
        outcome: moves::compared(sides, |session| session.throttle_on.as_ref()),
        method: "difference of the medians of pedal to response; minutes with presses drawn again",
        whose: None,
        again: None,
    });
    all.push(Compared {
        name: "specific_power_peak",
        title: "Highest power per area",
        unit: "W/mm²",
        outcome: match sides.matched {
            Ok(_) => sides.by_lap(|lap| lap.peak_w_per_mm2, same_share),
            Err(_) => sides.by_stretch(|stretch| stretch.peak_w_per_mm2),
        },
        method: "mean over laps, or stretches, of the highest heat rate of an event per net lining area; laps or stretches drawn again",
        whose: None,
        again: None,
    });
    all.push(Compared {
        name: "oil_rise_per_lap",
        title: "Rise of the oil per lap",
        unit: "K",
        outcome: oil_rise(sides),
        method: "oil at the end of a lap less oil at its start, by a straight line over how warm the oil is, at like heat; the oil counted from between the air and its start, which the band spans",
        whose: None,
        again: None,
    });
    all
}
