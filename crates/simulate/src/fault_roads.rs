//! Roads for the fault drives: each lets its fault show. The places do not exist.
//!
//! A road is data: pieces that are driven again and again, to one side or to both in turn.

use crate::road::{Piece, Shape};

/// Pieces that are driven several times.
#[derive(Clone, Copy, Debug)]
pub enum Stretch {
    /// So often, every time the same.
    Same(usize, &'static [Piece]),
    /// So often, every second time with its bends to the other side.
    Sides(usize, &'static [Piece]),
}

impl Stretch {
    /// Its pieces in the order they are driven.
    pub fn pieces(self) -> impl Iterator<Item = Piece> {
        let (n, pieces, is_mirrored) = match self {
            Stretch::Same(n, pieces) => (n, pieces, false),
            Stretch::Sides(n, pieces) => (n, pieces, true),
        };
        (0..n).flat_map(move |index| {
            let is_other = is_mirrored && index % 2 == 1;
            pieces.iter().map(move |&piece| match piece.shape {
                Shape::Bend {
                    radius_m,
                    angle_rad,
                } if is_other => Piece {
                    shape: Shape::Bend {
                        radius_m,
                        angle_rad: -angle_rad,
                    },
                    ..piece
                },
                _ => piece,
            })
        })
    }
}

/// From stop to stop: a firm start, a sudden lift for a bend of 45 m, which a closed pack can
/// straighten and an open one cannot, and full throttle out of it.
pub const STEPS: &[Piece] = &[
    Piece::straight(65.0, 120.0),
    Piece::bend(45.0, 110.0, 120.0),
    Piece::straight(70.0, 120.0),
    Piece::stop(3.0),
];

/// Long bends entered slowly and driven through under gentle power, without a wheel breaking
/// away: the difference of the bend is there to be held for seconds.
pub const LONG_BENDS: &[Piece] = &[
    Piece::straight(60.0, 55.0),
    Piece::bend(35.0, 200.0, 47.0),
    Piece::straight(50.0, 55.0),
    Piece::stop(2.0),
];

/// Steady bends at next to no throttle: the clutch stays open.
pub const STEADY_BENDS: &[Piece] = &[Piece::bend(40.0, 200.0, 42.0), Piece::straight(60.0, 42.0)];

/// Junctions, tight corners and short streets.
pub const TOWN: &[Piece] = &[
    Piece::straight(130.0, 50.0),
    Piece::bend(11.0, 90.0, 50.0),
    Piece::straight(170.0, 50.0),
    Piece::stop(3.0),
    Piece::straight(90.0, 50.0),
    Piece::bend(14.0, -85.0, 50.0),
    Piece::straight(140.0, 50.0),
    Piece::bend(60.0, 40.0, 50.0),
    Piece::straight(60.0, 50.0),
    Piece::stop(4.0),
];

/// A motorway with parkings, long straights and wide bends.
pub const HIGHWAY: &[Piece] = &[
    Piece::straight(60.0, 45.0),
    Piece::bend(40.0, 50.0, 60.0),
    Piece::straight(1500.0, 120.0),
    Piece::bend(800.0, -20.0, 120.0),
    Piece::straight(250.0, 85.0),
    Piece::straight(900.0, 125.0),
    Piece::bend(45.0, -70.0, 50.0),
    Piece::straight(50.0, 40.0),
    Piece::stop(4.0),
];

/// The way to a motorway.
pub const ONTO_MOTORWAY: Stretch = Stretch::Same(
    1,
    &[
        Piece::straight(150.0, 60.0),
        Piece::bend(60.0, 90.0, 60.0),
        Piece::straight(120.0, 60.0),
    ],
);

/// Long straights with hardly a command, and now and then a bend.
pub const MOTORWAY: &[Piece] = &[
    Piece::straight(2300.0, 115.0),
    Piece::bend(900.0, 25.0, 115.0),
    Piece::straight(900.0, 115.0),
    Piece::bend(300.0, -40.0, 95.0),
];

/// The way off a motorway.
pub const OFF_MOTORWAY: Stretch = Stretch::Same(
    1,
    &[
        Piece::bend(50.0, -110.0, 60.0),
        Piece::straight(100.0, 50.0),
        Piece::stop(8.0),
    ],
);

/// A loose forest road with six tenths of the grip, bends without end.
pub const GRAVEL: &[Piece] = &[
    Piece::straight(110.0, 65.0).grip(0.6, 0.6),
    Piece::bend(35.0, 80.0, 60.0).grip(0.6, 0.6),
    Piece::straight(150.0, 75.0).grip(0.6, 0.6),
    Piece::bend(60.0, -70.0, 65.0).grip(0.6, 0.6),
    Piece::bend(25.0, 60.0, 60.0).grip(0.6, 0.6),
    Piece::straight(90.0, 60.0).grip(0.6, 0.6),
    Piece::bend(80.0, -45.0, 70.0).grip(0.6, 0.6),
];

/// Out of the paddock.
pub const ONTO_TRACK: Stretch = Stretch::Same(1, &[Piece::straight(70.0, 40.0), Piece::stop(4.0)]);

/// A lap of the Hollowmere circuit's short course.
pub const LAP: &[Piece] = &[
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
];

/// A stop in the pits, out again, and a lap.
pub const PIT_STOP_AND_LAP: &[Piece] = &[
    Piece::stop(25.0),
    Piece::straight(70.0, 40.0),
    Piece::stop(4.0),
    LAP[0],
    LAP[1],
    LAP[2],
    LAP[3],
    LAP[4],
    LAP[5],
    LAP[6],
    LAP[7],
    LAP[8],
    LAP[9],
];

/// A lap half on dirt: out of two hairpins the inside wheel runs beside the track for 55 m.
pub const DIRT_LAP: &[Piece] = &[
    Piece::straight(180.0, 140.0),
    Piece::bend(22.0, 130.0, 90.0),
    Piece::straight(55.0, 140.0).grip(0.22, 0.95),
    Piece::straight(60.0, 140.0),
    Piece::bend(60.0, -70.0, 120.0),
    Piece::bend(80.0, 60.0, 120.0),
    Piece::straight(170.0, 150.0),
    Piece::bend(25.0, -140.0, 90.0),
    Piece::straight(55.0, 140.0).grip(0.95, 0.22),
    Piece::bend(70.0, 80.0, 120.0),
];

/// A slow lap about a car park.
pub const CAR_PARK: &[Piece] = &[Piece::bend(7.5, 300.0, 17.0), Piece::straight(35.0, 25.0)];

/// A start with the left wheel on something slippery.
pub const SLIPPERY_START: &[Piece] = &[
    Piece::straight(16.0, 80.0).grip(0.2, 0.95),
    Piece::straight(140.0, 60.0),
    Piece::bend(40.0, 90.0, 55.0),
    Piece::straight(110.0, 60.0),
    Piece::stop(5.0),
];
