//! Settles what was gathered into [`Results`], step by step, at any time of a drive.

use halfshaft_driveline::Learned;

use super::Health;
use super::fits::{FitKey, Fits};
use super::settled::Settled;
use super::temperatures::Beside;
use crate::actuator::sentence;
use crate::cannot_tell::{Seen, cannot_tell};
use crate::duty::{Duty, DutyInput};
use crate::figure_id::FigureId;
use crate::findings::drive::lining_area_mm2;
use crate::laps::conditions::note_conditions;
use crate::laps_to_limit::LapsToLimit;
use crate::nouns::{CannotTell, DutyPicture, Region, Regions};
use crate::outlook::{Outlook, OutlookInput, outlook};
use crate::reason::{DriveFact, Reason};
use crate::results::Results;
use crate::score_card::{CardInput, score_card};
use crate::settings;
use crate::tier::tier;
use crate::trust::{COMMAND, Gate, HEAT, MOTION, OIL, Source, on};
use crate::verdict::{Grounds, Verdict};

impl Health {
    /// What can be said so far, with what the driveline has learned by then; provisional
    /// until [`Health::finish`]. What is costly to fit may until then rest on a drive that is
    /// a little shorter.
    pub fn results(&mut self, learned: &Learned) -> Results {
        self.results_with(learned, None)
    }

    /// The same for another pack, beside the one that was logged: what the drive says of the
    /// temperatures comes from there, and the oil is warmer by what the model says.
    pub(crate) fn results_beside(&mut self, learned: &Learned, logged: &Beside) -> Results {
        self.results_with(learned, Some(logged))
    }

    fn results_with(&mut self, learned: &Learned, beside: Option<&Beside>) -> Results {
        let mut fits = std::mem::take(&mut self.fits);
        let results = Settled::new(self, learned, beside, &mut fits).results(&mut fits);
        self.fits = fits;
        results
    }

    fn region_results(&self, learned: &Learned, gate: &Gate) -> Result<Regions, Reason> {
        gate.allows(MOTION)?;
        let sums = self.sieve.regions.ask(gate)?;
        // Judged by the command, and by the state where that is not known.
        let refused = gate.allows(COMMAND).and(gate.allows(on(&[Source::State])));
        if sums.n_judged() == 0 {
            self.command_time(learned)?;
            return Err(DriveFact::CommandOrState.into());
        }
        if let Err(why @ (Reason::Swapped | Reason::TwoCars)) = refused {
            return Err(why);
        }
        let sums = sums.sums();
        let heat = sums.heat.ask(gate).ok();
        Ok(Regions {
            seconds: sums.seconds,
            joules: heat.map(|heat| heat.each_ref().map(|heat| heat.heat_j(gate.slip_sd()))),
        })
    }
}

