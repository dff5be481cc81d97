//! Sorts every moving moment into the seven regions of torque against slip.
//!
//! In: rows. Out: the region of each, and seconds and joules by region. The regions are
//! disjoint and are asked in the order R7, R5, R6, R4, R3, R2, R1. Two need patience: R5
//! waits until the mechanism has settled, R6 until it has lasted; what R6 has not yet
//! proved is kept aside.

use halfshaft_driveline::derive::openness::LEAST_DIFFERENCE;
use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_driveline::{HeatByFloor, Row};
use halfshaft_model::Time;

use crate::lasting::{Lasting, Stretch};
use crate::limits::Limits;
use crate::nouns::Region;
use crate::trust::{HEAT, Kept};

/// Seconds and heat of each region.
#[derive(Clone, Debug, Default)]
pub struct RegionSums {
    /// Seconds.
    pub seconds: [f64; 7],
    /// Heat, waiting for the noise floor.
    pub heat: Kept<[HeatByFloor; 7], HEAT>,
}

/// Sorts rows.
#[derive(Clone, Debug, Default)]
pub struct RegionSorter {
    limits: Limits,
    sums: RegionSums,
    // Largest differences of the recent past, for "before the command".
    recent: Option<(Time, f64)>,
    // Of the command episode going on: something to hold was there when it began.
    command_since: Option<Time>,
    had_opportunity: bool,
    asking: Option<Asking>,
    n_judged: u64,
    holding: Lasting<Holding>,
}

/// Nearly all is asked for.
#[derive(Clone, Copy, Debug)]
struct Asking {
    slip_at_start: f64,
    since: Time,
    settled_since: Option<Time>,
}

/// Perhaps holding unasked: sums that move to R6 when it has lasted long enough.
#[derive(Clone, Debug)]
struct Holding {
    is_proved: bool,
    sums: RegionSums,
}

impl RegionSorter {
    /// Nothing sorted yet.
    pub fn new(limits: &Limits) -> RegionSorter {
        RegionSorter {
            limits: *limits,
            ..RegionSorter::default()
        }
    }

    /// Takes a row of moving time and gives its region (R6 only once it is proved).
    pub fn sort(&mut self, row: &Row) -> Region {
        if !row.is_joined {
            self.asking = None;
            self.recent = None;
            self.settle_holding();
        }
        self.watch_command(row);
        let plain = self.plain_region(row);
        let holds_unasked = asked(row).is_some_and(|command| command < OPEN_BELOW)
            && row.is_turning
            && row.openness.is_some_and(|openness| {
                openness < self.limits.holding.openness_below && !is_breaking_away(row)
            });
        if !holds_unasked || plain == Region::NotObservable {
            self.settle_holding();
            add(&mut self.sums, plain, row);
            return plain;
        }
        let holding = self.holding.hold(row.time, row.seconds, || Holding {
            is_proved: false,
            sums: RegionSums::default(),
        });
        let is_long = holding.length_s() >= self.limits.holding.least_s;
        let holding = &mut holding.gathered;
        holding.is_proved |= is_long;
        add(&mut holding.sums, plain, row);
        if holding.is_proved {
            Region::HoldingUnasked
        } else {
            plain
        }
    }

    fn settle_holding(&mut self) {
        let Some(Stretch {
            gathered: holding, ..
        }) = self.holding.end()
        else {
            return;
        };
        let RegionSums { seconds, mut heat } = holding.sums;
        for (region, heat) in heat.gather().iter().enumerate() {
            let target = match holding.is_proved {
                true => Region::HoldingUnasked as usize,
                false => region,
            };
            self.sums.seconds[target] += seconds[region];
            self.sums.heat.gather()[target].merge(heat);
        }
    }

    /// Everything but R6.
    fn plain_region(&mut self, row: &Row) -> Region {
        let Some(command) = asked(row).filter(|_| row.is_turning) else {
            return Region::NotObservable;
        };
        let slip = row.slip_mean.abs();
        let working = self.limits.slip.working_rad_per_s;
        let bend_asks = row
            .kinematic_difference
            .is_some_and(|asked| asked.abs() >= LEAST_DIFFERENCE);
        let has_opportunity = bend_asks || (self.had_opportunity && command >= OPEN_BELOW);
        let noise = row.mean_noise(row.slip_sd.unwrap_or(f64::INFINITY));
        let is_slipping = slip > working || slip > noise;
        let is_asked = command >= OPEN_BELOW;
        if !has_opportunity && (!is_slipping || (is_asked && slip <= working)) {
            return Region::NotObservable;
        }
        if self.is_not_holding(slip, row.time) {
            return Region::AskedNotHolding;
        }
        match (is_asked, slip > working) {
            (true, false) => Region::Held,
            (true, true) => Region::WorkingSlip,
            (false, _) if row.torque_nm.is_some_and(|torque| torque > 0.0) => Region::PreloadDrag,
            (false, _) => Region::Free,
        }
    }

    fn watch_command(&mut self, row: &Row) {
        let slip = row.slip_mean.abs();
        let limits = self.limits.holding;
        let Some(command) = asked(row) else {
            self.asking = None;
            return;
        };
        self.n_judged += 1;
        if command >= OPEN_BELOW {
            if self.command_since.is_none() {
                self.command_since = Some(row.time);
                self.had_opportunity = self
                    .recent
                    .is_some_and(|(seen, _)| row.time.since(seen) <= limits.opportunity_before_s);
            }
        } else {
            self.command_since = None;
            self.had_opportunity = false;
        }
        if row.difference_mean.abs() >= limits.opportunity_rad_per_s {
            self.recent = Some((row.time, row.difference_mean));
        }
        if command < limits.asked_for_all {
            self.asking = None;
            return;
        }
        let asking = self.asking.get_or_insert(Asking {
            slip_at_start: slip,
            since: row.time,
            settled_since: None,
        });
        if slip <= self.limits.slip.working_rad_per_s {
            // It holds, or has nothing to hold: slip that begins from here is judged anew.
            (asking.slip_at_start, asking.settled_since) = (0.0, None);
            return;
        }
        let is_settled = match row.state {
            Some(state) => state >= limits.settled_share * command,
            None => row.time.since(asking.since) >= limits.settled_after_s,
        };
        if is_settled && asking.settled_since.is_none() {
            asking.slip_at_start = asking.slip_at_start.max(slip);
            asking.settled_since = Some(row.time);
        }
    }

