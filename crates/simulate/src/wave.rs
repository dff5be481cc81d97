//! A sine that is the same on every machine.
//!
//! In: an angle in turns. Out: its sine. Library sines may differ in the last bit between
//! machines, and neither log nor truth may.

/// Sine of an angle given in whole turns, within 1e-8.
///
/// Source: the power series of the sine, folded into a quarter turn either way.
pub fn sine(turns: f64) -> f64 {
    let whole = turns - turns.round();
    let folded = if whole > 0.25 {
        0.5 - whole
    } else if whole < -0.25 {
        -0.5 - whole
    } else {
        whole
    };
    let x = std::f64::consts::TAU * folded;
    let square = x * x;
    let mut sum = 1.0;
    for n in [12.0, 10.0, 8.0, 6.0, 4.0, 2.0] {
        sum = 1.0 - square / (n * (n + 1.0)) * sum;
    }
    x * sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_library() {
        for i in -500..500 {
            let turns = f64::from(i) * 0.0173;
            let wanted = (std::f64::consts::TAU * turns).sin();
            assert!((sine(turns) - wanted).abs() < 1e-8, "{turns}");
        }
    }
}
