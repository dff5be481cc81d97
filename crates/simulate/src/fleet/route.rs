//! Roads of the fleet: where it goes, how it is driven, what the weather is.
//!
//! In: a stream of random numbers. Out: a [`Route`]: pieces of road, a style, stretches in
//! reverse, temperatures. It is longer than any drive and is cut at the drive's length.

use super::draw::Draw;
use crate::road::{Piece, Style};

/// Kinds of road and weather.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Streets with stops and turns.
    Town,
    /// Creeping and standing.
    Jam,
    /// Long straights and wide bends at speed.
    Motorway,
    /// Bend after bend uphill.
    Pass,
    /// A country road in the rain.
    Wet,
    /// A country road on ice.
    Ice,
    /// A gravel road.
    Gravel,
    /// A country road with a trailer.
    Trailer,
    /// A car park, forward and in reverse.
    CarPark,
    /// Laps of a circuit.
    Track,
    /// An oval to the left.
    OvalLeft,
    /// An oval to the right.
    OvalRight,
    /// Drifting on a skid pan.
    Drift,
    /// Hairpins.
    Hairpins,
    /// A figure of eight.
    FigureEight,
    /// Roundabouts.
    Roundabouts,
    /// To the shop and no farther.
    ShortHop,
}

/// Every kind.
pub const KINDS: [Kind; 17] = [
    Kind::Town,
    Kind::Jam,
    Kind::Motorway,
    Kind::Pass,
    Kind::Wet,
    Kind::Ice,
    Kind::Gravel,
    Kind::Trailer,
    Kind::CarPark,
    Kind::Track,
    Kind::OvalLeft,
    Kind::OvalRight,
    Kind::Drift,
    Kind::Hairpins,
    Kind::FigureEight,
    Kind::Roundabouts,
    Kind::ShortHop,
];

/// A road with its driver and weather.
#[derive(Clone, Debug)]
pub struct Route {
    /// Kind.
    pub kind: Kind,
    /// Pieces in order.
    pub pieces: Vec<Piece>,
    /// Stretches driven in reverse, m from the start.
    pub reverse_m: Vec<[f64; 2]>,
    /// How it is driven.
    pub style: Style,
    /// Length of the drive, s.
    pub duration_s: f64,
    /// Friction of tyre and road.
    pub grip: f64,
    /// Mass of a trailer, kg.
    pub trailer_kg: f64,
    /// Yaw that drifting adds, one amplitude, rad/s.
    pub drift_yaw: f64,
    /// Air, °C.
    pub ambient_c: f64,
    /// Axle at the start, °C.
    pub start_c: f64,
}

impl Route {
    /// Draws a road of this kind.
    pub fn draw(draw: &mut Draw, kind: Kind) -> Route {
        let duration_s = match kind {
            Kind::ShortHop => draw.between(120.0, 200.0),
            _ => draw.between(180.0, 900.0),
        };
        let style = style(draw, kind);
        let grip = match kind {
            Kind::Wet => draw.between(0.55, 0.75),
            Kind::Ice => draw.between(0.12, 0.3),
            Kind::Gravel => draw.between(0.45, 0.65),
            Kind::Drift => draw.between(0.6, 0.9),
            _ => draw.between(0.9, 1.1),
        };
        let trailer_kg = match kind {
            Kind::Trailer => draw.between(600.0, 1800.0),
            _ => 0.0,
        };
        let drift_yaw = match kind {
            Kind::Drift => draw.between(0.1, 0.3),
            _ => 0.0,
        };
        let ambient_c = match draw.below(6) {
            0 => draw.between(-15.0, 0.0),
            1 => draw.between(30.0, 40.0),
            _ => draw.between(0.0, 30.0),
        };
        let start_c = match draw.chance(0.5) {
            true => ambient_c,
            false => draw.between(ambient_c.max(30.0), 85.0),
        };
        let mut layer = Layer {
            draw,
            pieces: Vec::new(),
            reverse_m: Vec::new(),
            length_m: 0.0,
        };
        layer.straight(60.0, 40.0);
        // No drive is faster than this on average, m/s.
        while layer.length_m < duration_s * 45.0 {
            layer.part(kind);
        }
        let Layer {
            pieces, reverse_m, ..
        } = layer;
        Route {
            kind,
            pieces,
            reverse_m,
            style,
            duration_s,
            grip,
            trailer_kg,
            drift_yaw,
            ambient_c,
            start_c,
        }
    }
}

