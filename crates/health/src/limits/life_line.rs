//! The life line of the damage sum: cycles to failure against range, the user's own.

limits! {
    /// Life line of the damage sum after Palmgren and Miner, as a bench or the maker of the part
    /// gave it: cycles = `cycles` · (`range_nm` / range)^`exponent`.
    life_line: LifeLimits;

    /// Exponent; 0 leaves the sum out.
    exponent: f64 = 0.0, "exponent", from 0.0 to 30.0,
        reason: "none is known of linings, so there is no default",
        source: "none";

    /// Range of pack torque at one point of the line.
    range_nm: f64 = 500.0, "N·m", from 1.0 to 100000.0;

    /// Cycles of that range until the end of life.
    cycles: f64 = 1000000.0, "count", from 1.0 to 1000000000000.0;
}
