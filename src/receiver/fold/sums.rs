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
        let x = timing - whole;
        let whole = whole as isize;
        if x == 0.0 {
            return self.boundaries_at(whole);
        }
        let mut between = BoundarySums::default();
        let shares = [
            -x * (x - 1.0) * (x - 2.0) / 6.0,
            (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
            -(x + 1.0) * x * (x - 2.0) / 2.0,
            (x + 1.0) * x * (x - 1.0) / 6.0,
        ];
        for (offset, share) in (-1..).zip(shares) {
            let sums = self.boundaries_at(whole + offset);
            for j in 0..TELEGRAM_BITS {
                between.sums[j] += sums.sums[j] * share;
                between.energies[j] += sums.energies[j] * share;
            }
        }
        between
    }

    fn boundaries_at(&self, timing: isize) -> BoundarySums {
        let mut result = BoundarySums::default();
        for j in 0..TELEGRAM_BITS {
            let middle = (j * BIT) as isize + timing;
            let (after, count_after) = self.half(middle);
            let (before, count_before) = self.half(middle - HALF as isize);
            result.sums[j] = (after - before) / BIT as f64;
            result.energies[j] = (count_after + count_before) / BIT as f64;
        }
        result
    }

    /// Sum over a half bit that begins at `from`, across the seams with their sign.
    fn half(&self, from: isize) -> (Complex64, f64) {
        let (mut sum, mut count) = (Complex64::default(), 0.0);
        let (mut at, upto) = (from, from + HALF as isize);
        while at < upto {
            let telegram = at.div_euclid(TELEGRAM as isize);
            let seam = ((telegram + 1) * TELEGRAM as isize).min(upto);
            let begin = at.rem_euclid(TELEGRAM as isize) as usize;
            let cells = begin..begin + (seam - at) as usize;
            let part: Complex64 = self.sums[cells.clone()].iter().sum();
            let inverted = self.inverts && telegram % 2 != 0;
            sum += if inverted { -part } else { part };
            count += self.counts[cells].iter().sum::<f64>();
            at = seam;
        }
        (sum, count)
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
        let ripple: Vec<Complex32> = (0..10_000u32)
            .map(|i| {
                let hash = i.wrapping_mul(2_654_435_761) >> 8;
                Complex32::new(
                    (hash % 97) as f32 / 97.0 - 0.5,
                    (hash % 89) as f32 / 89.0 - 0.5,
                )
            })
            .collect();
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
}
