//! Twelve drives of one car on one circuit, one after another, while something creeps or nothing does.
//!
//! In: the seed and number of a car, what creeps, and which drive. Out: the car of that drive. Each is of a day of
//! its own, as with pairs: moods, noise, air, supply and the oil at the start differ.

use super::car::Car;
use super::pair;

/// Drives of a chain.
pub const N_DRIVES: u64 = 12;

/// What creeps from drive to drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Creeps {
    /// Nothing.
    Nothing,
    /// The air, from 9 °C on the first drive to 28 °C on the last, and the oil at the start with it; the other way
    /// round for a car of odd number.
    Weather,
    /// The actuator: 8 % slower to close a drive.
    Motor,
    /// Oil, and its conductance: 12 % less a drive, so that half is gone before the seventh.
    Oil,
}

impl Creeps {
    /// Every one.
    pub const ALL: [Creeps; 4] = [Creeps::Nothing, Creeps::Weather, Creeps::Motor, Creeps::Oil];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Creeps::Nothing => "nothing",
            Creeps::Weather => "air from 9 to 28 °C, or back",
            Creeps::Motor => "closing 8 % slower a drive",
            Creeps::Oil => "oil and its conductance -12 % a drive",
        }
    }
}

/// Air of the first and the last drive, °C.
const WEATHER_C: [f64; 2] = [9.0, 28.0];

/// The car of a drive of the chain, counted from 0.
pub fn drive(seed: u64, number: u64, creeps: Creeps, drive: u64) -> Car {
    let mut car = pair::on_circuit(seed, number, drive);
    let gone = drive as f64;
    match creeps {
        Creeps::Nothing => {}
        Creeps::Weather => {
            let warmer = car.route.start_c - car.route.ambient_c;
            let [mut first, mut last] = WEATHER_C;
            if !number.is_multiple_of(2) {
                std::mem::swap(&mut first, &mut last);
            }
            car.route.ambient_c = first + (last - first) * gone / (N_DRIVES - 1) as f64;
            car.route.start_c = car.route.ambient_c + warmer;
        }
        Creeps::Motor => car.knobs.lag = 1.08_f64.powf(gone),
        Creeps::Oil => car.knobs.oil_share = 0.88_f64.powf(gone),
    }
    car
}
