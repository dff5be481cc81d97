//! What can be wrong with a car of the fleet, in a mild and a plain form.
//!
//! In: nothing. Out: [`Fault`]s, and what each does to the plant. Faults of the bus are done
//! in `bus.rs`.

/// How plain a fault is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    /// Just worth finding.
    Mild,
    /// Plain.
    Plain,
}

impl Form {
    /// Its word in the table.
    pub fn word(self) -> &'static str {
        match self {
            Form::Mild => "mild",
            Form::Plain => "plain",
        }
    }
}

/// Declares every fault with its word.
macro_rules! faults {
    ($($name:ident $word:literal $text:literal,)+) => {
        /// One thing that is wrong.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Fault {
            $(#[doc = $text] $name,)+
        }

        impl Fault {
            /// Every fault.
            pub const ALL: &[Fault] = &[$(Fault::$name,)+];

            /// Kebab-case word.
            pub fn word(self) -> &'static str {
                match self { $(Fault::$name => $word,)+ }
            }

            /// What is wrong, mild and plain.
            pub fn text(self) -> &'static str {
                match self { $(Fault::$name => $text,)+ }
            }
        }
    };
}

faults! {
    SlowActuator "slow-actuator" "closing takes 1.8 or 3 times as long",
    DriftingLag "drifting-lag" "the lag grows to 2 or 4 times on the way",
    SlowRelease "slow-release" "releasing takes 1 or 2 s",
    NoGrip "no-grip" "the pack carries 60 % or 25 % of its torque",
    Dragging "dragging" "the pack never falls below 250 or 600 N.m",
    CommandFrozen "command-frozen" "the command stands still for 45 s, or for good",
    StateFrozen "state-frozen" "the state stands still for 45 s, or for good",
    YawFrozen "yaw-frozen" "the yaw rate stands still for 45 s, or for good",
    Swapped "swapped" "the map has command and state the wrong way round",
    SidesSwapped "sides-swapped" "the map has left and right the wrong way round",
    WheelScale "wheel-scale" "the map's wheel speeds are off by 1.609 or 3.6",
    StuckWheel "stuck-wheel" "a rear wheel repeats its value for 5 s, once or four times",
    DropOuts "drop-outs" "a rear wheel reads 0 for 0.1 to 0.5 s, once or four times a minute",
    BadSamples "bad-samples" "one sample in 1,000 of a rear wheel is wrong, or five",
    Fahrenheit "fahrenheit" "the oil temperature is in degF, the map says degC",
    OilFrozen "oil-frozen" "the oil temperature stands still from a third of the drive on, or from the start",
    TyreMismatch "tyre-mismatch" "the rear tyres roll 0.8 % or 1.6 % apart",
    LosingPressure "losing-pressure" "a rear tyre loses 0.5 % of its radius over 4 km, or 1.2 % over 300 m",
    OilLoss "oil-loss" "60 % or 25 % of the oil is left, and it conducts as much less",
    Overheating "overheating" "the oil is over 130 degC, or over 150",
    Protection "protection" "hot oil makes the controller cut the clutch, now and then or always",
    MotorCurrent "motor-current" "the motor holds with 1.5 or 2.5 times its rated current",
    LowVoltage "low-voltage" "the supply sags by 2 or 4 V when the motor moves",
}

/// What a fault changes in the plant. [`Knobs::NONE`] changes nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knobs {
    /// Dead time, and lags of closing, times this.
    pub lag: f64,
    /// … which grow to this many times by the end of the drive.
    pub lag_at_the_end: f64,
    /// Time to release to 10 %, s; `None`: as drawn.
    pub release_s: Option<f64>,
    /// Share of the table's torque that the pack carries.
    pub torque_share: f64,
    /// The pack carries this at least, N·m.
    pub drag_nm: f64,
    /// Added to ln(ωR/ωL).
    pub tyre_ratio: f64,
    /// Radius lost by the rear right tyre: share, and over how many metres.
    pub leak: Option<(f64, f64)>,
    /// Share of oil, and of its conductance.
    pub oil_share: f64,
    /// The oil at the start, degC.
    pub oil_start_c: Option<f64>,
    /// The controller cuts above this oil temperature, in this share of its chances.
    pub cut: Option<(f64, f64)>,
    /// Holding current, a multiple of the rated one at full.
    pub current: Option<f64>,
    /// Sag of the supply while the motor moves, V.
    pub sag_v: Option<f64>,
}

impl Knobs {
    /// Nothing is wrong.
    pub const NONE: Knobs = Knobs {
        lag: 1.0,
        lag_at_the_end: 1.0,
        release_s: None,
        torque_share: 1.0,
        drag_nm: 0.0,
        tyre_ratio: 0.0,
        leak: None,
        oil_share: 1.0,
        oil_start_c: None,
        cut: None,
        current: None,
        sag_v: None,
    };

    /// What a fault does.
    pub fn of(fault: Fault, form: Form) -> Knobs {
        let either = |mild: f64, plain: f64| match form {
            Form::Mild => mild,
            Form::Plain => plain,
        };
        let none = Knobs::NONE;
        match fault {
            Fault::SlowActuator => Knobs {
                lag: either(1.8, 3.0),
                ..none
            },
            Fault::DriftingLag => Knobs {
                lag_at_the_end: either(2.0, 4.0),
                ..none
            },
            Fault::SlowRelease => Knobs {
                release_s: Some(either(1.0, 2.0)),
                ..none
            },
            Fault::NoGrip => Knobs {
                torque_share: either(0.6, 0.25),
                ..none
            },
            Fault::Dragging => Knobs {
                drag_nm: either(250.0, 600.0),
                ..none
            },
            Fault::TyreMismatch => Knobs {
                tyre_ratio: either(0.008, 0.016),
                ..none
            },
            Fault::LosingPressure => {
                let leak = (either(0.005, 0.012), either(4000.0, 300.0));
                Knobs {
                    leak: Some(leak),
                    ..none
                }
            }
            Fault::OilLoss => Knobs {
                oil_share: either(0.6, 0.25),
                ..none
            },
            Fault::Overheating => Knobs {
                oil_start_c: Some(either(136.0, 156.0)),
                ..none
            },
            Fault::Protection => Knobs {
                oil_start_c: Some(112.0),
                cut: Some((100.0, either(0.4, 1.0))),
                ..none
            },
            Fault::MotorCurrent => Knobs {
                current: Some(either(1.5, 2.5)),
                ..none
            },
            Fault::LowVoltage => Knobs {
                sag_v: Some(either(2.0, 4.0)),
                ..none
            },
            // These are done on the bus or in the map.
            Fault::CommandFrozen
            | Fault::StateFrozen
            | Fault::YawFrozen
            | Fault::Swapped
            | Fault::SidesSwapped
            | Fault::WheelScale
            | Fault::StuckWheel
            | Fault::DropOuts
            | Fault::BadSamples
            | Fault::Fahrenheit
            | Fault::OilFrozen => none,
        }
    }
}
