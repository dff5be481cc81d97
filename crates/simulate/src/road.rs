//! The road and how fast it is driven: manoeuvre pieces to curvature and speed by distance.
//!
//! In: pieces and a driving style. Out: for every metre of road its curvature, the speed
//! to aim for and the grip under each rear wheel; and where the car stops for how long.

use halfshaft_model::constants::STANDARD_GRAVITY;

/// Spacing of the grid the road is stored on, m.
const GRID_M: f64 = 1.0;

/// Curvature is averaged over this many metres, as a steering wheel cannot jump.
const TRANSITION_M: usize = 12;

/// Share of the lateral grip a driver on the throttle uses.
const GRIP_USED: f64 = 0.8;

/// What the road does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Straight on.
    Straight {
        /// Length, m.
        length_m: f64,
    },
    /// A bend.
    Bend {
        /// Radius, m.
        radius_m: f64,
        /// Heading change, rad; positive to the left.
        angle_rad: f64,
    },
    /// Standing still.
    Stop {
        /// How long, s.
        seconds: f64,
    },
}

/// One piece of the drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Shape of the road.
    pub shape: Shape,
    /// Speed to aim for, m/s; bends are also limited by the style.
    pub speed_m_per_s: f64,
    /// Grip under the rear left wheel as a share of the normal one.
    pub grip_left: f64,
    /// Grip under the rear right wheel.
    pub grip_right: f64,
    /// The car is towed, with its left rear wheel on a dolly.
    pub is_towed: bool,
}

impl Piece {
    /// A straight of `length_m` at `speed_km_per_h`.
    pub const fn straight(length_m: f64, speed_km_per_h: f64) -> Piece {
        Piece::new(Shape::Straight { length_m }, speed_km_per_h)
    }

    /// A bend of `angle_deg` (positive to the left) at no more than `speed_km_per_h`.
    pub const fn bend(radius_m: f64, angle_deg: f64, speed_km_per_h: f64) -> Piece {
        Piece::new(
            Shape::Bend {
                radius_m,
                angle_rad: angle_deg.to_radians(),
            },
            speed_km_per_h,
        )
    }

    /// A stop of `seconds`.
    pub const fn stop(seconds: f64) -> Piece {
        Piece::new(Shape::Stop { seconds }, 0.0)
    }

    /// The same piece with slippery ground under one or both rear wheels.
    pub const fn grip(self, left: f64, right: f64) -> Piece {
        Piece {
            grip_left: left,
            grip_right: right,
            ..self
        }
    }

    /// The same piece in tow, engine off, the left rear wheel on a dolly. Stops before and
    /// after it are the scenario's.
    pub const fn towed(self) -> Piece {
        Piece {
            is_towed: true,
            ..self
        }
    }

    const fn new(shape: Shape, speed_km_per_h: f64) -> Piece {
        Piece {
            shape,
            speed_m_per_s: speed_km_per_h / 3.6,
            grip_left: 1.0,
            grip_right: 1.0,
            is_towed: false,
        }
    }
}

/// How the car is driven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// Lateral acceleration bends are entered with, m/s².
    pub lateral_m_per_s2: f64,
    /// Acceleration the driver asks for, m/s².
    pub accelerate_m_per_s2: f64,
    /// Deceleration when braking, m/s².
    pub brake_m_per_s2: f64,
    /// Share of the bend after which the driver goes back on the throttle.
    pub power_from: f64,
    /// How fast the pedals move, full strokes per second.
    pub pedal_per_s: f64,
    /// How much slower the throttle is pressed at the limit of the lateral grip.
    pub squeeze: f64,
    /// Wheelspin at which the driver begins to lift, m/s at the tyre.
    pub spin_tolerance_m_per_s: f64,
    /// How much the speed wanders about the aim, one standard deviation as a share.
    pub speed_wander: f64,
    /// How much the steering wanders in the lane, one standard deviation, 1/m.
    pub lane_wander_per_m: f64,
}

