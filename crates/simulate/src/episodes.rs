//! Counts what truly occurred: one small counter for each kind of trouble.
//!
//! In: the true state step by step. Out: how often and how long. The thresholds say what
//! is counted here; what is too much is not decided here.

use std::collections::VecDeque;

/// Time a state lasts.
#[derive(Clone, Debug, Default)]
pub struct Lasting {
    now_s: f64,
    /// In all, s.
    pub total_s: f64,
    /// Longest stretch, s.
    pub longest_s: f64,
    /// Stretches of a second or more.
    pub n_over_a_second: u32,
}

impl Lasting {
    /// One step.
    pub fn step(&mut self, is_on: bool, step_s: f64) {
        if !is_on {
            self.now_s = 0.0;
            return;
        }
        let before_s = self.now_s;
        self.now_s += step_s;
        self.total_s += step_s;
        self.longest_s = self.longest_s.max(self.now_s);
        if before_s < 1.0 && self.now_s >= 1.0 {
            self.n_over_a_second += 1;
        }
    }
}

/// Times half or more was asked for a second and the position did not follow: it moved by
/// less than 5 % and is still 20 % away.
#[derive(Clone, Debug, Default)]
pub struct NotMoving {
    since: Option<(f64, f64)>,
    /// How often.
    pub n: u32,
}

impl NotMoving {
    /// One step.
    pub fn step(&mut self, command: f64, position: f64, step_s: f64) {
        if command < 0.5 {
            self.since = None;
            return;
        }
        let (seconds, start) = self.since.unwrap_or((0.0, position));
        let now_s = seconds + step_s;
        self.since = Some((now_s, start));
        let stays = (position - start).abs() < 0.05 && (command - position).abs() > 0.2;
        if seconds < 1.0 && now_s >= 1.0 && stays {
            self.n += 1;
        }
    }
}

/// From pedal to command. A press goes from below 10 % to above 25 % within 0.3 s and is
/// answered within 2 s; a lift goes below 5 % while at least 10 % is asked.
#[derive(Clone, Debug, Default)]
pub struct Delays {
    crossed_s: Option<f64>,
    pressed_s: Option<f64>,
    lifted_s: Option<f64>,
    throttle: f64,
    on_s: Vec<f64>,
    off_s: Vec<f64>,
}

impl Delays {
    /// One step.
    pub fn step(&mut self, time_s: f64, throttle: f64, command: f64) {
        let before = std::mem::replace(&mut self.throttle, throttle);
        if before < 0.10 && throttle >= 0.10 {
            self.crossed_s = (command < 0.10).then_some(time_s);
        }
        if before < 0.25 && throttle >= 0.25 {
            self.pressed_s = self.crossed_s.filter(|&at_s| time_s - at_s <= 0.3);
        }
        let pressed_s = self
            .pressed_s
            .filter(|&at_s| throttle >= 0.10 && time_s - at_s < 2.0);
        self.pressed_s = pressed_s;
        if let Some(at_s) = pressed_s.filter(|_| command >= 0.10) {
            self.on_s.push(time_s - at_s);
            self.pressed_s = None;
        }
        if before >= 0.05 && throttle < 0.05 && command >= 0.10 {
            self.lifted_s = Some(time_s);
        }
        self.lifted_s = self.lifted_s.filter(|_| throttle < 0.05);
        if let Some(at_s) = self.lifted_s.filter(|_| command < 0.05) {
            self.off_s.push(time_s - at_s);
            self.lifted_s = None;
        }
    }

    /// Delays of presses and of lifts, s.
    pub fn found(&self) -> (&[f64], &[f64]) {
        (&self.on_s, &self.off_s)
    }
}

/// Reversals of the command by 10 %, and the time with more than six of them in two seconds.
#[derive(Clone, Debug, Default)]
pub struct Chatter {
    // Latest extreme, and whether the command rises from it.
    extreme: f64,
    rises: bool,
    reversals_s: VecDeque<f64>,
    /// Time, s.
    pub seconds: f64,
}

impl Chatter {
    /// One step.
    pub fn step(&mut self, time_s: f64, command: f64, step_s: f64) {
        let gone = if self.rises {
            command - self.extreme
        } else {
            self.extreme - command
        };
        if gone > 0.0 {
            self.extreme = command;
        } else if gone <= -0.10 {
            (self.extreme, self.rises) = (command, !self.rises);
            self.reversals_s.push_back(time_s);
        }
        while self
            .reversals_s
            .front()
            .is_some_and(|&at_s| time_s - at_s > 2.0)
        {
            self.reversals_s.pop_front();
        }
        if self.reversals_s.len() > 6 {
            self.seconds += step_s;
        }
    }
}

/// Times the command fell from 20 % to nothing within 0.1 s while throttle stayed above
/// 30 % and the excess difference above 1 rad/s.
#[derive(Clone, Debug, Default)]
pub struct Cuts {
    was_high_s: Option<f64>,
    /// How often.
    pub n: u32,
}

impl Cuts {
    /// One step.
    pub fn step(&mut self, time_s: f64, command: f64, throttle: f64, excess: f64) {
        if command >= 0.2 {
            self.was_high_s = Some(time_s);
        } else if command < 0.01
            && let Some(at_s) = self.was_high_s.take()
            && time_s - at_s <= 0.1
            && throttle > 0.3
            && excess.abs() > 1.0
        {
            self.n += 1;
        }
    }
}

/// Whether the difference falls by 30 % within a second once command and position are high;
/// counted where there was 1 rad/s to hold.
#[derive(Clone, Debug, Default)]
pub struct Holding {
    since: Option<(f64, f64)>,
    /// How often it was asked.
    pub n_asked: u32,
    /// How often the difference did not fall.
    pub n_not_holding: u32,
}

