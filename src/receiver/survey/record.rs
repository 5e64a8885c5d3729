//! What the recorder did to the samples: peaks kept instead of samples, instants of sampling that stray.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

/// Pairs looked at.
const MOST_PAIRS: usize = 50_000;
/// Fewest that say anything.
const LEAST_PAIRS: usize = 500;
/// Share of pairs that rounding may leave equal.
const EQUAL: f64 = 0.1;

/// Samples in a block over which the field is one sine with a straight drift.
const BLOCK: usize = 512;
/// Blocks looked at, spread over the record.
const MOST_BLOCKS: usize = 64;
/// Parts of a field cycle; what is the same in each cycle is the field's own harmonics.
const PARTS: usize = 64;
/// A steep part of the sine has this much of its slope at least, …
const STEEP: f64 = 0.9;
/// … a flat one this much at most.
const FLAT: f64 = 0.35;
/// Variance on steep parts over that on flat ones where instants stray. A variance of some thousand values is known to 5 %.
const RATIO: f64 = 4.0;
/// Correlation of neighbours: strays of a converter's instants know nothing of each other, phase noise of an oscillator,
/// and a ripple that is all phase, last for many samples.
const ALONE: f64 = 0.3;
/// Fewest values of either kind.
const LEAST_VALUES: usize = 400;

/// Whether of each two samples the first is the lower one (or the higher one), always: the two are the least and the largest
/// of an interval. Nothing sampled at even steps keeps an order for so long, unless its rate is twice the field's.
pub fn is_peaks(samples: &[f32]) -> bool {
    let ordered = |first: usize, sign: f32| {
        let (mut equal, mut all) = (0usize, 0usize);
        for pair in samples[first..].as_chunks::<2>().0.iter().take(MOST_PAIRS) {
            let step = sign * (pair[1] - pair[0]);
            if step < 0.0 {
                return false;
            }
            equal += usize::from(step == 0.0);
            all += 1;
        }
        all >= LEAST_PAIRS && (equal as f64) < EQUAL * all as f64
    };
    samples.len() > 2 * LEAST_PAIRS
        && [0, 1]
            .iter()
            .any(|&first| ordered(first, 1.0) || ordered(first, -1.0))
}

/// Standard deviation of the instants of sampling, seconds, where they stray; `per_sample` is the field's frequency as the
/// samples show it, `field_hz` the true one, `step` the digitiser's.
pub fn jitter_s(samples: &[f32], per_sample: f64, field_hz: f64, step: f64) -> Option<f64> {
    let blocks = samples.len() / BLOCK;
    let used = blocks.min(MOST_BLOCKS);
    if used == 0 {
        return None;
    }
    // (part of the cycle, slope as a share, rest relative to the level)
    let mut rests: Vec<(usize, f64, f64)> = Vec::with_capacity(used * BLOCK);
    let mut level = 0.0;
    for block in 0..used {
        let from = block * blocks / used * BLOCK;
        let part = &samples[from..from + BLOCK];
        let (rest, amplitude) = rest_of_block(part, per_sample)?;
        level += amplitude / used as f64;
        rests.extend(rest);
    }
    let (mut means, mut counts) = ([0.0; PARTS], [0.0f64; PARTS]);
    for (part, _, rest) in &rests {
        means[*part] += rest;
        counts[*part] += 1.0;
    }
    for (part, _, rest) in &mut rests {
        *rest -= means[*part] / counts[*part];
    }
    let variance = |chosen: &dyn Fn(f64) -> bool| {
        let of: Vec<f64> = rests
            .iter()
            .filter(|(_, slope, _)| chosen(slope.abs()))
            .map(|(_, _, rest)| rest * rest)
            .collect();
        (of.len() >= LEAST_VALUES).then(|| of.iter().sum::<f64>() / of.len() as f64)
    };
    let steep = variance(&|slope| slope > STEEP)?;
    let flat = variance(&|slope| slope < FLAT)?;
    let (mut product, mut square) = (0.0, 0.0);
    for block in rests.chunks(BLOCK) {
        for pair in block.windows(2) {
            let [(_, a, x), (_, b, y)] = [pair[0], pair[1]];
            if a.abs() > 0.5 && b.abs() > 0.5 {
                product += x / a * y / b;
                square += 0.5 * ((x / a).powi(2) + (y / b).powi(2));
            }
        }
    }
    let alone = square > 0.0 && (product / square).abs() < ALONE;
    let above_rounding = steep.sqrt() > 1.5 * step / level.max(f64::MIN_POSITIVE);
    (steep > RATIO * flat && alone && above_rounding)
        .then(|| (steep - flat).sqrt() / (TAU * field_hz))
}

