//! What is dear to find of laps while a drive goes on, as it was last found: where the path repeats, and
//! the outline of the course.

use super::Place;
use super::course::course;
use super::path::Path;
use super::repeat::lap_starts;
use crate::limits::LapLimits;
use crate::nouns::Course;

/// The path is searched again when it is so much longer, m: a lap shows that much late, some seconds. Source:
/// none, engineering guess.
const AGAIN_AFTER_M: f64 = 200.0;

/// What was found, and of how much of the drive.
#[derive(Clone, Debug, Default)]
pub(crate) struct Found {
    // Length of the path, and where laps begin on it.
    starts: Option<(f64, Option<Vec<f64>>)>,
    // Number of laps, and their course.
    course: Option<(usize, Option<Course>)>,
}

impl Found {
    /// Where laps begin, m.
    pub(super) fn starts(&mut self, path: &Path, limits: &LapLimits) -> Option<Vec<f64>> {
        let length_m = path.length_m();
        let is_old = |(at_m, _): &(f64, _)| length_m - at_m >= AGAIN_AFTER_M;
        if self.starts.as_ref().is_none_or(is_old) {
            self.starts = Some((length_m, lap_starts(path, limits)));
        }
        self.starts.as_ref().and_then(|(_, starts)| starts.clone())
    }

    /// The course of some laps.
    pub(super) fn course(&mut self, path: &Path, places: &[Place]) -> Option<Course> {
        let is_other = |(n_laps, _): &(usize, _)| *n_laps != places.len();
        if self.course.as_ref().is_none_or(is_other) {
            self.course = Some((places.len(), course(path, places)));
        }
        self.course.as_ref().and_then(|(_, course)| course.clone())
    }
}
