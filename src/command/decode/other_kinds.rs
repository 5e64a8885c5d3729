//! Numbers of half-duplex tags as text and JSON.

use fieldripple::receiver::HalfDuplexReading;
use fieldripple::telegram::Identity;
use serde_json::{Value, json};

use super::Report;
use super::json::TRAILER_SURE;

impl Report {
    /// Country and number of everything read, of whatever kind.
    pub(super) fn identities(&self) -> Vec<Identity> {
        let full = self.reception.readings.iter();
        let half = self.reception.others.half_duplex.iter();
        full.map(|reading| reading.attempt.decision.telegram.code)
            .chain(half.map(|reading| reading.telegram.code))
            .map(Identity::from_code)
            .collect()
    }
}

/// The trailer, where its bits are as good as certain.
pub fn trailer(reading: &HalfDuplexReading) -> Option<String> {
    (reading.trailer_sure >= TRAILER_SURE).then(|| format!("{:06X}", reading.telegram.trailer))
}

/// The line on the tones.
pub fn tones(reading: &HalfDuplexReading) -> String {
    format!(
        "{:.2} kHz for a 1 and {:.2} kHz for a 0 (nominal 124.2 and 134.2), {:.1} ms after the field's end",
        1e-3 * reading.one_hz,
        1e-3 * reading.zero_hz,
        1e3 * reading.delay_s
    )
}

/// The reading as JSON; what only a ripple has is `null`.
pub fn value(reading: &HalfDuplexReading, carrier_amplitude: Option<f64>) -> Value {
    let identity = Identity::from_code(reading.telegram.code);
    json!({
        "id": identity.digits(),
        "country": identity.country,
        "kind": "hdx",
        "national": identity.national,
        "animal": identity.animal,
        "retag": identity.retag,
        "user": identity.user,
        "reserved": identity.reserved,
        "data_block": identity.data_block,
        "trailer": trailer(reading),
        "code_hex": format!("{:016X}", reading.telegram.code),
        "crc_hex": format!("{:04X}", reading.telegram.crc()),
        "assumed": [],
        "odds_wrong": reading.odds_wrong,
        "telegrams": reading.answers,
        "ebn0_db": 10.0 * reading.ebn0.log10(),
        "spare_db": reading.spare_db,
        "depth": Value::Null,
        "angle_deg": Value::Null,
        "amplitude": reading.amplitude,
        "level_db": carrier_amplitude.map(|field| 20.0 * (reading.amplitude / field).log10()),
        "zero_hz": reading.zero_hz,
        "one_hz": reading.one_hz,
        "delay_s": reading.delay_s,
        "from_s": reading.from_s,
        "to_s": reading.to_s,
    })
}
