//! Controllers of the fleet: what the clutch is asked, every 10 ms.
//!
//! In: what a controller knows of the car. Out: the command, 0 to 1.

use super::draw::Draw;
use crate::controller::Sensed;

/// Time between two commands, s.
pub const TICK_S: f64 = 0.01;

/// The idea a controller follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Idea {
    /// All or nothing, and then rests for minutes.
    OnOff,
    /// In proportion to the slip beyond the bend.
    BySlip,
    /// Closes at the pedal, then backs off on a ramp.
    BackOff,
    /// A little all the time, more with the pedal.
    Trim,
    /// By the pedal.
    ByPedal,
    /// By the pedal in steps of 5 %, ten times a second.
    Steps,
    /// Never asks.
    Never,
    /// By the pedal, and releases when the foot begins to rise.
    Early,
}

/// Every idea.
pub const IDEAS: [Idea; 8] = [
    Idea::OnOff,
    Idea::BySlip,
    Idea::BackOff,
    Idea::Trim,
    Idea::ByPedal,
    Idea::Steps,
    Idea::Never,
    Idea::Early,
];

/// Numbers of a controller.
#[derive(Clone, Copy, Debug)]
pub struct Build {
    /// Its idea.
    pub idea: Idea,
    /// Command per pedal.
    pub per_pedal: f64,
    /// Command per slip beyond the bend, s/rad.
    pub per_slip: f64,
    /// How long it rests, s.
    pub rests_s: f64,
    /// The level it holds while driving.
    pub trim: f64,
}

impl Build {
    /// Draws one; one that must work is none that never asks or only trims.
    pub fn draw(draw: &mut Draw, must_work: bool) -> Build {
        let mut idea = draw.one(&IDEAS);
        let working = draw.one(&[Idea::BackOff, Idea::ByPedal, Idea::Steps, Idea::Early]);
        if must_work && matches!(idea, Idea::Never | Idea::Trim | Idea::BySlip | Idea::OnOff) {
            idea = working;
        }
        let per_pedal = match must_work {
            true => draw.between(1.0, 2.2),
            false => draw.between(0.5, 1.8),
        };
        Build {
            idea,
            per_pedal,
            per_slip: draw.between(0.05, 0.3),
            rests_s: draw.between(45.0, 180.0),
            trim: draw.between(0.02, 0.15),
        }
    }
}

/// A controller at work.
#[derive(Clone, Debug)]
pub struct Controller {
    build: Build,
    cut: Option<(f64, f64)>,
    draw: Draw,
    command: f64,
    excess: f64,
    last_throttle: f64,
    rest_s: f64,
    on_s: f64,
    until_s: f64,
    cut_s: f64,
    n_ticks: u64,
}

impl Controller {
    /// At rest. `cut`: above this oil temperature it cuts, in this share of its chances.
    pub fn new(build: Build, cut: Option<(f64, f64)>, draw: Draw) -> Controller {
        Controller {
            build,
            cut,
            draw,
            command: 0.0,
            excess: 0.0,
            last_throttle: 0.0,
            rest_s: 0.0,
            on_s: 0.0,
            until_s: 0.0,
            cut_s: 0.0,
            n_ticks: 0,
        }
    }

    /// Whether it saves the clutch by this tick.
    pub fn cuts(&self) -> bool {
        self.cut_s > 0.0
    }

    /// The command from this tick on.
    pub fn tick(&mut self, sensed: &Sensed) -> f64 {
        self.n_ticks += 1;
        self.excess += 0.3 * (sensed.excess_rad_per_s - self.excess);
        let wanted = self.wanted(sensed);
        self.last_throttle = sensed.throttle;
        // Closing is at once; a ramp of a quarter of a second opens, so that no pedal is felt.
        self.command = wanted.max(self.command - 4.0 * TICK_S).clamp(0.0, 1.0);
        if matches!(self.build.idea, Idea::OnOff | Idea::Early | Idea::Steps) {
            self.command = wanted.clamp(0.0, 1.0);
        }
        if let Some((above_c, share)) = self.cut {
            let is_due = sensed.oil_c > above_c && sensed.throttle > 0.5 && self.command > 0.3;
            if is_due && self.cut_s <= 0.0 && self.draw.chance(share * TICK_S / 0.3) {
                self.cut_s = 2.5;
            }
            self.cut_s -= TICK_S;
            if self.cut_s > 0.0 {
                self.command = 0.0;
            }
        }
        self.command
    }

    fn wanted(&mut self, sensed: &Sensed) -> f64 {
        let build = self.build;
        let pedal = (sensed.throttle - 0.04).max(0.0);
        let slip = (self.excess.abs() - 1.5).max(0.0);
        let is_off = sensed.is_braking || sensed.speed_m_per_s < 0.2 && sensed.throttle < 0.02;
        let by_pedal = match sensed.is_braking {
            true => 0.0,
            false => build.per_pedal * pedal + 0.3 * build.per_slip * slip,
        };
        match build.idea {
            Idea::Never => 0.0,
            Idea::OnOff => {
                self.rest_s -= TICK_S;
                self.on_s -= TICK_S;
                if self.rest_s <= 0.0 && (sensed.throttle > 0.45 || slip > 2.0) {
                    self.on_s = 3.0;
                    self.rest_s = build.rests_s;
                }
                f64::from(u8::from(self.on_s > 0.0 && !sensed.is_braking))
            }
            Idea::BySlip if is_off => 0.0,
            Idea::BySlip => build.per_slip * slip,
            Idea::BackOff => {
                let is_pressed = sensed.throttle > 0.25 && self.last_throttle <= 0.25;
                if is_pressed {
                    self.until_s = 1.0;
                }
                self.until_s = (self.until_s - 0.25 * TICK_S).max(0.0);
                match sensed.throttle < 0.05 || sensed.is_braking {
                    true => 0.0,
                    false => by_pedal.min(1.0) * (0.3 + 0.7 * self.until_s),
                }
            }
            Idea::Trim if sensed.speed_m_per_s < 1.0 => 0.0,
            Idea::Trim => build.trim + 0.3 * by_pedal,
            Idea::ByPedal => by_pedal,
            Idea::Steps => match self.n_ticks % 10 {
                0 => (by_pedal * 20.0).floor() / 20.0,
                _ => self.command,
            },
            Idea::Early => {
                self.until_s -= TICK_S;
                if sensed.throttle < self.last_throttle - 0.006 {
                    self.until_s = 0.6;
                }
                if self.until_s > 0.0 { 0.0 } else { by_pedal }
            }
        }
    }
}
