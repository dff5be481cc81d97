//! The temperatures of a drive: fitted to its sensor where there is one that may be
//! believed, else open with the band that the tolerances make.
//!
//! In: the drive's heat, readings of the sensor and of the air, what is known of the unit.
//! Out: [`ThermalEstimate`]. It refuses to fit a temperature that the car itself computes, a
//! drive too short, a rise too small; and where the axle power is not known it gives no share
//! of the heat, so that nobody can say "hot because of the clutch". Bands are 90 % intervals
//! by first order.

use halfshaft_model::{Site, Time};

use super::bands::{Course, View};
use super::fit::{fit, open};
use super::grid::Grid;
use super::heat_series::{HeatBin, HeatSeries, Readings};
use super::parameters::{N_PARAMETERS, Priors, ThermalParameters};
use super::prepared::Prepared;
use super::run::load;
use super::step::{Load, Temperatures};
use super::unknowns::{FitOutcome, GEAR_SHARE, Start, Unknowns, Values};
use crate::refusal::Refusal;

/// The fit works on bins at least this wide, s, and on at most so many of them: a twelfth of the
/// pack's time constant, and no sensor shows more.
const FIT_BINS: (f64, usize) = (1.0, 4096);

/// Shortest drive that is fitted, s, and least range of the sensor, K. Source: none,
/// engineering guess: the housing shows itself within minutes, and 5 K are five steps.
const LEAST_TO_FIT: (f64, f64) = (300.0, 5.0);

/// Share of the drive for which the axle power must be known.
const AXLE_KNOWN_SHARE: f64 = 0.9;

/// What the gear loss is uncertain by, beside its share, when the axle power is stood in for, on a
/// logarithmic scale.
/// Source: none, engineering guess: within a factor of three, since a hard driven car puts
/// several times through its axle what it needs to hold its speed.
const STAND_IN_RELATIVE_SD: f64 = 1.1;

/// Air without a sensor of it: °C and one standard deviation, K. Source: none, engineering guess:
/// cars are driven from −15 to 40 °C.
const ASSUMED_AIR_C: (f64, f64) = (20.0, 15.0);

/// One standard deviation of the air at the axle against the car's sensor, K. Source: none,
/// engineering guess: hot asphalt and exhaust against a bumper in the wind.
const AIR_SD_K: f64 = 2.0;

/// Time over which the present heat is meant, s.
const RECENT_S: f64 = 60.0;

/// Least pack heat for a rise per heat, J, and least rise, K.
const LEAST_FOLLOWED: (f64, f64) = (20_000.0, 5.0);

/// Least share of the axle's heat that the pack must have made for it. Source: none,
/// engineering guess: below, it is a figure of the gears, and falls as a drive goes on.
const LEAST_SHARE_FOLLOWED: f64 = 0.25;

/// What is known besides the drive's own series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// The unit.
    pub priors: Priors,
    /// Where the temperature sensor sits; `None` when there is none or the map does not state it.
    pub site: Option<Site>,
    /// Step of its number, K; 0 when not known.
    pub sensor_step_k: f64,
    /// One standard deviation of the computed pack heat common to the drive, as a share.
    pub pack_heat_relative_sd: f64,
}

/// What the temperatures rest on.
#[derive(Clone, Debug, PartialEq)]
pub enum Anchor {
    /// Fitted to a sensor there.
    Fitted(Site),
    /// The model alone, for this reason.
    Open(Refusal),
}

/// A figure with its 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
}

/// A highest temperature with its 90 % interval, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// The temperature.
    pub celsius: Estimate,
    /// When.
    pub time: Time,
}

/// One unknown after the drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnknownEstimate {
    /// What it is.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Before the drive.
    pub prior: f64,
    /// One standard deviation before, in its unit.
    pub prior_sd: f64,
    /// After the drive.
    pub value: f64,
    /// One standard deviation after, in its unit.
    pub sd: f64,
    /// Whether the drive decided it.
    pub outcome: FitOutcome,
}

/// The temperatures at one point of a plot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TracePoint {
    /// The end of the stretch it stands for.
    pub time: Time,
    /// The hottest the pack was in it, °C.
    pub pack_c: Estimate,
    /// Oil at its end, °C.
    pub oil_c: f64,
    /// Housing at its end, °C.
    pub housing_c: f64,
}

