//! Whole drives of known truth, which its own integrator makes: nothing of the model under
//! test is in it.

use halfshaft_model::{Site, Time};

use super::heat_series::HeatSample;
use super::testing::Random;
use super::*;
use crate::refusal::Refusal;

/// A drive made with a unit whose parameters are known.
struct Truth {
    heat: HeatSeries,
    sensor: Readings,
    air: Readings,
    pack_max_c: f64,
    oil_max_c: f64,
    /// Pack at the end of every second, °C.
    pack_c: Vec<f64>,
    most_over_oil_k: f64,
}

/// How a drive is made.
struct Recipe {
    parameters: ThermalParameters,
    start_c: [f64; 3],
    air_c: f64,
    seconds: u32,
    /// True pack heat over the computed one.
    pack_heat: f64,
    axle_known: bool,
    seed: u64,
    sensor_s: f64,
}

impl Default for Recipe {
    fn default() -> Recipe {
        Recipe {
            parameters: ThermalParameters::default(),
            start_c: [40.0, 40.0, 38.0],
            air_c: 22.0,
            seconds: 1500,
            pack_heat: 1.0,
            axle_known: true,
            seed: 77,
            sensor_s: 0.0,
        }
    }
}

/// Laps of 90 s with two hard bends each, then three minutes in the paddock.
fn loads(time: f64, seconds: f64) -> (f64, f64, f64) {
    if time > seconds - 180.0 {
        return (0.0, 0.0, 0.0);
    }
    let lap = time % 90.0;
    let pack_w = match lap {
        20.0..28.0 => 4500.0,
        55.0..60.0 => 6000.0,
        70.0..85.0 => 800.0,
        _ => 60.0,
    };
    let speed = 27.0 + 14.0 * (std::f64::consts::TAU * lap / 45.0).sin();
    let axle_w = if lap % 30.0 < 18.0 { 70_000.0 } else { -8000.0 };
    (pack_w, axle_w, speed)
}

/// Explicit steps of 10 ms of the three heat balances, written out.
fn drive(recipe: &Recipe) -> Truth {
    let p = &recipe.parameters;
    let [mut pack, mut oil, mut housing] = recipe.start_c;
    let mut random = Random(recipe.seed);
    let mut truth = Truth {
        heat: HeatSeries::default(),
        sensor: Readings::default(),
        air: Readings::default(),
        pack_max_c: pack,
        oil_max_c: oil,
        pack_c: Vec::new(),
        most_over_oil_k: 0.0,
    };
    let h = 0.01;
    let mut sensor = oil;
    for second in 0..recipe.seconds {
        let reading = (sensor + 0.2 * random.normal()).round();
        truth
            .sensor
            .push(Time::from_seconds(f64::from(second)), reading);
        truth
            .air
            .push(Time::from_seconds(f64::from(second)), recipe.air_c);
        for tenth in 0..10 {
            let time = f64::from(second) + 0.1 * f64::from(tenth) + 0.05;
            let (computed_w, axle_w, speed) = loads(time, f64::from(recipe.seconds));
            let case = speed / 0.32;
            let pack_w = computed_w * recipe.pack_heat;
            for _ in 0..10 {
                let to_oil = p.pack_to_oil_w_per_k * (pack - oil);
                let to_housing = p.oil_to_housing_w_per_k * (oil - housing);
                let gear = p.gear_loss_share * axle_w.abs() + p.churn_w_s2 * case * case;
                let air = p.still_air_w_per_k + p.moving_air_w_per_k * (speed / 30.0).powf(0.7);
                pack += h * (pack_w - to_oil) / p.pack_j_per_k;
                oil += h * (to_oil + gear - to_housing) / p.oil_j_per_k;
                // A sensor of no time constant shows the oil itself.
                sensor += (oil - sensor) * (h / recipe.sensor_s.max(h));
                housing += h * (to_housing - air * (housing - recipe.air_c)) / p.housing_j_per_k;
            }
            truth.pack_max_c = truth.pack_max_c.max(pack);
            truth.oil_max_c = truth.oil_max_c.max(oil);
            truth.most_over_oil_k = truth.most_over_oil_k.max(pack - oil);
            truth.heat.push(&HeatSample {
                time: Time::from_seconds(time),
                seconds: 0.1,
                pack_power_w: Some(computed_w),
                axle_power_w: recipe.axle_known.then_some(axle_w),
                case_speed_rad_per_s: Some(case),
                road_speed_m_per_s: Some(speed),
            });
        }
        truth.pack_c.push(pack);
    }
    truth
}

