//! Whether what one number leaves of a ripple is made of numbers near to it.
//!
//! Three equal tags whose numbers differ by light words of the CRC's code can send, at every boundary, the majority's sign of a
//! fourth number that nobody sent. That number fits the sums as far as signs go, and what it leaves repeats. Another tag's
//! ripple repeats as well, but with signs of its own: numbers near to the one that was read explain hardly anything of it.

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::near::near_codes;
use super::refine::Refined;
use crate::linecode::boundary_signs;
use crate::receiver::fold::sums::Fold;
use crate::telegram::{TELEGRAM_BITS, Telegram};

/// What is left must have this share of the number's own power to be looked at: edges that no tank explains leave less.
const LEFT_BY_EDGES: f64 = 0.05;

/// As many near numbers are tried together as tags in a field are to be expected at most.
const NUMBERS: usize = 3;

/// They explain it where they explain half. Of noise, or of signs that have nothing to do with the number, the best of a
/// thousand patterns explains 2·ln(1000)/128 = 11 %, three of them a third.
const EXPLAINED: f64 = 0.5;

/// A tag that comes or goes, or a hole in the record, leaves its own ripple in a run of bits, and near numbers differ in runs of
/// bits, too. Where the ripple's height in so many parts of the telegram explains this much, it is the former.
const PARTS: usize = 8;
const COMES_AND_GOES: f64 = 0.7;

/// Whether numbers near to a tag's explain most of what it leaves of a ripple.
pub fn are_near_numbers_left(ripple: &[Complex32], tag: &Refined) -> bool {
    let attempt = &tag.attempt;
    let (timing, inverts) = (attempt.timing, attempt.inverts);
    let seen = Fold::new(&ripple[attempt.span.clone()], inverts).boundaries(timing);
    let own = Fold::new(&tag.plain, inverts).boundaries(timing);
    let scales = seen.energies.map(|energy| {
        if energy > 0.0 {
            1.0 / energy.sqrt()
        } else {
            0.0
        }
    });
    let scaled = |sums: &[Complex64; TELEGRAM_BITS]| {
        DVector::from_fn(TELEGRAM_BITS, |j, _| sums[j] * scales[j])
    };
    let (seen, own) = (scaled(&seen.sums), scaled(&own.sums));
    let mut waves = vec![own.clone()];
    let Some(left) = left_by(&seen, &waves) else {
        return false;
    };
    let before = left.norm_squared();
    if before <= LEFT_BY_EDGES * (&seen - &left).norm_squared() {
        return false;
    }
    let parts: Vec<DVector<Complex64>> = (0..PARTS)
        .map(|part| {
            let inside = |j: usize| j * PARTS / TELEGRAM_BITS == part;
            let value = |j: usize| {
                if inside(j) {
                    own[j]
                } else {
                    Complex64::default()
                }
            };
            DVector::from_fn(TELEGRAM_BITS, |j, _| value(j))
        })
        .collect();
    let uneven = left_by(&seen, &parts);
    if uneven.is_some_and(|left| left.norm_squared() < (1.0 - COMES_AND_GOES) * before) {
        return false;
    }
    let near = near_waves(&own, &attempt.decision.telegram, attempt.decision.start);
    let mut rest = left;
    for _ in 0..NUMBERS {
        let along = |wave: &DVector<Complex64>| wave.dotc(&rest).norm_sqr();
        let Some(best) = near.iter().max_by(|a, b| along(a).total_cmp(&along(b))) else {
            return false;
        };
        waves.push(best.clone());
        match left_by(&seen, &waves) {
            Some(left) => rest = left,
            None => break,
        }
    }
    rest.norm_squared() < EXPLAINED * before
}

/// Boundary sums of the numbers near to one, in its place.
fn near_waves(
    own: &DVector<Complex64>,
    telegram: &Telegram,
    start: usize,
) -> Vec<DVector<Complex64>> {
    let signs = |code: u64| {
        let bits = Telegram { code, ..*telegram }.bits();
        boundary_signs(&bits, 1)
    };
    let sent = signs(telegram.code);
    near_codes(telegram.code)
        .map(signs)
        // One that inverts where the other does not is told from it by every second telegram.
        .filter(|other| other[TELEGRAM_BITS] == sent[TELEGRAM_BITS])
        .map(|other| {
            DVector::from_fn(TELEGRAM_BITS, |j, _| {
                let bit = (j + TELEGRAM_BITS - start) % TELEGRAM_BITS;
                own[j] * f64::from(sent[bit] * other[bit])
            })
        })
        .collect()
}

/// What the best sum of waves leaves of what was seen; `None` where the waves are not independent.
fn left_by(seen: &DVector<Complex64>, waves: &[DVector<Complex64>]) -> Option<DVector<Complex64>> {
    let waves = DMatrix::from_columns(waves);
    let amplitudes = waves.ad_mul(&waves).cholesky()?.solve(&waves.ad_mul(seen));
    Some(seen - waves * amplitudes)
}
