//! The table of evidence: what was right, wrong, missed and left open.
//!
//! In: judged drives. Out: [`Evidence`], counts and lists.

use std::collections::BTreeMap;

use halfshaft_health::{FigureId, FindingId, Severity};
use halfshaft_simulate::fleet::{Fault, Form};

use crate::figures::{self, Fared};
use crate::right::{is_deserved, right};
use crate::run::Judged;

/// How an ill drive was answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// By its name.
    Found,
    /// Something is said to be wrong, under another name.
    Otherwise,
    /// What would name it was not looked for, and the report says so.
    NotChecked,
    /// Nothing.
    Missed,
}

impl Answer {
    /// All of them.
    pub const ALL: [Answer; 4] = [
        Answer::Found,
        Answer::Otherwise,
        Answer::NotChecked,
        Answer::Missed,
    ];
}

/// Counts by answer.
pub type Answers = [usize; 4];

/// What one dirty fault did to heat and slip.
#[derive(Clone, Copy, Debug, Default)]
pub struct Dirt {
    /// Drives with both numbers without the fault.
    pub n: usize,
    /// Changed by 2 % or more and not withheld: heat, highest slip.
    pub n_changed: [usize; 2],
    /// Withheld: heat, highest slip.
    pub n_withheld: [usize; 2],
    /// Greatest change in per cent: heat, highest slip.
    pub worst: [f64; 2],
}

/// The table.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// Healthy drives.
    pub n_healthy: usize,
    /// Of them with an act or stop that is not deserved.
    pub n_act: usize,
    /// … with a look-soon that is not deserved.
    pub n_look: usize,
    /// … with a remark on log or map, or a notice of damage.
    pub n_remarks: usize,
    /// … whose log is called unfit for a verdict.
    pub n_unfit: usize,
    /// Healthy drives by finding: note, look soon, act, stop, undeserved; and deserved ones.
    pub healthy: BTreeMap<FindingId, [usize; 5]>,
    /// Healthy drives by remark.
    pub remarks: BTreeMap<&'static str, usize>,
    /// Ill drives by fault and form: in town, on the track.
    pub ill: BTreeMap<(Fault, Form), [Answers; 2]>,
    /// Ill drives by finding that should have named the fault.
    pub by_finding: BTreeMap<FindingId, Answers>,
    /// Ill drives with an act or stop that is neither right nor akin nor deserved, by finding.
    pub wrong_on_ill: BTreeMap<FindingId, usize>,
    /// Dirty wheels.
    pub dirt: BTreeMap<(Fault, Form), Dirt>,
    /// Figures of healthy drives.
    pub figures: Vec<Fared>,
    /// What went wrong, a line each.
    pub list: Vec<String>,
}

/// Whether a fault came to pass on its drive at all: a controller that would save the clutch from hot oil
/// does nothing where the pedal is never pressed far enough while it is hot.
fn has_shown(one: &Judged, fault: Fault) -> bool {
    fault != Fault::Protection || one.truth.cut_s > 0.0
}

/// How an ill drive was answered.
pub fn answer(one: &Judged, fault: Fault) -> Answer {
    let right = right(fault);
    let said = &one.said;
    let is_remarked = said
        .remarks
        .iter()
        .any(|(kind, _)| right.remarks.contains(kind));
    if is_remarked || right.findings.iter().any(|id| said.has(*id)) {
        return Answer::Found;
    }
    let is_other = |id: FindingId, severity: Severity| {
        right.akin.contains(&id)
            || severity >= Severity::LookSoon && !is_deserved(id, &one.truth, &one.car)
    };
    if said
        .findings
        .iter()
        .any(|&(id, severity)| is_other(id, severity))
    {
        return Answer::Otherwise;
    }
    let is_unchecked = |id: &FindingId| said.not_checked.contains(id);
    match !right.findings.is_empty() && right.findings.iter().all(is_unchecked) {
        true => Answer::NotChecked,
        false => Answer::Missed,
    }
}

impl Evidence {
    /// Of these drives.
    pub fn of(judged: &[Judged]) -> Evidence {
        let mut evidence = Evidence::default();
        for one in judged {
            match one.car.fault {
                None => evidence.note_healthy(one),
                Some((fault, form)) => evidence.note_ill(one, fault, form),
            }
        }
        let healthy: Vec<&Judged> = judged
            .iter()
            .filter(|one| one.car.fault.is_none())
            .collect();
        evidence.figures = figures::fared(&healthy);
        evidence
    }

