//! The driver: follows the road's speed with two pedals, stops where it says so, lifts
//! when the wheels spin, and changes gear.
//!
//! In: the road, the speed, the wheelspin, what the car can give. Out: throttle and brake.

use crate::random::Random;
use crate::road::{Road, Style};

/// What the driver goes by at this moment.
#[derive(Clone, Copy, Debug)]
pub struct Feel {
    /// Road speed, m/s.
    pub speed_m_per_s: f64,
    /// How much faster than the road the faster rear tyre turns, m/s.
    pub spin_m_per_s: f64,
    /// Resistance of air and road, N.
    pub resistance_n: f64,
    /// Force at full throttle now, N.
    pub full_throttle_n: f64,
    /// Force of the engine's drag now, N.
    pub engine_drag_n: f64,
    /// Share of the lateral grip in use.
    pub cornering: f64,
    /// Mass of the car, kg.
    pub mass_kg: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Doing {
    Driving,
    Halting,
    Waiting { left_s: f64 },
}

/// Road speeds of the upshifts, m/s.
const UPSHIFT_M_PER_S: [f64; 4] = [12.0, 21.0, 32.0, 46.0];
/// Share of the upshift speed below which the gear is taken back.
const DOWNSHIFT_SHARE: f64 = 0.7;
/// How long the throttle is closed for a gear change, s.
const SHIFT_S: f64 = 0.25;
/// Brake is used when asked to slow by this much more than the engine drags, m/s².
const BRAKE_FROM_M_PER_S2: f64 = 0.5;
/// Deceleration at full brake, m/s².
pub const FULL_BRAKE_M_PER_S2: f64 = 10.0;
/// A stop begins this far before its place, m, and below this speed, m/s.
const HALT_WITHIN_M: f64 = 4.0;
const HALT_BELOW_M_PER_S: f64 = 2.5;
/// Correction per m/s of speed error, 1/s.
const PER_ERROR_PER_S: f64 = 0.9;

/// Speed and lane wander in steps of this length, s, forgetting in these times, s.
const WANDER_STEP_S: f64 = 0.05;
const SPEED_WANDER_S: f64 = 12.0;
const LANE_WANDER_S: f64 = 1.5;

/// A slow random walk that is drawn back to 0, with standard deviation 1.
#[derive(Clone, Copy, Debug, Default)]
struct Wander {
    now: f64,
}

impl Wander {
    fn step(&mut self, forgets_s: f64, random: &mut Random) {
        let share = WANDER_STEP_S / forgets_s;
        self.now += -share * self.now + (2.0 * share).sqrt() * random.normal();
    }
}

/// The driver.
#[derive(Clone, Debug)]
pub struct Driver {
    style: Style,
    doing: Doing,
    next_stop: usize,
    /// Place on the road, m.
    at_m: f64,
    gear: usize,
    shift_s: f64,
    shifting_s: f64,
    is_slowing: bool,
    random: Random,
    speed_wander: Wander,
    lane_wander: Wander,
    until_wander_s: f64,
    lane_per_m: f64,
    /// Accelerator, 0 to 1.
    pub throttle: f64,
    /// Brake, 0 to 1.
    pub brake: f64,
}

impl Driver {
    /// A driver waiting at the start.
    pub fn new(style: Style, seed: u64) -> Driver {
        Driver {
            style,
            doing: Doing::Waiting { left_s: 1.0 },
            next_stop: 0,
            at_m: 0.0,
            gear: 0,
            shift_s: SHIFT_S,
            shifting_s: 0.0,
            is_slowing: false,
            random: Random::new(seed ^ 0x6472_6976),
            speed_wander: Wander::default(),
            lane_wander: Wander::default(),
            until_wander_s: 0.0,
            lane_per_m: 0.0,
            throttle: 0.0,
            brake: 0.5,
        }
    }

    /// The same with a gearbox that shifts by itself and needs no lift.
    pub fn with_automatic(self) -> Driver {
        Driver {
            shift_s: 0.0,
            ..self
        }
    }

    /// Gear engaged, from 1.
    pub fn gear(&self) -> usize {
        self.gear + 1
    }

    /// Place on the road, m.
    pub fn at_m(&self) -> f64 {
        self.at_m
    }

    /// Curvature the driver adds to the road's while keeping the lane, 1/m.
    pub fn lane_per_m(&self) -> f64 {
        self.lane_per_m
    }

    /// Whether the car stands and is held.
    pub fn is_waiting(&self) -> bool {
        matches!(self.doing, Doing::Waiting { .. })
    }

    /// Whether the last stop is over.
    pub fn has_arrived(&self, road: &Road) -> bool {
        self.next_stop >= road.stops().len() && !self.is_waiting()
    }

