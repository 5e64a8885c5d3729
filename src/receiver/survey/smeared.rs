//! A ripple that repeats from telegram to telegram and has no bits: several sweeps in one, each with the tag somewhere else in
//! its telegram.

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::wide;
use crate::receiver::fold::pulse_noise::{every_pulse, pulse_variance};
use crate::receiver::fold::sums::{BIT, TELEGRAM};

/// From this share on of all there is, what repeats is no accident: of noise in one and a quarter telegrams 0 ± 0.1 repeats
/// (some 130 pulses of the part that overlaps are independent).
const REPEATS: f64 = 0.5;

/// Data spread over many lines. The mean square of how much a ripple is like itself some cycles later is one over their number:
/// of a tone 1, of a handful of tones a fifth and more, of a mostly empty number (60 % zeros, one line in two of its energy) a
/// tenth.
const LINES: f64 = 8.0;

/// Cycles from one lag to the next (a prime, so that no tone keeps step with it), and how many; the first is past the pulse's own
/// length.
const BETWEEN_LAGS: usize = 7;
const LAGS: usize = 200;

/// Telegrams looked at.
const MOST: usize = 4 * TELEGRAM;

/// The kurtosis of what N tags as strong as each other send is 3 − 2/N: two levels of one have 1, three tags 2.33, eight 2.75, noise 3.
/// Between three and eight; some 500 values are independent, and a Gaussian's kurtosis then strays by √(24/500) = 0.2.
const CROWD: f64 = 2.5;

/// What repeats from telegram to telegram and is data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Smeared {
    /// Its share of what is beside the field.
    pub share: f64,
    /// It is more than a few tags send: many telegrams on top of each other.
    pub crowd: bool,
}

/// What repeats of what is beside the field; `None` where little does, or where it is no data.
pub fn smeared(
    ripple: &[Complex32],
    between_telegrams: Option<[f64; 2]>,
    real: bool,
) -> Option<Smeared> {
    let [same, inverted] = between_telegrams?;
    let share = 1.0 - same.min(inverted) / pulse_variance(ripple, real).max(1e-300);
    if share < REPEATS {
        return None;
    }
    let mut pulses: Vec<Complex64> = Vec::new();
    every_pulse(&ripple[..ripple.len().min(MOST)], |pulse| {
        pulses.push(pulse)
    });
    let power: f64 = pulses.iter().map(|pulse| pulse.norm_sqr()).sum();
    let like_itself = (0..LAGS).map(|lag| {
        let later = pulses.iter().skip(BIT + lag * BETWEEN_LAGS);
        let sum: Complex64 = later.zip(&pulses).map(|(a, b)| a * b.conj()).sum();
        (sum / power).norm_sqr()
    });
    let lines = LAGS as f64 / like_itself.sum::<f64>();
    (lines > LINES).then(|| Smeared {
        share,
        crowd: kurtosis(ripple, same > inverted).is_some_and(|kurtosis| kurtosis > CROWD),
    })
}

/// Kurtosis of what repeats, along its axis: what noise adds to the moments, known from how telegrams differ, is taken off. `None` where
/// that leaves little.
fn kurtosis(ripple: &[Complex32], inverts: bool) -> Option<f64> {
    let axis = 0.5
        * ripple
            .iter()
            .map(|&v| wide(v) * wide(v))
            .sum::<Complex64>()
            .arg();
    let turn = Complex64::cis(-axis);
    let along: Vec<f64> = ripple.iter().map(|&v| (wide(v) * turn).re).collect();
    let mean = |sum: f64, count: usize| sum / count.max(1) as f64;
    let square = mean(along.iter().map(|x| x * x).sum(), along.len());
    let fourth = mean(along.iter().map(|x| x.powi(4)).sum(), along.len());
    let sign = if inverts { -1.0 } else { 1.0 };
    let later = along.get(TELEGRAM..)?;
    let differ = along.iter().zip(later).map(|(x, y)| (x - sign * y).powi(2));
    let noise = 0.5 * mean(differ.sum(), later.len());
    let signal = square - noise;
    (signal > noise)
        .then(|| (fourth - 6.0 * signal * noise - 3.0 * noise * noise) / (signal * signal))
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;
    use crate::linecode;
    use crate::receiver::fold::pulse_noise::noise_between_telegrams;
    use crate::telegram::Telegram;

    fn of(values: &[f32]) -> Option<Smeared> {
        let ripple: Vec<Complex32> = values.iter().map(|v| Complex32::new(*v, 0.5 * v)).collect();
        smeared(&ripple, noise_between_telegrams(&ripple, false), false)
    }

    #[test]
    fn sweeps_laid_over_each_other_are_seen_and_noise_and_tones_are_not() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(11);
        let states = linecode::load_states(&Telegram::new(0x8000_F9C0_075B_CD15).bits(), 1);
        let count = 3 * TELEGRAM;
        let mut noise = || rng.random_range(-0.1f32..0.1);
        let noisy: Vec<f32> = (0..count).map(|_| noise()).collect();
        assert_eq!(of(&noisy), None);
        let tone = |n: usize| (std::f32::consts::TAU * 160.0 * n as f32 / TELEGRAM as f32).sin();
        let with_tone: Vec<f32> = (0..count).map(|n| tone(n) + noisy[n]).collect();
        assert_eq!(of(&with_tone), None);
        let begins = [0, 700, 1333, 1978, 2901, 3003, 3777, 123];
        let swept = |sweeps: usize| {
            let mut swept = noisy.clone();
            for begin in &begins[..sweeps] {
                for (n, value) in swept.iter_mut().enumerate() {
                    let half_bit = (n + begin) / (BIT / 2);
                    let state = f32::from(states[half_bit % states.len()]);
                    *value += state / (sweeps as f32).sqrt();
                }
            }
            of(&swept).unwrap()
        };
        assert!(swept(8).share > 0.9 && swept(8).crowd);
        for few in 1..=3 {
            assert!(!swept(few).crowd, "{few}");
        }
    }
}