/// The temperatures of a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct ThermalEstimate {
    /// What they rest on.
    pub anchor: Anchor,
    /// The unit as estimated.
    pub parameters: ThermalParameters,
    /// Every unknown before and after; as before when nothing was fitted.
    pub unknowns: Vec<UnknownEstimate>,
    /// Standard deviation of readings about the fit, K.
    pub residual_sd_k: Option<f64>,
    /// Readings, or means of readings, that were fitted.
    pub n_readings: usize,
    /// The course of the temperatures, at most some hundred points.
    pub trace: Vec<TracePoint>,
    /// The hottest the pack was.
    pub pack_max: Peak,
    /// The hottest the oil was by the model.
    pub oil_max: Peak,
    /// The temperatures at the end.
    pub end: Temperatures,
    /// The mean load of the last minute.
    pub recent: Load,
    /// Share of the pack in all heat of the drive, or why it is not told.
    pub pack_share: Result<Estimate, Refusal>,
    /// Pack and oil come to one temperature with this time constant, s.
    pub equalisation_s: Estimate,
    /// Rise of the sensor from the start to its highest reading over the pack heat until then,
    /// K per kJ, or why it is not told. Gear heat is in it, so compare only like drives.
    pub rise_k_per_kj: Result<f64, Refusal>,
    /// Time for which the pack heat is not known, s: what follows it is "at least".
    pub pack_unknown_s: f64,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Works out the temperatures of a drive. An error when nothing can be said.
pub fn estimate(
    heat: &HeatSeries,
    sensor: &Readings,
    air: &Readings,
    given: &Given,
) -> Result<ThermalEstimate, Refusal> {
    estimate_changed(heat, sensor, air, given, None)
}

/// Another unit through the same drive.
#[derive(Clone, Copy, Debug)]
pub struct ChangedUnit<'a> {
    /// The heat of its pack, beside the same speeds and powers.
    pub heat: &'a HeatSeries,
    /// Factors on the parameters, in the order of [`super::STATED`].
    pub factors: [f64; N_PARAMETERS],
}

