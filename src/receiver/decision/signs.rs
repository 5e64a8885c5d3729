//! What was seen of the boundary signs, as weights, and how they are carried from one to the next.

use super::code::{Code, Step};
use crate::telegram::{CODED_BITS, TELEGRAM_BITS};

/// What is known of the boundary signs of one telegram that starts at index 0.
#[derive(Clone)]
pub struct Signs {
    /// What telegrams there are.
    pub(super) code: &'static Code,
    /// `P(+)`, `P(−)` of each sign by itself.
    pub(super) weights: [[f64; 2]; TELEGRAM_BITS],
    /// Weights of a 0 and a 1 after each sign, summing to 1; ½ each where pulses do not overlap.
    pub(super) bits: [[f64; 2]; TELEGRAM_BITS],
    pub(super) closes_inverted: bool,
}

/// What was seen of the boundaries of a folded telegram, as weights.
pub struct Weights {
    pub(super) signs: [[f64; 2]; TELEGRAM_BITS],
    pub(super) bits: [[f64; 2]; TELEGRAM_BITS],
}

impl Weights {
    /// From log-likelihood ratios (positive = +). `overlap[j]` is how much equal signs at boundaries j and j + 1 take from
    /// the log-likelihood and unequal ones add to it.
    pub fn of(llr: &[f64; TELEGRAM_BITS], overlap: &[f64; TELEGRAM_BITS]) -> Self {
        Self {
            signs: llr.map(two_weights),
            bits: overlap.map(|overlap| two_weights(-2.0 * overlap)),
        }
    }
}

impl Signs {
    /// Of the 128 boundaries of a folded telegram, rotated so that boundary `start` comes first. `inverts` says that the
    /// fold assumed each telegram inverted against the one before: the signs that wrap around change with it, and so does
    /// the closing sign.
    pub fn rotated(code: &'static Code, seen: &Weights, start: usize, inverts: bool) -> Self {
        let weights = std::array::from_fn(|j| {
            let index = start + j;
            let [plus, minus] = seen.signs[index % TELEGRAM_BITS];
            if index >= TELEGRAM_BITS && inverts {
                [minus, plus]
            } else {
                [plus, minus]
            }
        });
        Self {
            code,
            weights,
            bits: std::array::from_fn(|j| seen.bits[(start + j) % TELEGRAM_BITS]),
            closes_inverted: inverts,
        }
    }

    /// Probability of the trailer's signs (boundaries after the coded ones) for each sign of boundary 0 and of the
    /// last coded boundary: `tail[first][last]`, 0 = +.
    pub fn tail(&self) -> [[f64; 2]; 2] {
        std::array::from_fn(|first| {
            // Backwards from the closing sign: boundary 128 is boundary 0 of the next telegram.
            let mut after = [0.0; 2];
            after[first ^ usize::from(self.closes_inverted)] = 1.0;
            for index in (CODED_BITS..TELEGRAM_BITS).rev() {
                let through = across(self.code.steps[index], after, self.bits[index]);
                after = if index > CODED_BITS {
                    std::array::from_fn(|sign| through[sign] * self.weights[index][sign])
                } else {
                    through
                };
            }
            after
        })
    }
}

/// e^{x/2} and e^{−x/2}, scaled to sum 1.
fn two_weights(x: f64) -> [f64; 2] {
    [1.0 / (1.0 + (-x).exp()), 1.0 / (1.0 + x.exp())]
}

/// Sign probabilities carried across one bit; the same forwards and backwards.
pub(super) fn across(step: Step, [plus, minus]: [f64; 2], [zero, one]: [f64; 2]) -> [f64; 2] {
    match step {
        Step::Fixed(false) => [2.0 * zero * plus, 2.0 * zero * minus],
        Step::Fixed(true) => [2.0 * one * minus, 2.0 * one * plus],
        _ => [zero * plus + one * minus, zero * minus + one * plus],
    }
}
