//! The actuator: how quick, how even, at what current, and the delays after the pedal.

limits! {
    /// The actuator.
    actuator: ActuatorLimits;

    /// Oil temperature from which times are judged.
    warm_from_c: f64 = 30.0, "°C", from -40.0 to 150.0,
        reason: "cold oil makes any actuator slow";

    /// Supply voltage from which times are judged.
    voltage_from_v: f64 = 12.0, "V", from 1.0 to 60.0,
        reason: "a weak battery makes any motor slow";

    /// Moves of the command from which a median time is judged.
    least_steps: u32 = 10, "count", from 1.0 to 100000.0;

    /// How many times what it was, or is rated, closing is slow.
    lazy_ratio: f64 = 1.5, "ratio", from 1.0 to 20.0,
        sensitivity: "the finding follows it in proportion";

    /// Rise from 10 to 90 % that is slow whatever is known of the unit.
    lazy_rise_s: f64 = 0.5, "s", from 0.01 to 60.0;

    /// Command from which the mechanism must move.
    asked_from: f64 = 0.5, "share", from 0.05 to 1.0;

    /// For how long it stands still while commanded.
    asked_s: f64 = 1.0, "s", from 0.1 to 60.0,
        reason: "three times a tired actuator's lag";

    /// A state that changes by less than this stands still.
    still_below: f64 = 0.05, "share", from 0.001 to 0.5;

    /// And only where it is short of the command by this.
    short_by: f64 = 0.2, "share", from 0.01 to 1.0,
        reason: "a pack held at its command stands still too";

    /// Times that make it a finding.
    not_moving_times: u32 = 3, "count", from 1.0 to 1000.0;

    /// How many times what it was release is slow.
    release_ratio: f64 = 2.0, "ratio", from 1.0 to 20.0;

    /// Release, to the last 10 %, that is slow whatever is known of the unit.
    release_s: f64 = 0.8, "s", from 0.01 to 60.0;

    /// Standard deviation over median from which times are scattered.
    scatter: f64 = 0.25, "share", from 0.01 to 5.0;

    /// Moves of the command at like temperature and voltage that scatter is judged from.
    scatter_events: u32 = 20, "count", from 5.0 to 100000.0,
        reason: "it then has a standard error of a sixth of itself",
        source: "derived from the normal distribution";

    /// Growth of the rise per kelvin below 20 °C from which the actuator is slow when cold.
    cold_growth_per_k: f64 = 0.02, "share", from 0.001 to 1.0,
        reason: "1 % per K is taken for usual";

    /// Moves of the command needed both below 20 °C and above it.
    cold_events: u32 = 5, "count", from 3.0 to 100000.0;

    /// Drop of the supply voltage while the motor moves.
    sag_v: f64 = 1.5, "V", from 0.1 to 20.0;

    /// Times that make it a finding.
    sag_times: u32 = 3, "count", from 1.0 to 1000.0;

    /// How many times what it was, or the motor is rated for, a holding current is much.
    hold_ratio: f64 = 1.3, "ratio", from 1.0 to 20.0;

    /// Times the clutch was held still and closed that this is judged from.
    hold_times: u32 = 3, "count", from 1.0 to 1000.0;

    /// Throttle-on delay that is late.
    throttle_on_s: f64 = 0.4, "s", from 0.01 to 10.0,
        reason: "0.3 s is what a slow pedal and a controller that waits for slip make of a sound car";

    /// Delay from lifting to open clutch that hangs on.
    lift_off_s: f64 = 0.5, "s", from 0.01 to 10.0;

    /// Movements of the pedal these are judged from.
    pedal_events: u32 = 5, "count", from 1.0 to 1000.0;

    /// Dead time of a good actuator while nothing is known of the unit.
    dead_usual_s: f64 = 0.05, "s", from 0.001 to 10.0;

    /// How many times what it was a dead time is long.
    dead_ratio: f64 = 2.0, "ratio", from 1.0 to 20.0;

    /// Dead time that is long whatever is known of the unit.
    dead_s: f64 = 0.2, "s", from 0.001 to 10.0;

    /// Rise, and release, of a good actuator while nothing is known of the unit.
    rise_usual_s: f64 = 0.2, "s", from 0.001 to 10.0;

    /// Scatter of a good actuator.
    scatter_usual: f64 = 0.1, "share", from 0.0 to 1.0;

    /// Error of the settled position of a good actuator.
    position_usual: f64 = 0.02, "share", from 0.0 to 1.0;

    /// Error of the settled position that is much.
    position_error: f64 = 0.1, "share", from 0.001 to 1.0;

    /// The health index is 0 at so many times the excess that is a limit.
    index_span: f64 = 2.0, "ratio", from 1.0 to 20.0,
        reason: "the index then stands at 50 where a finding fires";

    /// Share of the slowness by that growth that half of the cold moves must show.
    cold_half_share: f64 = 0.5, "share", from 0.0 to 1.0,
        reason: "so that a few odd moves do not make it";

    /// A move is mixed with one the other way that ended less than this before it.
    mixed_s: f64 = 2.0, "s", from 0.0 to 60.0,
        reason: "2 s leave a fiftieth of a lag of 0.5 s";

    /// How many times as long closing takes at the end of a drive as at its beginning, by the low end of
    /// its 90 % interval, that is slower.
    trend_ratio: f64 = 1.3, "ratio", from 1.0 to 20.0,
        reason: "copper 50 K hotter takes a fifth of a motor's torque";

    /// Moves of closing from which that is judged.
    trend_moves: u32 = 10, "count", from 10.0 to 100000.0;

    /// Oil temperature below which colder oil may make it slower meanwhile.
    trend_cold_below_c: f64 = 60.0, "°C", from -40.0 to 150.0,
        reason: "thicker from there on; 2 % per K are the most that is usual";

    /// Settled steps from which an error of the position is judged.
    settled_steps: u32 = 5, "count", from 1.0 to 100000.0;
}
