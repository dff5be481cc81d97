//! Fits the unknowns of a drive to what its temperature sensor said.
//!
//! In: the drive laid out, what is known before. Out: the likeliest unknowns, their
//! covariance, the residual. Least squares after Levenberg and Marquardt in units of the
//! tolerances, the priors being residuals too: what the drive cannot tell stays where it was,
//! with its band. Bounds at three standard deviations.
//!
//! Residuals of a sensor with steps follow one another for many seconds, so a thousand of
//! them tell far less than a thousand would that knew nothing of each other. The weight is
//! therefore set from the residuals themselves: their standard deviation times
//! √((1 + ρ)/(1 − ρ)) with ρ the correlation of neighbours, and the fit made anew.

use halfshaft_model::Site;

use crate::linear::{Square, factor, inverse, solve};

use super::prepared::Prepared;
use super::run::sensor_at_observations;
use super::unknowns::{FARTHEST_SDS, N_UNKNOWNS, Unknowns, Vector};

/// What a sensor is off by besides its steps, K. Source: none, engineering guess.
const SENSOR_NOISE_K: f64 = 0.2;

/// Neighbouring residuals are never taken as more alike than this.
const MOST_CORRELATED: f64 = 0.98;

/// Step of the derivatives, in standard deviations.
const DERIVATIVE_STEP: f64 = 1e-3;

/// Steps shorter than this end the search, in standard deviations.
const SMALL_STEP: f64 = 2e-3;

const MOST_ROUNDS: usize = 30;

/// A fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The likeliest point.
    pub z: Vector,
    /// Covariance there, in units of the tolerances; 1 where nothing was modelled.
    pub covariance: Square<N_UNKNOWNS>,
    /// Standard deviation of the residuals, K.
    pub residual_sd_k: f64,
}

/// Without readings: the prior as it is.
pub fn open() -> (Vector, Square<N_UNKNOWNS>) {
    let unit = |row: usize| std::array::from_fn(|column| if row == column { 1.0 } else { 0.0 });
    ([0.0; N_UNKNOWNS], std::array::from_fn(unit))
}

struct Problem<'a> {
    prepared: &'a Prepared,
    unknowns: &'a Unknowns,
    site: Site,
}

/// A point of the search. The slopes cost a drive for each unknown and do not hang on the
/// weight of the residuals, so they go along with it.
struct Trial {
    z: Vector,
    residuals: Vec<f64>,
    slopes: Vec<Vec<f64>>,
}

