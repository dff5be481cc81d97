//! Seconds and joules by torque and slip.

use super::records::known;
use halfshaft_health::DutyPicture;
use halfshaft_health::Reason;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct DutyPictureJson<'a> {
    torque_edges_nm: Option<&'a [f64]>,
    slip_edges_rad_per_s: Option<&'a [f64]>,
    seconds: Option<Vec<Option<f64>>>,
    joules: Option<Vec<Option<f64>>>,
    not_turning_s: Option<f64>,
    torque_unknown_s: Option<f64>,
    gap_s: Option<f64>,
    why_null: Option<String>,
}

impl<'a> DutyPictureJson<'a> {
    pub fn of(picture: &'a Result<DutyPicture, Reason>) -> DutyPictureJson<'a> {
        let found = picture.as_ref().ok();
        let cells = |values: &[f64]| values.iter().map(|&value| known(value)).collect();
        DutyPictureJson {
            torque_edges_nm: found.map(|picture| picture.torque_edges_nm.as_slice()),
            slip_edges_rad_per_s: found.map(|picture| picture.slip_edges.as_slice()),
            seconds: found.map(|picture| cells(&picture.seconds)),
            joules: found.map(|picture| cells(&picture.joules)),
            not_turning_s: found.and_then(|picture| known(picture.not_turning_s)),
            torque_unknown_s: found.and_then(|picture| known(picture.torque_unknown_s)),
            gap_s: found.and_then(|picture| known(picture.gap_s)),
            why_null: picture.as_ref().err().map(ToString::to_string),
        }
    }
}