fn style(draw: &mut Draw, kind: Kind) -> Style {
    let base = match kind {
        Kind::Track | Kind::Drift => Style::TRACK,
        Kind::Hairpins | Kind::OvalLeft | Kind::OvalRight | Kind::Pass => {
            draw.one(&[Style::BRISK, Style::TRACK])
        }
        Kind::Ice | Kind::Jam | Kind::CarPark | Kind::Trailer => Style::CALM,
        _ => draw.one(&[Style::CALM, Style::CALM, Style::BRISK]),
    };
    let lateral = match kind {
        Kind::Ice => 0.7,
        Kind::Wet | Kind::Gravel => base.lateral_m_per_s2.min(3.5),
        _ => base.lateral_m_per_s2 * draw.between(0.75, 1.1),
    };
    let accelerate = match kind {
        Kind::Ice => 1.3,
        Kind::Jam => 1.0,
        Kind::Gravel | Kind::Wet => base.accelerate_m_per_s2.min(2.6),
        _ => base.accelerate_m_per_s2 * draw.between(0.8, 1.2),
    };
    Style {
        lateral_m_per_s2: lateral,
        accelerate_m_per_s2: accelerate,
        brake_m_per_s2: if kind == Kind::Ice {
            0.8
        } else {
            base.brake_m_per_s2
        },
        power_from: base.power_from * draw.between(0.7, 1.1),
        spin_tolerance_m_per_s: match kind {
            Kind::Drift => 9.0,
            _ => base.spin_tolerance_m_per_s,
        },
        ..base
    }
}

// Lays pieces and keeps count of their length.
struct Layer<'a> {
    draw: &'a mut Draw,
    pieces: Vec<Piece>,
    reverse_m: Vec<[f64; 2]>,
    length_m: f64,
}

