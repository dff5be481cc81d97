//! The vehicle's figures: geometry, pack, limits.
//!
//! In: the facts under `vehicle`. Out: [`Vehicle`] but for its torque sources, which
//! need the channels and are read in `torque`. A tolerance that is not stated is one of
//! the defaults below; `+/- 0 %` says exact.

use super::Check;
use crate::mistakes::MistakeCode;
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Quantity, Slot, Tolerance};
use crate::syntax::tree::Fact;
use halfshaft_model::vehicle::Pack;
use halfshaft_model::{Dimension, Layout, Toleranced, Unit};

/// Tolerance of a rolling radius that states none, as a share: tyre wear and pressure.
/// Source: none, engineering guess. It scales heat of wheel speeds in km/h alike.
const RADIUS_SHARE: f64 = 0.02;
/// Tolerance of friction that states none. Source: none, engineering guess.
const FRICTION_SHARE: f64 = 0.2;
/// Tolerance of a preload that states none. Source: none, engineering guess.
const PRELOAD_SHARE: f64 = 0.15;

/// What no road car's axle is outside of, SI, and the unit it is told in: a digit too many or
/// another unit than was meant. A car at the edge of it would be the first. Source: none,
/// engineering guess.
const BELIEVED: &[(FormName, &str, (f64, f64), &str)] = &[
    (FormName::RearTrack, "a track", (0.5, 3.0), "m"),
    (FormName::FrontTrack, "a track", (0.5, 3.0), "m"),
    (FormName::RollingRadius, "a rolling radius", (0.1, 1.0), "m"),
    (FormName::RollOut, "a roll-out", (0.6, 6.3), "m"),
    (FormName::Mass, "a mass", (100.0, 40_000.0), "kg"),
    (
        FormName::TyreStiffness,
        "a tyre's stiffness",
        (1e3, 2e6),
        "kN",
    ),
    (FormName::Preload, "a preload", (0.0, 5000.0), "N.m"),
    (
        FormName::BreakAway,
        "a break-away torque",
        (0.0, 5000.0),
        "N.m",
    ),
    (FormName::OuterRadius, "an outer radius", (0.01, 0.3), "mm"),
    (FormName::InnerRadius, "an inner radius", (0.005, 0.3), "mm"),
    (
        FormName::OilQuantity,
        "a quantity of oil",
        (5e-5, 0.02),
        "l",
    ),
    (
        FormName::OilWarn,
        "an oil temperature",
        (40.0, 250.0),
        "degC",
    ),
    (
        FormName::OilLimit,
        "an oil temperature",
        (40.0, 250.0),
        "degC",
    ),
    (
        FormName::MotorResistance,
        "a resistance",
        (1e-3, 100.0),
        "ohm",
    ),
    (FormName::RatedRise, "a rise time", (0.005, 5.0), "s"),
];

/// The same of the ratings of a motor, V and A.
const MOTOR_BELIEVED: [(Dimension, (f64, f64), &str); 2] = [
    (Dimension::VOLTAGE, (3.0, 100.0), "V"),
    (Dimension::CURRENT, (0.5, 500.0), "A"),
];

/// The same of a final drive.
const FINAL_DRIVE: (f64, f64) = (0.5, 20.0);

impl<'t> Check<'t> {
    pub(super) fn vehicle(&mut self) {
        let Some(fact) = self.top(FormName::Vehicle).next() else {
            return;
        };
        if let [Slot::Text(name, _)] = fact.slots.as_slice() {
            self.map.vehicle.name = name.clone();
        }
        let mut from_size = None;
        for under in &fact.facts {
            self.vehicle_fact(under, &mut from_size);
            self.believed(under);
        }
        self.oil_limit_above_warning(fact);
        if self.map.vehicle.rolling_radius_m.is_none() {
            self.map.vehicle.rolling_radius_m = from_size;
        }
        self.pack(fact);
        self.break_away(fact);
    }

    /// Refuses what no axle can have.
    fn believed(&mut self, fact: &Fact) {
        let [Slot::Quantity(q) | Slot::Measure(q, _)] = fact.slots.as_slice() else {
            return;
        };
        let of_motor = || {
            let (_, range, unit) = MOTOR_BELIEVED
                .iter()
                .find(|(dimension, ..)| *dimension == q.unit.dimension)?;
            Some(("what a motor is rated at", *range, *unit))
        };
        let found = match fact.form {
            FormName::MotorRated => of_motor(),
            form => BELIEVED
                .iter()
                .find(|(known, ..)| *known == form)
                .map(|(_, what, range, unit)| (*what, *range, *unit)),
        };
        if let Some((what, range, unit)) = found {
            self.within(*q, what, range, unit);
        }
    }

