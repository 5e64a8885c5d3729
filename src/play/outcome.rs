//! What came of a capture, from the object of `decode --json`.

use serde_json::Value;

use super::words::{fixed, odds_words};

fn readings(decoded: &Value) -> &[Value] {
    decoded["readings"].as_array().map_or(&[], Vec::as_slice)
}

/// Numbers read, as they are printed.
pub fn numbers(decoded: &Value) -> Vec<String> {
    let spaced = |id: &str| {
        let (country, national) = id.split_at(id.len() - 12);
        format!("{country} {national}")
    };
    readings(decoded)
        .iter()
        .filter_map(|reading| reading["id"].as_str().map(spaced))
        .collect()
}

/// In a sentence or two.
pub fn outcome(decoded: &Value) -> String {
    let parts: Vec<String> = readings(decoded)
        .iter()
        .zip(numbers(decoded))
        .map(|(reading, number)| {
            let odds = reading["odds_wrong"].as_f64().unwrap_or(1.0);
            let spare = reading["spare_db"].as_f64().unwrap_or(f64::NAN);
            format!(
                "Read: {number}, wrong with a probability of {}, {} dB to spare.",
                odds_words(odds),
                fixed(spare, 1)
            )
        })
        .collect();
    let findings: Vec<&str> = decoded["findings"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|finding| finding["code"] != "capture-note")
        .filter_map(|finding| finding["text"].as_str())
        .collect();
    let first = findings.first().copied().unwrap_or_default();
    match parts.is_empty() {
        true => format!("Not read. {first}").trim_end().into(),
        false if first.is_empty() => parts.join(" "),
        false => format!("{} {first}", parts.join(" ")),
    }
}
