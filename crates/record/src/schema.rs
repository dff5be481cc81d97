//! What follows from the definition of the record: its JSON schema, and the columns of tables.

use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use serde_json::{Map, Value};

use crate::Record;

/// The schema of `report.json` as text.
pub fn json_schema() -> String {
    let settings = settings().with_transform(RecursiveTransform(close));
    let mut schema = settings.into_generator().into_root_schema_for::<Record>();
    schema.insert("$id".to_owned(), "urn:halfshaft:report:3".into());
    let mut text = String::new();
    lay_out(schema.as_value(), 0, &mut text);
    text + "\n"
}

/// What is written has all its keys, null where something is not known.
pub(crate) fn settings() -> SchemaSettings {
    SchemaSettings::draft2020_12().for_serialize()
}

/// A report has no key but those of its schema; and how wide a number is in memory is nothing to
/// a reader.
fn close(schema: &mut Schema) {
    if schema.get("type").is_some_and(|kind| kind == "object") && schema.get("properties").is_some()
    {
        schema.insert("additionalProperties".to_owned(), false.into());
    }
    schema.remove("format");
    if let Some(Value::String(words)) = schema.get_mut("description") {
        *words = words.replace('\n', " ");
    }
}

/// Keys of a part stand one a line, so that a change of one is a change of a line.
fn lay_out(value: &Value, depth: usize, text: &mut String) {
    let Value::Object(keys) = value else {
        *text += &value.to_string();
        return;
    };
    if depth > 3 || keys.is_empty() {
        *text += &value.to_string();
        return;
    }
    let indent = "  ".repeat(depth);
    for (index, (key, value)) in keys.iter().enumerate() {
        *text += if index == 0 { "{" } else { "," };
        *text += &format!("\n{indent}  {}: ", Value::from(key.as_str()));
        lay_out(value, depth + 1, text);
    }
    *text += &format!("\n{indent}}}");
}

/// A row of a table: its fields are the columns.
pub trait Row: Serialize + JsonSchema {}

impl<T: Serialize + JsonSchema> Row for T {}

/// The values of a row by the name of their column.
pub fn cells<R: Row>(row: &R) -> Map<String, Value> {
    match serde_json::to_value(row) {
        Ok(Value::Object(cells)) => cells,
        _ => unreachable!("a row is a struct of numbers and texts"),
    }
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Text.
    Text,
    /// A number.
    Number,
    /// A whole number.
    Whole,
    /// True or false.
    Truth,
}

/// One column of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// The field it is made from.
    pub field: String,
    /// Its name.
    pub name: String,
    /// Its unit; empty where it has none.
    pub unit: String,
    /// What it is.
    pub meaning: String,
    /// What it holds.
    pub kind: Kind,
    /// Whether a value may be missing; a number always may, for it may not be finite.
    pub may_be_null: bool,
}

/// The columns of a row in the order of its fields. A time in nanoseconds is not given again in
/// seconds.
pub fn columns<R: Row>() -> Vec<Column> {
    let settings = settings().with(|settings| settings.inline_subschemas = true);
    let schema = settings.into_generator().into_root_schema_for::<R>();
    // Only the list of keys keeps their order.
    let keys = schema.get("required").and_then(Value::as_array);
    let keys: Vec<&str> = keys
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let is_twin = |key: &str| {
        let in_ns = key.strip_suffix("_s").map(|name| format!("{name}_ns"));
        in_ns.is_some_and(|in_ns| keys.contains(&in_ns.as_str()))
    };
    keys.iter()
        .filter(|key| !is_twin(key))
        .map(|&key| {
            column(
                key,
                schema
                    .pointer(&format!("/properties/{key}"))
                    .unwrap_or(&Value::Null),
            )
        })
        .collect()
}

