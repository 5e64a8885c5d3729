//! Findings about tags of other kinds than FDX-B.

use serde_json::Value;

use super::Finding;
use crate::receiver::{
    HalfDuplexReading, HalfDuplexUnread, LoadFskTag, OtherRate, PhaseKeyed, ReadOnlyTag, Reception,
};
use crate::telegram::Identity;

/// Findings of the ripple that another kind of tag explains: there is no animal tag's ripple because there is another tag's.
const EXPLAINED: [&str; 7] = [
    "tag-restarts",
    "no-ripple",
    "biphase-no-header",
    "check-of-another-kind",
    "ripple-too-weak",
    "telegram-does-not-fit",
    "nothing-to-read",
];

/// Puts what is known of other kinds in front, in place of what it explains.
pub(super) fn settle(all: &mut Vec<Finding>, reception: &Reception) {
    let found = findings(reception);
    if found.is_empty() {
        return;
    }
    let load_lines = reception.others.load_fsk.is_some();
    let other_data = reception.others.other_rate.is_some();
    all.retain(|finding| {
        // Lines of data that repeat pass for those of transmitters.
        let of_data = other_data
            && ["second-reader", "stray-tone", "supply-harmonics"].contains(&finding.code);
        let own_line = of_data || load_lines && is_load_line(finding, reception);
        !EXPLAINED.contains(&finding.code) && !own_line
    });
    all.splice(0..0, found);
}

/// A line of a word that is sent over and over lies within a bit rate or two of an eighth or a tenth of the field.
fn is_load_line(finding: &Finding, reception: &Reception) -> bool {
    let offset_hz = finding.evidence.get("offset_hz").and_then(Value::as_f64);
    let field_hz = reception.field.frequency_hz.unwrap_or_default();
    let near = |offset_hz: f64| {
        [8.0, 10.0]
            .iter()
            .any(|part| (offset_hz.abs() - field_hz / part).abs() < field_hz / 25.0)
    };
    match finding.code {
        "stray-tone" => offset_hz.is_some_and(near),
        // The lines of a word lie evenly, as harmonics do.
        "supply-harmonics" => true,
        _ => false,
    }
}

fn findings(reception: &Reception) -> Vec<Finding> {
    let others = &reception.others;
    let mut found: Vec<Finding> = others.half_duplex.iter().map(half_duplex).collect();
    found.extend(others.half_duplex_unread.as_ref().map(half_duplex_unread));
    let field_hz = reception.field.frequency_hz.unwrap_or_default();
    found.extend(
        others
            .read_only
            .as_ref()
            .map(|tag| read_only(tag, field_hz)),
    );
    found.extend(others.load_fsk.as_ref().map(|tag| load_fsk(tag, field_hz)));
    found.extend(
        others
            .other_rate
            .as_ref()
            .map(|tag| other_rate(tag, field_hz)),
    );
    found.extend(
        others
            .phase_keyed
            .as_ref()
            .map(|tag| phase_keyed(tag, field_hz)),
    );
    found
}

fn half_duplex(reading: &HalfDuplexReading) -> Finding {
    let identity = Identity::from_code(reading.telegram.code);
    Finding::new(
        "half-duplex-tag",
        format!(
            "{identity} comes from a half-duplex (HDX) transponder: it is silent while the field is on and answers in its pauses, \
             {:.1} ms after the field's end. A reader for FDX-B alone never listens there and will not read it; take one for both \
             kinds, with pauses of 20 ms.",
            1e3 * reading.delay_s
        ),
        &[
            ("answers", reading.answers as f64),
            ("zero_hz", reading.zero_hz),
            ("one_hz", reading.one_hz),
            ("delay_ms", 1e3 * reading.delay_s),
            ("ebn0_db", 10.0 * reading.ebn0.log10()),
            ("spare_db", reading.spare_db),
        ],
    )
}

/// Contradicted more than noise does in one answer of ten thousand.
const DAMAGED: f64 = 1e-4;

fn half_duplex_unread(unread: &HalfDuplexUnread) -> Finding {
    let why = if unread.beats() {
        "Its tones vary in strength from bit to bit as those of two tags that answer at once do. Take other tags away and capture again."
    } else if unread.fit < DAMAGED {
        "Its check bits fit no number, more than the noise explains: the answer was damaged on the way, two tags answer at once, or it \
         is another kind of telegram. Take other tags away and capture again."
    } else {
        "It is too weak to be sure of the number. Bring the tag nearer to the antenna, or capture more pauses: they add up."
    };
    Finding::new(
        "half-duplex-unread",
        format!(
            "A half-duplex (HDX) transponder seems to answer in the field's pauses, in two tones near {:.1} and {:.1} kHz. {why}",
            1e-3 * unread.one_hz,
            1e-3 * unread.zero_hz
        ),
        &[
            ("answers", unread.answers as f64),
            ("zero_hz", unread.zero_hz),
            ("one_hz", unread.one_hz),
            ("ebn0_db", 10.0 * unread.ebn0.log10()),
            ("misfit_probability", unread.fit),
            ("unsteadiness", unread.unsteadiness),
        ],
    )
}

