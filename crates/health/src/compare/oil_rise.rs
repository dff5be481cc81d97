//! How much a lap warms the oil, compared at like heat and like warmth.
//!
//! In: the laps of both sides. Out: the difference of the rise of the oil per lap. A lap warms the oil by its
//! heat, and the less the warmer the oil is than what it gives heat to. That is the housing, which begins a drive
//! as warm as the oil, and behind it the air: so one drive that began warmer, or on a colder
//! day, rises otherwise with nothing changed. How far from the air towards the start of the drive the housing
//! stands, no log says: anywhere up to a half, for oil runs ahead of the housing within the first lap and the heat
//! of all others goes through it to the air. The middle is taken, and the band spans both ends.

use super::least_squares::solved;
use super::session::{LapPart, Session};
use super::sides::{Sides, changed};
use super::{Block, Change};
use crate::limits::SDS_OF_90;
use crate::reason::{DriveFact, Paired, Reason};

/// A lap: its rise, its heat as a share of the usual one, how much warmer the oil was than at the start of the
/// drive, and how much warmer that was than the air.
struct Risen {
    rise_k: f64,
    heat: f64,
    over_start_k: f64,
    start_over_air_k: f64,
    drive: usize,
}

/// Compares the rise of the oil per lap.
pub fn oil_rise(sides: &Sides) -> Result<Change, Reason> {
    sides.matched.as_ref().map_err(Clone::clone)?;
    let most = sides.limits.start_share;
    let mut laps = [laps(sides.before), laps(sides.after)];
    sides.enough(laps[0].len(), laps[1].len(), Paired::Laps)?;
    level_heat(&mut laps);
    let drives = laps
        .each_ref()
        .map(|laps| laps.iter().map(|lap| lap.drive).collect());
    // With the oil counted from that share of the way from the air to the start of the drive.
    let rises = |share: f64, counts: [&[f64]; 2]| -> Option<[f64; 2]> {
        let over = |lap: &Risen| lap.over_start_k + (1.0 - share) * lap.start_over_air_k;
        let mean = |side: usize| {
            let all = laps[side].iter().zip(counts[side]);
            let (sum, n) = all.fold((0.0, 0.0), |(sum, n), (lap, count)| {
                (sum + count * over(lap), n + count)
            });
            (n > 0.0).then(|| sum / n)
        };
        // Where both were: of the warmer drive the other may know nothing.
        let middle = mean(0)?.min(mean(1)?);
        let rows = (0..2).flat_map(|side| {
            laps[side]
                .iter()
                .zip(counts[side])
                .map(move |(lap, count)| {
                    let mut row = vec![0.0, 0.0, over(lap) - middle];
                    row[side] = lap.heat;
                    (row, lap.rise_k, *count)
                })
        });
        let found = solved(3, rows)?;
        Some([found[0], found[1]])
    };
    let change = changed(Block::Lap, &drives, |ours, theirs| {
        rises(0.5 * most, [ours, theirs])
    });
    let (change, wander) = change.ok_or(DriveFact::DrawnLaps)?;
    let ones = laps.each_ref().map(|laps| vec![1.0; laps.len()]);
    let difference = |share| {
        let [before, after] = rises(share, [&ones[0], &ones[1]])?;
        Some(after - before)
    };
    // Anywhere between both ends: a deviation of their distance over √12.
    let (towards_start, by_air) = difference(most)
        .zip(difference(0.0))
        .ok_or(DriveFact::DrawnLaps)?;
    let open_k = SDS_OF_90 * (towards_start - by_air).abs() / 12.0_f64.sqrt();
    let change = change.widened(sides.limits.same_car_share, &wander, 0.0);
    Ok(change.wider_by(open_k))
}

fn laps(side: &Session) -> Vec<Risen> {
    let start_c = |drive: usize| {
        let mut laps = side.laps.iter().filter(|lap| lap.drive == drive);
        laps.find_map(|lap| lap.oil_start_c)
    };
    let risen = |lap: &LapPart| {
        let start_c = start_c(lap.drive)?;
        let air_c = side.air_c.get(lap.drive).copied().flatten();
        Some(Risen {
            rise_k: lap.oil_rise_k?,
            heat: lap.heat_kj.unwrap_or(f64::NAN),
            over_start_k: lap.oil_start_c? - start_c,
            start_over_air_k: start_c - air_c.unwrap_or(f64::NAN),
            drive: lap.drive,
        })
    };
    side.laps.iter().filter_map(risen).collect()
}

/// Heat as a share of the usual lap of both, where it is known of all, else all alike. So of the air.
fn level_heat(laps: &mut [Vec<Risen>; 2]) {
    let n = (laps[0].len() + laps[1].len()) as f64;
    let usual = laps.iter().flatten().map(|lap| lap.heat).sum::<f64>() / n;
    let is_air_known = laps
        .iter()
        .flatten()
        .all(|lap| lap.start_over_air_k.is_finite());
    for lap in laps.iter_mut().flatten() {
        lap.heat = match usual > 0.0 {
            true => lap.heat / usual,
            false => 1.0,
        };
        if !is_air_known {
            lap.start_over_air_k = 0.0;
        }
    }
}
