//! What is left of something strong beside the field, and looks like something else far below it.

use super::{Finding, power_db};
use crate::receiver::Reception;

/// A harmonic this near to the field lies in the band of the tag's answer.
const IN_BAND_HZ: f64 = 15e3;

/// A supply's harmonic that jitters or comes in bursts has skirts; what is weaker than it by this (dB) may be made of them: a sum of
/// telegrams, …
const SUPPLY_OVER_TELEGRAMS_DB: f64 = 10.0;
/// … or a transmitter.
const SUPPLY_OVER_TRANSMITTERS_DB: f64 = 25.0;

/// A second field is steady, and what its removal leaves is weaker: 50 dB and more below it.
const FIELD_OVER_TELEGRAMS_DB: f64 = 50.0;

/// Takes back what may be such a rest.
pub(super) fn settle(all: &mut Vec<Finding>, reception: &Reception) {
    let supply_db = harmonic_db(all, reception).unwrap_or(f64::NEG_INFINITY);
    let field_db = all
        .iter()
        .filter(|finding| finding.code == "second-reader")
        .filter_map(|finding| finding.measured("level_db"))
        .fold(f64::NEG_INFINITY, f64::max);
    let survey = reception.survey.as_ref();
    let ripple = survey.and_then(|survey| survey.presence);
    let ripple_db = ripple.map_or(f64::NEG_INFINITY, |ripple| power_db(ripple.depth().powi(2)));
    let least_db = (supply_db - SUPPLY_OVER_TELEGRAMS_DB).max(field_db - FIELD_OVER_TELEGRAMS_DB);
    let is_unread = reception.readings.is_empty();
    all.retain(|finding| match finding.code {
        "several-tags" => !is_unread || ripple_db > least_db,
        "in-band-transmitter" => finding
            .measured("level_db")
            .is_none_or(|level_db| level_db > supply_db - SUPPLY_OVER_TRANSMITTERS_DB),
        _ => true,
    });
}

/// Level of a supply's harmonic in the band of the tag's answer, dB against the field.
fn harmonic_db(all: &[Finding], reception: &Reception) -> Option<f64> {
    let field_hz = reception.field.frequency_hz?;
    all.iter().find_map(|finding| {
        let nearest_hz = finding.measured("nearest_hz")?;
        let is_in_band = (nearest_hz - field_hz).abs() < IN_BAND_HZ;
        finding.measured("nearest_level_db").filter(|_| is_in_band)
    })
}
