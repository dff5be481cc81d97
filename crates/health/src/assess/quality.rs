//! How far the log can be trusted: its coverage, its grade, and the noise floor of its slip.

use halfshaft_driveline::Learned;
use halfshaft_driveline::row::mean_noise;
use halfshaft_model::channel::name;

use super::Health;
use crate::limits::Trust;
use crate::nouns::{ChannelQuality, Grade, NoiseFloor, Quality};
use crate::reason::Reason;
use crate::ripple::Ripple;
use crate::trust::Gate;

/// How well the log has the rear wheels.
#[derive(Clone, Copy, Debug)]
pub(super) struct RearWheels {
    /// Share of the drive that both cover.
    pub(super) coverage: f64,
    /// Period of the slower one, s.
    pub(super) period_s: Option<f64>,
    /// 1 where their samples come quickly enough, less in proportion.
    pub(super) resolution: f64,
}

impl RearWheels {
    pub(super) fn of(channels: &[ChannelQuality], limits: &Trust) -> RearWheels {
        let wheels: Vec<_> = [name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT]
            .iter()
            .filter_map(|name| channels.iter().find(|channel| channel.name == *name))
            .collect();
        let coverage = match wheels.as_slice() {
            [left, right] => left.coverage.min(right.coverage),
            _ => 0.0,
        };
        let periods = wheels.iter().filter_map(|wheel| wheel.period_s);
        let period_s = periods.reduce(f64::max);
        RearWheels {
            coverage,
            period_s,
            resolution: period_s
                .map_or(0.0, |period_s| (limits.sharp_period_s / period_s).min(1.0)),
        }
    }
}

impl Health {
    pub(super) fn quality(
        &self,
        learned: &Learned,
        gate: &Gate,
        wheels: RearWheels,
        ripple: &Result<Option<Ripple>, Reason>,
    ) -> Quality {
        let channels = self.board.coverage.channels();
        let (gaps, n_gaps) = self.board.coverage.gaps();
        let mut factors = vec![
            (
                wheels.coverage,
                format!(
                    "the rear wheel speeds cover {:.0} % of the drive",
                    100.0 * wheels.coverage
                ),
            ),
            (
                wheels.resolution,
                "the rear wheel speeds come slowly".to_owned(),
            ),
        ];
        for channel in &channels {
            let matters = channel.name.starts_with("clutch.") && channel.n_samples > 0;
            if matters {
                let text = format!(
                    "{} covers {:.0} % of the drive",
                    channel.name,
                    100.0 * channel.coverage
                );
                factors.push((channel.coverage, text));
            }
        }
        factors.extend(self.exercised(learned, gate));
        if let Ok(Some(ripple)) = ripple {
            let text = format!(
                "a wheel speed ripples {} ({} rear, {:.1} % of its speed), and slip and heat with it",
                ripple.rhythm(),
                ripple.side(),
                100.0 * ripple.share
            );
            factors.push((self.limits.trust.rippling_wheel, text));
        }
        let (factor, words) = factors
            .into_iter()
            .min_by(|one, other| one.0.total_cmp(&other.0))
            .unwrap_or((0.0, String::new()));
        let worst_factor = match factor {
            _ if factor >= 0.99 => "none stands out, every factor is 0.99 or better".to_owned(),
            _ => words,
        };
        Quality {
            grade: Grade::of(factor),
            worst_factor,
            channels,
            gaps,
            n_gaps,
        }
    }

