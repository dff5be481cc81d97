//! The ratio by straights on which the pack holds a torque that can hide little of it.
//!
//! In: windows without and with command. Out: an estimate whose band has what the torque of its windows may
//! hide. Controllers that always ask for a little leave a drive in town no open straight; a
//! torque in the pack makes the wheels turn more alike and never less, so what still shows is at least
//! there. It needs a witness of bends and a known torque, and is never better than grade C.

use super::calibration::{Mode, RatioEstimate};
use super::geometry::Geometry;
use super::judge::{judge, usable};
use super::kept::Kept;
use super::solve::{LEAST_WINDOWS, graded, solve};
use super::window::Window;
use crate::basis::Basis;

/// Greatest share of the rolling speed that the torque of a window may take from between the wheels.
/// Source: none, engineering guess: it leaves half of what unlike tyres to act on differ by.
const MOST_HIDDEN: f64 = 0.005;

/// Least deviation: tyres under load differ in slip. Source: none, engineering guess: 5 % of a slip of 2 %.
const LEAST_SD: f64 = 0.001;

/// Confidence: grade C at best.
const GRADE_FACTOR: f64 = 0.5;

/// The estimate, where the windows suffice.
pub fn under_command(kept: &Kept, basis: &Basis) -> Option<RatioEstimate> {
    let hidden = |window: &Window| basis.tied_share(window.torque_nm()?);
    let mut windows: Vec<Window> = kept
        .fit
        .iter()
        .chain(&kept.commanded)
        .filter(|window| hidden(window).is_some_and(|share| share <= MOST_HIDDEN))
        .copied()
        .collect();
    windows.sort_by(|one, other| one.start_km.total_cmp(&other.start_km));
    let geometry = Geometry::choose(kept, &windows, basis);
    if geometry.mode == Mode::ShortestThird {
        return None;
    }
    let straights = usable(&judge(&windows, &geometry, basis, f64::INFINITY));
    if (straights.len() as u32) < LEAST_WINDOWS {
        return None;
    }
    let mut solved = solve(&straights, &geometry)?.ok()?;
    solved.sd = solved.sd.max(LEAST_SD);
    let sum: f64 = straights.iter().filter_map(|one| hidden(one.window)).sum();
    let found = graded(&solved, LEAST_WINDOWS, 1, sum / straights.len() as f64).ok()?;
    Some(RatioEstimate {
        grade_factor: GRADE_FACTOR,
        ..found
    })
}

#[cfg(test)]
mod tests {
    use super::super::Rolling;
    use super::super::testing::{Drive, Road, basis};

    /// Ten minutes under a command that makes `torque_nm`, which ties 0.0156 % per 4 N·m: by 80 kN and 0.32 m.
    fn found(ratio_log: f64, torque_nm: f64, change: impl Fn(f64, &mut Rolling)) -> Option<f64> {
        let drive = Drive {
            ratio_log,
            hidden: torque_nm / (80e3 * 0.32),
            ..Drive::new(Road::Mixed, 600.0)
        };
        let ratio = drive.run_with(|way, rolling| {
            rolling.command = Some(0.1);
            rolling.torque_nm = Some(torque_nm);
            change(way, rolling);
        });
        let calibration = ratio.calibration(&basis());
        assert!(calibration.outcome.is_err());
        let estimate = calibration.under_command?;
        assert!(estimate.low <= ratio_log && ratio_log <= estimate.high);
        Some(estimate.ratio_log)
    }

    #[test]
    fn what_shows_under_a_small_torque_is_at_least_there() {
        // Derived: 100 N·m take 100/(80 kN·0.32 m) = 0.39 % of 1.6 %.
        let shown = found(0.016, 100.0, |_, _| ()).unwrap();
        assert!((shown - 0.0121).abs() < 4e-4, "{shown}");
        let alike = found(0.0, 100.0, |_, _| ()).unwrap();
        assert!(alike.abs() < 4e-4, "{alike}");
    }

    #[test]
    fn a_torque_that_can_hide_it_or_bends_without_a_witness_tell_nothing() {
        // Derived: 140 N·m take 0.55 %.
        assert_eq!(found(0.016, 140.0, |_, _| ()), None);
        assert_eq!(
            found(0.016, 100.0, |_, rolling| rolling.torque_nm = None),
            None
        );
        let blind = |_, rolling: &mut Rolling| {
            (rolling.yaw_rate, rolling.kinematic) = (None, None);
        };
        assert_eq!(found(0.016, 100.0, blind), None);
    }
}
