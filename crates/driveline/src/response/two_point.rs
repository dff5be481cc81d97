//! Dead time and lag from two crossings of a step response.
//!
//! In: times from the step at which the response has gone stated shares of its way. Out:
//! dead time and lag. They hold for one clean step to a settled end only; the fit driven by
//! the command does not need that.

/// Dead time and lag of a first-order lag with dead time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeadTimeAndLag {
    /// Dead time θ, s.
    pub dead_time_s: f64,
    /// Lag τ, s.
    pub lag_s: f64,
}

/// Smith's shares of the way.
pub const SMITH_SHARES: (f64, f64) = (0.283, 0.632);

/// Shares of the way of Sundaresan and Krishnaswamy.
pub const SUNDARESAN_KRISHNASWAMY_SHARES: (f64, f64) = (0.353, 0.853);

/// Smith's two points: τ = 1.5·(t63.2 − t28.3), θ = t63.2 − τ. Source, from memory: Smith
/// 1972; Seborg.
pub fn smith(at_28_3_s: f64, at_63_2_s: f64) -> DeadTimeAndLag {
    let lag_s = 1.5 * (at_63_2_s - at_28_3_s);
    DeadTimeAndLag {
        dead_time_s: at_63_2_s - lag_s,
        lag_s,
    }
}

/// Two points after Sundaresan and Krishnaswamy: τ = 0.67·(t85.3 − t35.3),
/// θ = 1.3·t35.3 − 0.29·t85.3. Source, from memory: Ind. Eng. Chem. Fundam. 1978.
pub fn sundaresan_krishnaswamy(at_35_3_s: f64, at_85_3_s: f64) -> DeadTimeAndLag {
    DeadTimeAndLag {
        dead_time_s: 1.3 * at_35_3_s - 0.29 * at_85_3_s,
        lag_s: 0.67 * (at_85_3_s - at_35_3_s),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn one_lag() {
        // θ 0.08, τ 0.20. Source, from memory: Smith 1972, Seborg: 0.146536 and 0.279934 s
        // give τ 0.20010, θ 0.07984.
        let crossing = |share: f64| 0.08 - 0.20 * (1.0 - share).ln();
        near(crossing(SMITH_SHARES.0), 0.146536, 1e-6);
        near(crossing(SMITH_SHARES.1), 0.279934, 1e-6);
        let got = smith(0.146536, 0.279934);
        near(got.lag_s, 0.20010, 5e-6);
        near(got.dead_time_s, 0.07984, 5e-6);
        // Source, from memory: Sundaresan and Krishnaswamy 1978: 0.167082 and 0.463465 s
        // give τ 0.19858, θ 0.08280.
        near(crossing(SUNDARESAN_KRISHNASWAMY_SHARES.0), 0.167082, 1e-6);
        near(crossing(SUNDARESAN_KRISHNASWAMY_SHARES.1), 0.463465, 1e-6);
        let got = sundaresan_krishnaswamy(0.167082, 0.463465);
        near(got.lag_s, 0.19858, 5e-6);
        near(got.dead_time_s, 0.08280, 5e-6);
    }

    #[test]
    fn two_equal_lags() {
        // Derived: two lags of 0.1 s behind 0.05 s of dead time, x = 1 − (1 + t/τ)·e^(−t/τ):
        // Smith τ 0.16420, θ 0.10037; Sundaresan and Krishnaswamy τ 0.14440, θ 0.11358.
        let crossing = |share: f64| {
            let (mut low, mut high) = (0.0_f64, 20.0_f64);
            for _ in 0..80 {
                let middle = 0.5 * (low + high);
                match 1.0 - (1.0 + middle) * (-middle).exp() < share {
                    true => low = middle,
                    false => high = middle,
                }
            }
            0.05 + 0.1 * low
        };
        let got = smith(crossing(SMITH_SHARES.0), crossing(SMITH_SHARES.1));
        near(got.lag_s, 0.16420, 5e-6);
        near(got.dead_time_s, 0.10037, 5e-6);
        let (low, high) = SUNDARESAN_KRISHNASWAMY_SHARES;
        let got = sundaresan_krishnaswamy(crossing(low), crossing(high));
        near(got.lag_s, 0.14440, 5e-6);
        near(got.dead_time_s, 0.11358, 5e-6);
    }
}
