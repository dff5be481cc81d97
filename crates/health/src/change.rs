//! Another pack, oil or cooling for the car of a map, and what it does to a torque.
//!
//! In: the vehicle, what is to change. Out: the changed vehicle with its factors, and
//! [`TorqueChange`] for the rows. It refuses what the map does not let be told: a change of a
//! number that is not known, radii the wrong way round, another table where the map has none.

use crate::reason::{MapFact, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::derive::clutch_torque::{net_area, uniform_pressure_radius};
use halfshaft_driveline::thermal::UnitFactors;
use halfshaft_model::table::Table;
use halfshaft_model::vehicle::{Pack, TorqueSource};
use halfshaft_model::{Layout, Toleranced, Vehicle};

/// Oil of a unit whose map states none, m³: what the usual heat capacity of the oil in the
/// thermal model amounts to. Source: from memory.
const USUAL_OIL_M3: f64 = 0.9e-3;

/// What is to be another; `None` stays as it is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Change {
    /// Friction surfaces in contact.
    pub n_faces: Option<u32>,
    /// Outer radius of the lining, m.
    pub outer_radius_m: Option<f64>,
    /// Inner radius of the lining, m.
    pub inner_radius_m: Option<f64>,
    /// Share of the lining that is groove, 0 to 1.
    pub groove_share: Option<f64>,
    /// Coefficient of friction.
    pub friction: Option<f64>,
    /// Torque of one pack with no command, N·m.
    pub preload_nm: Option<f64>,
    /// Oil quantity, m³.
    pub oil_volume_m3: Option<f64>,
    /// Factor on the conductance from housing to air.
    pub cooling: Option<f64>,
    /// Torque in place of that of the map's table, at the same inputs.
    pub torque_table: Option<Table>,
}

impl Change {
    fn of_pack(&self) -> bool {
        self.n_faces.is_some()
            || self.friction.is_some()
            || self.groove_share.is_some()
            || self.outer_radius_m.is_some()
            || self.inner_radius_m.is_some()
    }
}

/// The car as it would be.
#[derive(Clone, Debug, PartialEq)]
pub struct Changed {
    /// Its map's vehicle with the change in it.
    pub vehicle: Vehicle,
    /// Torque at the same clamp force over that of the logged pack: µ·N·r over µ·N·r.
    pub capacity: f64,
    /// What it is thermally, over the logged unit.
    pub factors: UnitFactors,
    /// The temperatures as worked out are the highest there can be: what a change does to the conductances is
    /// not known, and was taken on the hot side.
    pub is_hot_side: bool,
    /// What was asked for.
    pub change: Change,
    // Torque of one pack by the map's table and by the other one, N·m, rising.
    table: Vec<[f64; 2]>,
}

/// Whether the torque or the clamp force stays as it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// The controller commands torque and gets it: it presses as the new pack needs.
    Torque,
    /// The actuator presses as it did: the torque goes with the capacity.
    Force,
}

