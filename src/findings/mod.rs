//! What the receiver saw → why it was or was not read, each reason with its evidence.
//!
//! A finding has a code of our own, one or two sentences for the person at the bench (what is seen, what to do next),
//! the measured evidence as numbers with units in their names, and how often it would be said of a capture that has
//! nothing of the kind.

mod against;
mod antenna;
mod capture;
pub(crate) mod deviation;
mod field;
mod foreign;
mod impulses;
mod interference;
mod interrupted;
mod measured;
mod other_kinds;
mod record;
mod ripple;
mod skirts;
mod stated;
mod telegram_lines;

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
    /// Upper end of the 95 % interval of the share of captures without the cause that get this finding, as measured; `None`
    /// where it was not.
    pub false_alarm: Option<f64>,
}

impl Finding {
    fn new(code: &'static str, text: String, evidence: &[(&str, f64)]) -> Self {
        let mut evidence: Map<String, Value> = evidence
            .iter()
            .map(|(key, value)| ((*key).to_string(), Value::from(*value)))
            .collect();
        let false_alarm = measured::false_alarm(code);
        evidence.insert("false_alarm".into(), Value::from(false_alarm));
        Self {
            code,
            text,
            evidence,
            false_alarm,
        }
    }

    /// A number of its evidence.
    fn measured(&self, name: &str) -> Option<f64> {
        self.evidence.get(name)?.as_f64()
    }
}

/// What costs most comes first: what leaves nothing to read, what is not what it seems, what takes decibels by the ten,
/// what takes a few, then the outcome and remarks. Codes that are not listed say of another kind of tag what it is, and
/// stand before them all.
const ORDER: [&str; 47] = [
    "rate-unknown",
    "peak-detect-record",
    "averaged-record",
    "lossy-compression",
    "no-field",
    "nothing-to-read",
    "field-off-frequency",
    "wrong-rate",
    "wrong-centre",
    "mirrored-iq",
    "record-too-short",
    "field-briefly-on",
    "pulses-too-short",
    "rate-too-low",
    "clipping",
    "gap",
    "few-bits",
    "sampling-jitter",
    "gain-steps",
    "clock-hops",
    "clock-drift",
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
    "dc-spike",
    "iq-image",
    "not-all-tried",
    "rate-assumed",
    "folded",
    "compared",
];

/// What can still be said of a record of peaks.
const PEAKS_LEAVE: [&str; 2] = ["clipping", "folded"];

/// What a finding makes look like others: those are not told beside it. The first hides first, causes further down too.
const HIDES: [(&str, &[&str]); 10] = [
    ("lossy-compression", &CODING_MAKES),
    ("clock-drift", &MOVING_MAKES),
    ("clock-hops", &MOVING_MAKES),
    // Nothing says how deep a ripple would have to be.
    ("clock-hops", &["no-ripple"]),
    ("rate-too-low", &FOLDING_HIDES),
    // Its two tones, its sidebands among them, look like these.
    (
        "in-band-transmitter",
        &[
            "ripple-too-weak",
            "second-reader",
            "stray-tone",
            "ripple-track-curved",
            "averaged-record",
            "telegram-does-not-fit",
        ],
    ),
    ("pulses-too-short", &["no-field"]),
    // What is left of them beside their peaks strays as instants would.
    ("impulses", &["sampling-jitter"]),
    // Bursts, and their repetition.
    ("supply-harmonics", &["averaged-record", "impulses"]),
    // Steps made good leave edges, which pass for data of another kind.
    ("gain-steps", &["biphase-no-header"]),
];
/// What a ripple that is folded onto itself, or is not there at all, would have shown.
const FOLDING_HIDES: [&str; 12] = [
    "averaged-record",
    "record-too-short",
    "no-ripple",
    "ripple-too-weak",
    "telegram-does-not-fit",
    "biphase-no-header",
    "tag-restarts",
    "second-reader",
    "stray-tone",
    "supply-harmonics",
    "impulses",
    "sampling-jitter",
];
/// What a lossy coder leaves looks like these.
const CODING_MAKES: [&str; 9] = [
    "telegram-does-not-fit",
    "tag-restarts",
    "second-reader",
    "in-band-transmitter",
    "supply-harmonics",
    "impulses",
    "stray-tone",
    "hum",
    "biphase-no-header",
];
/// The places of a field whose frequency moves look like these.
const MOVING_MAKES: [&str; 9] = [
    "impulses",
    "telegram-does-not-fit",
    "tag-restarts",
    "second-reader",
    "in-band-transmitter",
    "supply-harmonics",
    "stray-tone",
    "hum",
    "field-unsteady",
];

/// All findings of a capture, those that cost most first. `odds` is the limit that readings had to meet.
pub fn findings(reception: &Reception, odds: f64) -> Vec<Finding> {
    let mut all = field::findings(reception);
    all.extend(capture::findings(reception));
    all.extend(interrupted::findings(reception));
    all.extend(stated::findings(reception));
    all.extend(antenna::findings(reception));
    let sent = foreign::findings(reception, odds);
    let holds = |codes: &[&str]| sent.iter().any(|finding| codes.contains(&finding.code));
    let own_lines = holds(&["biphase-no-header", "tag-restarts"]);
    // Something else already says why what is there is no number.
    let explained = reception.readings.is_empty()
        && (!sent.is_empty() || all.iter().any(|finding| finding.code == "pulses-too-short"));
    all.extend(interference::findings(reception, odds, own_lines));
    all.extend(sent);
    all.extend(ripple::findings(reception, odds, explained));
    skirts::settle(&mut all, reception);
    if all.iter().any(is_comb) {
        all.retain(|finding| finding.code != "ripple-too-weak");
    }
    let records = record::findings(reception);
    if records
        .iter()
        .any(|finding| finding.code == "peak-detect-record")
    {
        // Frequencies and levels of such a record mean nothing.
        all.retain(|finding| PEAKS_LEAVE.contains(&finding.code));
    }
    all.extend(records);
    for (cause, hidden) in HIDES {
        if all.iter().any(|finding| finding.code == cause) {
            all.retain(|finding| !hidden.contains(&finding.code));
        }
    }
    all.sort_by_key(|finding| {
        ORDER
            .iter()
            .position(|code| *code == finding.code)
            .map_or(0, |place| place + 1)
    });
    other_kinds::settle(&mut all, reception);
    all
}

/// A tone with so many lines that it is switched, keyed or jitters: what cannot be removed of it looks like a weak ripple.
fn is_comb(finding: &Finding) -> bool {
    const LINES: f64 = 6.0;
    let lines = finding.measured("tones");
    let is_tone = ["second-reader", "stray-tone"].contains(&finding.code);
    is_tone && lines.is_some_and(|lines| lines >= LINES)
}

/// Decibels of a ratio of powers.
fn power_db(ratio: f64) -> f64 {
    10.0 * ratio.max(1e-30).log10()
}

/// A frequency in words: kilohertz with a decimal.
fn khz(hz: f64) -> String {
    format!("{:.1} kHz", hz / 1e3)
}
