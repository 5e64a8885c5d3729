//! Checks a scenario's keys against the list before anything is built from them.

use super::super::circuit::{CircuitError, PlanError};
use super::super::coil::CoilError;
use super::super::link::LinkError;
use super::keys::{Allowed, KEYS, Key, TABLES, TableKind};
use thiserror::Error;
use toml::Value;

/// Where in the file; nowhere for values given elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct At(pub Option<usize>);

impl std::fmt::Display for At {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            Some(line) => write!(f, "line {line}: "),
            None => Ok(()),
        }
    }
}

/// Why a scenario cannot be used.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum ScenarioError {
    /// Not TOML.
    #[error("{at}{message}")]
    Syntax {
        /// Where.
        at: At,
        /// What the parser says.
        message: String,
    },
    /// A key nobody knows.
    #[error("{at}unknown key '{key}'; the nearest known one is '{nearest}'")]
    Unknown {
        /// Where.
        at: At,
        /// The key with its table.
        key: String,
        /// The most similar known one.
        nearest: String,
    },
    /// A value of the wrong type or out of range.
    #[error("{at}{key} is {value}; allowed is {allowed}")]
    Value {
        /// Where.
        at: At,
        /// The key with its table.
        key: String,
        /// What was given.
        value: String,
        /// What is allowed.
        allowed: String,
    },
    /// Keys that do not go together.
    #[error("{0}")]
    Together(String),
    /// A coil that cannot be wound.
    #[error("[{table}] {error}")]
    Coil {
        /// Which coil.
        table: &'static str,
        /// Why not.
        error: CoilError,
    },
    /// Circuits that cannot be joined.
    #[error(transparent)]
    Circuit(#[from] CircuitError),
    /// A history that cannot be run.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// A link that cannot be worked out.
    #[error(transparent)]
    Link(#[from] LinkError),
}

/// Checks one table and those within; `line` finds the line of a path of keys.
pub(super) fn check_table(
    table: &toml::Table,
    name: &str,
    path: &mut Vec<String>,
    line: &dyn Fn(&[String]) -> At,
) -> Result<(), ScenarioError> {
    for (key, value) in table {
        let full = join(name, key);
        path.push(key.clone());
        let kind = TABLES.iter().find(|table| table.0 == full).map(|t| t.1);
        match (kind, value) {
            (Some(TableKind::Single), Value::Table(inner)) => {
                check_table(inner, &full, path, line)?;
            }
            (Some(TableKind::Repeated), Value::Array(items)) => {
                for (index, item) in items.iter().enumerate() {
                    path.push(index.to_string());
                    match item {
                        Value::Table(inner) => check_table(inner, &full, path, line)?,
                        other => return Err(refuse(line(path), &full, other, "a table")),
                    }
                    path.pop();
                }
            }
            (Some(TableKind::Single), other) => {
                return Err(refuse(
                    line(path),
                    &full,
                    other,
                    &format!("a table, [{full}]"),
                ));
            }
            (Some(TableKind::Repeated), other) => {
                let allowed = format!("a repeated table, [[{full}]]");
                return Err(refuse(line(path), &full, other, &allowed));
            }
            (None, value) => check_value(name, key, value, line(path))?,
        }
        path.pop();
    }
    Ok(())
}

/// Checks the value of a key.
pub(super) fn check_value(
    table: &str,
    name: &str,
    value: &Value,
    at: At,
) -> Result<(), ScenarioError> {
    let Some(key) = KEYS
        .iter()
        .find(|key| key.table == table && key.name == name)
    else {
        let full = join(table, name);
        let nearest = nearest(table, name);
        return Err(ScenarioError::Unknown {
            at,
            key: full,
            nearest,
        });
    };
    if fits(key, value) {
        Ok(())
    } else {
        Err(refuse(
            at,
            &join(table, name),
            value,
            &key.allowed.to_string(),
        ))
    }
}

fn fits(key: &Key, value: &Value) -> bool {
    match (key.allowed, value) {
        (Allowed::Number(low, high), Value::Float(number)) => (low..=high).contains(number),
        (Allowed::Number(low, high), Value::Integer(number)) => {
            (low..=high).contains(&(*number as f64))
        }
        (Allowed::Whole(low, high), Value::Integer(number)) => (low..=high).contains(number),
        (Allowed::OneOf(words), Value::String(word)) => words.contains(&word.as_str()),
        (Allowed::Text, Value::String(_)) | (Allowed::YesNo, Value::Boolean(_)) => true,
        _ => false,
    }
}

fn refuse(at: At, key: &str, value: &Value, allowed: &str) -> ScenarioError {
    let value = match value {
        Value::Table(_) => "a table".into(),
        Value::Array(_) => "a list".into(),
        other => other.to_string(),
    };
    ScenarioError::Value {
        at,
        key: key.into(),
        value,
        allowed: allowed.into(),
    }
}

pub(super) fn join(table: &str, name: &str) -> String {
    if table.is_empty() {
        name.into()
    } else {
        format!("{table}.{name}")
    }
}

/// The most similar name, those of the same table first; a whole table is also an answer.
fn nearest(table: &str, name: &str) -> String {
    let full = join(table, name);
    // A name without its unit is nearly right, and so is one cut short.
    let edits = |given: &str, known: &str| {
        let bare = known.rsplit_once('_').map_or(known, |(bare, _)| bare);
        let short = given.len() >= 3 && known.starts_with(given);
        let least = edits(given, known).min(edits(given, bare) + 1);
        if short { least.min(1) } else { least }
    };
    let keys = KEYS.iter().map(|key| (key.table, key.name));
    let tables = TABLES
        .iter()
        .map(|(table, _, _)| match table.rsplit_once('.') {
            Some((outer, inner)) => (outer, inner),
            None => ("", *table),
        });
    keys.chain(tables)
        .map(|(where_, known)| {
            let same = where_ == table;
            let distance = if same {
                edits(name, known)
            } else {
                // A key put into the wrong table counts as found, but one in the right table goes first.
                edits(name, known).min(edits(&full, &join(where_, known))) + 1
            };
            (distance, join(where_, known))
        })
        .min_by_key(|(distance, _)| *distance)
        .map_or_else(String::new, |(_, known)| known)
}

/// Letters to insert, remove or replace to make one word the other (Levenshtein).
fn edits(from: &str, to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (i, a) in from.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in to.iter().enumerate() {
            let replaced = diagonal + usize::from(a != *b);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edit_distances() {
        for (a, b, want) in [
            ("", "abc", 3),
            ("kitten", "sitting", 3),
            ("same", "same", 0),
            ("turn", "turns", 1),
        ] {
            assert_eq!(edits(a, b), want);
            assert_eq!(edits(b, a), want);
        }
        assert_eq!(nearest("reader.coil", "turn"), "reader.coil.turns");
        assert_eq!(nearest("reader", "turns"), "reader.coil.turns");
        assert_eq!(nearest("", "readers"), "reader");
        assert_eq!(nearest("tag", "distance_cm"), "tag.distance_mm");
        assert_eq!(nearest("tone", "freq"), "tone.frequency_hz");
        assert_eq!(nearest("noise", "white"), "noise.white_nv_per_rthz");
    }
}
