//! The vehicle's figures: geometry, pack, limits.
//!
//! In: the facts under `vehicle`. Out: [`Vehicle`](halfshaft_model::Vehicle) but for its
//! torque sources, which need the channels and are read in `torque`. A plain figure is filled
//! in as its row in `forms` has it; here is what takes more than that. A tolerance that is
//! not stated is a default; `+/- 0 %` means exact.

use super::Check;
use crate::mistakes::MistakeCode::{RangeEmpty, Twice};
use crate::syntax::figure::{Fill, scaled};
use crate::syntax::forms::{FormName, NO_PACK, RADIUS_SHARE};
use crate::syntax::slots::{Quantity, Slot};
use crate::syntax::tree::Fact;
use halfshaft_model::vehicle::Pack;
use halfshaft_model::{Dimension, Layout, Toleranced};

/// Tolerance of friction that states none. Source: none, engineering guess.
const FRICTION_SHARE: f64 = 0.2;

/// What no motor of an axle is rated outside of: V and A. Source: none, engineering guess.
const MOTOR_BELIEVED: [(Dimension, f64, f64, &str); 2] = [
    (Dimension::VOLTAGE, 3.0, 100.0, "V"),
    (Dimension::CURRENT, 0.5, 500.0, "A"),
];

/// What no final drive is outside of. Source: none, engineering guess.
const FINAL_DRIVE: (f64, f64) = (0.5, 20.0);

impl<'t> Check<'t> {
    pub(super) fn vehicle(&mut self) {
        let Some(fact) = self.top(FormName::Vehicle).next() else {
            return;
        };
        if let [Slot::Text(name, _)] = fact.slots.as_slice() {
            self.map.vehicle.name = name.clone();
        }
        for under in &fact.facts {
            match (&under.form.form().fill, under.slots.as_slice()) {
                (Some(Fill::Figure(figure)), _) => {
                    if let Some(value) = self.figure(under) {
                        (figure.fill)(&mut self.map.vehicle, value);
                    }
                }
                (Some(Fill::Text(fill)), [Slot::Text(text, _)]) => {
                    fill(&mut self.map.vehicle, text.clone());
                }
                (Some(Fill::Plain(fill)), _) => fill(&mut self.map.vehicle),
                _ => self.vehicle_fact(under),
            }
        }
        self.oil_limit_above_warning(fact);
        if let (None, Some([Slot::Tyre(radius)])) = (
            self.map.vehicle.rolling_radius_m,
            fact.slots_of(FormName::Tyre),
        ) {
            let (value, sd) = (*radius, radius * RADIUS_SHARE);
            self.map.vehicle.rolling_radius_m = Some(Toleranced { value, sd });
        }
        self.pack(fact);
        self.break_away(fact);
    }

    fn vehicle_fact(&mut self, fact: &'t Fact) {
        match (fact.form, fact.slots.as_slice()) {
            (FormName::FinalDrive, [Slot::Number(ratio, span)]) => {
                let (low, high) = FINAL_DRIVE;
                if (low..=high).contains(ratio) {
                    self.map.vehicle.final_ratio = Some(*ratio);
                } else if *ratio > 0.0 {
                    let message =
                        format!("a final drive ratio of {ratio}, expected {low} to {high}");
                    self.mistake(*span, RangeEmpty, message);
                } else {
                    self.not_above_zero(*span, "a final drive ratio");
                }
            }
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
            (FormName::Faces, [Slot::Integer(n, span)]) => {
                if !(1..=200).contains(n) {
                    self.mistake(*span, RangeEmpty, "a pack has 1 to 200 faces");
                }
                self.map.vehicle.pack.get_or_insert(NO_PACK).n_faces = *n as u32;
            }
            (FormName::Friction, [Slot::Ratio(value, tolerance, span)]) => {
                if *value <= 0.0 || *value > 2.0 {
                    let message = "a coefficient of friction is between 0 and 2";
                    self.mistake(*span, RangeEmpty, message);
                }
                let sd = self.tolerance(*tolerance, *value, FRICTION_SHARE, Dimension::NONE);
                self.map.vehicle.pack.get_or_insert(NO_PACK).friction =
                    sd.map(|sd| Toleranced { value: *value, sd });
            }
            (FormName::MotorRated, [Slot::Quantity(quantity)]) => self.motor_rated(*quantity),
            _ => {}
        }
    }

