//! One stream of random numbers for each thing that is drawn, so that one draw does not shift
//! the others.
//!
//! In: the seed of a fleet, the number of a car, what is drawn. Out: numbers and choices.

use crate::random::Random;

/// What a stream is for.
#[derive(Clone, Copy, Debug)]
pub enum Purpose {
    /// Body, tyres, axle.
    Body = 1,
    /// Actuator and its supply.
    Actuator,
    /// Controller.
    Controller,
    /// Road, driver, weather.
    Road,
    /// Which channels are sent, how and how often.
    Bus,
    /// What the owner wrote into the map.
    Map,
    /// Noise of the sensors.
    Noise,
    /// The fault, where it has numbers.
    Fault,
    /// The driver's moods.
    Driver,
}

/// Random numbers and choices.
#[derive(Clone, Debug)]
pub struct Draw(Random);

impl Draw {
    /// The stream of a car for a purpose.
    pub fn new(seed: u64, number: u64, purpose: Purpose) -> Draw {
        let mixed = seed
            .wrapping_mul(0x9E37_79B9_7F4A_7C15)
            .wrapping_add(number.wrapping_mul(0xD1B5_4A32_D192_ED03))
            .wrapping_add((purpose as u64).wrapping_mul(0x8CB9_2BA7_2F3D_8DD7));
        Draw(Random::new(mixed))
    }

    /// Uniform in `low..high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.between(low, high)
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        self.0.normal()
    }

    /// True in this share of all draws.
    pub fn chance(&mut self, share: f64) -> bool {
        self.0.uniform() < share
    }

    /// One of these, each as likely.
    pub fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.0.below(of.len() as u64) as usize]
    }

    /// A whole number in `0..n`.
    pub fn below(&mut self, n: u64) -> u64 {
        self.0.below(n)
    }

    /// +1 or −1.
    pub fn side(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }
}
