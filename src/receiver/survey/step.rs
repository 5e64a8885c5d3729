//! How the ripple passes from one load state to the other: averaged over changes that have a whole bit before them.
//!
//! A single tank settles as e^{pt} with p = −π·f/Q + j2π(f_n − f_c) in the field's frame: off resonance the track in the
//! phasor plane is curved. Two tanks do nearly the same with the slower one's pole.

use num_complex::{Complex32, Complex64};

use crate::receiver::fold::sums::{BIT, HALF};
use crate::receiver::tags::attempt::Attempt;
use crate::telegram::TELEGRAM_BITS;

/// Values before a change from which the settled state is taken: long after the last change, and before the receiver's
/// band smears the next.
const SETTLED: std::ops::Range<isize> = -16..-7;
/// Values after a change that are looked at: up to the next one.
const AFTER: isize = HALF as isize;
/// The first of them that the receiver's own band no longer smears.
const CLEAR: isize = 6;
/// Fewest changes averaged.
const LEAST_CHANGES: usize = 8;

/// The mean change of state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Changes averaged.
    pub changes: usize,
    /// Exponent per cycle with which the ripple settles; `None` where it has settled before it can be seen.
    pub pole: Option<Complex64>,
    /// Largest departure of the track from the straight line between the states, over half their distance; positive to the
    /// left of the way.
    pub bend: f64,
    /// Standard deviation of one value of the mean step, in the same scale.
    pub deviation: f64,
}

/// Averages the changes of a tag whose signs are known.
pub fn step(ripple: &[Complex32], attempt: &Attempt, real: bool) -> Option<Step> {
    let signs = &attempt.decision.signs;
    let sign = |j: isize| -> i8 {
        let odd = j.div_euclid(TELEGRAM_BITS as isize) % 2 != 0;
        let sign = signs[j.rem_euclid(TELEGRAM_BITS as isize) as usize];
        if odd && attempt.inverts { -sign } else { sign }
    };
    let length = (AFTER - SETTLED.start) as usize;
    let mut sum = vec![Complex64::default(); length];
    let mut square = 0.0;
    let mut changes = 0usize;
    for j in 1.. {
        let middle = (attempt.timing + (BIT as f64) * j as f64).round() as isize;
        let (from, to) = (middle + SETTLED.start, middle + AFTER);
        if to > ripple.len() as isize {
            break;
        }
        // A 1 flips the boundary sign: no change within the bit before.
        if from < 0 || sign(j) == sign(j - 1) {
            continue;
        }
        changes += 1;
        let toward = f64::from(sign(j));
        for (total, value) in sum.iter_mut().zip(&ripple[from as usize..to as usize]) {
            let value = Complex64::new(value.re.into(), value.im.into()) * toward;
            *total += value;
            square += value.norm_sqr();
        }
    }
    if changes < LEAST_CHANGES {
        return None;
    }
    let mean: Vec<Complex64> = sum.iter().map(|total| total / changes as f64).collect();
    let kept: f64 = mean.iter().map(|v| v.norm_sqr()).sum();
    let parts = if real { 1.0 } else { 2.0 };
    let scatter = (square / changes as f64 - kept).max(0.0) / (length as f64 * parts);
    let settled = &mean[..(SETTLED.end - SETTLED.start) as usize];
    let end = -settled.iter().sum::<Complex64>() / settled.len() as f64;
    if end.norm() <= 0.0 {
        return None;
    }
    let deviation = (scatter / changes as f64).sqrt() / end.norm();
    let after: Vec<Complex64> = mean[(-SETTLED.start) as usize..]
        .iter()
        .map(|v| v / end)
        .collect();
    let bend = after
        .windows(3)
        .map(|three| three.iter().map(|v| v.im).sum::<f64>() / 3.0)
        .fold(
            0.0,
            |largest: f64, v| if v.abs() > largest.abs() { v } else { largest },
        );
    Some(Step {
        changes,
        pole: pole(&after[CLEAR as usize..], deviation),
        bend,
        deviation,
    })
}

/// What is missing is at least this share of what a step with the slope found would still miss. Detectors of 0.7 to 1.5 kHz
/// leave 0.44 and more, as their ends are not settled either; a fast one whose level drifts at most 0.25 (scenes of the
/// matrix, measured).
const LEAST_OF_BEGUN: f64 = 0.35;

/// Complex slope of what is missing to the end, while it stands out of the noise.
fn pole(after: &[Complex64], deviation: f64) -> Option<Complex64> {
    let missing: Vec<Complex64> = after
        .iter()
        .map(|v| 0.5 * (1.0 - v))
        .take_while(|v| v.norm() > (3.0 * deviation).max(0.04))
        .collect();
    if missing.len() < 4 {
        return None;
    }
    let advance: Complex64 = missing.windows(2).map(|p| p[1] * p[0].conj()).sum();
    let power: f64 = missing[..missing.len() - 1]
        .iter()
        .map(|v| v.norm_sqr())
        .sum();
    let ratio = advance / power;
    // A slow step has not come far where it begins to be looked at; what has come far and then goes slowly is a drift.
    let begun = ratio.norm().powi(CLEAR as i32);
    (ratio.norm() < 1.0 && missing[0].norm() > LEAST_OF_BEGUN * begun).then(|| ratio.ln())
}
