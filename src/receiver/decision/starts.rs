//! How likely a telegram starts at each boundary, the CRC aside.

use super::code::{Code, FixedRun};
use super::signs::{Signs, Weights};
use crate::telegram::TELEGRAM_BITS;

/// Products below this are kept by their logarithm.
const SMALL: f64 = 1e-100;

/// Natural logarithm of the probability that a telegram starts at each boundary of a folded one, given the fixed bits, every other bit free:
/// [`Signs::log_without_crc`] of all starts.
///
/// Where pulses do not overlap, a free bit says nothing of the signs before and behind it. What is left are the runs of fixed bits, in
/// which the first sign gives all others; the last run goes on in the next telegram's header.
pub fn log_of_starts(code: &'static Code, seen: &Weights, inverts: bool) -> [f64; TELEGRAM_BITS] {
    let overlap = seen.bits.iter().any(|[zero, one]| zero != one);
    std::array::from_fn(|start| {
        let signs = || Signs::rotated(code, seen, start, inverts);
        if overlap {
            return signs().log_without_crc();
        }
        let mut product = Product::new(0.5);
        for run in &code.runs {
            let of_run = run_probability(run, seen, start, inverts, &mut product);
            product.times(0.5 * of_run);
        }
        product.times(0.5f64.powi(code.free_signs));
        product.ln()
    })
}

/// Sum over both signs before the run of the product of all its signs' weights; what is too small goes into `scale`.
fn run_probability(
    run: &FixedRun,
    seen: &Weights,
    start: usize,
    inverts: bool,
    scale: &mut Product,
) -> f64 {
    let weights = |place: usize| {
        let index = start + place;
        let [plus, minus] = seen.signs[index % TELEGRAM_BITS];
        // Once around for the end of the fold, once for the end of the telegram.
        let turns = index / TELEGRAM_BITS;
        if inverts && turns % 2 == 1 {
            [minus, plus]
        } else {
            [plus, minus]
        }
    };
    // For either first sign, the probability so far and the sign that it has led to.
    let [mut of_plus, mut of_minus] = weights(run.first);
    let mut turned = 0;
    for (bit, value) in run.values.iter().enumerate() {
        turned ^= usize::from(*value);
        let next = weights(run.first + bit + 1);
        of_plus *= next[turned];
        of_minus *= next[1 - turned];
        let sum = of_plus + of_minus;
        if sum < SMALL && sum > 0.0 {
            scale.times(sum);
            of_plus /= sum;
            of_minus /= sum;
        }
    }
    of_plus + of_minus
}

/// A product that may be smaller than any number.
struct Product {
    mantissa: f64,
    log: f64,
}

impl Product {
    fn new(mantissa: f64) -> Self {
        Self { mantissa, log: 0.0 }
    }

    fn times(&mut self, factor: f64) {
        self.mantissa *= factor;
        if self.mantissa < SMALL && self.mantissa > 0.0 {
            self.log += self.mantissa.ln();
            self.mantissa = 1.0;
        }
    }

    fn ln(&self) -> f64 {
        self.mantissa.ln() + self.log
    }
}

#[cfg(test)]
mod tests {
    use super::super::code::{ANY, USUAL};
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Against the chain through every bit, start by start: weak signs, strong ones (the chain rounds what stronger ones contradict to nothing), and some not seen.
    #[test]
    fn runs_of_fixed_bits_give_what_the_chain_gives() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(23);
        for round in 0..40 {
            let strength = [0.3, 3.0, 10.0, 30.0][round % 4];
            let llr: [f64; TELEGRAM_BITS] = std::array::from_fn(|j| {
                if round % 3 == 0 && j % 5 == 0 {
                    return 0.0;
                }
                strength * rng.random_range(-1.0..1.0)
            });
            let overlap = std::array::from_fn(|_| {
                if round < 36 {
                    0.0
                } else {
                    rng.random_range(-1.0..0.5)
                }
            });
            let seen = Weights::of(&llr, &overlap);
            for code in [&*ANY, &*USUAL] {
                for inverts in [false, true] {
                    let fast = log_of_starts(code, &seen, inverts);
                    for (start, fast) in fast.into_iter().enumerate() {
                        let slow = Signs::rotated(code, &seen, start, inverts).log_without_crc();
                        assert!(
                            (fast - slow).abs() < 1e-9 * slow.abs().max(1.0) || fast == slow,
                            "round {round}, start {start}: {fast} {slow}"
                        );
                    }
                }
            }
        }
    }
}
