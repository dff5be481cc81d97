//! What a limit says of itself, and the form its files are written in.

use std::fmt;

use super::Limits;

/// The value of a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LimitValue {
    /// A number.
    Number(f64),
    /// A whole number from 0 on.
    Count(u32),
    /// Upper edges of five levels, rising.
    Edges([f64; 5]),
}

impl LimitValue {
    /// The number or count; edges have none.
    pub fn number(self) -> Option<f64> {
        match self {
            LimitValue::Number(value) => Some(value),
            LimitValue::Count(value) => Some(f64::from(value)),
            LimitValue::Edges(_) => None,
        }
    }
}

/// As the settings file has it: read back it is the same number, bit for bit.
impl fmt::Display for LimitValue {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            // `{:?}` is the shortest text that reads back, and keeps the point of a 5.0.
            LimitValue::Number(value) => write!(out, "{value:?}"),
            LimitValue::Count(value) => write!(out, "{value}"),
            LimitValue::Edges(edges) => write!(out, "{edges:?}"),
        }
    }
}

/// A type a limit may have.
pub(super) trait Kind: Copy {
    fn value(self) -> LimitValue;
    fn of(value: LimitValue) -> Option<Self>;
}

impl Kind for f64 {
    fn value(self) -> LimitValue {
        LimitValue::Number(self)
    }

    fn of(value: LimitValue) -> Option<f64> {
        match value {
            LimitValue::Number(value) => Some(value),
            _ => None,
        }
    }
}

impl Kind for u32 {
    fn value(self) -> LimitValue {
        LimitValue::Count(self)
    }

    fn of(value: LimitValue) -> Option<u32> {
        match value {
            LimitValue::Count(value) => Some(value),
            _ => None,
        }
    }
}

impl Kind for [f64; 5] {
    fn value(self) -> LimitValue {
        LimitValue::Edges(self)
    }

    fn of(value: LimitValue) -> Option<[f64; 5]> {
        match value {
            LimitValue::Edges(value) => Some(value),
            _ => None,
        }
    }
}

/// What a limit says of itself.
#[derive(Clone, Copy, Debug)]
pub struct LimitAbout {
    /// Table of the settings file.
    pub table: &'static str,
    /// Key in it, snake case.
    pub key: &'static str,
    /// Unit, `share`, `ratio` or `count`.
    pub unit: &'static str,
    /// Lowest value allowed.
    pub low: f64,
    /// Highest value allowed.
    pub high: f64,
    /// What it is; whole sentences.
    pub meaning: &'static str,
    /// Why this value; empty where the source says it.
    pub reason: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// What follows it; empty where the meaning says it.
    pub sensitivity: &'static str,
    /// Reads it.
    pub get: fn(&Limits) -> LimitValue,
    /// Writes it; false for a value of another kind, which changes nothing.
    pub set: fn(&mut Limits, LimitValue) -> bool,
}

impl LimitAbout {
    /// Table and key, joined by a point.
    pub fn name(&self) -> String {
        format!("{}.{}", self.table, self.key)
    }

    /// The value it has unless someone changes it.
    pub fn default_value(&self) -> LimitValue {
        (self.get)(&Limits::default())
    }

    /// What may be written for it, in words.
    pub fn wanted(&self) -> String {
        let (low, high, unit) = (self.low, self.high, self.unit);
        match self.default_value() {
            LimitValue::Number(_) => format!("a number from {low} to {high} ({unit})"),
            LimitValue::Count(_) => format!("a whole number from {low} to {high}"),
            LimitValue::Edges(_) => format!("five rising numbers from {low} to {high} ({unit})"),
        }
    }

    /// Whether a value may be written for it.
    pub fn allows(&self, value: LimitValue) -> bool {
        // Not a number lies in no range.
        let is_in = |value: f64| (self.low..=self.high).contains(&value);
        match value {
            LimitValue::Number(value) => is_in(value),
            LimitValue::Count(value) => is_in(f64::from(value)),
            LimitValue::Edges(edges) => {
                edges.iter().all(|edge| is_in(*edge))
                    && edges.is_sorted_by(|one, other| one < other)
            }
        }
    }
}

/// The limits of one subject: a table of the settings file.
#[derive(Clone, Copy, Debug)]
pub struct Group {
    /// Its name.
    pub table: &'static str,
    /// What it is about.
    pub about: &'static str,
    /// Its limits.
    pub limits: &'static [LimitAbout],
}

/// Declares the limits of one subject once: the struct that carries them, its defaults, and
/// its [`Group`]. A limit that names no source is an engineering guess, and says so.
macro_rules! limits {
    (
        $(#[doc = $about:literal])+
        $table:ident: $name:ident;
        $(
            $(#[doc = $meaning:literal])+
            $key:ident: $kind:ty = $default:expr, $unit:literal, from $low:literal to $high:literal
            $(, $part:ident: $text:literal)*;
        )+
    ) => {
        $(#[doc = $about])+
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct $name {
            $(
                $(#[doc = $meaning])+
                pub $key: $kind,
            )+
        }

        impl Default for $name {
            fn default() -> $name {
                $name { $($key: $default),+ }
            }
        }

        /// What they say of themselves.
        pub(super) const GROUP: super::Group = super::Group {
            table: stringify!($table),
            about: concat!($($about),+).trim_ascii_start(),
            limits: &[$(
                super::LimitAbout {
                    key: stringify!($key),
                    unit: $unit,
                    low: $low,
                    high: $high,
                    meaning: concat!($($meaning),+).trim_ascii_start(),
                    get: |limits| super::registry::Kind::value(limits.$table.$key),
                    set: |limits, value| match super::registry::Kind::of(value) {
                        Some(value) => {
                            limits.$table.$key = value;
                            true
                        }
                        None => false,
                    },
                    $($part: $text,)*
                    ..super::LimitAbout {
                        table: stringify!($table),
                        key: "",
                        unit: "",
                        low: 0.0,
                        high: 0.0,
                        meaning: "",
                        reason: "",
                        source: "none, engineering guess",
                        sensitivity: "",
                        get: |_| super::LimitValue::Count(0),
                        set: |_, _| false,
                    }
                },
            )+],
        };
    };
}
