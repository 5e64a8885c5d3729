//! Tags that switch their load at half the field's frequency and turn its phase with their bits: recognised, not decoded.

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::wide;
use crate::receiver::front::cycles::{Tuning, to_cycles};
use crate::receiver::signal::Samples;

/// Cycles averaged: half of the shortest bit (16 cycles; common practice, from memory).
const MEAN: usize = 8;
/// Bits last multiples of this, cycles.
const BIT: usize = 16;
/// Share of the power along one axis, less that across it. Noise has 1/√means of it, a steady line beside the exact half none.
const COHERENT: f64 = 0.6;
/// Turns of the phase that must be seen; a line that a divider leaves has none.
const LEAST_TURNS: usize = 16;
/// Cycles after which such tags repeat themselves: 64 or 224 bits of 16 or 32 cycles (from memory).
const PERIODS: [usize; 4] = [64 * 16, 64 * 32, 224 * 16, 224 * 32];
/// Fewest times over that are laid on each other.
const LEAST_TIMES: usize = 3;
/// Share of the times between turns that are whole bits within a quarter of one. By chance half of them are.
const WHOLE_BITS: f64 = 0.85;

/// A load switched at half the field's frequency, with turns of its phase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhaseKeyed {
    /// Frequency of the subcarrier as sent, half the field's.
    pub subcarrier_hz: f64,
    /// Turns of its phase seen.
    pub turns: usize,
    /// Share of the power along one axis, less that across it.
    pub coherence: f64,
    /// Amplitude of its lower sideband, as a share of the field.
    pub level: f64,
}

/// Looks below a directly sampled field, where the lower sideband of such a load stands at half of the field's frequency.
pub fn phase_keyed(
    samples: Samples<'_>,
    rate_hz: f64,
    field_hz: f64,
    amplitude: f64,
) -> Option<PhaseKeyed> {
    let tuning = Tuning {
        rate_hz,
        apparent_hz: 0.5 * field_hz,
        field_hz,
        mirrored: false,
    };
    let values = to_cycles(samples, &tuning).values;
    let found = turns(&values).or_else(|| {
        let laid = PERIODS
            .iter()
            .filter_map(|&period| laid_over(&values, period));
        laid.filter_map(|values| turns(&values)).next()
    })?;
    Some(PhaseKeyed {
        subcarrier_hz: 0.5 * field_hz,
        level: found.level / amplitude,
        ..found
    })
}

/// The mean of what repeats, noise being less in it; `None` where it does not repeat often enough.
fn laid_over(values: &[Complex32], period: usize) -> Option<Vec<Complex32>> {
    let times = values.len() / period;
    if times < LEAST_TIMES {
        return None;
    }
    let mut mean = vec![Complex32::default(); period];
    for part in values.chunks_exact(period) {
        mean.iter_mut()
            .zip(part)
            .for_each(|(sum, value)| *sum += value / times as f32);
    }
    Some(mean)
}

fn turns(values: &[Complex32]) -> Option<PhaseKeyed> {
    let mut running = vec![Complex64::default()];
    for &value in values {
        running.push(running[running.len() - 1] + wide(value));
    }
    let means: Vec<Complex64> = running
        .iter()
        .zip(running.get(MEAN..)?)
        .map(|(from, to)| (to - from) / MEAN as f64)
        .collect();
    let square: Complex64 = means.iter().map(|m| m * m).sum();
    let power: f64 = means.iter().map(Complex64::norm_sqr).sum();
    let coherence = square.norm() / power.max(f64::MIN_POSITIVE);
    if coherence < COHERENT {
        return None;
    }
    let turn = Complex64::cis(-0.5 * square.arg());
    let along: Vec<f64> = means.iter().map(|m| (m * turn).re).collect();
    let places: Vec<usize> = (1..along.len())
        .filter(|&n| (along[n] > 0.0) != (along[n - 1] > 0.0))
        .collect();
    let whole = |pair: &&[usize]| {
        let over = (pair[1] - pair[0] + BIT / 2) % BIT;
        pair[1] - pair[0] > BIT / 2 && over.abs_diff(BIT / 2) <= BIT / 4
    };
    let whole_bits = places.windows(2).filter(whole).count();
    let level = along.iter().map(|a| a.abs()).sum::<f64>() / along.len() as f64;
    (places.len() >= LEAST_TURNS && whole_bits as f64 > WHOLE_BITS * (places.len() - 1) as f64)
        .then_some(PhaseKeyed {
            subcarrier_hz: 0.0,
            turns: places.len(),
            coherence,
            level,
        })
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;

    #[test]
    fn what_noise_hides_shows_where_it_is_laid_over() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(5);
        let mut noise = || rng.random_range(-1.0f32..1.0);
        let bits: u64 = 0x9A3F_6C15_0D2B_77E1;
        let mut values = |level: f32| -> Vec<Complex32> {
            let sign = |n: usize| {
                if bits >> (n / 16 % 64) & 1 == 1 {
                    1.0
                } else {
                    -1.0
                }
            };
            (0..20 * PERIODS[0])
                .map(|n| Complex32::new(level * sign(n) + noise(), 0.5 * level * sign(n) + noise()))
                .collect()
        };
        let weak = values(0.2);
        assert_eq!(turns(&weak), None);
        let found = laid_over(&weak, PERIODS[0]).and_then(|mean| turns(&mean));
        assert!(found.unwrap().turns > LEAST_TURNS);
        let none = laid_over(&values(0.0), PERIODS[0]).and_then(|mean| turns(&mean));
        assert_eq!(none, None);
    }

    #[test]
    fn turns_make_the_difference() {
        let value = |n: usize, sign: f32| {
            let noise = 0.003 * ((n * 7919 % 101) as f32 / 50.0 - 1.0);
            Complex32::new(0.003, -0.004) * sign + Complex32::new(noise, 0.8 * noise)
        };
        let bits = 0x9A3F_6C15u32;
        let keyed: Vec<Complex32> = (0..8000)
            .map(|n| {
                value(
                    n,
                    if bits >> (n / 32 % 32) & 1 == 1 {
                        1.0
                    } else {
                        -1.0
                    },
                )
            })
            .collect();
        let found = turns(&keyed).unwrap();
        assert!(
            (found.level - 0.005).abs() < 1e-3 && found.turns > 100,
            "{found:?}"
        );
        let line: Vec<Complex32> = (0..8000).map(|n| value(n, 1.0)).collect();
        assert_eq!(turns(&line), None);
        let noise: Vec<Complex32> = (0..8000).map(|n| value(n, 0.0)).collect();
        assert_eq!(turns(&noise), None);
    }
}