    /// A mistake unless a quantity lies in a range, SI; told in `unit`.
    fn within(&mut self, q: Quantity, what: &str, (low, high): (f64, f64), unit: &str) {
        let Some(unit) = Unit::find(unit).filter(|unit| unit.dimension == q.unit.dimension) else {
            return;
        };
        let si = q.unit.to_si(q.value);
        // At or below zero has its own words.
        if si <= 0.0 || (low..=high).contains(&si) {
            return;
        }
        let shown = |si: f64| (unit.from_si(si) * 1e6).round() / 1e6;
        self.gathered.mistake(
            q.span,
            MistakeCode::RangeEmpty,
            format!(
                "{what} of {} {}, wanted {} to {} {}: another unit, or a digit too many?",
                q.value,
                q.unit.symbol,
                shown(low),
                shown(high),
                unit.symbol
            ),
        );
    }

    fn oil_limit_above_warning(&mut self, vehicle: &'t Fact) {
        let (Some(warn_c), Some(limit_c)) =
            (self.map.vehicle.oil_warn_c, self.map.vehicle.oil_limit_c)
        else {
            return;
        };
        if let Some([Slot::Quantity(q)]) = vehicle.slots_of(FormName::OilLimit)
            && limit_c < warn_c
        {
            self.gathered.mistake(
                q.span,
                MistakeCode::RangeEmpty,
                format!("the oil's limit, {limit_c} degC, is below its warning, {warn_c} degC"),
            );
        }
    }