    fn motor_rated(&mut self, quantity: Quantity) {
        let what = "what a motor is rated at";
        let dimensions = MOTOR_BELIEVED.map(|(dimension, ..)| dimension);
        let Some(value) = self.si(quantity, &dimensions, what) else {
            return;
        };
        if value <= 0.0 {
            return self.not_above_zero(quantity.span, what);
        }
        let is_voltage = quantity.unit.dimension == Dimension::VOLTAGE;
        let (_, low, high, unit) = MOTOR_BELIEVED[usize::from(!is_voltage)];
        let vehicle = &mut self.map.vehicle;
        let rating = match is_voltage {
            true => &mut vehicle.motor_voltage_v,
            false => &mut vehicle.motor_current_a,
        };
        if rating.replace(value).is_some() {
            self.mistake(quantity.span, Twice, "this rating is stated twice");
        }
        self.believed(quantity, what, (low, high, unit));
    }

    fn oil_limit_above_warning(&mut self, vehicle: &'t Fact) {
        let limits = self
            .map
            .vehicle
            .oil_warn_c
            .zip(self.map.vehicle.oil_limit_c);
        if let Some(quantity) = vehicle.quantity(FormName::OilLimit)
            && let Some((warn_c, limit_c)) = limits.filter(|(warn_c, limit_c)| limit_c < warn_c)
        {
            let message =
                format!("the oil's limit, {limit_c} degC, is below its warning, {warn_c} degC");
            self.mistake(quantity.span, RangeEmpty, message);
        }
    }

    /// Drops a pack that is described in part.
    fn pack(&mut self, vehicle: &'t Fact) {
        let needed = [
            FormName::Faces,
            FormName::OuterRadius,
            FormName::InnerRadius,
        ];
        let others = [FormName::GrooveShare, FormName::Friction];
        let is_stated = |form: &FormName| vehicle.states(*form);
        if !needed.iter().all(is_stated) {
            self.map.vehicle.pack = None;
            if needed.iter().chain(&others).any(is_stated) {
                self.missing(
                    vehicle,
                    "the pack is described in part: `faces`, `outer radius` and `inner radius` are all needed",
                    "state all three, or none of the pack",
                );
            }
            return;
        }
        // A radius that was refused has its own mistake.
        let is_sound = |pack: &Pack| pack.outer_radius_m > 0.0 && pack.inner_radius_m > 0.0;
        self.map.vehicle.pack = self.map.vehicle.pack.filter(is_sound);
        if let (Some(pack), Some(inner)) = (
            self.map.vehicle.pack,
            vehicle.quantity(FormName::InnerRadius),
        ) && pack.inner_radius_m >= pack.outer_radius_m
        {
            let message = "the inner radius must be smaller than the outer one";
            self.mistake(inner.span, RangeEmpty, message);
        }
    }

    /// Preload from a break-away torque at one wheel.
    ///
    /// Derived: the gearbox is in neutral, so the case takes no torque and both shafts
    /// carry the same torque T with opposite signs; the other wheel is held. The axle
    /// bias is then T − (−T) = 2·T, and one pack carries 2·T / bias factor. Bearing and
    /// gear drag is in T as well, so the figure is an upper one.
    fn break_away(&mut self, vehicle: &'t Fact) {
        let stated = self
            .map
            .vehicle
            .preload_nm
            .filter(|_| vehicle.states(FormName::BreakAway));
        let Some(torque) = stated else { return };
        let factor = self.map.vehicle.layout.and_then(Layout::bias_factor);
        let factor = factor.filter(|factor| *factor != 0.0);
        self.map.vehicle.preload_nm = factor.map(|factor| scaled(torque, 2.0 / factor));
        if factor.is_none() {
            self.missing(
                vehicle,
                "a break-away torque gives the preload only when the place of the clutch is stated",
                "write `clutch between case and one side gear` or where else it sits",
            );
        }
    }
}
