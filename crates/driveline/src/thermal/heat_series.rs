//! What heated and cooled the axle over the drive, kept in bounded bins while it streams by.
//!
//! In: [`HeatSample`]s in order of time, and sensor readings. Out: [`HeatSeries`] and
//! [`Readings`], from which the temperatures are worked out at the end. Memory does not grow
//! with the log: cells of half a second become wider bins, and the peaks of the pack are kept
//! beside them (see `pack_excess`). It makes no temperature itself.
//!
//! Samples and readings may run ahead of one another by any time: they are kept apart, so
//! how they were interleaved changes nothing.

use std::collections::VecDeque;

use halfshaft_model::Time;
use halfshaft_model::constants::NS_PER_S;

use super::CELL_S;
use super::gear_loss::ordinary_road_load_w;
use super::grid::{Grid, Pool};
use super::pack_excess::{CellFilters, N_FILTERS, PackExcess};
use super::parameters::air_flow;

/// Cells that stay open for samples whose time reaches back into them: 4 s.
const N_OPEN_CELLS: u64 = 8;

/// Longest time one sample may stand for, s; a longer one is a gap told wrongly.
const LONGEST_SAMPLE_S: f64 = 4.0;

const CELL_NS: i64 = (CELL_S * NS_PER_S as f64) as i64;

/// What acts at one time. Missing is `None`, never zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeatSample {
    /// The time.
    pub time: Time,
    /// How much time the sample stands for, half before and half after, s. A gap is time for
    /// which no sample stands.
    pub seconds: f64,
    /// Heat of all packs, W.
    pub pack_power_w: Option<f64>,
    /// Power through the axle, W.
    pub axle_power_w: Option<f64>,
    /// Speed of the case, rad/s.
    pub case_speed_rad_per_s: Option<f64>,
    /// Road speed, m/s.
    pub road_speed_m_per_s: Option<f64>,
}

/// Sums over a bin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeatBin {
    /// Time that samples stand for, s.
    pub known_s: f64,
    /// Time of those whose pack heat is known, s.
    pub pack_known_s: f64,
    /// Heat of the packs, J.
    pub pack_j: f64,
    /// Time of those whose axle power is known, s.
    pub axle_known_s: f64,
    /// Work through the axle where it is known, in drive and overrun alike, J.
    pub axle_j: f64,
    /// Work an ordinary car would put through it where it is not known, J.
    pub stand_in_j: f64,
    /// Time of those whose case speed is known, s.
    pub case_known_s: f64,
    /// Square of the case speed times time, rad²/s.
    pub case_squared_s: f64,
    /// Time of those whose road speed is known, s.
    pub road_known_s: f64,
    /// Distance, m.
    pub road_m: f64,
    /// Strength of the air times time, s.
    pub air_s: f64,
    /// Highest that each filter of `pack_excess` reached, J.
    pub pack_peak_j: [f64; N_FILTERS],
}

impl Pool for HeatBin {
    fn pool(&mut self, later: &HeatBin) {
        self.known_s += later.known_s;
        self.pack_known_s += later.pack_known_s;
        self.pack_j += later.pack_j;
        self.axle_known_s += later.axle_known_s;
        self.axle_j += later.axle_j;
        self.stand_in_j += later.stand_in_j;
        self.case_known_s += later.case_known_s;
        self.case_squared_s += later.case_squared_s;
        self.road_known_s += later.road_known_s;
        self.road_m += later.road_m;
        self.air_s += later.air_s;
        self.pack_peak_j = PackExcess::greatest(&self.pack_peak_j, &later.pack_peak_j);
    }
}