    fn vehicle_fact(&mut self, fact: &'t Fact, from_size: &mut Option<Toleranced>) {
        match (fact.form, fact.slots.as_slice()) {
            (FormName::AxleUnit, [Slot::Text(name, _)]) => {
                self.map.vehicle.unit = Some(name.clone())
            }
            (FormName::RearTrack, [Slot::Measure(value, tolerance)]) => {
                self.map.vehicle.track_rear_m =
                    self.measure(*value, *tolerance, Dimension::LENGTH, "a track", 0.0);
            }
            (FormName::FrontTrack, [Slot::Measure(value, tolerance)]) => {
                self.map.vehicle.track_front_m =
                    self.measure(*value, *tolerance, Dimension::LENGTH, "a track", 0.0);
            }
            (FormName::RollingRadius, [Slot::Measure(value, tolerance)]) => {
                let radius = self.measure(
                    *value,
                    *tolerance,
                    Dimension::LENGTH,
                    "a rolling radius",
                    RADIUS_SHARE,
                );
                self.map.vehicle.rolling_radius_m = radius;
            }
            (FormName::RollOut, [Slot::Measure(value, tolerance)]) => {
                let length = self.measure(
                    *value,
                    *tolerance,
                    Dimension::LENGTH,
                    "a roll-out",
                    RADIUS_SHARE,
                );
                // One turn of the wheel rolls out 2πr.
                self.map.vehicle.rolling_radius_m =
                    length.map(|length| scaled(length, 1.0 / std::f64::consts::TAU));
            }
            (FormName::Tyre, [Slot::Tyre(radius)]) => {
                *from_size = Some(Toleranced {
                    value: *radius,
                    sd: radius * RADIUS_SHARE,
                })
            }
            (FormName::FinalDrive, [Slot::Number(ratio, span)]) => {
                if (FINAL_DRIVE.0..=FINAL_DRIVE.1).contains(ratio) {
                    self.map.vehicle.final_ratio = Some(*ratio);
                } else if *ratio > 0.0 {
                    self.gathered.mistake(
                        *span,
                        MistakeCode::RangeEmpty,
                        format!(
                            "a final drive ratio of {ratio}, wanted {} to {}",
                            FINAL_DRIVE.0, FINAL_DRIVE.1
                        ),
                    );
                } else {
                    self.gathered.mistake(
                        *span,
                        MistakeCode::RangeEmpty,
                        "a final drive ratio must be above zero",
                    );
                }
            }
            (FormName::Mass, [Slot::Quantity(q)]) => {
                self.map.vehicle.mass_kg = self.positive(*q, Dimension::MASS, "a mass")
            }
            (FormName::TyreStiffness, [Slot::Quantity(q)]) => {
                self.map.vehicle.tyre_stiffness_n = self.positive(
                    *q,
                    Dimension::FORCE,
                    "a tyre's stiffness (per unit of slip)",
                );
            }
            (FormName::ClutchOneSide | FormName::ClutchLeft | FormName::ClutchRight, _) => {
                self.map.vehicle.layout = Some(Layout::CaseToOneSide);
            }
            (FormName::ClutchBothSides, _) => {
                self.map.vehicle.layout = Some(Layout::CaseToBothSides)
            }
            (FormName::ClutchShafts, _) => self.map.vehicle.layout = Some(Layout::ShaftToShaft),
            (FormName::ClutchGeared, _) => {
                let number = |form| match fact.slots_of(form) {
                    Some([Slot::Number(number, _)]) => Some(*number),
                    _ => None,
                };
                self.map.vehicle.layout = Some(Layout::Geared {
                    per_difference: number(FormName::SlipPerDifference),
                    per_case: number(FormName::SlipPerCase),
                    bias_factor: number(FormName::BiasPerTorque),
                });
            }
            (FormName::Friction, [Slot::Ratio(value, _, span)])
                if (*value <= 0.0 || *value > 2.0) =>
            {
                self.gathered.mistake(
                    *span,
                    MistakeCode::RangeEmpty,
                    "a coefficient of friction is between 0 and 2",
                );
            }
            (FormName::Preload, [Slot::Measure(value, tolerance)]) => {
                self.map.vehicle.preload_nm = self.measure(
                    *value,
                    *tolerance,
                    Dimension::TORQUE,
                    "a preload",
                    PRELOAD_SHARE,
                );
            }
            (FormName::OilQuantity, [Slot::Quantity(q)]) => {
                self.map.vehicle.oil_volume_m3 =
                    self.positive(*q, Dimension::VOLUME, "a quantity of oil");
            }
            (FormName::OilNamed, [Slot::Text(name, _)]) => {
                self.map.vehicle.oil_name = Some(name.clone())
            }
            (FormName::OilWarn, [Slot::Quantity(q)]) => {
                self.map.vehicle.oil_warn_c =
                    self.si(*q, &[Dimension::TEMPERATURE], "an oil temperature");
            }
            (FormName::OilLimit, [Slot::Quantity(q)]) => {
                self.map.vehicle.oil_limit_c =
                    self.si(*q, &[Dimension::TEMPERATURE], "an oil temperature");
            }
            (FormName::MotorRated, [Slot::Quantity(q)]) => self.motor_rated(*q),
            (FormName::MotorResistance, [Slot::Quantity(q)]) => {
                self.map.vehicle.motor_resistance_ohm =
                    self.positive(*q, Dimension::RESISTANCE, "a resistance");
            }
            (FormName::RatedRise, [Slot::Quantity(q)]) => {
                self.map.vehicle.rated_rise_s = self.positive(*q, Dimension::TIME, "a rise time");
            }
            _ => {}
        }
    }

    fn motor_rated(&mut self, quantity: Quantity) {
        let what = "what a motor is rated at";
        let Some(value) = self.si(quantity, &[Dimension::VOLTAGE, Dimension::CURRENT], what) else {
            return;
        };
        if value <= 0.0 {
            self.gathered.mistake(
                quantity.span,
                MistakeCode::RangeEmpty,
                format!("{what} must be above zero"),
            );
            return;
        }
        let vehicle = &mut self.map.vehicle;
        let place = if quantity.unit.dimension == Dimension::VOLTAGE {
            &mut vehicle.motor_voltage_v
        } else {
            &mut vehicle.motor_current_a
        };
        if place.replace(value).is_some() {
            self.gathered.mistake(
                quantity.span,
                MistakeCode::Twice,
                "this rating is stated twice",
            );
        }
    }

    /// A value above zero with its tolerance, in SI.
    fn measure(
        &mut self,
        value: Quantity,
        tolerance: Option<Tolerance>,
        wanted: Dimension,
        what: &str,
        default_share: f64,
    ) -> Option<Toleranced> {
        let si = self.si(value, &[wanted], what)?;
        // A preload may be none at all; a length may not.
        if si < 0.0 || (si == 0.0 && wanted == Dimension::LENGTH) {
            self.gathered.mistake(
                value.span,
                MistakeCode::RangeEmpty,
                format!("{what} must be above zero"),
            );
            return None;
        }
        let sd = match tolerance {
            None => si * default_share,
            Some(Tolerance::Share(share)) => si * share,
            Some(Tolerance::Number(number)) => number,
            Some(Tolerance::Quantity(q)) => {
                if !self.fits(q, &[wanted], "the tolerance") {
                    return None;
                }
                q.unit.difference_to_si(q.value)
            }
        };
        Some(Toleranced { value: si, sd })
    }

