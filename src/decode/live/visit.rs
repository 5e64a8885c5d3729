//! One tag, there from one moment to another.

use serde_json::{Value, json};

use crate::telegram::Identity;

/// One tag, there from one moment to another. Depth, angle, Eb/N0 and spare decibels are those of the look in which it was strongest.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// Its begin, seconds from the first sample.
    pub from_s: f64,
    /// Its end.
    pub to_s: f64,
    /// The number.
    pub identity: Identity,
    /// `fdx-b` or `hdx`.
    pub kind: &'static str,
    /// Rms ripple relative to the field; `None` where the field's level is not in the samples or is cut off.
    pub depth: Option<f64>,
    /// Ripple angle, degrees in (−90, 90]; `None` without a carrier.
    pub angle_deg: Option<f64>,
    /// Eb/N0 of a single telegram's bits, dB.
    pub ebn0_db: f64,
    /// The ripple could be this much weaker and still be read in a second, dB.
    pub spare_db: f64,
    /// Least probability that the number is wrong, of all looks.
    pub odds_wrong: f64,
}

impl Visit {
    /// As it stands in JSON.
    pub(in crate::decode) fn to_json(&self) -> Value {
        json!({
            "from_s": self.from_s,
            "to_s": self.to_s,
            "id": self.identity.digits(),
            "kind": self.kind,
            "depth": self.depth,
            "angle_deg": self.angle_deg,
            "ebn0_db": self.ebn0_db,
            "spare_db": self.spare_db,
            "odds_wrong": self.odds_wrong,
        })
    }
}
