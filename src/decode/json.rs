//! The JSON line of a capture, schema `fieldripple.decode/1`.

use serde_json::{Value, json};

use super::{Decoded, Uncertainty, Visit};
use crate::capture::Unit;
use crate::receiver::{HalfDuplexReading, Measured, NOMINAL_HZ, Stay};
use crate::telegram::Identity;

/// The object of the contract.
pub(super) fn value(report: &Decoded) -> Value {
    let reception = &report.reception;
    let rate_hz = (reception.rate_hz > 0.0).then_some(reception.rate_hz);
    let mut findings: Vec<Value> = report
        .findings
        .iter()
        .map(|finding| {
            json!({"code": finding.code, "text": finding.text, "evidence": finding.evidence})
        })
        .collect();
    if let Some(text) = report.unexpected() {
        findings.push(json!({"code": "not-the-expected-number", "text": text, "evidence": {}}));
    }
    findings.extend(
        report
            .remarks()
            .iter()
            .map(|remark| json!({"code": "capture-note", "text": remark, "evidence": {}})),
    );
    let half_duplex = reception.others.half_duplex.iter();
    let readings: Vec<Value> = (reception.readings.iter())
        .map(|reading| reading_value(reading, report))
        .chain(half_duplex.map(|reading| half_duplex_value(reading, reception.field.amplitude)))
        .collect();
    let margin = report.margin();
    let mut object = json!({
        "schema": "fieldripple.decode/1",
        "capture": {
            "path": report.name(),
            "samples": report.samples(),
            "rate_hz": rate_hz,
            "seconds": rate_hz.map(|rate_hz| report.samples() as f64 / rate_hz),
            "channel": report.channel(),
            "taken": (!report.taken().is_empty()).then(|| report.taken()),
            "kind": reception.kind.name(),
        },
        "verdict": if report.is_read() { "read" } else { "unread" },
        "readings": readings,
        "candidate": report.candidate().map(|reading| reading_value(reading, report)),
        "field": {
            "present": reception.field.present,
            "frequency_hz": reception.field.frequency_hz,
            "offset_ppm": reception.field.frequency_hz.filter(|_| !reception.rate_assumed).map(|hz| (hz / NOMINAL_HZ - 1.0) * 1e6),
            "amplitude": reception.field.amplitude,
            "unit": match report.unit() {
                Unit::Volt => json!("V"),
                Unit::FullScale => json!("full scale"),
                Unit::Unknown => Value::Null,
            },
            "level_swing": reception.field.level_swing,
            "on": reception.field.on.iter().map(|(from, to)| json!([from, to])).collect::<Vec<_>>(),
        },
        "findings": findings,
        "margin_db": margin.map(|margin| margin.db),
        "margin_deviation_db": margin.map(|margin| margin.deviation_db),
    });
    if let Some(strength) = report.field_strength() {
        let strength = strength.ok();
        object["field"]["flux_density_t_rms"] = json!(strength.map(|field| field.flux_density_t));
        object["field"]["strength_a_per_m_rms"] = json!(strength.map(|field| field.a_per_m()));
    }
    if let Some(visits) = report.visits() {
        object["visits"] = visits.iter().map(Visit::to_json).collect();
    }
    object
}

/// Fields that a number relies on where it does on the usual ones.
const USUAL_FIELDS: [&str; 4] = ["reserved", "data_block", "trailer", "country"];

fn reading_value(reading: &Measured, report: &Decoded) -> Value {
    let attempt = &reading.attempt;
    let telegram = attempt.decision.telegram;
    let identity = Identity::from_code(telegram.code);
    let decibel = |ratio: f64| 10.0 * ratio.log10();
    let carrier = report.reception.kind.has_carrier();
    let clipped = report.reception.clipped_share().is_some();
    let strays = Uncertainty::of_attempt(attempt);
    json!({
        "id": identity.digits(),
        "country": identity.country,
        "kind": "fdx-b",
        "national": identity.national,
        "animal": identity.animal,
        "retag": identity.retag,
        "user": identity.user,
        "reserved": identity.reserved,
        "data_block": identity.data_block,
        "trailer": reading.trailer(),
        "code_hex": format!("{:016X}", telegram.code),
        "crc_hex": format!("{:04X}", telegram.crc()),
        "assumed": if reading.relies_on_usual_fields { &USUAL_FIELDS[..] } else { &[] },
        "odds_wrong": attempt.decision.odds_wrong,
        "telegrams": attempt.telegrams,
        "ebn0_db": decibel(attempt.ebn0),
        "spare_db": reading.spare_db,
        "ebn0_deviation_db": strays.ebn0_db,
        "spare_deviation_db": strays.ebn0_db,
        "depth": (report.reception.level_known && !clipped).then_some(attempt.depth),
        "depth_deviation": (report.reception.level_known && !clipped).then_some(strays.depth),
        "angle_deg": (carrier && !clipped).then_some(attempt.angle.to_degrees()),
        "angle_deviation_deg": (carrier && !clipped).then_some(strays.angle_deg),
        "from_s": reading.from_s,
        "to_s": reading.to_s,
        "stays": reading.stays.iter().map(|stay| stay_value(reading, stay, report)).collect::<Vec<_>>(),
    })
}

/// A stretch in which the tag was there.
fn stay_value(reading: &Measured, stay: &Stay, report: &Decoded) -> Value {
    let reception = &report.reception;
    let clipped = reception.clipped_share().is_some();
    let carrier = reception.kind.has_carrier();
    json!({
        "from_s": stay.from_s,
        "to_s": stay.to_s,
        "depth": (reception.level_known && !clipped).then_some(stay.depth),
        "angle_deg": (carrier && !clipped).then_some(stay.angle.to_degrees()),
        "ebn0_db": 10.0 * stay.ebn0.log10(),
        "spare_db": reading.spare_in(stay, report.odds),
    })
}

/// The reading as JSON; what only a ripple has is `null`.
fn half_duplex_value(reading: &HalfDuplexReading, carrier_amplitude: Option<f64>) -> Value {
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
        "trailer": reading.trailer(),
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
