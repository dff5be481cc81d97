//! Whether a temperature can be believed, reading by reading and as a whole.
//!
//! In: the readings. Out: which to take, and why none may be: a sensor that jumps as no oil
//! does, one that never moves, one whose numbers are of another unit. What is left out is
//! counted; what cannot be believed as a whole is withheld with its reason, never mended.

use crate::reason::Reason;
use halfshaft_model::Time;

use crate::limits::{Limits, Oil};
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
    // Since when it has read that, after how many changes, and the longest it read one number
    // before, s.
    since: Time,
    n_changes: u32,
    longest_s: f64,
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
            since: Time(0),
            n_changes: 0,
            longest_s: 0.0,
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
            if self.latest.is_some() {
                self.n_changes += 1;
                self.longest_s = self.longest_s.max(time.since(self.since));
                self.changes.rotate_right(1);
                self.changes[0] = Some(time);
            }
            self.since = time;
        }
        self.latest = Some((time, celsius));
    }

    /// Why the oil temperature cannot be believed though it moved at first: it reads one number to
    /// the end, far longer than ever before, and through heat and changes of the housing.
    pub fn froze(
        &self,
        housing: &SensorWatch,
        heat_kj: Option<f64>,
        limits: &Oil,
    ) -> Option<Reason> {
        let (until, at_c) = self.latest?;
        let seconds = until.since(self.since);
        let share = seconds / until.seconds().max(1e-9);
        let heats = heat_kj.is_some_and(|heat_kj| heat_kj * share >= limits.stuck_from_kj);
        let housing_moves = housing.latest.is_none()
            || housing.changes[N_OF_WITNESS - 1].is_some_and(|third| third > self.since);
        let is_long = seconds >= limits.stuck_after_s
            && seconds >= limits.stuck_runs * self.longest_s
            && self.n_changes > 0;
        (is_long && heats && housing_moves).then_some(Reason::OilFroze {
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
    pub fn apart_from(&self, housing: &SensorWatch) -> Option<Reason> {
        let (oil_c, housing_c) = (self.mean_c()?, housing.mean_c()?);
        let most_k = self.gate.limits.housing_apart_k;
        ((oil_c - housing_c).abs() > most_k).then_some(Reason::OilApartFromHousing {
            oil_c,
            housing_c,
            most_k,
        })
    }

    /// Why the oil temperature cannot be believed as a whole, for a drive that moved for
    /// `moving_s` and heated the pack by `heat_kj`.
    pub fn oil_trouble(&self, moving_s: f64, heat_kj: Option<f64>, limits: &Oil) -> Option<Reason> {
        let (low, high) = self.range?;
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
        if share > limits.jumps_share && n_jumps >= u64::from(limits.jumps_least) {
            return Some(Reason::OilJumps { share });
        }
        let is_stuck = low == high
            && moving_s >= limits.stuck_after_s
            && heat_kj.is_some_and(|heat_kj| heat_kj >= limits.stuck_from_kj);
        is_stuck.then_some(Reason::OilStuck {
            at_c: low,
            moving_s,
            heat_kj: heat_kj.unwrap_or(0.0),
        })
    }

    /// Why the air temperature cannot be believed.
    pub fn air_trouble(&self, limits: &Oil) -> Option<Reason> {
        let (low, _) = self.range?;
        (low > limits.air_believable_to_c).then_some(Reason::AirNotBelieved { low_c: low })
    }
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
        let trouble = moved.oil_trouble(60.0, None, &Limits::default().oil);
        assert!(trouble.unwrap().to_string().contains("from 80 to 121 °C"));
        // Another drive may begin at another temperature.
        let mut two = watch(&[120.0, 121.0, 121.0]).0;
        two.interrupt();
        for second in 4..9 {
            two.takes(Time::from_seconds(f64::from(second)), 20.0);
        }
        assert_eq!(two.oil_trouble(60.0, None, &Limits::default().oil), None);
        // Noise that jumps about never agrees with itself.
        let (_, taken) = watch(&[80.0, 150.0, 20.0, 150.0, 20.0, 150.0, 81.0]);
        assert_eq!(taken, [true, false, false, false, false, false, true]);
    }

    #[test]
    fn oil_and_housing_of_one_unit_are_near_each_other() {
        // 63 °C read as °F, beside a housing of 55 °C.
        let (oil, housing) = (watch(&[145.0; 9]).0, watch(&[55.0; 9]).0);
        assert!(
            oil.apart_from(&housing)
                .unwrap()
                .to_string()
                .contains("145 °C")
        );
        assert_eq!(watch(&[90.0; 9]).0.apart_from(&housing), None);
        assert_eq!(oil.apart_from(&watch(&[]).0), None);
    }

    #[test]
    fn a_sensor_that_froze_on_the_way() {
        let limits = Limits::default().oil;
        let trouble = |froze_at: f64, n: usize, heat_kj: f64, housing: &[f64]| {
            // One °C in 20 s until it froze.
            let oil: Vec<f64> = (0..n)
                .map(|second| 20.0 + (0.05 * (second as f64).min(froze_at)).floor())
                .collect();
            let (oil, housing) = (watch(&oil).0, watch(housing).0);
            oil.froze(&housing, Some(heat_kj), &limits)
        };
        let warms: Vec<f64> = (0..1600)
            .map(|second| (0.02 * f64::from(second)).floor())
            .collect();
        let why = trouble(600.0, 1600, 100.0, &warms).unwrap().to_string();
        assert!(
            why.contains("50 °C") && why.contains("from 10 min"),
            "{why}"
        );
        assert!(trouble(600.0, 1600, 100.0, &[]).is_some());
        // Too short, too little heat, a housing that stands as well: warm through.
        assert_eq!(trouble(600.0, 1400, 100.0, &warms), None);
        assert_eq!(trouble(600.0, 1600, 10.0, &warms), None);
        assert_eq!(trouble(600.0, 1600, 100.0, &[40.0; 1600]), None);
        // It read one number for as long before.
        let (slow, _) = watch(&[vec![50.0; 500], vec![51.0; 1200]].concat());
        assert_eq!(slow.froze(&watch(&warms).0, Some(100.0), &limits), None);
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
            watch(&readings).0.oil_trouble(1200.0, None, &limits)
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
    fn another_unit_a_stuck_sensor_and_a_sound_one() {
        let limits = Limits::default().oil;
        let climb = |from: f64| {
            (0..200)
                .map(|step| from + f64::from(step))
                .collect::<Vec<_>>()
        };
        let (fahrenheit, _) = watch(&climb(60.0));
        let why = fahrenheit.oil_trouble(900.0, Some(50.0), &limits);
        let why = why.unwrap().to_string();
        assert!(why.contains("259 °C") && why.contains("126 °C"), "{why}");
        let (stuck, _) = watch(&[85.0; 1000]);
        let why = stuck.oil_trouble(1200.0, Some(50.0), &limits);
        let why = why.unwrap().to_string();
        assert!(why.contains("looks stuck"), "{why}");
        // A short drive, a cool pack or a pack of unknown heat prove nothing.
        for (moving_s, heat_kj) in [(300.0, Some(50.0)), (1200.0, Some(1.0)), (1200.0, None)] {
            assert_eq!(stuck.oil_trouble(moving_s, heat_kj, &limits), None);
        }
        let (sound, _) = watch(&[85.0, 86.0]);
        assert_eq!(sound.oil_trouble(1200.0, Some(50.0), &limits), None);
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
