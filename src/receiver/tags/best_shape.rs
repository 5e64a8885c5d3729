//! With a number's signs known: the shape and the timing that explain most of the ripple.

use num_complex::Complex64;

use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::Fold;
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
    let at = |shape: Shape, timing: f64| {
        let seen = shape.matched_fold(fold);
        let (strength, timing) = best_timing(&seen, signs, timing);
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

/// Timing at which the signed boundary sums are largest, near `timing`, and how large.
fn best_timing(fold: &Fold, signs: &[i8; TELEGRAM_BITS], timing: f64) -> (f64, f64) {
    let strength = |timing: f64| {
        let sums = fold.boundaries(timing);
        let signed = sums.sums.iter().zip(signs).map(|(y, &b)| y * f64::from(b));
        signed.sum::<Complex64>().norm()
    };
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