    fn note_healthy(&mut self, one: &Judged) {
        self.n_healthy += 1;
        let mut worst = None;
        let mut wrong = Vec::new();
        for &(id, severity) in &one.said.findings {
            let counts = self.healthy.entry(id).or_default();
            if is_deserved(id, &one.truth, &one.car) {
                counts[4] += 1;
                continue;
            }
            counts[severity as usize] += 1;
            worst = worst.max(Some(severity));
            wrong.push(format!("{id} ({})", severity.word()));
        }
        match worst {
            Some(Severity::Act | Severity::Stop) => self.n_act += 1,
            Some(Severity::LookSoon) => self.n_look += 1,
            _ => {}
        }
        for (kind, words) in &one.said.remarks {
            *self.remarks.entry(kind.word()).or_default() += 1;
            wrong.push(format!("remark {words}"));
        }
        for notice in &one.said.notices {
            wrong.push(format!("notice {notice}"));
        }
        let is_remarked = !one.said.remarks.is_empty() || !one.said.notices.is_empty();
        self.n_remarks += usize::from(is_remarked);
        self.n_unfit += usize::from(one.said.has(FindingId::LogNotFit));
        let off = figures::misses(one);
        if !wrong.is_empty() || !off.is_empty() {
            self.list.push(format!(
                "{} healthy: wrong: {}; off: {}; {}",
                one.car.number,
                wrong.join(", "),
                off.join(", "),
                one.car.in_words()
            ));
        }
    }

    fn note_ill(&mut self, one: &Judged, fault: Fault, form: Form) {
        if !has_shown(one, fault) {
            self.list.push(format!(
                "{} {} {form:?}: never came to pass; {}",
                one.car.number,
                fault.word(),
                one.car.in_words()
            ));
            return;
        }
        let answer = answer(one, fault);
        let place =
            usize::from(one.car.route.kind == halfshaft_simulate::fleet::route::Kind::Track);
        self.ill.entry((fault, form)).or_default()[place][answer as usize] += 1;
        let right = right(fault);
        for id in right.findings {
            self.by_finding.entry(*id).or_default()[answer as usize] += 1;
        }
        let mut others = Vec::new();
        for &(id, severity) in &one.said.findings {
            let is_right = right.findings.contains(&id) || right.akin.contains(&id);
            if is_right || is_deserved(id, &one.truth, &one.car) {
                continue;
            }
            others.push(format!("{id} ({})", severity.word()));
            if severity >= Severity::Act {
                *self.wrong_on_ill.entry(id).or_default() += 1;
            }
        }
        if let Some(clean) = &one.clean {
            let dirt = self.dirt.entry((fault, form)).or_default();
            let ids = [FigureId::HeatTotal, FigureId::SlipPeak];
            let before = ids.map(|id| clean.figure(id));
            if let [Some(heat), Some(slip)] = before {
                dirt.n += 1;
                for (i, clean) in [heat, slip].into_iter().enumerate() {
                    match one.said.figure(ids[i]) {
                        None => dirt.n_withheld[i] += 1,
                        // It is a bound, and it holds.
                        Some(now) if now.is_at_least && now.value <= clean.value => {}
                        Some(now) => {
                            // Less than a kilojoule or a radian a second is nothing.
                            let change =
                                100.0 * (now.value - clean.value).abs() / clean.value.max(1.0);
                            dirt.worst[i] = dirt.worst[i].max(change);
                            if change >= 2.0 {
                                dirt.n_changed[i] += 1;
                                self.list.push(format!(
                                    "{} {} {form:?}: {} {:.3} where clean {:.3}; {}",
                                    one.car.number,
                                    fault.word(),
                                    ids[i],
                                    now.value,
                                    clean.value,
                                    one.car.in_words()
                                ));
                            }
                        }
                    }
                }
            }
        }
        if answer != Answer::Found || !others.is_empty() {
            let remarks: Vec<&str> = one
                .said
                .remarks
                .iter()
                .map(|(_, words)| words.as_str())
                .collect();
            self.list.push(format!(
                "{} {} {form:?}: {answer:?}; others: {}; remarks: {}; {}",
                one.car.number,
                fault.word(),
                others.join(", "),
                remarks.join(", "),
                one.car.in_words()
            ));
        }
    }

