//! The name of every figure, as a type: one that is misspelt does not compile.

use std::fmt;

/// Declares each figure once, with its name.
macro_rules! ids {
    ($($name:ident = $word:literal,)+) => {
        /// A figure, by name; in the order of the report.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum FigureId {
            $(
                #[doc = concat!("`", $word, "`.")]
                $name,
            )+
        }

        impl FigureId {
            /// Every figure.
            pub const ALL: &[FigureId] = &[$(FigureId::$name,)+];

            /// Stable snake-case name: the key in `report.json`.
            pub const fn word(self) -> &'static str {
                match self {
                    $(FigureId::$name => $word,)+
                }
            }
        }
    };
}

ids! {
    Duration = "duration",
    MovingTime = "moving_time",
    Distance = "distance",
    TurnTotal = "turn_total",
    HeadingTotal = "heading_total",
    SlipPeak = "slip_peak",
    PartialByCommand = "partial_by_command",
    PartialHeatMaking = "partial_heat_making",
    Engagements = "engagements",
    HeatTotal = "heat_total",
    HeatPeak = "heat_peak",
    HeatPerKm = "heat_per_km",
    OilTempMax = "oil_temp_max",
    TyreRatio = "tyre_ratio",
    HeatPerDegree = "heat_per_degree",
    HeatPreload = "heat_preload",
    HeatCommanded = "heat_commanded",
    HeatMismatch = "heat_mismatch",
    HeatSpin = "heat_spin",
    SpecificEnergyMax = "specific_energy_max",
    SpecificPowerMax = "specific_power_max",
    DeadTime = "dead_time",
    RiseTime = "rise_time",
    TransitionTime = "transition_time",
    ReleaseTime = "release_time",
    ThrottleOnDelay = "throttle_on_delay",
    LiftOffDelay = "lift_off_delay",
    ActuatorHealth = "actuator_health",
    PackTempMax = "pack_temp_max",
    OilHeadroom = "oil_headroom",
    Severity = "severity",
    OilDistanceFactor = "oil_distance_factor",
    LapsToLimit = "laps_to_limit",
    HeldOverStated = "held_over_stated",
}

impl fmt::Display for FigureId {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.word())
    }
}
