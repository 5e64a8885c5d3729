//! Telegrams laid on top of each other: the field is the clock, so they repeat every 4096 values.

use multiversion::multiversion;
use num_complex::{Complex32, Complex64};

use crate::telegram::TELEGRAM_BITS;

/// Field cycles per bit.
pub const BIT: usize = 32;
/// Field cycles per half bit.
pub const HALF: usize = BIT / 2;
/// Field cycles per telegram.
pub const TELEGRAM: usize = BIT * TELEGRAM_BITS;

/// Ripple summed over telegrams, cell by cell.
#[derive(Clone, Debug)]
pub struct Fold {
    /// Sum in each cell of the telegram.
    pub sums: Vec<Complex64>,
    /// Telegrams that reached each cell.
    pub counts: Vec<f64>,
    /// Every second telegram was inverted before adding.
    pub inverts: bool,
}

/// Boundary sums of a fold at one timing, both parts of the complex ripple kept.
#[derive(Clone, Debug)]
pub struct BoundarySums {
    /// Mean over 32 cycles of ripple after minus ripple before, summed over telegrams.
    pub sums: [Complex64; TELEGRAM_BITS],
    /// Whole boundary pulses in each sum.
    pub energies: [f64; TELEGRAM_BITS],
}

impl Fold {
    /// Folds a piece of ripple.
    pub fn new(ripple: &[Complex32], inverts: bool) -> Self {
        let [mut sums, odd] = every_second(ripple);
        let sign = if inverts { -1.0 } else { 1.0 };
        sums.iter_mut()
            .zip(&odd)
            .for_each(|(sum, odd)| *sum += odd * sign);
        Self::reached(ripple.len(), sums, inverts)
    }

    /// Folds a piece of ripple both ways: telegrams that repeat, and those that repeat inverted.
    pub fn both(ripple: &[Complex32]) -> [Self; 2] {
        let [even, odd] = every_second(ripple);
        let parts = || even.iter().zip(&odd);
        [
            Self::reached(ripple.len(), parts().map(|(a, b)| a + b).collect(), false),
            Self::reached(ripple.len(), parts().map(|(a, b)| a - b).collect(), true),
        ]
    }

    fn reached(count: usize, sums: Vec<Complex64>, inverts: bool) -> Self {
        let (whole, rest) = (count / TELEGRAM, count % TELEGRAM);
        let reached = |cell| (whole + usize::from(cell < rest)) as f64;
        Self {
            sums,
            counts: (0..TELEGRAM).map(reached).collect(),
            inverts,
        }
    }

    /// Only what lies along an axis, as real numbers.
    pub fn along(&self, axis: f64) -> Self {
        let turn = Complex64::cis(-axis);
        let part = |sum: &Complex64| Complex64::new((sum * turn).re, 0.0);
        Self {
            sums: self.sums.iter().map(part).collect(),
            counts: self.counts.clone(),
            inverts: self.inverts,
        }
    }

    /// A fold whose cells were summed elsewhere; every cell counts as reached once.
    pub fn from_real(sums: &[f64], inverts: bool) -> Self {
        Self {
            sums: sums.iter().map(|&sum| Complex64::new(sum, 0.0)).collect(),
            counts: vec![1.0; sums.len()],
            inverts,
        }
    }

    /// Boundary sums for boundaries at `timing + 32·j` cells, any timing; between cells a cubic through the four nearest
    /// (a straight line would lose up to 4 % of the amplitude).
    pub fn boundaries(&self, timing: f64) -> BoundarySums {
        let whole = timing.floor();
        let weights = half_bit_between(timing - whole);
        // From the first cell with a weight in the half bit before the first boundary.
        let (cells, counts) = self.laid_from(whole as isize - HALF as isize - 1);
        let mut result = BoundarySums::default();
        for j in 0..TELEGRAM_BITS {
            let before = &cells[j * BIT..][..HALF + 3];
            let after = &cells[j * BIT + HALF..][..HALF + 3];
            let (mut sum, mut energy) = (Complex64::default(), 0.0);
            for (d, weight) in weights.iter().enumerate() {
                sum += (after[d] - before[d]) * weight;
                energy += (counts[j * BIT + HALF + d] + counts[j * BIT + d]) * weight;
            }
            result.sums[j] = sum / BIT as f64;
            result.energies[j] = energy / BIT as f64;
        }
        result
    }

    /// Cells from any place on, across the seams with their sign, and how often each was reached; as many as a telegram's boundaries
    /// need.
    fn laid_from(&self, from: isize) -> ([Complex64; LAID], [f64; LAID]) {
        let (mut cells, mut counts) = ([Complex64::default(); LAID], [0.0; LAID]);
        self.add_from(from, 1.0, &mut cells);
        let mut laid = 0;
        while laid < LAID {
            let begin = (from + laid as isize).rem_euclid(TELEGRAM as isize) as usize;
            let more = (TELEGRAM - begin).min(LAID - laid);
            counts[laid..laid + more].copy_from_slice(&self.counts[begin..begin + more]);
            laid += more;
        }
        (cells, counts)
    }

