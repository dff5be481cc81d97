//! Limits that were not the usual ones.

use halfshaft_health::SettingChanged;
use halfshaft_health::limits::LimitValue;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct SettingJson<'a> {
    key: &'a str,
    default: ValueJson,
    value: ValueJson,
    unit: &'static str,
}

#[derive(Serialize)]
#[serde(untagged)]
enum ValueJson {
    Number(f64),
    Count(u32),
    Edges([f64; 5]),
}

impl ValueJson {
    fn of(value: LimitValue) -> ValueJson {
        match value {
            LimitValue::Number(value) => ValueJson::Number(value),
            LimitValue::Count(value) => ValueJson::Count(value),
            LimitValue::Edges(edges) => ValueJson::Edges(edges),
        }
    }
}

impl<'a> SettingJson<'a> {
    pub(super) fn all(changed: &'a [SettingChanged]) -> Vec<SettingJson<'a>> {
        changed.iter().map(SettingJson::of).collect()
    }

    fn of(setting: &'a SettingChanged) -> SettingJson<'a> {
        SettingJson {
            key: &setting.key,
            default: ValueJson::of(setting.default),
            value: ValueJson::of(setting.value),
            unit: setting.unit,
        }
    }
}
