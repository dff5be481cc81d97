//! Figures of the car as it is and of another pack, side by side.
//!
//! In: results of the three assessments, both vehicles. Out: lines, each number with where it stands: carried
//! over from the log, worked out, a bound, or not known.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, MapFact, Reason};
use halfshaft_driveline::derive::clutch_torque::{pack_capacity, uniform_pressure_radius};
use halfshaft_model::Vehicle;
use halfshaft_model::table::Table;
use halfshaft_model::vehicle::TorqueSource;

use super::standing::{Made, Moved, Other, Standing, Value};
use super::{Change, Changed, Held, Three};
use crate::duty::Exceedance;
use crate::duty::limits::PAPER_EVENT_J_PER_MM2;
use crate::findings::drive::lining_area_mm2;
use crate::results::Results;

/// Share of a value below which another one is the same but for rounding.
const ROUNDING: f64 = 1e-9;

/// A figure side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Stable name, snake case.
    pub name: &'static str,
    /// What it is called on a page.
    pub title: &'static str,
    /// Its unit; empty for a ratio.
    pub unit: &'static str,
    /// The car as it is.
    pub logged: Value,
    /// The other pack at the torque that was asked for.
    pub same_torque: Other,
    /// The other pack at the clamp force that pressed.
    pub same_force: Other,
}

impl Line {
    /// How much another value differs from the car as it is: per cent of it, or kelvin for a
    /// temperature. `None` where either is missing, or a share of nothing is asked for.
    pub fn difference(&self, other: &Value) -> Option<f64> {
        let (Ok(logged), Ok(other)) = (&self.logged, other) else {
            return None;
        };
        // Sums in another order differ in their last digits, and that is no difference.
        if (other - logged).abs() <= ROUNDING * logged.abs() {
            return Some(0.0);
        }
        if self.unit == "°C" {
            return Some(other - logged);
        }
        (*logged != 0.0).then(|| 100.0 * (other - logged) / logged.abs())
    }
}

/// One thing that is to be another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// What it is.
    pub title: &'static str,
    /// Its unit; empty for a number, `×` for a factor.
    pub unit: &'static str,
    /// As it is; `None` when the map does not state it.
    pub logged: Option<f64>,
    /// As it would be.
    pub other: f64,
}

/// What the drive says of another pack.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// What was asked for.
    pub asked: Vec<Asked>,
    /// The figures.
    pub lines: Vec<Line>,
    /// Torque at the same clamp force over that of the logged pack.
    pub capacity: f64,
    /// Events per 100 km by energy per area: the car as it is, same torque, same force.
    pub energy: [Result<Exceedance, Reason>; 3],
    /// The same by peak power per area.
    pub power: [Result<Exceedance, Reason>; 3],
}

/// How the other pack is worked out, a sentence or a few each.
pub const HOW: [&str; 7] = [
    "Carried over: slip, driver and controller stay as logged. Heat is torque times that same slip.",
    "At most, at least: more torque leaves less slip, and less torque more. By how much, tyres, driver and controller decide, and a log of one pack does not show it. Where every torque is greater, heat and temperatures are therefore the highest they can be: a pack that then holds makes no heat at all. Where every torque is less, they are the lowest. The number shown is that bound, no forecast.",
    "Not known: some torques are greater and some less, or a single moment or the controller decides, as with the highest slip, engagements and the time slipping under load.",
    "Same torque: the controller gets the torque it asked for and presses as the other pack needs. Faces, radii, grooves and friction then change areas and capacity, and no heat; the preload stays unless another is given. Same force: actuator and springs press as they did, and torque and preload go with friction × faces × mean radius.",
    "A preload given anew takes the place of the old one in every torque: an open pack rubs in proportion to it. Another torque table gives its torque wherever the map's gave its own.",
    "Temperatures: the model of pack, oil and housing as this drive fitted it, with the heat capacity of the pack by faces × area of a face, that of the oil by its quantity, and the conductance from housing to air by the cooling factor. Less lining or less oil takes its conductance along, from pack to oil and from oil to housing; more adds none. So with another lining or oil quantity the temperatures are the highest there can be. What the model makes of a change is good to half of itself; a bound has that half in it. Where two changes work against each other, ask for each alone as well.",
    "What the map is off by falls out of a difference; how far each figure of the car as it is can be trusted is in its report.",
];

/// What no log of one pack shows of another.
pub const CANNOT_KNOW: [&str; 6] = [
    "slip, wheelspin and time slipping under load with a pack of another torque: tyres and driver answer to it",
    "what the controller would do: its tables were made for the logged pack",
    "dead time, rise and release with the other pack: its clearance and its stroke are others",
    "whether the actuator reaches the clamp force that the torque would need",
    "friction over slip speed, oil and temperature, and with it judder and fade",
    "wear and life of the linings",
];

