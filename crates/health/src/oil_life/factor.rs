//! Of every km driven, how many the oil feels.
//!
//! In: mean ageing rate, heat per km, km driven, km a year. Out: the factor with its band
//! and its three parts, equivalent km, and the distance to the next change. What is not
//! known widens the band and lowers the grade; it never makes the oil better.

use super::temperature::OilAgeingRate;
use crate::band::absolute;
use crate::limits::OilPolicy;
use crate::nouns::{Estimate, Grade};
use crate::reason::Reason;

/// What stands beside every oil distance.
pub fn basis_note(policy: &OilPolicy) -> String {
    let [least_k, _, most_k] = policy.doublings_k();
    format!(
        "a rule of thumb, not an oil test: {:.0} km at factor 1, ageing that doubles with every \
         {least_k:.0} to {most_k:.0} K above {:.0} °C, one more for every \
         {:.0} kJ of heat per km, and {:.0} years at the most",
        policy.base_km, policy.reference_c, policy.work_kj_per_km, policy.calendar_years
    )
}

/// What the factor is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct OilInput {
    /// Ageing rate by temperature, or why it is not known.
    pub rate: Result<OilAgeingRate, Reason>,
    /// Heat of the pack, kJ/km, or why it is not known.
    pub heat_kj_per_km: Result<Estimate, Reason>,
    /// Distance of the drive, km.
    pub distance_km: Option<Estimate>,
    /// Standard deviation of the oil sensor, K.
    pub sensor_sd_k: f64,
    /// What the car is driven in a year, km; a drive alone does not tell.
    pub km_per_year: Option<f64>,
    /// Whether it was driven in laps: only then are track days a measure of it.
    pub is_on_circuit: bool,
}

/// One part of the factor.
#[derive(Clone, Debug, PartialEq)]
pub struct Factor {
    /// The factor; 1 is ordinary.
    pub factor: Estimate,
    /// Why it is a guess, when what it rests on is not known.
    pub why_guessed: Option<Reason>,
}

/// How fast the oil is used up.
#[derive(Clone, Debug, PartialEq)]
pub struct OilLife {
    /// Km of ordinary driving that one km of this drive was for the oil.
    pub factor: Estimate,
    /// Its part by temperature.
    pub temperature: Factor,
    /// Its part by work.
    pub work: Factor,
    /// Its part by the calendar: above 1 where the years use up the oil sooner.
    pub calendar: Estimate,
    /// Km of ordinary driving that the drive was for the oil.
    pub km_equivalent: Option<Estimate>,
    /// Km from one change to the next if the car went on like this. Never above the full interval: a
    /// band that lies there as a whole is no band, and the distance is that or more.
    pub distance_km: Estimate,
    /// The full interval, km.
    pub full_km: f64,
    /// The same distance in days on the track, where it was driven in laps and few of them use up the oil.
    pub track_days: Option<Estimate>,
    /// D where a part is guessed, else C: a policy is no better.
    pub grade: Grade,
    /// What it rests on.
    pub basis: String,
}

/// Distance to the next change for a factor, km: base / factor.
pub fn distance_for(policy: &OilPolicy, factor: f64) -> f64 {
    policy.base_km / factor
}

/// The factor by temperature: mean of 2^((T − 80)/θ) over time, no less than 0.5; the band
/// holds θ from 10 to 15 K and the error of the sensor. It has no upper end: oil at 150 °C is
/// spoilt in days of driving, and an end would make one point of its band and all hotter oil.
fn by_temperature(policy: &OilPolicy, input: &OilInput) -> Factor {
    let rate = match &input.rate {
        Ok(rate) => rate,
        Err(why) => {
            return guessed(policy.no_temperature_low, policy.no_temperature_high, why);
        }
    };
    let least = policy.temperature_least;
    // A sensor that is off by δ shifts every rate by the same 2^(δ/θ).
    let Estimate { low, high, .. } = absolute(100.0, input.sensor_sd_k);
    let ends = [low - 100.0, high - 100.0].map(|off_k| {
        let rates = rate.mean_rates.iter().zip(policy.doublings_k());
        rates
            .map(|(mean, doubling_k)| mean * (off_k / doubling_k).exp2())
            .collect::<Vec<f64>>()
    });
    let least_of = ends[0].iter().copied().fold(f64::INFINITY, f64::min);
    let most_of = ends[1].iter().copied().fold(0.0, f64::max);
    Factor {
        factor: Estimate {
            value: rate.mean_rates[1].max(least),
            low: least_of.max(least),
            high: most_of.max(least),
            is_at_least: false,
        },
        why_guessed: None,
    }
}