/// Why a reader for animals is silent.
fn why_silent(field_hz: f64) -> String {
    format!(
        "The reader's field here is {:.1} kHz. A reader for animal transponders stays silent with this tag: its field is 134.2 kHz, and what \
         it waits for is a telegram of 128 bits in another code.",
        1e-3 * field_hz
    )
}

fn read_only(tag: &ReadOnlyTag, field_hz: f64) -> Finding {
    let bit_rate = field_hz / tag.cycles_per_bit as f64;
    let data = format!("{:010X}", tag.word.data());
    let mut finding = Finding::new(
        "read-only-125-khz-tag",
        format!(
            "The tag is a 125 kHz read-only tag: Manchester code, {} field cycles a bit ({bit_rate:.0} bit/s), 40 data bits {data}, all \
             parities right. These bits are no animal's number. {}",
            tag.cycles_per_bit,
            why_silent(field_hz)
        ),
        &[
            ("cycles_per_bit", tag.cycles_per_bit as f64),
            ("bit_rate_hz", bit_rate),
            ("words", tag.words as f64),
            ("odds_wrong", tag.odds_wrong),
            ("depth", tag.depth),
            ("angle_deg", tag.angle.to_degrees()),
        ],
    );
    finding
        .evidence
        .insert("data_hex".into(), Value::from(data));
    finding
}

fn load_fsk(tag: &LoadFskTag, field_hz: f64) -> Finding {
    Finding::new(
        "fsk-125-khz-tag",
        format!(
            "The tag switches its load {:.2} and {:.2} thousand times a second in turn, an eighth and a tenth of the field: a 125 kHz FSK \
             tag, as found in older animal and access tags. Its data are not decoded. {}",
            1e-3 * field_hz / 8.0,
            1e-3 * field_hz / 10.0,
            why_silent(field_hz)
        ),
        &[
            ("eighth_hz", field_hz / 8.0),
            ("tenth_hz", field_hz / 10.0),
            ("above_rest_db", 10.0 * tag.above.log10()),
            ("contrast", tag.contrast),
            ("bits", tag.bits as f64),
            ("share_at_a_tenth", tag.tenths),
            ("depth", tag.depth),
        ],
    )
}

/// Data at another rate than an animal tag's.
///
/// What looks like it: an animal tag, whose bits last 32 cycles (every other change of it is missing at random, seen from 64); a
/// 125 kHz read-only tag in Manchester code (its word is recognised, and named instead); a square wave (its changes alternate
/// without an exception). Here a change of one size comes at every bit, along one axis.
fn other_rate(tag: &OtherRate, field_hz: f64) -> Finding {
    let bit_rate = field_hz / tag.cycles_per_bit as f64;
    Finding::new(
        if tag.cycles_per_bit == 64 {
            "bit-rate-64"
        } else {
            "bit-rate-50"
        },
        format!(
            "A tag of another kind answers: its level changes at every bit, as an animal tag's does, but its bits last {} field cycles \
             ({bit_rate:.0} bit/s) instead of 32. Its data are not decoded. {}",
            tag.cycles_per_bit,
            why_silent(field_hz)
        ),
        &[
            ("cycles_per_bit", tag.cycles_per_bit as f64),
            ("bit_rate_hz", bit_rate),
            ("scatter", tag.scatter),
            ("bits", tag.bits as f64),
            ("depth", tag.depth),
        ],
    )
}

/// A subcarrier of half the field whose phase turns.
///
/// What looks like it: a line that a reader's divider leaves at half the field, whose phase never turns; a transmitter near
/// there, which is not locked to the field and shows along no one axis.
fn phase_keyed(tag: &PhaseKeyed, field_hz: f64) -> Finding {
    Finding::new(
        "phase-keyed-half",
        format!(
            "A tag of another kind answers: it switches its load at half the field's frequency, {:.2} kHz, and turns the phase of that with its \
             bits. Its data are not decoded. {}",
            1e-3 * tag.subcarrier_hz,
            why_silent(field_hz)
        ),
        &[
            ("subcarrier_hz", tag.subcarrier_hz),
            ("turns", tag.turns as f64),
            ("coherence", tag.coherence),
            ("level_db", 20.0 * tag.level.log10()),
        ],
    )
}
