//! The JSON line of a capture, schema `fieldripple.decode/1`.

use fieldripple::capture::Unit;
use fieldripple::receiver::Measured;
use fieldripple::telegram::Identity;
use serde_json::{Value, json};

use super::{Report, other_kinds};

/// Trailers less sure than this are `null`.
pub const TRAILER_SURE: f64 = 0.999;

/// One object, one line.
pub fn line(report: &Report) -> String {
    let reception = &report.reception;
    let layout = report.loaded.layout();
    let rate_hz = (reception.rate_hz > 0.0).then_some(reception.rate_hz);
    let mut findings: Vec<Value> = report
        .findings
        .iter()
        .map(|finding| {
            json!({"code": finding.code, "text": finding.text, "evidence": finding.evidence})
        })
        .collect();
    if report.as_expected == Some(false) {
        findings.push(json!({"code": "not-the-expected-number", "text": super::unexpected(report), "evidence": {}}));
    }
    findings.extend(
        report
            .loaded
            .remarks()
            .map(|remark| json!({"code": "capture-note", "text": remark, "evidence": {}})),
    );
    let half_duplex = reception.others.half_duplex.iter();
    let readings: Vec<Value> = (reception.readings.iter())
        .map(|reading| reading_value(reading, report))
        .chain(half_duplex.map(|reading| other_kinds::value(reading, reception.field.amplitude)))
        .collect();
    let value = json!({
        "schema": "fieldripple.decode/1",
        "capture": {
            "path": report.path,
            "samples": report.samples,
            "rate_hz": rate_hz,
            "seconds": rate_hz.map(|rate_hz| report.samples as f64 / rate_hz),
            "channel": report.loaded.channel,
            "kind": reception.kind.name(),
        },
        "verdict": if report.is_read() { "read" } else { "unread" },
        "readings": readings,
        "candidate": reception.candidate.as_ref().filter(|c| worth_showing(c)).map(|reading| reading_value(reading, report)),
        "field": {
            "present": reception.field.present,
            "frequency_hz": reception.field.frequency_hz,
            "offset_ppm": reception.field.frequency_hz.filter(|_| !reception.rate_assumed).map(|hz| (hz / fieldripple::receiver::NOMINAL_HZ - 1.0) * 1e6),
            "amplitude": reception.field.amplitude,
            "unit": match layout.channels.first().map(|channel| channel.unit) {
                Some(Unit::Volt) => json!("V"),
                Some(Unit::FullScale) => json!("full scale"),
                _ => Value::Null,
            },
            "level_swing": reception.field.level_swing,
            "on": reception.field.on.iter().map(|(from, to)| json!([from, to])).collect::<Vec<_>>(),
        },
        "findings": findings,
    });
    format!("{value}\n")
}

/// Noise alone gives a candidate every time; one that is ten times likelier right than wrong is worth a look.
pub fn worth_showing(candidate: &Measured) -> bool {
    candidate.attempt.decision.odds_wrong < 0.1
}

/// The trailer, where its bits are as good as certain.
pub fn trailer(reading: &Measured) -> Option<String> {
    let decision = &reading.attempt.decision;
    (decision.trailer_sure >= TRAILER_SURE).then(|| format!("{:06X}", decision.telegram.trailer))
}

/// Fields that a number relies on where it does on the usual ones.
const USUAL_FIELDS: [&str; 4] = ["reserved", "data_block", "trailer", "country"];

fn reading_value(reading: &Measured, report: &Report) -> Value {
    let attempt = &reading.attempt;
    let telegram = attempt.decision.telegram;
    let identity = Identity::from_code(telegram.code);
    let decibel = |ratio: f64| 10.0 * ratio.log10();
    let carrier = report.reception.kind.has_carrier();
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
        "trailer": trailer(reading),
        "code_hex": format!("{:016X}", telegram.code),
        "crc_hex": format!("{:04X}", telegram.crc()),
        "assumed": if reading.relies_on_usual_fields { &USUAL_FIELDS[..] } else { &[] },
        "odds_wrong": attempt.decision.odds_wrong,
        "telegrams": attempt.telegrams,
        "ebn0_db": decibel(attempt.ebn0),
        "spare_db": reading.spare_db,
        "depth": report.reception.level_known.then_some(attempt.depth),
        "angle_deg": carrier.then_some(attempt.angle.to_degrees()),
        "from_s": reading.from_s,
        "to_s": reading.to_s,
    })
}
