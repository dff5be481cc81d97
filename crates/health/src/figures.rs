//! Builds the figures of the report from the sums: value, band, grade, method, or why not.
//!
//! In: what the other files summed. Out: one [`Figure`] per name, in the order of the
//! report. To add a figure add its function and its line in [`all`].

use halfshaft_driveline::smooth::{DEFINITION, WINDOWS_S};
use halfshaft_driveline::{Basis, SIGNIFICANT_SDS};

use crate::band::{Tolerances, absolute, relative};
use crate::limits::{
    COMMAND_HEAT_EXCESS, OIL_SENSOR_SD_K, SDS_OF_90, USUAL_RADIUS_SD, YAW_SCALE_SD,
};
use crate::result::{Estimate, Figure, Grade};
use crate::sums::Sums;

/// Everything the figures are made from.
#[derive(Debug)]
pub struct Ingredients<'a> {
    /// What the derivation rests on.
    pub basis: &'a Basis,
    /// Sums over the rows.
    pub sums: &'a Sums,
    /// Tolerances.
    pub tolerances: Tolerances,
    /// Noise floor of one slip sample, rad/s.
    pub slip_sd: f64,
    /// Length of the drive, s.
    pub duration_s: f64,
    /// Seconds by level of the command, or why there are none.
    pub command: Result<halfshaft_driveline::CommandTime, String>,
    /// Period of the command, s.
    pub command_period_s: f64,
    /// Engagements, and how many of them a gap breaks.
    pub engagements: (u64, u64),
    /// Highest oil temperature and where its sensor sits, or why there is none.
    pub oil: Result<(f64, &'static str), String>,
    /// Coverage of the rear wheels, 0 to 1.
    pub wheel_coverage: f64,
    /// Why there are no rows, when there are none.
    pub no_rows: Option<String>,
    /// Source of the turning rate in words, or why there is none.
    pub turning_source: Result<&'static str, String>,
    /// Why no road speed is known, when it is not.
    pub no_speed: Option<String>,
    /// Wheel samples per second are at least those of a tenth of the shortest slip.
    pub resolution: f64,
    /// Torque source in words.
    pub torque_words: String,
}

fn figure(
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    outcome: Result<Estimate, String>,
    factor: f64,
    method: String,
) -> Figure {
    let grade = outcome.is_ok().then(|| Grade::of(factor));
    Figure {
        name,
        title,
        unit,
        outcome,
        grade,
        method,
    }
}

/// All figures.
pub fn all(from: &Ingredients) -> Vec<Figure> {
    let heat = heat_total(from);
    vec![
        duration(from),
        moving_time(from),
        distance(from),
        turn_total(from),
        slip_peak(from),
        partial_by_command(from),
        partial_heat_making(from),
        engagements(from),
        heat.clone(),
        heat_peak(from),
        heat_per_km(from, &heat),
        oil_temp_max(from),
    ]
}

fn rows<'a>(from: &'a Ingredients) -> Result<&'a Sums, String> {
    from.no_rows.clone().map_or(Ok(from.sums), Err)
}

fn moving<'a>(from: &'a Ingredients) -> Result<&'a Sums, String> {
    let sums = rows(from)?;
    from.no_speed.clone().map_or(Ok(sums), Err)
}

fn duration(from: &Ingredients) -> Figure {
    let outcome = Ok(absolute(from.duration_s, 0.0));
    let method =
        "first to last entry of the log, silences of the whole log over 30 s left out".to_owned();
    figure("duration", "Length of the log", "s", outcome, 1.0, method)
}

fn moving_time(from: &Ingredients) -> Figure {
    let outcome = moving(from).map(|sums| absolute(sums.moving_s, 0.0).hiding(sums.hidden_s));
    let method = "time above 5 km/h where both rear wheels are covered".to_owned();
    figure(
        "moving_time",
        "Moving time",
        "s",
        outcome,
        from.wheel_coverage,
        method,
    )
}

fn distance(from: &Ingredients) -> Figure {
    let sd = if from.tolerances.distance > 0.0 {
        from.tolerances.distance
    } else {
        USUAL_RADIUS_SD
    };
    let outcome = moving(from).map(|sums| {
        let mean = if sums.with_speed_s > 0.0 {
            sums.distance_m / sums.with_speed_s
        } else {
            0.0
        };
        relative(sums.distance_m, sd)
            .hiding(mean * sums.hidden_s)
            .scaled(1e-3)
    });
    let method = "road speed summed over time: front wheels where they are there, else the car's speed, else the rear wheels".to_owned();
    figure(
        "distance",
        "Distance",
        "km",
        outcome,
        from.wheel_coverage,
        method,
    )
}

