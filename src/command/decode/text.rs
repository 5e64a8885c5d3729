//! What a person at a bench reads of a capture.

use std::fmt::Write;
use std::io::IsTerminal;

use fieldripple::decode::Decoded;
use fieldripple::receiver::decision::USUAL_SHARE;
use fieldripple::receiver::{HalfDuplexReading, NOMINAL_HZ, Reading};
use fieldripple::telegram::{Identity, Telegram, country_meaning, notes};

use super::super::number::shown;
use super::wording::{of_level, probability, short, significant};
use super::{other_kinds, picture, strength};

/// Width of the labels on the left.
const LABEL: usize = 10;
/// Width of a line.
const WIDTH: usize = 100;

/// How the page may look: a picture and colour are for people at a terminal, not for files and pipes.
#[derive(Clone, Copy)]
pub struct Look {
    picture: bool,
    colour: bool,
}

impl Look {
    /// As in files and pipes.
    pub const fn plain() -> Self {
        Self {
            picture: false,
            colour: false,
        }
    }

    /// By what standard output is; colour is off where NO_COLOR says so (no-color.org: set and not empty).
    pub fn of_output() -> Self {
        let picture = std::io::stdout().is_terminal();
        let unwanted = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        Self {
            picture,
            colour: picture && !unwanted && !dumb,
        }
    }
}

/// The whole page of a capture.
pub fn page(report: &Decoded, first: bool, look: Look) -> String {
    let mut text = String::new();
    if !first {
        text.push('\n');
    }
    let _ = writeln!(text, "{}", report.name());
    for (label, words) in rows(report, look.picture) {
        write_row(&mut text, label, &words, look.colour);
    }
    text
}

/// What the page says, label by label; a row that goes on has an empty label.
pub fn rows(report: &Decoded, with_picture: bool) -> Vec<(&'static str, String)> {
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
    if let Some(strength) = strength::row(report) {
        page.row("strength", &strength);
    }
    for reading in &reception.readings {
        ripple(&mut page, reading, report, reception.readings.len() > 1);
    }
    if let Some(candidate) = report.candidate() {
        let identity = Identity::from_code(candidate.attempt.decision.telegram.code);
        page.row(
            "candidate",
            &format!(
                "{identity} is the likeliest number{}, but wrong with a probability of {}: do not rely on it",
                if reception.readings.is_empty() { "" } else { " of a further tag" },
                probability(candidate.attempt.decision.odds_wrong),
            ),
        );
    }
    capture(&mut page, report);
    if with_picture {
        for (label, row) in picture::rows(reception) {
            page.row(label, &row);
        }
    }
    for finding in &report.findings {
        page.row("finding", &format!("[{}] {}", finding.code, finding.text));
    }
    for remark in report.remarks() {
        page.row("note", remark);
    }
    page.0
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
    page.row("tones", &other_kinds::tones(reading));
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

struct Page(Vec<(&'static str, String)>);

impl Page {
    fn row(&mut self, label: &'static str, text: &str) {
        self.0.push((label, text.into()));
    }
}

/// A label on the left and wrapped text beside it.
fn write_row(page: &mut String, label: &str, text: &str, coloured: bool) {
    let mut line = format!("  {label:LABEL$}");
    let mut used = line.chars().count();
    if coloured && !label.is_empty() {
        line = format!("  \x1b[{}m{label:LABEL$}\x1b[0m", colour(label));
    }
    for word in text.split(' ') {
        let length = word.chars().count();
        if used + 1 + length > WIDTH && used > LABEL + 2 {
            page.push_str(line.trim_end());
            page.push('\n');
            line = " ".repeat(LABEL + 2);
            used = LABEL + 2;
        }
        line.push(' ');
        line.push_str(word);
        used += 1 + length;
    }
    page.push_str(line.trim_end());
    page.push('\n');
}

/// Terminal colour of a label: what was read green, what was not and why yellow, the rest bold only.
fn colour(label: &str) -> &'static str {
    match label {
        "number" | "certainty" => "1;32",
        "unread" | "expected" | "candidate" | "finding" => "1;33",
        _ => "1",
    }
}
