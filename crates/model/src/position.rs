//! Positions on the earth: fixes from latitude and longitude, and metres between them.
//!
//! In: blocks with the channels `position.latitude` and `position.longitude`. Out: [`Fix`]es in
//! order of time. The two may come in frames of their own: the one that has a sample on
//! both sides of a time is interpolated there.

use crate::block::Block;
use crate::channel::ChannelSpec;
use crate::channel::name;
use crate::time::Time;

/// Mean radius of the earth, m. Source: IUGG (mean radius R1 of GRS 80), from memory.
const EARTH_M: f64 = 6_371_008.8;

/// Samples further apart than this are not joined, s. Receivers send once a second or more
/// often. Source: none, engineering guess.
const LONGEST_JOIN_S: f64 = 2.5;

/// A position, rad; north and east positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Latitude.
    pub latitude: f64,
    /// Longitude.
    pub longitude: f64,
}

impl Position {
    /// A position in degrees; `None` when there is none such on the earth.
    pub fn from_degrees(latitude: f64, longitude: f64) -> Option<Position> {
        let is_on_earth = latitude.abs() <= 90.0 && longitude.abs() <= 180.0;
        is_on_earth.then(|| Position {
            latitude: latitude.to_radians(),
            longitude: longitude.to_radians(),
        })
    }

    /// Metres east and north of another position, on the plane that touches the earth there:
    /// x = R·cos φ·Δλ, y = R·Δφ. Good to a thousandth within some kilometres.
    pub fn east_north_m(&self, of: Position) -> (f64, f64) {
        let around = std::f64::consts::TAU;
        let mut east = self.longitude - of.longitude;
        east -= around * (east / around).round();
        (
            EARTH_M * of.latitude.cos() * east,
            EARTH_M * (self.latitude - of.latitude),
        )
    }

    /// Metres between two positions no more than some kilometres apart.
    pub fn distance_m(&self, other: Position) -> f64 {
        let (east, north) = self.east_north_m(other);
        east.hypot(north)
    }
}

/// Where the car was, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fix {
    /// The time.
    pub time: Time,
    /// The position.
    pub position: Position,
    /// Nothing but the drive lies between this fix and the one before it: no gap, no cut.
    pub is_joined: bool,
}

/// Latest sample and the one before it.
#[derive(Clone, Copy, Debug, Default)]
struct Latest {
    before: Option<(Time, f64)>,
    now: Option<(Time, f64)>,
}

impl Latest {
    fn take(&mut self, time: Time, value: Option<f64>) {
        self.before = self.now.filter(|_| value.is_some());
        self.now = value.map(|value| (time, value));
    }

    /// The value at a time no later than the latest sample.
    fn at(&self, time: Time) -> Option<f64> {
        let (end, last) = self.now?;
        if end == time {
            return Some(last);
        }
        let (start, first) = self.before?;
        let length_s = end.since(start);
        let is_between = start <= time && time <= end && length_s <= LONGEST_JOIN_S;
        is_between.then(|| first + (last - first) * time.since(start) / length_s)
    }
}

/// Makes fixes of two channels.
#[derive(Clone, Debug)]
pub struct Fixes {
    columns: [usize; 2],
    latest: [Latest; 2],
    latest_fix: Option<Time>,
}

impl Fixes {
    /// Fixes of a map's channels, when it has both.
    pub fn new(channels: &[ChannelSpec]) -> Option<Fixes> {
        let find = |name: &str| channels.iter().position(|channel| channel.name == name);
        Some(Fixes {
            columns: [
                find(name::POSITION_LATITUDE)?,
                find(name::POSITION_LONGITUDE)?,
            ],
            latest: Default::default(),
            latest_fix: None,
        })
    }

    /// The columns of latitude and longitude.
    pub fn columns(&self) -> [usize; 2] {
        self.columns
    }

    /// Takes a block and hands on the fixes that became known.
    pub fn push(&mut self, block: &Block, take: &mut dyn FnMut(Fix)) {
        let mut cuts = block.cuts.iter().copied().peekable();
        let [mut one, mut other] = self
            .columns
            .map(|column| block.columns[column].iter().peekable());
        loop {
            let times = [one.peek(), other.peek()].map(|next| next.map(|(time, _)| *time));
            let is_other = match times {
                [None, None] => break,
                [Some(one), Some(other)] => other < one,
                [one, _] => one.is_none(),
            };
            let next = if is_other { other.next() } else { one.next() };
            let Some((time, value)) = next else { break };
            while cuts.next_if(|cut| *cut <= time).is_some() {
                self.cut();
            }
            let side = usize::from(is_other);
            self.latest[side].take(time, value);
            if let Some(fix) = self.fix(side) {
                take(fix);
            }
        }
        if cuts.next().is_some() {
            self.cut();
        }
    }

