//! Findings about what is sent: telegrams that no number fits, other data at the tag's rate, tags that begin anew.

use super::Finding;
use super::ripple::TELLING_DB;
use crate::receiver::survey::{Bare, InStep, LONGEST_PERIOD, MAINS_HZ, Stream};
use crate::receiver::{Kind, Measured, Reception};
use crate::telegram::{FrameError, HEADER_BITS, Identity, TELEGRAM_BITS, Telegram, crc16_bitwise};

/// A ripple is no stronger than this against the field (−34 dB, a depth of 2 %).
const STRONGEST_RIPPLE: f64 = 0.02;
/// A tag that restarts does so between some charging time (10 ms) and a few bits.
const RESTARTS_HZ: std::ops::Range<f64> = 80.0..1000.0;

/// A folded telegram with fewer expected bit errors than this is taken as it stands.
const CERTAIN_BITS: f64 = 0.1;

/// Boundaries of one size, at even and odd places: noise alone scatters by 0.75 of the mean, biphase at 10 dB by 0.22.
const BIPHASE_SCATTER: f64 = 0.35;

/// Ripple that comes and goes so often, with no telegram read, is a tag that restarts.
const LEAST_SILENCES: usize = 2;

/// Any so many bits of an animal tag's have its header in them, whole.
const HEADER_IS_IN: usize = TELEGRAM_BITS + HEADER_BITS;

/// Start values of 16-bit CRCs with this polynomial, and of their registers read the other way round (catalogue of
/// parametrised CRC algorithms, entries with x^16+x^12+x^5+1).
const STARTS: [u16; 8] = [
    0x0000, 0xFFFF, 0x1D0F, 0xB8F0, 0xC6C6, 0x6363, 0xB2AA, 0x554D,
];

pub(super) fn findings(reception: &Reception, odds: f64) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(restarts(reception));
    // A telegram that is broken off garbles the fold: nothing else is to be said of that.
    if reception.readings.is_empty() && !reception.tangled && found.is_empty() {
        found.extend(unread(reception, odds));
    }
    found
}

fn unread(reception: &Reception, odds: f64) -> Option<Finding> {
    let survey = reception.survey.as_ref();
    let bare = survey
        .and_then(|survey| survey.bare.as_ref())
        .filter(|bare| bare.expected_errors < CERTAIN_BITS);
    if let Some(bare) = bare {
        return match framed(bare) {
            // It reads as it stands and was not called read: what keeps it back has names of its own.
            Some(Ok(_)) => None,
            Some(Err((sent, code, trailer))) => Some(wrong_check(sent, code, trailer)),
            None => Some(without_header(bare)),
        };
    }
    if let Some(stream) = survey.and_then(|survey| survey.stream.as_ref())
        && let Some(finding) = other_stream(stream)
    {
        return Some(finding);
    }
    let candidate = reception.candidate.as_ref()?;
    let decision = &candidate.attempt.decision;
    // What was lost of the record may have been filled with something that contradicts a right number.
    let gaps = reception
        .seen
        .as_ref()
        .is_some_and(|seen| !seen.cycles.gaps.is_empty());
    let told = candidate.attempt.folded_db() > TELLING_DB && !gaps;
    (told && decision.odds_wrong <= odds && !candidate.attempt.fits()).then(|| misfit(candidate))
}

/// The telegram in folded bits: right, with a wrong check (check, code, trailer), or `None` without header and control bits.
fn framed(bare: &Bare) -> Option<Result<Telegram, (u16, u64, u32)>> {
    (0..TELEGRAM_BITS).find_map(|start| {
        let bits = std::array::from_fn(|j| bare.bits[(start + j) % TELEGRAM_BITS]);
        match Telegram::from_bits(&bits) {
            Ok(telegram) => Some(Ok(telegram)),
            Err(FrameError::Crc {
                sent,
                code,
                trailer,
                ..
            }) => Some(Err((sent, code, trailer))),
            Err(_) => None,
        }
    })
}

/// A way in which a check fits.
struct Way {
    start: u16,
    inverted: bool,
    check_reversed: bool,
    data: &'static str,
    code: u64,
}

fn way_that_fits(sent: u16, code: u64) -> Option<Way> {
    let orders = [
        ("as sent", code),
        (
            "bytes with their bits reversed",
            code.swap_bytes().reverse_bits(),
        ),
        ("most significant bit first", code.reverse_bits()),
    ];
    // Where only the other bit order gives reserved bits of 0 and a country code, that is the number's.
    let plausible = |code: u64| {
        let identity = Identity::from_code(code);
        identity.reserved == 0 && identity.country < 1000
    };
    let read_as = if !plausible(code) && plausible(code.reverse_bits()) {
        code.reverse_bits()
    } else {
        code
    };
    for (data, message) in orders {
        for start in STARTS {
            // A start value acts like the same bits added to the first sixteen of the message.
            let message = message ^ u64::from(start);
            let check = crc16_bitwise((0..64).map(|k| (message >> k) & 1 == 1));
            for inverted in [false, true] {
                for check_reversed in [false, true] {
                    let check = if inverted { !check } else { check };
                    let check = if check_reversed {
                        check.reverse_bits()
                    } else {
                        check
                    };
                    if check == sent {
                        return Some(Way {
                            start,
                            inverted,
                            check_reversed,
                            data,
                            code: read_as,
                        });
                    }
                }
            }
        }
    }
    None
}

