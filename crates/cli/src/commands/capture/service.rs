//! What a service says to systemd that started it; to nobody, if none did.

use halfshaft_capture::recording::{Recording, State};
use sd_notify::NotifyState;

/// A service.
#[derive(Debug, Default)]
pub struct Service {
    said: String,
}

impl Service {
    /// It listens from now on.
    pub fn is_ready(&self) {
        tell(&[NotifyState::Ready]);
    }

    /// It is alive: to be called more often than the unit's watchdog expects.
    pub fn is_alive(&mut self, recording: &Recording) {
        let status = status(recording);
        if status == self.said {
            tell(&[NotifyState::Watchdog]);
        } else {
            tell(&[NotifyState::Watchdog, NotifyState::Status(&status)]);
            self.said = status;
        }
    }

    /// It is about to end.
    pub fn ends(&self) {
        tell(&[NotifyState::Stopping]);
    }
}

/// Without a service manager there is nobody to be told, and that is no trouble.
fn tell(state: &[NotifyState]) {
    let _ = sd_notify::notify(state);
}

/// The state of the recording in a line.
fn status(recording: &Recording) -> String {
    let interfaces = recording.interfaces.iter().map(|interface| {
        let state = match interface.state {
            State::Absent => "absent",
            State::Down => "down",
            State::Listening => "listening",
            State::Ended => "ended",
        };
        let (name, n_frames) = (&interface.name, interface.n_frames);
        let lost = match interface.n_lost {
            0 => String::new(),
            n => format!(", {n} lost"),
        };
        format!("{name} {state}, {n_frames} frames{lost}")
    });
    let mut parts: Vec<String> = interfaces.collect();
    if let Some(drive) = &recording.keeps_in {
        parts.push(format!("{drive}, {} MB", recording.kept_bytes / 1_000_000));
    }
    parts.extend(recording.trouble.clone());
    parts.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_capture::recording::Interface;

    #[test]
    fn the_state_fits_on_a_line() {
        let interface = |name: &str, state, n_lost| Interface {
            name: name.to_owned(),
            state,
            n_frames: 7,
            n_lost,
            ..Interface::default()
        };
        let mut recording = Recording {
            interfaces: vec![
                interface("can0", State::Listening, 3),
                interface("can1", State::Down, 0),
            ],
            keeps_in: Some("drive-0002".to_owned()),
            kept_bytes: 5_400_000,
            ..Recording::default()
        };
        let all = "can0 listening, 7 frames, 3 lost; can1 down, 7 frames; drive-0002, 5 MB";
        assert_eq!(status(&recording), all);
        recording.trouble = Some("the disk is full".to_owned());
        assert_eq!(status(&recording), format!("{all}; the disk is full"));
    }
}
