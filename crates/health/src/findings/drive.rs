//! What a check may ask of the rest of the assessment, and what it must have.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, MapFact, Reason};
use halfshaft_driveline::Basis;
use halfshaft_driveline::derive::clutch_torque::net_area;
use halfshaft_driveline::held_torque::Held;
use halfshaft_driveline::thermal::ThermalEstimate;
use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Layout, Site, Span, Time, Vehicle};

use crate::Calibration;
use crate::actuator::{Actuator, Leading};
use crate::baseline::Baseline;
use crate::driving::NotDriving;
use crate::figures::{estimate_of, named};
use crate::left_out::LeftOutTally;
use crate::limits::Limits;
use crate::nouns::{Estimate, Event, Figure, Grade, Quality, UseClass};
use crate::pieces::Piece;
use crate::ripple::Ripple;
use crate::trust::{Gate, OIL, Source, Swap, on};

/// A drive as far as it has been assessed.
#[derive(Clone, Copy, Debug)]
pub struct Drive<'a> {
    /// What is believed.
    pub trust: &'a Gate,
    /// The vehicle.
    pub vehicle: &'a Vehicle,
    /// The channels of the map.
    pub channels: &'a [ChannelSpec],
    /// What the derivation rests on.
    pub basis: &'a Basis,
    /// Channels that gave a value.
    pub seen: &'a [String],
    /// The figures.
    pub figures: &'a [Figure],
    /// Events in order of time.
    pub events: &'a [Event],
    /// What the drive says of the rear tyres.
    pub calibration: &'a Calibration,
    /// Answers of the actuator, or why there are none.
    pub actuator: &'a Result<Actuator, Reason>,
    /// Moves in which the response came before the command, when most do.
    pub leading: Option<&'a Leading>,
    /// How command and state go together when that is the wrong way round over the whole drive.
    pub swap: Option<Swap>,
    /// How far apart samples of command and state lie, s, where that hides which moves first.
    pub order_hidden_by_s: Option<f64>,
    /// What the pack holds by the tyres, or why nobody can tell.
    pub held: &'a Result<Held, Reason>,
    /// Temperatures of pack, oil and housing, or why they cannot be told.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
    /// A wheel speed that ripples with the turns of its wheel, or why that cannot be told.
    pub ripple: &'a Result<Option<Ripple>, Reason>,
    /// Samples that no car can make.
    pub left_out: &'a LeftOutTally,
    /// What to compare with.
    pub baseline: &'a Baseline,
    /// The pieces the log consists of.
    pub pieces: &'a [Piece],
    /// How the car was used, or why that cannot be said.
    pub class: &'a Result<UseClass, Reason>,
    /// Coverage and grade.
    pub quality: &'a Quality,
    /// Stretches that were no driving.
    pub not_driving: &'a NotDriving,
    /// The limits it is judged by.
    pub limits: &'a Limits,
    /// Time of the latest entry.
    pub until: Time,
}

impl Drive<'_> {
    /// The figure of that name, or why there is no number.
    pub fn figure(&self, id: FigureId) -> Result<Estimate, Reason> {
        estimate_of(self.figures, id)
    }

    /// Grade of a figure, or of the log where that is worse.
    pub fn grade_of(&self, id: FigureId) -> Grade {
        named(self.figures, id)
            .and_then(|figure| figure.grade)
            .unwrap_or(Grade::D)
            .max(self.quality.grade)
    }

    /// Whether a channel gave a value.
    pub fn was_seen(&self, name: &str) -> bool {
        self.seen.iter().any(|seen| seen == name)
    }

    /// Both rear wheels, or what is missing.
    pub fn rear_wheels(&self) -> Result<(), Reason> {
        self.all_of(&[name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT])
    }

    /// All of the channels, or what is missing.
    pub fn all_of(&self, names: &[&str]) -> Result<(), Reason> {
        let missing: Vec<&str> = names
            .iter()
            .copied()
            .filter(|name| !self.was_seen(name))
            .collect();
        match missing.is_empty() {
            true => Ok(()),
            false => Err(Reason::no_value(&missing)),
        }
    }

    /// An oil temperature that can be believed, or what is missing.
    pub fn oil(&self) -> Result<(), Reason> {
        self.all_of(&[name::OIL_TEMPERATURE])?;
        self.trust.allows(OIL)
    }

    /// An air temperature that can be believed, or what is missing.
    pub fn air(&self) -> Result<(), Reason> {
        self.all_of(&[name::AMBIENT_TEMPERATURE])?;
        self.trust.allows(on(&[Source::Air]))
    }

    /// Wheel speeds without the ripple of a damaged tone ring, which reads as slip, or why
    /// what rests on slip is not judged.
    pub fn steady_wheels(&self) -> Result<(), Reason> {
        match self.ripple {
            Ok(Some(ripple)) => Err(Reason::WheelRipples {
                is_right: ripple.is_right,
            }),
            _ => Ok(()),
        }
    }

    /// Something that tells the bends, or what is missing.
    pub fn bends(&self) -> Result<(), Reason> {
        self.rear_wheels()?;
        let has_front =
            self.was_seen(name::WHEEL_FRONT_LEFT) && self.was_seen(name::WHEEL_FRONT_RIGHT);
        if !has_front && !self.was_seen(name::YAW_RATE) {
            return Err(DriveFact::Turning.into());
        }
        if self.basis.track_rear_m.is_none() || self.basis.radius_m.is_none() {
            return Err(MapFact::TrackAndRadius.into());
        }
        Ok(())
    }

    /// A road speed, or what is missing.
    pub fn road_speed(&self) -> Result<(), Reason> {
        self.rear_wheels()?;
        if self.basis.radius_m.is_none() && !self.was_seen(name::SPEED_VEHICLE) {
            return Err(MapFact::RadiusOrSpeed.into());
        }
        Ok(())
    }

    /// Where the oil temperature sits, in words.
    pub fn oil_site(&self) -> &'static str {
        let oil = self
            .channels
            .iter()
            .find(|channel| channel.name == name::OIL_TEMPERATURE);
        match oil.and_then(|channel| channel.site) {
            Some(Site::Oil) => "sensor in the oil",
            Some(Site::Housing) => "sensor in the housing, not in the oil",
            Some(Site::ModelledByCar) => "modelled by the car, not a sensor",
            None => "site of the sensor not stated",
        }
    }

    /// From the first entry to the latest.
    pub fn span(&self) -> Span {
        Span {
            start: Time(0),
            end: self.until,
        }
    }
}

/// Net lining area of all packs, mm², or what is missing.
pub fn lining_area_mm2(vehicle: &Vehicle) -> Result<f64, Reason> {
    let area = vehicle.pack.map(|pack| {
        net_area(
            f64::from(pack.n_faces),
            pack.outer_radius_m,
            pack.inner_radius_m,
            pack.groove_share,
        )
    });
    match area {
        Some(area) if area > 0.0 => Ok(area * 1e6 * vehicle.layout.map_or(1.0, Layout::n_packs)),
        _ => Err(MapFact::PackShape.into()),
    }
}