/// The temperatures of a changed unit: everything is fitted to the unit that was logged,
/// and what was learned is carried over. A sensor of the one says nothing of the other, so
/// the changed unit runs open from the same start, each parameter times its factor. With
/// factors of 1 and the same heat the answer is that of [`estimate`], bit for bit.
pub fn estimate_changed(
    heat: &HeatSeries,
    sensor: &Readings,
    air: &Readings,
    given: &Given,
    changed: Option<&ChangedUnit>,
) -> Result<ThermalEstimate, Refusal> {
    let bins = heat.with_open_bins();
    let sums = Sums::of(&bins);
    if sums.pack_known_s <= 0.0 {
        return Err(Refusal::NoPackHeat);
    }
    let mut notes = Vec::new();
    let air_c: Vec<(f64, f64)> = air
        .grid()
        .bins()
        .iter()
        .map(|(_, bin)| (bin.mean_s(), bin.mean_c()))
        .collect();
    let (air_c, air_sd_k) = match air_c.is_empty() {
        false => (air_c, AIR_SD_K),
        true => {
            notes.push(format!(
                "air temperature not logged: {:.0} ± {:.0} °C assumed",
                ASSUMED_AIR_C.0, ASSUMED_AIR_C.1
            ));
            (vec![(0.0, ASSUMED_AIR_C.0)], ASSUMED_AIR_C.1)
        }
    };
    let is_axle_known = sums.axle_known_s >= AXLE_KNOWN_SHARE * sums.known_s;
    let mut priors = given.priors;
    if !is_axle_known {
        priors.relative_sds[GEAR_SHARE] =
            priors.relative_sds[GEAR_SHARE].hypot(STAND_IN_RELATIVE_SD);
        notes.push(
            "axle power unknown: gear heat stands on what an ordinary car needs at that speed, \
             within a factor of three"
                .to_owned(),
        );
    }
    if sums.road_known_s <= 0.0 {
        notes.push("road speed unknown: airflow as at 15 m/s".to_owned());
    }
    // Sites are never mixed: a temperature of no known site is none.
    let none = Grid::default();
    let (site, readings) = match given.site {
        Some(site @ (Site::Oil | Site::Housing)) => (site, sensor.grid()),
        Some(Site::ModelledByCar) | None => (Site::Oil, &none),
    };
    let fine = Prepared::new(&bins, readings, &air_c);
    let unknowns = Unknowns {
        priors,
        pack_heat_relative_sd: given.pack_heat_relative_sd,
        air_sd_k,
        start: start(&fine, site, given.sensor_step_k),
    };
    let coarse = || {
        Prepared::new(
            &bins.coarse(FIT_BINS.0, FIT_BINS.1),
            &readings.coarse(FIT_BINS.0, FIT_BINS.1),
            &air_c,
        )
    };
    let fitted = refusal(&fine, given.site).map_or_else(
        || {
            let coarse = coarse();
            let fitted = fit(&coarse, &unknowns, site, given.sensor_step_k);
            fitted
                .map(|fitted| (fitted, coarse.observations.len()))
                .ok_or(Refusal::NoFit)
        },
        Err,
    );
    let (anchor, z, covariance, residual_sd_k, n_readings) = match fitted {
        Ok((fit, n_readings)) => (
            Anchor::Fitted(site),
            fit.z,
            fit.covariance,
            Some(fit.residual_sd_k),
            n_readings,
        ),
        Err(reason) => {
            let (z, covariance) = open();
            (Anchor::Open(reason), z, covariance, None, 0)
        }
    };
    let (fine, unknowns) = match changed {
        None => (fine, unknowns),
        Some(changed) => {
            let prepared = Prepared::new(&changed.heat.with_open_bins(), readings, &air_c);
            (prepared, unknowns.times(&changed.factors))
        }
    };
    let view = View {
        prepared: &fine,
        unknowns: &unknowns,
        site,
        z,
        covariance,
    };
    let values = unknowns.values(&z);
    let Course {
        trace,
        pack_max,
        oil_max,
        end,
    } = view.course();
    let pack_share = match is_axle_known {
        true => Ok(view.positive(|values| pack_share(&fine, values))),
        false => Err(Refusal::NoAxlePower),
    };
    let rise_k_per_kj = match &pack_share {
        Ok(share) if share.value < LEAST_SHARE_FOLLOWED => Err(Refusal::GearsHeat {
            pack_share: share.value,
        }),
        _ => rise_k_per_kj(&fine),
    };
    Ok(ThermalEstimate {
        anchor,
        parameters: values.parameters,
        unknowns: view.unknowns(),
        residual_sd_k,
        n_readings,
        trace,
        pack_max,
        oil_max,
        end,
        recent: recent(&fine, &values),
        pack_share,
        equalisation_s: view.positive(|values| values.parameters.equalisation_s()),
        rise_k_per_kj,
        pack_unknown_s: (sums.known_s - sums.pack_known_s).max(0.0),
        notes,
    })
}

/// Sums over the drive.
struct Sums {
    known_s: f64,
    pack_known_s: f64,
    axle_known_s: f64,
    road_known_s: f64,
}

impl Sums {
    fn of(bins: &Grid<HeatBin>) -> Sums {
        let sum = |of: fn(&HeatBin) -> f64| bins.bins().iter().map(|(_, bin)| of(bin)).sum();
        Sums {
            known_s: sum(|bin| bin.known_s),
            pack_known_s: sum(|bin| bin.pack_known_s),
            axle_known_s: sum(|bin| bin.axle_known_s),
            road_known_s: sum(|bin| bin.road_known_s),
        }
    }
}

