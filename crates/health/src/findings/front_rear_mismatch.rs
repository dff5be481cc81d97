//! Front and rear tyres of unlike rolling size.
//!
//! Compares the mean of the front wheels with that of the rear ones over stretches of 50 m,
//! straight on, at steady speed, clutch open. Driven wheels run ahead while they pull, by some
//! thousandths at steady speed; the median of many stretches is judged, and only where half of
//! them agree.

use crate::reason::{Measured, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_model::channel::name;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::lasting::{Lasting, Stretch};
use crate::limits::{Limits, rounded};
use crate::nouns::Severity;
use crate::trust::COMMAND;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::FrontRearMismatch,
        title: "Front and rear tyres mismatched",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.tyres;
            format!(
                "front and rear wheels roll at speeds more than {} % apart, median over {} km or more of steady straight \
                 running",
                rounded(100.0 * limits.front_rear, 0),
                limits.front_rear_least_km
            )
        },
        needs: "four wheel speeds, a yaw rate or the rear track, straight road at steady speed",
        could_also_be: "unlike sizes front and rear by design, driven wheels slipping under a trailer or up a long climb",
        next_check: "Pressures, sizes and tread depth of all four tyres. On all-wheel drive it loads the centre clutch.",
        owner_sees: "The front tyres and the rear tyres roll at different sizes.",
        owner_does: "Have pressure, size and tread of all four tyres compared.",
        withdrawn_if: "the sizes differ by design, or equal tyres show the same",
    },
    on: COMMAND,
    begin: |setup| Box::new(FrontRear::new(setup)),
};

/// Length of a stretch, m.
const STRETCH_M: f64 = 50.0;
/// Cells of ln(front/rear): from −6 to 6 % in steps of 0.02 %.
const CELL: f64 = 0.0002;
const N_CELLS: usize = 601;
/// Of a stretch being driven: the speed it began with, and speeds times seconds.
#[derive(Clone, Copy, Debug)]
struct Driven {
    speed: f64,
    metres: f64,
    front: f64,
    rear: f64,
}

#[derive(Clone, Debug)]
struct FrontRear {
    limits: Limits,
    stretch: Lasting<Driven>,
    cells: Vec<u32>,
    n: u32,
    high: Strongest,
    low: Strongest,
}

impl FrontRear {
    fn new(setup: &Setup) -> FrontRear {
        FrontRear {
            limits: *setup.limits,
            stretch: Lasting::default(),
            cells: vec![0; N_CELLS],
            n: 0,
            high: Strongest::default(),
            low: Strongest::default(),
        }
    }

    fn is_steady_straight(&self, row: &Row, speed: f64) -> bool {
        row.is_joined
            && row.is_turning
            && !row.is_braking
            && counts(row, &self.limits.driving)
            && row.command.is_none_or(|command| command < OPEN_BELOW)
            && speed > self.limits.straight.from()
            && row
                .yaw_rate
                .is_some_and(|yaw| yaw.abs() < self.limits.straight.curvature() * speed)
    }

    fn end(&mut self, stretch: Stretch<Driven>, speed: f64) {
        let driven = stretch.gathered;
        let acceleration = (speed - driven.speed) / stretch.seconds;
        if acceleration.abs() > self.limits.tyres.front_rear_steady_m_per_s2 {
            return;
        }
        let log = (driven.front / driven.rear).ln();
        let cell = (log / CELL).round() + 0.5 * (N_CELLS - 1) as f64;
        self.cells[cell.clamp(0.0, (N_CELLS - 1) as f64) as usize] += 1;
        self.n += 1;
        let values = [
            ("front over rear", 100.0 * log, "%"),
            ("speed", 3.6 * driven.metres / stretch.seconds, "km/h"),
        ];
        let side = if log > 0.0 {
            &mut self.high
        } else {
            &mut self.low
        };
        side.add(log.abs(), window(stretch.start, stretch.latest, &values));
    }

    /// ln(front/rear) below which that share of the stretches lies.
    fn quantile(&self, share: f64) -> f64 {
        let wanted = share * f64::from(self.n);
        let mut below = 0.0;
        for (cell, n) in self.cells.iter().enumerate() {
            below += f64::from(*n);
            if below >= wanted && *n > 0 {
                return (cell as f64 - 0.5 * (N_CELLS - 1) as f64) * CELL;
            }
        }
        0.0
    }
}