    /// Adds `times` the cells from any place on, across the seams with their sign, to others.
    pub fn add_from(&self, from: isize, times: f64, others: &mut [Complex64]) {
        let mut at = from;
        let mut others = others;
        while !others.is_empty() {
            let begin = at.rem_euclid(TELEGRAM as isize) as usize;
            let more = (TELEGRAM - begin).min(others.len());
            let odd = at.div_euclid(TELEGRAM as isize) % 2 != 0;
            let times = if self.inverts && odd { -times } else { times };
            let (now, later) = others.split_at_mut(more);
            add_times(now, &self.sums[begin..begin + more], times);
            (others, at) = (later, at + more as isize);
        }
    }

    /// For each timing 0…31: energy of the boundary sums along their principal axis, less nothing; the noise adds the
    /// same to all of them.
    pub fn timing_scores(&self) -> [f64; BIT] {
        let sign = if self.inverts { -1.0 } else { 1.0 };
        // Laid out in place, as this is asked of every shape and share: the half bit before the seam, all cells, the one behind it.
        let mut around = [Complex64::default(); TELEGRAM + BIT];
        for (cell, sum) in around.iter_mut().zip(&self.sums[TELEGRAM - HALF..]) {
            *cell = sum * sign;
        }
        around[HALF..HALF + TELEGRAM].copy_from_slice(&self.sums);
        for (cell, sum) in around[HALF + TELEGRAM..].iter_mut().zip(&self.sums) {
            *cell = sum * sign;
        }
        // Sums of two, four, eight and sixteen cells: half bits.
        for span in [1, 2, 4, 8] {
            add_later(&mut around, span);
        }
        scores(&around)
    }
}

/// Cells of a telegram and a half bit, and what a cubic takes beside them.
const LAID: usize = TELEGRAM + HALF + 3;