    /// Share of ill drives of a form, where it was looked for, that were found by name.
    pub fn share_found(&self, form: Form) -> f64 {
        let (mut n, mut n_found) = (0, 0);
        for ((_, of), places) in &self.ill {
            if *of == form {
                for answers in places {
                    n_found += answers[Answer::Found as usize];
                    n += answers.iter().sum::<usize>() - answers[Answer::NotChecked as usize];
                }
            }
        }
        n_found as f64 / f64::max(1.0, n as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::{FIRST_ILL, Said, car};
    use halfshaft_signal_map::survey::Kind;
    use halfshaft_simulate::fleet::Truth;

    fn said() -> Said {
        Said {
            findings: Vec::new(),
            not_checked: Vec::new(),
            remarks: Vec::new(),
            notices: Vec::new(),
            figures: Vec::new(),
        }
    }

    // The first ill car, which has a slow actuator, or a healthy one.
    fn judged(number: u64, said: Said) -> Judged {
        Judged {
            car: car(1, number).expect("there is such a car"),
            truth: Truth::default(),
            said,
            clean: None,
        }
    }

    #[track_caller]
    fn check(findings: &[(FindingId, Severity)], not_checked: &[FindingId], wanted: Answer) {
        let said = Said {
            findings: findings.to_vec(),
            not_checked: not_checked.to_vec(),
            ..said()
        };
        let one = judged(FIRST_ILL, said);
        assert_eq!(answer(&one, Fault::SlowActuator), wanted);
        let evidence = Evidence::of(&[one]);
        let mut answers = [0; 4];
        answers[wanted as usize] = 1;
        let town = [answers, [0; 4]];
        assert_eq!(evidence.ill[&(Fault::SlowActuator, Form::Mild)], town);
        assert_eq!(evidence.by_finding[&FindingId::LazyActuator], answers);
    }

    #[test]
    fn an_answer_is_found_named_otherwise_not_checked_or_missed() {
        use FindingId::{CommandExchanged, HardHit, LateOnThrottle, LazyActuator};
        let late = (LateOnThrottle, Severity::Note);
        check(&[(LazyActuator, Severity::LookSoon)], &[], Answer::Found);
        check(
            &[(LazyActuator, Severity::LookSoon), late],
            &[],
            Answer::Found,
        );
        // One that is true of it as well counts at any severity, another only when grave.
        check(&[late], &[], Answer::Otherwise);
        check(&[(CommandExchanged, Severity::Act)], &[], Answer::Otherwise);
        check(&[(CommandExchanged, Severity::Note)], &[], Answer::Missed);
        check(&[], &[LazyActuator], Answer::NotChecked);
        check(&[], &[HardHit], Answer::Missed);
    }

    #[test]
    fn a_healthy_drive_counts_once_by_its_gravest() {
        let wrong = Said {
            findings: vec![
                (FindingId::LazyActuator, Severity::LookSoon),
                (FindingId::LosingPressure, Severity::Stop),
            ],
            ..said()
        };
        let remarked = Said {
            remarks: vec![(Kind::Stuck, "stuck".to_owned())],
            ..said()
        };
        let mut hot = judged(
            3,
            Said {
                findings: vec![(FindingId::OilTooHot, Severity::Act)],
                ..said()
            },
        );
        hot.truth.oil_hot_s = 60.0;
        let evidence = Evidence::of(&[judged(1, wrong), judged(2, remarked), hot]);
        let counts = (
            evidence.n_healthy,
            evidence.n_act,
            evidence.n_look,
            evidence.n_remarks,
        );
        assert_eq!(counts, (3, 1, 0, 1));
        assert_eq!(evidence.healthy[&FindingId::LazyActuator], [0, 1, 0, 0, 0]);
        assert_eq!(evidence.healthy[&FindingId::OilTooHot], [0, 0, 0, 0, 1]);
        assert_eq!(evidence.list.len(), 2, "a deserved finding is no mistake");
    }

    #[test]
    fn a_band_holds_the_truth_or_it_lies_below_or_above() {
        let with = |low: f64, high: f64, is_at_least: bool| {
            let estimate = halfshaft_health::Estimate {
                value: 10.0,
                low,
                high,
                is_at_least,
            };
            let mut one = judged(
                1,
                Said {
                    figures: vec![(FigureId::HeatTotal, Some(estimate))],
                    ..said()
                },
            );
            one.truth.heat_kj = 8.0;
            one
        };
        let drives = [
            with(7.0, 9.0, false),
            with(9.0, 11.0, false),
            with(5.0, 7.0, false),
            with(5.0, 7.0, true),
            judged(1, said()),
        ];
        let evidence = Evidence::of(&drives);
        let mut fared = evidence.figures.iter();
        let heat = fared.find(|fared| fared.id == FigureId::HeatTotal);
        let heat = heat.expect("heat has a truth");
        assert_eq!((heat.n, heat.n_null, heat.n_at_least), (4, 1, 1));
        assert_eq!((heat.n_held, heat.n_below, heat.n_above), (2, 1, 1));
        assert!((heat.errors[1] - 25.0).abs() < 1e-9, "{:?}", heat.errors);
    }
}
