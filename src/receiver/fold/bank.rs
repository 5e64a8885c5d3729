//! Timing scores of a fold seen through the filters of many shapes at once.
//!
//! [`Shape::matched_fold`] and [`Fold::timing_scores`] give the same shape by shape, cell by cell through memory. Here both are one
//! walk through the telegram, backwards as the filters run, for as many shapes as a processor has lanes.

use multiversion::multiversion;
use num_complex::Complex64;

use super::shape::{MEMORY_BITS, Shape};
use super::sums::{BIT, Fold, HALF, TELEGRAM};

/// Shapes that go together.
const LANES: usize = 8;

type Lanes = [f64; LANES];

/// Real and imaginary parts.
type ComplexLanes = [Lanes; 2];

const NOTHING: ComplexLanes = [[0.0; LANES]; 2];

/// For each shape the scores of [`Fold::timing_scores`] of its [`Shape::matched_fold`].
pub fn timing_scores(fold: &Fold, shapes: &[Shape]) -> Vec<[f64; BIT]> {
    let mut scores = Vec::with_capacity(shapes.len());
    for group in shapes.chunks(LANES) {
        let (mut gain, mut decay) = (NOTHING, NOTHING);
        for (lane, shape) in group.iter().enumerate() {
            let (share, kept) = shape.backwards();
            (gain[0][lane], gain[1][lane]) = (share.re, share.im);
            (decay[0][lane], decay[1][lane]) = (kept.re, kept.im);
        }
        let of_group = walk(&fold.sums, fold.inverts, gain, decay);
        scores.extend((0..group.len()).map(|lane| of_group.map(|timing| timing[lane])));
    }
    scores
}

/// What is known at one cell of the cells behind it.
struct Walk {
    gain: ComplexLanes,
    decay: ComplexLanes,
    /// The filters' output.
    value: ComplexLanes,
    /// … of the last half bit of cells, and its sum.
    values: [ComplexLanes; HALF],
    half: ComplexLanes,
    /// Such sums at the last half bit of cells.
    halves: [ComplexLanes; HALF],
    /// At each timing: Σ|y|², Σ(re² − im²), Σ2·re·im over the boundaries so far.
    power: [Lanes; BIT],
    squares: [ComplexLanes; BIT],
}

impl Walk {
    /// The next cell before, which is `cell` from the telegram's first.
    #[inline(always)]
    fn step(&mut self, input: Complex64, cell: isize) {
        let slot = cell.rem_euclid(HALF as isize) as usize;
        let [gain_re, gain_im] = &self.gain;
        let [decay_re, decay_im] = &self.decay;
        let mut value = NOTHING;
        for lane in 0..LANES {
            let (re, im) = (self.value[0][lane], self.value[1][lane]);
            value[0][lane] = input.re * gain_re[lane] - input.im * gain_im[lane]
                + (re * decay_re[lane] - im * decay_im[lane]);
            value[1][lane] = input.re * gain_im[lane]
                + input.im * gain_re[lane]
                + (re * decay_im[lane] + im * decay_re[lane]);
        }
        let gone = &self.values[slot];
        for ((half, new), old) in self.half.iter_mut().zip(&value).zip(gone) {
            for ((half, new), old) in half.iter_mut().zip(new).zip(old) {
                *half += new - old;
            }
        }
        self.value = value;
        self.values[slot] = value;
    }

    /// Counts the boundary half a bit behind the cell of the last step.
    #[inline(always)]
    fn count(&mut self, cell: isize) {
        let slot = cell.rem_euclid(HALF as isize) as usize;
        let timing = (cell + HALF as isize).rem_euclid(BIT as isize) as usize;
        for lane in 0..LANES {
            let re = self.halves[slot][0][lane] - self.half[0][lane];
            let im = self.halves[slot][1][lane] - self.half[1][lane];
            let (along, across) = (re * re, im * im);
            self.power[timing][lane] += along + across;
            self.squares[timing][0][lane] += along - across;
            self.squares[timing][1][lane] += 2.0 * re * im;
        }
    }

    #[inline(always)]
    fn keep_half(&mut self, cell: isize) {
        self.halves[cell.rem_euclid(HALF as isize) as usize] = self.half;
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn walk(
    sums: &[Complex64],
    inverts: bool,
    gain: ComplexLanes,
    decay: ComplexLanes,
) -> [Lanes; BIT] {
    let seam = if inverts { -1.0 } else { 1.0 };
    let mut walk = Walk {
        gain,
        decay,
        value: NOTHING,
        values: [NOTHING; HALF],
        half: NOTHING,
        halves: [NOTHING; HALF],
        power: [[0.0; LANES]; BIT],
        squares: [NOTHING; BIT],
    };
    let whole = TELEGRAM as isize;
    // Once around over what the narrowest shape remembers, so that the seam is nowhere.
    let memory = (MEMORY_BITS * BIT).min(TELEGRAM);
    for (index, value) in sums[..memory].iter().enumerate().rev() {
        let cell = whole + index as isize;
        walk.step(value * seam, cell);
        walk.keep_half(cell);
    }
    for (index, &value) in sums.iter().enumerate().rev() {
        let cell = index as isize;
        walk.step(value, cell);
        if cell + (HALF as isize) < whole {
            walk.count(cell);
        }
        walk.keep_half(cell);
    }
    for (index, value) in sums[TELEGRAM - HALF..].iter().enumerate().rev() {
        let cell = index as isize - HALF as isize;
        walk.step(value * seam, cell);
        walk.count(cell);
    }
    std::array::from_fn(|timing| {
        std::array::from_fn(|lane| {
            let [re, im] = [0, 1].map(|part| walk.squares[timing][part][lane]);
            0.5 * (walk.power[timing][lane] + re.hypot(im))
        })
    })
}

#[cfg(test)]
mod tests {
    use num_complex::Complex32;
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};

    use super::*;

    /// Sums of 4096 values differ by rounding alone, some 1e-16 of each: a thousandth of a millionth is far beyond that.
    #[test]
    fn the_same_as_shape_by_shape() {
        let mut random = ChaCha8Rng::seed_from_u64(9);
        let mut noise = || random.random::<f32>() - 0.5;
        let ripple: Vec<Complex32> = (0..3 * TELEGRAM + 1000)
            .map(|_| Complex32::new(noise(), noise()))
            .collect();
        let shapes = Shape::bank(false);
        assert!(shapes.len() > 2 * LANES && !shapes.len().is_multiple_of(LANES));
        for fold in Fold::both(&ripple) {
            let together = timing_scores(&fold, shapes);
            assert_eq!(together.len(), shapes.len());
            for (shape, scores) in shapes.iter().zip(together) {
                let alone = shape.matched_fold(&fold).timing_scores();
                for (a, b) in alone.into_iter().zip(scores) {
                    assert!((a - b).abs() < 1e-9 * a, "{a} {b}");
                }
            }
        }
    }
}