fn given(site: Option<Site>) -> Given {
    Given {
        priors: Priors::default(),
        site,
        sensor_step_k: 1.0,
        pack_heat_relative_sd: 0.0,
    }
}

fn scaled(factors: impl Fn(usize) -> f64) -> ThermalParameters {
    let defaults = ThermalParameters::default().to_array();
    ThermalParameters::from_array(std::array::from_fn(|index| {
        defaults[index] * factors(index)
    }))
}

/// Twenty per cent up or down, by the bits of a number.
fn twenty_off(bits: usize) -> ThermalParameters {
    scaled(|index| {
        if bits >> index & 1 == 1 {
            1.2
        } else {
            1.0 / 1.2
        }
    })
}

fn fitted(truth: &Truth, given: &Given) -> ThermalEstimate {
    estimate(&truth.heat, &truth.sensor, &truth.air, given).unwrap()
}

#[track_caller]
fn says(notes: &[String], wanted: &str) {
    assert!(notes.iter().any(|note| note.contains(wanted)), "{notes:?}");
}

#[test]
fn the_fit_finds_the_pack_within_five_kelvin_with_priors_a_fifth_off() {
    // Patterns of up and down, the worst of them for the pack among them.
    let patterns = [
        0b0_0000_0000,
        0b1_1111_1111,
        0b0_1010_1010,
        0b1_0101_0101,
        0b0_0000_1001,
        0b0_0000_0110,
        0b0_0000_1000,
        0b0_0000_0001,
        0b1_1011_0001,
        0b0_0100_1110,
    ];
    for (pattern, sensor_s) in patterns
        .into_iter()
        .flat_map(|bits| [(bits, 0.0), (bits, 2.0)])
    {
        let parameters = twenty_off(pattern);
        let truth = drive(&Recipe {
            parameters,
            sensor_s,
            ..Recipe::default()
        });
        assert!(truth.most_over_oil_k >= 30.0, "{}", truth.most_over_oil_k);
        let got = fitted(&truth, &given(Some(Site::Oil)));
        assert_eq!(got.anchor, Anchor::Fitted(Site::Oil));
        let off = got.pack_max.celsius.value - truth.pack_max_c;
        assert!(off.abs() < 5.0, "{pattern:b}, {sensor_s} s: {off}");
        assert!(got.residual_sd_k.is_some_and(|sd| (0.2..0.5).contains(&sd)));
        // What heat and cooling show plainly is found far better than the prior knew it.
        let wanted = parameters.to_array();
        for index in [1, 2, 4, 7] {
            let found = &got.unknowns[index];
            let off = (found.value / wanted[index] - 1.0).abs();
            assert!(off < 0.08, "{} {off}", found.name);
            assert_eq!(found.outcome, FitOutcome::Fitted, "{}", found.name);
        }
        // The course too, at the end of every point of the trace.
        assert!(got.trace.len() > 300);
        let latest = got.trace.last().unwrap();
        assert!((latest.pack_c.value - truth.pack_c[truth.pack_c.len() - 1]).abs() < 2.0);
        assert!((got.oil_max.celsius.value - truth.oil_max_c).abs() < 1.0);
        assert!((got.equalisation_s.value / parameters.equalisation_s() - 1.0).abs() < 0.12);
    }
}