const FIGURES: [(FigureId, &str, &str, Made); 16] = [
    (
        FigureId::SpecificEnergyMax,
        "Highest energy per area",
        "J/mm²",
        Made::PerArea,
    ),
    (
        FigureId::SpecificPowerMax,
        "Highest power per area",
        "W/mm²",
        Made::PerArea,
    ),
    (FigureId::HeatTotal, "Heat in the pack", "kJ", Made::Heat),
    (
        FigureId::HeatPerKm,
        "Heat per distance",
        "kJ/km",
        Made::Heat,
    ),
    (FigureId::HeatPeak, "Highest heat rate", "kW", Made::Heat),
    (FigureId::HeatPreload, "Heat from preload", "kJ", Made::Heat),
    (
        FigureId::HeatCommanded,
        "Heat from the command",
        "kJ",
        Made::Heat,
    ),
    (
        FigureId::HeatMismatch,
        "Heat from mismatched tyres",
        "kJ",
        Made::Heat,
    ),
    (FigureId::HeatSpin, "Heat from wheelspin", "kJ", Made::Heat),
    (
        FigureId::PackTempMax,
        "Highest pack temperature, estimated",
        "°C",
        Made::Temperature,
    ),
    (
        FigureId::OilTempMax,
        "Highest oil temperature",
        "°C",
        Made::Temperature,
    ),
    (
        FigureId::OilHeadroom,
        "Smallest margin to the oil warning",
        "°C",
        Made::Headroom,
    ),
    (FigureId::Severity, "Severity of the drive", "", Made::OfAll),
    (
        FigureId::SlipPeak,
        "Highest slip",
        "rad/s",
        Made::ByController,
    ),
    (
        FigureId::PartialHeatMaking,
        "Time slipping under load",
        "s",
        Made::ByController,
    ),
    (
        FigureId::Engagements,
        "Engagements",
        "count",
        Made::ByController,
    ),
];

impl Answer {
    pub(super) fn new(vehicle: &Vehicle, changed: &Changed, three: &Three) -> Answer {
        let moved = [Held::Torque, Held::Force].map(|held| Moved {
            torque: changed.torque(vehicle, held).moves(),
            is_hot_side: changed.is_hot_side,
            is_cooled: changed.factors.cooling != 1.0,
        });
        let line = |name, title, unit, made, [logged, same_torque, same_force]: [Value; 3]| Line {
            name,
            title,
            unit,
            same_torque: moved[0].other(made, &logged, same_torque),
            same_force: moved[1].other(made, &logged, same_force),
            logged,
        };
        let all = [&three.logged, &three.same_torque, &three.same_force];
        let mut lines = of_pack(vehicle, changed);
        for (id, title, unit, made) in FIGURES {
            let values = all.map(|results| value(results, id));
            // Slip and what the controller did are as logged in all three.
            let values = match made {
                Made::ByController => [0; 3].map(|_| values[0].clone()),
                _ => values,
            };
            lines.push(line(id.word(), title, unit, made, values));
            if id == FigureId::SpecificPowerMax {
                lines.push(line(
                    "events_above_guide",
                    "Events of 0.5 J/mm² and more",
                    "count",
                    Made::PerArea,
                    above_guide(vehicle, changed, three),
                ));
            }
            if id == FigureId::PackTempMax {
                lines.push(line(
                    "oil_modelled_max",
                    "Highest oil temperature, modelled",
                    "°C",
                    Made::Temperature,
                    all.map(modelled_oil),
                ));
            }
        }
        Answer {
            asked: asked(vehicle, &changed.change),
            lines,
            capacity: changed.capacity,
            energy: all.map(|results| results.duty.energy.clone()),
            power: all.map(|results| results.duty.power.clone()),
        }
    }

    /// The line of that name.
    pub fn line(&self, name: &str) -> Option<&Line> {
        self.lines.iter().find(|line| line.name == name)
    }
}

fn asked(vehicle: &Vehicle, change: &Change) -> Vec<Asked> {
    let pack = vehicle.pack;
    let mm = |radius_m: f64| radius_m * 1e3;
    let all = [
        (
            "Faces",
            "",
            pack.map(|pack| f64::from(pack.n_faces)),
            change.n_faces.map(f64::from),
        ),
        (
            "Outer radius",
            "mm",
            pack.map(|pack| mm(pack.outer_radius_m)),
            change.outer_radius_m.map(mm),
        ),
        (
            "Inner radius",
            "mm",
            pack.map(|pack| mm(pack.inner_radius_m)),
            change.inner_radius_m.map(mm),
        ),
        (
            "Groove share",
            "%",
            pack.map(|pack| 100.0 * pack.groove_share),
            change.groove_share.map(|share| 100.0 * share),
        ),
        (
            "Friction",
            "",
            pack.and_then(|pack| pack.friction)
                .map(|friction| friction.value),
            change.friction,
        ),
        (
            "Preload of one pack",
            "N·m",
            vehicle.preload_nm.map(|preload| preload.value),
            change.preload_nm,
        ),
        (
            "Oil",
            "l",
            vehicle.oil_volume_m3.map(|volume_m3| volume_m3 * 1e3),
            change.oil_volume_m3.map(|volume_m3| volume_m3 * 1e3),
        ),
        ("Cooling of the housing", "×", Some(1.0), change.cooling),
        (
            "Highest torque of the table",
            "N·m",
            highest(&vehicle.torque_sources),
            change.torque_table.as_ref().map(Table::highest),
        ),
    ];
    let is_asked = |(title, unit, logged, other): (_, _, _, Option<f64>)| {
        Some(Asked {
            title,
            unit,
            logged,
            other: other?,
        })
    };
    all.into_iter().filter_map(is_asked).collect()
}