impl Holding {
    /// One step.
    pub fn step(&mut self, is_asked: bool, difference: f64, step_s: f64) {
        if !is_asked {
            self.since = None;
            return;
        }
        let (seconds, start) = self.since.unwrap_or((0.0, difference.abs()));
        let now_s = seconds + step_s;
        self.since = Some((now_s, start));
        if seconds < 1.0 && now_s >= 1.0 && start >= 1.0 {
            self.n_asked += 1;
            self.n_not_holding += u32::from(difference.abs() > 0.7 * start);
        }
    }
}

/// Times an open clutch held for two seconds: the difference less than half of the one of
/// the bend, which makes 1 rad/s or more.
#[derive(Clone, Debug, Default)]
pub struct Dragging {
    now_s: f64,
    /// How often.
    pub n: u32,
}

impl Dragging {
    /// One step.
    pub fn step(&mut self, is_open: bool, difference: f64, asked: f64, step_s: f64) {
        if !(is_open && asked.abs() >= 1.0 && difference / asked < 0.5) {
            self.now_s = 0.0;
            return;
        }
        let before_s = self.now_s;
        self.now_s += step_s;
        if before_s < 2.0 && self.now_s >= 2.0 {
            self.n += 1;
        }
    }
}

/// Times a wheel spun by 10 rad/s for a second below 20 km/h; pauses under 3 s are none.
#[derive(Clone, Debug, Default)]
pub struct Launches {
    now_s: f64,
    quiet_s: f64,
    /// How often.
    pub n: u32,
}

impl Launches {
    /// One step.
    pub fn step(&mut self, speed_m_per_s: f64, excess: f64, step_s: f64) {
        if speed_m_per_s < 20.0 / 3.6 && excess.abs() > 10.0 {
            let before_s = self.now_s;
            self.now_s += step_s;
            self.quiet_s = 0.0;
            if before_s < 1.0 && self.now_s >= 1.0 {
                self.n += 1;
            }
            return;
        }
        self.quiet_s += step_s;
        if self.quiet_s > 3.0 {
            self.now_s = 0.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_S: f64 = 0.01;

    #[test]
    fn delays_are_measured_from_the_pedal() {
        let mut delays = Delays::default();
        for i in 0..1000 {
            let time_s = f64::from(i) * STEP_S;
            // Pressed at 2 s within 0.2 s, answered at 2.5 s; lifted at 6 s, answered at 6.8 s.
            let throttle = if time_s < 6.0 {
                ((time_s - 2.0) * 4.0).clamp(0.0, 0.8)
            } else {
                0.0
            };
            let command = if (2.5..6.8).contains(&time_s) {
                0.6
            } else {
                0.0
            };
            delays.step(time_s, throttle, command);
        }
        let (on, off) = delays.found();
        assert!((on[0] - 0.47).abs() < 0.011, "{on:?}");
        assert!((off[0] - 0.8).abs() < 0.011, "{off:?}");
    }

    #[test]
    fn chatter_counts_hunting_and_not_one_swing() {
        let run = |period_s: f64, swing: f64| {
            let mut chatter = Chatter::default();
            for i in 0..1000 {
                let time_s = f64::from(i) * STEP_S;
                let phase = (time_s / period_s).fract();
                chatter.step(time_s, if phase < 0.5 { 0.3 } else { 0.3 + swing }, STEP_S);
            }
            chatter.seconds
        };
        assert!(run(0.4, 0.2) > 6.0);
        assert_eq!(run(0.4, 0.05), 0.0);
        assert_eq!(run(3.0, 0.2), 0.0);
    }

    #[test]
    fn holding_dragging_and_not_moving_need_their_time() {
        let mut holding = Holding::default();
        let mut dragging = Dragging::default();
        let mut not_moving = NotMoving::default();
        for i in 0..300 {
            let difference = if i < 50 { 4.0 } else { 3.5 };
            holding.step(true, difference, STEP_S);
            dragging.step(true, 0.5, 2.0, STEP_S);
            not_moving.step(0.7, 0.0, STEP_S);
        }
        assert_eq!((holding.n_asked, holding.n_not_holding), (1, 1));
        assert_eq!((dragging.n, not_moving.n), (1, 1));
        let mut holds = Holding::default();
        let mut free = Dragging::default();
        let mut follows = NotMoving::default();
        for i in 0..300 {
            holds.step(true, if i < 50 { 4.0 } else { 0.0 }, STEP_S);
            free.step(true, 1.8, 2.0, STEP_S);
            follows.step(0.7, 0.7, STEP_S);
        }
        assert_eq!((holds.n_asked, holds.n_not_holding), (1, 0));
        assert_eq!((free.n, follows.n), (0, 0));
    }

    #[test]
    fn a_cut_is_sudden_and_under_throttle() {
        let cuts = |throttle: f64, falls_s: f64| {
            let mut cuts = Cuts::default();
            for i in 0..200 {
                let time_s = f64::from(i) * STEP_S;
                let command = (0.5 - 0.5 * (time_s - 1.0) / falls_s).clamp(0.0, 0.5);
                cuts.step(time_s, command, throttle, 3.0);
            }
            cuts.n
        };
        assert_eq!(
            (cuts(0.8, 0.05), cuts(0.0, 0.05), cuts(0.8, 0.5)),
            (1, 0, 0)
        );
    }

    #[test]
    fn launches_close_together_are_one() {
        let mut launches = Launches::default();
        for i in 0..1500 {
            let spins = matches!(i, 100..250 | 400..520 | 1000..1150);
            launches.step(3.0, if spins { 15.0 } else { 0.0 }, STEP_S);
        }
        assert_eq!(launches.n, 2);
    }
}