/// The factor by work: 1 + (kJ/km)/10.
fn by_work(policy: &OilPolicy, heat_kj_per_km: &Result<Estimate, Reason>) -> Factor {
    let factor = |kj_per_km: f64| 1.0 + kj_per_km.max(0.0) / policy.work_kj_per_km;
    match heat_kj_per_km {
        Err(why) => guessed(1.0, policy.no_work_high, why),
        Ok(heat) => Factor {
            factor: Estimate {
                value: factor(heat.value),
                low: factor(heat.low),
                high: factor(heat.high),
                is_at_least: heat.is_at_least,
            },
            why_guessed: None,
        },
    }
}

fn guessed(low: f64, high: f64, why: &Reason) -> Factor {
    Factor {
        factor: Estimate {
            value: 1.0,
            low,
            high,
            is_at_least: false,
        },
        why_guessed: Some(why.clone()),
    }
}

/// The factor by the calendar: in ten years the oil is used up however little was driven,
/// so that no km may count for less than base / (10 years · km a year).
fn by_calendar(policy: &OilPolicy, other: f64, km_per_year: Option<f64>) -> f64 {
    match km_per_year.filter(|km| km.is_finite() && *km > 0.0) {
        Some(km) => (policy.base_km / (policy.calendar_years * km * other)).max(1.0),
        None => 1.0,
    }
}

fn ends(of: impl Fn(fn(&Estimate) -> f64) -> f64, is_at_least: bool) -> Estimate {
    Estimate {
        value: of(|estimate| estimate.value),
        low: of(|estimate| estimate.low),
        high: of(|estimate| estimate.high),
        is_at_least,
    }
}

/// How fast the oil is used up: temperature · work · calendar, each with its band; low
/// ends multiply to the low end, so the band is no narrower than the truth.
///
/// Factor without unit, above 0; distance in km. Source: a policy of this program, whose
/// factors of 2 and 2.4 are the 30,000 and 25,000 miles of the trade's practice.
pub fn oil_life(policy: &OilPolicy, input: &OilInput) -> OilLife {
    let temperature = by_temperature(policy, input);
    let work = by_work(policy, &input.heat_kj_per_km);
    let is_at_least = work.factor.is_at_least;
    let other = ends(
        |end| end(&temperature.factor) * end(&work.factor),
        is_at_least,
    );
    let calendar = ends(
        |end| by_calendar(policy, end(&other), input.km_per_year),
        false,
    );
    let factor = ends(|end| end(&other) * end(&calendar), is_at_least);
    // The faster the oil is used up, the less the years add.
    let calendar = Estimate {
        low: calendar.high,
        high: calendar.low,
        ..calendar
    };
    let is_guessed = temperature.why_guessed.is_some() || work.why_guessed.is_some();
    // Cool oil may use less than a km for a km, but no change is promised later than the
    // base: that is the most the practice of the trade grants.
    let distance = |factor: f64| distance_for(policy, factor).min(policy.base_km);
    let distance_km = Estimate {
        value: distance(factor.value),
        low: distance(factor.high),
        high: distance(factor.low),
        is_at_least: distance(factor.high) == policy.base_km,
    };
    let are_days_few = distance_km.value <= policy.track_days_most * policy.track_day_km;
    OilLife {
        factor,
        temperature,
        work,
        calendar,
        km_equivalent: input
            .distance_km
            .map(|km| ends(|end| end(&factor) * end(&km), is_at_least || km.is_at_least)),
        distance_km,
        full_km: policy.base_km,
        track_days: (input.is_on_circuit && are_days_few)
            .then(|| ends(|end| end(&distance_km) / policy.track_day_km, false)),
        grade: if is_guessed { Grade::D } else { Grade::C },
        basis: basis_note(policy),
    }
}

