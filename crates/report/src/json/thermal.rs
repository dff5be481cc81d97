//! Temperatures of pack, oil and housing, and what they rest on.

use super::records::known;
use halfshaft_health::Reason;
use halfshaft_health::thermal::{
    Anchor, Estimate, Peak, Temperatures, ThermalEstimate, Told, TracePoint, UnknownEstimate,
};
use halfshaft_model::Site;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct ThermalJson<'a> {
    anchor: &'static str,
    site: Option<&'static str>,
    why_open: Option<String>,
    residual_sd_k: Option<f64>,
    parameters: Vec<ParameterJson>,
    pack_max: PeakJson,
    oil_max: PeakJson,
    end: EndJson,
    equalisation_s: BandJson,
    rise_k_per_kj: Option<f64>,
    why_no_rise: Option<String>,
    notes: &'a [String],
    trace: Vec<PointJson>,
}

impl<'a> ThermalJson<'a> {
    pub fn of(thermal: &'a ThermalEstimate) -> ThermalJson<'a> {
        let (anchor, site, why_open) = match &thermal.anchor {
            Anchor::Fitted(site) => ("fitted", Some(site_word(*site)), None),
            Anchor::Open(why) => ("open", None, Some(Reason::from(why.clone()).to_string())),
        };
        let rise_k_per_kj = known(thermal.rise_k_per_kj.as_ref().ok().copied());
        ThermalJson {
            anchor,
            site,
            why_open,
            residual_sd_k: known(thermal.residual_sd_k),
            parameters: thermal.unknowns.iter().map(ParameterJson::of).collect(),
            pack_max: PeakJson::of(&thermal.pack_max),
            oil_max: PeakJson::of(&thermal.oil_max),
            end: EndJson::of(&thermal.end),
            equalisation_s: BandJson::of(&thermal.equalisation_s),
            rise_k_per_kj,
            why_no_rise: match &thermal.rise_k_per_kj {
                Err(why) => Some(Reason::from(why.clone()).to_string()),
                Ok(_) => rise_k_per_kj
                    .is_none()
                    .then(|| crate::words::NOT_FINITE.to_owned()),
            },
            notes: &thermal.notes,
            trace: thermal.trace.iter().map(PointJson::of).collect(),
        }
    }
}

fn site_word(site: Site) -> &'static str {
    match site {
        Site::Oil => "oil",
        Site::Housing => "housing",
        Site::ModelledByCar => "modelled-by-car",
    }
}

#[derive(Serialize)]
struct ParameterJson {
    name: &'static str,
    unit: &'static str,
    prior: Option<f64>,
    prior_sd: Option<f64>,
    value: Option<f64>,
    sd: Option<f64>,
    told: &'static str,
}

impl ParameterJson {
    fn of(unknown: &UnknownEstimate) -> ParameterJson {
        ParameterJson {
            name: unknown.name,
            unit: unknown.unit,
            prior: known(unknown.prior),
            prior_sd: known(unknown.prior_sd),
            value: known(unknown.value),
            sd: known(unknown.sd),
            told: match unknown.told {
                Told::Fitted => "fitted",
                Told::Held => "held",
                Told::AtBound => "at-bound",
            },
        }
    }
}

#[derive(Serialize)]
struct BandJson {
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

impl BandJson {
    fn of(estimate: &Estimate) -> BandJson {
        BandJson {
            value: known(estimate.value),
            low: known(estimate.low),
            high: known(estimate.high),
        }
    }
}

#[derive(Serialize)]
struct PeakJson {
    celsius: BandJson,
    time_ns: i64,
    time_s: f64,
}

impl PeakJson {
    fn of(peak: &Peak) -> PeakJson {
        PeakJson {
            celsius: BandJson::of(&peak.celsius),
            time_ns: peak.time.0,
            time_s: peak.time.seconds(),
        }
    }
}

#[derive(Serialize)]
struct EndJson {
    pack_c: Option<f64>,
    oil_c: Option<f64>,
    housing_c: Option<f64>,
}

impl EndJson {
    fn of(end: &Temperatures) -> EndJson {
        EndJson {
            pack_c: known(end.pack_c),
            oil_c: known(end.oil_c),
            housing_c: known(end.housing_c),
        }
    }
}

#[derive(Serialize)]
struct PointJson {
    time_ns: i64,
    pack_c: BandJson,
    oil_c: Option<f64>,
    housing_c: Option<f64>,
}

impl PointJson {
    fn of(point: &TracePoint) -> PointJson {
        PointJson {
            time_ns: point.time.0,
            pack_c: BandJson::of(&point.pack_c),
            oil_c: known(point.oil_c),
            housing_c: known(point.housing_c),
        }
    }
}
