//! The name of every finding, as a type: one that is misspelt does not compile.

use std::fmt;

/// Declares each finding once, with its code.
macro_rules! ids {
    ($($name:ident = $word:literal,)+) => {
        /// A finding, by name; in order of code.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum FindingId {
            $(
                #[doc = concat!("`", $word, "`.")]
                $name,
            )+
        }

        impl FindingId {
            /// Stable kebab-case code; what is stored and exported has it.
            pub const fn word(self) -> &'static str {
                match self {
                    $(FindingId::$name => $word,)+
                }
            }
        }
    };
}

ids! {
    ActuatorNotMoving = "actuator-not-moving",
    CommandChatter = "command-chatter",
    CommandExchanged = "command-exchanged",
    CommandFrozen = "command-frozen",
    DoesNotCool = "does-not-cool",
    DoesNotGrip = "does-not-grip",
    DraggingPack = "dragging-pack",
    FrontRearMismatch = "front-rear-mismatch",
    HangsOnAfterLift = "hangs-on-after-lift",
    HardDriving = "hard-driving",
    HardHit = "hard-hit",
    HeavyPreload = "heavy-preload",
    HotWithoutClutch = "hot-without-clutch",
    Judder = "judder",
    LateOnThrottle = "late-on-throttle",
    LazyActuator = "lazy-actuator",
    LazyCold = "lazy-cold",
    LogNotFit = "log-not-fit",
    LosingPressure = "losing-pressure",
    MotorWorksHard = "motor-works-hard",
    NotDriving = "not-driving",
    OilLoss = "oil-loss",
    OilNotBelieved = "oil-not-believed",
    OilTooHot = "oil-too-hot",
    ProtectionMode = "protection-mode",
    RepeatedLaunches = "repeated-launches",
    ScatteredTiming = "scattered-timing",
    SensorDropsOut = "sensor-drops-out",
    SidesExchanged = "sides-exchanged",
    SignalsIdentical = "signals-identical",
    SlowRelease = "slow-release",
    StateFrozen = "state-frozen",
    SupplySag = "supply-sag",
    ToneRing = "tone-ring",
    TorqueReportDisagrees = "torque-report-disagrees",
    TwoCars = "two-cars",
    TyresMismatched = "tyres-mismatched",
    WorkingOnTheStraight = "working-on-the-straight",
    YawFrozen = "yaw-frozen",
}

impl fmt::Display for FindingId {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.word())
    }
}