#[cfg(test)]
mod tests {
    use super::super::temperature::OilAgeing;
    use super::*;
    use crate::band::relative;
    use crate::limits::{Limits, SDS_OF_90, Usage};
    use crate::reason::DriveFact;
    use halfshaft_model::Time;

    const SENSOR_SD_K: f64 = 2.0;

    fn policy() -> OilPolicy {
        Limits::default().oil_distance
    }

    fn steady(celsius: f64) -> Result<OilAgeingRate, Reason> {
        let mut ageing = OilAgeing::new(5.0, &policy());
        for second in 0..=10 {
            ageing.add(Time::from_seconds(f64::from(second)), celsius);
        }
        Ok(ageing.rate().unwrap())
    }

    fn told(rate: Result<OilAgeingRate, Reason>, kj_per_km: Option<f64>) -> OilLife {
        oil_life(
            &policy(),
            &OilInput {
                rate,
                heat_kj_per_km: kj_per_km
                    .map(|kj| relative(kj, 0.0))
                    .ok_or(DriveFact::Torque.into()),
                distance_km: Some(relative(100.0, 0.0)),
                sensor_sd_k: SENSOR_SD_K,
                km_per_year: None,
                is_on_circuit: true,
            },
        )
    }

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn practice_of_the_trade_falls_out_of_the_policy() {
        // Common practice, no source: 25,000 to 30,000 miles for hard use. A factor of 2 is
        // 48,000 km, which is 30,000 miles; of 2.4, 40,000 km and 25,000 miles.
        near(distance_for(&policy(), 2.0), 48_000.0, 1e-9);
        near(distance_for(&policy(), 2.4), 40_000.0, 1e-9);
        near(distance_for(&policy(), 2.0) / 1.609_344, 30_000.0, 180.0);
        near(distance_for(&policy(), 2.4) / 1.609_344, 25_000.0, 150.0);
        // And the class of hard use gets there by its own edge: 8 kJ/km with oil at 82 to 84 °C.
        for celsius in [82.0, 83.0, 84.0] {
            let km = told(steady(celsius), Some(Usage::default().heat_kj_per_km[3]))
                .distance_km
                .value;
            assert!(
                (40_000.0..=48_000.0).contains(&km),
                "{km} km at {celsius} °C"
            );
        }
        // Gentle use in oil as the policy takes for granted keeps nearly all of the base.
        let gentle = told(steady(80.0), Some(Usage::default().heat_kj_per_km[0]));
        near(gentle.distance_km.value, 93_204.0, 1.0);
    }

    #[test]
    fn factor_by_hand() {
        // 104 °C: 2^(24/12) = 4, band 2^(24/15) to 2^(24/10), the sensor's ±3.29 K on top.
        let life = told(steady(104.0), Some(5.0));
        let off_k = SDS_OF_90 * SENSOR_SD_K;
        let temperature = &life.temperature.factor;
        near(temperature.value, 4.0, 1e-9);
        near(temperature.low, ((24.0 - off_k) / 15.0).exp2(), 1e-9);
        near(temperature.high, ((24.0 + off_k) / 10.0).exp2(), 1e-9);
        near(life.work.factor.value, 1.5, 1e-12);
        near(life.factor.value, 6.0, 1e-9);
        near(life.km_equivalent.unwrap().value, 600.0, 1e-6);
        near(life.distance_km.value, 16_000.0, 1e-6);
        assert!(life.distance_km.low < 16_000.0 && life.distance_km.high > 16_000.0);
        assert_eq!((life.grade, life.calendar.value), (Grade::C, 1.0));
        assert!(life.basis.contains("not an oil test: 96000 km at factor 1"));
        assert!(life.basis.contains("10 to 15 K above 80 °C"));
    }

