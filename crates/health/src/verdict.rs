//! The verdict of a drive: how grave it is, what is still open, and by when to act.
//!
//! In: the findings, what could not be checked, what the channels allow, the log's grade and the
//! engagements. Out: a [`Verdict`]. It is the severity of the gravest finding; "nothing wrong
//! found" needs every check, enough engagements and a good log. Its words are made in `report`.

use std::fmt;

use crate::figure_id::FigureId;
use crate::figures::named;
use crate::finding_id::FindingId;
use crate::limits::VerdictLimits;
use crate::nouns::{Figure, Finding, Grade, NotChecked, Quality, Severity, Tier};

/// Which verdict it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Findings; the gravest is this.
    Found(Severity),
    /// Every check was made on enough driving, and none found anything.
    NothingFound,
    /// Nothing was found, but not everything was looked for.
    NothingSeen,
    /// The log does not show the clutch at work.
    CannotTell(Unfit),
}

/// Why a log cannot tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    /// It has the wheel speeds alone, or not even them.
    Channels,
    /// The channels would do; the drive does not.
    Drive,
}

/// What stands between "nothing seen" and "nothing wrong found".
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shortfall {
    /// The clutch was commanded too seldom.
    FewEngagements {
        /// How often.
        found: u64,
        /// How often is enough.
        needed: u32,
    },
    /// How often it was commanded is not known.
    EngagementsUnknown,
    /// Checks could not be made.
    NotChecked {
        /// How many.
        n: usize,
    },
    /// The log is not good enough.
    PoorLog {
        /// Its grade.
        found: Grade,
        /// The worst that is enough.
        needed: Grade,
    },
}

impl Shortfall {
    /// Stable kebab-case word.
    pub fn word(self) -> &'static str {
        match self {
            Shortfall::FewEngagements { .. } => "few-engagements",
            Shortfall::EngagementsUnknown => "engagements-unknown",
            Shortfall::NotChecked { .. } => "not-checked",
            Shortfall::PoorLog { .. } => "poor-log",
        }
    }
}

/// A fragment of a sentence.
impl fmt::Display for Shortfall {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Shortfall::FewEngagements { found, needed } => {
                write!(out, "{found} of the {needed} engagements that are needed")
            }
            Shortfall::EngagementsUnknown => {
                out.write_str("how often the clutch was commanded is not known")
            }
            Shortfall::NotChecked { n: 1 } => out.write_str("1 check could not be made"),
            Shortfall::NotChecked { n } => write!(out, "{n} checks could not be made"),
            Shortfall::PoorLog { found, needed } => {
                let better = if needed == Grade::A { "" } else { " or better" };
                let (found, needed) = (found.letter(), needed.letter());
                write!(
                    out,
                    "the log is of grade {found}, {needed}{better} is needed"
                )
            }
        }
    }
}

/// By when something is to be done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deadline {
    /// Before driving on.
    Now,
    /// After so many days or so far, whichever comes first.
    Within {
        /// Days from the end of the drive.
        days: u32,
        /// Distance, km.
        km: f64,
    },
    /// At the next service.
    NextService,
}

/// The verdict of a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Which.
    pub kind: Kind,
    /// What was not looked for, or not on enough of a good log; empty for "nothing wrong found".
    pub doubts: Vec<Shortfall>,
    /// Checks this version knows.
    pub n_checks: usize,
    /// Those that this log allowed.
    pub n_made: usize,
    /// So few checks, or so poor a log, that "nothing wrong" says little.
    pub is_thin: bool,
    limits: VerdictLimits,
}

/// What a verdict is made from.
#[derive(Clone, Copy, Debug)]
pub struct Grounds<'a> {
    /// Findings.
    pub findings: &'a [Finding],
    /// Findings that could not be looked for.
    pub not_checked: &'a [NotChecked],
    /// Checks in all.
    pub n_checks: usize,
    /// Figures.
    pub figures: &'a [Figure],
    /// What the channels allow.
    pub tier: &'a Tier,
    /// How good the log is.
    pub quality: &'a Quality,
}

