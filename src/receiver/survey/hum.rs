//! Mains hum: a straight drift and the first harmonics of 50 or 60 Hz, fitted together.

use std::f64::consts::TAU;

use multiversion::multiversion;
use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use crate::receiver::field::track::{block_means, phase_advance};

/// Blocks a second for raw samples.
const BLOCK_HZ: f64 = 1000.0;
/// Field cycles in a block of amplitudes.
const BLOCK_CYCLES: usize = 128;
/// Harmonics fitted.
const HARMONICS: usize = 4;
/// Five periods of 50 Hz tell it from 60 Hz and from a drift.
const SHORTEST_S: f64 = 0.095;
/// One side of the field holds this many times the power of the other where a second field and no hum is there: hum that
/// shifts the phase by half as much as it moves the level makes the sides 1 to 9.
const ONE_SIDED: f64 = 20.0;
/// Mains frequencies of the world.
pub const MAINS_HZ: [f64; 2] = [50.0, 60.0];

/// What is found of the mains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hum {
    /// 50 or 60 Hz.
    pub mains_hz: f64,
    /// Peak of the strongest harmonic, in the unit of the series.
    pub amplitude: f64,
    /// Its frequency, Hz.
    pub strongest_hz: f64,
    /// Variance ratio (F with 8 and about count − 11 degrees) of the fit.
    pub ratio: f64,
    /// Share of what is left beside the drift that the mains explain.
    pub explained: f64,
    /// Of a field's level: the one side of the field, above (1) or below (−1), that the strongest shows on. A level that
    /// swings shows on both; a second field on one, and the level beats with it.
    pub one_side: Option<f64>,
}