impl Changed {
    /// The change applied to a vehicle, or why it cannot be.
    ///
    /// Capacity is µ·N·r with the mean radius at uniform pressure, as the figures have it; a
    /// friction not stated on either side cancels. The heat capacity of the pack goes with
    /// faces × gross area of a face, as the mass of discs of one thickness does; that of the
    /// oil with its quantity. The conductances from pack to oil and on to the housing are taken on the hot
    /// side: less area or less oil takes of them in proportion, for what is not wetted conducts nothing; more
    /// adds nothing, for it need not reach the pack.
    pub fn new(vehicle: &Vehicle, change: &Change) -> Result<Changed, Reason> {
        let mut changed = vehicle.clone();
        let (mut capacity, mut mass) = (1.0_f64, 1.0_f64);
        if change.of_pack() {
            let old = vehicle.pack.ok_or(MapFact::OldPackShape)?;
            let new = pack(&old, change)?;
            let lever = |pack: &Pack| {
                let radius_m = uniform_pressure_radius(pack.outer_radius_m, pack.inner_radius_m);
                let friction = pack.friction.map_or(1.0, |friction| friction.value);
                friction * f64::from(pack.n_faces) * radius_m
            };
            let gross = |pack: &Pack| {
                let (outer_m, inner_m) = (pack.outer_radius_m, pack.inner_radius_m);
                net_area(f64::from(pack.n_faces), outer_m, inner_m, 0.0)
            };
            (capacity, mass) = (lever(&new) / lever(&old), gross(&new) / gross(&old));
            changed.pack = Some(new);
        }
        if let Some(preload_nm) = change.preload_nm {
            let old = vehicle.preload_nm.ok_or(MapFact::OldPreload)?;
            let sd = old.relative_sd() * preload_nm;
            let value = preload_nm;
            changed.preload_nm = Some(Toleranced { value, sd });
        }
        let oil = change.oil_volume_m3.map_or(1.0, |new| {
            changed.oil_volume_m3 = Some(new);
            new / vehicle.oil_volume_m3.unwrap_or(USUAL_OIL_M3)
        });
        if !(capacity.is_finite() && capacity > 0.0 && mass.is_finite() && oil.is_finite()) {
            return Err(MapFact::OldPackOrOil.into());
        }
        let table = match &change.torque_table {
            None => Vec::new(),
            Some(new) => table(vehicle, new)?,
        };
        Ok(Changed {
            vehicle: changed,
            capacity,
            factors: UnitFactors {
                pack: mass,
                oil,
                pack_to_oil: mass.min(1.0) * oil.min(1.0),
                oil_to_housing: oil.min(1.0),
                cooling: change.cooling.unwrap_or(1.0),
            },
            is_hot_side: mass != 1.0 || oil != 1.0,
            change: change.clone(),
            table,
        })
    }

    /// What it does to the torque of a row of the logged vehicle.
    pub fn torque(&self, logged: &Vehicle, held: Held) -> TorqueChange {
        let old_nm = logged.preload_nm.map_or(0.0, |preload| preload.value);
        let factor = match held {
            Held::Torque => 1.0,
            Held::Force => self.capacity,
        };
        TorqueChange {
            table: self.table.clone(),
            factor,
            old_nm,
            new_nm: self.change.preload_nm.unwrap_or(old_nm * factor),
            n_packs: logged.layout.map_or(1.0, Layout::n_packs),
        }
    }
}

/// Torque of one pack by the map's table and by another one, at every input that either names.
fn table(vehicle: &Vehicle, new: &Table) -> Result<Vec<[f64; 2]>, Reason> {
    let Some(TorqueSource::Table {
        second: None,
        table: old,
        is_axle_bias,
        ..
    }) = vehicle.torque_sources.first()
    else {
        return Err(MapFact::OldTorqueTable.into());
    };
    let bias = vehicle.layout.and_then(Layout::bias_factor).unwrap_or(1.0);
    let per_pack = if *is_axle_bias { 1.0 / bias } else { 1.0 };
    let mut inputs: Vec<f64> = old.inputs().iter().chain(new.inputs()).copied().collect();
    inputs.sort_by(f64::total_cmp);
    inputs.dedup();
    let mut points: Vec<[f64; 2]> = inputs
        .into_iter()
        .filter_map(|input| Some([old.at(input, None)?, new.at(input, None)?]))
        .map(|torques_nm| torques_nm.map(|nm| per_pack * nm))
        .collect();
    // Beyond the ends of the map's table its torque stays.
    points.dedup_by(|later, earlier| later[0] == earlier[0] && later[1] == earlier[1]);
    // Where the torque of the map does not rise, it does not show what the other table would be read at.
    match points.len() > 1 && points.windows(2).all(|pair| pair[0][0] < pair[1][0]) {
        true => Ok(points),
        false => Err(MapFact::OldTorqueTableRising.into()),
    }
}

fn pack(old: &Pack, change: &Change) -> Result<Pack, Reason> {
    let new = Pack {
        n_faces: change.n_faces.unwrap_or(old.n_faces),
        outer_radius_m: change.outer_radius_m.unwrap_or(old.outer_radius_m),
        inner_radius_m: change.inner_radius_m.unwrap_or(old.inner_radius_m),
        groove_share: change.groove_share.unwrap_or(old.groove_share),
        friction: match (old.friction, change.friction) {
            (old, None) => old,
            (Some(old), Some(value)) => {
                let sd = old.relative_sd() * value;
                Some(Toleranced { value, sd })
            }
            (None, Some(_)) => return Err(MapFact::OldPackFriction.into()),
        },
    };
    if new.inner_radius_m >= new.outer_radius_m {
        return Err(Reason::RadiiCrossed {
            inner_m: new.inner_radius_m,
            outer_m: new.outer_radius_m,
        });
    }
    Ok(new)
}

