//! The torque of the pack at one moment, between the least and the most it can be.
//!
//! In: the torque of each sample, in order of time. Out: three torques. Torque from a state is what it is,
//! three times the same. Torque from the command is what was asked for: a pack follows late, how
//! late nobody logs, so at a moment it has any of the torques asked for within
//! [`FOLLOWS_WITHIN_S`] before. For a sum over the drive the lag hardly matters; for the highest
//! rate it does, because a controller closes the pack the moment a wheel begins to spin.

use std::collections::VecDeque;

use halfshaft_model::Time;

use crate::align::PackTorque;

/// A pack has followed its command by then, s. Source: none, engineering guess: dead time and lag
/// of usual units to 90 % are 0.1 to 0.45 s. Sensitivity: the peaks of heat by command only.
const FOLLOWS_WITHIN_S: f64 = 0.4;

/// Torques asked for lately.
#[derive(Clone, Debug, Default)]
pub(crate) struct LateTorque {
    // By the command: time and N·m, oldest first.
    recent: VecDeque<(Time, f64)>,
}

impl LateTorque {
    /// The least, the likely and the most torque of one pack, N·m. The likely one is the mean of
    /// those asked for.
    pub(crate) fn at(
        &mut self,
        time: Time,
        torque: Option<PackTorque>,
        is_joined: bool,
    ) -> Option<[f64; 3]> {
        if !is_joined {
            self.recent.clear();
        }
        let torque = torque?;
        if !torque.is_by_command {
            self.recent.clear();
            return Some([torque.torque_nm; 3]);
        }
        self.recent.push_back((time, torque.torque_nm));
        let is_over = |asked: &mut (Time, f64)| time.since(asked.0) > FOLLOWS_WITHIN_S;
        while self.recent.pop_front_if(is_over).is_some() {}
        let asked = || self.recent.iter().map(|(_, torque_nm)| *torque_nm);
        Some([
            asked().fold(f64::INFINITY, f64::min),
            asked().sum::<f64>() / self.recent.len() as f64,
            asked().fold(0.0, f64::max),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_command_it_is_any_of_those_asked_for_lately() {
        let mut late = LateTorque::default();
        let mut at = |time_s: f64, torque_nm: f64, is_by_command: bool, is_joined: bool| {
            let torque = PackTorque {
                torque_nm,
                run: 0,
                is_held: is_by_command,
                is_by_command,
            };
            late.at(Time::from_seconds(time_s), Some(torque), is_joined)
        };
        assert_eq!(at(0.0, 100.0, true, false), Some([100.0; 3]));
        // Asked for 700 N·m the pack has still 100, or already 700.
        assert_eq!(at(0.2, 700.0, true, true), Some([100.0, 400.0, 700.0]));
        assert_eq!(at(0.5, 700.0, true, true), Some([700.0; 3]));
        assert_eq!(at(0.6, 40.0, true, false), Some([40.0; 3]));
        // What a state gives is what it is.
        assert_eq!(at(0.7, 300.0, false, true), Some([300.0; 3]));
    }
}
