//! Events of slip that nobody commanded, with their true heat.
//!
//! In: the slip beyond the bend and the heat so far, tick by tick. Out: the heat of the hottest
//! event. One begins above 1.5 rad/s at the axle, ends below 0.75 and goes on over 0.3 s of
//! quiet; beside a command it belongs to that, unless it lasts a second.

const FROM_RAD_PER_S: f64 = 1.5;
const BELOW_RAD_PER_S: f64 = 0.75;
const MERGE_S: f64 = 0.3;
const FRINGE_S: f64 = 0.3;
const OWN_S: f64 = 1.0;
/// The command that counts as one, and below which it is over.
const COMMAND: [f64; 2] = [0.10, 0.05];

/// Watches for them.
#[derive(Clone, Debug, Default)]
pub struct SlipOnly {
    going: Option<Going>,
    is_commanded: bool,
    commanded_s: Option<f64>,
    most_j: f64,
}

#[derive(Clone, Copy, Debug)]
struct Going {
    start_s: f64,
    start_j: f64,
    // The last tick above the lower limit.
    end_s: f64,
    end_j: f64,
}

impl SlipOnly {
    /// Takes a tick; no excess where no rear wheel turns.
    pub fn tick(&mut self, time_s: f64, command: f64, excess: f64, energy_j: f64) {
        let [from, below] = COMMAND;
        self.is_commanded = command >= if self.is_commanded { below } else { from };
        if self.is_commanded {
            self.close(Some(time_s));
            self.commanded_s = Some(time_s);
            return;
        }
        match &mut self.going {
            None if excess > FROM_RAD_PER_S => {
                self.going = Some(Going {
                    start_s: time_s,
                    start_j: energy_j,
                    end_s: time_s,
                    end_j: energy_j,
                });
            }
            None => {}
            Some(going) if excess >= BELOW_RAD_PER_S => {
                (going.end_s, going.end_j) = (time_s, energy_j);
            }
            Some(going) if time_s - going.end_s >= MERGE_S => self.close(None),
            Some(_) => {}
        }
    }

    fn close(&mut self, command_s: Option<f64>) {
        let Some(going) = self.going.take() else {
            return;
        };
        let after = self
            .commanded_s
            .is_some_and(|at| going.start_s - at < FRINGE_S);
        let before = command_s.is_some_and(|at| at - going.end_s < FRINGE_S);
        let length_s = going.end_s - going.start_s;
        if length_s > 0.0 && (length_s >= OWN_S || !after && !before) {
            self.most_j = self.most_j.max(going.end_j - going.start_j);
        }
    }

    /// Heat of the hottest one, J.
    pub fn most_j(mut self) -> f64 {
        self.close(None);
        self.most_j
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slip_beside_a_command_is_an_event_of_its_own_only_if_it_lasts() {
        // So long of excess, with or without a command right after; a joule a tick of 10 ms.
        let heat = |slip_s: f64, is_commanded: bool| {
            let mut watch = SlipOnly::default();
            for tick in 0..500_u32 {
                let time_s = f64::from(tick) * 0.01;
                let is_slipping = time_s > 1.0 && time_s <= 1.0 + slip_s;
                let command = if is_commanded && time_s > 1.0 + slip_s {
                    0.5
                } else {
                    0.0
                };
                let excess = if is_slipping { 2.0 } else { 0.0 };
                watch.tick(time_s, command, excess, f64::from(tick));
            }
            watch.most_j().round()
        };
        assert_eq!(heat(0.5, false), 49.0);
        assert_eq!(heat(0.5, true), 0.0);
        assert_eq!(heat(1.5, true), 149.0);
    }
}