impl Problem<'_> {
    fn residuals(&self, z: &Vector, residuals: &mut Vec<f64>) {
        let values = self.unknowns.values(z);
        sensor_at_observations(self.prepared, &values, self.site, residuals);
        for (modelled, observation) in residuals.iter_mut().zip(&self.prepared.observations) {
            *modelled = observation.celsius - *modelled;
        }
    }

    /// Half the sum of squares at a point whose residuals are known.
    fn cost(z: &Vector, residuals: &[f64], sd_k: f64) -> f64 {
        let of_drive: f64 = residuals.iter().map(|rest| rest * rest).sum();
        let of_prior: f64 = z.iter().map(|off| off * off).sum();
        0.5 * (of_drive / (sd_k * sd_k) + of_prior)
    }

    /// How the residuals fall with each unknown: a drive for every one of them.
    fn slopes(&self, z: &Vector, residuals: &[f64]) -> Vec<Vec<f64>> {
        let mut moved = Vec::with_capacity(residuals.len());
        (0..N_UNKNOWNS)
            .map(|unknown| {
                let mut there = *z;
                there[unknown] += DERIVATIVE_STEP;
                self.residuals(&there, &mut moved);
                let pairs = residuals.iter().zip(&moved);
                pairs
                    .map(|(here, there)| (here - there) / DERIVATIVE_STEP)
                    .collect()
            })
            .collect()
    }

    /// Curvature and downhill pull at a point.
    fn normal(trial: &Trial, sd_k: f64) -> (Square<N_UNKNOWNS>, Vector) {
        let Trial {
            z,
            residuals,
            slopes: columns,
        } = trial;
        let weight = 1.0 / (sd_k * sd_k);
        let product = |left: &[f64], right: &[f64]| -> f64 {
            left.iter()
                .zip(right)
                .map(|(left, right)| left * right)
                .sum()
        };
        let mut curvature = [[0.0; N_UNKNOWNS]; N_UNKNOWNS];
        let mut pull = [0.0; N_UNKNOWNS];
        for row in 0..N_UNKNOWNS {
            pull[row] = weight * product(&columns[row], residuals) - z[row];
            for column in 0..=row {
                let cell = weight * product(&columns[row], &columns[column]);
                curvature[row][column] = cell;
                curvature[column][row] = cell;
            }
            curvature[row][row] += 1.0;
        }
        (curvature, pull)
    }

    /// Everything that is known of a point.
    fn trial(&self, z: Vector) -> Trial {
        let mut residuals = Vec::new();
        self.residuals(&z, &mut residuals);
        let slopes = self.slopes(&z, &residuals);
        Trial {
            z,
            residuals,
            slopes,
        }
    }

    /// Goes down from a point, with the curvature where it ends.
    fn descend(&self, mut here: Trial, sd_k: f64) -> (Trial, Square<N_UNKNOWNS>) {
        let (mut curvature, mut pull) = Problem::normal(&here, sd_k);
        let mut damping = 1e-3;
        let mut tried = Vec::new();
        for _ in 0..MOST_ROUNDS {
            let mut damped = curvature;
            let mut held_pull = pull;
            for unknown in 0..N_UNKNOWNS {
                damped[unknown][unknown] *= 1.0 + damping;
                // At a bound and pulled outward: it stays there, and the others move.
                let z = here.z[unknown];
                if z.abs() >= FARTHEST_SDS && z * pull[unknown] > 0.0 {
                    damped[unknown] = [0.0; N_UNKNOWNS];
                    for row in &mut damped {
                        row[unknown] = 0.0;
                    }
                    damped[unknown][unknown] = 1.0;
                    held_pull[unknown] = 0.0;
                }
            }
            let Some(lower) = factor(&damped, 0.0) else {
                damping *= 10.0;
                continue;
            };
            let step = solve(&lower, &held_pull);
            let there: Vector = std::array::from_fn(|unknown| {
                (here.z[unknown] + step[unknown]).clamp(-FARTHEST_SDS, FARTHEST_SDS)
            });
            self.residuals(&there, &mut tried);
            let ways = here.z.iter().zip(&there);
            let went = ways.fold(0.0_f64, |most, (from, to)| most.max((from - to).abs()));
            let cost_here = Problem::cost(&here.z, &here.residuals, sd_k);
            if Problem::cost(&there, &tried, sd_k) <= cost_here {
                here.z = there;
                std::mem::swap(&mut here.residuals, &mut tried);
                here.slopes = self.slopes(&here.z, &here.residuals);
                (curvature, pull) = Problem::normal(&here, sd_k);
                damping = (damping * 0.1).max(1e-9);
            } else {
                damping *= 10.0;
            }
            if went < SMALL_STEP {
                break;
            }
        }
        (here, curvature)
    }
}

/// Fits. `step_k` is the step of the sensor's number. `None` without observations.
pub fn fit(prepared: &Prepared, unknowns: &Unknowns, site: Site, step_k: f64) -> Option<Fit> {
    if prepared.observations.is_empty() {
        return None;
    }
    let problem = Problem {
        prepared,
        unknowns,
        site,
    };
    // A number rounded to steps is off evenly within ±½ step.
    let least_sd_k = (step_k * step_k / 12.0 + SENSOR_NOISE_K * SENSOR_NOISE_K).sqrt();
    // First with caution, then with the weight that the residuals themselves suggest.
    let start = problem.trial([0.0; N_UNKNOWNS]);
    let (mut best, mut curvature) = problem.descend(start, 5.0 * least_sd_k);
    for _ in 0..2 {
        let (sd, correlation) = scatter(&best.residuals);
        let alike = correlation.clamp(0.0, MOST_CORRELATED);
        let sd_k = sd.max(least_sd_k) * ((1.0 + alike) / (1.0 - alike)).sqrt();
        (best, curvature) = problem.descend(best, sd_k);
    }
    Some(Fit {
        z: best.z,
        covariance: inverse(&factor(&curvature, 0.0)?),
        residual_sd_k: scatter(&best.residuals).0,
    })
}

/// Root mean square, and correlation of neighbours.
fn scatter(residuals: &[f64]) -> (f64, f64) {
    let square: f64 = residuals.iter().map(|rest| rest * rest).sum();
    let product: f64 = residuals.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let sd = (square / residuals.len() as f64).sqrt();
    (sd, if square > 0.0 { product / square } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_of_alike_and_unlike_neighbours() {
        let (sd, correlation) = scatter(&[1.0, -1.0, 1.0, -1.0]);
        assert_eq!((sd, correlation), (1.0, -0.75));
        assert_eq!(scatter(&[2.0, 2.0, 2.0, 2.0]), (2.0, 0.75));
        assert_eq!(scatter(&[0.0, 0.0]).1, 0.0);
    }
}
