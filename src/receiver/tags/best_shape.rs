//! With a number's signs known: the shape and the timing that explain most of the ripple.

use num_complex::Complex64;

use crate::receiver::fold::shape::{MEMORY_BITS, Shape};
use crate::receiver::fold::sums::{BIT, Fold, HALF, half_bit_between};
use crate::telegram::TELEGRAM_BITS;

/// Steps of bandwidth and detuning tried from a shape of the bank, as shares of the bandwidth; the last is far below
/// what noise lets see.
const SHAPE_STEPS: [f64; 3] = [0.4, 0.2, 0.1];

/// The shape near `shape` and the timing that explain most of the ripple, its signs known.
pub(super) fn best_shape(
    fold: &Fold,
    signs: &[i8; TELEGRAM_BITS],
    shape: Shape,
    timing: f64,
    real: bool,
) -> (Shape, f64) {
    let mut signed = Signed::around(fold, signs, timing);
    let mut at = |shape: Shape, timing: f64| {
        if !signed.covers(timing) {
            signed = Signed::around(fold, signs, timing);
        }
        let (strength, timing) = best_timing(&signed.through(&shape), timing);
        (strength * strength / shape.energy, shape, timing)
    };
    let mut best = at(shape, timing);
    for share in SHAPE_STEPS {
        let mut moved = true;
        let mut turns = 0;
        while moved && turns < 4 {
            moved = false;
            turns += 1;
            for near in best.1.neighbours(share, real) {
                let trial = at(near, best.2);
                if trial.0 > best.0 {
                    best = trial;
                    moved = true;
                }
            }
        }
    }
    (best.1, best.2)
}

/// The cells around every boundary, added up with the boundaries' signs: what the signed sum over all boundaries is made of, and as
/// filters are linear, what it is made of through any shape.
struct Signed {
    /// Timing of the first of them.
    from: isize,
    cells: Vec<Complex64>,
    /// Timings that they were laid out around.
    middle: f64,
}

impl Signed {
    /// Cells to either side of a timing that sums are asked for at.
    const ASIDE: isize = 64;
    /// By so much [`best_timing`] moves at most, with the cells of its cubic.
    const MOVED: f64 = 10.0;

    fn around(fold: &Fold, signs: &[i8; TELEGRAM_BITS], timing: f64) -> Self {
        let from = timing.floor() as isize - HALF as isize - Self::ASIDE;
        let beyond = HALF + MEMORY_BITS * BIT;
        let mut cells = vec![Complex64::default(); 2 * Self::ASIDE as usize + HALF + beyond];
        for (j, &sign) in signs.iter().enumerate() {
            fold.add_from(from + (j * BIT) as isize, f64::from(sign), &mut cells);
        }
        Self {
            from,
            cells,
            middle: timing,
        }
    }

    fn covers(&self, timing: f64) -> bool {
        (timing - self.middle).abs() < Self::ASIDE as f64 - Self::MOVED
    }

    /// Seen through the filter matched to a shape; the cells beyond are what it remembers.
    fn through(&self, shape: &Shape) -> Self {
        let mut cells = self.cells.clone();
        shape.filter_backwards(&mut cells, Complex64::default());
        Self { cells, ..*self }
    }

    /// The signed sum of the boundary sums at a timing.
    fn sum_at(&self, timing: f64) -> Complex64 {
        let whole = timing.floor();
        let after = (whole as isize - 1 - self.from) as usize;
        let weights = half_bit_between(timing - whole);
        let parts = weights
            .iter()
            .enumerate()
            .map(|(d, weight)| (self.cells[after + d] - self.cells[after + d - HALF]) * weight);
        parts.sum::<Complex64>() / BIT as f64
    }
}

/// Timing at which the signed boundary sums are largest, near `timing`, and how large.
fn best_timing(signed: &Signed, timing: f64) -> (f64, f64) {
    let strength = |timing: f64| signed.sum_at(timing).norm();
    let mut best = (strength(timing), timing);
    let mut consider = |moved: f64| {
        let value = strength(moved);
        if value > best.0 {
            best = (value, moved);
        }
        best
    };
    // Near its top the correlation of square pulses is a triangle, equally steep on both sides …
    let (before, after) = (strength(timing - 2.0), strength(timing + 2.0));
    let here = strength(timing);
    let steepest = (here - before).max(here - after).max(1e-300);
    let (_, mut place) = consider(timing + ((after - before) / steepest).clamp(-2.0, 2.0));
    // … rounded by the receiver's band within a cycle of the top.
    for step in [0.5, 0.25] {
        let (before, here, after) = (
            strength(place - step),
            strength(place),
            strength(place + step),
        );
        let bend = before - 2.0 * here + after;
        if bend < 0.0 {
            let shift = 0.5 * (before - after) / bend;
            (_, place) = consider(place + step * shift.clamp(-1.0, 1.0));
        }
    }
    consider(place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::fold::sums::TELEGRAM;
    use num_complex::Complex32;

    /// Through the narrowest shape e^−25 is left behind what is remembered.
    #[test]
    fn signed_sums_are_those_of_the_boundaries() {
        let ripple: Vec<Complex32> = (0..2 * TELEGRAM as u32 + 700)
            .map(|i| Complex32::new((i % 97) as f32 / 97.0 - 0.5, (i % 61) as f32 / 61.0))
            .collect();
        let signs: [i8; TELEGRAM_BITS] =
            std::array::from_fn(|j| if j * j % 7 < 3 { 1 } else { -1 });
        for fold in Fold::both(&ripple) {
            for middle in [-3.0, 12.4, 31.9] {
                let signed = Signed::around(&fold, &signs, middle);
                for shape in Shape::bank(false) {
                    let (seen, signed) = (shape.matched_fold(&fold), signed.through(shape));
                    for timing in [middle, middle - 53.9, middle + 53.9, middle.ceil()] {
                        let sums = seen.boundaries(timing).sums;
                        let parts = sums.iter().zip(&signs).map(|(y, &b)| y * f64::from(b));
                        let slow: Complex64 = parts.sum();
                        let fast = signed.sum_at(timing);
                        assert!((slow - fast).norm() < 1e-8, "{slow} {fast}");
                    }
                }
            }
        }
    }
}