/// Hum added to real samples, in their unit.
pub fn of_samples(samples: &[f32], rate_hz: f64) -> Option<Hum> {
    if rate_hz < 4.0 * BLOCK_HZ {
        return None;
    }
    let block = (rate_hz / BLOCK_HZ).round() as usize;
    if block > samples.len() {
        return None;
    }
    // A Hann window over some 134 cycles leaves 1e-6 of the field.
    let shape: Vec<f64> = (0..block)
        .map(|k| 1.0 - (TAU * (k as f64 + 0.5) / block as f64).cos())
        .collect();
    let total: f64 = shape.iter().sum();
    let series: Vec<f64> = samples
        .chunks_exact(block)
        .map(|chunk| weighted_sum(chunk, &shape) / total)
        .collect();
    fit(&series, rate_hz / block as f64)
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn weighted_sum(values: &[f32], weights: &[f64]) -> f64 {
    // Sums side by side: one addition need not wait for the one before.
    let mut sums = [0.0; 16];
    let (values, last) = values.as_chunks::<16>();
    let (weights, last_weights) = weights.as_chunks::<16>();
    for (values, weights) in values.iter().zip(weights) {
        for lane in 0..16 {
            sums[lane] += f64::from(values[lane]) * weights[lane];
        }
    }
    let rest = last.iter().zip(last_weights);
    sums.iter().sum::<f64>() + rest.map(|(x, w)| f64::from(*x) * w).sum::<f64>()
}

/// Hum in the field's level, relative to it.
pub fn of_amplitudes(values: &[Complex32], field_hz: f64) -> Option<Hum> {
    let blocks = block_means(values, BLOCK_CYCLES);
    let mean = blocks.iter().map(|block| block.norm()).sum::<f64>() / blocks.len().max(1) as f64;
    if mean <= 0.0 {
        return None;
    }
    let series: Vec<f64> = blocks.iter().map(|block| block.norm() / mean).collect();
    let rate_hz = field_hz / BLOCK_CYCLES as f64;
    let hum = fit(&series, rate_hz)?;
    Some(Hum {
        one_side: one_side(&blocks, hum.strongest_hz / rate_hz),
        ..hum
    })
}

/// On which side of the field a swing of its level shows, if on one only.
fn one_side(blocks: &[Complex64], per_block: f64) -> Option<f64> {
    let turn = phase_advance(blocks);
    let still = |index: usize| Complex64::cis(-turn * index as f64);
    let count = blocks.len() as f64;
    let mean = (0..blocks.len())
        .map(|index| blocks[index] * still(index))
        .sum::<Complex64>()
        / count;
    let side = |sign: f64| {
        let sum: Complex64 = (0..blocks.len())
            .map(|index| {
                let hann = 1.0 - (TAU * (index as f64 + 0.5) / count).cos();
                let back = Complex64::cis(-TAU * sign * per_block * index as f64);
                (blocks[index] * still(index) - mean) * back * hann
            })
            .sum();
        sum.norm_sqr()
    };
    let [above, below] = [side(1.0), side(-1.0)];
    if above > ONE_SIDED * below {
        Some(1.0)
    } else {
        (below > ONE_SIDED * above).then_some(-1.0)
    }
}

fn fit(series: &[f64], rate_hz: f64) -> Option<Hum> {
    let count = series.len();
    if (count as f64) < SHORTEST_S * rate_hz {
        return None;
    }
    let target = DVector::from_column_slice(series);
    let drift = left_over(&drift_columns(count), &target)?.1;
    let mut best: Option<Hum> = None;
    for mains_hz in MAINS_HZ {
        let mut columns = drift_columns(count);
        for harmonic in 1..=HARMONICS {
            let step = TAU * mains_hz * harmonic as f64 / rate_hz;
            columns.push((0..count).map(|i| (step * i as f64).cos()).collect());
            columns.push((0..count).map(|i| (step * i as f64).sin()).collect());
        }
        let (solution, left) = left_over(&columns, &target)?;
        let (strongest, amplitude) = (0..HARMONICS)
            .map(|k| (k + 1, solution[3 + 2 * k].hypot(solution[4 + 2 * k])))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let freedom = (count as f64 - columns.len() as f64).max(1.0);
        let gained = (drift - left).max(0.0);
        let hum = Hum {
            mains_hz,
            amplitude,
            strongest_hz: mains_hz * strongest as f64,
            ratio: gained / (2.0 * HARMONICS as f64) / (left / freedom).max(f64::MIN_POSITIVE),
            explained: gained / drift.max(f64::MIN_POSITIVE),
            one_side: None,
        };
        if best.is_none_or(|other| hum.ratio > other.ratio) {
            best = Some(hum);
        }
    }
    best
}

/// A parabola: level, drift and its bend.
fn drift_columns(count: usize) -> Vec<Vec<f64>> {
    let x = |i: usize| 2.0 * i as f64 / (count.max(2) - 1) as f64 - 1.0;
    (0..3)
        .map(|power| (0..count).map(|i| x(i).powi(power)).collect())
        .collect()
}

/// Least squares: solution and the sum of squares left.
fn left_over(columns: &[Vec<f64>], target: &DVector<f64>) -> Option<(DVector<f64>, f64)> {
    let matrix = DMatrix::from_fn(target.len(), columns.len(), |row, column| {
        columns[column][row]
    });
    let square = matrix.transpose() * &matrix;
    let solution = square.cholesky()?.solve(&(matrix.transpose() * target));
    let left = (target - matrix * &solution).norm_squared();
    Some((solution, left))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 60 Hz with a second harmonic on a drifting level, written out.
    #[test]
    fn mains_are_told_apart_and_measured() {
        let samples: Vec<f32> = (0..100_000)
            .map(|n| {
                let t = f64::from(n) / 500e3;
                let turns = |hz: f64| (TAU * hz * t).sin();
                (turns(134_200.0) + 0.02 * turns(60.0) + 0.05 * turns(120.0) + 0.1 * t) as f32
            })
            .collect();
        let hum = of_samples(&samples, 500e3).unwrap();
        assert_eq!((hum.mains_hz, hum.strongest_hz), (60.0, 120.0));
        // A Hann block of 1 ms takes 1.5 % at 120 Hz (derived: sinc(0.12)/(1 − 0.12²)).
        assert!((hum.amplitude / 0.05 - 1.0).abs() < 0.03, "{hum:?}");
        assert!(hum.explained > 0.99 && hum.ratio > 1e3, "{hum:?}");
    }
}
