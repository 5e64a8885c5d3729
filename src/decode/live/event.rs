//! What a streaming receiver tells, and how it is written as JSON.

use serde::{Serialize, Serializer};
use serde_json::{Value, json};

use super::Visit;
use crate::findings::Finding;
use crate::telegram::Identity;

/// Schema of the objects that events serialise as.
const SCHEMA: &str = "fieldripple.live/1";

/// One thing that happened, or how things stand. Times are seconds from the first sample.
///
/// Serialises as one JSON object, schema `fieldripple.live/1`, its kind under `event`.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub enum Event {
    /// A field came on.
    FieldThere {
        /// When.
        time_s: f64,
        /// Its frequency, Hz, if it can be measured.
        frequency_hz: Option<f64>,
        /// Its mean peak amplitude in the unit of the samples, if it can be measured.
        amplitude: Option<f64>,
    },
    /// The field went off, for a fifth of a second at least.
    FieldGone {
        /// When.
        time_s: f64,
    },
    /// A number was read, or is surer than it was.
    NumberRead(NumberRead),
    /// A tag has gone.
    VisitEnded(Visit),
    /// A finding stands, in a second's worth of looks and more.
    FindingRaised {
        /// When it was certain enough to say so.
        time_s: f64,
        /// The finding.
        finding: Finding,
    },
    /// A finding does not stand any more.
    FindingWithdrawn {
        /// When it was certain enough to say so.
        time_s: f64,
        /// Its code.
        code: &'static str,
    },
    /// How things stand: one a look, six a second.
    State(State),
}

/// A number that was read, and how sure that is.
#[derive(Clone, Debug, PartialEq)]
pub struct NumberRead {
    /// When it is told: the end of the look that gave it.
    pub time_s: f64,
    /// Since when the tag is there.
    pub from_s: f64,
    /// The number.
    pub identity: Identity,
    /// `fdx-b` or `hdx`.
    pub kind: &'static str,
    /// Probability that the number is wrong.
    pub odds_wrong: f64,
    /// It was told before, with odds a hundred times worse at least.
    pub refined: bool,
}

/// How things stand at the end of a look.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct State {
    /// The end of the look.
    pub time_s: f64,
    /// A field is there.
    pub field: bool,
    /// Its frequency, Hz.
    pub frequency_hz: Option<f64>,
    /// Its mean peak amplitude in the unit of the samples.
    pub amplitude: Option<f64>,
    /// The number of the strongest tag that is there.
    pub number: Option<Identity>,
    /// Its rms ripple relative to the field.
    pub depth: Option<f64>,
    /// Its ripple angle, degrees in (−90, 90].
    pub angle_deg: Option<f64>,
    /// How much weaker its ripple could have been over the last second, dB; negative: what was missing.
    pub margin_db: Option<f64>,
    /// Code and text of the finding that stands and costs most.
    pub finding: Option<(&'static str, String)>,
}

/// What all of a stream gave.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Summary {
    /// Samples that came.
    pub samples: u64,
    /// Seconds of signal.
    pub seconds: f64,
    /// Looks taken at it.
    pub looks: u64,
    /// Visits that ended.
    pub visits: u64,
    /// Numbers read and the visits of each, in the order first read; the first 4096.
    pub numbers: Vec<(Identity, u64)>,
    /// Seconds in which a field was there.
    pub field_s: f64,
    /// The number that was expected.
    pub expected: Option<Identity>,
}

impl Summary {
    /// A number was read, and the expected one where one was.
    pub fn is_read(&self) -> bool {
        match self.expected {
            None => !self.numbers.is_empty(),
            Some(expected) => self.numbers.iter().any(|(found, _)| {
                (found.country, found.national) == (expected.country, expected.national)
            }),
        }
    }

    /// The object of the JSON contract.
    pub fn to_json(&self) -> Value {
        let numbers = self.numbers.iter();
        json!({
            "schema": SCHEMA,
            "event": "summary",
            "verdict": if self.is_read() { "read" } else { "unread" },
            "samples": self.samples,
            "seconds": self.seconds,
            "looks": self.looks,
            "field_s": self.field_s,
            "visits": self.visits,
            "numbers": numbers.map(|(identity, visits)| json!({"id": identity.digits(), "visits": visits})).collect::<Vec<_>>(),
        })
    }
}

impl Event {
    /// The object of the JSON contract.
    pub fn to_json(&self) -> Value {
        match self {
            Self::FieldThere {
                time_s,
                frequency_hz,
                amplitude,
            } => json!({
                "schema": SCHEMA,
                "event": "field-there",
                "time_s": time_s,
                "frequency_hz": frequency_hz,
                "amplitude": amplitude,
            }),
            Self::FieldGone { time_s } => {
                json!({"schema": SCHEMA, "event": "field-gone", "time_s": time_s})
            }
            Self::NumberRead(read) => json!({
                "schema": SCHEMA,
                "event": "number-read",
                "time_s": read.time_s,
                "from_s": read.from_s,
                "id": read.identity.digits(),
                "kind": read.kind,
                "odds_wrong": read.odds_wrong,
                "refined": read.refined,
            }),
            Self::VisitEnded(visit) => {
                let mut object = json!({"schema": SCHEMA, "event": "visit-ended"});
                if let (Some(object), Value::Object(visit)) =
                    (object.as_object_mut(), visit.to_json())
                {
                    object.extend(visit);
                }
                object
            }
            Self::FindingRaised { time_s, finding } => json!({
                "schema": SCHEMA,
                "event": "finding-raised",
                "time_s": time_s,
                "code": finding.code,
                "text": finding.text,
                "evidence": finding.evidence,
            }),
            Self::FindingWithdrawn { time_s, code } => json!({
                "schema": SCHEMA,
                "event": "finding-withdrawn",
                "time_s": time_s,
                "code": code,
            }),
            Self::State(state) => json!({
                "schema": SCHEMA,
                "event": "state",
                "time_s": state.time_s,
                "field": state.field,
                "frequency_hz": state.frequency_hz,
                "amplitude": state.amplitude,
                "id": state.number.map(|number| number.digits()),
                "depth": state.depth,
                "angle_deg": state.angle_deg,
                "margin_db": state.margin_db,
                "finding": state.finding.as_ref().map(|(code, _)| code),
            }),
        }
    }
}

impl Serialize for Event {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.to_json().serialize(serializer)
    }
}

impl Serialize for Summary {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.to_json().serialize(serializer)
    }
}
