//! The path driven: steps of a few metres, and from them heading, time and heat by distance.
//!
//! In: steps. Out: [`Path`], functions of the distance driven. All of them are sums up to a
//! distance, straight lines between the ends of steps, so that the parts of any division
//! of the drive add up to the whole.

use halfshaft_driveline::HeatNearFloor;
use halfshaft_model::{Span, Time};

use super::grid::STEP_M;
use crate::trust::{Gate, HEAT, Kept};

/// A few metres of the drive.
#[derive(Clone, Debug)]
pub struct Step {
    /// When it began.
    pub start: Time,
    /// When it ended.
    pub end: Time,
    /// Its length, m: that of a grid step, or more where samples are far apart.
    pub length_m: f64,
    /// Heading change, rad, positive to the left.
    pub turned: f32,
    /// Lowest road speed, m/s; above any speed when none was seen.
    pub least_speed: f32,
    /// A gap lies in it.
    pub is_gap: bool,
    /// The wheels turned and the torque was not known.
    pub is_without_torque: bool,
    /// Heat, settled when the noise floor is known. The floor learned up to here is only
    /// the middle of the range kept: what counts in the end is the floor of the whole drive.
    pub heat: Kept<HeatNearFloor, HEAT>,
}

/// The path as functions of distance.
#[derive(Clone, Debug)]
pub struct Path {
    // One more than there are steps: from the start of the drive to its end.
    at_m: Vec<f64>,
    heading: Vec<f64>,
    time: Vec<Time>,
    // None where the heat is not believed.
    heat_j: Option<Vec<f64>>,
    n_gaps: Vec<u32>,
    n_without_torque: Vec<u32>,
    least_speed: Vec<f32>,
    /// Curvature of each 5 m of distance, 1/m, positive to the left.
    pub curvature: Vec<f64>,
}