fn turn_total(from: &Ingredients) -> Figure {
    let outcome = moving(from).and_then(|sums| {
        from.turning_source.clone()?;
        let mean = if sums.with_yaw_s > 0.0 {
            sums.turned_rad / sums.with_yaw_s
        } else {
            0.0
        };
        Ok(relative(sums.turned_rad, YAW_SCALE_SD)
            .hiding(mean * sums.hidden_s)
            .scaled(180.0 / std::f64::consts::PI))
    });
    let source = from.turning_source.clone().unwrap_or("yaw rate");
    let radius = 1.0 / crate::sums::bend_curvature(from.basis);
    let method = format!(
        "angle turned in bends of less than {radius:.0} m radius, left and right added, from {source}"
    );
    figure(
        "turn_total",
        "Turned in bends",
        "deg",
        outcome,
        from.wheel_coverage,
        method,
    )
}

fn slip_peak(from: &Ingredients) -> Figure {
    let outcome = rows(from).and_then(|sums| {
        from.basis.slip.clone()?;
        let (peak, _) = sums.slip_peak.ok_or_else(|| {
            "no rear wheel ever turned above the speed from which differences are believed"
                .to_owned()
        })?;
        // A highest value picks the noise that points its way: only the low end moves.
        let mut estimate = relative(peak, from.tolerances.slip);
        estimate.low = (estimate.low - SIGNIFICANT_SDS * from.slip_sd).max(0.0);
        Ok(estimate)
    });
    let factor = from.wheel_coverage.min(from.resolution);
    let method = "highest slip of the pack, from the raw difference of the rear wheels, as sharp in time as the noise allows".to_owned();
    figure(
        "slip_peak",
        "Highest slip",
        "rad/s",
        outcome,
        factor,
        method,
    )
}

fn partial_by_command(from: &Ingredients) -> Figure {
    let outcome = from.command.clone().map(|time| {
        // Each engagement has two edges, each known to within one period.
        let n_edges = 2.0 * from.engagements.0 as f64;
        let sd = from.command_period_s * (n_edges / 12.0).sqrt();
        absolute(time.partial_s, sd).hiding(time.hidden_s)
    });
    let coverage = from.command.as_ref().map_or(0.0, |time| {
        let known = time.open_s + time.partial_s + time.full_s;
        known / (known + time.hidden_s).max(1e-9)
    });
    let method = "time with the command from 5 % to below 95 %, moving or not".to_owned();
    figure(
        "partial_by_command",
        "Commanded partial engagement",
        "s",
        outcome,
        coverage,
        method,
    )
}

fn partial_heat_making(from: &Ingredients) -> Figure {
    let outcome = rows(from).and_then(|sums| {
        from.basis.slip.clone()?;
        if from.basis.heat.is_err() {
            from.command
                .clone()
                .map_err(|_| "neither torque nor command is known".to_owned())?;
        }
        let [value, low, high] = sums.partial_s;
        Ok(Estimate {
            value,
            low: low.min(value),
            high: high.max(value),
            is_at_least: false,
        }
        .hiding(
            sums.hidden_s + sums.without_torque_s * f64::from(u8::from(from.basis.heat.is_ok())),
        ))
    });
    let limit = match from.basis.heat {
        Ok(()) => {
            let floor = crate::limits::TORQUE_FLOOR_NM
                .max(crate::limits::TORQUE_FLOOR_PRELOADS * from.basis.preload_nm);
            format!("pack torque above {floor:.0} N.m")
        }
        Err(_) => "by command, from 10 % on, torque being unknown".to_owned(),
    };
    let method = format!("time with slip above 0.3 rad/s and {limit}");
    figure(
        "partial_heat_making",
        "Heat-making partial engagement",
        "s",
        outcome,
        from.wheel_coverage.min(from.resolution),
        method,
    )
}

fn engagements(from: &Ingredients) -> Figure {
    let (n, n_broken) = from.engagements;
    let outcome = from.command.clone().map(|time| {
        let estimate = absolute(n as f64, 0.0);
        // A gap may hide an engagement or cut one in two.
        if time.hidden_s > 0.0 {
            estimate.hiding((time.hidden_s / 0.5).ceil())
        } else {
            estimate
        }
    });
    let coverage = if n_broken > 0 { 0.8 } else { 1.0 };
    let method = "times the command rose through 10 % for 40 ms, ended below 5 % for 150 ms; closer than 300 ms are one".to_owned();
    figure(
        "engagements",
        "Engagements",
        "count",
        outcome,
        coverage,
        method,
    )
}

