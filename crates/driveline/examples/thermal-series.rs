//! Prints a drive and what the thermal model makes of it as JSON, for checks against other
//! libraries: `cargo run -p halfshaft-driveline --example thermal-series`.
//!
//! The drive is a plain list of loads, so that anyone can integrate it anew.

use halfshaft_driveline::thermal::{
    Anchor, Given, HeatSample, HeatSeries, Priors, Readings, ThermalParameters, estimate,
};
use halfshaft_model::{Site, Time};

/// Every load lasts so long, s.
const STEP_S: f64 = 0.5;
const N_STEPS: u32 = 2400;
const AIR_C: f64 = 18.0;
const START_C: f64 = 55.0;

/// Pack heat W, axle power W, case speed rad/s, road speed m/s.
fn load(index: u32) -> [f64; 4] {
    let time = STEP_S * f64::from(index);
    if time >= 1000.0 {
        return [0.0; 4];
    }
    let lap = time % 80.0;
    let pack_w = match lap {
        15.0..24.0 => 4000.0,
        50.0..56.0 => 7000.0,
        _ => 100.0,
    };
    let axle_w = if lap % 20.0 < 12.0 { 60_000.0 } else { 5000.0 };
    let speed = 25.0 + 10.0 * (lap / 80.0 * std::f64::consts::TAU).cos();
    [pack_w, axle_w, speed / 0.31, speed]
}

fn list(numbers: impl IntoIterator<Item = f64>) -> String {
    let texts: Vec<String> = numbers
        .into_iter()
        .map(|number| format!("{number:?}"))
        .collect();
    format!("[{}]", texts.join(", "))
}

fn main() -> Result<(), String> {
    let mut heat = HeatSeries::default();
    let mut air = Readings::default();
    for index in 0..N_STEPS {
        let [pack_w, axle_w, case, road] = load(index);
        let time = Time::from_seconds(STEP_S * (f64::from(index) + 0.5));
        heat.push(&HeatSample {
            time,
            seconds: STEP_S,
            pack_power_w: Some(pack_w),
            axle_power_w: Some(axle_w),
            case_speed_rad_per_s: Some(case),
            road_speed_m_per_s: Some(road),
        });
        air.push(time, AIR_C);
    }
    let mut first = Readings::default();
    first.push(Time(0), START_C);
    let given = Given {
        priors: Priors::default(),
        site: Some(Site::Oil),
        sensor_step_k: 1.0,
        pack_heat_relative_sd: 0.0,
    };
    // One reading fixes the start and leaves the rest open: the model as it is.
    let open = estimate(&heat, &first, &air, &given).map_err(|why| format!("{why:?}"))?;
    // The readings come on standard input, one `seconds celsius` a line, and are fitted.
    let mut sensor = Readings::default();
    for line in std::io::stdin().lines() {
        let line = line.map_err(|error| error.to_string())?;
        let numbers: Vec<f64> = line
            .split_whitespace()
            .filter_map(|word| word.parse().ok())
            .collect();
        if let [seconds, celsius] = numbers[..] {
            sensor.push(Time::from_seconds(seconds), celsius);
        }
    }
    let fitted = estimate(&heat, &sensor, &air, &given).map_err(|why| format!("{why:?}"))?;
    let column = |column: usize| list((0..N_STEPS).map(|index| load(index)[column]));
    println!("{{");
    println!("\"step_s\": {STEP_S:?}, \"air_c\": {AIR_C:?},");
    println!("\"pack_w\": {},", column(0));
    println!("\"axle_w\": {},", column(1));
    println!("\"case_rad_per_s\": {},", column(2));
    println!("\"road_m_per_s\": {},", column(3));
    println!(
        "\"parameters\": {},",
        list(ThermalParameters::default().to_array())
    );
    println!("\"relative_sds\": {},", list(given.priors.relative_sds));
    println!(
        "\"start_c\": {},",
        list(open.unknowns[12..].iter().map(|unknown| unknown.value))
    );
    println!(
        "\"trace_s\": {},",
        list(open.trace.iter().map(|at| at.time.seconds()))
    );
    println!(
        "\"trace_oil_c\": {},",
        list(open.trace.iter().map(|at| at.oil_c))
    );
    println!(
        "\"trace_housing_c\": {},",
        list(open.trace.iter().map(|at| at.housing_c))
    );
    println!(
        "\"trace_pack_c\": {},",
        list(open.trace.iter().map(|at| at.pack_c.value))
    );
    println!("\"pack_max_c\": {:?},", open.pack_max.celsius.value);
    println!(
        "\"is_fitted\": {},",
        matches!(fitted.anchor, Anchor::Fitted(_))
    );
    println!(
        "\"fitted\": {},",
        list(fitted.unknowns.iter().map(|unknown| unknown.value))
    );
    println!(
        "\"fitted_sd\": {},",
        list(fitted.unknowns.iter().map(|unknown| unknown.sd))
    );
    println!("\"fitted_pack_max_c\": {:?}", fitted.pack_max.celsius.value);
    println!("}}");
    Ok(())
}