/// A drive whose unit, start, air and pack heat are drawn from the stated tolerances.
fn drawn(seed: u64, has_sensor: bool) -> Truth {
    let mut random = Random(0x9E37_79B9_7F4A_7C15 ^ (seed << 20) ^ seed);
    for _ in 0..8 {
        random.even();
    }
    let sds = Priors::default().relative_sds;
    let factors: Vec<f64> = sds.iter().map(|sd| (sd * random.normal()).exp()).collect();
    let air_off = 2.0 * random.normal();
    let oil_off = if has_sensor {
        18.0
    } else {
        15.0 + 15.0 * random.normal()
    };
    let oil = 22.0 + oil_off;
    let housing_off = if has_sensor {
        -0.15 * 18.0 + 4.7 * random.normal()
    } else {
        5.0 * random.normal()
    };
    let mut truth = drive(&Recipe {
        parameters: scaled(|index| factors[index]),
        start_c: [oil + 5.0 * random.normal(), oil, oil + housing_off],
        air_c: 22.0 + air_off,
        pack_heat: (0.15 * random.normal()).exp(),
        sensor_s: (2.3 * random.normal().exp() - 0.3).max(0.0),
        seed: seed + 1,
        ..Recipe::default()
    });
    // The car's own sensor of the air knows nothing of the axle's.
    truth.air = testing::readings_of(1500.0, 10.0, |_| 22.0);
    truth
}

fn n_covered(n_draws: u64, has_sensor: bool) -> usize {
    let given = Given {
        pack_heat_relative_sd: 0.15,
        ..given(has_sensor.then_some(Site::Oil))
    };
    let covers = |seed: &u64| {
        let truth = drawn(*seed, has_sensor);
        let band = fitted(&truth, &given).pack_max.celsius;
        (band.low..band.high).contains(&truth.pack_max_c)
    };
    (0..n_draws).filter(covers).count()
}

#[test]
fn the_open_band_holds_the_truth_nine_times_in_ten() {
    let n_covered = n_covered(200, false);
    assert!((170..=190).contains(&n_covered), "{n_covered} of 200");
}

#[test]
fn the_fitted_band_holds_the_truth_about_nine_times_in_ten() {
    let n_covered = n_covered(100, true);
    assert!((80..=97).contains(&n_covered), "{n_covered} of 100");
}

#[test]
fn without_axle_power_nobody_may_blame_the_clutch() {
    let make = |axle_known| {
        drive(&Recipe {
            axle_known,
            ..Recipe::default()
        })
    };
    let (known, unknown) = (make(true), make(false));
    let open_of = |truth: &Truth| fitted(truth, &given(None));
    let (with, without) = (open_of(&known), open_of(&unknown));
    let share = with.pack_share.unwrap();
    assert!(share.low < share.value && share.value < share.high && share.high < 1.0);
    assert_eq!(without.pack_share, Err(Refusal::NoAxlePower));
    says(&without.notes, "axle power unknown");
    assert!(with.notes.is_empty(), "{:?}", with.notes);
    let width = |of: &Peak| of.celsius.high - of.celsius.low;
    assert!(width(&without.pack_max) > 1.2 * width(&with.pack_max));
    let band = without.pack_max.celsius;
    assert!(
        (band.low..band.high).contains(&unknown.pack_max_c),
        "{band:?}"
    );
    // With a sensor the unknown loss is fitted, and the pack is still found.
    let got = fitted(&unknown, &given(Some(Site::Oil)));
    let off = got.pack_max.celsius.value - unknown.pack_max_c;
    assert!(off.abs() < 10.0, "{off}");
    assert!(got.pack_share.is_err());
}

