//! Findings about how the capture was taken: rate, folding, range and steps of the digitiser, bandwidth of a detector.

use super::Finding;
use crate::receiver::{Kept, Kind, LEAST_RATE_HZ, NOMINAL_HZ, Reception};

/// A band that keeps less than this share of a boundary pulse's energy cuts into the data.
const LEAST_KEPT: f64 = 0.8;

/// Steps from the lowest sample to the highest that six bits have. With them, quantising alone leaves a ripple of 0.3 %
/// an Eb/N0 of 8 dB in a single telegram at 1 MS/s (derived: N0 = 2·(step²/12)/rate), enough for one and no more.
const FEW_STEPS: f64 = 63.0;

/// Rounding a sine of A steps makes harmonics of (2/π)·J_n(2πA) steps, at most 0.2·A^-1.5 of it (asymptote of the Bessel
/// function). Harmonics fold onto each other, and the higher orders of the sum add: five times as much is taken.
const ROUNDING: f64 = 1.0;

/// A field as near to its own image as this beats with it, and no steady tone is left.
const IMAGE_HZ: f64 = 500.0;

/// Detector corners below this blur the half bits (119 µs: their first harmonic is at 4.2 kHz).
const NARROW_HZ: f64 = 3000.0;

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    let mut found = Vec::new();
    if let Some(clipped) = reception.clipped_share() {
        found.push(clipping(clipped));
    }
    found.extend(few_bits(reception));
    found.extend(rate(reception));
    found.extend(envelope_narrow(reception));
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

fn clipping(share: f64) -> Finding {
    Finding::new(
        "clipping",
        format!(
            "The tops of the field are cut off: {:.1} % of the samples sit at the digitiser's limit. What the ripple does there is lost, \
             so its depth and angle are not stated, and harmonics appear that are not in the field. Choose a larger range, so that the field fills some 80 % of it.",
            100.0 * share
        ),
        &[("clipped_share", share)],
    )
}

/// Level of tones that rounding to the digitiser's steps can make of the field, as a share of it.
pub(super) fn rounding(reception: &Reception) -> f64 {
    reception.levels_of_the_field().map_or(0.0, |levels| {
        ROUNDING * (0.5 * levels.steps()).max(1.0).powf(-1.5)
    })
}

/// Steps of a field that has only a few.
fn few_steps(reception: &Reception) -> Option<f64> {
    let steps = reception.levels_of_the_field()?.steps();
    (steps < FEW_STEPS).then_some(steps)
}

fn few_bits(reception: &Reception) -> Option<Finding> {
    let step = reception.levels_of_the_field()?.step;
    few_steps(reception).map(|steps| {
        Finding::new(
            "few-bits",
            format!(
                "The field is only {steps:.0} steps of the digitiser high, {:.1} bits: the ripple is lost in the rounding. Choose a smaller \
                 range or hold the pick-up coil nearer, so that the field fills some 80 % of the range; more samples help too.",
                (steps + 1.0).log2()
            ),
            &[
                ("steps", steps),
                ("step", step),
                ("bits_used", (steps + 1.0).log2()),
            ],
        )
    })
}

/// Distance of 134.2 kHz from the nearest multiple of half the rate, where it is so small that no field was found.
pub(super) fn on_its_own_image(reception: &Reception) -> Option<f64> {
    let half_hz = 0.5 * reception.rate_hz;
    let apart_hz = (NOMINAL_HZ - (NOMINAL_HZ / half_hz).round() * half_hz).abs();
    let is_real = !matches!(reception.kind, Kind::Iq | Kind::Logic);
    (is_real && !reception.field.present && half_hz > 0.0 && apart_hz < IMAGE_HZ)
        .then_some(apart_hz)
}

fn rate(reception: &Reception) -> Option<Finding> {
    if reception.rate_hz > 0.0 && reception.rate_hz < LEAST_RATE_HZ {
        return Some(Finding::new(
            "rate-too-low",
            format!(
                "{} samples a second carry no tag: its half bits last 119 µs, and each needs a sample at the very least. Sample at 400 kS/s \
                 or more, or say the true rate with --rate.",
                short(reception.rate_hz)
            ),
            &[
                ("rate_hz", reception.rate_hz),
                ("least_rate_hz", LEAST_RATE_HZ),
            ],
        ));
    }
    if let Some(apart_hz) = on_its_own_image(reception) {
        return Some(Finding::new(
            "rate-too-low",
            format!(
                "At {:.0} samples a second a field of 134.2 kHz and its own image are {:.0} Hz apart and cannot be told from each other,                  nor a ripple on them. Sample at 400 kS/s or more.",
                reception.rate_hz,
                2.0 * apart_hz
            ),
            &[("rate_hz", reception.rate_hz), ("apart_hz", apart_hz)],
        ));
    }
    let field_hz = reception.field.frequency_hz?;
    if !reception.kind.has_carrier() || reception.band_hz <= 0.0 {
        return None;
    }
    let kept = Kept::new(reception.band_hz, field_hz).of_noise();
    let evidence = [
        ("rate_hz", reception.rate_hz),
        ("band_hz", reception.band_hz),
        ("kept_share", kept),
    ];
    if kept < LEAST_KEPT {
        return Some(Finding::new(
            "rate-too-low",
            format!(
                "At {:.0} samples a second the field's own image lies {:.1} kHz beside it and folds onto the data: {:.0} % of the ripple's \
                 energy is left. Sample at 400 kS/s or more; if that cannot be, at a rate that puts the field's alias near a \
                 quarter of it (100 and 192 kS/s work).",
                reception.rate_hz,
                2e-3 * reception.band_hz,
                100.0 * kept
            ),
            &evidence,
        ));
    }
    (reception.kind == Kind::Folded).then(|| {
        Finding::new(
            "folded",
            format!(
                "At {:.0} samples a second the field is seen folded (aliased). That works as long as nothing else folds onto \
                 the same place; above 400 kS/s the question does not arise.",
                reception.rate_hz
            ),
            &evidence,
        )
    })
}

/// Four digits, whatever the size.
fn short(value: f64) -> String {
    if value >= 1.0 {
        format!("{}", (value * 1e3).round() / 1e3)
    } else {
        format!("{value:.3e}")
    }
}

fn envelope_narrow(reception: &Reception) -> Option<Finding> {
    if reception.kind != Kind::Envelope {
        return None;
    }
    let pole = reception.survey.as_ref()?.step.as_ref()?.pole?;
    let corner_hz = -pole.re * reception.field.frequency_hz? / std::f64::consts::TAU;
    (corner_hz < NARROW_HZ).then(|| {
        Finding::new(
            "envelope-narrow",
            format!(
                "The detector is slow: its output follows the tag with a corner of {:.1} kHz, and a half bit lasts 119 µs. Make the \
                 capacitor behind the diode smaller until the corner is at 7 kHz or more (22 kΩ and 1 nF); if it is fast already, a \
                 tuned circuit of high Q smooths the ripple.",
                corner_hz / 1e3
            ),
            &[("corner_hz", corner_hz)],
        )
    })
}
