//! Where the heat went: by cause, by corner, by lap, by torque and slip, by state.

use super::{causes, corners, course, duty_picture, laps, regions};
use halfshaft_health::Results;
use maud::{Markup, html};

/// Of what cause, at what torque and slip, in what state.
pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #heat {
            h2 { "Where the time and the heat went" }
            (causes::part(results))
            (duty_picture::part(results))
            (regions::part(results))
        }
    }
}

/// Where on the course it was made.
pub(super) fn by_place(results: &Results) -> Markup {
    html! {
        section #laps {
            h2 { "Corners and laps" }
            (course::part(results))
            (corners::part(results))
            (laps::part(results))
        }
    }
}