impl Check for FrontRear {
    fn note(&mut self, row: &Row) {
        let (Some(front), Some(speed)) = (row.front_speed, row.road_speed) else {
            self.stretch.end();
            return;
        };
        if !self.is_steady_straight(row, speed) {
            self.stretch.end();
            return;
        }
        let stretch = self.stretch.hold(row.time, row.seconds, || Driven {
            speed,
            metres: 0.0,
            front: 0.0,
            rear: 0.0,
        });
        let driven = &mut stretch.gathered;
        driven.metres += speed * row.seconds;
        driven.front += front * row.seconds;
        driven.rear += row.case_speed * row.seconds;
        if driven.metres >= STRETCH_M
            && let Some(stretch) = self.stretch.end()
        {
            self.end(stretch, speed);
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.high);
        see(&self.low);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.all_of(&[name::WHEEL_FRONT_LEFT, name::WHEEL_FRONT_RIGHT])?;
        let limits = &drive.limits.tyres;
        let km = f64::from(self.n) * STRETCH_M / 1000.0;
        if km < limits.front_rear_least_km {
            return Err(Reason::TooLittle {
                what: Measured::FourWheelDistance,
                found: km,
                needed: limits.front_rear_least_km,
            });
        }
        let [low, median, high] = [0.25, 0.5, 0.75].map(|share| self.quantile(share));
        if high - low > limits.front_rear_scatter {
            return Err(Reason::FrontRearScatters { low, high });
        }
        if median.abs() <= limits.front_rear {
            return Ok(None);
        }
        let (faster, side) = if median > 0.0 {
            ("front", &self.high)
        } else {
            ("rear", &self.low)
        };
        Ok(Some(Fired {
            severity: Severity::LookSoon,
            grade: drive.quality.grade,
            summary: format!(
                "The {faster} wheels turn {:.2} % faster than the others over {km:.1} km of steady straight running \
                 (limit {} %): their tyres roll smaller.",
                100.0 * median.abs(),
                rounded(100.0 * limits.front_rear, 0)
            ),
            evidence: side.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    fn outcome(scene: &Scene, front_over_rear: f64, change: impl Fn(f64, &mut Row)) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..20_000 {
            let time = f64::from(index) * 0.01;
            let mut row = row(time);
            row.front_speed = Some(60.0 * (1.0 + front_over_rear));
            change(time, &mut row);
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn more_than_one_per_cent_either_way() {
        let scene = Scene::whole();
        let fired = outcome(&scene, 0.015, |_, _| ()).unwrap().unwrap();
        says(&fired.summary, "The front wheels turn 1.48 % faster");
        let fired = outcome(&scene, -0.015, |_, _| ()).unwrap().unwrap();
        says(&fired.summary, "The rear wheels turn 1.52 % faster");
        assert_eq!(outcome(&scene, 0.008, |_, _| ()), Ok(None));
    }

    #[test]
    fn pulling_bends_and_a_closed_clutch_do_not_count() {
        let scene = Scene::whole();
        for change in [
            (|time: f64, row: &mut Row| row.road_speed = Some(15.0 + time % 20.0))
                as fn(f64, &mut Row),
            |_, row| row.yaw_rate = Some(0.2),
            |_, row| row.command = Some(0.3),
        ] {
            says(
                &outcome(&scene, -0.015, change).unwrap_err(),
                "0.0 km of steady",
            );
        }
        // A ratio that goes to and fro is no size of a tyre.
        let wanders = |time: f64, row: &mut Row| {
            row.front_speed = Some(60.0 * (1.0 + 0.012 * (1.0 + (0.1 * time).sin())));
        };
        says(&outcome(&scene, 0.0, wanders).unwrap_err(), "scatters");
    }

    #[test]
    fn without_four_wheels_it_was_not_checked() {
        let scene = Scene::whole().without("wheel.front.right");
        says(
            &outcome(&scene, 0.015, |_, _| ()).unwrap_err(),
            "wheel.front.right",
        );
    }
}