/// What another pack does to a torque: T' = f·(T − p) + p'·(p/P), with p = min(T, P) the part
/// of the old preload P in T, P' the new one, f the factor on what the command squeezes.
///
/// So an open pack rubs in proportion to the preload, and under command the new preload
/// takes the place of the old one. Before all that T is read off the other table at the input at which the
/// map's gives it, where another one is given.
#[derive(Clone, Debug, PartialEq)]
pub struct TorqueChange {
    table: Vec<[f64; 2]>,
    factor: f64,
    old_nm: f64,
    new_nm: f64,
    n_packs: f64,
}

/// Which way a change moves the torques.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moves {
    /// Every torque stays.
    Not,
    /// None is less than it was.
    Up,
    /// None is more than it was.
    Down,
    /// Some are more and some less.
    Both,
}

/// Torques of one pack at which [`TorqueChange::moves`] looks, N·m: every ten to more than any pack carries.
const LOOKED_AT_NM: (usize, f64) = (500, 10.0);

impl TorqueChange {
    /// Which way it moves the torques.
    pub fn moves(&self) -> Moves {
        let (n, step_nm) = LOOKED_AT_NM;
        let (mut up, mut down) = (false, false);
        let ends = self.table.first().zip(self.table.last());
        let logged = |nm: &f64| ends.is_none_or(|(low, high)| (low[0]..=high[0]).contains(nm));
        for was_nm in (1..=n).map(|index| index as f64 * step_nm).filter(logged) {
            let by_nm = self.torque_nm(was_nm) - was_nm;
            // Rounding moves nothing.
            up |= by_nm > 1e-6 * was_nm;
            down |= by_nm < -1e-6 * was_nm;
        }
        match (up, down) {
            (false, false) => Moves::Not,
            (true, false) => Moves::Up,
            (false, true) => Moves::Down,
            (true, true) => Moves::Both,
        }
    }

    fn by_table_nm(&self, torque_nm: f64) -> f64 {
        let (Some(first), Some(last)) = (self.table.first(), self.table.last()) else {
            return torque_nm;
        };
        // A mean of torques may lie off the ends by rounding.
        let at = torque_nm.clamp(first[0], last[0]);
        let after = self.table.partition_point(|point| point[0] < at).max(1);
        let [low, high] = [self.table[after - 1], self.table[after]];
        low[1] + (at - low[0]) / (high[0] - low[0]) * (high[1] - low[1])
    }

    /// The new preload, N·m.
    pub fn preload_nm(&self) -> f64 {
        self.new_nm
    }

    /// Whether every torque stays as it is.
    pub fn is_none(&self) -> bool {
        self.table.is_empty() && self.factor == 1.0 && self.new_nm == self.old_nm
    }

    /// The torque of one pack, N·m, that was `torque_nm`.
    pub fn torque_nm(&self, torque_nm: f64) -> f64 {
        if self.is_none() {
            return torque_nm;
        }
        let torque_nm = self.by_table_nm(torque_nm);
        let of_preload_nm = torque_nm.clamp(0.0, self.old_nm);
        let preload_share = match self.old_nm > 0.0 {
            true => of_preload_nm / self.old_nm,
            false => 1.0,
        };
        self.factor * (torque_nm - of_preload_nm) + preload_share * self.new_nm
    }