/// What each cell from the one before a half bit on has of it where it begins a share of a cell later: Lagrange's cubic through sums
/// that begin at the four nearest cells.
pub(in crate::receiver) fn half_bit_between(x: f64) -> [f64; HALF + 3] {
    let shares = [
        -x * (x - 1.0) * (x - 2.0) / 6.0,
        (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
        -(x + 1.0) * x * (x - 2.0) / 2.0,
        (x + 1.0) * x * (x - 1.0) / 6.0,
    ];
    let mut weights = [0.0; HALF + 3];
    for (later, share) in shares.into_iter().enumerate() {
        for weight in &mut weights[later..later + HALF] {
            *weight += share;
        }
    }
    weights
}

/// Sums over the telegrams with even and with odd numbers, cell by cell.
fn every_second(ripple: &[Complex32]) -> [Vec<Complex64>; 2] {
    [0, 1].map(|first| {
        let mut sums = vec![Complex64::default(); TELEGRAM];
        for telegram in ripple.chunks(TELEGRAM).skip(first).step_by(2) {
            add(&mut sums, telegram);
        }
        sums
    })
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add(sums: &mut [Complex64], values: &[Complex32]) {
    for (sum, value) in sums.iter_mut().zip(values) {
        sum.re += f64::from(value.re);
        sum.im += f64::from(value.im);
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add_times(sums: &mut [Complex64], values: &[Complex64], times: f64) {
    for (sum, value) in sums.iter_mut().zip(values) {
        sum.re += value.re * times;
        sum.im += value.im * times;
    }
}

/// Adds to each value the one that comes `span` later.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add_later(values: &mut [Complex64], span: usize) {
    for index in 0..values.len() - span {
        values[index] += values[index + span];
    }
}

/// From half-bit sums that begin at each cell, from 16 before the first on: all timings side by side, one bit after the
/// other.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn scores(halves: &[Complex64]) -> [f64; BIT] {
    let (mut power, mut re, mut im) = ([0.0; BIT], [0.0; BIT], [0.0; BIT]);
    for from in (0..TELEGRAM).step_by(BIT) {
        let (before, after) = (
            &halves[from..from + BIT],
            &halves[from + HALF..from + HALF + BIT],
        );
        for timing in 0..BIT {
            let y = after[timing] - before[timing];
            let (along, across) = (y.re * y.re, y.im * y.im);
            power[timing] += along + across;
            re[timing] += along - across;
            im[timing] += 2.0 * y.re * y.im;
        }
    }
    std::array::from_fn(|timing| 0.5 * (power[timing] + re[timing].hypot(im[timing])))
}

impl Default for BoundarySums {
    fn default() -> Self {
        Self {
            sums: [Complex64::default(); TELEGRAM_BITS],
            energies: [0.0; TELEGRAM_BITS],
        }
    }
}

impl BoundarySums {
    /// Principal axis of the sums, radians in (−π/2, π/2].
    pub fn axis(&self) -> f64 {
        let square: Complex64 = self.sums.iter().map(|y| y * y).sum();
        0.5 * square.arg()
    }

    /// Real parts after turning the axis to 0, and the mean square of the imaginary parts per whole boundary pulse.
    pub fn along(&self, axis: f64) -> ([f64; TELEGRAM_BITS], f64) {
        let turn = Complex64::cis(-axis);
        let along = std::array::from_fn(|j| (self.sums[j] * turn).re);
        let across: f64 = self.sums.iter().map(|y| (y * turn).im.powi(2)).sum();
        (
            along,
            across / self.energies.iter().sum::<f64>().max(1e-300),
        )
    }
}

/// Boundary signs from the fold's boundary `first` on, through as many telegrams as it takes, also before boundary 0.
pub fn signs_along(
    signs: &[i8; TELEGRAM_BITS],
    inverts: bool,
    first: isize,
    count: usize,
) -> Vec<i8> {
    (first..first + count as isize)
        .map(|j| {
            let odd = j.div_euclid(TELEGRAM_BITS as isize) % 2 != 0;
            let sign = signs[j.rem_euclid(TELEGRAM_BITS as isize) as usize];
            if odd && inverts { -sign } else { sign }
        })
        .collect()
}

/// Local maxima of the timing scores, the maximum of a parabola through three of them, with their score.
pub fn timing_peaks(scores: &[f64; BIT]) -> Vec<(f64, f64)> {
    let mut peaks = Vec::new();
    for timing in 0..BIT {
        let before = scores[(timing + BIT - 1) % BIT];
        let here = scores[timing];
        let after = scores[(timing + 1) % BIT];
        if here >= before && here > after {
            let bend = before - 2.0 * here + after;
            let shift = if bend < 0.0 {
                0.5 * (before - after) / bend
            } else {
                0.0
            };
            peaks.push((here, (timing as f64 + shift).rem_euclid(BIT as f64)));
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Scores are the energies of the boundary sums computed one by one.
    #[test]
    fn running_scores_equal_the_sums_one_by_one() {
        let ripple = noise();
        for inverts in [false, true] {
            let fold = Fold::new(&ripple, inverts);
            let scores = fold.timing_scores();
            for (timing, score) in scores.iter().enumerate() {
                let sums = fold.boundaries(timing as f64);
                let power: f64 = sums.sums.iter().map(|y| y.norm_sqr()).sum();
                let square: Complex64 = sums.sums.iter().map(|y| y * y).sum();
                let slow = 0.5 * (power + square.norm()) * (BIT * BIT) as f64;
                assert!(
                    (slow - score).abs() < 1e-9 * slow,
                    "{timing}: {slow} {score}"
                );
            }
        }
    }

    /// Boundary sums at a whole cell, by their definition.
    fn one_by_one(fold: &Fold, timing: isize) -> BoundarySums {
        let half = |from: isize| {
            let (mut sum, mut count) = (Complex64::default(), 0.0);
            for at in from..from + HALF as isize {
                let cell = at.rem_euclid(TELEGRAM as isize) as usize;
                let inverted = fold.inverts && at.div_euclid(TELEGRAM as isize) % 2 != 0;
                sum += fold.sums[cell] * if inverted { -1.0 } else { 1.0 };
                count += fold.counts[cell];
            }
            (sum, count)
        };
        let mut result = BoundarySums::default();
        for j in 0..TELEGRAM_BITS {
            let middle = (j * BIT) as isize + timing;
            let (after, before) = (half(middle), half(middle - HALF as isize));
            result.sums[j] = (after.0 - before.0) / BIT as f64;
            result.energies[j] = (after.1 + before.1) / BIT as f64;
        }
        result
    }

    /// On whole cells the sums by their definition; between them the cubic through four such (Lagrange).
    #[test]
    fn boundaries_are_sums_of_half_bits() {
        let ripple = noise();
        for inverts in [false, true] {
            let fold = Fold::new(&ripple, inverts);
            for timing in [-70.0, -1.0, 0.0, 17.0, 31.25, -0.4, 4095.9, 4100.5] {
                let (whole, x) = (f64::floor(timing), timing - f64::floor(timing));
                let nearest: Vec<BoundarySums> = (-1..3)
                    .map(|later| one_by_one(&fold, whole as isize + later))
                    .collect();
                let found = fold.boundaries(timing);
                for j in 0..TELEGRAM_BITS {
                    let (mut sum, mut energy) = (Complex64::default(), 0.0);
                    for (k, sums) in nearest.iter().enumerate() {
                        let others = (0..4).filter(|&other| other != k);
                        let share: f64 = others
                            .map(|other| (x + 1.0 - other as f64) / (k as f64 - other as f64))
                            .product();
                        sum += sums.sums[j] * share;
                        energy += sums.energies[j] * share;
                    }
                    assert!((found.sums[j] - sum).norm() < 1e-12, "{timing} {j}");
                    assert!((found.energies[j] - energy).abs() < 1e-12, "{timing} {j}");
                }
            }
        }
    }

    fn noise() -> Vec<Complex32> {
        (0..10_000u32)
            .map(|i| {
                let hash = i.wrapping_mul(2_654_435_761) >> 8;
                Complex32::new(
                    (hash % 97) as f32 / 97.0 - 0.5,
                    (hash % 89) as f32 / 89.0 - 0.5,
                )
            })
            .collect()
    }
}
