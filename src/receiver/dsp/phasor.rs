//! Phasors in single and double precision, and phasors that turn steadily.

use std::f64::consts::TAU;

use multiversion::multiversion;
use num_complex::{Complex32, Complex64};

/// To the precision that signals are kept in.
pub fn single(value: Complex64) -> Complex32 {
    Complex32::new(value.re as f32, value.im as f32)
}

/// To the precision that sums are made in.
pub fn wide(value: Complex32) -> Complex64 {
    Complex64::new(value.re.into(), value.im.into())
}

/// Size of a phasor. Squares of what a capture holds stay far within single precision; the exact root of a sum that
/// might not takes five times as long.
pub fn size(value: Complex32) -> f32 {
    value.norm_sqr().sqrt()
}

/// Sums that are made side by side: one addition need not wait for the one before.
const LANES: usize = 8;

/// Σ|value|².
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub fn power(values: &[Complex32]) -> f64 {
    let mut sums = [0.0; LANES];
    let (whole, rest) = values.as_chunks::<LANES>();
    for values in whole {
        for (sum, value) in sums.iter_mut().zip(values) {
            *sum += f64::from(value.norm_sqr());
        }
    }
    let rest = rest.iter().map(|value| f64::from(value.norm_sqr()));
    sums.iter().sum::<f64>() + rest.sum::<f64>()
}

/// Σ|one − other|².
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub fn power_between(one: &[Complex32], other: &[Complex32]) -> f64 {
    let mut sums = [0.0; LANES];
    for (one, other) in one.chunks(LANES).zip(other.chunks(LANES)) {
        for ((sum, a), b) in sums.iter_mut().zip(one).zip(other) {
            *sum += f64::from((a - b).norm_sqr());
        }
    }
    sums.iter().sum()
}

/// Values in a block, within which a table of phases is used.
pub const BLOCK: usize = 64;

/// Blocks from one exactly computed phase to the next; between them it is turned on, which errs by 2^−52 a block.
const EXACT_EACH: u64 = 64;

/// e^{j2π·per_value·n}, block by block.
pub struct Oscillator {
    per_value: f64,
    table: [Complex32; BLOCK],
}

impl Oscillator {
    /// A phasor that makes `per_value` turns from one value to the next.
    pub fn new(per_value: f64) -> Self {
        let phase = |k: usize| TAU * (per_value * k as f64).fract();
        Self {
            per_value,
            table: std::array::from_fn(|k| single(Complex64::cis(phase(k)))),
        }
    }

    /// The phasor at the beginning of every block, from one block on; the same wherever that is.
    pub fn bases(&self, block: u64) -> Bases {
        let exact = block - block % EXACT_EACH;
        let mut bases = Bases {
            per_value: self.per_value,
            step: at(self.per_value, 1),
            now: Complex64::ONE,
            block: exact,
        };
        while bases.block < block {
            bases.next();
        }
        bases
    }

    /// The phasor over a block, relative to its begin.
    pub fn within_block(&self) -> &[Complex32; BLOCK] {
        &self.table
    }

    /// Multiplies values with `factor` and the phasor, from value 0 on.
    pub fn turn(&self, values: &mut [Complex32], factor: Complex64) {
        for (block, base) in values.chunks_mut(BLOCK).zip(self.bases(0)) {
            multiply(block, &self.table, single(factor * base));
        }
    }

    /// Sums over every `each` values (a divisor of [`BLOCK`]) of value times weight times the phasor, from value 0 on.
    pub fn weighted_sums(
        &self,
        values: &[Complex32],
        weights: &[f32],
        each: usize,
    ) -> Vec<Complex32> {
        let mut sums = Vec::with_capacity(values.len() / each + 1);
        let mut turned = [Complex32::default(); BLOCK];
        let blocks = values.chunks(BLOCK).zip(weights.chunks(BLOCK));
        for ((values, weights), base) in blocks.zip(self.bases(0)) {
            let turned = &mut turned[..values.len()];
            turned.copy_from_slice(values);
            multiply(turned, &self.table, single(base));
            let parts = turned.chunks(each).zip(weights.chunks(each));
            sums.extend(parts.map(|(turned, weights)| -> Complex32 {
                turned.iter().zip(weights).map(|(v, w)| v * w).sum()
            }));
        }
        sums
    }

