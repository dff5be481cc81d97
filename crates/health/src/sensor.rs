//! Whether a temperature can be believed, reading by reading and as a whole.
//!
//! In: the readings. Out: which to take, and why none may be: a sensor that jumps as no oil
//! does, one that never moves, one whose numbers are of another unit. What is left out is
//! counted; what cannot be believed as a whole is withheld with its reason, never mended.

use crate::reason::Reason;
use halfshaft_model::Time;

use crate::limits::{Limits, Oil};
use crate::since_oil::SinceOil;
use crate::trust::{Kept, OIL};

/// Leaves out readings that jump.
#[derive(Clone, Debug)]
pub struct Gate {
    limits: Oil,
    kept: Option<(Time, f64)>,
    off: Option<f64>,
    n_off: u32,
    n_left_out: u64,
    // From and to where it stepped and stayed, °C, the first time.
    step: Option<(f64, f64)>,
}

impl Gate {
    /// A gate of those limits.
    pub fn new(limits: &Oil) -> Gate {
        Gate {
            limits: *limits,
            kept: None,
            off: None,
            n_off: 0,
            n_left_out: 0,
            step: None,
        }
    }

    /// Whether a reading may be taken.
    pub fn takes(&mut self, time: Time, celsius: f64) -> bool {
        let is_jump = |(before, was): (Time, f64)| {
            let seconds = time.since(before).max(0.0);
            self.limits.is_jump(celsius - was, seconds)
        };
        if self.kept.is_some_and(is_jump) {
            let agrees = self
                .off
                .is_some_and(|off| (celsius - off).abs() <= self.limits.jump_k);
            self.n_off = if agrees { self.n_off + 1 } else { 1 };
            self.off = Some(celsius);
            if self.n_off <= self.limits.jump_agreeing {
                self.n_left_out += 1;
                return false;
            }
            if let Some((_, was)) = self.kept {
                self.step.get_or_insert((was, celsius));
            }
        }
        (self.off, self.n_off) = (None, 0);
        self.kept = Some((time, celsius));
        true
    }

    /// The clock was cut: another drive may begin, cold or hot.
    pub fn interrupt(&mut self) {
        (self.kept, self.off, self.n_off) = (None, None, 0);
    }

    /// Readings left out.
    pub fn n_left_out(&self) -> u64 {
        self.n_left_out
    }
}

/// Watches a temperature over the whole drive.
#[derive(Clone, Debug)]
pub struct SensorWatch {
    gate: Gate,
    range: Option<(f64, f64)>,
    n_readings: u64,
    // Of the readings taken.
    sum: f64,
    n_taken: u64,
    latest: Option<(Time, f64)>,
    // The first one taken, °C, since when it has read the latest, and the least change so far, K.
    first_c: Option<f64>,
    since: Time,
    finest_k: f64,
    // When it last changed, the latest first.
    changes: [Option<Time>; N_OF_WITNESS],
}

/// Changes of the housing that prove an oil temperature stuck. Source: none, engineering guess: a
/// number on the edge of two steps makes two.
const N_OF_WITNESS: usize = 3;

impl SensorWatch {
    /// Nothing seen yet.
    pub fn new(limits: &Limits) -> SensorWatch {
        SensorWatch {
            gate: Gate::new(&limits.oil),
            range: None,
            n_readings: 0,
            sum: 0.0,
            n_taken: 0,
            latest: None,
            first_c: None,
            since: Time(0),
            finest_k: f64::INFINITY,
            changes: [None; N_OF_WITNESS],
        }
    }

    /// Whether a reading may be taken.
    pub fn takes(&mut self, time: Time, celsius: f64) -> bool {
        let is_taken = self.gate.takes(time, celsius);
        self.n_readings += 1;
        if is_taken {
            self.note_change(time, celsius);
            self.sum += celsius;
            self.n_taken += 1;
            let (low, high) = self.range.unwrap_or((celsius, celsius));
            self.range = Some((low.min(celsius), high.max(celsius)));
        }
        is_taken
    }

