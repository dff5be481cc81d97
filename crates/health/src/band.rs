//! How wide a figure's 90 % interval is, to first order in the map's tolerances.
//!
//! In: the vehicle and its channels. Out: relative standard deviations of what heat and
//! slip are made of. Independent parts add in squares; a part the map gives without
//! tolerance adds a usual one where leaving it out would pretend exactness.

use halfshaft_driveline::Basis;
use halfshaft_driveline::align::follows_command;
use halfshaft_driveline::derive::quantisation::product_relative_sd;
use halfshaft_model::{ChannelSpec, TorqueSource, Vehicle};

use crate::limits::{SDS_OF_90, Trust};
use crate::nouns::Estimate;
use crate::partial::Shares;

/// Relative standard deviations of the parts of slip and heat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerances {
    /// Of the pack torque.
    pub torque: f64,
    /// Of the slip: that of the rolling radius when wheels came as road speeds.
    pub slip: f64,
    /// Of the distance and of every road speed.
    pub distance: f64,
    /// The same where the map gives no tolerance.
    pub usual_radius: f64,
    /// Of the preload.
    pub preload: f64,
    /// The map states no preload: what the pack carries at rest errs as its torque does.
    pub preload_with_torque: bool,
    /// Of what a bend makes: track, rolling radius and the scale of the yaw rate.
    pub bends: f64,
}

impl Tolerances {
    /// Tolerances of a vehicle's map.
    pub fn new(
        vehicle: &Vehicle,
        channels: &[ChannelSpec],
        basis: &Basis,
        limits: &Trust,
    ) -> Tolerances {
        let radius = vehicle
            .rolling_radius_m
            .map_or(0.0, |radius| radius.relative_sd());
        let is_through_radius = channels
            .iter()
            .any(|channel| channel.through_radius && channel.name.starts_with("wheel.rear."));
        Tolerances {
            torque: torque_sd(vehicle, channels, basis),
            slip: if is_through_radius { radius } else { 0.0 },
            distance: radius,
            usual_radius: limits.usual_radius_sd,
            preload: vehicle
                .preload_nm
                .map_or(0.0, |preload| preload.relative_sd()),
            preload_with_torque: vehicle.preload_nm.is_none(),
            bends: product_relative_sd(&[
                vehicle
                    .track_rear_m
                    .map_or(0.0, |track| track.relative_sd()),
                radius,
                limits.yaw_scale_sd,
            ]),
        }
    }

    /// Half widths of the 90 % intervals that rows are judged by.
    pub fn shares(&self) -> Shares {
        // A torque at rest of the same source errs as the torque does, and the floor with it: what
        // a preload of its own may be off by comes on top.
        Shares {
            torque: SDS_OF_90 * self.torque.hypot(self.preload),
            slip: SDS_OF_90 * self.slip,
            speed: SDS_OF_90 * self.speed(),
        }
    }

    /// Relative standard deviation of a road speed.
    pub fn speed(&self) -> f64 {
        match self.distance > 0.0 {
            true => self.distance,
            false => self.usual_radius,
        }
    }

    /// Relative standard deviation of heat: torque times slip.
    pub fn heat(&self) -> f64 {
        product_relative_sd(&[self.torque, self.slip])
    }
}

/// Relative standard deviation of the torque of the source in use.
fn torque_sd(vehicle: &Vehicle, channels: &[ChannelSpec], basis: &Basis) -> f64 {
    if basis.is_preload_only {
        return vehicle
            .preload_nm
            .map_or(0.0, |preload| preload.relative_sd());
    }
    let is_decoded = |source: &&TorqueSource| {
        channels
            .iter()
            .any(|channel| channel.name == source.channel())
    };
    let mut decoded: Vec<&TorqueSource> =
        vehicle.torque_sources.iter().filter(is_decoded).collect();
    let is_by_command = |source: &&TorqueSource| {
        channels
            .iter()
            .any(|channel| channel.name == source.channel() && follows_command(channel))
    };
    decoded.sort_by_key(is_by_command);
    match decoded.first() {
        Some(
            TorqueSource::Table { relative_sd, .. } | TorqueSource::Reported { relative_sd, .. },
        ) => *relative_sd,
        Some(TorqueSource::Clamp { relative_sd, .. }) => {
            let friction = vehicle
                .pack
                .and_then(|pack| pack.friction)
                .map_or(0.0, |friction| friction.relative_sd());
            product_relative_sd(&[*relative_sd, friction])
        }
        None => 0.0,
    }
}

/// A value with a relative standard deviation.
pub fn relative(value: f64, relative_sd: f64) -> Estimate {
    absolute(value, value.abs() * relative_sd)
}

/// A value with an absolute standard deviation; the interval does not pass 0.
pub fn absolute(value: f64, sd: f64) -> Estimate {
    let half = SDS_OF_90 * sd;
    let low = if value >= 0.0 {
        (value - half).max(0.0)
    } else {
        value - half
    };
    Estimate {
        value,
        low,
        high: value + half,
        is_at_least: false,
    }
}

impl Estimate {
    /// Widens the upper end by what a gap may hide, and marks the value as a lower bound.
    pub fn hiding(mut self, hidden: f64) -> Estimate {
        if hidden > 0.0 {
            self.high += hidden;
            self.is_at_least = true;
        }
        self
    }

    /// The same in a unit `factor` of which make one of the present.
    pub fn scaled(self, factor: f64) -> Estimate {
        Estimate {
            value: self.value * factor,
            low: self.low * factor,
            high: self.high * factor,
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heat_of_a_quarter_and_a_tenth() {
        // Derived: torque ±25 %, slip ±10 %: heat ±26.9 %.
        let tolerances = Tolerances {
            torque: 0.25,
            slip: 0.10,
            distance: 0.0,
            usual_radius: 0.02,
            preload: 0.0,
            preload_with_torque: false,
            bends: 0.0,
        };
        assert!((tolerances.heat() - 0.269).abs() < 5e-4);
    }

    #[test]
    fn bands_stay_above_zero_and_gaps_open_them_upwards() {
        let estimate = absolute(1.0, 2.0);
        assert_eq!((estimate.low, estimate.high), (0.0, 1.0 + 2.0 * SDS_OF_90));
        let hiding = relative(10.0, 0.0).hiding(3.0);
        assert_eq!(
            (hiding.value, hiding.low, hiding.high, hiding.is_at_least),
            (10.0, 10.0, 13.0, true)
        );
    }
}
