//! What the parts of the record are made of: numbers that may be unknown, results or reasons,
//! lists with names, stretches of time.

use std::fmt;
use std::marker::PhantomData;

use halfshaft_health::Reason;
use halfshaft_model::personal::clean;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::{Map, json};

use crate::macros::{stored, words};

/// What stands in place of a number that is none.
pub const NOT_FINITE: &str = "the sum did not come out as a finite number";

/// A number that may be unknown; one that is not finite is unknown.
pub fn known(value: impl Into<Option<f64>>) -> Option<f64> {
    value.into().filter(|number| number.is_finite())
}

/// Numbers of which each may be unknown.
pub(crate) fn all_known(values: &[f64]) -> Vec<Option<f64>> {
    values.iter().map(|&value| known(value)).collect()
}

/// Text of a map, a log, a command or a file name, as it may be passed on.
pub(crate) fn foreign(text: &str) -> String {
    clean(text)
}

/// A reason as it is stored: the only place where one enters the record.
pub(crate) fn why(reason: &(impl Clone + Into<Reason>)) -> String {
    foreign(&reason.clone().into().to_string())
}

/// A number with its reason: exactly one of the two is there.
pub(crate) fn number_or_why(
    outcome: &Result<f64, impl Clone + Into<Reason>>,
) -> (Option<f64>, Option<String>) {
    match outcome {
        Ok(value) if value.is_finite() => (Some(*value), None),
        Ok(_) => (None, Some(NOT_FINITE.to_owned())),
        Err(reason) => (None, Some(why(reason))),
    }
}

/// A result, or why there is none: exactly one of the two is null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "{T}Outcome", transform = or_reason("result"))]
pub struct Outcome<T> {
    /// The result.
    pub result: Option<T>,
    /// Why there is none.
    pub why_null: Option<String>,
}

impl<T> Outcome<T> {
    pub(crate) fn found(result: T) -> Outcome<T> {
        Outcome {
            result: Some(result),
            why_null: None,
        }
    }

    pub(crate) fn of<S>(outcome: &Result<S, Reason>, shape: impl FnOnce(&S) -> T) -> Outcome<T> {
        match outcome {
            Ok(found) => Outcome::found(shape(found)),
            Err(reason) => Outcome {
                result: None,
                why_null: Some(why(reason)),
            },
        }
    }
}

impl Outcome<f64> {
    pub(crate) fn number(outcome: &Result<f64, Reason>) -> Outcome<f64> {
        let (result, why_null) = number_or_why(outcome);
        Outcome { result, why_null }
    }
}

/// Into the schema: the first of `keys` is there and `why_null` is not, or all of them are null
/// and `why_null` is there.
pub(crate) fn or_reason(keys: &'static str) -> impl Fn(&mut Schema) {
    move |schema| {
        let mut with = Map::new();
        let mut without = Map::new();
        for key in keys.split(' ') {
            without.insert(key.to_owned(), json!({ "type": "null" }));
            if with.is_empty() {
                let there = json!({ "type": ["array", "number", "object", "string"] });
                with.insert(key.to_owned(), there);
            }
        }
        with.insert("why_null".to_owned(), json!({ "type": "null" }));
        without.insert("why_null".to_owned(), json!({ "type": "string" }));
        let either = json!([{ "properties": with }, { "properties": without }]);
        schema.insert("oneOf".to_owned(), either);
    }
}

/// Values by name, an object in its own order.
#[derive(Clone, Debug, PartialEq)]
pub struct Ordered<V>(pub Vec<(String, V)>);

impl<V> Ordered<V> {
    /// The value of a name.
    pub fn get(&self, name: &str) -> Option<&V> {
        let mut all = self.0.iter();
        all.find(|(known, _)| known == name).map(|(_, value)| value)
    }
}

impl<N: Into<String>, V> FromIterator<(N, V)> for Ordered<V> {
    fn from_iter<I: IntoIterator<Item = (N, V)>>(pairs: I) -> Ordered<V> {
        let pairs = pairs.into_iter();
        Ordered(pairs.map(|(name, value)| (name.into(), value)).collect())
    }
}

impl<V: Serialize> Serialize for Ordered<V> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(name, value)| (name, value)))
    }
}

impl<'de, V: Deserialize<'de>> Deserialize<'de> for Ordered<V> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Ordered<V>, D::Error> {
        struct Pairs<V>(PhantomData<V>);
        impl<'de, V: Deserialize<'de>> Visitor<'de> for Pairs<V> {
            type Value = Ordered<V>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Ordered<V>, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Ordered(pairs))
            }
        }
        deserializer.deserialize_map(Pairs(PhantomData))
    }
}

impl<V: JsonSchema> JsonSchema for Ordered<V> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("Ordered_{}", V::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<V>();
        json_schema!({ "type": "object", "additionalProperties": value })
    }
}

stored! {
    /// A stretch of the drive.
    Span of span: halfshaft_model::Span;
    /// When it begins, since the first entry of the log.
    start_ns: i64 ["ns"] = span.start.0,
    /// When it ends, since the first entry of the log.
    end_ns: i64 ["ns"] = span.end.0,
    /// When it begins.
    start_s: f64 ["s"] = span.start.seconds(),
    /// When it ends.
    end_s: f64 ["s"] = span.end.seconds(),
}

stored! {
    /// A value with its 90 % interval.
    Estimate of estimate: &halfshaft_health::Estimate;
    /// The value.
    value: Option<f64> = known(estimate.value),
    /// Lower end of the 90 % interval.
    low: Option<f64> = known(estimate.low),
    /// Upper end of the 90 % interval.
    high: Option<f64> = known(estimate.high),
    /// The truth is this or more.
    at_least: bool = estimate.is_at_least,
}

words! {
    /// How far something can be trusted, A to D.
    Grade of halfshaft_health::Grade;
    /// From 0.9.
    #[serde(rename = "A")]
    A = halfshaft_health::Grade::A,
    /// From 0.7.
    #[serde(rename = "B")]
    B = halfshaft_health::Grade::B,
    /// From 0.4.
    #[serde(rename = "C")]
    C = halfshaft_health::Grade::C,
    /// Below that.
    #[serde(rename = "D")]
    D = halfshaft_health::Grade::D,
}
