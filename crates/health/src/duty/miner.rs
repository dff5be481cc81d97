//! The damage sum after Palmgren and Miner, for a life line of the user.
//!
//! In: cycles, and a straight line in log–log of range against cycles to failure. Out: the
//! share of life used. It compares drives of one part; no exponent of a lining is known
//! here, so it says nothing of life left, and there is no default.

use super::cycle_count::Cycle;
use crate::reason::Reason;

/// Cycles a part bears against the range of each: N = `reference_cycles` ·
/// (`reference_range` / range)^`exponent`.
///
/// Invariant: all three finite and above 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LifeLine {
    exponent: f64,
    reference_range: f64,
    reference_cycles: f64,
}

impl LifeLine {
    /// A line through one point; the range is in the unit of the cycles.
    pub fn new(
        exponent: f64,
        reference_range: f64,
        reference_cycles: f64,
    ) -> Result<LifeLine, Reason> {
        for (name, value) in [
            ("exponent", exponent),
            ("reference range", reference_range),
            ("reference cycles", reference_cycles),
        ] {
            if !(value.is_finite() && value > 0.0) {
                return Err(Reason::BadLifeLine { name, value });
            }
        }
        Ok(LifeLine {
            exponent,
            reference_range,
            reference_cycles,
        })
    }

    /// Share of life that one cycle of a range uses: (range / reference)^m / N.
    pub fn damage_of(&self, range: f64) -> f64 {
        (range / self.reference_range).powf(self.exponent) / self.reference_cycles
    }
}

/// Share of life used, 1 at the end of it: Σ count/N(range). No unit, never negative.
///
/// Ranges without regard to their mean; load below an endurance limit counts too. Source:
/// Palmgren and Miner's linear rule (common practice, no source).
pub fn miner_sum(cycles: &[Cycle], line: &LifeLine) -> f64 {
    cycles
        .iter()
        .map(|cycle| cycle.count * line.damage_of(cycle.range))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cycles() -> Vec<Cycle> {
        // The counts of the example of ASTM E1049-85, section 5.4.4.
        [(3.0, 0.5), (4.0, 1.5), (6.0, 0.5), (8.0, 1.0), (9.0, 0.5)]
            .map(|(range, count)| Cycle {
                range,
                mean: 0.0,
                count,
            })
            .to_vec()
    }

    #[track_caller]
    fn check(exponent: f64, wanted: f64) {
        let line = LifeLine::new(exponent, 10.0, 1e6).unwrap();
        let sum = miner_sum(&cycles(), &line);
        assert!((sum / wanted - 1.0).abs() < 5e-4, "{sum} is not {wanted}");
    }

    #[test]
    fn damage_by_hand() {
        // Derived: N = 10⁶·(10/S)^m. m = 3: (0.5·27 + 1.5·64 + 0.5·216 + 512 + 0.5·729)/10⁹.
        check(3.0, 1.094e-6);
        check(5.0, 6.784e-7);
        let line = LifeLine::new(3.0, 10.0, 1e6).unwrap();
        assert_eq!(miner_sum(&[], &line), 0.0);
        // One reference cycle uses one millionth.
        assert_eq!(line.damage_of(10.0), 1e-6);
    }

    #[test]
    fn a_line_that_is_none_is_refused() {
        for (exponent, range, cycles) in [
            (0.0, 10.0, 1e6),
            (f64::NAN, 10.0, 1e6),
            (3.0, -1.0, 1e6),
            (3.0, 10.0, f64::INFINITY),
        ] {
            assert!(LifeLine::new(exponent, range, cycles).is_err());
        }
    }
}
