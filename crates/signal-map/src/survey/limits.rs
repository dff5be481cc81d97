//! From which size on the survey makes a remark. None of these changes a figure: they only decide
//! whether a remark is made. If one is too low, a sound log gets a remark its numbers
//! refute; if too high, a mistake in a map stays for the user to find.

/// Share by which a period may differ from the stated one. Source: job practice, 20 %.
pub(crate) const PERIOD_OFF: f64 = 0.2;

/// A channel identical for longer than this, while others move, is stuck, s.
/// Source: job practice, 2 s.
pub(crate) const STUCK_S: f64 = 2.0;
/// The same where there is but one other wheel, which may itself be a wheel that spins or locks: that lasts
/// a second or two. Source: none, engineering guess.
pub(crate) const STUCK_BESIDE_ONE_S: f64 = 4.0;
/// How far the others must have moved meanwhile, m/s, and in steps of the stuck channel.
/// Source: none, engineering guess (a coarse speed stands still on a steady
/// road, and some read 0 until the car rolls at walking pace).
pub(crate) const STUCK_MOVE_M_PER_S: f64 = 1.0;
pub(crate) const STUCK_MOVE_STEPS: f64 = 4.0;
/// A wheel at exactly 0 is stuck only while the others go faster than this, m/s. Source: none,
/// engineering guess: twice what sensors that read 0 when slow need.
pub(crate) const READS_FROM_M_PER_S: f64 = 3.0;
/// A yaw or acceleration sensor always trembles in a moving car; after this many seconds
/// at the same number it does not measure. Source: none, engineering guess.
pub(crate) const STUCK_TREMBLING_S: f64 = 30.0;

/// Supply voltage of a 12 V car that is running. Source: common practice.
pub(crate) const VOLTAGE_V: (f64, f64) = (9.0, 16.0);
/// Share of samples outside before it is worth a line. Source: none, engineering guess.
pub(crate) const VOLTAGE_SHARE: f64 = 0.01;

/// Oil and housings do not change faster, K/s. Source: none, engineering guess: 12 kW
/// into one litre of oil alone is about 7 K/s, and there is always metal with it.
pub(crate) const TEMPERATURE_SLEW_K_PER_S: f64 = 5.0;

/// Share of values outside belief before the map itself is in doubt. Source: none, guess.
pub(crate) const BEYOND_BELIEF_SHARE: f64 = 0.01;

/// How many times rougher a signal must be than with its bytes swapped.
/// Source: measured, wheel speeds of a gentle motorway drive read the wrong way round are
/// 27 to 29 times rougher, and a slow 12-bit number of an invented one 9 times; sound
/// numbers are smoother as stated, below 1.
pub(crate) const BYTES_ROUGHER: f64 = 4.0;
/// Codes that a number read the wrong way round runs through, at least, and no fewer than the right
/// way round: its quick byte counts 256 times. Source: derived.
pub(crate) const BYTES_RANGE: f64 = 2048.0;
/// Steps before roughness means anything. Source: none, engineering guess.
pub(crate) const BYTES_STEPS: u64 = 100;

/// Below this road speed wheels say nothing about each other, m/s. Source: none, guess.
pub(crate) const MOVING_M_PER_S: f64 = 2.0;
/// A mistake of scale is there all the time: so many of so many windows must be beyond the limit on
/// one side. A spinning wheel is not. Source: none, engineering guess.
pub(crate) const SCALED_IN: (u64, u64) = (17, 20);
/// Rear wheels this much faster than the road spin, share; and the tightest radius, m, and highest
/// lateral acceleration, m/s², of a bend: a difference beyond what they allow is a spinning wheel.
/// Source: from memory, turning circles of 10 to 12 m, and racing tyres.
pub(crate) const SPINS_FROM: f64 = 0.05;
pub(crate) const TIGHTEST_BEND: (f64, f64) = (5.0, 12.0);
/// Track of a car that states none, m. Source: none, guess; the widest of common cars.
pub(crate) const WIDEST_TRACK_M: f64 = 1.8;
/// Wheels of one car turn alike within this factor over most of a drive. Source: none, guess.
pub(crate) const WHEELS_ALIKE: f64 = 1.15;
/// Wheels and road speed with a known and with an unknown rolling radius (0.25 to 0.45 m
/// against the nominal one). Source: none, guess.
pub(crate) const SPEED_ALIKE: f64 = 1.25;
pub(crate) const SPEED_ALIKE_NO_RADIUS: f64 = 1.5;
/// Rolling radius where the map gives none, m. Source: none, guess; only scale mistakes of
/// more than half are called with it.
pub(crate) const NOMINAL_RADIUS_M: f64 = 0.32;

/// Seconds of turning before a sign is judged, the correlation it must have, and how much
/// the car must turn, rad/s. One-second means: single samples hide it in noise (+0.10
/// against +0.82 on a gentle motorway drive). Source: none, engineering guess.
pub(crate) const SIGN_SECONDS: u64 = 30;
pub(crate) const SIGN_CORRELATION: f64 = 0.6;
pub(crate) const SIGN_YAW_SD: f64 = 0.005;

/// Turning against the track, and lateral acceleration against turning, with this
/// correlation and within this factor. Source: none, engineering guess (noise in the yaw
/// rate alone pulls the slope down by a third on gentle drives).
pub(crate) const TURNING_CORRELATION: f64 = 0.8;
pub(crate) const TURNING_ALIKE: f64 = 2.0;
/// The same where the rear wheels differ less than the yaw rate asks for: preload ties them.
/// Source: measured, drawn cars with 200 N·m of preload differ by up to a third of it; degrees for
/// radians are 57.
pub(crate) const TIED_ALIKE: f64 = 8.0;

/// Changes two channels must share, each of them, to be called the same signal.
/// Source: none, engineering guess.
pub(crate) const SAME_CHANGES: u64 = 64;

/// Identifiers that are counted one by one; a car has some hundreds.
pub(crate) const MAX_IDS: usize = 65_536;
/// Identifiers that are listed.
pub(crate) const LISTED_IDS: usize = 20;

/// A clock that goes back by less than this was trimmed, s. Source: none, engineering guess.
pub(crate) const TWICE_FROM_S: f64 = 1.0;
