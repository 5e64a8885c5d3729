//! What keys are where they are missing: the defaults of the structs, table by table.

use std::sync::LazyLock;

use super::{DirectField, DirectTag, ReaderKeys, Scenario, SecondReader, TagKeys, Waypoint};

/// A scenario in which every table stands once, as a file would hold it.
static EVERY_TABLE: LazyLock<toml::Table> = LazyLock::new(|| {
    let reader = ReaderKeys {
        cable: Some(Default::default()),
        metal_sheet: Some(Default::default()),
        loops: vec![Default::default()],
        ..ReaderKeys::default()
    };
    let second_reader = SecondReader::default();
    let scenario = Scenario {
        second_reader: Some(SecondReader {
            reader: ReaderKeys {
                cable: reader.cable,
                loops: reader.loops.clone(),
                ..second_reader.reader
            },
            ..second_reader
        }),
        reader,
        tag: vec![TagKeys {
            rod: Some(Default::default()),
            track: vec![Waypoint::default()],
            ..TagKeys::default()
        }],
        direct: Some(DirectField {
            tag: vec![DirectTag::default()],
            ..DirectField::default()
        }),
        other_tag: vec![Default::default()],
        band_noise: vec![Default::default()],
        phase_noise: Some(Default::default()),
        tone: vec![Default::default()],
        supply: vec![Default::default()],
        fsk: vec![Default::default()],
        hum: Some(Default::default()),
        impulses: vec![Default::default()],
        ..Scenario::default()
    };
    toml::Table::try_from(scenario).unwrap_or_default()
});

/// What a key is where it is missing and not found another way.
pub(super) fn default_of(table: &str, name: &str) -> toml::Value {
    let mut at = Some(&*EVERY_TABLE);
    for step in table.split('.').filter(|step| !step.is_empty()) {
        at = match at.and_then(|table| table.get(step)) {
            Some(toml::Value::Array(items)) => items.first().and_then(toml::Value::as_table),
            value => value.and_then(toml::Value::as_table),
        };
    }
    // Files leave out what is 0 nearly always.
    let value = at.and_then(|table| table.get(name)).cloned();
    value.unwrap_or(toml::Value::Float(0.0))
}

/// As one would write it: whole numbers without a decimal point.
pub(super) fn written(value: &toml::Value) -> String {
    match value {
        toml::Value::Float(number) => number.to_string(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::KEYS;
    use super::*;

    /// Every table stands in the written scenario, and every key that is not found another way, but for zeros that are left out.
    #[test]
    fn every_key_has_its_default() {
        const LEFT_OUT: [&str; 3] = ["offset_y_mm", "bearing_deg", "self_capacitance_pf"];
        for key in KEYS.iter().filter(|key| key.found.is_none()) {
            let steps = key.table.split('.').filter(|step| !step.is_empty());
            let table = steps.fold(&*EVERY_TABLE, |table, step| match &table[step] {
                toml::Value::Array(items) => items[0].as_table().unwrap(),
                value => value.as_table().unwrap(),
            });
            let stands = table.contains_key(key.name);
            assert_eq!(
                stands,
                !LEFT_OUT.contains(&key.name),
                "{}.{}",
                key.table,
                key.name
            );
        }
    }
}