impl Style {
    /// An unhurried road driver.
    pub const CALM: Style = Style {
        lateral_m_per_s2: 2.6,
        accelerate_m_per_s2: 1.6,
        brake_m_per_s2: 2.0,
        power_from: 0.7,
        pedal_per_s: 1.6,
        squeeze: 0.8,
        spin_tolerance_m_per_s: 1.0,
        speed_wander: 0.025,
        lane_wander_per_m: 1.2e-4,
    };
    /// A brisk road driver.
    pub const BRISK: Style = Style {
        lateral_m_per_s2: 4.5,
        accelerate_m_per_s2: 3.2,
        brake_m_per_s2: 3.5,
        power_from: 0.55,
        pedal_per_s: 3.0,
        squeeze: 0.8,
        spin_tolerance_m_per_s: 2.0,
        speed_wander: 0.02,
        lane_wander_per_m: 1.2e-4,
    };
    /// A track driver.
    pub const TRACK: Style = Style {
        lateral_m_per_s2: 7.0,
        accelerate_m_per_s2: 9.0,
        brake_m_per_s2: 7.5,
        power_from: 0.45,
        pedal_per_s: 5.0,
        squeeze: 0.5,
        spin_tolerance_m_per_s: 5.0,
        speed_wander: 0.005,
        lane_wander_per_m: 2e-4,
    };
}

/// One stop on the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Where, m from the start.
    pub at_m: f64,
    /// How long, s.
    pub seconds: f64,
}

/// A road with its speeds.
#[derive(Clone, Debug)]
pub struct Road {
    curvature_per_m: Vec<f64>,
    speed_m_per_s: Vec<f64>,
    grip: Vec<[f64; 2]>,
    // Stretches in tow, m, half open.
    towed_m: Vec<[f64; 2]>,
    stops: Vec<Stop>,
}

impl Road {
    /// Lays out the pieces. A drive begins at rest and ends with a stop, stated or not.
    pub fn lay(pieces: &[Piece], style: &Style, friction: f64) -> Road {
        let mut curvature = vec![0.0; 2];
        let mut limit = vec![0.0; 2];
        let mut grip = vec![[1.0, 1.0]; 2];
        let mut stops = Vec::new();
        let mut towed_m = Vec::new();
        for piece in pieces {
            let start = limit.len() - 1;
            match piece.shape {
                Shape::Stop { seconds } => {
                    let at = limit.len() - 1;
                    limit[at] = 0.0;
                    stops.push(Stop {
                        at_m: at as f64 * GRID_M,
                        seconds,
                    });
                }
                Shape::Straight { length_m } => {
                    let n = (length_m / GRID_M).round() as usize;
                    curvature.extend(std::iter::repeat_n(0.0, n));
                    limit.extend(std::iter::repeat_n(piece.speed_m_per_s, n));
                    grip.extend(std::iter::repeat_n([piece.grip_left, piece.grip_right], n));
                }
                Shape::Bend {
                    radius_m,
                    angle_rad,
                } => {
                    let length_m = radius_m * angle_rad.abs();
                    let n = (length_m / GRID_M).round().max(1.0) as usize;
                    // The grid rounds the length, so the angle decides the curvature.
                    let bend = angle_rad / (n as f64 * GRID_M);
                    let enter = (style.lateral_m_per_s2 * radius_m)
                        .sqrt()
                        .min(piece.speed_m_per_s);
                    // Past the throttle point the tyres' grip is the limit, not the style.
                    let leave = (GRIP_USED * friction * STANDARD_GRAVITY * radius_m)
                        .sqrt()
                        .min(piece.speed_m_per_s);
                    let throttle_on = (n as f64 * style.power_from) as usize;
                    for i in 0..n {
                        curvature.push(bend);
                        limit.push(if i < throttle_on {
                            enter
                        } else {
                            leave.max(enter)
                        });
                        grip.push([piece.grip_left, piece.grip_right]);
                    }
                }
            }
            if piece.is_towed {
                towed_m.push([start, limit.len() - 1].map(|at| at as f64 * GRID_M));
            }
        }
        let end = limit.len() - 1;
        if stops
            .last()
            .is_none_or(|stop| stop.at_m < end as f64 * GRID_M)
        {
            limit[end] = 0.0;
            stops.push(Stop {
                at_m: end as f64 * GRID_M,
                seconds: 2.0,
            });
        }
        // A step of brake before each slow place, a step of throttle after it.
        for i in (0..end).rev() {
            limit[i] = limit[i].min(reach(limit[i + 1], style.brake_m_per_s2));
        }
        for i in 0..end {
            limit[i + 1] = limit[i + 1].min(reach(limit[i], style.accelerate_m_per_s2));
        }
        Road {
            curvature_per_m: smooth(&curvature),
            speed_m_per_s: limit,
            grip,
            towed_m,
            stops,
        }
    }