impl Settled<'_> {
    /// Every step in its order, and all that came of it.
    fn results(mut self, fits: &mut Fits) -> Results {
        let (health, board, learned) = (self.health, &self.health.board, self.learned);
        self.judge_grip();
        self.events = board.events.events(&self.gate, self.friction_radius_m());
        self.thermal = self.temperatures(fits);
        self.add_figures();
        let severity = self.add_severity();
        let key = FitKey::of(&self.gate, health.is_finished);
        let mut laps = board.path.laps_so_far(&self.gate, fits.laps_of(key));
        let oil_life = self.add_oil_life(laps.method.is_ok());
        let laps_left = self.add_laps_left(&laps, fits);
        self.add_holding();
        let used = board.usage.outcome(&self.drive());
        self.class = used.class;
        let (findings, not_checked) = board.findings.outcome(&self.drive());
        let regions = health.region_results(learned, &self.gate);
        let gate = &self.gate;
        let strips = board.strips.outcome(gate, self.thermal.as_ref().ok());
        note_conditions(
            &mut laps,
            match gate.allows(OIL) {
                Ok(()) => &strips,
                Err(_) => &[],
            },
            &self.actuator,
            health.limits.compare.near_s,
        );
        let tier = tier(
            |name| self.seen.iter().any(|seen| seen == name),
            gate.allows(HEAT).is_ok(),
        );
        let grounds = Grounds {
            findings: &findings,
            not_checked: &not_checked,
            n_checks: crate::findings::n_checks(),
            figures: &self.figures,
            tier: &tier,
            quality: &self.quality,
        };
        Results {
            is_provisional: !health.is_finished,
            until: health.until,
            verdict: Verdict::of(&grounds, &health.limits.verdict),
            tier,
            cannot_tell: self.cannot_tell(&regions),
            noise_floor: health.noise_floor(learned),
            tyre_ratio_log: learned.tyre_ratio_log,
            actuator_sentence: self
                .actuator
                .as_ref()
                .ok()
                .map(|actuator| sentence(actuator, &health.baseline, &health.limits.actuator)),
            strips,
            assumptions: health.assumptions(learned, gate),
            limits: health.limits,
            settings_changed: settings::changed(&health.limits),
            duty_picture: self.duty_picture(),
            outlook: self.outlook(laps_left),
            score_card: score_card(&CardInput {
                baseline: &health.baseline,
                findings: &findings,
                not_checked: &not_checked,
                meters: &used.meters,
                figures: &self.figures,
                thermal: &self.thermal,
                limits: &health.limits,
            }),
            duty: self.duty(),
            apparent: board.actuator.apparent(gate),
            two_by_two: board.two_by_two.ask(gate).and_then(|watch| watch.outcome()),
            held_torque: self.held,
            laps,
            stint: board.stint.stint(gate),
            severity,
            oil_life,
            findings,
            not_checked,
            meters: used.meters,
            regions,
            trust: self.gate,
            events: self.events,
            quality: self.quality,
            class: self.class,
            calibration: self.calibration,
            figures: self.figures,
            actuator: self.actuator,
            thermal: self.thermal,
        }
    }

    fn cannot_tell(&self, regions: &Result<Regions, Reason>) -> Vec<CannotTell> {
        let (health, gate) = (self.health, &self.gate);
        let (basis, sums) = (&health.basis, &health.board.sums);
        let has_wheels = gate.allows(on(&[Source::Wheels])).is_ok();
        let no_heat = basis.heat.clone().err().map(Reason::from);
        let not_observable = Region::NotObservable as usize;
        let turning = sums.turning.ask(gate).ok();
        let (n_engagements, _) = health.board.events.engagements(gate);
        cannot_tell(&Seen {
            heat_refusal: no_heat.or_else(|| gate.allows(HEAT).err().filter(|_| has_wheels)),
            command_refusal: health.command.as_ref().err().cloned(),
            n_engagements,
            not_observable_share: regions.as_ref().ok().map(|regions| {
                regions.seconds[not_observable] / regions.seconds.iter().sum::<f64>().max(1e-9)
            }),
            wheel_period_s: self.wheels.period_s,
            torque_by_command: sums.torque_by_command_s > 0.1 * sums.with_torque_s,
            is_preload_only: basis.is_preload_only,
            tyre_refusal: self
                .calibration
                .outcome
                .clone()
                .err()
                .filter(|_| has_wheels),
            open_turn_deg: turning
                .filter(|_| basis.track_rear_m.is_some())
                .map(|turning| turning.turned_open_all_rad.to_degrees()),
            channels: self.seen.clone(),
            limits: health.limits,
        })
    }

    /// Where the heat was made, torque against slip; the refusal is that of heat where there is one.
    fn duty_picture(&self) -> Result<DutyPicture, Reason> {
        let picture = self
            .health
            .board
            .duty
            .picture(&self.gate, self.drive().span());
        picture.map_err(|why| self.gate.allows(HEAT).err().unwrap_or(why))
    }

    fn duty(&self) -> Duty {
        let health = self.health;
        health.board.cycles.outcome(DutyInput {
            gate: &self.gate,
            events: &self.events,
            area_mm2: lining_area_mm2(&health.vehicle),
            heat_kj: self.value_of(FigureId::HeatTotal),
            n_packs: health.basis.n_packs,
            distance_km: self.value_of(FigureId::Distance),
            least_km: health.limits.usage.least_km,
            life_line: health.limits.life_line,
            thermal: &self.thermal,
        })
    }

    fn outlook(&self, laps: Result<LapsToLimit, Reason>) -> Result<Outlook, Reason> {
        let health = self.health;
        outlook(OutlookInput {
            thermal: &self.thermal,
            sensor: self.drive().oil_site(),
            oil_warn_c: self.oil_warn_c(),
            heat: &health.limits.heat,
            radius_m: health.basis.radius_m,
            decay: health.board.temperature.decay(&self.gate),
            laps,
        })
    }
}
