//! Temperatures of pack, oil and housing, and what they rest on.

use halfshaft_health::thermal::{
    self, Anchor as Found, FitOutcome as Answer, Temperatures, ThermalEstimate, TracePoint,
    UnknownEstimate,
};
use halfshaft_model::Site as Place;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::macros::{stored, words};
use crate::value::{known, number_or_why, why};

/// What the model was fitted to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Anchor {
    /// To a sensor.
    Fitted,
    /// To nothing: the model alone.
    Open,
}

words! {
    /// Where a temperature is measured.
    Site of Place;
    /// In the oil.
    Oil = Place::Oil,
    /// At the housing.
    Housing = Place::Housing,
    /// Nowhere: the car works it out.
    ModelledByCar = Place::ModelledByCar,
}

stored! {
    /// Temperatures of pack, oil and housing.
    Thermal of thermal: &ThermalEstimate;
    {
        let (anchor, site, why_open) = match &thermal.anchor {
            Found::Fitted(site) => (Anchor::Fitted, Some(Site::from(*site)), None),
            Found::Open(reason) => (Anchor::Open, None, Some(why(reason))),
        };
        let (rise_k_per_kj, why_no_rise) = number_or_why(&thermal.rise_k_per_kj);
    }
    /// What the model was fitted to.
    anchor: Anchor = anchor,
    /// Where the sensor sits.
    site: Option<Site> = site,
    /// Why it was not fitted.
    why_open: Option<String> = why_open,
    /// Standard deviation of what the fit leaves.
    residual_sd_k: Option<f64> ["K"] = known(thermal.residual_sd_k),
    /// Numbers of the model.
    parameters: Vec<Parameter> = thermal.unknowns.iter().map(Parameter::of).collect(),
    /// Hottest pack.
    pack_max: Peak = Peak::of(&thermal.pack_max),
    /// Hottest oil.
    oil_max: Peak = Peak::of(&thermal.oil_max),
    /// At the end of the drive.
    end: End = End::of(&thermal.end),
    /// Time constant with which pack and oil come together.
    equalisation_s: Interval ["s"] = Interval::of(&thermal.equalisation_s),
    /// Rise of the sensor over the pack heat.
    rise_k_per_kj: Option<f64> ["K/kJ"] = rise_k_per_kj,
    /// Why there is no rise.
    why_no_rise: Option<String> = why_no_rise,
    /// What else to know.
    notes: Vec<String> = thermal.notes.clone(),
    /// The course: the hottest the pack was in each stretch, oil and housing at its end.
    trace: Vec<Moment> = thermal.trace.iter().map(Moment::of).collect(),
}

words! {
    /// What the drive says of a number of the model.
    Learned of Answer;
    /// Fitted to the drive.
    Fitted = Answer::Fitted,
    /// Default kept: the drive cannot tell.
    Held = Answer::PriorKept,
    /// At its bound: the model does not suit the drive.
    AtBound = Answer::AtBound,
}

stored! {
    /// A number of the model before and after the drive.
    Parameter of unknown: &UnknownEstimate;
    /// Stable name.
    name: String = unknown.name.to_owned(),
    /// Its unit.
    unit: String = unknown.unit.to_owned(),
    /// Before the drive.
    prior: Option<f64> = known(unknown.prior),
    /// One standard deviation of it.
    prior_sd: Option<f64> = known(unknown.prior_sd),
    /// After the drive.
    value: Option<f64> = known(unknown.value),
    /// One standard deviation of it.
    sd: Option<f64> = known(unknown.sd),
    /// What the drive says of it.
    told: Learned = unknown.outcome.into(),
}

stored! {
    /// A value with its 90 % interval.
    Interval of estimate: &thermal::Estimate;
    /// The value.
    value: Option<f64> = known(estimate.value),
    /// Lower end of the 90 % interval.
    low: Option<f64> = known(estimate.low),
    /// Upper end of the 90 % interval.
    high: Option<f64> = known(estimate.high),
}

stored! {
    /// A highest temperature.
    Peak of peak: &thermal::Peak;
    /// The temperature.
    celsius: Interval ["degC"] = Interval::of(&peak.celsius),
    /// When it was.
    time_ns: i64 ["ns"] = peak.time.0,
    /// When it was.
    time_s: f64 ["s"] = peak.time.seconds(),
}

stored! {
    /// Temperatures at one time.
    End of end: &Temperatures;
    /// Pack.
    pack_c: Option<f64> ["degC"] = known(end.pack_c),
    /// Oil.
    oil_c: Option<f64> ["degC"] = known(end.oil_c),
    /// Housing.
    housing_c: Option<f64> ["degC"] = known(end.housing_c),
}

stored! {
    /// One point of the course.
    Moment of point: &TracePoint;
    /// End of the stretch.
    time_ns: i64 ["ns"] = point.time.0,
    /// The hottest the pack was in the stretch.
    pack_c: Interval ["degC"] = Interval::of(&point.pack_c),
    /// Oil at its end.
    oil_c: Option<f64> ["degC"] = known(point.oil_c),
    /// Housing at its end.
    housing_c: Option<f64> ["degC"] = known(point.housing_c),
}