impl Path {
    /// The path of some steps, with its heat where a gate is asked for it and it is believed.
    pub fn new<'a>(steps: impl Iterator<Item = &'a Step>, gate: Option<&Gate>) -> Path {
        let mut path = Path {
            at_m: vec![0.0],
            heading: vec![0.0],
            time: Vec::new(),
            heat_j: gate
                .filter(|gate| gate.allows(HEAT).is_ok())
                .map(|_| vec![0.0]),
            n_gaps: vec![0],
            n_without_torque: vec![0],
            least_speed: Vec::new(),
            curvature: Vec::new(),
        };
        let (mut at_m, mut heading, mut heat_j) = (0.0, 0.0, 0.0);
        let (mut n_gaps, mut n_without_torque) = (0, 0);
        for step in steps {
            if path.time.is_empty() {
                path.time.push(step.start);
            }
            at_m += step.length_m;
            heading += f64::from(step.turned);
            if let Some(gate) = gate
                && let (Ok(heat), Some(sums)) = (step.heat.ask(gate), &mut path.heat_j)
            {
                heat_j += heat.signed_j(gate.slip_sd());
                sums.push(heat_j);
            }
            n_gaps += u32::from(step.is_gap);
            n_without_torque += u32::from(step.is_without_torque);
            path.at_m.push(at_m);
            path.heading.push(heading);
            path.time.push(step.end);
            path.n_gaps.push(n_gaps);
            path.n_without_torque.push(n_without_torque);
            path.least_speed.push(step.least_speed);
        }
        path.time.resize(path.at_m.len(), Time::default());
        path.curvature = path.curvature_by(STEP_M);
        path
    }

    /// Its length, m.
    pub fn length_m(&self) -> f64 {
        self.at_m[self.at_m.len() - 1]
    }

    /// Mean curvature of each cell of a grid, 1/m.
    pub fn curvature_by(&self, cell_m: f64) -> Vec<f64> {
        let n_cells = (self.length_m() / cell_m) as usize;
        let mut before = 0.0;
        (1..=n_cells)
            .map(|cell| {
                let heading = self.heading(cell as f64 * cell_m);
                let turned = heading - before;
                before = heading;
                turned / cell_m
            })
            .collect()
    }

    /// Step in which a distance lies, and how far into it.
    fn place(&self, at_m: f64) -> (usize, f64) {
        let after = self.at_m.partition_point(|end| *end <= at_m);
        let step = after.clamp(1, (self.at_m.len() - 1).max(1)) - 1;
        let Some(end) = self.at_m.get(step + 1) else {
            return (0, 0.0);
        };
        let length = end - self.at_m[step];
        let share = if length > 0.0 {
            ((at_m - self.at_m[step]) / length).clamp(0.0, 1.0)
        } else {
            1.0
        };
        (step, share)
    }

    fn between(&self, sums: &[f64], at_m: f64) -> f64 {
        let (step, share) = self.place(at_m);
        let low = sums[step];
        let high = sums.get(step + 1).copied().unwrap_or(low);
        low + share * (high - low)
    }

    /// Heading, rad from that at the start.
    pub fn heading(&self, at_m: f64) -> f64 {
        self.between(&self.heading, at_m)
    }

    /// Heading change, deg.
    pub fn turned_deg(&self, start_m: f64, end_m: f64) -> f64 {
        (self.heading(end_m) - self.heading(start_m)).to_degrees()
    }

    /// When the car was there.
    pub fn time(&self, at_m: f64) -> Time {
        let (step, share) = self.place(at_m);
        let low = self.time[step];
        let high = self.time.get(step + 1).copied().unwrap_or(low);
        low.plus(share * high.since(low))
    }

    /// Distance at a time, m.
    pub fn distance_m(&self, time: Time) -> f64 {
        let after = self.time.partition_point(|end| *end <= time);
        if after == 0 {
            return 0.0;
        }
        let step = after - 1;
        let Some(end) = self.time.get(after) else {
            return self.length_m();
        };
        let seconds = end.since(self.time[step]);
        let share = time.since(self.time[step]) / seconds.max(1e-9);
        self.at_m[step] + share * (self.at_m[after] - self.at_m[step])
    }

    /// From when to when a stretch was driven.
    pub fn span(&self, start_m: f64, end_m: f64) -> Span {
        Span {
            start: self.time(start_m),
            end: self.time(end_m),
        }
    }

    /// Heat of a stretch, kJ, where it is believed. Adds up over stretches, but for the clipping
    /// of noise at zero.
    pub fn heat_kj(&self, start_m: f64, end_m: f64) -> Option<f64> {
        let sums = self.heat_j.as_ref()?;
        let joules = self.between(sums, end_m) - self.between(sums, start_m);
        Some(joules.max(0.0) * 1e-3)
    }

    /// Whether a gap lies in a stretch.
    pub fn has_gap(&self, start_m: f64, end_m: f64) -> bool {
        self.holds(&self.n_gaps, start_m, end_m)
    }

    /// Whether a part of a stretch may be missing: by a gap, or of its heat for want of a torque.
    pub fn is_hidden(&self, start_m: f64, end_m: f64) -> bool {
        self.has_gap(start_m, end_m)
            || self.heat_j.is_some() && self.holds(&self.n_without_torque, start_m, end_m)
    }

    fn holds(&self, counts: &[u32], start_m: f64, end_m: f64) -> bool {
        let first = self.place(start_m).0;
        let last = (self.place(end_m).0 + 1).min(counts.len() - 1);
        counts[last] > counts[first]
    }

    /// Mean speed of the step at a distance, m/s.
    pub fn speed_m_per_s(&self, at_m: f64) -> f64 {
        let step = self.place(at_m).0;
        match (self.at_m.get(step + 1), self.time.get(step + 1)) {
            (Some(end), Some(time)) => {
                (end - self.at_m[step]) / time.since(self.time[step]).max(1e-3)
            }
            _ => 0.0,
        }
    }

    /// Lowest speed of a stretch, m/s.
    pub fn least_speed_m_per_s(&self, start_m: f64, end_m: f64) -> f64 {
        let (first, last) = (self.place(start_m).0, self.place(end_m).0);
        self.least_speed
            .iter()
            .take(last + 1)
            .skip(first)
            .fold(f64::from(f32::MAX), |least, speed| {
                least.min(f64::from(*speed))
            })
            .min(self.speed_m_per_s(start_m))
    }

    /// How far the end of a stretch lies from its start as the crow flies, m, by dead
    /// reckoning with the heading drift of the stretch taken out.
    pub fn displacement_m(&self, start_m: f64, end_m: f64, drift: f64) -> f64 {
        let n = ((end_m - start_m) / STEP_M).max(1.0) as usize;
        let cell = (end_m - start_m) / n as f64;
        let (mut x, mut y) = (0.0, 0.0);
        for index in 0..n {
            let middle = start_m + (index as f64 + 0.5) * cell;
            let heading = self.heading(middle) - drift * (index as f64 + 0.5) / n as f64;
            x += cell * heading.cos();
            y += cell * heading.sin();
        }
        x.hypot(y)
    }
}
