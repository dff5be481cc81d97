//! How a part of the record is defined: each field once, with all there is to know of it.
//!
//! A field's line holds its key, its type, its unit in brackets where it has one, and where its
//! value comes from; the text above it says what it is. Writing, reading, the schema, the columns
//! of the tables and their pages all follow from that line.

/// A struct of the record, and how it is made from what `health` found; in braces, what several of
/// its fields need first.
macro_rules! stored {
    (
        $(#[$about:meta])*
        $name:ident of $from:ident: $source:ty;
        $({ $($first:tt)* })?
        $(
            $(#[$field_about:meta])*
            $field:ident: $kind:ty $([$unit:literal])? = $value:expr,
        )*
    ) => {
        #[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
        $(#[$about])*
        pub struct $name {
            $(
                $(#[$field_about])*
                $(#[schemars(extend("unit" = $unit))])?
                pub $field: $kind,
            )*
        }

        impl $name {
            /// The part as it is stored.
            pub fn of($from: $source) -> $name {
                $($($first)*)?
                $name { $($field: $value),* }
            }
        }
    };
}

/// The words a field may hold, and what each stands for in `health`.
macro_rules! words {
    (
        $(#[$about:meta])*
        $name:ident of $source:ty;
        $($(#[$word_about:meta])* $word:ident = $from:pat,)*
    ) => {
        #[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        $(#[$about])*
        pub enum $name {
            $($(#[$word_about])* $word,)*
        }

        impl From<$source> for $name {
            fn from(found: $source) -> $name {
                match found {
                    $($from => $name::$word,)*
                }
            }
        }
    };
}

pub(crate) use {stored, words};
