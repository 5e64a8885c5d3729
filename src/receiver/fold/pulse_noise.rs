//! Noise as boundary pulses see it: the correlation with a pulse at every cycle of a stretch, and what of it is not a tag's.

use num_complex::{Complex32, Complex64};

use super::sums::{BIT, Fold, HALF, TELEGRAM};
use crate::receiver::dsp::phasor::wide;

/// Mean square per part of the correlation with a boundary pulse: both parts of a complex ripple are noise, a real one
/// has one.
pub fn pulse_variance(ripple: &[Complex32], real: bool) -> f64 {
    variance(ripple, wide, real)
}

/// The same of a fold's sums.
pub fn folded_variance(fold: &Fold, real: bool) -> f64 {
    variance(&fold.sums, |sum| sum, real)
}

/// Hands over the correlation at every cycle that has a half bit before and after it, from cycle 16 on.
pub fn every_pulse(ripple: &[Complex32], to: impl FnMut(Complex64)) {
    along(ripple, wide, to);
}

/// Half the mean square of the difference between telegrams that repeat, and of those that repeat inverted; `None` where
/// less than a quarter telegram overlaps.
pub fn noise_between_telegrams(ripple: &[Complex32], real: bool) -> Option<[f64; 2]> {
    let pulses = (ripple.len() + 1).saturating_sub(BIT);
    if pulses < TELEGRAM + TELEGRAM / 4 {
        return None;
    }
    let [mut same, mut inverted] = [0.0; 2];
    let mut before = vec![Complex64::default(); TELEGRAM];
    let mut index = 0;
    along(ripple, wide, |now| {
        let before = &mut before[index % TELEGRAM];
        if index >= TELEGRAM {
            same += (now - *before).norm_sqr();
            inverted += (now + *before).norm_sqr();
        }
        *before = now;
        index += 1;
    });
    let pairs = (pulses - TELEGRAM) as f64;
    Some([same, inverted].map(|sum| (sum / (2.0 * parts(real) * pairs)).max(1e-300)))
}

/// How flat the noise is between telegrams that repeat, or repeat inverted: 0 for noise without an axis, 1 for noise along one.
pub fn flatness(ripple: &[Complex32], inverts: bool) -> f64 {
    let sign = if inverts { -1.0 } else { 1.0 };
    let mut before = vec![Complex64::default(); TELEGRAM];
    let (mut power, mut square) = (0.0, Complex64::default());
    let mut index = 0;
    along(ripple, wide, |now| {
        let before = &mut before[index % TELEGRAM];
        if index >= TELEGRAM {
            let noise = now - *before * sign;
            power += noise.norm_sqr();
            square += noise * noise;
        }
        *before = now;
        index += 1;
    });
    square.norm() / f64::max(power, f64::MIN_POSITIVE)
}

fn variance<T: Copy>(values: &[T], widen: fn(T) -> Complex64, real: bool) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    along(values, widen, |pulse| {
        sum += pulse.norm_sqr();
        count += 1.0;
    });
    sum / (parts(real) * f64::max(count, 1.0))
}

/// Hands over the mean over 32 cycles of what comes after less what comes before, at every cycle that has so many.
fn along<T: Copy>(values: &[T], widen: fn(T) -> Complex64, mut to: impl FnMut(Complex64)) {
    if values.len() < BIT {
        return;
    }
    let sum = |values: &[T]| values.iter().map(|v| widen(*v)).sum::<Complex64>();
    let mut pulse = sum(&values[HALF..BIT]) - sum(&values[..HALF]);
    to(pulse / BIT as f64);
    let parts = values.iter().zip(&values[HALF..]).zip(&values[BIT..]);
    for ((first, middle), last) in parts {
        pulse += widen(*last) - 2.0 * widen(*middle) + widen(*first);
        to(pulse / BIT as f64);
    }
}

fn parts(real: bool) -> f64 {
    if real { 1.0 } else { 2.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Running sums against sums made anew at every cycle.
    #[test]
    fn running_pulses_are_the_sums_one_by_one() {
        let ripple: Vec<Complex32> = (0..6000u32)
            .map(|i| {
                let hash = i.wrapping_mul(2_654_435_761) >> 8;
                Complex32::new((hash % 97) as f32 / 97.0, (hash % 89) as f32 / 89.0)
            })
            .collect();
        let at = |middle: usize| {
            let sum = |from: usize| {
                let cells = &ripple[from..from + HALF];
                cells.iter().map(|v| wide(*v)).sum::<Complex64>()
            };
            (sum(middle) - sum(middle - HALF)) / BIT as f64
        };
        let slow: Vec<Complex64> = (HALF..=ripple.len() - HALF).map(at).collect();
        let square: f64 = slow.iter().map(|y| y.norm_sqr()).sum::<f64>() / slow.len() as f64;
        assert!((pulse_variance(&ripple, true) / square - 1.0).abs() < 1e-9);
        let pairs = slow.len() - TELEGRAM;
        let noise = noise_between_telegrams(&ripple, false).unwrap();
        for (sign, noise) in [1.0, -1.0].into_iter().zip(noise) {
            let sum: f64 = (0..pairs)
                .map(|n| (slow[n] - sign * slow[n + TELEGRAM]).norm_sqr())
                .sum();
            assert!((noise / (sum / (4.0 * pairs as f64)) - 1.0).abs() < 1e-9);
        }
        assert!(noise_between_telegrams(&ripple[..5000], false).is_none());
    }
}
