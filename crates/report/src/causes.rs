//! The causes of heat: the figure of each, its name and what it means.

use halfshaft_health::FigureId;

/// The figures, and what each means.
pub(crate) const CAUSES: [(FigureId, &str, &str); 4] = [
    (
        FigureId::HeatPreload,
        "preload",
        "the springs rub whenever the wheels turn unequally",
    ),
    (
        FigureId::HeatCommanded,
        "command",
        "the controller asked for torque while the bend made the wheels differ",
    ),
    (
        FigureId::HeatMismatch,
        "mismatched tyres",
        "unequal tyres make the pack slip on the straight too",
    ),
    (
        FigureId::HeatSpin,
        "wheelspin",
        "one wheel ran away from what bend and tyres ask",
    ),
];