    fn note_change(&mut self, time: Time, celsius: f64) {
        if self.latest.is_none_or(|(_, was)| was != celsius) {
            if let Some((_, was)) = self.latest {
                self.finest_k = self.finest_k.min((celsius - was).abs());
                self.changes.rotate_right(1);
                self.changes[0] = Some(time);
            }
            self.since = time;
        }
        self.first_c.get_or_insert(celsius);
        self.latest = Some((time, celsius));
    }

    /// Why the oil temperature cannot be believed though its numbers could be right: it reads one of
    /// them to the end, through changes of the housing, or where none is logged through driving that
    /// heats and cools by more than a step.
    pub fn froze(
        &self,
        housing: &SensorWatch,
        driven: &SinceOil,
        step_k: Option<f64>,
        limits: &Oil,
    ) -> Option<Reason> {
        let (until, at_c) = self.latest?;
        let seconds = until.since(self.since);
        let shows = match housing.latest {
            Some(_) => housing.changes[N_OF_WITNESS - 1].is_some_and(|third| third > self.since),
            None => {
                step_k.unwrap_or(self.finest_k) <= limits.stuck_step_k
                    && driven.metres() >= limits.stuck_over_m
                    && driven.n_swings() >= limits.stuck_swings
            }
        };
        (seconds >= limits.stuck_after_s && shows).then_some(Reason::OilFroze {
            at_c,
            since_s: self.since.seconds(),
            seconds,
        })
    }

    /// The clock was cut.
    pub fn interrupt(&mut self) {
        self.gate.interrupt();
    }

    /// The highest reading taken, °C, behind the gate.
    pub fn highest_c(&self) -> Kept<Option<f64>, OIL> {
        Kept::new(self.range.map(|(_, high)| high))
    }

    /// Readings taken.
    pub fn n_taken(&self) -> u64 {
        self.n_taken
    }

    /// Mean of the readings taken, °C.
    fn mean_c(&self) -> Option<f64> {
        (self.n_taken > 0).then(|| self.sum / self.n_taken as f64)
    }

    /// Why the oil temperature cannot be believed beside that of the housing.
    pub fn apart_from(&self, housing: &SensorWatch, limits: &Oil) -> Option<Reason> {
        let (oil_c, housing_c) = (self.mean_c()?, housing.mean_c()?);
        let is_near = (oil_c - to_fahrenheit(housing_c)).abs() <= limits.near_fahrenheit_k;
        let most_k = match is_near {
            true => limits.housing_apart_in_fahrenheit_k,
            false => limits.housing_apart_k,
        };
        ((oil_c - housing_c).abs() > most_k).then_some(Reason::OilApartFromHousing {
            oil_c,
            housing_c,
            most_k,
        })
    }

    /// Why the oil temperature cannot be believed beside that of the air: a cold axle begins at the
    /// air's temperature and rises. A warm one cools first, unless it is driven hard.
    pub fn in_fahrenheit(
        &self,
        air: &SensorWatch,
        mean_speed: f64,
        limits: &Oil,
    ) -> Option<Reason> {
        let (first_c, (_, last_c), air_c) = (self.first_c?, self.latest?, air.first_c?);
        let is_at_air = (first_c - to_fahrenheit(air_c)).abs() <= limits.starts_in_fahrenheit_k;
        let is_apart = first_c - air_c > limits.cold_start_k;
        let rises = last_c >= first_c + limits.cold_rise_k;
        let is_gentle = mean_speed <= limits.gentle_m_per_s;
        (is_at_air && is_apart && rises && is_gentle)
            .then_some(Reason::OilInFahrenheit { first_c, air_c })
    }

