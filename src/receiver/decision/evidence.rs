//! How likely the soft boundary signs are: with the fixed bits alone, and exactly, with the CRC.
//!
//! Both are probabilities of "these signs, given a telegram that starts here", up to a factor common to all starts.
//! Signs enter as `P(+)` and `P(−)` normalised to sum 1; a free bit counts ½ for each value, the starting sign too.
//!
//! The exact sum runs over the 2^16 words of the CRC's dual code instead of its 2^16 register states: with normalised
//! signs each dual word is one product of 1s and `tanh(llr/2)`s (MacWilliams' identity for a posteriori sums, Hartmann
//! & Rudolph, IEEE Trans. Inf. Theory 22(5), 1976), so the sum takes milliseconds. The trellis over CRC register ×
//! sign stays in the tests as the slow version.

use super::code::{CHECKED_BITS, CODE, CODED_SIGNS, Step};
use crate::telegram::{CODED_BITS, TELEGRAM_BITS};

/// `P(+)`, `P(−)` of each boundary sign of one telegram that starts at index 0.
#[derive(Clone, Debug)]
pub struct Signs {
    weights: [[f64; 2]; TELEGRAM_BITS],
    closes_inverted: bool,
}

impl Signs {
    /// From log-likelihood ratios (positive = +) of the 128 boundaries of a folded telegram, rotated so that boundary
    /// `start` comes first. `inverts` says that the fold assumed each telegram inverted against the one before: the
    /// signs that wrap around change with it, and so does the closing sign.
    pub fn rotated(llr: &[f64; TELEGRAM_BITS], start: usize, inverts: bool) -> Self {
        let weights = std::array::from_fn(|j| {
            let index = start + j;
            let wrapped = index >= TELEGRAM_BITS;
            let value = llr[index % TELEGRAM_BITS];
            let value = if wrapped && inverts { -value } else { value };
            [1.0 / (1.0 + (-value).exp()), 1.0 / (1.0 + value.exp())]
        });
        Self {
            weights,
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
                let through = across(CODE.steps[index], after);
                after = if index > CODED_BITS {
                    std::array::from_fn(|sign| through[sign] * self.weights[index][sign])
                } else {
                    through
                };
            }
            after
        })
    }

    /// Natural logarithm of the probability given header and control bits, every other bit free.
    pub fn log_without_crc(&self) -> f64 {
        let tail = self.tail();
        let mut total = 0.0;
        let mut scale = 0.0;
        let mut state = [[0.0; 2]; 2];
        for (first, of_first) in state.iter_mut().enumerate() {
            of_first[first] = 0.5 * self.weights[0][first];
        }
        for index in 0..CODED_BITS {
            let mut sum = 0.0;
            for of_first in &mut state {
                let through = across(CODE.steps[index], *of_first);
                *of_first =
                    std::array::from_fn(|sign| through[sign] * self.weights[index + 1][sign]);
                sum += of_first[0] + of_first[1];
            }
            // Renormalised so that long improbable chains do not underflow.
            if sum < 1e-100 {
                if sum == 0.0 {
                    return f64::NEG_INFINITY;
                }
                scale += sum.ln();
                state.iter_mut().flatten().for_each(|value| *value /= sum);
            }
        }
        for first in 0..2 {
            for last in 0..2 {
                total += state[first][last] * tail[first][last];
            }
        }
        total.ln() + scale
    }

    /// Natural logarithm of the exact probability over all telegrams with a right CRC.
    pub fn log_exact(&self) -> f64 {
        let tail = self.tail();
        // Between two free bits lie fixed ones; a step of the product carries the signs across them.
        let mut total = 0.0;
        for (first, tail) in tail.iter().enumerate() {
            let product = DualProduct::new(self, first, tail);
            total += 0.5 * product.sum();
        }
        total.max(0.0).ln()
    }

    /// Natural logarithm of the probability of one word of the code, summed over every trailer.
    pub fn log_word(&self, word: u128) -> f64 {
        let sign = |j: usize| ((word >> j) & 1) as usize;
        let mut log = (0.5f64).ln() * (1.0 + crate::telegram::CODE_BITS as f64);
        for j in 0..CODED_SIGNS {
            log += self.weights[j][sign(j)].ln();
        }
        log + self.tail()[sign(0)][sign(CODED_SIGNS - 1)].ln()
    }

    /// The most likely trailer bits' signs for a word: boundary signs 102…127 by Viterbi, as the 24 trailer bits with
    /// the probability that all of them are right.
    pub fn trailer(&self, word: u128) -> (u32, f64) {
        let first = (word & 1) as usize;
        let last = ((word >> (CODED_SIGNS - 1)) & 1) as usize;
        let closing = first ^ usize::from(self.closes_inverted);
        // best[index][sign]: best probability from boundary `index` on, and the bit chosen there.
        let mut best = [[0.0; 2]; TELEGRAM_BITS + 1];
        let mut chosen = [[false; 2]; TELEGRAM_BITS];
        best[TELEGRAM_BITS][closing] = 1.0;
        for index in (CODED_BITS..TELEGRAM_BITS).rev() {
            for sign in 0..2 {
                let value = |bit: bool| {
                    let next = sign ^ usize::from(bit);
                    let weight = if index + 1 < TELEGRAM_BITS {
                        self.weights[index + 1][next]
                    } else {
                        1.0
                    };
                    weight * best[index + 1][next]
                };
                let (bit, probability) = match CODE.steps[index] {
                    Step::Fixed(bit) => (bit, value(bit)),
                    _ if value(true) > value(false) => (true, 0.5 * value(true)),
                    _ => (false, 0.5 * value(false)),
                };
                best[index][sign] = probability;
                chosen[index][sign] = bit;
            }
        }
        let total = self.tail()[first][last];
        let (mut sign, mut trailer) = (last, 0);
        for (index, chosen) in chosen.iter().enumerate().skip(CODED_BITS) {
            let bit = chosen[sign];
            if let crate::telegram::Part::Trailer { bit: weight } = crate::telegram::part_of(index)
            {
                trailer |= u32::from(bit) << weight;
            }
            sign ^= usize::from(bit);
        }
        let sure = if total > 0.0 {
            best[CODED_BITS][last] / total
        } else {
            0.0
        };
        (trailer, sure)
    }
}

