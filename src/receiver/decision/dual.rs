//! The exact sum over all telegrams with a right CRC, as a sum over the 2^16 words of the CRC's dual code.
//!
//! A dual word gives each checked bit a sign d; its part of the sum is the probability of the signs with every 1 of a
//! checked bit weighted by its d. Eight dual words go side by side.

use multiversion::multiversion;

use super::code::{CHECKED_BITS, COUNTRY_BITS, Code, Step};
use super::signs::{Signs, across};
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

/// What each sign (outer) gives to each sign (inner).
type Transfer = [[f64; 2]; 2];

/// The sum over dual words in the code of every telegram, where pulses do not overlap.
///
/// After a free bit with dual sign d the two states are `w0·t` and `w1·d·t` of one number t, and the next free bit
/// with sign d' makes t' = t·(w0' + w1'·d·d')/2, so a dual word is a product of 80 factors with two values each. Their
/// logarithms are `mean ± half`, by the sign that the dual word gives to one pattern of its bits: the sum of them over all
/// dual words is a Walsh–Hadamard transform of the halves, laid at their patterns. The signs of the factors are the sign of
/// one pattern too, that of all negative factors together.
pub(super) struct DualProduct {
    code: &'static Code,
    /// Value before the first free bit and sign of the state there (0 = +), for either sign of boundary 0.
    starts: [(f64, usize); 2],
    /// For free bit k ≥ 1: factor for d·d' = +1 and −1.
    factors: [[f64; 2]; CHECKED_BITS],
    /// A control bit stands before free bit k: it swaps the states, which costs a further sign d of the bit before.
    swapped: [bool; CHECKED_BITS],
    /// Probability of the signs behind the last free bit.
    last: [f64; 2],
    /// A control bit stands behind the last free bit.
    last_swapped: bool,
}

/// Smallest ratio of a factor's two values: what a sign that was not seen at all takes from a dual word, for its part of the
/// sum to be nothing at 1e-12.
const LEAST_RATIO: f64 = 1e-30;

