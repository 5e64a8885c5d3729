//! What the receiver saw → why it was or was not read, each reason with its evidence.
//!
//! A finding has a code of our own, one or two sentences for the person at the bench (what is seen, what to do next),
//! the measured evidence as numbers with units in their names, and how often it would be said of a capture that has
//! nothing of the kind.

mod against;
mod antenna;
mod capture;
mod field;
mod foreign;
mod interference;
mod other_kinds;
mod ripple;

pub use against::compare;

use serde_json::{Map, Value};

use crate::receiver::Reception;

/// One named reason with the measured evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable name for scripts.
    pub code: &'static str,
    /// What is seen and what to do next.
    pub text: String,
    /// Measured values, unit in the key; `false_alarm` repeats the field of that name.
    pub evidence: Map<String, Value>,
    /// Upper bound of the share of captures without the cause that would get this finding. 0: it follows from the
    /// capture's own numbers, and nothing about it is a guess.
    pub false_alarm: f64,
}

impl Finding {
    fn new(code: &'static str, text: String, evidence: &[(&str, f64)]) -> Self {
        let mut evidence: Map<String, Value> = evidence
            .iter()
            .map(|(key, value)| ((*key).to_string(), Value::from(*value)))
            .collect();
        evidence.insert("false_alarm".into(), Value::from(0.0));
        Self {
            code,
            text,
            evidence,
            false_alarm: 0.0,
        }
    }

    /// States how often this would be said of a capture that has nothing of the kind.
    fn with_false_alarm(mut self, rate: f64) -> Self {
        self.false_alarm = rate;
        self.evidence
            .insert("false_alarm".into(), Value::from(rate));
        self
    }
}

/// What costs most comes first: what leaves nothing to read, what is not what it seems, what takes decibels by the ten,
/// what takes a few, then the outcome and remarks. Codes that are not listed say of another kind of tag what it is, and
/// stand before them all.
const ORDER: [&str; 32] = [
    "rate-unknown",
    "no-field",
    "nothing-to-read",
    "field-off-frequency",
    "record-too-short",
    "pulses-too-short",
    "rate-too-low",
    "clipping",
    "few-bits",
    "check-of-another-kind",
    "biphase-no-header",
    "telegram-does-not-fit",
    "tag-restarts",
    "several-tags",
    "antenna-mistuned",
    "second-reader",
    "in-band-transmitter",
    "supply-harmonics",
    "impulses",
    "stray-tone",
    "envelope-narrow",
    "hum",
    "field-unsteady",
    "ripple-too-weak",
    "no-ripple",
    "phase-only",
    "little-margin",
    "ripple-track-curved",
    "clock-off",
    "rate-assumed",
    "folded",
    "compared",
];

/// All findings of a capture, those that cost most first. `odds` is the limit that readings had to meet.
pub fn findings(reception: &Reception, odds: f64) -> Vec<Finding> {
    let mut all = field::findings(reception);
    all.extend(capture::findings(reception));
    all.extend(antenna::findings(reception));
    let mut sent = foreign::findings(reception, odds);
    // Folded onto itself a telegram seems to begin anew.
    if all.iter().any(|finding| finding.code == "rate-too-low") {
        sent.retain(|finding| finding.code != "tag-restarts");
    }
    let holds = |codes: &[&str]| sent.iter().any(|finding| codes.contains(&finding.code));
    let own_lines = holds(&["biphase-no-header", "tag-restarts"]);
    // Something else already says why what is there is no number.
    let explained = reception.readings.is_empty()
        && (!sent.is_empty() || all.iter().any(|finding| finding.code == "pulses-too-short"));
    all.extend(interference::findings(reception, odds, own_lines));
    all.extend(sent);
    all.extend(ripple::findings(reception, odds, explained));
    all.sort_by_key(|finding| {
        ORDER
            .iter()
            .position(|code| *code == finding.code)
            .map_or(0, |place| place + 1)
    });
    other_kinds::settle(&mut all, reception);
    all
}

/// Decibels of a ratio of powers.
fn power_db(ratio: f64) -> f64 {
    10.0 * ratio.max(1e-30).log10()
}

/// A frequency in words: kilohertz with a decimal.
fn khz(hz: f64) -> String {
    format!("{:.1} kHz", hz / 1e3)
}