/// Sign probabilities carried across one bit; the same forwards and backwards.
fn across(step: Step, [plus, minus]: [f64; 2]) -> [f64; 2] {
    match step {
        Step::Fixed(false) => [plus, minus],
        Step::Fixed(true) => [minus, plus],
        _ => [0.5 * (plus + minus); 2],
    }
}

/// The sum over dual words for one starting sign.
///
/// After a free bit with dual sign d the two states are `w0·t` and `w1·d·t` of one number t, and the next free bit
/// with sign d' makes t' = t·(w0' + w1'·d·d')/2, so a dual word is a product of 80 factors with two values each.
struct DualProduct {
    /// Value before the first free bit.
    start: f64,
    /// Sign of the state before the first free bit (0 = +).
    start_sign: usize,
    /// For free bit k ≥ 1: factor for d·d' = +1 and −1.
    factors: [[f64; 2]; CHECKED_BITS],
    /// A control bit stands before free bit k: it swaps the states, which costs a further sign d of the bit before.
    swapped: [bool; CHECKED_BITS],
    /// Closing factor for d = +1 and −1 of the last free bit.
    closing: [f64; 2],
}

impl DualProduct {
    fn new(signs: &Signs, first: usize, tail: &[f64; 2]) -> Self {
        let mut start = signs.weights[0][first];
        let mut sign = first;
        let mut index = 0;
        while let Step::Fixed(bit) = CODE.steps[index] {
            sign ^= usize::from(bit);
            start *= signs.weights[index + 1][sign];
            index += 1;
        }
        let mut factors = [[0.0; 2]; CHECKED_BITS];
        let mut swapped_before = [false; CHECKED_BITS];
        // (plus, minus) of the state after the last free bit, as multiples of t and d·t.
        let mut state = [1.0, 0.0];
        let mut swapped = false;
        let mut free = 0;
        for index in index..CODED_BITS {
            let weights = signs.weights[index + 1];
            match CODE.steps[index] {
                Step::Checked(_) => {
                    if free > 0 {
                        // plus = state[0]·(d if swapped), minus = state[1]·(d unless swapped)
                        factors[free] = [0.5 * (state[0] + state[1]), 0.5 * (state[0] - state[1])];
                        swapped_before[free] = swapped;
                    }
                    state = weights;
                    swapped = false;
                    free += 1;
                }
                Step::Fixed(true) => {
                    state = [state[1] * weights[0], state[0] * weights[1]];
                    swapped = !swapped;
                }
                Step::Fixed(false) => {
                    state = [state[0] * weights[0], state[1] * weights[1]];
                }
                Step::Free => unreachable!("trailer bits lie behind the coded ones"),
            }
        }
        debug_assert_eq!(free, CHECKED_BITS);
        let (plus, minus) = (state[0] * tail[0], state[1] * tail[1]);
        let closing = [
            plus + minus,
            if swapped { minus - plus } else { plus - minus },
        ];
        Self {
            start,
            start_sign: sign,
            factors,
            swapped: swapped_before,
            closing,
        }
    }

