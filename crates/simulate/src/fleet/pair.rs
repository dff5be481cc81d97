//! Two drives of one car on one road, before and after something was changed.
//!
//! In: the seed and number of a car, and what is changed. Out: the car of either drive. Both are of a day of
//! their own: the driver's moods, the noise of the sensors, air, supply and the oil at the start differ in
//! either, whatever is changed.

use super::car::Car;
use super::draw::{Draw, Purpose};
use super::route::Kind;

/// What is changed from one drive to the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Changed {
    /// Nothing.
    Nothing,
    /// Nothing, on a road.
    NothingOnRoad,
    /// The driver: 10 % faster through the bends and 15 % harder out of them.
    Driver,
    /// The actuator takes 20 % longer to close.
    Rise,
    /// It takes twice as long to release.
    Release,
    /// Preload 30 % lower, and the map says so.
    Preload,
    /// Rear tyres another 0.5 % apart.
    Tyres,
    /// Half the oil.
    HalfOil,
    /// Twice the cooling by the air.
    Cooling,
    /// Linings that grip 30 % less under the same command.
    Grip,
}

impl Changed {
    /// Every change.
    pub const ALL: [Changed; 10] = [
        Changed::Nothing,
        Changed::NothingOnRoad,
        Changed::Driver,
        Changed::Rise,
        Changed::Release,
        Changed::Preload,
        Changed::Tyres,
        Changed::HalfOil,
        Changed::Cooling,
        Changed::Grip,
    ];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Changed::Nothing => "nothing",
            Changed::NothingOnRoad => "nothing, on a road",
            Changed::Driver => "driver 10 % faster",
            Changed::Rise => "closing +20 %",
            Changed::Release => "release doubled",
            Changed::Preload => "preload -30 %, stated",
            Changed::Tyres => "tyre ratio +0.5 %",
            Changed::HalfOil => "half the oil",
            Changed::Cooling => "twice the cooling",
            Changed::Grip => "grip -30 %",
        }
    }

    /// Stable word.
    pub fn word(self) -> &'static str {
        match self {
            Changed::Nothing => "nothing",
            Changed::NothingOnRoad => "nothing-on-road",
            Changed::Driver => "driver",
            Changed::Rise => "rise",
            Changed::Release => "release",
            Changed::Preload => "preload",
            Changed::Tyres => "tyres",
            Changed::HalfOil => "half-oil",
            Changed::Cooling => "cooling",
            Changed::Grip => "grip",
        }
    }

    /// Where it can be seen: laps of a circuit, open bends, or straight road.
    fn kind(self) -> Kind {
        match self {
            Changed::Tyres => Kind::Motorway,
            Changed::NothingOnRoad | Changed::Preload | Changed::Grip => Kind::Pass,
            _ => Kind::Track,
        }
    }
}

/// Length of a drive, s: some ten laps.
const DURATION_S: [f64; 2] = [700.0, 1000.0];

/// The car before the change.
pub fn before(seed: u64, number: u64, changed: Changed) -> Car {
    day(Car::healthy_on(seed, number, changed.kind()), 0)
}

/// The car on its circuit, on the day of so many drives later.
pub(super) fn on_circuit(seed: u64, number: u64, drive: u64) -> Car {
    day(Car::healthy_on(seed, number, Kind::Track), drive)
}

/// The same car after it, on another day.
pub fn after(seed: u64, number: u64, changed: Changed) -> Car {
    let mut car = day(Car::healthy_on(seed, number, changed.kind()), 1);
    match changed {
        Changed::Nothing | Changed::NothingOnRoad => {}
        Changed::Driver => {
            car.route.style.lateral_m_per_s2 *= 1.1;
            car.route.style.accelerate_m_per_s2 *= 1.15;
        }
        Changed::Rise => car.knobs.lag = 1.2,
        Changed::Release => car.actuator.release *= 2.0,
        Changed::Preload => car.pack.preload_nm *= 0.7,
        Changed::Tyres => car.knobs.tyre_ratio = 0.005_f64.copysign(car.body.tyre_ratio),
        Changed::HalfOil => car.knobs.oil_share = 0.5,
        Changed::Cooling => {
            car.thermal.still_air_w_per_k *= 2.0;
            car.thermal.air_at_30_m_per_s_w_per_k *= 2.0;
        }
        Changed::Grip => car.knobs.torque_share = 0.7,
    }
    car
}

/// What is altered in a car that then drives the same drive: same road, driver, weather and noise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Altered {
    /// Half as many faces again, pressed as before.
    Faces,
    /// A lining of a quarter less friction, pressed as before.
    Friction,
    /// Preload half as strong again, by springs.
    Preload,
    /// Half the oil.
    Oil,
    /// Half as much cooling of the housing again.
    Cooling,
    /// A table that gives 30 % more torque above the preload.
    Table,
}

impl Altered {
    /// Every one.
    pub const ALL: [Altered; 6] = [
        Altered::Faces,
        Altered::Friction,
        Altered::Preload,
        Altered::Oil,
        Altered::Cooling,
        Altered::Table,
    ];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Altered::Faces => "faces +50 %",
            Altered::Friction => "friction -25 %",
            Altered::Preload => "preload +50 %",
            Altered::Oil => "half the oil",
            Altered::Cooling => "cooling +50 %",
            Altered::Table => "table +30 % above the preload",
        }
    }

    /// The car with it.
    pub fn in_car(self, car: &Car) -> Car {
        let mut car = car.clone();
        let (pack, thermal) = (&mut car.pack, &mut car.thermal);
        let mut times = |factor: f64| {
            pack.preload_nm *= factor;
            pack.full_nm *= factor;
        };
        match self {
            Altered::Faces => {
                times(1.5);
                pack.n_faces *= 1.5;
                // Discs of one thickness; their oil is led past all of them.
                thermal.pack_j_per_k *= 1.5;
                thermal.pack_to_oil_w_per_k *= 1.5;
            }
            Altered::Friction => {
                times(0.75);
                pack.friction *= 0.75;
            }
            Altered::Preload => {
                pack.full_nm += 0.5 * pack.preload_nm;
                pack.preload_nm *= 1.5;
            }
            Altered::Oil => car.knobs.oil_share = 0.5,
            Altered::Cooling => {
                thermal.still_air_w_per_k *= 1.5;
                thermal.air_at_30_m_per_s_w_per_k *= 1.5;
            }
            Altered::Table => pack.full_nm += 0.3 * (pack.full_nm - pack.preload_nm),
        }
        car
    }
}

/// A car on its circuit or its pass, by turns, before anything is altered.
pub fn to_exchange(seed: u64, number: u64) -> Car {
    let kind = match number.is_multiple_of(2) {
        true => Kind::Track,
        false => Kind::Pass,
    };
    day(Car::healthy_on(seed, number, kind), 0)
}

// Another day: the road, the style of the driver and the season stay.
fn day(mut car: Car, drive: u64) -> Car {
    let season = Draw::new(car.seed, car.number, Purpose::Road).between(5.0, 28.0);
    car.drive = drive;
    let mut draw = car.stream(Purpose::Road);
    car.route.duration_s = draw.between(DURATION_S[0], DURATION_S[1]);
    car.route.ambient_c = season + 4.0 * draw.normal();
    car.route.start_c = car.route.ambient_c + draw.between(0.0, 40.0);
    car.route.style.lateral_m_per_s2 *= 1.0 + 0.01 * draw.normal();
    car.motor.supply_v += 0.15 * draw.normal();
    car
}
