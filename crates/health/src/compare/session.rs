//! A session as it is compared: laps, passes of corners, stretches, times of events.
//!
//! It is taken from the stored record of a drive. What a gap hides in part is left out: "at
//! least" on one side of a difference has no meaning.

use halfshaft_model::Time;

use crate::reason::Reason;

/// A lap at the pace of its drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LapPart {
    /// Index of its drive among those of a side.
    pub drive: usize,
    /// Its length, m.
    pub length_m: f64,
    /// Heat, kJ.
    pub heat_kj: Option<f64>,
    /// Rise of the oil from its start to its end, K.
    pub oil_rise_k: Option<f64>,
    /// Highest power per net lining area, W/mm².
    pub peak_w_per_mm2: Option<f64>,
    /// How long it took, s.
    pub time_s: f64,
    /// Way the linings slid in its events, m.
    pub slid_m: Option<f64>,
    /// Time slipping under load in its events, s.
    pub partial_s: Option<f64>,
    /// Oil temperature in its first corner, °C.
    pub oil_start_c: Option<f64>,
    /// How far the throttle was open on the average, share.
    pub throttle: Option<f64>,
}

/// One pass of a corner in a lap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pass {
    /// Index of its lap.
    pub lap: usize,
    /// Number of the corner.
    pub corner: u32,
    /// Its middle, m from the start of the lap.
    pub middle_m: f64,
    /// Heading change, deg, positive to the left.
    pub turned_deg: f64,
    /// Speed into it, m/s.
    pub entry_speed_m_per_s: f64,
    /// Lowest speed in it, m/s.
    pub least_speed_m_per_s: f64,
    /// Oil temperature, °C.
    pub oil_c: Option<f64>,
    /// Supply voltage, V.
    pub supply_v: Option<f64>,
    /// Heat, kJ; `None` when not known in full.
    pub heat_kj: Option<f64>,
    /// No engagement and no slip event touches it.
    pub is_open: bool,
}

/// A stretch of driving: sums of its open corners, and its hottest moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Index of its drive among those of a side.
    pub drive: usize,
    /// Heat in open corners, J.
    pub open_heat_j: f64,
    /// Turned in them, deg.
    pub open_turned_deg: f64,
    /// Highest power per net lining area, W/mm²; `None` without an event.
    pub peak_w_per_mm2: Option<f64>,
}

/// One move of the actuator, or one press of the pedal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// Index of its drive among those of a side.
    pub drive: usize,
    /// When it was.
    pub at: Time,
    /// What it took, s.
    pub time_s: f64,
    /// Oil temperature, °C.
    pub oil_c: Option<f64>,
    /// How far the command moved, share of full.
    pub step: Option<f64>,
    /// How long the command took to move, s.
    pub ramp_s: Option<f64>,
}

impl Event {
    /// One of which no more is known.
    pub fn plain(at: Time, time_s: f64) -> Event {
        Event {
            drive: 0,
            at,
            time_s,
            oil_c: None,
            step: None,
            ramp_s: None,
        }
    }
}

/// Times of events.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Times {
    /// Each of them.
    pub events: Vec<Event>,
    /// All events alike may be off by this, s.
    pub doubt_s: f64,
    /// They were brought to 60 °C and 13.5 V.
    pub is_normal: bool,
}

/// A value that a whole drive has once, with what it scatters by from drive to drive of the same car.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Once {
    /// The value.
    pub value: f64,
    /// Its standard deviation, without what is wrong in every drive of the car alike.
    pub sd: f64,
}

/// Torque that the pack holds at a command, by the tyres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeldAt {
    /// Command, share of full.
    pub command: f64,
    /// Torque, N·m, with its scatter; the stiffness of the tyres is the same in both drives.
    pub held_nm: Once,
}