    /// One step.
    pub fn step(&mut self, road: &Road, feel: &Feel, step_s: f64) {
        self.at_m += feel.speed_m_per_s * step_s;
        self.wander(step_s);
        let (throttle, brake) = match self.doing {
            Doing::Waiting { left_s } if left_s > step_s => {
                self.doing = Doing::Waiting {
                    left_s: left_s - step_s,
                };
                (0.0, 0.5)
            }
            Doing::Waiting { .. } => {
                self.doing = Doing::Driving;
                (0.0, 0.0)
            }
            Doing::Halting => {
                if feel.speed_m_per_s < 0.02
                    && let Some(stop) = road.stops().get(self.next_stop)
                {
                    self.at_m = stop.at_m;
                    self.doing = Doing::Waiting {
                        left_s: stop.seconds,
                    };
                    self.next_stop += 1;
                }
                (0.0, 0.25)
            }
            Doing::Driving => {
                if let Some(stop) = road.stops().get(self.next_stop) {
                    let left_m = stop.at_m - self.at_m;
                    if left_m < HALT_WITHIN_M && feel.speed_m_per_s < HALT_BELOW_M_PER_S
                        || left_m < 0.0
                    {
                        self.doing = Doing::Halting;
                    }
                }
                self.pedals(road, feel, step_s)
            }
        };
        let most = self.style.pedal_per_s * step_s;
        // In a bend the throttle is squeezed; lifting and braking are quicker than pressing.
        let press = most * (1.0 - self.style.squeeze * feel.cornering.min(1.0));
        self.throttle += (throttle - self.throttle).clamp(-2.0 * most, press);
        self.brake += (brake - self.brake).clamp(-2.0 * most, 2.0 * most);
    }

    fn wander(&mut self, step_s: f64) {
        self.until_wander_s -= step_s;
        if self.until_wander_s <= 0.0 {
            self.until_wander_s += WANDER_STEP_S;
            self.speed_wander.step(SPEED_WANDER_S, &mut self.random);
            self.lane_wander.step(LANE_WANDER_S, &mut self.random);
        }
        // Hands move smoothly between two thoughts.
        let aim = self.style.lane_wander_per_m * self.lane_wander.now;
        self.lane_per_m += (aim - self.lane_per_m) * step_s / (0.1 + step_s);
    }

    fn pedals(&mut self, road: &Road, feel: &Feel, step_s: f64) -> (f64, f64) {
        let speed = feel.speed_m_per_s;
        // The eye is ahead of the car; from rest it must see where the road allows speed.
        let ahead_m = self.at_m + 1.5 + 0.12 * speed;
        let wander = (1.0 + self.style.speed_wander * self.speed_wander.now).clamp(0.8, 1.2);
        let aim = wander * road.speed(ahead_m);
        let slope = 0.5 * (road.speed(ahead_m + 1.0) - road.speed(ahead_m - 1.0));
        let feed_forward =
            (aim * slope).clamp(-self.style.brake_m_per_s2, self.style.accelerate_m_per_s2);
        let asked = (feed_forward + PER_ERROR_PER_S * (aim - speed)).clamp(
            -1.25 * self.style.brake_m_per_s2,
            1.15 * self.style.accelerate_m_per_s2,
        );
        let force = feel.mass_kg * asked + feel.resistance_n;
        let beyond_drag = -(force + feel.engine_drag_n) / feel.mass_kg;
        // A foot stays on the brake until it is clearly no longer needed.
        self.is_slowing = beyond_drag
            > if self.is_slowing {
                0.0
            } else {
                BRAKE_FROM_M_PER_S2
            };
        self.change_gear(speed, step_s);
        if self.is_slowing {
            return (0.0, (beyond_drag / FULL_BRAKE_M_PER_S2).clamp(0.0, 1.0));
        }
        if self.shifting_s > 0.0 {
            return (0.0, 0.0);
        }
        let share = (force + feel.engine_drag_n) / (feel.full_throttle_n + feel.engine_drag_n);
        let tolerance = self.style.spin_tolerance_m_per_s;
        let lift = (1.0 - (feel.spin_m_per_s - tolerance) / tolerance).clamp(0.15, 1.0);
        ((share * lift).clamp(0.0, 1.0), 0.0)
    }

    fn change_gear(&mut self, speed_m_per_s: f64, step_s: f64) {
        self.shifting_s = (self.shifting_s - step_s).max(0.0);
        if self.gear < UPSHIFT_M_PER_S.len() && speed_m_per_s > UPSHIFT_M_PER_S[self.gear] {
            self.gear += 1;
            self.shifting_s = self.shift_s;
        } else if self.gear > 0 && speed_m_per_s < DOWNSHIFT_SHARE * UPSHIFT_M_PER_S[self.gear - 1]
        {
            self.gear -= 1;
        }
    }
}