    fn sum(&self) -> f64 {
        const LANES: usize = 8;
        // Sign patterns of the dual word's low three bits.
        let mut low = [[0.0f64; LANES]; 8];
        for (mask, pattern) in low.iter_mut().enumerate() {
            for (lane, sign) in pattern.iter_mut().enumerate() {
                *sign = if (lane & mask).count_ones() % 2 == 1 {
                    -1.0
                } else {
                    1.0
                };
            }
        }
        let syndromes = &CODE.syndromes;
        // Mean and half difference of each pair of factors: value = mean + half·(d·d').
        let mut total = [0.0f64; LANES];
        let parity = |value: u16| f64::from(1 - 2 * (value.count_ones() as i32 & 1));
        for high in 0..(1u32 << 13) {
            let upper = (high << 3) as u16;
            let first = syndromes[0];
            let first_high = parity(upper & first);
            // The first free bit: t = ½·start·(1 or d); only one state is occupied.
            let mut value = [0.5 * self.start; LANES];
            if self.start_sign == 1 {
                for lane in 0..LANES {
                    value[lane] *= first_high * low[usize::from(first & 7)][lane];
                }
            }
            for k in 1..CHECKED_BITS {
                let across = syndromes[k] ^ syndromes[k - 1];
                let [same, other] = self.factors[k];
                let (mean, half) = (0.5 * (same + other), 0.5 * (same - other));
                let half = half * parity(upper & across);
                let pattern = &low[usize::from(across & 7)];
                if self.swapped[k] {
                    let before = syndromes[k - 1];
                    let before_high = parity(upper & before);
                    let flip = &low[usize::from(before & 7)];
                    for lane in 0..LANES {
                        value[lane] *= (mean + half * pattern[lane]) * (before_high * flip[lane]);
                    }
                } else {
                    for lane in 0..LANES {
                        value[lane] *= mean + half * pattern[lane];
                    }
                }
            }
            let last = syndromes[CHECKED_BITS - 1];
            let last_high = parity(upper & last);
            let [same, other] = self.closing;
            for lane in 0..LANES {
                let sign = last_high * low[usize::from(last & 7)][lane];
                total[lane] += value[lane] * if sign > 0.0 { same } else { other };
            }
        }
        total.iter().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::super::code::word_of;
    use super::*;
    use crate::telegram::Telegram;
    use rand::{RngExt, SeedableRng};

    /// The slow version: a trellis over CRC register × sign, 2^17 states, for one starting sign after the other.
    fn trellis(signs: &Signs) -> f64 {
        let tail = signs.tail();
        let mut total = 0.0;
        for first in 0..2 {
            let mut states = vec![0.0f64; 1 << 17];
            states[first] = 0.5 * signs.weights[0][first];
            for index in 0..CODED_BITS {
                let weights = signs.weights[index + 1];
                let mut next = vec![0.0f64; 1 << 17];
                for (state, &value) in states
                    .iter()
                    .enumerate()
                    .filter(|(_, value)| **value != 0.0)
                {
                    let (register, sign) = (state >> 1, state & 1);
                    let mut go = |bit: usize, register: usize, share: f64| {
                        let sign = sign ^ bit;
                        next[register << 1 | sign] += value * share * weights[sign];
                    };
                    match CODE.steps[index] {
                        Step::Fixed(bit) => go(usize::from(bit), register, 1.0),
                        Step::Checked(k) => {
                            let syndrome = usize::from(CODE.syndromes[usize::from(k)]);
                            // Code bits are free; the CRC bits must bring the register to 0, so the 2^16 that do are
                            // spread over all 2^16 values of the CRC bits: weight 1 instead of ½.
                            let share = if usize::from(k) < 64 { 0.5 } else { 1.0 };
                            go(0, register, share);
                            go(1, register ^ syndrome, share);
                        }
                        Step::Free => unreachable!(),
                    }
                }
                states = next;
            }
            total += states[0] * tail[first][0] + states[1] * tail[first][1];
        }
        total.ln()
    }

    #[test]
    fn the_dual_sum_is_the_trellis_sum() {
        let mut rng = rand_chacha_rng(5);
        for round in 0..3 {
            let telegram = Telegram {
                code: rng.random(),
                trailer: rng.random::<u32>() & 0xFF_FFFF,
            };
            let negative = rng.random();
            let word = word_of(&telegram, negative);
            let inverts = crate::linecode::inverts(&telegram.bits());
            let first = if negative { -1 } else { 1 };
            let states = crate::linecode::boundary_signs(&telegram.bits(), first);
            let llr: [f64; 128] =
                std::array::from_fn(|j| f64::from(states[j]) * 4.0 + rng.random_range(-6.0..6.0));
            let signs = Signs::rotated(&llr, 0, inverts);
            let (exact, slow) = (signs.log_exact(), trellis(&signs));
            assert!((exact - slow).abs() < 1e-9, "round {round}: {exact} {slow}");
            assert!(signs.log_word(word) <= exact + 1e-12);
            assert!(signs.log_without_crc().is_finite());
        }
    }

    fn rand_chacha_rng(seed: u64) -> impl rand::Rng {
        rand::rngs::ChaCha8Rng::seed_from_u64(seed)
    }

    /// Every start rotated out of a strong fold: the true one is by far the likeliest and gives the trailer back.
    #[test]
    fn the_true_start_and_the_trailer_stand_out() {
        for trailer in [0, 0x00AB_CDEF] {
            let telegram = Telegram {
                code: 0x8000_F9C0_075B_CD15,
                trailer,
            };
            let inverts = crate::linecode::inverts(&telegram.bits());
            let states = crate::linecode::boundary_signs(&telegram.bits(), 1);
            let start = 77;
            let mut llr = [0.0; 128];
            for (j, &state) in states[..128].iter().enumerate() {
                let index = start + j;
                let sign = if index >= 128 && inverts { -1.0 } else { 1.0 };
                llr[index % 128] = 5.0 * sign * f64::from(state);
            }
            let evidence: Vec<f64> = (0..128)
                .map(|s| Signs::rotated(&llr, s, inverts).log_without_crc())
                .collect();
            let best = (0..128)
                .max_by(|&a, &b| evidence[a].total_cmp(&evidence[b]))
                .unwrap();
            assert_eq!(best, start);
            let signs = Signs::rotated(&llr, start, inverts);
            let word = word_of(&telegram, false);
            let (found, sure) = signs.trailer(word);
            assert_eq!(found, trailer);
            assert!(sure > 0.8, "{sure}");
            let odds = 1.0 - (signs.log_word(word) - signs.log_exact()).exp();
            assert!(odds < 1e-6, "{odds}");
        }
    }
}
