//! The keys of `report.json` as a page to read, made from the schema: a table for each part.

use std::fmt::Write as _;

use serde_json::Value;

use crate::Record;
use crate::schema::settings;

/// The tables as Markdown, the whole record first, then each part where it is first named.
pub fn tables() -> String {
    let schema = settings()
        .into_generator()
        .into_root_schema_for::<Record>()
        .to_value();
    let mut page = format!("\n## report.json\n\n{}", table(&schema));
    let mut seen = Vec::new();
    let mut next = parts(&schema);
    while let Some(name) = next.pop() {
        if seen.contains(&name) {
            continue;
        }
        let part = &schema["$defs"][&name];
        // A result or a reason is the same everywhere: what it holds is named where it stands.
        if name.ends_with("Outcome") {
            next.extend(parts(part));
            seen.push(name);
            continue;
        }
        let about = text(&part["description"]);
        let _ = write!(page, "\n## {name}\n\n{about}\n\n{}", table(part));
        next.extend(parts(part));
        seen.push(name);
    }
    page
}

/// The words a part may be, or its keys, with unit and meaning.
fn table(part: &Value) -> String {
    let mut rows = String::new();
    let Some(keys) = part["properties"].as_object() else {
        for word in part["oneOf"].as_array().into_iter().flatten() {
            let (name, about) = (text(&word["const"]), text(&word["description"]));
            let _ = writeln!(rows, "| `{name}` | {} |", about.replace('\n', " "));
        }
        return format!("| word | what it means |\n|---|---|\n{rows}");
    };
    // Only the list of keys that are always there keeps their order; one that may be left out
    // comes last.
    let listed = part["required"].as_array().into_iter().flatten();
    let mut order: Vec<&str> = listed.filter_map(Value::as_str).collect();
    order.extend(keys.keys().map(String::as_str).filter({
        let always = order.clone();
        move |key| !always.contains(key)
    }));
    for key in order {
        let about = &keys[key];
        let (unit, meaning) = (text(&about["unit"]), text(&about["description"]));
        let row = format!("| `{key}` | {} | {unit} | {meaning} |", kind(about));
        rows += &(row.replace('\n', " ").replace("|  |", "| |") + "\n");
    }
    format!("| key | holds | unit | what it is |\n|---|---|---|---|\n{rows}")
}

/// What kind of value a key holds, in words.
fn kind(about: &Value) -> String {
    if let Some(path) = about["$ref"].as_str() {
        let name = path.rsplit('/').next().unwrap_or(path);
        return match name.strip_suffix("Outcome") {
            Some("double") => "number, or reason".to_owned(),
            Some(inner) => format!("{}, or reason", link(inner)),
            None => link(name),
        };
    }
    if let Some(choices) = about["anyOf"].as_array() {
        let known: Vec<String> = choices
            .iter()
            .filter(|choice| choice["type"] != "null")
            .map(kind)
            .collect();
        return format!("{} or null", known.join(" or "));
    }
    if about["items"].is_object() {
        return format!("list of {}", kind(&about["items"]));
    }
    if about["additionalProperties"].is_object() {
        return format!("{} by name", kind(&about["additionalProperties"]));
    }
    match &about["type"] {
        Value::Array(kinds) => {
            let kinds: Vec<&str> = kinds.iter().filter_map(Value::as_str).map(word).collect();
            kinds.join(" or ")
        }
        one => word(text(one)).to_owned(),
    }
}

fn link(name: &str) -> String {
    format!("[{name}](#{})", name.to_lowercase())
}

fn word(kind: &str) -> &str {
    match kind {
        "string" => "text",
        "integer" => "whole number",
        "boolean" => "true or false",
        other => other,
    }
}

/// The parts named in this one, the last first.
fn parts(part: &Value) -> Vec<String> {
    fn walk(value: &Value, found: &mut Vec<String>) {
        match value {
            Value::Object(keys) => {
                if let Some(path) = keys.get("$ref").and_then(Value::as_str) {
                    found.extend(path.rsplit('/').next().map(str::to_owned));
                }
                for (key, inner) in keys {
                    if key != "$defs" {
                        walk(inner, found);
                    }
                }
            }
            Value::Array(list) => list.iter().for_each(|inner| walk(inner, found)),
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk(part, &mut found);
    found.reverse();
    found
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_of_the_record_has_its_table_and_every_link_its_aim() {
        let page = tables();
        let schema = settings()
            .into_generator()
            .into_root_schema_for::<Record>()
            .to_value();
        for name in schema["$defs"].as_object().unwrap().keys() {
            let is_there = page.contains(&format!("\n## {name}\n"));
            assert_eq!(is_there, !name.ends_with("Outcome"), "{name}");
        }
        for aim in page.split("](#").skip(1) {
            let aim = aim.split(')').next().unwrap();
            let has_it = page.lines().any(|line| {
                line.strip_prefix("## ").map(str::to_lowercase) == Some(aim.to_owned())
            });
            assert!(has_it, "{aim}");
        }
        for row in [
            "| `heat_kj` | number or null | kJ | Heat in the pack. |",
            "| `figures` | [Figure](#figure) by name | | Figures by name. |",
            "| `command` | The controller commanded it. |",
            "| `actuator` | [Actuator](#actuator), or reason | | How quickly the clutch answers. |",
        ] {
            assert!(page.contains(row), "{row}\n{page}");
        }
    }
}
