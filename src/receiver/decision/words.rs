//! How likely single words are: logarithms taken once for the signs, not once for every word.

use super::code::{CODED_SIGNS, Code, Step, code_of};
use super::signs::Signs;
use crate::telegram::{CODED_BITS, Identity};

/// Natural logarithms of what each sign and bit of a word adds to its probability.
#[derive(Clone)]
pub struct Words {
    code: &'static Code,
    /// Of boundary 0's sign, 0 = +.
    first: [f64; 2],
    /// `[j][sign][bit]`: of bit j and of the sign after it; −∞ for a bit that the code does not have there.
    steps: [[[f64; 2]; 2]; CODED_BITS],
    /// Of the trailer, summed over all its values, for the first and the last sign.
    tail: [[f64; 2]; 2],
}

impl Words {
    /// The words of the signs' code.
    pub fn of(signs: &Signs) -> Self {
        let step = |j: usize| {
            let bits = signs.bits[j];
            let of_sign = |weight: f64| {
                let zero = (weight * 2.0 * bits[0]).ln();
                let one = match bits[0] == bits[1] {
                    true => zero,
                    false => (weight * 2.0 * bits[1]).ln(),
                };
                match signs.code.steps[j] {
                    Step::Fixed(false) => [zero, f64::NEG_INFINITY],
                    Step::Fixed(true) => [f64::NEG_INFINITY, one],
                    _ => [zero, one],
                }
            };
            signs.weights[j + 1].map(of_sign)
        };
        Self {
            code: signs.code,
            first: signs.weights[0].map(|weight| (0.5f64).ln() + weight.ln()),
            steps: std::array::from_fn(step),
            tail: signs.tail().map(|of_first| of_first.map(f64::ln)),
        }
    }

    /// Natural logarithm of the probability of one word, summed over every trailer; −∞ for one that the code does not
    /// have.
    pub fn log(&self, word: u128) -> f64 {
        let sign = |j: usize| ((word >> j) & 1) as usize;
        let mut log = self.first[sign(0)];
        for (j, step) in self.steps.iter().enumerate() {
            log += step[sign(j + 1)][sign(j) ^ sign(j + 1)];
        }
        if log == f64::NEG_INFINITY {
            return log;
        }
        log += (0.5f64).ln() * self.code.free as f64;
        let country = Identity::from_code(code_of(word)).country;
        log += self.code.country_weight(country).ln();
        log + self.tail[sign(0)][sign(CODED_SIGNS - 1)]
    }
}
