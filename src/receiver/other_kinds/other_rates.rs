//! Tags that divide the field by another number than 32: biphase (or Manchester code, which has the same changes) of 64 or 50
//! cycles a bit. Recognised by their bit rate, not decoded.

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::wide;

/// Cycles of a bit looked for (common practice for 125 kHz tags, from memory).
const CYCLES: [usize; 2] = [64, 50];
/// Fewest bits to judge by.
const LEAST_BITS: usize = 48;
/// Most bits looked at.
const MOST_BITS: usize = 2048;
/// In biphase the level changes at every bit, by one and the same size. Noise alone scatters by 0.75 of the mean, a tag of 32
/// cycles a bit by 0.6 and more, as every other change of it is there half of the time; 10 dB of signal by 0.22.
const LARGEST_SCATTER: f64 = 0.33;
/// Between the changes, half a bit later, sizes are those of bits: there or not. The energy there is this much less.
const BETWEEN: f64 = 0.85;

/// A ripple whose bits last another number of field cycles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OtherRate {
    /// Field cycles of a bit.
    pub cycles_per_bit: usize,
    /// Scatter of the changes' size over its mean.
    pub scatter: f64,
    /// Bits looked at.
    pub bits: usize,
    /// Ripple depth, as a share of the field.
    pub depth: f64,
}

/// Looks at a stretch of ripple, one value a field cycle, with every line still in it.
pub fn other_rate(ripple: &[Complex32]) -> Option<OtherRate> {
    let found = CYCLES
        .into_iter()
        .filter_map(|cycles| at_rate(ripple, cycles));
    found.min_by(|a, b| a.scatter.total_cmp(&b.scatter))
}

fn at_rate(ripple: &[Complex32], cycles: usize) -> Option<OtherRate> {
    let ripple = &ripple[..ripple.len().min((MOST_BITS + 1) * cycles)];
    if ripple.len() < (LEAST_BITS + 1) * cycles {
        return None;
    }
    let half = cycles / 2;
    let mut running = vec![Complex64::default()];
    for &value in ripple {
        running.push(running[running.len() - 1] + wide(value));
    }
    let changes = |begin: usize| -> Vec<Complex64> {
        (begin..ripple.len() - cycles + 1)
            .step_by(cycles)
            .map(|n| {
                let middle = running[n + half];
                (running[n + cycles] - middle - (middle - running[n])) / cycles as f64
            })
            .collect()
    };
    let energy = |begin: usize| {
        let all = changes(begin);
        all.iter().map(Complex64::norm_sqr).sum::<f64>() / all.len() as f64
    };
    let energies: Vec<f64> = (0..cycles).map(energy).collect();
    let best = (0..cycles).max_by(|&a, &b| energies[a].total_cmp(&energies[b]))?;
    if energies[(best + half) % cycles] > BETWEEN * energies[best] {
        return None;
    }
    let all = changes(best);
    let square: Complex64 = all.iter().map(|y| y * y).sum();
    let turn = Complex64::cis(-0.5 * square.arg());
    let along: Vec<f64> = all.iter().map(|y| (y * turn).re).collect();
    let scatter = [0, 1]
        .map(|first| scatter(along.iter().skip(first).step_by(2).map(|y| y.abs())))
        .into_iter()
        .fold(0.0, f64::max);
    // Both signs come up, or it is a square wave.
    let repeats = along
        .windows(2)
        .filter(|pair| pair[0] * pair[1] > 0.0)
        .count();
    let varied = repeats > along.len() / 10 && repeats < along.len() - along.len() / 10;
    let depth = along.iter().map(|y| y.abs()).sum::<f64>() / along.len() as f64;
    (scatter < LARGEST_SCATTER && varied).then_some(OtherRate {
        cycles_per_bit: cycles,
        scatter,
        bits: along.len(),
        depth,
    })
}

fn scatter(sizes: impl Iterator<Item = f64>) -> f64 {
    let (count, sum, square) = sizes.fold((0.0, 0.0, 0.0), |(count, sum, square), size| {
        (count + 1.0, sum + size, square + size * size)
    });
    let mean: f64 = sum / f64::max(count, 1.0);
    (square / f64::max(count, 1.0) - mean * mean)
        .max(0.0)
        .sqrt()
        / mean.max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Biphase of bits from a congruence (Numerical Recipes' constants).
    fn biphase(cycles: usize, count: usize) -> Vec<Complex32> {
        let (mut state, mut level) = (7u32, 0.01f32);
        let mut ripple = Vec::new();
        while ripple.len() < count {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            level = -level;
            ripple.extend(std::iter::repeat_n(level, cycles / 2));
            level = if state >> 31 == 1 { level } else { -level };
            ripple.extend(std::iter::repeat_n(level, cycles - cycles / 2));
        }
        let noisy = |(n, level): (usize, f32)| {
            let noise = 0.01 * ((n * 7919 % 101) as f32 / 50.0 - 1.0);
            Complex32::new(0.6, 0.8) * level + Complex32::new(noise, -0.7 * noise)
        };
        ripple.into_iter().enumerate().map(noisy).collect()
    }

    #[test]
    fn bits_of_64_and_50_cycles_are_told_from_those_of_32() {
        for cycles in CYCLES {
            let found = other_rate(&biphase(cycles, 9000)[11..]).unwrap();
            assert_eq!(found.cycles_per_bit, cycles, "{found:?}");
            assert!((found.depth - 0.01).abs() < 1e-3, "{found:?}");
        }
        for cycles in [32, 40, 16, 128] {
            assert_eq!(other_rate(&biphase(cycles, 9000)), None, "{cycles}");
        }
    }
}
