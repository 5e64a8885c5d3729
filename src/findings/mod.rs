//! What the receiver saw → why it was or was not read, each reason with its evidence.
//!
//! A finding has a code of our own, one or two sentences for the person at the bench (what is seen, what to do next)
//! and the measured evidence as numbers with units in their names.

mod field;
mod other_kinds;
mod ripple;

use serde_json::{Map, Value};

use crate::receiver::Reception;

/// One named reason with the measured evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable name for scripts.
    pub code: &'static str,
    /// What is seen and what to do next.
    pub text: String,
    /// Measured values, unit in the key.
    pub evidence: Map<String, Value>,
}

impl Finding {
    fn new(code: &'static str, text: String, evidence: &[(&str, f64)]) -> Self {
        Self {
            code,
            text,
            evidence: evidence
                .iter()
                .map(|(key, value)| ((*key).to_string(), Value::from(*value)))
                .collect(),
        }
    }
}

/// All findings of a capture, those that cost most first. `odds` is the limit that readings had to meet.
pub fn findings(reception: &Reception, odds: f64) -> Vec<Finding> {
    let mut all = field::findings(reception);
    all.extend(ripple::findings(reception, odds));
    other_kinds::settle(&mut all, reception);
    all
}
