//! Made-up roads for tests, driven to rows.

use halfshaft_driveline::{Evidence, Row};

use super::PathWatch;
use crate::testing::row;

/// A piece of road: length, m, and how far it turns, deg, positive to the left.
pub type Piece = (f64, f64);

/// Heat of the made-up pack for each radian turned, J: as a preload has it.
pub const JOULES_PER_RAD: f64 = 40.0;

/// A circuit of 1.6 km with seven corners that turns once round.
pub const CIRCUIT: [Piece; 13] = [
    (330.0, 0.0),
    (60.0, 95.0),
    (80.0, 0.0),
    (70.0, -70.0),
    (65.0, 85.0),
    (260.0, 0.0),
    (50.0, -150.0),
    (150.0, 0.0),
    (180.0, 120.0),
    (100.0, 0.0),
    (60.0, 130.0),
    (80.0, 0.0),
    (110.0, 150.0),
];

/// The number of its corners.
pub const N_CORNERS: usize = 7;

/// How it is driven and measured.
#[derive(Clone, Copy, Debug)]
pub struct Driving {
    /// Speed on straights, m/s.
    pub speed: f64,
    /// Lateral acceleration in bends, m/s².
    pub lateral: f64,
    /// Standard deviation and bias of the yaw rate, rad/s.
    pub yaw_noise: f64,
    /// Bias of the yaw rate, rad/s.
    pub yaw_bias: f64,
    /// Time between rows, s.
    pub period_s: f64,
}

impl Default for Driving {
    fn default() -> Driving {
        Driving {
            speed: 30.0,
            lateral: 6.0,
            yaw_noise: 0.004,
            yaw_bias: 0.002,
            period_s: 0.02,
        }
    }
}

/// Length of some pieces, m.
pub fn length_m(pieces: &[Piece]) -> f64 {
    pieces.iter().map(|(length, _)| length).sum()
}

/// A car on its way.
#[derive(Clone, Debug)]
pub struct Car {
    pub driving: Driving,
    pub rows: Vec<Row>,
    /// True distance of each row, m.
    pub true_m: Vec<f64>,
    time_s: f64,
    at_m: f64,
    random: u64,
}

impl Car {
    pub fn new(driving: Driving, seed: u64) -> Car {
        Car {
            driving,
            rows: Vec::new(),
            true_m: Vec::new(),
            time_s: 0.0,
            at_m: 0.0,
            random: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1,
        }
    }

    /// Even between 0 and 1 (xorshift of Marsaglia).
    pub fn random(&mut self) -> f64 {
        self.random ^= self.random << 13;
        self.random ^= self.random >> 7;
        self.random ^= self.random << 17;
        (self.random >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Drives pieces; the measured distance is `scale` times the true one.
    pub fn drive(&mut self, pieces: &[Piece], scale: f64) {
        for &(length, turned_deg) in pieces {
            let curvature = turned_deg.to_radians() / length;
            let limit = (self.driving.lateral / curvature.abs().max(1e-9)).sqrt();
            let wanted = self.driving.speed.min(limit);
            // Even steps, so that a piece turns by exactly what it should.
            let n = (length / (wanted * self.driving.period_s)).ceil();
            let metres = length / n;
            let seconds = metres / wanted;
            for index in 0..n as usize {
                // Channels of different rates make intervals uneven.
                self.time_s += if index % 2 == 0 { 0.6 } else { 1.4 } * seconds;
                self.at_m += metres;
                let noise = (0..12).map(|_| self.random()).sum::<f64>() - 6.0;
                let yaw_rate = curvature * wanted;
                let mut row = row(self.time_s);
                row.seconds = seconds;
                row.road_speed = Some(wanted * scale);
                row.yaw_rate =
                    Some(yaw_rate + self.driving.yaw_bias + self.driving.yaw_noise * noise);
                row.work_j = Some(JOULES_PER_RAD * yaw_rate.abs() * seconds);
                row.evidence = Evidence::new([1e3; 4]);
                self.rows.push(row);
                self.true_m.push(self.at_m);
            }
        }
    }

    /// Takes the rows between two true distances out, as a gap does.
    pub fn cut(&mut self, from_m: f64, to_m: f64) {
        let is_lost = |at: f64| (from_m..to_m).contains(&at);
        let lost: Vec<bool> = self.true_m.iter().map(|at| is_lost(*at)).collect();
        for index in 1..self.rows.len() {
            if lost[index - 1] && !lost[index] {
                self.rows[index].is_joined = false;
            }
        }
        let mut keep = lost.iter().map(|is_lost| !is_lost);
        self.rows.retain(|_| keep.next().unwrap_or(true));
        self.true_m.retain(|at| !is_lost(*at));
    }

    /// True distance at a time, m.
    pub fn true_m_at(&self, seconds: f64) -> f64 {
        let after = self
            .rows
            .partition_point(|row| row.time.seconds() < seconds);
        self.true_m[after.min(self.rows.len() - 1)]
    }

    /// When the car was at a true distance, s.
    pub fn seconds_at(&self, true_m: f64) -> f64 {
        let after = self.true_m.partition_point(|at| *at < true_m);
        self.rows[after.min(self.rows.len() - 1)].time.seconds()
    }

    /// A watch that has seen it all.
    pub fn watched(&self) -> PathWatch {
        let mut watch = PathWatch::new();
        for row in &self.rows {
            watch.add(row);
        }
        watch
    }
}
