//! Roads for the fault drives: each asks for what its fault needs to show.
//!
//! In: how often. Out: pieces of road. The places do not exist.

use crate::road::Piece;

/// From stop to stop: a firm start, a sudden lift for a bend of 45 m, which a closed pack can
/// straighten and an open one cannot, and full throttle out of it.
pub fn steps(n: usize) -> Vec<Piece> {
    sides(n)
        .flat_map(|side| {
            [
                Piece::straight(65.0, 120.0),
                Piece::bend(45.0, side * 110.0, 120.0),
                Piece::straight(70.0, 120.0),
                Piece::stop(3.0),
            ]
        })
        .collect()
}

/// Long bends entered slowly and driven through under gentle power, without a wheel breaking
/// away: the difference of the bend is there to be held for seconds.
pub fn long_bends(n: usize) -> Vec<Piece> {
    sides(n)
        .flat_map(|side| {
            [
                Piece::straight(60.0, 55.0),
                Piece::bend(35.0, side * 200.0, 47.0),
                Piece::straight(50.0, 55.0),
                Piece::stop(2.0),
            ]
        })
        .collect()
}

/// Steady bends at no throttle to speak of, each way in turn: the clutch stays open.
pub fn steady_bends(n: usize) -> Vec<Piece> {
    sides(n)
        .flat_map(|side| {
            [
                Piece::bend(40.0, side * 200.0, 42.0),
                Piece::straight(60.0, 42.0),
            ]
        })
        .collect()
}

/// Junctions, tight corners and short streets.
pub fn town(n: usize) -> Vec<Piece> {
    sides(n)
        .flat_map(|side| {
            [
                Piece::straight(130.0, 50.0),
                Piece::bend(11.0, side * 90.0, 50.0),
                Piece::straight(170.0, 50.0),
                Piece::stop(3.0),
                Piece::straight(90.0, 50.0),
                Piece::bend(14.0, -side * 85.0, 50.0),
                Piece::straight(140.0, 50.0),
                Piece::bend(60.0, side * 40.0, 50.0),
                Piece::straight(60.0, 50.0),
                Piece::stop(4.0),
            ]
        })
        .collect()
}

/// A motorway with parkings, long straights and wide bends.
pub fn highway(n: usize, length_m: f64) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for side in sides(n) {
        pieces.extend([
            Piece::straight(60.0, 45.0),
            Piece::bend(40.0, side * 50.0, 60.0),
            Piece::straight(length_m, 120.0),
            Piece::bend(800.0, -side * 20.0, 120.0),
            Piece::straight(250.0, 85.0),
            Piece::straight(0.6 * length_m, 125.0),
            Piece::bend(45.0, -side * 70.0, 50.0),
            Piece::straight(50.0, 40.0),
            Piece::stop(4.0),
        ]);
    }
    pieces
}

/// Long straights with hardly a command, and now and then a bend.
pub fn motorway(n: usize) -> Vec<Piece> {
    let mut pieces = vec![
        Piece::straight(150.0, 60.0),
        Piece::bend(60.0, 90.0, 60.0),
        Piece::straight(120.0, 60.0),
    ];
    for side in sides(n) {
        pieces.extend([
            Piece::straight(2300.0, 115.0),
            Piece::bend(900.0, side * 25.0, 115.0),
            Piece::straight(900.0, 115.0),
            Piece::bend(300.0, -side * 40.0, 95.0),
        ]);
    }
    pieces.extend([
        Piece::bend(50.0, -110.0, 60.0),
        Piece::straight(100.0, 50.0),
        Piece::stop(8.0),
    ]);
    pieces
}

/// A loose forest road: `grip` of the normal one, bends without end.
pub fn gravel(n: usize, grip: f64) -> Vec<Piece> {
    sides(n)
        .flat_map(|side| {
            [
                Piece::straight(110.0, 65.0),
                Piece::bend(35.0, side * 80.0, 60.0),
                Piece::straight(150.0, 75.0),
                Piece::bend(60.0, -side * 70.0, 65.0),
                Piece::bend(25.0, side * 60.0, 60.0),
                Piece::straight(90.0, 60.0),
                Piece::bend(80.0, -side * 45.0, 70.0),
            ]
        })
        .map(|piece| piece.grip(grip, grip))
        .chain([Piece::straight(40.0, 30.0), Piece::stop(5.0)])
        .collect()
}

/// Laps of the Hollowmere circuit's short course.
pub fn laps(n: usize) -> Vec<Piece> {
    let mut pieces = vec![Piece::straight(70.0, 40.0), Piece::stop(4.0)];
    for _ in 0..n {
        pieces.extend([
            Piece::straight(300.0, 180.0),
            Piece::bend(30.0, 100.0, 120.0),
            Piece::straight(90.0, 140.0),
            Piece::bend(50.0, -75.0, 140.0),
            Piece::bend(40.0, 95.0, 120.0),
            Piece::straight(220.0, 180.0),
            Piece::bend(20.0, -150.0, 80.0),
            Piece::straight(130.0, 150.0),
            Piece::bend(30.0, 160.0, 110.0),
            Piece::bend(45.0, 140.0, 120.0),
        ]);
    }
    pieces
}

/// Laps half on dirt: out of two hairpins the inside wheel runs beside the track for
/// `dirt_m`.
pub fn dirt_laps(n: usize, dirt_m: f64) -> Vec<Piece> {
    let mut pieces = vec![Piece::straight(70.0, 40.0), Piece::stop(4.0)];
    for _ in 0..n {
        pieces.extend([
            Piece::straight(180.0, 140.0),
            Piece::bend(22.0, 130.0, 90.0),
            Piece::straight(dirt_m, 140.0).grip(0.22, 0.95),
            Piece::straight(60.0, 140.0),
            Piece::bend(60.0, -70.0, 120.0),
            Piece::bend(80.0, 60.0, 120.0),
            Piece::straight(170.0, 150.0),
            Piece::bend(25.0, -140.0, 90.0),
            Piece::straight(dirt_m, 140.0).grip(0.95, 0.22),
            Piece::bend(70.0, 80.0, 120.0),
        ]);
    }
    pieces
}

/// Slow laps about a car park, one way and then the other.
pub fn car_park(n: usize) -> Vec<Piece> {
    let mut pieces = vec![Piece::straight(60.0, 30.0)];
    for side in sides(n) {
        pieces.extend([
            Piece::bend(7.5, side * 300.0, 17.0),
            Piece::straight(35.0, 25.0),
        ]);
    }
    pieces.push(Piece::stop(5.0));
    pieces
}

/// Starts with the left wheel on something slippery: `ice_m` of it at that grip.
pub fn slippery_starts(n: usize, ice_m: f64, grip: f64) -> Vec<Piece> {
    sides(n)
        .flat_map(|side| {
            [
                Piece::straight(ice_m, 80.0).grip(grip, 0.95),
                Piece::straight(140.0, 60.0),
                Piece::bend(40.0, side * 90.0, 55.0),
                Piece::straight(110.0, 60.0),
                Piece::stop(5.0),
            ]
        })
        .collect()
}

/// Left and right in turn.
fn sides(n: usize) -> impl Iterator<Item = f64> {
    (0..n).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 })
}
