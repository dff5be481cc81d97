//! How a clutch pack splits the axle torque between its shafts.

/// Torques of the slow and the fast shaft, N·m, for an input torque at the case and an
/// axle bias (slow less fast). Derived: they sum to the input and differ by the bias.
pub fn slow_and_fast(case_torque_nm: f64, bias_nm: f64) -> (f64, f64) {
    (
        0.5 * (case_torque_nm + bias_nm),
        0.5 * (case_torque_nm - bias_nm),
    )
}

/// Torque bias ratio, slow over fast: (T + ΔT)/(T − ΔT); infinite at full bias.
pub fn bias_ratio(case_torque_nm: f64, bias_nm: f64) -> f64 {
    (case_torque_nm + bias_nm) / (case_torque_nm - bias_nm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bias_ratio_of_a_textbook_case() {
        // Source, from memory: input 400, bias 200 N·m: ratio 3.0.
        assert!((bias_ratio(400.0, 200.0) - 3.0).abs() < 1e-12);
    }

    #[test]
    fn what_goes_in_comes_out_or_turns_into_heat() {
        // Derived: input power less output power is the pack's heat, ½·bias·Δω, whatever
        // the speeds: 300 N·m in, bias 120, shafts at 40 and 46 rad/s.
        let (slow, fast) = slow_and_fast(300.0, 120.0);
        let heat = 300.0 * 43.0 - slow * 40.0 - fast * 46.0;
        assert!((heat - 0.5 * 120.0 * 6.0).abs() < 1e-9);
    }
}
