//! What both accounts of the truth see of a step.

/// The state after a step, as the truth needs it.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Time, s.
    pub time_s: f64,
    /// Road speed, m/s.
    pub speed_m_per_s: f64,
    /// Yaw rate, rad/s.
    pub yaw_rad_per_s: f64,
    /// Wheel speeds, rad/s.
    pub wheel_rad_per_s: [f64; 2],
    /// Slip of the pack, rad/s.
    pub slip_rad_per_s: f64,
    /// Torque one pack could carry, N·m.
    pub capacity_nm: f64,
    /// Whether the pack sticks.
    pub is_stuck: bool,
    /// Heat of all packs, W.
    pub heat_w: f64,
    /// Command in force, a share.
    pub command: f64,
    /// Oil temperature, °C.
    pub oil_c: f64,
    /// Pack temperature, °C.
    pub pack_c: f64,
    /// ln(ωR/ωL) of the tyres now.
    pub tyre_mismatch: f64,
}