impl HeatBin {
    fn add(&mut self, sample: &HeatSample, seconds: f64) {
        self.known_s += seconds;
        if let Some(power) = sample.pack_power_w.filter(|power| power.is_finite()) {
            self.pack_known_s += seconds;
            self.pack_j += power * seconds;
        }
        let road_speed = sample.road_speed_m_per_s.filter(|speed| speed.is_finite());
        match sample.axle_power_w.filter(|power| power.is_finite()) {
            Some(power) => {
                self.axle_known_s += seconds;
                self.axle_j += power.abs() * seconds;
            }
            None => self.stand_in_j += ordinary_road_load_w(road_speed.unwrap_or(0.0)) * seconds,
        }
        if let Some(speed) = sample
            .case_speed_rad_per_s
            .filter(|speed| speed.is_finite())
        {
            self.case_known_s += seconds;
            self.case_squared_s += speed * speed * seconds;
        }
        if let Some(speed) = road_speed {
            self.road_known_s += seconds;
            self.road_m += speed.abs() * seconds;
        }
    }
}

/// The heat of a drive in bounded bins.
#[derive(Clone, Debug, Default)]
pub struct HeatSeries {
    grid: Grid<HeatBin>,
    filters: CellFilters,
    // Cells that may still be added to, oldest first, each with its index.
    open: VecDeque<(u64, HeatBin)>,
}

impl HeatSeries {
    /// Takes a sample. Its time may reach back over the one before it, not over 4 s.
    pub fn push(&mut self, sample: &HeatSample) {
        if sample.seconds.is_nan() || sample.seconds <= 0.0 {
            return;
        }
        let half_ns = (0.5e9 * sample.seconds.min(LONGEST_SAMPLE_S)).round() as i64;
        let start = sample.time.0.saturating_sub(half_ns).max(0);
        let end = sample.time.0.saturating_add(half_ns).max(0);
        let mut from = start;
        while from < end {
            let cell = from / CELL_NS;
            let until = end.min((cell + 1).saturating_mul(CELL_NS));
            let seconds = (until - from) as f64 / NS_PER_S as f64;
            self.cell(cell as u64).add(sample, seconds);
            from = until;
        }
        let latest = (start / CELL_NS) as u64;
        while let Some((cell, bin)) = self
            .open
            .pop_front_if(|(cell, _)| *cell + N_OPEN_CELLS < latest)
        {
            self.close(cell, bin);
        }
    }

    /// The open cell of an index, or the oldest one when that is closed already.
    fn cell(&mut self, index: u64) -> &mut HeatBin {
        let last = self.open.len().wrapping_sub(1);
        // Nearly always it is the latest one.
        let place = match self.open.back() {
            Some((cell, _)) if *cell == index => last,
            _ => self.open.partition_point(|(cell, _)| *cell < index),
        };
        let is_there = self.open.get(place).is_some_and(|(cell, _)| *cell == index);
        if is_there {
            return &mut self.open[place].1;
        }
        let is_closed = self.filters.is_past(index);
        if !is_closed || self.open.is_empty() {
            let index = index.max(self.filters.next());
            self.open.insert(place, (index, HeatBin::default()));
        }
        &mut self.open[place].1
    }

    fn close(&mut self, cell: u64, mut bin: HeatBin) {
        bin.pack_peak_j = self.filters.take(cell, bin.pack_j);
        if bin.road_known_s > 0.0 {
            // At the mean speed of the cell: braked from 30 to 25 m/s in it, as hard as cars do,
            // that is 0.03 % more than the mean over it.
            bin.air_s = air_flow(bin.road_m / bin.road_known_s) * bin.road_known_s;
        }
        self.grid.take(cell, bin);
    }

    /// The bins so far with those still open, as of now; the series may go on after it.
    pub fn with_open_bins(&self) -> Grid<HeatBin> {
        let mut whole = self.clone();
        while let Some((cell, bin)) = whole.open.pop_front() {
            whole.close(cell, bin);
        }
        whole.grid
    }
}

/// Readings of one sensor in a bin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ReadingBin {
    /// How many.
    pub n: f64,
    /// Their sum, °C.
    pub sum_c: f64,
    /// The sum of their times, s.
    pub sum_s: f64,
}

impl Pool for ReadingBin {
    fn pool(&mut self, later: &ReadingBin) {
        self.n += later.n;
        self.sum_c += later.sum_c;
        self.sum_s += later.sum_s;
    }
}