fn column(key: &str, about: &Value) -> Column {
    let text = |key: &str| about[key].as_str().unwrap_or_default().to_owned();
    let is = |kind: &str| {
        let list = about["type"].as_array();
        about["type"] == kind || list.is_some_and(|list| list.iter().any(|one| one == kind))
    };
    let kind = match () {
        () if is("number") => Kind::Number,
        () if is("integer") => Kind::Whole,
        () if is("boolean") => Kind::Truth,
        // Words of a list too.
        () => Kind::Text,
    };
    let choices = about["anyOf"].as_array().into_iter().flatten();
    Column {
        field: key.to_owned(),
        name: key.to_owned(),
        unit: text("unit"),
        meaning: text("description").replace('\n', " "),
        kind,
        may_be_null: kind == Kind::Number
            || is("null")
            || choices.into_iter().any(|choice| choice["type"] == "null"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figures::Event;
    use crate::rows::FigureRow;

    #[test]
    fn columns_stand_in_the_order_of_the_fields() {
        let columns = columns::<Event>();
        let names: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
        assert_eq!(
            names[..5],
            ["kind", "start_ns", "end_ns", "duration_s", "command_peak"]
        );
        assert_eq!(names.last(), Some(&"broken"));
        assert!(!names.contains(&"start_s"));
        let heat = columns
            .iter()
            .find(|column| column.name == "heat_kj")
            .unwrap();
        assert_eq!(
            (heat.unit.as_str(), heat.meaning.as_str()),
            ("kJ", "Heat in the pack.")
        );
        assert_eq!((heat.kind, heat.may_be_null), (Kind::Number, true));
        assert_eq!(
            (columns[0].kind, columns[0].may_be_null),
            (Kind::Text, false)
        );
        assert_eq!(
            (columns[1].kind, columns[1].may_be_null),
            (Kind::Whole, false)
        );
    }

    #[test]
    fn a_word_that_may_be_missing_is_text_that_may_be_missing() {
        let columns = columns::<FigureRow>();
        let grade = columns
            .iter()
            .find(|column| column.name == "grade")
            .unwrap();
        assert_eq!((grade.kind, grade.may_be_null), (Kind::Text, true));
        assert_eq!(columns[0].name, "name");
    }

    /// Looks for objects and for keys without a description.
    fn undescribed(schema: &Value, at: &str, found: &mut Vec<String>) {
        for (key, about) in schema["properties"].as_object().into_iter().flatten() {
            if about["description"].as_str().is_none_or(str::is_empty) {
                found.push(format!("{at}/{key}"));
            }
        }
        for (name, part) in schema["$defs"].as_object().into_iter().flatten() {
            undescribed(part, name, found);
        }
    }

    #[test]
    fn every_key_is_described_and_a_unit_is_where_a_name_ends_with_one() {
        let schema: Value = serde_json::from_str(&json_schema()).unwrap();
        let mut found = Vec::new();
        undescribed(&schema, "", &mut found);
        assert_eq!(found, Vec::<String>::new());
        assert_eq!(schema["properties"]["schema"]["const"], crate::SCHEMA);
        let oil = &schema["$defs"]["End"]["properties"]["oil_c"];
        assert_eq!(
            (&oil["unit"], &oil["description"]),
            (&"degC".into(), &"Oil.".into())
        );
        assert_eq!(schema["$defs"]["End"]["additionalProperties"], false);
        let parts = schema["$defs"].as_object().unwrap();
        assert!(parts.len() > 50);
        for (name, part) in parts {
            for (key, about) in part["properties"].as_object().into_iter().flatten() {
                let unit = about["unit"].as_str().unwrap_or_default();
                let ending = match key.rsplit_once("_per_") {
                    Some(_) if key.ends_with("_rad_per_s") => "rad/s",
                    Some(_) => continue,
                    None => match key.rsplit_once('_') {
                        Some((_, "s")) => "s",
                        Some((_, "ns")) => "ns",
                        Some((_, "kj")) => "kJ",
                        Some((_, "c")) => "degC",
                        _ => continue,
                    },
                };
                assert_eq!(unit, ending, "{name}/{key}");
            }
        }
    }
}