/// Heat and its band.
fn heat_total(from: &Ingredients) -> Figure {
    let outcome = rows(from).and_then(|sums| {
        from.basis.heat.clone()?;
        if sums.with_torque_s == 0.0 {
            return Err(
                "the channel the torque comes from never gave a value while the wheels turned"
                    .to_owned(),
            );
        }
        let joules = sums.heat.heat_j(from.slip_sd);
        let noise = sums.impulse_square.sqrt() * from.slip_sd;
        let sd = joules * from.tolerances.heat();
        let mut estimate = absolute(joules, sd.hypot(noise));
        // What had no sign at this floor may have been slip just below it. That is
        // independent of the map's tolerances, so it adds to the upper side in squares.
        let unsigned = sums.heat.unsigned_nms(from.slip_sd) * smallest(from);
        estimate.high = joules + (estimate.high - joules).hypot(unsigned);
        if by_command_share(sums) > 0.1 {
            estimate.low =
                joules / COMMAND_HEAT_EXCESS * (1.0 - SDS_OF_90 * from.tolerances.heat()).max(0.0);
        }
        let peak = sums.heat_peak.map_or(0.0, |(watts, _)| watts);
        // Without torque the slip is known and the torque bounded; in a gap of the wheels
        // nothing is known but the hottest moment of the drive.
        let without_torque = from.basis.n_packs * sums.torque_peak_nm * sums.without_torque_rad;
        let hidden = sums.hidden_s * peak
            + if without_torque > 1e-3 * joules {
                without_torque
            } else {
                0.0
            };
        let mut estimate = estimate.hiding(hidden);
        estimate.is_at_least |= from.basis.is_preload_only;
        Ok(estimate.scaled(1e-3))
    });
    let method = format!(
        "torque times slip with the sign of the mean slip, summed over time; torque {}",
        from.torque_words
    );
    figure(
        "heat_total",
        "Heat in the pack",
        "kJ",
        outcome,
        heat_factor(from),
        method,
    )
}

/// Mean slip that noise may hide in the longest window: that of a few hundred samples.
fn smallest(from: &Ingredients) -> f64 {
    let n = (WINDOWS_S[3] / from.resolution_period()).max(1.0);
    (SIGNIFICANT_SDS * from.slip_sd / n.sqrt()).max(from.basis.slip_step)
}

fn by_command_share(sums: &Sums) -> f64 {
    if sums.with_torque_s > 0.0 {
        sums.torque_by_command_s / sums.with_torque_s
    } else {
        0.0
    }
}

fn heat_factor(from: &Ingredients) -> f64 {
    let sums = from.sums;
    let known = sums.with_torque_s / (sums.with_torque_s + sums.without_torque_s).max(1e-9);
    // By command the sum reads high by an unknown amount: never better than C.
    let source = if by_command_share(sums) > 0.1 || from.basis.is_preload_only {
        0.6
    } else {
        1.0
    };
    from.wheel_coverage
        .min(known)
        .min(source)
        .min(from.resolution)
}

fn heat_peak(from: &Ingredients) -> Figure {
    let outcome = rows(from).and_then(|sums| {
        from.basis.heat.clone()?;
        let (watts, _) = sums
            .heat_peak
            .ok_or_else(|| "torque and slip were never known together".to_owned())?;
        let mut estimate = relative(watts, from.tolerances.heat());
        // A highest value picks the noise that points its way: only the low end moves.
        let n = (WINDOWS_S[DEFINITION] / from.resolution_period()).max(1.0);
        let noise = SIGNIFICANT_SDS * from.slip_sd / n.sqrt() * from.basis.n_packs;
        estimate.low = (estimate.low - noise * sums.torque_peak_nm).max(0.0);
        if by_command_share(sums) > 0.1 {
            estimate.low /= COMMAND_HEAT_EXCESS;
        }
        Ok(estimate.scaled(1e-3))
    });
    let method = format!(
        "highest mean over 0.2 s of torque times slip; torque {}",
        from.torque_words
    );
    figure(
        "heat_peak",
        "Highest heat rate",
        "kW",
        outcome,
        heat_factor(from),
        method,
    )
}

fn heat_per_km(from: &Ingredients, heat: &Figure) -> Figure {
    let outcome = heat.outcome.clone().and_then(|total| {
        let sums = moving(from)?;
        let km = sums.distance_m * 1e-3;
        if km < 0.1 {
            return Err(format!("the drive is too short: {km:.2} km, 0.1 km wanted"));
        }
        let sd = from.tolerances.heat().hypot(from.tolerances.distance);
        let mut estimate = relative(total.value / km, sd);
        estimate.low = estimate.low.min(total.low / km);
        estimate.high = estimate.high.max(total.high / km);
        estimate.is_at_least = total.is_at_least;
        Ok(estimate)
    });
    figure(
        "heat_per_km",
        "Heat per distance",
        "kJ/km",
        outcome,
        heat_factor(from),
        "heat over distance".to_owned(),
    )
}

fn oil_temp_max(from: &Ingredients) -> Figure {
    let outcome = from.oil.clone().map(|(celsius, _)| {
        let half = SDS_OF_90 * OIL_SENSOR_SD_K;
        Estimate {
            value: celsius,
            low: celsius - half,
            high: celsius + half,
            is_at_least: false,
        }
    });
    let site = from.oil.as_ref().map_or("", |(_, site)| site);
    let method =
        format!("highest value of oil.temperature{site}; sensor taken as ±2 K (engineering guess)");
    figure(
        "oil_temp_max",
        "Highest oil temperature",
        "°C",
        outcome,
        1.0,
        method,
    )
}

impl Ingredients<'_> {
    /// Period of the wheel samples, s, behind the resolution factor.
    fn resolution_period(&self) -> f64 {
        // `resolution` is 1 up to 20 ms and falls as 20 ms over the period.
        0.02 / self.resolution.max(1e-3)
    }
}