/// Of each sample the part of the period it lies in, the sine's slope there, and what is left, of the sine's amplitude.
type Rest = Vec<(usize, f64, f64)>;

/// What a sine with a straight drift leaves of a block, and the sine's amplitude.
fn rest_of_block(samples: &[f32], per_sample: f64) -> Option<(Rest, f64)> {
    let count = samples.len();
    let columns = DMatrix::from_fn(count, 5, |n, column| {
        let turn = TAU * (per_sample * n as f64).fract();
        let along = 2.0 * n as f64 / count as f64 - 1.0;
        match column {
            0 => 1.0,
            1 => turn.cos(),
            2 => turn.sin(),
            3 => along * turn.cos(),
            _ => along * turn.sin(),
        }
    });
    let target = DVector::from_iterator(count, samples.iter().map(|x| f64::from(*x)));
    let square = columns.transpose() * &columns;
    let found = square.cholesky()?.solve(&(columns.transpose() * &target));
    let rest = target - &columns * &found;
    let amplitude = found[1].hypot(found[2]);
    if amplitude <= 0.0 {
        return None;
    }
    let begin = found[2].atan2(found[1]);
    let values = (0..count)
        .map(|n| {
            let turn = TAU * (per_sample * n as f64).fract() - begin;
            let part = (turn / TAU).rem_euclid(1.0) * PARTS as f64;
            (
                (part as usize).min(PARTS - 1),
                -turn.sin(),
                rest[n] / amplitude,
            )
        })
        .collect();
    Some((values, amplitude))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    fn field(stray_s: f64, noise: f64, wander: f64) -> Vec<f32> {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(7);
        let mut normal = move || -> f64 { StandardNormal.sample(&mut rng) };
        let mut walked = 0.0;
        (0..50_000)
            .map(|n| {
                let t = f64::from(n) / 500e3 + stray_s * normal();
                walked += wander * normal();
                ((TAU * 134_200.0 * t + walked).cos() + noise * normal()) as f32
            })
            .collect()
    }

    /// 100 ns of stray are found to a tenth; noise, and a phase that wanders as far in 100 samples, are none.
    #[test]
    fn strays_are_measured_and_nothing_else_is_one() {
        let of = |samples: &[f32]| jitter_s(samples, 0.2684, 134_200.0, 0.0);
        let found = of(&field(100e-9, 5e-3, 0.0)).unwrap();
        assert!((found / 100e-9 - 1.0).abs() < 0.1, "{found:e}");
        assert_eq!(of(&field(0.0, 0.05, 0.0)), None);
        assert_eq!(of(&field(0.0, 5e-3, 0.01)), None);
    }

    #[test]
    fn peaks_keep_their_order_and_samples_do_not() {
        let fine = field(0.0, 0.01, 0.0);
        let peaks: Vec<f32> = fine
            .chunks(8)
            .flat_map(|part| {
                let least = part.iter().copied().fold(f32::INFINITY, f32::min);
                let largest = part.iter().copied().fold(f32::NEG_INFINITY, f32::max);
                [least, largest]
            })
            .collect();
        assert!(is_peaks(&peaks));
        assert!(is_peaks(&peaks[1..]));
        assert!(!is_peaks(&fine));
    }
}
