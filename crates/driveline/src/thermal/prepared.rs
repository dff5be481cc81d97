//! The series of a drive laid out for many runs: everything that does not depend on what is
//! fitted, worked out once.
//!
//! In: bins of heat, readings of the air and of the sensor. Out: [`Prepared`]. Where heat is
//! not known none is put in, so temperatures after it are "at least"; gaps are passed with
//! no heat and, when long, end with the sensor's own reading.

use super::grid::Grid;
use super::heat_series::{HeatBin, ReadingBin};
use super::pack_excess::{N_FILTERS, PackExcess};
use super::parameters::air_flow;

/// After a longer gap than this the temperatures start anew from the sensor, s. Source: none,
/// engineering guess: five time constants of the pack.
const STARTS_ANEW_S: f64 = 60.0;

/// A reading this soon after a gap or the start stands for it, s.
pub const READING_REACH_S: f64 = 30.0;

/// Longest gap that is passed step by step, s; after it all is at the air's temperature anyway.
const LONGEST_GAP_S: f64 = 4.0 * 3600.0;

/// Road speed that the airflow is taken at when no speed was logged at all, m/s.
const UNKNOWN_SPEED_M_PER_S: f64 = 15.0;

/// A stretch of constant load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Its start on the vehicle's clock, s.
    pub start_s: f64,
    /// Its length, s.
    pub seconds: f64,
    /// Computed heat of the packs, W.
    pub pack_w: f64,
    /// Power through the axle, known or stood in for, W.
    pub axle_w: f64,
    /// Mean square of the case speed, rad²/s².
    pub case_squared: f64,
    /// Strength of the air.
    pub air_flow: f64,
    /// The air as stated, °C.
    pub ambient_c: f64,
    /// What the bin's peak lies above that of its mean heat, for each filter, J.
    pub surplus_j: [f64; N_FILTERS],
    /// It passes over a gap.
    pub is_gap: bool,
    /// The sensor's reading from which the temperatures start anew, °C.
    pub starts_anew_c: Option<f64>,
}

/// One reading, or the mean of those of a bin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation {
    /// The stretch it lies in.
    pub stretch: usize,
    /// Its place in it, 0 to 1.
    pub share: f64,
    /// What the sensor said, °C.
    pub celsius: f64,
}

/// A drive laid out.
#[derive(Clone, Debug, PartialEq)]
pub struct Prepared {
    /// Stretches in order.
    pub stretches: Vec<Stretch>,
    /// Observations in order.
    pub observations: Vec<Observation>,
}

impl Prepared {
    /// Lays out a drive. `air_c` holds the mean times and values of the air's readings, or
    /// one value assumed.
    pub fn new(heat: &Grid<HeatBin>, sensor: &Grid<ReadingBin>, air_c: &[(f64, f64)]) -> Prepared {
        let width = heat.width_s();
        let road_s: f64 = heat.bins().iter().map(|(_, bin)| bin.road_known_s).sum();
        let mean_flow = match road_s > 0.0 {
            true => heat.bins().iter().map(|(_, bin)| bin.air_s).sum::<f64>() / road_s,
            false => air_flow(UNKNOWN_SPEED_M_PER_S),
        };
        let mut stretches: Vec<Stretch> = Vec::with_capacity(heat.bins().len());
        let mut filters = PackExcess::default();
        let mut next = heat.bins().first().map_or(0, |(index, _)| *index);
        for (index, bin) in heat.bins() {
            let start_s = *index as f64 * width;
            let mut starts_anew_c = None;
            if *index > next {
                let gap_s = (index - next) as f64 * width;
                filters.advance(0.0, gap_s);
                let gap = gap(start_s - gap_s, gap_s, stretches.last(), mean_flow);
                stretches.push(gap);
                if gap_s > STARTS_ANEW_S {
                    starts_anew_c = first_reading(sensor, start_s);
                }
            }
            next = index + 1;
            let before = filters.held_j;
            let pack_w = bin.pack_j / width;
            filters.advance(pack_w, width);
            let by_mean = PackExcess::greatest(&before, &filters.held_j);
            let per_known =
                |sum: f64, known_s: f64| if known_s > 0.0 { sum / known_s } else { 0.0 };
            stretches.push(Stretch {
                start_s,
                seconds: width,
                pack_w,
                axle_w: per_known(bin.axle_j + bin.stand_in_j, bin.known_s),
                case_squared: per_known(bin.case_squared_s, bin.case_known_s),
                air_flow: match bin.road_known_s > 0.0 {
                    true => bin.air_s / bin.road_known_s,
                    false => mean_flow,
                },
                ambient_c: interpolated(air_c, start_s + 0.5 * width),
                surplus_j: std::array::from_fn(|filter| {
                    (bin.pack_peak_j[filter] - by_mean[filter]).max(0.0)
                }),
                is_gap: false,
                starts_anew_c,
            });
        }
        let observations = observations(&stretches, sensor);
        Prepared {
            stretches,
            observations,
        }
    }

    /// The reading that stands for the start of the drive, °C.
    pub fn first_c(&self) -> Option<f64> {
        let first = self.observations.first()?;
        let (start, at) = (self.stretches.first()?, &self.stretches[first.stretch]);
        let late_s = at.start_s + first.share * at.seconds - start.start_s;
        (late_s <= READING_REACH_S).then_some(first.celsius)
    }

    /// Time of an observation, s.
    pub fn time_s(&self, observation: &Observation) -> f64 {
        let stretch = &self.stretches[observation.stretch];
        stretch.start_s + observation.share * stretch.seconds
    }
}