    /// Why the oil temperature cannot be believed by itself.
    pub fn oil_trouble(&self, limits: &Oil) -> Option<Reason> {
        let (_, high) = self.range?;
        if high > limits.believable_to_c {
            return Some(Reason::OilNotBelieved {
                high_c: high,
                most_c: limits.believable_to_c,
            });
        }
        if let Some((from_c, to_c)) = self.gate.step {
            return Some(Reason::OilStepped { from_c, to_c });
        }
        let n_jumps = self.gate.n_left_out();
        let share = n_jumps as f64 / self.n_readings as f64;
        (share > limits.jumps_share && n_jumps >= u64::from(limits.jumps_least))
            .then_some(Reason::OilJumps { share })
    }

    /// Why the air temperature cannot be believed.
    pub fn air_trouble(&self, limits: &Oil) -> Option<Reason> {
        let (low, _) = self.range?;
        (low > limits.air_believable_to_c).then_some(Reason::AirNotBelieved { low_c: low })
    }
}

fn to_fahrenheit(celsius: f64) -> f64 {
    1.8 * celsius + 32.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watch(readings: &[f64]) -> (SensorWatch, Vec<bool>) {
        let mut watch = SensorWatch::new(&Limits::default());
        let taken = readings
            .iter()
            .enumerate()
            .map(|(second, celsius)| watch.takes(Time::from_seconds(second as f64), *celsius))
            .collect();
        (watch, taken)
    }

    #[test]
    fn a_spike_is_left_out_and_a_new_level_is_believed_when_it_stays() {
        let (spiked, taken) = watch(&[80.0, 81.0, 215.0, 82.0]);
        assert_eq!(taken, [true, true, false, true]);
        assert_eq!(
            (spiked.range, spiked.gate.n_left_out()),
            (Some((80.0, 82.0)), 1)
        );
        let (moved, taken) = watch(&[80.0, 120.0, 120.0, 121.0, 121.0, 121.0]);
        assert_eq!(taken, [true, false, false, false, true, true]);
        assert_eq!(moved.range, Some((80.0, 121.0)));
        let trouble = moved.oil_trouble(&Limits::default().oil);
        assert!(trouble.unwrap().to_string().contains("from 80 to 121 °C"));
        // Another drive may begin at another temperature.
        let mut two = watch(&[120.0, 121.0, 121.0]).0;
        two.interrupt();
        for second in 4..9 {
            two.takes(Time::from_seconds(f64::from(second)), 20.0);
        }
        assert_eq!(two.oil_trouble(&Limits::default().oil), None);
        // Noise that jumps about never agrees with itself.
        let (_, taken) = watch(&[80.0, 150.0, 20.0, 150.0, 20.0, 150.0, 81.0]);
        assert_eq!(taken, [true, false, false, false, false, false, true]);
    }

    #[test]
    fn oil_and_housing_of_one_unit_are_near_each_other() {
        let limits = Limits::default().oil;
        let apart = |oil: f64, housing: f64| {
            let why = watch(&[oil; 9])
                .0
                .apart_from(&watch(&[housing; 9]).0, &limits);
            why.map(|why| why.to_string())
        };
        // 63 °C read as °F, beside a housing of 55 °C.
        assert!(apart(145.0, 55.0).unwrap().contains("145 °C"));
        assert_eq!(apart(90.0, 55.0), None);
        // −6 °C in °F is 21 °F; hard work in frost is no more than 20 K over the housing.
        assert!(apart(21.0, -6.0).is_some());
        assert_eq!(apart(19.0, 0.0), None);
        assert_eq!(apart(21.0, -20.0), None, "that is no housing in °F");
        assert_eq!(
            watch(&[145.0; 9]).0.apart_from(&watch(&[]).0, &limits),
            None
        );
    }

    #[test]
    fn a_cold_axle_begins_at_the_air_and_in_fahrenheit_at_that_of_the_air() {
        let limits = Limits::default().oil;
        let at = |oil: &[f64], air: f64, mean_speed: f64| {
            let air = watch(&[air; 9]).0;
            let why = watch(oil).0.in_fahrenheit(&air, mean_speed, &limits);
            why.map(|why| why.to_string())
        };
        let starts = |oil: &[f64], air: f64| at(oil, air, 10.0);
        // Derived: 10 °C is 50 °F.
        assert!(starts(&[51.0, 53.0], 10.0).unwrap().contains("51 °C"));
        assert_eq!(starts(&[52.5, 56.0], 10.0), None, "not that of the air");
        // A warm axle that begins there cools first.
        assert_eq!(starts(&[50.0, 49.0, 51.0], 10.0), None);
        // Driven hard, a warm one rises as well.
        assert!(at(&[51.0, 53.0], 10.0, 15.0).is_some());
        assert_eq!(at(&[51.0, 53.0], 10.0, 15.1), None);
        // At −28 °C both scales are near each other.
        assert_eq!(starts(&[-19.0, -10.0], -28.0), None);
        assert_eq!(
            watch(&[51.0, 53.0])
                .0
                .in_fahrenheit(&watch(&[]).0, 10.0, &limits),
            None
        );
    }

    /// A sensor that moved by 1 °C in 20 s until it froze at 200 s, to the end at `until_s`.
    #[track_caller]
    fn check_froze(until_s: usize, housing: &[f64], driven: &SinceOil, step_k: f64, wanted: bool) {
        let oil: Vec<f64> = (0..=until_s)
            .map(|second| 20.0 + (0.05 * (second as f64).min(200.0)).floor())
            .collect();
        let limits = Limits::default().oil;
        let why = watch(&oil)
            .0
            .froze(&watch(housing).0, driven, Some(step_k), &limits);
        assert_eq!(why.is_some(), wanted, "{why:?}");
        if let Some(why) = why {
            let why = why.to_string();
            assert!(why.contains("30 °C from 3 min on"), "{why}");
        }
    }

    #[test]
    fn a_sensor_that_stands_still_through_driving() {
        use crate::since_oil::driven;
        let town = driven(1500.0, 6);
        check_froze(460, &[], &town, 1.0, true);
        check_froze(459, &[], &town, 1.0, false);
        // A jam, a motorway, a sensor of coarse steps: oil may rest.
        check_froze(900, &[], &driven(1499.0, 20), 1.0, false);
        check_froze(900, &[], &driven(30_000.0, 5), 1.0, false);
        check_froze(900, &[], &town, 2.0, false);
        // The housing tells more: it moved, or it rests as well.
        let warms: Vec<f64> = (0..900)
            .map(|second| (0.02 * f64::from(second)).floor())
            .collect();
        check_froze(900, &warms, &driven(0.0, 0), 2.0, true);
        check_froze(900, &[40.0; 900], &town, 1.0, false);
    }

    #[test]
    fn a_sensor_that_jumps_again_and_again_is_not_believed() {
        let limits = Limits::default().oil;
        let jumping = |every: usize| {
            let readings: Vec<f64> = (0..400)
                .map(|step| {
                    if step % every == 0 && step > 0 {
                        160.0
                    } else {
                        85.0
                    }
                })
                .collect();
            watch(&readings).0.oil_trouble(&limits)
        };
        assert!(
            jumping(7)
                .unwrap()
                .to_string()
                .contains("in 14 % of its readings")
        );
        assert_eq!(jumping(90), None);
    }

    #[test]
    fn another_unit_and_a_sound_sensor() {
        let limits = Limits::default().oil;
        let climb = |from: f64| {
            (0..200)
                .map(|step| from + f64::from(step))
                .collect::<Vec<_>>()
        };
        let (fahrenheit, _) = watch(&climb(60.0));
        let why = fahrenheit.oil_trouble(&limits);
        let why = why.unwrap().to_string();
        assert!(why.contains("259 °C") && why.contains("126 °C"), "{why}");
        assert_eq!(watch(&[85.0, 86.0]).0.oil_trouble(&limits), None);
        let (air, _) = watch(&[68.0, 69.0]);
        assert!(
            air.air_trouble(&limits)
                .unwrap()
                .to_string()
                .contains("20 °C")
        );
        assert_eq!(watch(&[30.0]).0.air_trouble(&limits), None);
    }
}