    fn cut(&mut self) {
        self.latest = Default::default();
        self.latest_fix = None;
    }

    /// The fix that the latest sample of a side makes: at the time of the other's latest.
    fn fix(&mut self, side: usize) -> Option<Fix> {
        let (time, _) = self.latest[1 - side].now?;
        let [latitude, longitude] = [0, 1].map(|side: usize| self.latest[side].at(time));
        let position = Position {
            latitude: latitude?,
            longitude: longitude?,
        };
        let before = self.latest_fix;
        if before.is_some_and(|before| time <= before) {
            return None;
        }
        self.latest_fix = Some(time);
        Some(Fix {
            time,
            position,
            is_joined: before.is_some_and(|before| time.since(before) <= LONGEST_JOIN_S),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixes(samples: &[(usize, f64, Option<f64>)], cuts: &[f64]) -> Vec<Fix> {
        let channels = ["position.latitude", "position.longitude"].map(ChannelSpec::new);
        let mut fixes = Fixes::new(&channels).expect("both are there");
        let mut block = Block::new(2);
        for &(column, time, value) in samples {
            block.columns[column].push(Time::from_seconds(time), value);
        }
        block.cuts = cuts.iter().map(|cut| Time::from_seconds(*cut)).collect();
        let mut found = Vec::new();
        fixes.push(&block, &mut |fix| found.push(fix));
        found
    }

    #[test]
    fn a_degree_and_a_nautical_mile() {
        // A minute of latitude is a nautical mile by its old definition: 1852 m, to a few
        // metres on a sphere (derived: 6 371 008.8 m × π/10 800 = 1853.2 m).
        let at = |latitude, longitude| Position::from_degrees(latitude, longitude).unwrap();
        let (east, north) = at(50.0 + 1.0 / 60.0, 7.0).east_north_m(at(50.0, 7.0));
        assert!(east.abs() < 1e-6 && (north - 1853.2).abs() < 0.1, "{north}");
        // A degree of longitude at 60° is half of one at the equator.
        let (half, _) = at(60.0, 0.5).east_north_m(at(60.0, -0.5));
        let (whole, _) = at(0.0, 0.5).east_north_m(at(0.0, -0.5));
        assert!((2.0 * half / whole - 1.0).abs() < 1e-9);
        // Over the date line it is as near as anywhere.
        assert!(at(0.0, 179.9999).distance_m(at(0.0, -179.9999)) < 25.0);
        assert_eq!(Position::from_degrees(91.0, 0.0), None);
        assert_eq!(Position::from_degrees(0.0, 181.0), None);
    }

    #[test]
    fn one_frame_or_two_give_the_same_fixes() {
        let together = fixes(
            &[
                (0, 0.0, Some(0.1)),
                (1, 0.0, Some(0.2)),
                (0, 1.0, Some(0.3)),
                (1, 1.0, Some(0.4)),
            ],
            &[],
        );
        assert_eq!(together.len(), 2);
        assert_eq!(
            (together[1].position.latitude, together[1].is_joined),
            (0.3, true)
        );
        // Longitude half a second later: latitude is interpolated at its times.
        let apart = fixes(
            &[
                (0, 0.0, Some(0.1)),
                (1, 0.5, Some(0.2)),
                (0, 1.0, Some(0.3)),
                (1, 1.5, Some(0.4)),
            ],
            &[],
        );
        let at_half = apart.iter().find(|fix| fix.time == Time::from_seconds(0.5));
        assert!((at_half.unwrap().position.latitude - 0.2).abs() < 1e-12);
    }

    #[test]
    fn nothing_reaches_over_a_gap_a_missing_sample_or_a_cut() {
        let pair = |time: f64| [(0, time, Some(0.1)), (1, time, Some(0.2))];
        let joined = |samples: &[(usize, f64, Option<f64>)], cuts: &[f64]| {
            let found = fixes(samples, cuts);
            assert_eq!(found.len(), 2, "{found:?}");
            found[1].is_joined
        };
        assert!(joined(&[pair(0.0), pair(1.0)].concat(), &[]));
        assert!(!joined(&[pair(0.0), pair(5.0)].concat(), &[]));
        assert!(!joined(&[pair(0.0), pair(1.0)].concat(), &[0.5]));
        let missing = [(0, 0.0, Some(0.1)), (0, 1.0, None), (1, 0.5, Some(0.2))];
        assert!(fixes(&missing, &[]).is_empty());
    }
}