    fn pack(&mut self, vehicle: &'t Fact) {
        let faces = match vehicle.slots_of(FormName::Faces) {
            Some([Slot::Integer(n, span)]) => {
                if *n == 0 || *n > 200 {
                    self.gathered.mistake(
                        *span,
                        MistakeCode::RangeEmpty,
                        "a pack has 1 to 200 faces",
                    );
                }
                Some(*n as u32)
            }
            _ => None,
        };
        let mut radius = |form, what: &str| match vehicle.slots_of(form) {
            Some([Slot::Quantity(q)]) => Some((self.positive(*q, Dimension::LENGTH, what), q.span)),
            _ => None,
        };
        let outer = radius(FormName::OuterRadius, "an outer radius");
        let inner = radius(FormName::InnerRadius, "an inner radius");
        let groove_share = match vehicle.slots_of(FormName::GrooveShare) {
            Some([Slot::Quantity(q)]) => {
                let share = self.si(*q, &[Dimension::NONE], "a share").unwrap_or(0.0);
                if !(0.0..1.0).contains(&share) {
                    self.gathered.mistake(
                        q.span,
                        MistakeCode::RangeEmpty,
                        "a share of grooves is at least 0 and below 100 %",
                    );
                }
                Some(share)
            }
            _ => None,
        };
        let friction = match vehicle.slots_of(FormName::Friction) {
            Some([Slot::Ratio(value, tolerance, _)]) => {
                let sd = match tolerance {
                    Some(Tolerance::Share(share)) => value * share,
                    Some(Tolerance::Number(sd)) => *sd,
                    Some(Tolerance::Quantity(q)) => self
                        .si(*q, &[Dimension::NONE], "the tolerance")
                        .unwrap_or(0.0),
                    None => value * FRICTION_SHARE,
                };
                Some(Toleranced { value: *value, sd })
            }
            _ => None,
        };
        let any = faces.is_some()
            || outer.is_some()
            || inner.is_some()
            || groove_share.is_some()
            || friction.is_some();
        let (Some(n_faces), Some((outer, _)), Some((inner, inner_span))) = (faces, outer, inner)
        else {
            if any {
                self.missing(
                    vehicle,
                    "the pack is described in part: `faces`, `outer radius` and `inner radius` are all needed".to_owned(),
                    "state all three, or none of the pack",
                );
            }
            return;
        };
        let (Some(outer_radius_m), Some(inner_radius_m)) = (outer, inner) else {
            return;
        };
        if inner_radius_m >= outer_radius_m {
            self.gathered.mistake(
                inner_span,
                MistakeCode::RangeEmpty,
                "the inner radius must be smaller than the outer one",
            );
        }
        self.map.vehicle.pack = Some(Pack {
            n_faces,
            outer_radius_m,
            inner_radius_m,
            groove_share: groove_share.unwrap_or(0.0),
            friction,
        });
    }

    /// Preload from a break-away torque at one wheel.
    ///
    /// Derived: the gearbox is in neutral, so the case takes no torque and both shafts
    /// carry the same torque T with opposite signs; the other wheel is held. The axle
    /// bias is then T − (−T) = 2·T, and one pack carries 2·T / bias factor. Bearing and
    /// gear drag is in T as well, so the figure is an upper one.
    fn break_away(&mut self, vehicle: &'t Fact) {
        let Some([Slot::Measure(value, tolerance)]) = vehicle.slots_of(FormName::BreakAway) else {
            return;
        };
        let torque = self.measure(
            *value,
            *tolerance,
            Dimension::TORQUE,
            "a break-away torque",
            PRELOAD_SHARE,
        );
        let Some(torque) = torque else { return };
        match self
            .map
            .vehicle
            .layout
            .and_then(Layout::bias_factor)
            .filter(|factor| *factor != 0.0)
        {
            Some(factor) => self.map.vehicle.preload_nm = Some(scaled(torque, 2.0 / factor)),
            None => self.missing(
                vehicle,
                "a break-away torque gives the preload only when the place of the clutch is stated"
                    .to_owned(),
                "write `clutch between case and one side gear` or where else it sits",
            ),
        }
    }
}

fn scaled(value: Toleranced, factor: f64) -> Toleranced {
    Toleranced {
        value: value.value * factor,
        sd: (value.sd * factor).abs(),
    }
}