impl DualProduct {
    pub(super) fn new(signs: &Signs) -> Self {
        let mut starts = [0, 1].map(|first| (signs.weights[0][first], first));
        let mut index = 0;
        while let Step::Fixed(bit) = signs.code.steps[index] {
            for (start, sign) in &mut starts {
                *sign ^= usize::from(bit);
                *start *= signs.weights[index + 1][*sign];
            }
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
            match signs.code.steps[index] {
                Step::Checked => {
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
        Self {
            code: signs.code,
            starts,
            factors,
            swapped: swapped_before,
            last: state,
            last_swapped: swapped,
        }
    }

    /// The sum for both signs of boundary 0, with what the trailer makes of the first and the last sign.
    pub(super) fn sum(&self, tail: &[[f64; 2]; 2]) -> f64 {
        let syndromes = &self.code.syndromes;
        let (first, last) = (syndromes[0], syndromes[CHECKED_BITS - 1]);
        let mut logs = vec![0.0; 1 << 16];
        let mut mean = 0.0;
        let mut negative = 0;
        for k in 1..CHECKED_BITS {
            let both = syndromes[k] ^ syndromes[k - 1];
            let [same, other] = self.factors[k];
            if same <= 0.0 {
                // Signs that contradict the fixed bits beyond what a number can hold.
                return 0.0;
            }
            let ratio = (other / same).abs().max(LEAST_RATIO).ln();
            mean += same.ln() + 0.5 * ratio;
            logs[usize::from(both)] -= 0.5 * ratio;
            if other < 0.0 {
                negative ^= both;
            }
            if self.swapped[k] {
                negative ^= syndromes[k - 1];
            }
        }
        walsh_hadamard(&mut logs);
        // By the dual signs of the first and the last free bit, on which the ends depend.
        let mut sums = [[0.0; 2]; 2];
        let odd = |word: u16| (word.count_ones() & 1) as usize;
        for (dual, log) in (0..=u16::MAX).zip(logs) {
            let value = (log + mean).exp();
            sums[odd(dual & first)][odd(dual & last)] += if odd(dual & negative) == 1 {
                -value
            } else {
                value
            };
        }
        let mut total = 0.0;
        for (&(start, sign), tail) in self.starts.iter().zip(tail) {
            let (plus, minus) = (self.last[0] * tail[0], self.last[1] * tail[1]);
            let closing = [
                plus + minus,
                if self.last_swapped {
                    minus - plus
                } else {
                    plus - minus
                },
            ];
            for (odd_first, sums) in sums.iter().enumerate() {
                // Only one state is occupied before the first free bit: t = ½·start·(1 or d).
                let turned = if odd_first * sign == 1 { -0.5 } else { 0.5 };
                total += start * turned * (closing[0] * sums[0] + closing[1] * sums[1]);
            }
        }
        total
    }
}

/// Σ over indices of ±value, − where index and pattern share an odd number of ones, for every pattern.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn walsh_hadamard(values: &mut [f64]) {
    let mut half = 1;
    while half < values.len() {
        for block in values.chunks_exact_mut(2 * half) {
            let (left, right) = block.split_at_mut(half);
            for (l, r) in left.iter_mut().zip(right) {
                (*l, *r) = (*l + *r, *l - *r);
            }
        }
        half *= 2;
    }
}

/// The sum over dual words where neighbouring pulses overlap, or only some country codes occur: the two signs'
/// probabilities stay apart.
pub(super) struct DualChain {
    code: &'static Code,
    /// Probabilities of the signs before the first checked bit.
    start: [f64; 2],
    /// For each checked bit, with the fixed bits behind it: what a 0 and a 1 make of the signs.
    steps: Vec<[Transfer; 2]>,
    /// All bits of the country code at once, by the dual signs of its bits; `None` = every country code.
    countries: Option<Vec<Transfer>>,
    tail: [f64; 2],
}

impl DualChain {
    pub(super) fn new(signs: &Signs, first: usize, tail: &[f64; 2]) -> Self {
        let code = signs.code;
        let weighted = |index: usize, through: [f64; 2]| {
            let weights = signs.weights[index + 1];
            [through[0] * weights[0], through[1] * weights[1]]
        };
        let fixed = |index: usize, state| {
            weighted(index, across(code.steps[index], state, signs.bits[index]))
        };
        let mut start = [0.0; 2];
        start[first] = signs.weights[0][first];
        let mut steps: Vec<[Transfer; 2]> = Vec::new();
        for index in 0..CODED_BITS {
            if code.steps[index] == Step::Checked {
                steps.push(std::array::from_fn(|bit| {
                    std::array::from_fn(|from| {
                        let mut through = [0.0; 2];
                        through[from ^ bit] = signs.bits[index][bit];
                        weighted(index, through)
                    })
                }));
            } else if let Some(last) = steps.last_mut() {
                for state in last.iter_mut().flatten() {
                    *state = fixed(index, *state);
                }
            } else {
                start = fixed(index, start);
            }
        }
        let countries = code.countries.as_ref().map(|used| {
            let mut by_country = vec![Transfer::default(); 1 << COUNTRY_BITS];
            for &country in used {
                let mut transfer = [[1.0, 0.0], [0.0, 1.0]];
                for (bit, step) in steps[code.country_bits()].iter().enumerate() {
                    let step = &step[usize::from((country >> bit) & 1)];
                    transfer = transfer.map(|from| pass(from, step));
                }
                let weight = code.country_weight(country);
                by_country[usize::from(country)] = transfer.map(|from| from.map(|to| to * weight));
            }
            over_dual_signs(by_country)
        });
        Self {
            code,
            start,
            steps,
            countries,
            tail: *tail,
        }
    }

    pub(super) fn sum(&self) -> f64 {
        sum_of_chains(self)
    }

    /// The signs a dual word gives the bits of the country code, bit i set where that of bit i is −1.
    fn country_signs(&self, dual: u16) -> usize {
        self.code.syndromes[self.code.country_bits()]
            .iter()
            .enumerate()
            .map(|(bit, syndrome)| ((dual & syndrome).count_ones() as usize & 1) << bit)
            .sum()
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn sum_of_chains(chain: &DualChain) -> f64 {
    let low = low_patterns();
    let syndromes = &chain.code.syndromes;
    let country_bits = chain.code.country_bits();
    let low_country: [usize; LANES] = std::array::from_fn(|lane| chain.country_signs(lane as u16));
    let mut total = 0.0;
    for high in 0..(1u32 << 13) {
        let upper = (high << 3) as u16;
        let mut plus = [chain.start[0]; LANES];
        let mut minus = [chain.start[1]; LANES];
        let bit_by_bit = |bits: std::ops::Range<usize>, plus: &mut [f64], minus: &mut [f64]| {
            for (syndrome, [zero, one]) in syndromes[bits.clone()].iter().zip(&chain.steps[bits]) {
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
        };
        if let Some(countries) = &chain.countries {
            bit_by_bit(0..country_bits.start, &mut plus, &mut minus);
            let high_country = chain.country_signs(upper);
            for lane in 0..LANES {
                let transfer = &countries[high_country ^ low_country[lane]];
                [plus[lane], minus[lane]] = pass([plus[lane], minus[lane]], transfer);
            }
            bit_by_bit(country_bits.end..syndromes.len(), &mut plus, &mut minus);
        } else {
            bit_by_bit(0..syndromes.len(), &mut plus, &mut minus);
        }
        for lane in 0..LANES {
            total += chain.tail[0] * plus[lane] + chain.tail[1] * minus[lane];
        }
    }
    total
}

fn pass([plus, minus]: [f64; 2], transfer: &Transfer) -> [f64; 2] {
    std::array::from_fn(|to| plus * transfer[0][to] + minus * transfer[1][to])
}

/// Σ over countries of ±transfer, − where country and pattern share an odd number of ones, for every pattern (a
/// Walsh–Hadamard transform).
fn over_dual_signs(mut values: Vec<Transfer>) -> Vec<Transfer> {
    let mut half = 1;
    while half < values.len() {
        for block in values.chunks_mut(2 * half) {
            let (left, right) = block.split_at_mut(half);
            for (l, r) in left
                .iter_mut()
                .flatten()
                .flatten()
                .zip(right.iter_mut().flatten().flatten())
            {
                (*l, *r) = (*l + *r, *l - *r);
            }
        }
        half *= 2;
    }
    values
}