/// Why the sensor is not fitted.
fn refusal(prepared: &Prepared, site: Option<Site>) -> Option<Refusal> {
    match site {
        None => return Some(Refusal::NoSensor),
        Some(Site::ModelledByCar) => return Some(Refusal::ModelledByCar),
        Some(Site::Oil | Site::Housing) => {}
    }
    let observations = &prepared.observations;
    let (Some(first), Some(last)) = (observations.first(), observations.last()) else {
        return Some(Refusal::NoReadingWithHeat);
    };
    let seconds = prepared.time_s(last) - prepared.time_s(first);
    if seconds < LEAST_TO_FIT.0 {
        return Some(Refusal::ShortReadings {
            found_s: seconds,
            needed_s: LEAST_TO_FIT.0,
        });
    }
    let celsius = observations.iter().map(|at| at.celsius);
    let (low, high) = celsius.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), next| {
        (low.min(next), high.max(next))
    });
    (high - low < LEAST_TO_FIT.1).then_some(Refusal::FlatReadings {
        found_k: high - low,
        needed_k: LEAST_TO_FIT.1,
    })
}

/// The start: from the sensor, or somewhat above the air without one.
fn start(prepared: &Prepared, site: Site, step_k: f64) -> Start {
    let ambient_c = prepared.stretches.first().map_or(0.0, |at| at.ambient_c);
    let Some(reading_c) = prepared.first_c() else {
        // Cold more often than not, but perhaps driven before the log began.
        return Start {
            likeliest: Temperatures::all(ambient_c + 15.0),
            oil_sd_k: 15.0,
            pack_sd_k: 5.0,
            housing_sd_k: 5.0,
        };
    };
    // A warm unit has been driven: its housing then lies between oil and air.
    let above = (reading_c - ambient_c).max(0.0);
    let (oil_c, housing_c, oil_sd_k) = match site {
        Site::Housing => (reading_c + 0.15 * above, reading_c, 1.0 + step_k),
        Site::Oil | Site::ModelledByCar => (reading_c, reading_c - 0.15 * above, 0.5 + step_k),
    };
    Start {
        likeliest: Temperatures {
            pack_c: oil_c,
            oil_c,
            housing_c,
        },
        oil_sd_k,
        pack_sd_k: 5.0,
        housing_sd_k: 2.0 + 0.15 * above,
    }
}

fn recent(prepared: &Prepared, values: &Values) -> Load {
    let mut mean = Load {
        pack_w: 0.0,
        gear_w: 0.0,
        air_flow: 0.0,
        ambient_c: 0.0,
    };
    let mut seconds = 0.0;
    for stretch in prepared.stretches.iter().rev() {
        if seconds >= RECENT_S {
            break;
        }
        let load = load(stretch, values);
        mean.pack_w += load.pack_w * stretch.seconds;
        mean.gear_w += load.gear_w * stretch.seconds;
        mean.air_flow += load.air_flow * stretch.seconds;
        mean.ambient_c += load.ambient_c * stretch.seconds;
        seconds += stretch.seconds;
    }
    Load {
        pack_w: mean.pack_w / seconds,
        gear_w: mean.gear_w / seconds,
        air_flow: mean.air_flow / seconds,
        ambient_c: mean.ambient_c / seconds,
    }
}

fn pack_share(prepared: &Prepared, values: &Values) -> f64 {
    let (mut pack, mut gear) = (0.0, 0.0);
    for stretch in &prepared.stretches {
        let load = load(stretch, values);
        pack += load.pack_w * stretch.seconds;
        gear += load.gear_w * stretch.seconds;
    }
    if pack + gear > 0.0 {
        pack / (pack + gear)
    } else {
        0.0
    }
}

fn rise_k_per_kj(prepared: &Prepared) -> Result<f64, Refusal> {
    let observations = &prepared.observations;
    let (Some(first), Some(highest)) = (
        observations.first(),
        observations.iter().reduce(|high, next| {
            if next.celsius > high.celsius {
                next
            } else {
                high
            }
        }),
    ) else {
        return Err(Refusal::NoMeasured);
    };
    let rise_k = highest.celsius - first.celsius;
    let heat_j: f64 = prepared.stretches[first.stretch..=highest.stretch]
        .iter()
        .map(|stretch| stretch.pack_w * stretch.seconds)
        .sum();
    if rise_k < LEAST_FOLLOWED.1 {
        return Err(Refusal::RoseLittle { rise_k });
    }
    if heat_j < LEAST_FOLLOWED.0 {
        return Err(Refusal::LittleHeat { heat_j });
    }
    Ok(rise_k / (heat_j / 1e3))
}
