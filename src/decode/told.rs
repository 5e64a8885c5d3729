//! What a person at a bench reads of a capture: in the terminal, in the report, in a browser.

use std::fmt::Write;

use super::wording::{of_level, power_of_ten, probability, short, significant};
use super::{Decoded, Settings};
use crate::number::shown;
use crate::receiver::decision::USUAL_SHARE;
use crate::receiver::{HalfDuplexReading, Measured, NOMINAL_HZ, Reading};
use crate::telegram::{Identity, Telegram, country_meaning, notes};

/// A label, and what stands beside it. A row that goes on has an empty label.
pub type Row = (&'static str, String);

/// What is said of a capture; see [`Decoded::told`].
pub(super) fn rows(report: &Decoded) -> Vec<Row> {
    let mut page = Page(Vec::new());
    let reception = &report.reception;
    for reading in &reception.readings {
        number(&mut page, reading);
        assumed(&mut page, reading);
    }
    for reading in &reception.others.half_duplex {
        half_duplex(&mut page, reading);
    }
    if report.identities().is_empty() {
        page.row("unread", "no number was read in this capture");
    }
    if let Some(unexpected) = report.unexpected() {
        page.row("expected", &unexpected);
    }
    field(&mut page, report);
    for reading in &reception.readings {
        ripple(&mut page, reading, report, reception.readings.len() > 1);
    }
    if let Some(candidate) = report.candidate() {
        page.row("candidate", &doubted(candidate, report));
    }
    capture(&mut page, report);
    for finding in &report.findings {
        page.row("finding", &format!("[{}] {}", finding.code, finding.text));
    }
    for remark in report.remarks() {
        page.row("note", remark);
    }
    page.0
}

/// Why the likeliest number that was not read does not count.
fn doubted(candidate: &Measured, report: &Decoded) -> String {
    let identity = candidate.identity();
    let further = if report.reception.readings.is_empty() {
        ""
    } else {
        " of a further tag"
    };
    let odds_wrong = candidate.attempt.decision.odds_wrong;
    let why = if odds_wrong > report.odds {
        format!(
            "but wrong with a probability of {}",
            probability(odds_wrong)
        )
    } else {
        "if one tag and noise were all there is, which does not fit".to_owned()
    };
    format!("{identity} is the likeliest number{further}, {why}: do not rely on it")
}

fn number(page: &mut Page, reading: &Reading) {
    let decision = &reading.attempt.decision;
    sent(page, "", decision.telegram, reading.trailer());
    page.row(
        "certainty",
        &format!(
            "wrong with a probability of {}{}; {} telegrams added up",
            probability(decision.odds_wrong),
            if reading.relies_on_usual_fields {
                ", if the fields are usual"
            } else {
                ""
            },
            short(reading.attempt.telegrams)
        ),
    );
}

fn assumed(page: &mut Page, reading: &Reading) {
    if reading.relies_on_usual_fields {
        page.row(
            "assumed",
            &format!(
                "reserved bits, data block flag and trailer are 0 and the country code is in use, as in {:.0} of 100 animal tags (common practice, no source; counted in the probability); without that the signal is too weak to be sure: wrong with a probability of {}",
                100.0 * USUAL_SHARE,
                probability(reading.attempt.decision.odds_unaided)
            ),
        );
    }
}

fn half_duplex(page: &mut Page, reading: &HalfDuplexReading) {
    sent(
        page,
        "half-duplex (HDX) transponder; ",
        reading.telegram,
        reading.trailer(),
    );
    page.row(
        "certainty",
        &format!(
            "wrong with a probability of {}; {} answer{} in the field's pauses",
            probability(reading.odds_wrong),
            reading.answers,
            if reading.answers == 1 { "" } else { "s" }
        ),
    );
    page.row("tones", &tones(reading));
    page.row(
        "noise",
        &format!(
            "Eb/N0 {:.1} dB in a single answer; the tones could be {:.1} dB weaker and still be read half the time",
            10.0 * reading.ebn0.log10(),
            reading.spare_db
        ),
    );
}

/// The number and what it says of itself.
fn sent(page: &mut Page, kind: &str, telegram: Telegram, trailer: Option<String>) {
    let identity = Identity::from_code(telegram.code);
    page.row("number", &identity.to_string());
    let mut meaning = vec![country_meaning(identity.country)];
    meaning.push(if identity.animal {
        "animal".into()
    } else {
        "not an animal".into()
    });
    if identity.retag > 0 {
        meaning.push(format!("retagging counter {}", identity.retag));
    }
    if identity.user > 0 {
        meaning.push(format!("user information {}", identity.user));
    }
    if identity.data_block {
        meaning.push("data block".into());
    }
    match trailer {
        Some(trailer) if trailer != "000000" => meaning.push(format!("trailer {trailer}")),
        None => meaning.push("trailer not certain".into()),
        _ => {}
    }
    page.row(
        "",
        &format!(
            "{kind}{}; code {:016X}, CRC {:04X}",
            meaning.join(", "),
            telegram.code,
            telegram.crc()
        ),
    );
    for note in notes(&identity) {
        page.row("", &note);
    }
}

fn field(page: &mut Page, report: &Decoded) {
    let reception = &report.reception;
    let Some(frequency_hz) = reception.field.frequency_hz else {
        page.row("field", "none found");
        return;
    };
    let mut text = format!("{:.1} Hz", frequency_hz);
    if reception.rate_assumed {
        text.push_str(" (taken as nominal)");
    } else {
        let off_hz = frequency_hz - NOMINAL_HZ;
        if off_hz.abs() < 0.5 {
            text.push_str(", as expected");
        } else {
            let _ = write!(
                text,
                ", {off_hz:+.0} Hz ({:+.0} ppm) from 134.2 kHz",
                off_hz / NOMINAL_HZ * 1e6
            );
        }
    }
    if !reception.kind.has_carrier() {
        text.push_str(", by the tag's bit rate");
    }
    if let Some(amplitude) = reception.field.amplitude {
        let unit = of_level(report.unit());
        let what = if reception.kind.has_carrier() {
            "peak"
        } else {
            "mean level"
        };
        let _ = write!(text, "; {what} {}{unit}", significant(amplitude));
    }
    if let Some(swing) = reception.field.level_swing {
        let _ = match 100.0 * swing {
            small if small < 0.005 => write!(text, ", level steady within 0.01 %"),
            percent => write!(text, ", level varies by {percent:.2} %"),
        };
    }
    if reception.field.on.len() > 1 {
        let _ = write!(text, "; in {} stretches", reception.field.on.len());
    }
    page.row("field", &text);
}

fn ripple(page: &mut Page, reading: &Reading, report: &Decoded, several: bool) {
    let attempt = &reading.attempt;
    let which = if several {
        format!("{}: ", Identity::from_code(attempt.decision.telegram.code))
    } else {
        String::new()
    };
    let depth = if report.reception.level_known {
        format!(
            "depth {} % of the field",
            significant(100.0 * attempt.depth)
        )
    } else {
        format!(
            "{} (no field level to compare with)",
            significant(attempt.depth)
        )
    };
    let angle = if report.reception.kind.has_carrier() {
        let angle_deg = attempt.angle.to_degrees();
        format!(
            ", angle {angle_deg:.0}°: an amplitude-only receiver sees {:.0} % of it",
            100.0 * attempt.angle.cos().abs()
        )
    } else {
        String::new()
    };
    let measured = if report.reception.clipped_share().is_some() {
        "depth and angle are spoilt by clipping".to_string()
    } else {
        format!("{depth}{angle}")
    };
    page.row("ripple", &format!("{which}{measured}"));
    page.row(
        "noise",
        &format!(
            "Eb/N0 {:.1} dB in a single telegram; the ripple could be {:.1} dB weaker and still be read half the time",
            10.0 * attempt.ebn0.log10(),
            reading.spare_db
        ),
    );
}

fn capture(page: &mut Page, report: &Decoded) {
    let reception = &report.reception;
    let kind = match reception.kind.name() {
        "direct" => "carrier sampled directly",
        "folded" => "carrier folded (aliased)",
        "envelope" if !reception.field.present => "no carrier seen",
        "envelope" => "envelope, no carrier",
        "iq" => "complex samples",
        _ => "two-level data",
    };
    let mut text = format!("{kind}; {} samples", report.samples());
    if reception.rate_hz > 0.0 {
        let rate_hz = significant(reception.rate_hz).parse().unwrap_or(0.0);
        let _ = write!(
            text,
            " at {}, {:.4} s",
            shown(rate_hz, "S/s"),
            report.samples() as f64 / reception.rate_hz
        );
    }
    if !report.taken().is_empty() {
        let _ = write!(text, "; {}", report.taken());
    }
    page.row("capture", &text);
}

struct Page(Vec<Row>);

impl Page {
    fn row(&mut self, label: &'static str, text: &str) {
        self.0.push((label, text.into()));
    }
}

/// The line on the tones of a half-duplex tag.
fn tones(reading: &HalfDuplexReading) -> String {
    format!(
        "{:.2} kHz for a 1 and {:.2} kHz for a 0 (nominal 124.2 and 134.2), {:.1} ms after the field's end",
        1e-3 * reading.one_hz,
        1e-3 * reading.zero_hz,
        1e3 * reading.delay_s
    )
}

/// What the capture was read with; see [`Decoded::settings_told`].
pub(super) fn settings(report: &Decoded, settings: &Settings) -> Vec<Row> {
    let mut page = Page(Vec::new());
    page.row("channel", report.channel());
    page.row(
        "sample rate",
        &match (settings.rate_hz, report.reception.rate_assumed) {
            (Some(rate_hz), _) => format!("{rate_hz} Hz, as given with --rate"),
            (None, true) => "not stated; worked out from a field taken as 134.2 kHz".into(),
            (None, false) if report.reception.rate_hz > 0.0 => {
                format!("{} Hz, by the file", report.reception.rate_hz)
            }
            (None, false) => "not known".into(),
        },
    );
    let from_s = settings.from_s;
    page.row(
        "stretch",
        &match settings.to_s {
            Some(to_s) => format!("{from_s} to {to_s} s"),
            None if from_s > 0.0 => format!("from {from_s} s to the end"),
            None => "the whole capture".into(),
        },
    );
    page.row(
        "counts as read",
        &format!(
            "a probability of {} or less that the number is wrong",
            power_of_ten(settings.odds)
        ),
    );
    if settings.scale != 1.0 {
        page.row(
            "probe factor",
            &format!("{}: volts were multiplied by it", settings.scale),
        );
    }
    if let Some(expected) = report.expected() {
        page.row("expected", &expected.to_string());
    }
    page.0
}