impl Verdict {
    /// The verdict of a drive by these limits.
    pub fn of(grounds: &Grounds<'_>, limits: &VerdictLimits) -> Verdict {
        let doubts = doubts(grounds, limits);
        let (n_checks, n_open) = (grounds.n_checks, grounds.not_checked.len());
        let is_patchy = n_open as f64 > limits.most_unchecked * n_checks as f64;
        let is_poor = |doubt: &Shortfall| matches!(doubt, Shortfall::PoorLog { .. });
        Verdict {
            kind: kind(grounds, &doubts),
            is_thin: is_patchy || doubts.iter().any(is_poor),
            doubts,
            n_checks,
            n_made: n_checks.saturating_sub(n_open),
            limits: *limits,
        }
    }

    /// By when something of this severity is to be done.
    pub fn deadline_of(&self, severity: Severity) -> Deadline {
        let limits = &self.limits;
        match severity {
            Severity::Stop => Deadline::Now,
            Severity::Act => Deadline::Within {
                days: limits.act_days,
                km: limits.act_km,
            },
            Severity::LookSoon => Deadline::Within {
                days: limits.look_soon_days,
                km: limits.look_soon_km,
            },
            Severity::Note => Deadline::NextService,
        }
    }

    /// By when to act on the gravest finding; `None` where nothing was found.
    pub fn deadline(&self) -> Option<Deadline> {
        match self.kind {
            Kind::Found(severity) => Some(self.deadline_of(severity)),
            _ => None,
        }
    }
}

/// Whether a finding is on the car, and not on the log.
pub fn is_of_the_car(finding: &Finding) -> bool {
    finding.id != FindingId::LogNotFit
}

fn kind(grounds: &Grounds<'_>, doubts: &[Shortfall]) -> Kind {
    let findings = grounds.findings.iter();
    let gravest = findings
        .clone()
        .filter(|finding| is_of_the_car(finding))
        .map(|finding| finding.severity)
        .max();
    let is_unfit = !findings.clone().all(is_of_the_car);
    match gravest {
        Some(severity) if severity > Severity::Note => Kind::Found(severity),
        _ if grounds.tier.number.unwrap_or(0) == 0 => Kind::CannotTell(Unfit::Channels),
        _ if is_unfit => Kind::CannotTell(Unfit::Drive),
        Some(severity) => Kind::Found(severity),
        None if doubts.is_empty() => Kind::NothingFound,
        None => Kind::NothingSeen,
    }
}

