//! The result as one JSON object.

use fieldripple::margin::{Contestant, Levels, Table, level_at};
use serde_json::{Value, json};

use super::paired;
use super::text::{SHARES, points};
use super::vary::label;

/// `odds` and `seed` are those of the plan, where it is known.
pub fn object(
    table: &Table,
    names: &[String],
    odds: Option<f64>,
    seed: Option<u64>,
    complete: bool,
) -> Value {
    let rows: Vec<Value> = table
        .rows()
        .iter()
        .map(|row| {
            let (low, high) = row.tally.interval();
            let mut value = json!({
                "receiver": row.receiver.name(),
                "values": row.values,
                "trials": row.tally.trials,
                "read": row.tally.read,
                "wrong": row.tally.wrong,
                "share": row.tally.share(),
                "low95": low,
                "high95": high,
            });
            if let (Contestant::Yours, Some(keys)) = (row.receiver, value.as_object_mut()) {
                paired::keys(table, &row.values, keys);
            }
            value
        })
        .collect();
    let mut levels = Vec::new();
    if names.len() == 1 {
        for (index, receiver) in table.receivers().iter().enumerate() {
            for share in SHARES {
                let (found, level) = match level_at(&points(table, index), share) {
                    Some(Levels::At(level)) => ("at", Some(level)),
                    Some(Levels::AlwaysAbove) => ("always above", None),
                    Some(Levels::AlwaysBelow) => ("always below", None),
                    Some(Levels::Unsteady) => ("rises and falls", None),
                    None => ("too few values", None),
                };
                levels.push(json!({
                    "receiver": receiver.name(),
                    "share": share,
                    "found": found,
                    "value": level.map(|level| level.value),
                    "low95": level.and_then(|level| level.low),
                    "high95": level.and_then(|level| level.high),
                }));
            }
        }
    }
    let vary: Vec<Value> = names
        .iter()
        .map(|name| json!({"name": name, "meaning": label(name)}))
        .collect();
    json!({
        "schema": "fieldripple.margin/1",
        "vary": vary,
        "odds": odds,
        "seed": seed,
        "complete": complete,
        "rows": rows,
        "levels": levels,
    })
}
