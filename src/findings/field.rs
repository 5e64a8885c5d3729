//! Findings about the field.

use super::Finding;
use crate::receiver::{Kind, NOMINAL_HZ, Reception};

/// A reader's own tolerance is ±13.42 Hz (ISO 11785, from memory); ten times that is a tuning or clock fault.
const FAR_OFF_HZ: f64 = 134.2;

/// A single telegram must be in the capture from its first coded boundary to the last: 102 of 128.
pub(super) const LEAST_TELEGRAMS: f64 = 1.0;

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    let mut found = Vec::new();
    let carrier = reception.kind.has_carrier();
    if !reception.field.present && carrier {
        found.push(Finding::new(
            "no-field",
            "No steady tone between 110 and 150 kHz stands out: either the reader's field is off, or the probe does not \
             pick it up. Hold the pick-up coil flat against the antenna and check the channel and the time base."
                .into(),
            &[("rate_hz", reception.rate_hz)],
        ));
    }
    if let Some(frequency_hz) = reception.field.frequency_hz {
        let off_hz = frequency_hz - NOMINAL_HZ;
        if carrier && !reception.rate_assumed && off_hz.abs() > FAR_OFF_HZ {
            found.push(far_off(frequency_hz, off_hz));
        }
    }
    if reception.field.present && carrier && reception.telegrams < LEAST_TELEGRAMS {
        found.push(Finding::new(
            "record-too-short",
            format!(
                "The field is in the capture for {:.2} telegrams only; one telegram lasts 30.5 ms. Record at least 70 ms, \
                 better 100 ms, or give several short captures of the same tag with --join.",
                reception.telegrams
            ),
            &[("telegrams", reception.telegrams)],
        ));
    }
    if reception.kind == Kind::Folded {
        found.push(Finding::new(
            "folded",
            format!(
                "At {:.0} samples a second the field is seen folded (aliased). That works as long as nothing else folds onto \
                 the same place; above 400 kS/s the question does not arise.",
                reception.rate_hz
            ),
            &[("rate_hz", reception.rate_hz), ("band_hz", reception.band_hz)],
        ));
    }
    found.extend(stray_tones(reception));
    if reception.rate_assumed && reception.rate_hz > 0.0 {
        found.push(Finding::new(
            "rate-assumed",
            format!(
                "Nothing states the sample rate, so the strongest tone was taken as a field of 134.2 kHz, which makes the rate \
                 {:.0} samples a second. Frequencies and times hold only if that is right; --rate says it better.",
                reception.rate_hz
            ),
            &[("rate_hz", reception.rate_hz)],
        ));
    }
    found
}

/// Tones weaker than this against the field (−60 dB) are not worth a word: a tag's ripple is stronger.
const LEAST_STRAY: f64 = 1e-3;

/// Radio ripple-control transmitters inside the return bands (their operators' pages).
const RIPPLE_CONTROL_HZ: [f64; 3] = [129_100.0, 135_600.0, 139_000.0];

fn stray_tones(reception: &Reception) -> Option<Finding> {
    let seen = reception.seen.as_ref()?;
    let piece = seen.pieces.first()?;
    let strongest = piece.tones.first()?;
    let level = strongest.amplitude.norm() / piece.field.amplitude;
    if level < LEAST_STRAY {
        return None;
    }
    let offset_hz = strongest.per_value * seen.clock_hz;
    let frequency_hz = piece.field.frequency_hz + offset_hz;
    let guess = if RIPPLE_CONTROL_HZ
        .iter()
        .any(|hz| (hz - frequency_hz).abs() < 250.0)
    {
        "that is where a radio ripple-control transmitter sends: turn the antenna or move it"
    } else if offset_hz.abs() < 5_000.0 {
        "most likely a second reader: switch it off or lock both to one oscillator"
    } else {
        "a second reader of another kind or the harmonic of a switching supply: switch things off one by one"
    };
    let level_db = 20.0 * level.log10();
    Some(Finding::new(
        "stray-tone",
        format!(
            "Another steady tone at {frequency_hz:.0} Hz, {offset_hz:+.0} Hz from the field and {level_db:+.0} dB against it: {guess}. It \
             was taken off before reading here; a plain reader cannot do that."
        ),
        &[
            ("frequency_hz", frequency_hz),
            ("offset_hz", offset_hz),
            ("level_db", level_db),
            ("tones", piece.tones.len() as f64),
        ],
    ))
}

fn far_off(frequency_hz: f64, off_hz: f64) -> Finding {
    let text = if (124_000.0..126_000.0).contains(&frequency_hz) {
        "The field is at 125 kHz: this is a reader for another kind of tag. Animal transponders answer at 134.2 kHz and are \
         hardly powered by it."
            .to_string()
    } else {
        format!(
            "The field is {:.0} Hz ({:+.2} %) off 134.2 kHz. If the sample rate is right, the reader's oscillator or divider is \
             off; a reader should hold it within some 13 Hz. If the reader is known to be good, the capture's sample clock is off.",
            off_hz,
            100.0 * off_hz / NOMINAL_HZ
        )
    };
    Finding::new(
        "field-off-frequency",
        text,
        &[("frequency_hz", frequency_hz), ("offset_hz", off_hz)],
    )
}
