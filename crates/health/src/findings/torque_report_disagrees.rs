//! The torque the car reports and the torque of the map's table are not the same.
//!
//! Compared only while both have been steady for a while, so that what comes later over the
//! bus does no harm, and above the preload, which a report may leave out. A channel of the car
//! beside a table of the map is needed; where the map takes the report as its torque there is
//! nothing to hold it against.

use crate::reason::{MapFact, Measured, Reason};
use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_driveline::align::follows_command;
use halfshaft_model::channel::name;
use halfshaft_model::{Block, Meaning, Time, TorqueSource};

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::driving::ROWS_LATE_S;
use crate::evidence::{Strongest, counts, window};
use crate::limits::{Limits, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::HEAT;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::TorqueReportDisagrees,
        title: "Reported torque disagrees with the table",
        severities: &[Severity::Note],
        rule: |limits| {
            let limits = &limits.torque_report;
            format!(
                "while both are steady and above the preload, the reported torque is over {} % away from the table's, over \
                 {} s or more in all",
                rounded(100.0 * limits.disagreement, 0),
                limits.least_s
            )
        },
        needs: "clutch.torque with its meaning, a table or clamp force for another channel, steady torque above the preload",
        could_also_be: "a table of another unit, a report of the commanded torque and not of the real one",
        next_check: "Check the map: the scale of clutch.torque, pack torque or axle bias, the table and its channel.",
        owner_sees: "The torque the car reports and the one in the map do not agree.",
        owner_does: "Nothing to do on the car. Whoever wrote the map checks its torque table.",
        withdrawn_if: "scale or table are put right and both agree",
    },
    on: HEAT,
    begin: |setup| Box::new(TorqueReport::new(setup)),
};

/// Both torques since they were last not steady.
#[derive(Clone, Copy, Debug)]
struct Steady {
    start: Time,
    end: Time,
    table: (f64, f64),
    report: (f64, f64),
    seconds: f64,
    table_sum: f64,
    report_sum: f64,
}

#[derive(Clone, Debug)]
struct TorqueReport {
    limits: Limits,
    channel: Result<usize, Reason>,
    per_pack: f64,
    reach_s: f64,
    from_nm: f64,
    ahead: VecDeque<(Time, Option<f64>)>,
    report: Option<(Time, f64)>,
    steady: Option<Steady>,
    stretches: Strongest,
    seconds: f64,
    table_sum: f64,
    report_sum: f64,
}

impl TorqueReport {
    fn new(setup: &Setup) -> TorqueReport {
        let mut channels = setup.channels.iter();
        let found = channels.position(|channel| channel.name == name::CLUTCH_TORQUE);
        let sources = &setup.vehicle.torque_sources;
        // The rows take what the mechanism says before what was asked, in the map's order.
        let mut known = sources.iter().filter(|source| {
            let mut channels = setup.channels.iter();
            channels.any(|channel| channel.name == source.channel() && !follows_command(channel))
        });
        let channel = match (found, known.next()) {
            (None, _) => Err(Reason::NoChannel(name::CLUTCH_TORQUE)),
            (_, None) => Err(MapFact::TorqueTable.into()),
            (_, Some(TorqueSource::Reported { .. })) => Err(MapFact::SecondTorque.into()),
            (Some(found), Some(source)) if source.channel() == setup.channels[found].name => {
                Err(MapFact::TableOfAnother.into())
            }
            (Some(found), _) => Ok(found),
        };
        let meaning = found.and_then(|found| setup.channels[found].meaning);
        let (channel, per_pack) = match meaning {
            Some(Meaning::PackTorque) => (channel, 1.0),
            Some(Meaning::AxleBias) => (channel, 1.0 / setup.basis.bias_factor),
            _ => (channel.and(Err(MapFact::TorqueMeaning.into())), 1.0),
        };
        let period_s = found
            .and_then(|found| setup.channels[found].period_s)
            .unwrap_or(0.0);
        let slip = &setup.limits.slip;
        TorqueReport {
            limits: *setup.limits,
            channel,
            per_pack,
            reach_s: setup.limits.torque_report.reach_s.max(3.0 * period_s),
            from_nm: slip
                .torque_floor_nm
                .max(slip.torque_floor_preloads * setup.basis.preload_nm),
            ahead: VecDeque::new(),
            report: None,
            steady: None,
            stretches: Strongest::default(),
            seconds: 0.0,
            table_sum: 0.0,
            report_sum: 0.0,
        }
    }

    fn end(&mut self) {
        let Some(steady) = self.steady.take().filter(|steady| steady.seconds > 0.0) else {
            return;
        };
        self.seconds += steady.seconds;
        self.table_sum += steady.table_sum;
        self.report_sum += steady.report_sum;
        let (table_nm, report_nm) = (
            steady.table_sum / steady.seconds,
            steady.report_sum / steady.seconds,
        );
        let off = report_nm / table_nm - 1.0;
        let values = [
            ("reported", report_nm, "N·m"),
            ("by the table", table_nm, "N·m"),
            ("off by", 100.0 * off, "%"),
            ("steady for", steady.end.since(steady.start), "s"),
        ];
        if off.abs() > self.limits.torque_report.disagreement {
            self.stretches
                .add(steady.seconds, window(steady.start, steady.end, &values));
        }
    }
}

/// Widens a range by a value and says whether it is still narrow for its size.
fn stays(range: &mut (f64, f64), value: f64, share: f64) -> bool {
    *range = (range.0.min(value), range.1.max(value));
    range.1 - range.0 <= share * range.1.abs()
}