    /// Adds `amplitude` times the phasor to values, from value 0 on.
    pub fn add_to(&self, values: &mut [Complex32], amplitude: Complex64) {
        for (block, base) in values.chunks_mut(BLOCK).zip(self.bases(0)) {
            add(block, &self.table, single(amplitude * base));
        }
    }
}

/// The phasor at the beginning of a block. The fraction of the turns is exact to 2^−52 of their count: 1e-6 of a turn after
/// 2^32 values.
fn at(per_value: f64, block: u64) -> Complex64 {
    Complex64::cis(TAU * (per_value * (block * BLOCK as u64) as f64).fract())
}

/// See [`Oscillator::bases`]; never ends.
pub struct Bases {
    per_value: f64,
    /// Turn over a block.
    step: Complex64,
    /// The phasor at the block before.
    now: Complex64,
    block: u64,
}

impl Iterator for Bases {
    type Item = Complex64;

    fn next(&mut self) -> Option<Complex64> {
        self.now = if self.block.is_multiple_of(EXACT_EACH) {
            at(self.per_value, self.block)
        } else {
            self.now * self.step
        };
        self.block += 1;
        Some(self.now)
    }
}

/// Multiplies a block with base and turns.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn multiply(values: &mut [Complex32], turns: &[Complex32; BLOCK], base: Complex32) {
    for (value, turn) in values.iter_mut().zip(turns) {
        *value *= turn * base;
    }
}

/// Adds base times turns to a block.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add(values: &mut [Complex32], turns: &[Complex32; BLOCK], base: Complex32) {
    for (value, turn) in values.iter_mut().zip(turns) {
        *value += turn * base;
    }
}

/// Folds an angle into (−π/2, π/2]: the axis has no direction.
pub fn fold_angle(angle: f64) -> f64 {
    let folded = angle.rem_euclid(std::f64::consts::PI);
    if folded > std::f64::consts::FRAC_PI_2 {
        folded - std::f64::consts::PI
    } else {
        folded
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_side_by_side_are_the_sums() {
        let value = |n: u32| Complex32::new((n % 7) as f32, (n % 5) as f32);
        let values: Vec<Complex32> = (0..1003).map(value).collect();
        let others: Vec<Complex32> = (0..1003).map(|n| value(n * n)).collect();
        // Whole numbers: exact.
        let slow: f32 = values.iter().map(Complex32::norm_sqr).sum();
        assert_eq!(power(&values), f64::from(slow));
        let pairs = values.iter().zip(&others);
        let slow: f32 = pairs.map(|(a, b)| (a - b).norm_sqr()).sum();
        assert_eq!(power_between(&values, &others), f64::from(slow));
    }

    /// Against the phase worked out for each value; products of three single-precision numbers err by 3·2^−24.
    #[test]
    fn turned_values_have_the_phase_of_their_place() {
        let oscillator = Oscillator::new(-0.268_414_7);
        let ones = vec![Complex32::new(1.0, 0.0); 10_000];
        let factor = Complex64::new(0.5, 0.1);
        let mut sum = vec![Complex32::default(); 10_000];
        oscillator.add_to(&mut sum, factor);
        let mut all = ones.clone();
        oscillator.turn(&mut all, factor);
        for (n, &turned) in all.iter().enumerate() {
            let exact = factor * Complex64::cis(-TAU * 0.268_414_7 * n as f64);
            assert!((wide(turned) - exact).norm() < 2e-7, "{n}");
            assert!((wide(sum[n]) - exact).norm() < 2e-7, "{n}");
        }
        for block in [0, 1, 63, 64, 100] {
            let (mut all, mut some) = (
                oscillator.bases(0).skip(block),
                oscillator.bases(block as u64),
            );
            assert_eq!(all.next(), some.next());
        }
        let ones = &ones[..1000];
        let weights: Vec<f32> = (0..1000u16).map(|n| f32::from(n % 7)).collect();
        for (k, sum) in oscillator
            .weighted_sums(ones, &weights, 16)
            .iter()
            .enumerate()
        {
            let exact: Complex64 = (16 * k..1000.min(16 * k + 16))
                .map(|n| f64::from(weights[n]) * Complex64::cis(-TAU * 0.268_414_7 * n as f64))
                .sum();
            // Sixteen terms of at most 6.
            assert!((wide(*sum) - exact).norm() < 2e-5, "{k}");
        }
    }
}
