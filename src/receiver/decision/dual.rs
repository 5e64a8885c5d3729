//! The exact sum over all telegrams with a right CRC, as a sum over the 2^16 words of the CRC's dual code.
//!
//! A dual word gives each checked bit a sign d; its part of the sum is the probability of the signs with every 1 of a
//! checked bit weighted by its d. Eight dual words go side by side.

use super::code::{CHECKED_BITS, CODE, Step};
use super::evidence::{Signs, across};
use crate::telegram::CODED_BITS;

/// Dual words side by side: those that differ in their low three bits.
const LANES: usize = 8;

/// The signs that the low three bits of a dual word give a bit whose syndrome has these low three bits.
fn low_patterns() -> [[f64; LANES]; LANES] {
    std::array::from_fn(|mask| std::array::from_fn(|lane| parity((lane & mask) as u16)))
}

/// −1 for an odd number of ones.
fn parity(value: u16) -> f64 {
    f64::from(1 - 2 * (value.count_ones() as i32 & 1))
}

/// The sum over dual words for one starting sign.
///
/// After a free bit with dual sign d the two states are `w0·t` and `w1·d·t` of one number t, and the next free bit
/// with sign d' makes t' = t·(w0' + w1'·d·d')/2, so a dual word is a product of 80 factors with two values each.
pub(super) struct DualProduct {
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
    pub(super) fn new(signs: &Signs, first: usize, tail: &[f64; 2]) -> Self {
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

    pub(super) fn sum(&self) -> f64 {
        let low = low_patterns();
        let syndromes = &CODE.syndromes;
        // Mean and half difference of each pair of factors: value = mean + half·(d·d').
        let mut total = [0.0f64; LANES];
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
                let both = syndromes[k] ^ syndromes[k - 1];
                let [same, other] = self.factors[k];
                let (mean, half) = (0.5 * (same + other), 0.5 * (same - other));
                let half = half * parity(upper & both);
                let pattern = &low[usize::from(both & 7)];
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

/// The sum over dual words where neighbouring pulses overlap: the two signs' probabilities stay apart.
pub(super) struct DualChain {
    /// Probabilities of the signs before the first checked bit.
    start: [f64; 2],
    /// For each checked bit, with the fixed bits behind it: what each sign gets from each for a 0 and for a 1.
    steps: [[[[f64; 2]; 2]; 2]; CHECKED_BITS],
    tail: [f64; 2],
}

impl DualChain {
    pub(super) fn new(signs: &Signs, first: usize, tail: &[f64; 2]) -> Self {
        let weighted = |index: usize, through: [f64; 2]| {
            let weights = signs.weights[index + 1];
            [through[0] * weights[0], through[1] * weights[1]]
        };
        let fixed = |index: usize, state| {
            weighted(index, across(CODE.steps[index], state, signs.bits[index]))
        };
        let mut start = [0.0; 2];
        start[first] = signs.weights[0][first];
        let mut steps = [[[[0.0; 2]; 2]; 2]; CHECKED_BITS];
        let mut free = 0;
        for index in 0..CODED_BITS {
            if let Step::Checked(_) = CODE.steps[index] {
                for (bit, step) in steps[free].iter_mut().enumerate() {
                    for (from, to) in step.iter_mut().enumerate() {
                        let mut through = [0.0; 2];
                        through[from ^ bit] = signs.bits[index][bit];
                        *to = weighted(index, through);
                    }
                }
                free += 1;
            } else if free == 0 {
                start = fixed(index, start);
            } else {
                for state in steps[free - 1].iter_mut().flatten() {
                    *state = fixed(index, *state);
                }
            }
        }
        Self {
            start,
            steps,
            tail: *tail,
        }
    }

    pub(super) fn sum(&self) -> f64 {
        let low = low_patterns();
        let mut total = 0.0;
        for high in 0..(1u32 << 13) {
            let upper = (high << 3) as u16;
            let mut plus = [self.start[0]; LANES];
            let mut minus = [self.start[1]; LANES];
            for (syndrome, [zero, one]) in CODE.syndromes.iter().zip(&self.steps) {
                let high_sign = parity(upper & syndrome);
                let pattern = &low[usize::from(syndrome & 7)];
                for lane in 0..LANES {
                    let sign = high_sign * pattern[lane];
                    let (p, m) = (plus[lane], minus[lane]);
                    plus[lane] =
                        (zero[0][0] + sign * one[0][0]) * p + (zero[1][0] + sign * one[1][0]) * m;
                    minus[lane] =
                        (zero[0][1] + sign * one[0][1]) * p + (zero[1][1] + sign * one[1][1]) * m;
                }
            }
            for lane in 0..LANES {
                total += self.tail[0] * plus[lane] + self.tail[1] * minus[lane];
            }
        }
        total
    }
}