fn wrong_check(sent: u16, code: u64, trailer: u32) -> Finding {
    let needed = Telegram { code, trailer }.crc();
    let Some(way) = way_that_fits(sent, code) else {
        return Finding::new(
            "telegram-does-not-fit",
            format!(
                "A telegram repeats without an error in header and control bits, but its check is {sent:04X} where its number needs {needed:04X}: \
                 damaged, or a tag that was programmed wrongly. Its bits would mean {}, which is a candidate and not a reading; \
                 nothing was corrected. Capture again, and read the tag with another reader.",
                Identity::from_code(code)
            ),
            &[
                ("check_sent", f64::from(sent)),
                ("check_needed", f64::from(needed)),
            ],
        );
    };
    let identity = Identity::from_code(way.code);
    let mut how = format!("a start value of {:04X}", way.start);
    if way.inverted {
        how.push_str(", inverted");
    }
    if way.check_reversed {
        how.push_str(", the check's bits the other way round");
    }
    if way.data != "as sent" {
        how.push_str(&format!(", the data {}", way.data));
    }
    let mut finding = Finding::new(
        "check-of-another-kind",
        format!(
            "A telegram repeats without an error in header and control bits, but its check {sent:04X} is not that of ISO 11785 ({needed:04X}). It \
             fits with {how}: then the number would be {identity}, a candidate and not a reading. A tag or a programmer that \
             does not keep to the standard; readers for animals will not read it."
        ),
        &[
            ("check_sent", f64::from(sent)),
            ("check_needed", f64::from(needed)),
            ("start_value", f64::from(way.start)),
        ],
    );
    finding
        .evidence
        .insert("candidate_id".into(), identity.digits().into());
    finding
}

fn without_header(bare: &Bare) -> Finding {
    Finding::new(
        "biphase-no-header",
        "Data at an animal tag's bit rate repeat every 128 bits, but nowhere in them is the header of an animal tag's telegram (ten \
         0s and a 1, control bits after it): another protocol, or an advanced transponder in another mode. Ask for a reader of \
         that kind; to be sure, capture a known animal tag in the same place."
            .into(),
        &[
            ("period_bits", TELEGRAM_BITS as f64),
            ("expected_bit_errors", bare.expected_errors),
        ],
    )
}

fn other_stream(stream: &Stream) -> Option<Finding> {
    if stream
        .scatter
        .iter()
        .any(|&scatter| scatter > BIPHASE_SCATTER)
        || has_header(&stream.bits)
        || stream.bits.len() < HEADER_IS_IN
        || is_a_tone(&stream.bits)
    {
        return None;
    }
    let count = stream.bits.len();
    let (period, evidence) = match stream.period_bits {
        Some(bits) => (
            format!("repeat every {bits} bits"),
            vec![("period_bits", bits as f64)],
        ),
        None if count < 2 * LONGEST_PERIOD => (
            format!("do not repeat within the {count} bits recorded"),
            Vec::new(),
        ),
        None => (
            format!("do not repeat within {LONGEST_PERIOD} bits"),
            Vec::new(),
        ),
    };
    let too_short = if count < 2 * HEADER_IS_IN {
        " So short a record may also hold the end of one tag and the begin of another: record 0.1 s or more."
    } else {
        ""
    };
    let mut evidence = evidence;
    evidence.extend([("bits", count as f64), ("scatter", stream.worst())]);
    Some(Finding::new(
        "biphase-no-header",
        format!(
            "Something sends at an animal tag's bit rate, its level changes at every bit, but the data {period} and nowhere is an \
                 animal tag's header in them: another protocol, or an advanced transponder answering a command. Ask for a reader \
                 of that kind; to be sure, capture a known animal tag in the same place.{too_short}"
        ),
        &evidence,
    ))
}

/// Nearly all bits alike: a line at the field's own fraction, 1/32 or 1/64 of it, looks so.
fn is_a_tone(bits: &[bool]) -> bool {
    let ones = bits.iter().filter(|bit| **bit).count();
    10 * ones.min(bits.len() - ones) < bits.len()
}

/// Ten 0s and a 1, and a 1 after each of the next eight groups of eight.
fn has_header(bits: &[bool]) -> bool {
    bits.windows(11 + 72).any(|window| {
        window[..10].iter().all(|&bit| !bit)
            && window[10]
            && (0..8).all(|group| window[11 + 9 * group + 8])
    })
}