    /// Factors of what the log shows at all: as many samples as the map promises, enough
    /// driving, enough engagements, wheels that can be believed.
    fn exercised(&self, learned: &Learned, gate: &Gate) -> Vec<(f64, String)> {
        let limits = &self.limits.trust;
        let mut factors = Vec::new();
        let duration_s = self.board.coverage.duration_s().max(1e-9);
        let qualities = self.board.coverage.channels();
        for (index, (spec, quality)) in self.channels.iter().zip(&qualities).enumerate() {
            let is_rear = spec.name.starts_with("wheel.rear.");
            if is_rear && quality.n_samples > 0 {
                // Without one sample two steps are not what they were: before it and behind it.
                let lost = self.board.coverage.share_lost(index);
                let text = format!(
                    "{:.0} % of the samples of {} are lost between others",
                    100.0 * lost,
                    spec.name
                );
                factors.push((1.0 - self.limits.grades.per_lost_sample * lost, text));
            }
            if let Some(period_s) = spec.period_s.filter(|_| is_rear && quality.n_samples > 0) {
                let share = quality.n_samples as f64 * period_s / duration_s;
                let text = format!(
                    "{} came {:.0} % as often as the map states",
                    spec.name,
                    100.0 * share
                );
                factors.push((share.min(1.0), text));
            }
        }
        let motion = self.board.sums.motion.ask(gate).ok();
        let minutes = motion.map_or(0.0, |motion| motion.moving_s / 60.0);
        factors.push((
            (minutes / limits.enough_moving_min).min(1.0),
            format!(
                "{minutes:.1} min of driving, {} needed",
                limits.enough_moving_min
            ),
        ));
        match self.command_time(learned) {
            Ok(_) => {
                let enough = limits.enough_events;
                let (n, _) = self.board.events.engagements(gate);
                let text = format!("{n} engagements, {enough} needed");
                factors.push(((n as f64 / f64::from(enough)).min(1.0), text));
            }
            Err(reason) => factors.push((limits.unseen_command, reason.to_string())),
        }
        if let Some(ratio) = self.wrong_geometry(gate) {
            let text = format!(
                "in open bends the wheels differ {ratio:.2} times as much as the map's geometry says"
            );
            factors.push((limits.wrong_geometry, text));
        }
        let (n_passed, n_all) = self.fit;
        factors.push((
            self.fit_factor(),
            format!(
                "the values passed {n_passed} of {n_all} checks against the map and each other"
            ),
        ));
        factors.extend(of_losses(self.lost, limits));
        for (spec, of) in self.channels.iter().zip(self.board.left_out.channels()) {
            if of.drops_out(&self.limits.sensor) {
                let text = format!(
                    "{} readings of {} that no car can make are left out",
                    of.n(),
                    spec.name
                );
                factors.push((limits.doubted_wheels, text));
            }
        }
        factors
    }

    /// Noise of the slip; `None` when there was too little to learn it from.
    pub(super) fn noise_floor(&self, learned: &Learned) -> Option<NoiseFloor> {
        let basis = &self.basis;
        let slip_sd = learned.slip_sd.filter(|_| basis.slip.is_ok())?;
        Some(NoiseFloor {
            slip_sd,
            slip_step: basis.slip_step,
            smallest_slip: self.sieve.latest.map_or(0.0, |(_, noise_in_mean)| {
                mean_noise(slip_sd, noise_in_mean).max(basis.slip_step)
            }),
            n_samples: learned.n_slip_samples,
        })
    }
}

/// What frames lost by the recorder are worth, of so many that went by; `None` while they are few.
fn of_losses((n_lost, n_frames): (u64, u64), limits: &Trust) -> Option<(f64, String)> {
    let lost = n_lost as f64 / n_frames.max(1) as f64;
    let text = format!(
        "the recorder did not get {:.1} % of the frames, by its own count",
        100.0 * lost
    );
    (lost > limits.most_lost_frames).then_some((limits.lossy_log, text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_with_more_than_one_lost_frame_in_a_hundred_is_never_better_than_c() {
        let limits = Trust::default();
        assert_eq!(of_losses((0, 0), &limits), None);
        assert_eq!(of_losses((100, 10_000), &limits), None);
        let (factor, words) = of_losses((101, 10_000), &limits).unwrap();
        assert_eq!(Grade::of(factor), Grade::C);
        assert_eq!(
            words,
            "the recorder did not get 1.0 % of the frames, by its own count"
        );
    }
}
