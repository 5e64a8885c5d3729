//! What was stated of a capture and cannot be right: its sample rate, the centre of its complex samples. The field is near
//! 134.2 kHz and the tag divides it by 32; where neither holds as stated and both hold with another value, a number that
//! reads with that value speaks for it.

use num_complex::{Complex32, Complex64};

use super::look::look;
use super::proof::Reading;
use super::reception::Reception;
use super::signal::{Kind, Samples, Signal};
use crate::receiver::dsp::phasor::wide;
use crate::receiver::field::clock::on_own_clock;
use crate::receiver::field::gaps::mend;
use crate::receiver::field::pieces::{Piece, with_carrier};
use crate::receiver::front::cycles::{Tuning, to_cycles};
use crate::receiver::front::hypotheses::{FirstSight, Hypothesis, NOMINAL_HZ};
use crate::receiver::tags::attempt::Asked;

/// By what rates are wrong: a decimal prefix taken for another, or for none.
const FACTORS: [f64; 8] = [10.0, 0.1, 100.0, 0.01, 1e3, 1e-3, 1e6, 1e-6];

/// A field agrees with 134.2 kHz within this: the reader's tolerance of 1e-4 and the sample clock's of as much, and what
/// rounding to three digits makes of a rate.
const AGREES: f64 = 1e-3;

/// A centre that is off by less than this (Hz) is not worth a word: readers differ by as much (from memory of ISO 11785).
const CENTRE_OFF_HZ: f64 = 20.0;

/// Rate at which the strongest tone is a field, where at the stated one it is none and lies off by a power of ten.
pub(super) fn likely_rate(signal: &Signal<'_>, sight: &FirstSight) -> Option<f64> {
    let rate_hz = signal.rate_hz?;
    let real = matches!(signal.samples, Samples::Real(_)) && !signal.logic;
    let tone = sight
        .spectrum
        .as_ref()
        .filter(|_| real)?
        .tones(1)
        .first()
        .copied()?;
    let apparent_hz = tone.per_sample.abs() * rate_hz;
    let agrees = |factor: &&f64| (apparent_hz * **factor / NOMINAL_HZ - 1.0).abs() < AGREES;
    FACTORS.iter().find(agrees).map(|factor| rate_hz * factor)
}

/// Complex samples once more with the clock that the tag's bits show, where that is not the field's as the centre makes it.
pub(super) fn on_the_bits_clock(
    signal: &Signal<'_>,
    sight: &FirstSight,
    asked: Asked<'_>,
    stated: Reception,
) -> Reception {
    for hypothesis in sight
        .hypotheses
        .iter()
        .filter(|hypothesis| hypothesis.kind == Kind::Iq)
    {
        let Some(clock_hz) = bits_clock(signal, hypothesis) else {
            continue;
        };
        let shown_hz = hypothesis.tuning.field_hz;
        if (clock_hz - shown_hz).abs() < CENTRE_OFF_HZ {
            continue;
        }
        let tuning = Tuning {
            field_hz: clock_hz,
            ..hypothesis.tuning
        };
        asked.effort.begin_hypothesis();
        let hypothesis = Hypothesis {
            tuning,
            ..*hypothesis
        };
        let mut again = look(signal, &hypothesis, asked, sight.rate_assumed);
        let Some(reading) = again.readings.first() else {
            continue;
        };
        // Where the stated centre reads as well, it must be the worse one for it.
        let better = stated.readings.first().is_none_or(|before| {
            let code = |reading: &Reading| reading.attempt.decision.telegram.code;
            let same = code(before) == code(reading);
            same && before.attempt.ebn0 < reading.attempt.ebn0
        });
        if better {
            let refined_hz = again.field.frequency_hz.unwrap_or(clock_hz);
            again.doubts.shown_hz = Some(shown_hz + refined_hz - clock_hz);
            return again;
        }
    }
    stated
}

/// Field frequency by the tag's bits.
fn bits_clock(signal: &Signal<'_>, hypothesis: &Hypothesis) -> Option<f64> {
    let tuning = Tuning {
        field_hz: NOMINAL_HZ,
        ..hypothesis.tuning
    };
    let mut cycles = to_cycles(signal.samples, &tuning);
    mend(&mut cycles, signal.samples, &tuning);
    let pieces = with_carrier(&cycles);
    let longest = pieces.into_iter().max_by_key(|piece| piece.ripple.len())?;
    let square: Complex64 = longest.ripple.iter().map(|&v| wide(v) * wide(v)).sum();
    let turn = Complex64::cis(-0.5 * square.arg());
    let along = longest
        .ripple
        .iter()
        .map(|&v| Complex32::new((wide(v) * turn).re as f32, 0.0))
        .collect();
    let along = Piece {
        ripple: along,
        ..longest
    };
    let (relative, _) = on_own_clock(&along, 1).into_iter().next()?;
    Some(NOMINAL_HZ * relative)
}