fn misfit(candidate: &Measured) -> Finding {
    let decision = &candidate.attempt.decision;
    Finding::new(
        "telegram-does-not-fit",
        "A strong telegram repeats, but its check bits do not fit any number: damaged on the way, or another kind of \
         telegram. Nothing was corrected; look for a second tag or a strong interferer, or capture again."
            .into(),
        &[
            ("contradicted_signs", f64::from(decision.contradicted)),
            ("misfit_probability", decision.misfit),
            ("folded_db", candidate.attempt.folded_db()),
        ],
    )
}

/// What changes the field in step and by as little as a ripple does; nothing else of account is beside it.
fn in_step(reception: &Reception) -> Option<&InStep> {
    // Folded, lines of different causes meet by chance.
    let in_sight = matches!(reception.kind, Kind::Direct | Kind::Iq);
    if !in_sight || !reception.readings.is_empty() {
        return None;
    }
    let in_step = reception.survey.as_ref()?.in_step.as_ref()?;
    let [of_it, all] = in_step.lines;
    (all <= 2 * of_it && in_step.level < STRONGEST_RIPPLE).then_some(in_step)
}

/// A supply that hums changes the field at multiples of the mains' frequency.
fn is_of_mains(rate_hz: f64) -> bool {
    /// Large grids stray by 0.2 Hz (from memory), their fourth harmonic by four times that.
    const WITHIN_HZ: f64 = 0.8;
    MAINS_HZ
        .iter()
        .any(|mains_hz| (rate_hz - (rate_hz / mains_hz).round() * mains_hz).abs() < WITHIN_HZ)
}

fn restarts(reception: &Reception) -> Option<Finding> {
    // A tag begins anew with every pulse of a switched field: that is no fault of its supply.
    if reception.field.on.len() > 1 {
        return None;
    }
    let survey = reception.survey.as_ref()?;
    let next = "its supply voltage breaks down and comes back (brown-out). It is at the edge of what the field can power: bring it \
                nearer, turn it along the field, or make the field stronger and steadier.";
    if let Some(restarts) = &survey.restarts
        && !restarts.at_s.is_empty()
    {
        let count = restarts.at_s.len();
        return Some(Finding::new(
            "tag-restarts",
            format!(
                "The tag begins its telegram anew {count} {} while the field stays on: {next}",
                if count == 1 { "time" } else { "times" }
            ),
            &[("restarts", count as f64), ("first_s", restarts.at_s[0])],
        ));
    }
    if let Some(in_step) = in_step(reception)
        && in_step.holds_bits
        && RESTARTS_HZ.contains(&in_step.rate_hz)
        && !is_of_mains(in_step.rate_hz)
    {
        let level_db = 20.0 * in_step.level.log10();
        let rate_hz = in_step.rate_hz;
        return Some(Finding::new(
            "tag-restarts",
            format!(
                "A tag starts anew {rate_hz:.0} times a second: lines stand {rate_hz:.0} Hz above and below the field, at {level_db:.0} dB \
                     against it, and from one start to the next there are bits of 32 field cycles. Its supply voltage breaks down as \
                     soon as it answers (brown-out): it is at the edge of what the field can power. Bring it nearer, turn it along \
                     the field, or make the field stronger."
            ),
            &[("rate_hz", rate_hz), ("level_db", level_db)],
        ));
    }
    let activity = survey.activity.as_ref()?;
    let silences = activity.silences();
    let a_tags = activity.scatter < BIPHASE_SCATTER;
    (reception.readings.is_empty() && a_tags && silences >= LEAST_SILENCES).then(|| {
        Finding::new(
            "tag-restarts",
            format!("A tag's ripple comes and goes, silent {silences} times while the field stays on: {next}"),
            &[
                ("silences", silences as f64),
                ("answering_share", activity.share()),
            ],
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of the catalogue entry with the same polynomial and start FFFF, inverted (CRC-16/IBM-SDLC), of
    /// "123456789" is 906E; eight of its characters do here, their CRC computed bit by bit.
    #[test]
    fn a_check_with_another_start_is_recognised() {
        let code = 0x8000_F9C0_075B_CD15_u64;
        let bitwise = |start: u16| {
            (0..64).fold(start, |register, k| {
                let bit = ((code >> k) & 1) as u16;
                let out = (register ^ bit) & 1;
                (register >> 1) ^ if out == 1 { 0x8408 } else { 0 }
            })
        };
        let way = way_that_fits(!bitwise(0xFFFF), code).unwrap();
        assert!(way.start == 0xFFFF && way.inverted && way.code == code);
        assert!(way_that_fits(bitwise(0) ^ 0x0100, code).is_none());
    }
}