impl ReadingBin {
    /// Mean of the readings, °C.
    pub fn mean_c(&self) -> f64 {
        self.sum_c / self.n
    }

    /// Mean of their times, s on the vehicle's clock.
    pub fn mean_s(&self) -> f64 {
        self.sum_s / self.n
    }
}

/// Readings of one temperature sensor over the drive, in bounded bins.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    grid: Grid<ReadingBin>,
}

impl Readings {
    /// Takes a reading; one that is no number is left out.
    pub fn push(&mut self, time: Time, celsius: f64) {
        if !celsius.is_finite() {
            return;
        }
        let time_ns = time.0.max(0);
        let reading = ReadingBin {
            n: 1.0,
            sum_c: celsius,
            sum_s: time_ns as f64 / NS_PER_S as f64,
        };
        self.grid.take((time_ns / CELL_NS) as u64, reading);
    }

    /// The bins.
    pub fn grid(&self) -> &Grid<ReadingBin> {
        &self.grid
    }
}

#[cfg(test)]
mod tests {
    use super::super::pack_excess::FILTER_TIMES_S;
    use super::*;

    fn sample(time_s: f64, seconds: f64, pack_w: f64) -> HeatSample {
        HeatSample {
            time: Time::from_seconds(time_s),
            seconds,
            pack_power_w: Some(pack_w),
            axle_power_w: Some(-20_000.0),
            case_speed_rad_per_s: Some(50.0),
            road_speed_m_per_s: Some(30.0),
        }
    }

    #[test]
    fn sums_are_those_of_the_samples() {
        let mut series = HeatSeries::default();
        // Odd intervals; the gap of 20 s in the middle stays empty.
        for index in 0..1000 {
            let time = 0.5 + 0.07 * f64::from(index) + if index >= 500 { 20.0 } else { 0.0 };
            series.push(&sample(time, 0.07, 1000.0));
        }
        let settled = series.with_open_bins();
        let bins = settled.bins();
        let sum = |of: fn(&HeatBin) -> f64| bins.iter().map(|(_, bin)| of(bin)).sum::<f64>();
        assert!((sum(|bin| bin.known_s) - 70.0).abs() < 1e-6);
        assert!((sum(|bin| bin.pack_j) - 70_000.0).abs() < 1e-3);
        assert!((sum(|bin| bin.axle_j) - 1.4e6).abs() < 0.1);
        assert!((sum(|bin| bin.air_s) - 70.0).abs() < 1e-6);
        assert!((sum(|bin| bin.case_squared_s) - 2500.0 * 70.0).abs() < 1e-2);
        assert!((sum(|bin| bin.road_m) - 2100.0).abs() < 1e-4);
        assert!((bins.len() as f64 - 141.0).abs() <= 2.0);
        assert!(bins.iter().all(|(_, bin)| bin.known_s <= 0.5 + 1e-9));
    }

    #[test]
    fn merging_bins_keeps_every_sum() {
        let mut series = HeatSeries::default();
        for index in 0..800 {
            let next = sample(0.3 * f64::from(index), 0.3, f64::from(index));
            series.push(&HeatSample {
                // Half of it without axle power, so that the stand-in counts too.
                axle_power_w: next.axle_power_w.filter(|_| index < 400),
                ..next
            });
        }
        let fine = series.with_open_bins();
        let wide = fine.coarse(16.0, 1000);
        assert!(wide.bins().len() < 20);
        let sums = |grid: &Grid<HeatBin>| -> [f64; 11] {
            let of = |bin: &HeatBin| {
                [
                    bin.known_s,
                    bin.pack_known_s,
                    bin.pack_j,
                    bin.axle_known_s,
                    bin.axle_j,
                    bin.stand_in_j,
                    bin.case_known_s,
                    bin.case_squared_s,
                    bin.road_known_s,
                    bin.road_m,
                    bin.air_s,
                ]
            };
            grid.bins().iter().fold([0.0; 11], |sums, (_, bin)| {
                let more = of(bin);
                std::array::from_fn(|index| sums[index] + more[index])
            })
        };
        for (fine, wide) in sums(&fine).into_iter().zip(sums(&wide)) {
            assert!(
                fine > 0.0 && (wide / fine - 1.0).abs() < 1e-9,
                "{fine} {wide}"
            );
        }
    }

