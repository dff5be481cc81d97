//! Why something is not there, not believed or believed with a caution.

use crate::trust::Source;

/// A reason.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// Nothing was made of the source yet.
    NotJudged,
    /// The log holds drives of two cars.
    TwoCars,
    /// Command and state stand under each other's name.
    Swapped,
    /// A signal stood still while it had to move.
    StoodStill(Source),
    /// The torque was read from a signal that stood still.
    TorqueStoodStill(Source),
    /// The torque is read from one of two signals that stand under each other's name.
    TorqueSwapped,
    /// In open bends the wheels differ by another ratio than track, radius and yaw rate say.
    WrongGeometry {
        /// Measured over stated.
        ratio: f64,
    },
    /// The values do not fit the map and each other.
    FewChecksPassed {
        /// Checks that were passed.
        n_passed: usize,
        /// Of how many.
        n_all: usize,
    },
    /// Both rear wheel speeds are one signal.
    SameSignal,
    /// Left and right stand under each other's name.
    SidesSwapped,
    /// The pack slips on although it is commanded.
    NoGrip,
    /// A sentence fragment.
    Because(String),
}

impl std::fmt::Display for Reason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let signal = |source: &Source| match source {
            Source::State => "the state of the clutch stands still while the command moves",
            Source::Command => "the command stands still while the state of the clutch moves",
            _ => "yaw.rate stands still while the wheels go through bends",
        };
        match self {
            Reason::NotJudged => f.write_str("nothing was made of it yet"),
            Reason::TwoCars => f.write_str("the log seems to hold two cars: read them apart"),
            Reason::Swapped => f.write_str("command and state look swapped"),
            Reason::StoodStill(source) => f.write_str(signal(source)),
            Reason::TorqueStoodStill(source) => {
                write!(f, "{}, and the torque is read from it", signal(source))
            }
            Reason::TorqueSwapped => f.write_str(
                "command and state look swapped, and the torque is read from one of them",
            ),
            Reason::WrongGeometry { ratio } => write!(
                f,
                "in open bends the wheels differ {ratio:.2} times as much as the map's geometry says"
            ),
            Reason::FewChecksPassed { n_passed, n_all } => write!(
                f,
                "the values passed {n_passed} of {n_all} checks against the map and each other"
            ),
            Reason::SameSignal => f.write_str("both rear wheel speeds are one and the same signal"),
            Reason::SidesSwapped => f.write_str(
                "left and right, or the sign of the yaw rate, look swapped: bends read as wheelspin",
            ),
            Reason::NoGrip => f.write_str(
                "the pack does not hold when commanded, so it carries less torque than the map says",
            ),
            Reason::Because(words) => f.write_str(words),
        }
    }
}

impl From<String> for Reason {
    fn from(words: String) -> Reason {
        Reason::Because(words)
    }
}

impl From<Reason> for String {
    fn from(reason: Reason) -> String {
        reason.to_string()
    }
}