    /// Gives a row the torque and the heat of the other pack, its slip held as logged. Work
    /// and heat rate, means over a fifth of a second and less, go with the torque of the
    /// row: where it steps, the step of the heat is as blurred as it was.
    pub fn apply(&self, row: &mut Row) {
        if self.is_none() {
            return;
        }
        let Some(was_nm) = row.torque_nm else {
            // Without the torque it is not known how much of the heat was the preload's.
            row.work_j = None;
            (row.heat_rate_w, row.heat_rate_sharp_w) = (None, None);
            return;
        };
        let now_nm = self.torque_nm(was_nm);
        row.torque_nm = Some(now_nm);
        if was_nm > 0.0 {
            let ratio = now_nm / was_nm;
            row.work_j = row.work_j.map(|work_j| work_j * ratio);
            row.heat_rate_w = row.heat_rate_w.map(|watts| watts * ratio);
            row.heat_rate_sharp_w = row
                .heat_rate_sharp_w
                .map(|rates| rates.map(|watts| watts * ratio));
            row.impulse_nms *= ratio;
        } else {
            let more_nm = self.n_packs * (now_nm - was_nm);
            let impulse_nms = more_nm * row.seconds;
            row.work_j = row.work_j.map(|work_j| work_j + impulse_nms * row.slip);
            row.heat_rate_w = row
                .heat_rate_w
                .map(|watts| watts + more_nm * row.slip_mean.abs());
            row.heat_rate_sharp_w = row
                .heat_rate_sharp_w
                .map(|rates| rates.map(|watts| watts + more_nm * row.slip_sharp.abs()));
            row.impulse_nms += impulse_nms;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn car() -> Vehicle {
        Vehicle {
            layout: Some(Layout::CaseToOneSide),
            pack: Some(Pack {
                n_faces: 16,
                outer_radius_m: 0.060,
                inner_radius_m: 0.040,
                groove_share: 0.0,
                friction: Some(Toleranced::exact(0.12)),
            }),
            preload_nm: Some(Toleranced::exact(80.0)),
            oil_volume_m3: Some(0.9e-3),
            ..Vehicle::default()
        }
    }

    #[test]
    fn twice_the_faces_carry_twice_the_torque() {
        let change = Change {
            n_faces: Some(32),
            oil_volume_m3: Some(1.8e-3),
            ..Change::default()
        };
        let changed = Changed::new(&car(), &change).unwrap();
        assert_eq!((changed.capacity, changed.factors.pack), (2.0, 2.0));
        assert!((changed.factors.oil - 2.0).abs() < 1e-12);
        // More lining and oil conduct no better; less of them take their share along.
        assert!(changed.is_hot_side && changed.factors.pack_to_oil == 1.0);
        let less = Change {
            n_faces: Some(8),
            oil_volume_m3: Some(0.45e-3),
            ..Change::default()
        };
        let factors = Changed::new(&car(), &less).unwrap().factors;
        assert!((factors.pack_to_oil - 0.25).abs() < 1e-12);
        assert!((factors.oil_to_housing - 0.5).abs() < 1e-12);
        // Derived: 80 of 500 N·m are preload; springs and actuator press as they did.
        let force = changed.torque(&car(), Held::Force);
        assert_eq!(
            (force.torque_nm(500.0), force.preload_nm()),
            (1000.0, 160.0)
        );
        let torque = changed.torque(&car(), Held::Torque);
        assert!(torque.is_none());
        // The capacity of the pack by hand: 0.12 · 16 · 50.667 mm; with 0.10, 62 and 38 mm.
        let change = Change {
            friction: Some(0.10),
            outer_radius_m: Some(0.062),
            inner_radius_m: Some(0.038),
            ..Change::default()
        };
        let changed = Changed::new(&car(), &change).unwrap();
        // Derived: ⅔·(62³ − 38³)/(62² − 38²) = 50.96 mm over 50.667 mm, times 0.10/0.12.
        assert!((changed.capacity - 50.96 / 50.6667 * 0.10 / 0.12).abs() < 1e-5);
    }

    #[test]
    fn another_preload_takes_the_place_of_the_old_one() {
        let change = Change {
            preload_nm: Some(160.0),
            ..Change::default()
        };
        let changed = Changed::new(&car(), &change).unwrap();
        let torque = changed.torque(&car(), Held::Torque);
        // Derived: open it doubles, a table that has 75 for the open pack too; under command
        // 80 more.
        for (was, now) in [(80.0, 160.0), (75.0, 150.0), (500.0, 580.0), (0.0, 0.0)] {
            assert_eq!(torque.torque_nm(was), now, "{was}");
        }
        let mut row = crate::testing::row(1.0);
        row.torque_nm = Some(500.0);
        row.work_j = Some(50.0);
        row.heat_rate_w = Some(5000.0);
        row.impulse_nms = 5.0;
        torque.apply(&mut row);
        let got = [
            row.torque_nm,
            row.work_j,
            row.heat_rate_w,
            Some(row.impulse_nms),
        ];
        for (got, wanted) in got.into_iter().zip([580.0, 58.0, 5800.0, 5.8]) {
            assert!(
                got.is_some_and(|got| (got / wanted - 1.0).abs() < 1e-12),
                "{got:?}"
            );
        }
    }

    #[test]
    fn another_table_is_read_where_the_old_one_was() {
        let of = |x: &[f64], nm: &[f64]| {
            Table::one(
                x.to_vec(),
                nm.to_vec(),
                halfshaft_model::table::Beyond::Hold,
            )
            .unwrap()
        };
        let by_table = |old: Table, new: Table| {
            let mut car = car();
            car.torque_sources = vec![TorqueSource::Table {
                channel: "clutch.position".to_owned(),
                second: None,
                table: old,
                is_axle_bias: false,
                relative_sd: 0.1,
            }];
            let change = Change {
                torque_table: Some(new),
                ..Change::default()
            };
            Changed::new(&car, &change).map(|changed| changed.torque(&car, Held::Torque))
        };
        let old = of(&[0.0, 1.0], &[80.0, 1080.0]);
        // Derived: 580 is read at one half, where the new table has 400; at a quarter, 330, 240.
        let torque = by_table(old.clone(), of(&[0.0, 0.5, 1.0], &[80.0, 400.0, 1200.0])).unwrap();
        for (was, now) in [
            (80.0, 80.0),
            (330.0, 240.0),
            (580.0, 400.0),
            (1080.0, 1200.0),
        ] {
            assert!((torque.torque_nm(was) - now).abs() < 1e-9, "{was}");
        }
        assert_eq!(torque.moves(), Moves::Both);
        let more = by_table(old.clone(), of(&[0.0, 1.0], &[80.0, 1200.0])).unwrap();
        assert_eq!(more.moves(), Moves::Up);
        assert_eq!(
            by_table(old.clone(), old.clone()).unwrap().moves(),
            Moves::Not
        );
        let flat = by_table(of(&[0.0, 0.5, 1.0], &[80.0, 80.0, 900.0]), old.clone());
        assert!(flat.unwrap_err().to_string().contains("does not rise"));
        let none = Change {
            torque_table: Some(old),
            ..Change::default()
        };
        let refused = Changed::new(&car(), &none).unwrap_err().to_string();
        assert!(refused.contains("no table of one input"), "{refused}");
    }

    #[test]
    fn a_preload_where_there_was_none_rubs_by_the_slip() {
        let mut logged = car();
        logged.preload_nm = Some(Toleranced::exact(0.0));
        let change = Change {
            preload_nm: Some(100.0),
            ..Change::default()
        };
        let torque = Changed::new(&logged, &change)
            .unwrap()
            .torque(&logged, Held::Torque);
        let mut row = crate::testing::row(1.0);
        (row.slip, row.slip_mean) = (-2.0, -2.0);
        row.torque_nm = Some(0.0);
        row.work_j = Some(0.0);
        row.heat_rate_w = Some(0.0);
        torque.apply(&mut row);
        // Derived: 100 N·m · 2 rad/s are 200 W, and 2 J in 10 ms, signed as the slip.
        assert_eq!((row.work_j, row.heat_rate_w), (Some(-2.0), Some(200.0)));
        assert_eq!(torque.torque_nm(300.0), 400.0);
    }

    #[test]
    fn what_cannot_be_compared_is_refused() {
        let told = |vehicle: &Vehicle, change: Change| {
            let refused = Changed::new(vehicle, &change);
            refused.unwrap_err().to_string()
        };
        let faces = Change {
            n_faces: Some(8),
            ..Change::default()
        };
        assert!(told(&Vehicle::default(), faces.clone()).contains("faces and radii"));
        let preload = Change {
            preload_nm: Some(8.0),
            ..Change::default()
        };
        assert!(told(&Vehicle::default(), preload).contains("no preload"));
        let radius = Change {
            inner_radius_m: Some(0.061),
            ..Change::default()
        };
        let words = told(&car(), radius);
        assert!(words.contains("61.0 and 60.0 mm"), "{words}");
        let mut rough = car();
        rough.pack = rough.pack.map(|pack| Pack {
            friction: None,
            ..pack
        });
        let friction = Change {
            friction: Some(0.1),
            ..Change::default()
        };
        assert!(told(&rough, friction).contains("no friction"));
        // Not stated on either side it cancels.
        assert_eq!(Changed::new(&rough, &faces).unwrap().capacity, 0.5);
    }
}