impl Check for TorqueReport {
    fn note_block(&mut self, block: &Block) {
        let Ok(channel) = self.channel else {
            return;
        };
        self.ahead.extend(block.columns[channel].iter());
        let is_old = |sample: &mut (Time, Option<f64>)| block.until.since(sample.0) > ROWS_LATE_S;
        while self.ahead.pop_front_if(is_old).is_some() {}
    }

    fn note(&mut self, row: &Row) {
        while let Some((time, value)) = self.ahead.pop_front_if(|(time, _)| *time <= row.time) {
            // A bias has the sign of the side it is pushed to.
            self.report = value.map(|value| (time, value.abs() * self.per_pack));
        }
        let report = self
            .report
            .filter(|(time, _)| row.time.since(*time) <= self.reach_s)
            .map(|(_, report_nm)| report_nm);
        let table = row
            .torque_nm
            .filter(|table_nm| *table_nm > self.from_nm && !row.is_torque_by_command);
        let both = table
            .zip(report)
            .filter(|_| row.is_joined && counts(row, &self.limits.driving));
        let Some((table_nm, report_nm)) = both else {
            self.end();
            return;
        };
        let limits = self.limits.torque_report;
        let fresh = Steady {
            start: row.time,
            end: row.time,
            table: (table_nm, table_nm),
            report: (report_nm, report_nm),
            seconds: 0.0,
            table_sum: 0.0,
            report_sum: 0.0,
        };
        let mut steady = self.steady.unwrap_or(fresh);
        let is_steady = stays(&mut steady.table, table_nm, limits.steady)
            && stays(&mut steady.report, report_nm, limits.steady);
        if !is_steady {
            self.end();
            self.steady = Some(fresh);
            return;
        }
        steady.end = row.time;
        if row.time.since(steady.start) >= limits.steady_s {
            steady.seconds += row.seconds;
            steady.table_sum += table_nm * row.seconds;
            steady.report_sum += report_nm * row.seconds;
        }
        self.steady = Some(steady);
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.stretches);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        self.channel.clone()?;
        drive.all_of(&[name::CLUTCH_TORQUE])?;
        let limits = &drive.limits.torque_report;
        let mut settled = self.clone();
        settled.end();
        if settled.seconds < limits.least_s {
            return Err(Reason::TooLittle {
                what: Measured::SteadyTorques {
                    from_nm: self.from_nm,
                },
                found: settled.seconds,
                needed: limits.least_s,
            });
        }
        let off = settled.report_sum / settled.table_sum - 1.0;
        if off.abs() <= limits.disagreement {
            return Ok(None);
        }
        Ok(Some(Fired {
            severity: Severity::Note,
            grade: drive.quality.grade.max(Grade::B),
            summary: format!(
                "Over {:.0} s of steady torque the car reported {:.0} N·m where the table gives {:.0}, {:+.0} % (limit {} \
                 %). Heat rests on the table.",
                settled.seconds,
                settled.report_sum / settled.seconds,
                settled.table_sum / settled.seconds,
                100.0 * off,
                rounded(100.0 * limits.disagreement, 0)
            ),
            evidence: settled.stretches.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, torque_by_table_and_car};
    use super::*;
    use crate::testing::row;

    /// 20 s; the torque is `torque(time)` and the car reports `share` of it `late_s` later.
    fn outcome(scene: &Scene, share: f64, late_s: f64, torque: impl Fn(f64) -> f64) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..2000 {
            let time = f64::from(index) * 0.01;
            let mut row = row(time);
            row.torque_nm = Some(torque(time));
            let mut block = Block::new(scene.channels.len());
            block.columns[6].push(row.time, Some(share * torque(time - late_s)));
            block.until = row.time;
            check.note_block(&block);
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    fn steps(time: f64) -> f64 {
        if time.rem_euclid(4.0) < 2.0 {
            400.0
        } else {
            200.0
        }
    }

    #[test]
    fn forty_per_cent_less_is_a_note() {
        let fired = outcome(&torque_by_table_and_car(), 0.6, 0.0, steps)
            .unwrap()
            .unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "-40 % (limit 25 %)");
        assert_eq!(fired.evidence.len(), 5);
        assert_eq!(
            outcome(&torque_by_table_and_car(), 0.8, 0.0, steps),
            Ok(None)
        );
    }

    #[test]
    fn a_late_report_and_the_preload_are_no_disagreement() {
        assert_eq!(
            outcome(&torque_by_table_and_car(), 1.0, 0.2, steps),
            Ok(None)
        );
        // Preload is 80 N·m: below 120 nothing is compared.
        says(
            &outcome(&torque_by_table_and_car(), 0.1, 0.0, |_| 100.0).unwrap_err(),
            "above 120 N·m for 0.0 s",
        );
    }

    #[test]
    fn without_a_second_torque_or_its_meaning_it_was_not_checked() {
        says(
            &outcome(&Scene::whole(), 0.6, 0.0, steps).unwrap_err(),
            "takes the reported torque",
        );
        let mut reported = Scene::whole();
        reported.channels[6].meaning = Some(Meaning::PackTorque);
        says(
            &outcome(&reported, 0.6, 0.0, steps).unwrap_err(),
            "takes the reported torque as the torque",
        );
        let mut unsaid = torque_by_table_and_car();
        unsaid.channels[6].meaning = None;
        says(
            &outcome(&unsaid, 0.6, 0.0, steps).unwrap_err(),
            "pack torque or axle bias",
        );
    }
}