    #[test]
    fn missing_is_not_zero() {
        let mut series = HeatSeries::default();
        for index in 0..10 {
            series.push(&HeatSample {
                pack_power_w: Some(f64::NAN),
                axle_power_w: None,
                case_speed_rad_per_s: None,
                ..sample(f64::from(index), 1.0, 0.0)
            });
        }
        let settled = series.with_open_bins();
        for (_, bin) in settled.bins() {
            assert_eq!((bin.pack_known_s, bin.axle_known_s), (0.0, 0.0));
            assert_eq!((bin.case_known_s, bin.axle_j), (0.0, 0.0));
            assert!(bin.stand_in_j > 0.0 && bin.known_s > 0.0);
        }
    }

    #[test]
    fn samples_that_reach_back_keep_their_heat() {
        let mut series = HeatSeries::default();
        let mut given = 0.0;
        for (time, seconds) in [
            (10.0, 0.1),
            (30.0, 0.1),
            (31.5, 3.0),
            (20.0, 0.2),
            (40.0, 9.0),
        ] {
            series.push(&sample(time, seconds, 100.0));
            given += 100.0 * f64::min(seconds, LONGEST_SAMPLE_S);
        }
        let settled = series.with_open_bins();
        let kept: f64 = settled.bins().iter().map(|(_, bin)| bin.pack_j).sum();
        assert!((kept - given).abs() < 1e-6, "{kept} {given}");
        assert!(settled.bins().windows(2).all(|pair| pair[0].0 < pair[1].0));
    }

    #[test]
    fn a_short_peak_outlives_the_widening() {
        // Nine hours, one burst of 8 kW for 3 s across the grid: bins are 2 s wide or more.
        let mut series = HeatSeries::default();
        for index in 0..36_000 * 2 {
            let time = 0.5 * f64::from(index) + 0.25;
            let is_burst = (17_001.0..17_004.0).contains(&time);
            series.push(&sample(time, 0.5, if is_burst { 8000.0 } else { 0.0 }));
        }
        let settled = series.with_open_bins();
        assert!(settled.width_s() >= 2.0);
        let held = settled.bins().iter().map(|(_, bin)| bin.pack_peak_j);
        let highest = held.fold([0.0; N_FILTERS], |high, bin| {
            PackExcess::greatest(&high, &bin)
        });
        for (highest, time) in highest.into_iter().zip(FILTER_TIMES_S) {
            let wanted = 8000.0 * time * (1.0 - (-3.0 / time).exp());
            assert!((highest / wanted - 1.0).abs() < 1e-9, "{highest} {wanted}");
        }
    }

    #[test]
    fn asking_in_between_changes_nothing() {
        let (mut asked, mut left_alone) = (HeatSeries::default(), HeatSeries::default());
        for index in 0..5000 {
            let next = sample(0.013 * f64::from(index), 0.013, f64::from(index % 17));
            asked.push(&next);
            left_alone.push(&next);
            if index % 400 == 0 {
                asked.with_open_bins();
            }
        }
        assert_eq!(
            asked.with_open_bins().bins(),
            left_alone.with_open_bins().bins()
        );
    }

    #[test]
    fn hostile_times_do_no_harm() {
        let mut series = HeatSeries::default();
        for (time, seconds) in [
            (i64::MIN, 1.0),
            (i64::MAX, 1.0),
            (0, f64::NAN),
            (0, -1.0),
            (0, f64::INFINITY),
        ] {
            series.push(&HeatSample {
                time: Time(time),
                ..sample(0.0, seconds, 1.0)
            });
        }
        assert!(series.with_open_bins().bins().len() < 20);
        let mut readings = Readings::default();
        readings.push(Time(-5), 20.0);
        readings.push(Time(5), f64::NAN);
        assert_eq!(readings.grid().bins()[0].1.n, 1.0);
    }
}
