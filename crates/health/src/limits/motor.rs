//! The actuator's motor: when it holds, stalls, and drags its supply down.

limits! {
    /// The actuator's motor: when it holds, stalls, and drags its supply down.
    motor: MotorLimits;

    /// State from which the pack counts as held closed.
    closed_from: f64 = 0.8, "share", from 0.1 to 1.0;

    /// State and command below which it counts as open.
    open_below: f64 = 0.05, "share", from 0.0 to 1.0;

    /// A state that keeps within this stands still.
    still_within: f64 = 0.03, "share", from 0.001 to 0.5,
        reason: "twice the noise of a position sensor";

    /// A hold, and a stall, last at least this.
    least_s: f64 = 0.3, "s", from 0.0 to 10.0,
        reason: "the current of the move is over by then";

    /// Share of the rated current from which a motor that stands still is stalled.
    stalled_from: f64 = 0.9, "share", from 0.1 to 5.0;

    /// How far the state must be short of the command in a stall.
    short_by: f64 = 0.1, "share", from 0.0 to 1.0;

    /// The supply before a command step is the median over so long.
    supply_before_s: f64 = 0.5, "s", from 0.05 to 5.0;

    /// Its lowest is looked for so long after the edge.
    supply_after_s: f64 = 1.0, "s", from 0.05 to 5.0,
        reason: "the motor moves as long as that where it is tired";

    /// Samples of the supply after an edge below which a drop may be missed; before it half as many.
    least_supply_samples: u32 = 6, "count", from 2.0 to 10000.0;
}
