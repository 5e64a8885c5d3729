//! Whether a tone sampled less than once a period can be a field.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::hypotheses::NOMINAL_HZ;
use crate::receiver::dsp::transform::window;
use crate::receiver::signal::Samples;

/// Sampled less than once a period any tone has an alias near the field, sound too; without a number only one this near to where the
/// field's would be is taken for it, Hz (0.5 %, a ceramic resonator's tolerance).
const WITHIN_HZ: f64 = 670.0;

/// Of a field picked up by a coil, or driven by a square wave, twice its frequency has less than this (−14 dB; common practice, no
/// source). A note has it.
const SECOND_OVERTONE: f64 = 0.2;

/// Samples looked at together: a field keeps its phase over so many.
const BLOCK: usize = 2048;

/// Whether what folds like a field of that frequency is too far off to be one, or sounds.
pub(in crate::receiver) fn is_no_field(samples: Samples<'_>, rate_hz: f64, field_hz: f64) -> bool {
    (field_hz - NOMINAL_HZ).abs() > WITHIN_HZ
        || second_overtone(samples, field_hz / rate_hz) > SECOND_OVERTONE
}

/// Amplitude at twice a tone's frequency relative to its own; `per_sample` is the tone's, in cycles.
fn second_overtone(samples: Samples<'_>, per_sample: f64) -> f64 {
    let Samples::Real(all) = samples else {
        return 0.0;
    };
    let shape = window(BLOCK);
    let power = |times: f64| -> f64 {
        let turn = -TAU * (times * per_sample).fract();
        let blocks = all.chunks_exact(BLOCK);
        let amplitude = |block: &[f32]| -> Complex64 {
            let values = block.iter().zip(shape.iter()).enumerate();
            values
                .map(|(k, (x, w))| Complex64::cis(turn * k as f64) * f64::from(x * w))
                .sum()
        };
        blocks.map(|block| amplitude(block).norm_sqr()).sum()
    };
    (power(2.0) / power(1.0).max(f64::MIN_POSITIVE)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(overtone: f32) -> Vec<f32> {
        let per_sample = 1_900.0 / 44_100.0;
        let at =
            |n: usize, times: f32| (times * std::f32::consts::TAU * per_sample * n as f32).sin();
        (0..20_000)
            .map(|n| at(n, 1.0) + overtone * at(n, 2.0))
            .collect()
    }

    #[test]
    fn a_note_with_overtones_is_no_field() {
        // 3 · 44.1 kHz and 1.9 kHz.
        let field_hz = 3.0 * 44_100.0 + 1_900.0;
        for (overtone, is_one) in [(0.0, false), (0.05, false), (0.4, true)] {
            let note = note(overtone);
            assert_eq!(
                is_no_field(Samples::Real(&note), 44_100.0, field_hz),
                is_one
            );
        }
    }

    #[test]
    fn what_is_far_off_is_no_field() {
        assert!(is_no_field(Samples::Real(&note(0.0)), 44_100.0, 133_000.0));
    }
}