fn highest(sources: &[TorqueSource]) -> Option<f64> {
    match sources.first() {
        Some(TorqueSource::Table { table, .. }) => Some(table.highest()),
        _ => None,
    }
}

fn value(results: &Results, id: FigureId) -> Value {
    match results.figure(id) {
        Some(figure) => figure.outcome.clone().map(|estimate| estimate.value),
        None => Err(DriveFact::SuchFigure.into()),
    }
}

fn worked_out(
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    [logged, same_torque, same_force]: [Value; 3],
) -> Line {
    let other = |value| Other {
        value,
        standing: Standing::WorkedOut,
        band: None,
    };
    Line {
        name,
        title,
        unit,
        logged,
        same_torque: other(same_torque),
        same_force: other(same_force),
    }
}

/// What needs no drive: areas, radius, capacity.
fn of_pack(vehicle: &Vehicle, changed: &Changed) -> Vec<Line> {
    let radius_m = |vehicle: &Vehicle| {
        let pack = vehicle.pack.ok_or(MapFact::PackShape)?;
        Ok::<f64, Reason>(uniform_pressure_radius(
            pack.outer_radius_m,
            pack.inner_radius_m,
        ))
    };
    let per_kn = |vehicle: &Vehicle| {
        let pack = vehicle.pack.ok_or(MapFact::PackShape)?;
        let friction = pack.friction.ok_or(MapFact::PackFriction)?.value;
        let n_faces = f64::from(pack.n_faces);
        Ok(pack_capacity(friction, 1e3, n_faces, radius_m(vehicle)?))
    };
    let preload = |held| {
        vehicle
            .preload_nm
            .ok_or(MapFact::Preload.into())
            .map(|_| changed.torque(vehicle, held).preload_nm())
    };
    let logged_preload = || {
        let stated = vehicle.preload_nm.map(|preload| preload.value);
        stated.ok_or(MapFact::Preload.into())
    };
    let other = &changed.vehicle;
    let capacity = changed.capacity;
    vec![
        worked_out(
            "net_area",
            "Net lining area, all packs",
            "mm²",
            [
                lining_area_mm2(vehicle),
                lining_area_mm2(other),
                lining_area_mm2(other),
            ],
        ),
        worked_out(
            "mean_radius",
            "Mean friction radius",
            "mm",
            [vehicle, other, other].map(|of| radius_m(of).map(|radius_m| radius_m * 1e3)),
        ),
        worked_out(
            "capacity_per_kn",
            "Torque of one pack per kN of clamp force",
            "N·m/kN",
            [per_kn(vehicle), per_kn(other), per_kn(other)],
        ),
        worked_out(
            "torque_ratio",
            "Commanded torque, over the logged one",
            "",
            [Ok(1.0), Ok(1.0), Ok(capacity)],
        ),
        worked_out(
            "force_ratio",
            "Clamp force for it, over the logged one",
            "",
            [Ok(1.0), Ok(1.0 / capacity), Ok(1.0)],
        ),
        worked_out(
            "preload",
            "Preload of one pack",
            "N·m",
            [
                logged_preload(),
                preload(Held::Torque),
                preload(Held::Force),
            ],
        ),
    ]
}

/// Energy of an event per area that paper linings are said to bear, J/mm²: the lower end of
/// the guide. Source: from memory, a guide and not a limit.
const PAPER_GUIDE_J_PER_MM2: f64 = PAPER_EVENT_J_PER_MM2.0;

/// Events at or above the guide value of paper linings.
fn above_guide(vehicle: &Vehicle, changed: &Changed, three: &Three) -> [Value; 3] {
    let of = |results: &Results, vehicle: &Vehicle| {
        let area_mm2 = lining_area_mm2(vehicle)?;
        // Where there is no heat the figure has the reason.
        value(results, FigureId::HeatTotal)?;
        let energies = results.events.iter().filter_map(|event| event.heat_kj);
        let reach = energies.filter(|kj| kj * 1e3 / area_mm2 >= PAPER_GUIDE_J_PER_MM2);
        Ok(reach.count() as f64)
    };
    [
        of(&three.logged, vehicle),
        of(&three.same_torque, &changed.vehicle),
        of(&three.same_force, &changed.vehicle),
    ]
}

fn modelled_oil(results: &Results) -> Value {
    let thermal = results.thermal.as_ref().map_err(Clone::clone)?;
    Ok(thermal.oil_max.celsius.value)
}