impl Layer<'_> {
    fn straight(&mut self, length_m: f64, km_per_h: f64) {
        self.pieces
            .push(Piece::straight(length_m.round(), km_per_h));
        self.length_m += length_m.round();
    }

    fn bend(&mut self, radius_m: f64, angle_deg: f64, km_per_h: f64) {
        self.pieces.push(Piece::bend(radius_m, angle_deg, km_per_h));
        self.length_m += (radius_m * angle_deg.to_radians().abs()).round().max(1.0);
    }

    fn stop(&mut self, seconds: f64) {
        self.pieces.push(Piece::stop(seconds));
    }

    // Slippery ground under one rear wheel or both on the latest piece.
    fn slippery(&mut self, left: f64, right: f64) {
        if let Some(last) = self.pieces.last_mut() {
            *last = last.grip(left, right);
        }
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.draw.between(low, high)
    }

    fn part(&mut self, kind: Kind) {
        let side = self.draw.side();
        match kind {
            Kind::Town | Kind::ShortHop => self.town(side),
            Kind::Jam => {
                let length_m = self.between(6.0, 40.0);
                let speed = self.between(6.0, 25.0);
                self.straight(length_m, speed);
                if self.draw.chance(0.6) {
                    let seconds = self.between(2.0, 15.0);
                    self.stop(seconds);
                }
                if self.draw.chance(0.05) {
                    self.bend(12.0, 90.0 * side, 20.0);
                }
            }
            Kind::Motorway => {
                let (length_m, speed) = (self.between(300.0, 1500.0), self.between(95.0, 150.0));
                self.straight(length_m, speed);
                let (radius_m, angle) = (self.between(350.0, 1200.0), self.between(5.0, 30.0));
                self.bend(radius_m, angle * side, speed);
                if self.draw.chance(0.06) {
                    self.bend(55.0, 200.0 * side, 60.0);
                }
            }
            Kind::Pass => self.country(side, [15.0, 90.0], [30.0, 140.0], [20.0, 180.0], 80.0),
            Kind::Wet | Kind::Gravel | Kind::Trailer => {
                self.country(side, [18.0, 220.0], [20.0, 100.0], [60.0, 500.0], 85.0);
                self.puddle();
            }
            Kind::Ice => {
                self.country(side, [25.0, 200.0], [20.0, 90.0], [60.0, 400.0], 55.0);
                if self.draw.chance(0.4) {
                    self.stop(3.0);
                    // Polished by those who started here before.
                    let share = self.between(0.4, 1.0);
                    self.straight(15.0, 30.0);
                    self.slippery(share, 1.0);
                }
            }
            Kind::CarPark => self.car_park(side),
            Kind::Track => self.lap(),
            Kind::OvalLeft => self.oval(1.0),
            Kind::OvalRight => self.oval(-1.0),
            Kind::Drift => {
                let radius_m = self.between(14.0, 35.0);
                let angle = self.between(180.0, 500.0);
                self.bend(radius_m, angle * side, 80.0);
                self.straight(30.0, 70.0);
            }
            Kind::Hairpins => {
                let (radius_m, length_m) = (self.between(7.0, 12.0), self.between(60.0, 250.0));
                self.straight(length_m, 75.0);
                self.bend(radius_m, 175.0 * side, 40.0);
            }
            Kind::FigureEight => {
                let radius_m = self.between(7.0, 15.0);
                self.bend(radius_m, 300.0, 30.0);
                self.straight(12.0, 30.0);
                self.bend(radius_m, -300.0, 30.0);
                self.straight(12.0, 30.0);
            }
            Kind::Roundabouts => {
                let (length_m, radius_m) = (self.between(100.0, 500.0), self.between(12.0, 25.0));
                self.straight(length_m, 60.0);
                self.bend(20.0, -35.0, 40.0);
                let angle = self.between(80.0, 300.0);
                self.bend(radius_m, angle, 40.0);
                self.bend(20.0, -35.0, 50.0);
            }
        }
    }

    fn town(&mut self, side: f64) {
        let (length_m, speed) = (self.between(40.0, 300.0), self.between(28.0, 55.0));
        self.straight(length_m, speed);
        match self.draw.below(4) {
            0 => {
                let seconds = self.between(1.0, 20.0);
                self.stop(seconds);
                self.straight(20.0, 40.0);
            }
            1 | 2 => {
                let (radius_m, angle) = (self.between(7.0, 18.0), self.between(70.0, 110.0));
                self.bend(radius_m, angle * side, 35.0);
            }
            _ => {
                let (radius_m, angle) = (self.between(30.0, 120.0), self.between(15.0, 60.0));
                self.bend(radius_m, angle * side, speed);
            }
        }
    }

    fn country(
        &mut self,
        side: f64,
        radius_m: [f64; 2],
        angle_deg: [f64; 2],
        length_m: [f64; 2],
        km_per_h: f64,
    ) {
        let length = self.between(length_m[0], length_m[1]);
        let speed = km_per_h * self.between(0.75, 1.15);
        self.straight(length, speed);
        let radius = self.between(radius_m[0], radius_m[1]);
        let angle = self.between(angle_deg[0], angle_deg[1]);
        self.bend(radius, angle * side, speed);
    }

    fn puddle(&mut self) {
        if self.draw.chance(0.2) {
            let share = self.between(0.4, 0.9);
            self.slippery(1.0, share);
        }
    }

    fn car_park(&mut self, side: f64) {
        let length_m = self.between(8.0, 60.0);
        self.straight(length_m, 18.0);
        let radius_m = self.between(5.5, 9.0);
        self.bend(radius_m, 90.0 * side, 12.0);
        if self.draw.chance(0.4) {
            self.stop(2.0);
            let start = self.length_m;
            let angle = self.between(20.0, 90.0);
            self.bend(radius_m, -angle * side, 7.0);
            self.straight(4.0, 7.0);
            self.reverse_m.push([start, self.length_m]);
            self.stop(2.0);
        }
    }

    // Always the same lap: it is not drawn.
    fn lap(&mut self) {
        for (length_m, radius_m, angle_deg) in [
            (420.0, 45.0, 95.0),
            (120.0, 25.0, -80.0),
            (180.0, 90.0, 70.0),
            (60.0, 15.0, 165.0),
            (300.0, 130.0, -60.0),
            (90.0, 35.0, -75.0),
            (150.0, 28.0, 110.0),
            (80.0, 60.0, 135.0),
        ] {
            self.straight(length_m, 210.0);
            self.bend(radius_m, angle_deg, 210.0);
        }
    }

    fn oval(&mut self, side: f64) {
        let radius_m = 60.0;
        self.straight(250.0, 150.0);
        self.bend(radius_m, 180.0 * side, 150.0);
    }
}