#[test]
fn what_must_not_be_fitted_is_left_open_and_says_why() {
    let truth = drive(&Recipe::default());
    let reason = |truth: &Truth, site| match fitted(truth, &given(site)).anchor {
        Anchor::Open(reason) => reason,
        Anchor::Fitted(site) => panic!("fitted to {site:?}"),
    };
    assert_eq!(
        reason(&truth, Some(Site::ModelledByCar)),
        Refusal::ModelledByCar
    );
    assert_eq!(reason(&truth, None), Refusal::NoSensor);
    let short = drive(&Recipe {
        seconds: 290,
        ..Recipe::default()
    });
    let short = reason(&short, Some(Site::Oil));
    assert!(
        matches!(short, Refusal::ShortReadings { found_s, .. } if (found_s - 288.0).abs() < 3.0),
        "{short:?}"
    );
    let mut flat = drive(&Recipe::default());
    flat.sensor = testing::readings_of(1500.0, 1.0, |time| 60.0 + (time / 500.0).floor());
    let flat = reason(&flat, Some(Site::Oil));
    assert!(
        matches!(flat, Refusal::FlatReadings { found_k, .. } if (found_k - 2.0).abs() < 0.05),
        "{flat:?}"
    );
    // Nothing told: every unknown is where it was, and held.
    let open = fitted(&truth, &given(None));
    assert!(
        open.unknowns
            .iter()
            .all(|at| at.outcome == FitOutcome::PriorKept && at.value == at.prior)
    );
    assert_eq!((open.residual_sd_k, open.n_readings), (None, 0));
    let nothing = HeatSeries::default();
    let refused = estimate(&nothing, &truth.sensor, &truth.air, &given(Some(Site::Oil)));
    assert_eq!(refused, Err(Refusal::NoPackHeat));
    let no_air = estimate(
        &truth.heat,
        &truth.sensor,
        &Readings::default(),
        &given(None),
    );
    says(&no_air.unwrap().notes, "air temperature not logged");
}

#[test]
fn a_model_that_does_not_suit_says_that_it_ran_to_its_bound() {
    // A housing of a fifth of the weight: farther than three standard deviations.
    let truth = drive(&Recipe {
        parameters: scaled(|index| if index == 2 { 0.2 } else { 1.0 }),
        ..Recipe::default()
    });
    let got = fitted(&truth, &given(Some(Site::Oil)));
    assert_eq!(got.unknowns[2].outcome, FitOutcome::AtBound);
    assert_eq!(got.unknowns[2].name, "heat capacity of the housing");
}

#[test]
fn a_sensor_of_the_housing_is_fitted_as_one() {
    let truth = drive(&Recipe::default());
    // What the housing does, by a run of the same unit; the fit knows neither start nor unit.
    let open = estimate(
        &truth.heat,
        &truth.sensor,
        &truth.air,
        &Given {
            priors: Priors {
                values: ThermalParameters::default(),
                relative_sds: [1e-6; 9],
            },
            ..given(Some(Site::Oil))
        },
    )
    .unwrap();
    let course: Vec<(f64, f64)> = open
        .trace
        .iter()
        .map(|at| (at.time.seconds(), at.housing_c))
        .collect();
    let mut sensor = Readings::default();
    for (seconds, housing_c) in &course {
        sensor.push(Time::from_seconds(*seconds), housing_c.round());
    }
    let as_housing = estimate(
        &truth.heat,
        &sensor,
        &truth.air,
        &given(Some(Site::Housing)),
    )
    .unwrap();
    assert_eq!(as_housing.anchor, Anchor::Fitted(Site::Housing));
    let off = as_housing.pack_max.celsius.value - truth.pack_max_c;
    assert!(off.abs() < 15.0, "{off}");
    assert!(as_housing.residual_sd_k.unwrap() < 0.5);
    // Taken for oil, the same readings fit worse: sites are not to be mixed.
    let as_oil = estimate(&truth.heat, &sensor, &truth.air, &given(Some(Site::Oil))).unwrap();
    assert!(as_oil.residual_sd_k.unwrap() > 1.5 * as_housing.residual_sd_k.unwrap());
}

