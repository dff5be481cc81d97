//! A fleet to be judged by: cars and drives drawn at random, healthy ones and ill ones.
//!
//! In: a seed and a number. Out: the map of a car, the frames of its drive and the truth
//! about it. Written apart from the crates that estimate, so that a wrong formula is not
//! wrong twice: the truth is added up in the plant, step by step. Each thing is drawn from a
//! stream of its own, so that one draw does not shift the others.
//!
//! ```text
//! draw -> car (body, pack, actuator, controller, route, signals, fault)
//!             -> plant -> bus -> frames
//!                    \-> truth
//!             -> map
//! ```

pub mod actuator;
mod bus;
pub mod car;
pub mod chain;
pub mod controller;
mod draw;
pub mod fault;
mod map;
pub mod pair;
mod plant;
pub mod route;
pub mod signals;
mod slip_only;
mod truth;

pub use bus::BUS;
pub use car::Car;
pub use fault::{Fault, Form};
pub use map::map_text;
pub use truth::{SLIP_EDGES, Truth};

use halfshaft_model::Batch;

/// Drives a car: the frames of its drive, and the truth.
pub fn drive(car: &Car) -> (Batch, Truth) {
    let mut bus = bus::Bus::new(car);
    let mut witness = truth::Witness::new(car);
    plant::run(car, &mut |step, state| {
        bus.see(step, state);
        witness.see(step, state);
    });
    (bus.batch(), witness.truth())
}

#[cfg(test)]
mod tests {
    use super::*;
    use car::Place;
    use controller::Idea;
    use route::Kind;

    // The first healthy car that is as wanted.
    fn first(wanted: impl Fn(&Car) -> bool) -> Car {
        let mut cars = (1..2000).map(|number| Car::healthy(1, number));
        cars.find(wanted).expect("the fleet has such a car")
    }

    #[test]
    fn same_number_same_bytes_and_a_fault_of_the_bus_leaves_the_drive_alone() {
        let clean = Car::ill(3, 50, Fault::BadSamples, Form::Plain, false);
        let (batch, truth) = drive(&clean);
        let (again, _) = drive(&clean);
        assert_eq!(batch.entries, again.entries);
        let (sound, sound_truth) = drive(&clean.without_fault());
        assert_eq!(truth.heat_kj, sound_truth.heat_kj);
        assert_eq!(batch.entries.len(), sound.entries.len());
        let payloads = |batch: &Batch| -> Vec<Vec<u8>> {
            let frame = |entry: &halfshaft_model::Entry| match entry {
                halfshaft_model::Entry::Frame(frame) => batch.payload(frame).to_vec(),
                _ => Vec::new(),
            };
            batch.entries.iter().map(frame).collect()
        };
        let (dirty, sound) = (payloads(&batch), payloads(&sound));
        let n_changed = dirty.iter().zip(&sound).filter(|(a, b)| a != b).count();
        let n_of_wheels = dirty.len() / clean.signals.frames.len();
        assert!(n_changed > 0 && n_changed < n_of_wheels, "{n_changed}");
    }

    #[test]
    fn preload_in_tight_bends_makes_the_closed_form_heat() {
        // Derived: E = ½·B·W·Σ|Δψ|/r with B the bias of the preload, less what the tyres give
        // way by: B/(Cx·r) of the mean wheel speed.
        let car = first(|car| {
            let is_calm = car.route.kind == Kind::FigureEight && car.controller.idea == Idea::Never;
            is_calm && car.body.tyre_ratio.abs() < 0.001
        });
        let (_, truth) = drive(&car);
        let bias_nm = car.pack.preload_nm * car.pack.place.bias();
        let radius_m = car.body.radius_m * (1.0 + car.body.wear[2]);
        let turned = truth.turned_deg.to_radians();
        let free_kj = 0.5 * bias_nm * car.body.track_m * turned / radius_m / 1e3;
        let way_m = truth.distance_km * 1e3;
        let given_kj = 0.5 * bias_nm * bias_nm * way_m
            / (car.body.tyre_stiffness_n * radius_m * radius_m)
            / 1e3;
        let wanted_kj = free_kj - given_kj;
        // A twentieth: the straights between the circles, and an inside wheel that slips.
        assert!(
            (truth.heat_kj / wanted_kj - 1.0).abs() < 0.05,
            "{} {wanted_kj}",
            truth.heat_kj
        );
        let parts: f64 = truth.parts_kj.iter().sum();
        assert!((parts - truth.heat_kj).abs() < 1e-6 * truth.heat_kj);
    }

    #[test]
    fn a_pack_that_grips_less_slips_more() {
        let car = first(|car| {
            car.route.kind == Kind::Track
                && car.controller.idea == Idea::ByPedal
                && car.pack.place == Place::OneSide
        });
        let weak = Car {
            knobs: fault::Knobs::of(Fault::NoGrip, Form::Plain),
            ..car.clone()
        };
        let (sound, weak) = (drive(&car).1, drive(&weak).1);
        assert!(
            weak.slip_peak > sound.slip_peak,
            "{} {}",
            weak.slip_peak,
            sound.slip_peak
        );
        assert!(weak.turned_deg > 0.9 * sound.turned_deg);
    }
}