    /// Where the car stops, in order.
    pub fn stops(&self) -> &[Stop] {
        &self.stops
    }

    /// Curvature, 1/m, positive to the left.
    pub fn curvature(&self, at_m: f64) -> f64 {
        between(&self.curvature_per_m, at_m)
    }

    /// Speed to aim for, m/s.
    pub fn speed(&self, at_m: f64) -> f64 {
        between(&self.speed_m_per_s, at_m)
    }

    /// Whether the car is in tow there.
    pub fn is_towed(&self, at_m: f64) -> bool {
        self.towed_m
            .iter()
            .any(|&[start, end]| start <= at_m && at_m < end)
    }

    /// Share of the normal grip under the rear wheels, left and right.
    pub fn grip(&self, at_m: f64) -> [f64; 2] {
        let i = ((at_m / GRID_M).max(0.0) as usize).min(self.grip.len() - 1);
        self.grip[i]
    }
}

fn reach(speed_m_per_s: f64, acceleration_m_per_s2: f64) -> f64 {
    (speed_m_per_s * speed_m_per_s + 2.0 * acceleration_m_per_s2 * GRID_M).sqrt()
}

fn between(grid: &[f64], at_m: f64) -> f64 {
    let last = grid.len() - 1;
    let position = (at_m / GRID_M).clamp(0.0, last as f64);
    let i = (position as usize).min(last - 1);
    let share = position - i as f64;
    grid[i] + share * (grid[i + 1] - grid[i])
}

// A moving average keeps the sum, so every bend keeps its angle.
fn smooth(curvature: &[f64]) -> Vec<f64> {
    let half = TRANSITION_M / 2;
    let mut padded = vec![0.0; half];
    padded.extend_from_slice(curvature);
    padded.extend(std::iter::repeat_n(0.0, half));
    let mut sum: f64 = padded[..TRANSITION_M].iter().sum();
    let mut out = Vec::with_capacity(curvature.len());
    for i in 0..curvature.len() {
        out.push(sum / TRANSITION_M as f64);
        let enters = padded.get(i + TRANSITION_M).copied().unwrap_or(0.0);
        sum += enters - padded[i];
        // Running sums leave rounding dust, which would make a straight bend.
        if sum.abs() < 1e-9 {
            sum = 0.0;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bends_keep_their_angle_and_straights_are_straight() {
        let pieces = [
            Piece::straight(100.0, 50.0),
            Piece::bend(40.0, 90.0, 50.0),
            Piece::straight(100.0, 50.0),
        ];
        let road = Road::lay(&pieces, &Style::CALM, 1.0);
        let angle: f64 = road.curvature_per_m.iter().sum::<f64>() * GRID_M;
        assert!((angle.to_degrees() - 90.0).abs() < 1e-6, "{angle}");
        assert_eq!(road.curvature(50.0), 0.0);
        assert_eq!(road.curvature(250.0), 0.0);
        assert!((road.curvature(130.0) - 1.0 / 40.0).abs() < 1e-3);
    }

    #[test]
    fn speed_rises_and_falls_no_faster_than_the_style() {
        let pieces = [
            Piece::straight(300.0, 90.0),
            Piece::bend(30.0, -90.0, 90.0),
            Piece::straight(50.0, 90.0),
        ];
        let road = Road::lay(&pieces, &Style::CALM, 1.0);
        for pair in road.speed_m_per_s.windows(2) {
            let acceleration = (pair[1] * pair[1] - pair[0] * pair[0]) / (2.0 * GRID_M);
            assert!(acceleration < Style::CALM.accelerate_m_per_s2 + 1e-9);
            assert!(acceleration > -Style::CALM.brake_m_per_s2 - 1e-9);
        }
        assert_eq!(road.stops().len(), 1);
        // sqrt(2.6 m/s² · 30 m) = 8.8 m/s into the bend.
        assert!(road.speed(305.0) < 8.9);
    }
}