    #[test]
    fn hotter_and_harder_always_counts_for_more() {
        // 56 kJ/km is no 30 kJ/km, and 150 °C is no 120 °C: neither band is a point.
        let (hard, harder) = (
            told(steady(90.0), Some(30.0)),
            told(steady(90.0), Some(56.0)),
        );
        near(
            hard.distance_km.value / harder.distance_km.value,
            6.6 / 4.0,
            1e-9,
        );
        let (hot, hotter) = (
            told(steady(120.0), Some(5.0)).distance_km,
            told(steady(150.0), Some(5.0)).distance_km,
        );
        assert!(hot.low > hotter.low && hotter.low < hotter.value && hotter.value < hotter.high);
        // Cold oil halves the use at the most; what is granted is the full interval, and no band.
        let cold = told(steady(20.0), Some(0.0));
        near(cold.factor.value, 0.5, 0.0);
        near(cold.distance_km.value, policy().base_km, 0.0);
        assert!(cold.distance_km.is_at_least && !hot.is_at_least);
    }

    #[test]
    fn track_days_are_the_same_distance_and_only_where_they_are_few() {
        // Rule of the trade for competition: two to four track days. 40 kJ/km with oil that
        // ages as at 140 °C: 5 · 32 of a km each, 600 km, three days of 200 km.
        let life = told(steady(140.0), Some(40.0));
        near(life.distance_km.value, 600.0, 1e-6);
        near(life.track_days.unwrap().value, 3.0, 1e-9);
        // 2.3 kJ/km at 90 °C: tens of thousands of km are no days on a track.
        assert_eq!(told(steady(90.0), Some(2.3)).track_days, None);
    }

    #[test]
    fn a_band_below_the_reference_keeps_its_order() {
        // Below the reference the slow rule is the greater one: the band keeps its order.
        let cool = told(steady(75.0), Some(0.0)).temperature.factor;
        assert!(cool.low < cool.value && cool.value < cool.high, "{cool:?}");
    }

    #[test]
    fn without_temperature_or_torque_the_band_is_wide_and_the_grade_low() {
        let life = told(Err(DriveFact::OilAging.into()), Some(0.0));
        let factor = life.factor;
        assert_eq!((factor.low, factor.value, factor.high), (0.7, 1.0, 4.0));
        assert_eq!(life.grade, Grade::D);
        let why = life.temperature.why_guessed.unwrap();
        assert_eq!(why, DriveFact::OilAging.into());
        let life = told(steady(80.0), None);
        assert_eq!((life.work.factor.value, life.work.factor.high), (1.0, 4.0));
        assert_eq!(life.grade, Grade::D);
    }

    #[test]
    fn years_use_up_the_oil_of_a_car_that_stands() {
        // 4,000 km a year are 40,000 km in ten years: each counts for 2.4 at the least.
        let input = |km_per_year| OilInput {
            rate: steady(80.0),
            heat_kj_per_km: Ok(relative(2.0, 0.0)),
            distance_km: None,
            sensor_sd_k: SENSOR_SD_K,
            km_per_year,
            is_on_circuit: false,
        };
        let rare = oil_life(&policy(), &input(Some(4_000.0)));
        near(rare.factor.value, 2.4, 1e-12);
        near(rare.calendar.value, 2.0, 1e-12);
        assert!(rare.calendar.low < 2.0 && rare.calendar.high > 2.0);
        near(rare.distance_km.value, 40_000.0, 1e-9);
        assert_eq!(rare.km_equivalent, None);
        // 20,000 km a year: 200,000 km in ten years; the work rules.
        near(
            oil_life(&policy(), &input(Some(20_000.0))).factor.value,
            1.2,
            1e-12,
        );
        near(
            oil_life(&policy(), &input(Some(0.0))).factor.value,
            1.2,
            1e-12,
        );
    }

    #[test]
    fn more_heat_never_gives_more_distance() {
        let mut before = f64::INFINITY;
        for step in 0..60 {
            let life = told(steady(60.0 + f64::from(step)), Some(f64::from(step)));
            assert!(life.distance_km.value <= before);
            assert!(life.distance_km.low <= life.distance_km.value);
            assert!(life.distance_km.value <= life.distance_km.high);
            before = life.distance_km.value;
        }
    }
}