fn gap(start_s: f64, seconds: f64, before: Option<&Stretch>, mean_flow: f64) -> Stretch {
    Stretch {
        start_s,
        seconds: seconds.min(LONGEST_GAP_S),
        pack_w: 0.0,
        axle_w: 0.0,
        case_squared: 0.0,
        air_flow: before.map_or(mean_flow, |stretch| stretch.air_flow),
        ambient_c: before.map_or(0.0, |stretch| stretch.ambient_c),
        surplus_j: [0.0; N_FILTERS],
        is_gap: true,
        starts_anew_c: None,
    }
}

fn first_reading(sensor: &Grid<ReadingBin>, start_s: f64) -> Option<f64> {
    let place = sensor
        .bins()
        .partition_point(|(_, bin)| bin.mean_s() < start_s);
    let (_, bin) = sensor.bins().get(place)?;
    (bin.mean_s() - start_s <= READING_REACH_S).then(|| bin.mean_c())
}

/// Straight between readings and held beyond them. Air changes slowly, so it is held over
/// gaps too.
fn interpolated(points: &[(f64, f64)], time_s: f64) -> f64 {
    let place = points.partition_point(|(time, _)| *time < time_s);
    match (
        place.checked_sub(1).and_then(|before| points.get(before)),
        points.get(place),
    ) {
        (Some((t0, c0)), Some((t1, c1))) => c0 + (c1 - c0) * (time_s - t0) / (t1 - t0),
        (Some((_, celsius)), None) | (None, Some((_, celsius))) => *celsius,
        (None, None) => 0.0,
    }
}

fn observations(stretches: &[Stretch], sensor: &Grid<ReadingBin>) -> Vec<Observation> {
    let mut found = Vec::with_capacity(sensor.bins().len());
    for (_, bin) in sensor.bins() {
        let time_s = bin.mean_s();
        let place = stretches.partition_point(|stretch| stretch.start_s <= time_s);
        let Some(stretch) = place.checked_sub(1) else {
            continue;
        };
        let Stretch {
            start_s,
            seconds,
            is_gap,
            ..
        } = stretches[stretch];
        let share = (time_s - start_s) / seconds;
        if share <= 1.0 && !is_gap {
            found.push(Observation {
                stretch,
                share,
                celsius: bin.mean_c(),
            });
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::testing::{heat_of, readings_of};
    use super::*;

    #[test]
    fn gaps_are_passed_without_heat_and_long_ones_end_with_a_reading() {
        // 100 s of 1 kW, 5 s of nothing, 100 s, 300 s of nothing, 100 s.
        let is_there =
            |time: f64| !(100.0..105.0).contains(&time) && !(205.0..505.0).contains(&time);
        let heat = heat_of(605.0, |time| is_there(time).then_some(1000.0));
        let sensor = readings_of(605.0, 1.0, |time| 50.0 + time / 10.0);
        let prepared = Prepared::new(&heat.with_open_bins(), sensor.grid(), &[(0.0, 20.0)]);
        let gaps: Vec<&Stretch> = prepared.stretches.iter().filter(|at| at.is_gap).collect();
        assert_eq!(gaps.len(), 2);
        assert_eq!((gaps[0].start_s, gaps[0].seconds), (100.0, 5.0));
        assert_eq!((gaps[1].start_s, gaps[1].seconds), (205.0, 300.0));
        let anew: Vec<f64> = prepared
            .stretches
            .iter()
            .filter_map(|at| at.starts_anew_c)
            .collect();
        assert_eq!(anew.len(), 1);
        assert!((anew[0] - 100.5).abs() < 0.11, "{anew:?}");
        let total: f64 = prepared
            .stretches
            .iter()
            .map(|at| at.pack_w * at.seconds)
            .sum();
        assert!((total - 300_000.0).abs() < 1.0, "{total}");
        // None of the readings in gaps counts.
        let in_gaps = prepared.observations.iter().filter(|at| {
            let time = prepared.time_s(at);
            !is_there(time)
        });
        assert_eq!(in_gaps.count(), 0);
        assert_eq!(prepared.first_c().map(f64::round), Some(50.0));
    }

    #[test]
    fn cells_lose_nothing_and_wide_bins_keep_their_peaks() {
        let burst = |time: f64| {
            Some(if (301.0..303.0).contains(&time) {
                9000.0
            } else {
                0.0
            })
        };
        let heat = heat_of(900.0, burst);
        let none = readings_of(0.0, 1.0, |_| 0.0);
        let fine = heat.with_open_bins();
        let prepared = Prepared::new(&fine, none.grid(), &[(0.0, 20.0)]);
        let surplus = prepared.stretches.iter().flat_map(|at| at.surplus_j);
        assert!(surplus.fold(0.0, f64::max) < 1e-6);
        let wide = Prepared::new(&fine.coarse(16.0, 1000), none.grid(), &[(0.0, 20.0)]);
        let surplus = wide.stretches.iter().map(|at| at.surplus_j[2]);
        // 18 kJ in 2 s leave 16.6 kJ at τ = 12 s; over 16 s their mean leaves 9.9 kJ.
        let most = surplus.fold(0.0, f64::max);
        assert!((most - 6_620.0).abs() < 100.0, "{most}");
    }

    #[test]
    fn air_is_held_beyond_its_readings() {
        let points = [(10.0, 20.0), (20.0, 30.0)];
        for (time, wanted) in [(0.0, 20.0), (15.0, 25.0), (99.0, 30.0)] {
            assert_eq!(interpolated(&points, time), wanted);
        }
    }
}