    /// Rows of which command or state is known.
    pub fn n_judged(&self) -> u64 {
        self.n_judged
    }

    fn is_not_holding(&self, slip: f64, now: Time) -> bool {
        let limits = &self.limits.holding;
        self.asking.is_some_and(|asking| {
            asking
                .settled_since
                .is_some_and(|since| now.since(since) >= limits.within_s)
                && slip > self.limits.slip.working_rad_per_s
                && slip > (1.0 - limits.fall) * asking.slip_at_start
        })
    }

    /// Sums so far; what R6 has not proved counts where it would otherwise stand.
    pub fn sums(&self) -> RegionSums {
        let mut copy = self.clone();
        copy.settle_holding();
        copy.sums
    }
}

/// What is asked of the clutch; where no command is known, what it says it does.
fn asked(row: &Row) -> Option<f64> {
    row.command.or(row.state)
}

/// An inside wheel that breaks away takes the difference through zero on its way: low
/// openness with growing excess slip is wheelspin, never drag.
fn is_breaking_away(row: &Row) -> bool {
    row.openness.is_some_and(|openness| openness < -0.2)
}

fn add(sums: &mut RegionSums, region: Region, row: &Row) {
    sums.seconds[region as usize] += row.seconds;
    if let Some(work) = row.work_j.filter(|_| row.is_turning) {
        sums.heat.gather()[region as usize].add(work, row.impulse_nms, &row.evidence);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;

    /// Runs rows of 10 ms made by `make(time)` for `seconds` and gives seconds by region.
    fn seconds(seconds: f64, make: impl Fn(f64, &mut Row)) -> [f64; 7] {
        let mut sorter = RegionSorter::default();
        let n = (seconds * 100.0).round() as i32;
        for index in 0..n {
            let time = f64::from(index) * 0.01;
            let mut row = row(time);
            make(time, &mut row);
            sorter.sort(&row);
        }
        sorter
            .sums()
            .seconds
            .map(|value| (value * 100.0).round() / 100.0)
    }

    #[track_caller]
    fn check(name: &str, got: [f64; 7], region: Region, wanted: f64) {
        assert!(
            (got[region as usize] - wanted).abs() < 0.02,
            "{name}: {got:?}"
        );
    }

    #[test]
    fn each_region_by_its_plain_case() {
        let bend = |row: &mut Row, openness: f64| {
            row.kinematic_difference = Some(2.0);
            row.openness = Some(openness);
            row.difference_mean = 2.0 * openness;
            row.slip_mean = openness;
        };
        let free = seconds(5.0, |_, row| bend(row, 1.0));
        check("free", free, Region::Free, 5.0);
        let preload = seconds(5.0, |_, row| {
            bend(row, 1.0);
            row.torque_nm = Some(80.0);
        });
        check("preload", preload, Region::PreloadDrag, 5.0);
        let working = seconds(5.0, |_, row| {
            bend(row, 0.7);
            row.command = Some(0.5);
        });
        check("working", working, Region::WorkingSlip, 5.0);
        let held = seconds(5.0, |_, row| {
            bend(row, 0.0);
            row.command = Some(0.5);
        });
        check("held", held, Region::Held, 5.0);
        // Straight road, full command, no difference: proves nothing.
        let straight = seconds(5.0, |_, row| row.command = Some(1.0));
        check("straight", straight, Region::NotObservable, 5.0);
        let unknown = seconds(5.0, |_, row| {
            bend(row, 1.0);
            row.command = None;
        });
        check("no command", unknown, Region::NotObservable, 5.0);
        // Asked for all at 0 s, settled at once, still slipping as before a second later.
        let not_holding = seconds(5.0, |_, row| {
            bend(row, 1.0);
            row.command = Some(1.0);
            row.state = Some(1.0);
        });
        check(
            "asked not holding",
            not_holding,
            Region::AskedNotHolding,
            4.0,
        );
        check("asked not holding", not_holding, Region::WorkingSlip, 1.0);
        // Open, yet turning like a solid axle for more than two seconds.
        let dragging = seconds(5.0, |_, row| bend(row, 0.2));
        check("dragging", dragging, Region::HoldingUnasked, 5.0);
        let briefly = seconds(1.5, |_, row| bend(row, 0.2));
        check("briefly", briefly, Region::Free, 1.5);
    }

    #[test]
    fn a_wheel_breaking_away_is_not_drag() {
        let got = seconds(5.0, |_, row| {
            row.kinematic_difference = Some(2.0);
            row.openness = Some(-1.0);
            row.difference_mean = -2.0;
            row.slip_mean = -1.0;
        });
        check("inside spin", got, Region::HoldingUnasked, 0.0);
    }

    #[test]
    fn a_difference_before_the_command_is_an_opportunity() {
        let got = seconds(3.0, |time, row| {
            let is_before = time < 1.0;
            row.difference_mean = if is_before { 4.0 } else { 0.0 };
            row.slip_mean = 0.5 * row.difference_mean;
            row.command = Some(if is_before { 0.0 } else { 0.6 });
        });
        check("held after slip", got, Region::Held, 2.0);
    }
}