#[test]
fn how_the_log_was_cut_changes_no_bit() {
    let truth = drive(&Recipe {
        seconds: 700,
        ..Recipe::default()
    });
    let whole = fitted(&truth, &given(Some(Site::Oil)));
    // The same samples with the sensor running a minute ahead of the heat.
    let (mut heat, mut sensor, mut air) = Default::default();
    let push = |heat: &mut HeatSeries, second: u32| {
        for tenth in 0..10 {
            let time = f64::from(second) + 0.1 * f64::from(tenth) + 0.05;
            let (pack_w, axle_w, speed) = loads(time, 700.0);
            heat.push(&HeatSample {
                time: Time::from_seconds(time),
                seconds: 0.1,
                pack_power_w: Some(pack_w),
                axle_power_w: Some(axle_w),
                case_speed_rad_per_s: Some(speed / 0.32),
                road_speed_m_per_s: Some(speed),
            });
        }
    };
    let bins = truth.sensor.grid().bins();
    for second in 0..760_u32 {
        if let Some((_, bin)) = bins.get(second as usize) {
            Readings::push(&mut sensor, Time::from_seconds(bin.mean_s()), bin.mean_c());
            Readings::push(&mut air, Time::from_seconds(bin.mean_s()), 22.0);
        }
        if let Some(late) = second.checked_sub(60) {
            push(&mut heat, late);
        }
        if second % 97 == 0 {
            heat.with_open_bins();
        }
    }
    let again = estimate(&heat, &sensor, &air, &given(Some(Site::Oil))).unwrap();
    assert_eq!(again, whole);
}

#[test]
fn rise_per_heat_goes_up_when_oil_is_lost() {
    let of = |oil_share: f64| {
        let truth = drive(&Recipe {
            // Less oil holds less heat and takes it worse from the pack.
            parameters: scaled(|index| {
                if index == 1 || index == 3 {
                    oil_share
                } else {
                    1.0
                }
            }),
            ..Recipe::default()
        });
        fitted(&truth, &given(Some(Site::Oil)))
    };
    let (full, low) = (of(1.0), of(0.65));
    let stored = |of: &ThermalParameters| of.pack_j_per_k + of.oil_j_per_k;
    let mixed = stored(&full.parameters) / stored(&low.parameters);
    // Derived: (0.7 + 1.8)/(0.7 + 0.65·1.8) = 1.337.
    assert!((mixed - 1.337).abs() < 0.08, "{mixed}");
    let slower = low.equalisation_s.value / full.equalisation_s.value;
    // Derived: 0.7·1.17/1.87/39 against 0.7·1.8/2.5/60 kJ/W: 1.337 as well.
    assert!((slower - 1.337).abs() < 0.15, "{slower}");
    // The oil of a heavy housing rises by the heat that all of it holds, with gear heat on top.
    let rise = full.rise_k_per_kj.clone().unwrap();
    let rise_low = low.rise_k_per_kj.clone().unwrap();
    assert!((0.05..0.5).contains(&rise), "{rise}");
    assert!(rise_low > rise, "{rise_low} {rise}");
}

#[test]
fn the_outlook_takes_the_last_minute() {
    let truth = drive(&Recipe {
        seconds: 1500,
        ..Recipe::default()
    });
    let got = fitted(&truth, &given(Some(Site::Oil)));
    // It stood in the paddock: no heat, no air, cooling.
    assert!(got.recent.pack_w.abs() < 1e-9 && got.recent.gear_w.abs() < 1e-9);
    assert!((got.recent.ambient_c - 22.0).abs() < 4.0);
    let limit = time_to_limit(&got.parameters, &got.end, &got.recent, Node::Oil, 150.0);
    assert!(matches!(limit, TimeToLimit::LevelsOff { at_c } if (at_c - 22.0).abs() < 4.0));
    let cooled = cool_down_s(&got.parameters, &got.end, &got.recent, got.end.oil_c - 10.0);
    assert!(cooled.is_some_and(|seconds| seconds > 30.0), "{cooled:?}");
}