/// What is compared of a session.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Session {
    /// Laps in order, those out of the pits and into them left out.
    pub laps: Vec<LapPart>,
    /// Laps out of the pits and into them.
    pub n_left_out: usize,
    /// Why there are none.
    pub no_laps: Option<Reason>,
    /// Passes of corners in laps, in order.
    pub passes: Vec<Pass>,
    /// Stretches in order, those in which nothing was driven left out.
    pub stretches: Vec<Stretch>,
    /// Dead, rise, transition and release time; `None` where an older record does not hold them.
    pub actuator: [Option<Result<Times, Reason>>; 4],
    /// Pedal to response.
    pub throttle_on: Option<Result<Times, Reason>>,
    /// How much faster the right rear wheel turns than the left running straight, %, of each drive.
    pub tyre_ratio: Option<Result<Vec<Once>, Reason>>,
    /// How much of it preload may hide, %.
    pub tyres_hidden: f64,
    /// Torque held at each command at which the pack was not stuck.
    pub held: Option<Result<Vec<HeldAt>, Reason>>,
    /// Numbers of the temperature model that were fitted to the drive, by name and unit.
    pub thermal: Vec<(String, String, Vec<Once>)>,
    /// Air temperature of each drive, °C.
    pub air_c: Vec<Option<f64>>,
    /// It is of an older record, which does not hold all that is compared.
    pub is_older: bool,
}

/// The stretch, or block of events, in which a moment lies.
pub fn block_of(time: Time, stretch_s: f64) -> i64 {
    (time.seconds() / stretch_s).floor() as i64
}

#[cfg(test)]
pub(super) mod testing {
    use super::*;
    use halfshaft_driveline::random::Random;

    /// Corners of an invented circuit of 2000 m: middle and heading change.
    pub const CORNERS: [(f64, f64); 6] = [
        (200.0, 90.0),
        (500.0, -60.0),
        (800.0, 120.0),
        (1100.0, -45.0),
        (1500.0, 170.0),
        (1800.0, 85.0),
    ];

    /// About normal, mean 0 and standard deviation 1: twelve uniform numbers less 6.
    pub fn normal(random: &mut Random) -> f64 {
        let sum: f64 = (0..12).map(|_| random.below(1 << 30) as f64).sum();
        sum / f64::from(1 << 30) - 6.0
    }

    /// A session of laps; `heat` gives kJ by lap and corner, with a scatter of 5 % by lap and
    /// of 5 % by pass.
    pub fn session(n_laps: usize, seed: u64, heat: impl Fn(usize, usize) -> f64) -> Session {
        let mut random = Random::new(seed);
        let mut session = Session::default();
        for lap in 0..n_laps {
            let of_lap = 1.0 + 0.05 * normal(&mut random);
            let mut sum = 0.0;
            for (index, (middle_m, turned_deg)) in CORNERS.into_iter().enumerate() {
                let of_pass = 1.0 + 0.05 * normal(&mut random);
                let heat_kj = heat(lap, index) * of_lap * of_pass;
                sum += heat_kj;
                session.passes.push(Pass {
                    lap,
                    corner: index as u32 + 1,
                    middle_m: middle_m + 3.0 * normal(&mut random),
                    turned_deg,
                    entry_speed_m_per_s: 30.0 + 0.5 * normal(&mut random),
                    least_speed_m_per_s: 20.0,
                    oil_c: Some(90.0 + lap as f64),
                    supply_v: Some(13.8),
                    heat_kj: Some(heat_kj),
                    is_open: index % 2 == 0,
                });
            }
            session.laps.push(LapPart {
                drive: 0,
                length_m: 2000.0,
                heat_kj: Some(sum),
                oil_rise_k: Some(1.0),
                peak_w_per_mm2: Some(0.1 * of_lap),
                time_s: 90.0 + 0.3 * normal(&mut random),
                slid_m: Some(100.0 * of_lap),
                partial_s: Some(20.0 * of_lap),
                oil_start_c: Some(90.0 + lap as f64),
                throttle: Some(0.4),
            });
        }
        session
    }
}