fn doubts(grounds: &Grounds<'_>, limits: &VerdictLimits) -> Vec<Shortfall> {
    let needed = limits.least_engagements;
    let engagements = named(grounds.figures, FigureId::Engagements)
        .and_then(|figure| figure.outcome.as_ref().ok());
    let few = match engagements {
        Some(count) if count.value >= f64::from(needed) => None,
        Some(count) => Some(Shortfall::FewEngagements {
            found: count.value as u64,
            needed,
        }),
        None => Some(Shortfall::EngagementsUnknown),
    };
    let n = grounds.not_checked.len();
    let unchecked = (n > 0).then_some(Shortfall::NotChecked { n });
    let (found, needed) = (grounds.quality.grade, Grade::of(limits.least_trust));
    let poor = (found > needed).then_some(Shortfall::PoorLog { found, needed });
    [few, unchecked, poor].into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nouns::Estimate;
    use crate::reason::Reason;

    fn finding(id: FindingId, severity: Severity) -> Finding {
        Finding {
            id,
            title: "",
            severity,
            grade: Grade::A,
            summary: String::new(),
            evidence: Vec::new(),
            could_also_be: "",
            next_check: "",
            owner_sees: "",
            owner_does: "",
            withdrawn_if: "",
        }
    }

    /// A verdict of findings in a log of `tier` and `grade` with so many engagements.
    fn of(
        findings: &[Finding],
        n_engagements: Option<f64>,
        n_not_checked: usize,
        tier: Option<u8>,
        grade: Grade,
        limits: &VerdictLimits,
    ) -> Verdict {
        let engagements = Figure {
            id: FigureId::Engagements,
            title: "",
            unit: "count",
            outcome: n_engagements
                .map(|value| Estimate {
                    value,
                    low: value,
                    high: value,
                    is_at_least: false,
                })
                .ok_or(Reason::NotJudged),
            grade: None,
            method: String::new(),
        };
        let not_checked = NotChecked {
            id: FindingId::Judder,
            title: "",
            missing: Reason::NotJudged,
        };
        let grounds = Grounds {
            findings,
            not_checked: &vec![not_checked; n_not_checked],
            n_checks: 38,
            figures: &[engagements],
            tier: &Tier {
                number: tier,
                words: "",
                next_step: String::new(),
            },
            quality: &Quality {
                grade,
                worst_factor: String::new(),
                channels: Vec::new(),
                gaps: Vec::new(),
                n_gaps: 0,
            },
        };
        Verdict::of(&grounds, limits)
    }

    #[test]
    fn a_grave_finding_counts_on_any_log_and_a_note_only_on_a_fit_one() {
        let stop = finding(FindingId::DoesNotGrip, Severity::Stop);
        let note = finding(FindingId::LazyCold, Severity::Note);
        let unfit = finding(FindingId::LogNotFit, Severity::Note);
        let usual = VerdictLimits::default();
        let kind = |findings: &[Finding], tier: Option<u8>| {
            of(findings, Some(40.0), 0, tier, Grade::A, &usual).kind
        };
        let grave = [stop, note.clone()];
        assert_eq!(kind(&grave, None), Kind::Found(Severity::Stop));
        let light = [note.clone()];
        assert_eq!(kind(&light, Some(1)), Kind::Found(Severity::Note));
        let silent = Kind::CannotTell(Unfit::Channels);
        assert_eq!(kind(&light, Some(0)), silent);
        assert_eq!(kind(&[], None), silent);
        let on_both = [note, unfit];
        assert_eq!(kind(&on_both, Some(1)), Kind::CannotTell(Unfit::Drive));
        assert_eq!(kind(&[], Some(1)), Kind::NothingFound);
    }

    #[test]
    fn nothing_wrong_found_needs_enough_of_a_good_log_and_every_check() {
        let usual = VerdictLimits::default();
        let clean = |n: Option<f64>, n_not_checked: usize, grade: Grade| {
            let verdict = of(&[], n, n_not_checked, Some(2), grade, &usual);
            let is_sound = verdict.kind == Kind::NothingFound;
            assert_eq!(is_sound, verdict.doubts.is_empty());
            let said: Vec<String> = verdict.doubts.iter().map(Shortfall::to_string).collect();
            said.join("; ")
        };
        assert_eq!(clean(Some(10.0), 0, Grade::B), "");
        assert_eq!(
            clean(Some(9.0), 1, Grade::C),
            "9 of the 10 engagements that are needed; \
             1 check could not be made; the log is of grade C, B or better is needed"
        );
        assert_eq!(
            clean(None, 3, Grade::A),
            "how often the clutch was commanded is not known; 3 checks could not be made"
        );
        // By limits of one's own.
        let own = VerdictLimits {
            least_engagements: 9,
            least_trust: 0.4,
            ..usual
        };
        let verdict = of(&[], Some(9.0), 0, Some(2), Grade::C, &own);
        assert_eq!(verdict.kind, Kind::NothingFound);
    }

    #[test]
    fn the_gravest_finding_sets_the_deadline() {
        let own = VerdictLimits {
            act_days: 7,
            act_km: 100.0,
            ..VerdictLimits::default()
        };
        let deadline =
            |findings: &[Finding]| of(findings, Some(40.0), 0, Some(2), Grade::A, &own).deadline();
        let soon = finding(FindingId::Judder, Severity::LookSoon);
        let act = finding(FindingId::OilLoss, Severity::Act);
        let (days, km) = (7, 100.0);
        assert_eq!(
            deadline(&[soon.clone(), act]),
            Some(Deadline::Within { days, km })
        );
        let (days, km) = (90, 3000.0);
        assert_eq!(deadline(&[soon]), Some(Deadline::Within { days, km }));
        assert_eq!(deadline(&[]), None);
        let stop = finding(FindingId::DoesNotGrip, Severity::Stop);
        assert_eq!(deadline(&[stop]), Some(Deadline::Now));
    }
}
