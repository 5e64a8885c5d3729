//! How likely the soft boundary signs are: with the fixed bits alone, and exactly, with the CRC.
//!
//! Both are probabilities of "these signs, given a telegram that starts here", up to a factor common to all starts.
//! Signs enter as `P(+)` and `P(−)` normalised to sum 1; a free bit counts ½ for each value, the starting sign too.
//!
//! The exact sum runs over the 2^16 words of the CRC's dual code instead of its 2^16 register states: with normalised
//! signs each dual word is one product of 1s and `tanh(llr/2)`s (MacWilliams' identity for a posteriori sums, Hartmann
//! & Rudolph, IEEE Trans. Inf. Theory 22(5), 1976), so the sum takes less than a millisecond. The trellis over CRC register ×
//! sign stays in the tests as the slow version.
//!
//! Slow tanks let neighbouring boundary pulses overlap. The energy of a pair then depends on whether their signs are
//! equal, which is to say on the bit between them: the memory is a bias of each bit, and the sums go through with it
//! (the metric that needs no whitening: Ungerboeck, IEEE Trans. Commun. 22(5), 1974).

use super::code::{CODED_SIGNS, Step};
use super::dual::{DualChain, DualProduct};
use super::signs::{Signs, across};
use crate::telegram::{CODED_BITS, TELEGRAM_BITS};

impl Signs {
    /// Natural logarithm of the probability given the fixed bits, every other bit free.
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
                let through = across(self.code.steps[index], *of_first, self.bits[index]);
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
        let chain =
            self.code.countries.is_some() || self.bits.iter().any(|[zero, one]| zero != one);
        let total = if chain {
            let of_first = tail.iter().enumerate();
            of_first
                .map(|(first, tail)| DualChain::new(self, first, tail).sum())
                .sum()
        } else {
            DualProduct::new(self).sum(&tail)
        };
        (0.5 * total).max(0.0).ln()
    }

    /// Log-likelihood ratio of each coded sign given all of them and the fixed bits (the CRC aside): forwards and
    /// backwards through the two signs, for either sign of boundary 0.
    pub fn posterior(&self) -> [f64; CODED_SIGNS] {
        let tail = self.tail();
        let mut posterior = [[0.0; 2]; CODED_SIGNS];
        for (first, tail) in tail.iter().enumerate() {
            let mut behind = [[0.0; 2]; CODED_SIGNS];
            behind[CODED_BITS] = *tail;
            for index in (0..CODED_BITS).rev() {
                let after = behind[index + 1];
                let weights = self.weights[index + 1];
                behind[index] = across(
                    self.code.steps[index],
                    [after[0] * weights[0], after[1] * weights[1]],
                    self.bits[index],
                );
            }
            let mut before = [0.0; 2];
            before[first] = self.weights[0][first];
            for index in 0..CODED_SIGNS {
                if index > 0 {
                    let through = across(self.code.steps[index - 1], before, self.bits[index - 1]);
                    before = std::array::from_fn(|sign| through[sign] * self.weights[index][sign]);
                }
                for sign in 0..2 {
                    posterior[index][sign] += before[sign] * behind[index][sign];
                }
            }
        }
        posterior.map(|[plus, minus]| {
            plus.max(f64::MIN_POSITIVE).ln() - minus.max(f64::MIN_POSITIVE).ln()
        })
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
                    2.0 * self.bits[index][usize::from(bit)] * weight * best[index + 1][next]
                };
                let (bit, probability) = match self.code.steps[index] {
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

#[cfg(test)]
mod tests {
    use super::super::code::{ANY, Code, word_of};
    use super::super::signs::Weights;
    use super::super::words::Words;
    use super::*;
    use crate::telegram::Telegram;
    use rand::{RngExt, SeedableRng};

    /// The slow version: a trellis over CRC register × sign, 2^17 states, for one starting sign after the other.
    /// With a country only the telegrams that have its code.
    fn trellis(signs: &Signs, country: Option<u16>) -> f64 {
        let tail = signs.tail();
        let mut total = 0.0;
        for first in 0..2 {
            let mut checked = 0;
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
                        let share = share * 2.0 * signs.bits[index][bit];
                        next[register << 1 | sign] += value * share * weights[sign];
                    };
                    match signs.code.steps[index] {
                        Step::Fixed(bit) => go(usize::from(bit), register, 1.0),
                        Step::Checked => {
                            let syndrome = usize::from(signs.code.syndromes[checked]);
                            // Code bits are free; the CRC bits must bring the register to 0, so the 2^16 that do are
                            // spread over all 2^16 values of the CRC bits: weight 1 instead of ½.
                            let share = if checked < signs.code.free { 0.5 } else { 1.0 };
                            let known = country.and_then(|country| {
                                let bits = signs.code.country_bits();
                                let place = bits.clone().position(|bit| bit == checked)?;
                                Some(usize::from((country >> place) & 1))
                            });
                            if known != Some(1) {
                                go(0, register, share);
                            }
                            if known != Some(0) {
                                go(1, register ^ syndrome, share);
                            }
                        }
                        Step::Free => unreachable!(),
                    }
                }
                states = next;
                checked += usize::from(signs.code.steps[index] == Step::Checked);
            }
            total += states[0] * tail[first][0] + states[1] * tail[first][1];
        }
        total
    }

    #[test]
    fn the_dual_sum_is_the_trellis_sum() {
        let mut rng = rand_chacha_rng(5);
        // Weak and strong signs, without and with overlap; in round 4 every seventh boundary was not seen.
        for round in 0..6 {
            let overlap = if round % 2 == 0 { 0.0 } else { 1.3 };
            let strength = if round < 2 { 1.0 } else { 5.0 };
            let telegram = Telegram {
                code: rng.random(),
                trailer: rng.random::<u32>() & 0xFF_FFFF,
            };
            let negative = rng.random();
            let word = word_of(&telegram, negative);
            let inverts = crate::linecode::inverts(&telegram.bits());
            let first = if negative { -1 } else { 1 };
            let states = crate::linecode::boundary_signs(&telegram.bits(), first);
            let llr: [f64; 128] = std::array::from_fn(|j| {
                if round == 4 && j % 7 == 0 {
                    return 0.0;
                }
                f64::from(states[j]) * 4.0 * strength + rng.random_range(-6.0..6.0)
            });
            let overlap = std::array::from_fn(|_| overlap * rng.random_range(-1.0..0.5));
            let signs = Signs::rotated(&ANY, &Weights::of(&llr, &overlap), 0, inverts);
            let (exact, slow) = (signs.log_exact(), trellis(&signs, None).ln());
            // Odds are told down to 1e-12.
            assert!(
                (exact - slow).abs() < 5e-13,
                "round {round}: {exact} {slow}"
            );
            assert!(Words::of(&signs).log(word) <= exact + 5e-13);
            assert!(signs.log_without_crc().is_finite());
        }
    }

    /// Known fields and countries: the telegrams of two countries, one trellis for each.
    #[test]
    fn the_dual_sum_keeps_to_countries_in_use() {
        let mut rng = rand_chacha_rng(6);
        let code: &'static Code = Box::leak(Box::new(Code {
            countries: Some(vec![76, 999]),
            ..Code::build(true)
        }));
        let llr = std::array::from_fn(|_| rng.random_range(-3.0..3.0));
        let overlap = std::array::from_fn(|_| rng.random_range(-0.5..0.5));
        // The CRC makes the ones of code and CRC even in number, so a trailer of zeros never inverts.
        assert_eq!(
            Signs::rotated(code, &Weights::of(&llr, &overlap), 17, true).log_exact(),
            f64::NEG_INFINITY
        );
        let signs = Signs::rotated(code, &Weights::of(&llr, &overlap), 17, false);
        let of_countries = trellis(&signs, Some(76)) + trellis(&signs, Some(999));
        let slow = (of_countries * 512.0).ln();
        let exact = signs.log_exact();
        assert!((exact - slow).abs() < 1e-9, "{exact} {slow}");
        let word = |id: u64| word_of(&Telegram::new(id), false);
        assert!(Words::of(&signs).log(word(999 << 38 | 5)) < exact);
        assert_eq!(
            Words::of(&signs).log(word(998 << 38 | 5)),
            f64::NEG_INFINITY
        );
        assert_eq!(
            Words::of(&signs).log(word(1 << 48 | 999 << 38)),
            f64::NEG_INFINITY
        );
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
                .map(|s| {
                    Signs::rotated(&ANY, &Weights::of(&llr, &[0.0; 128]), s, inverts)
                        .log_without_crc()
                })
                .collect();
            let best = (0..128)
                .max_by(|&a, &b| evidence[a].total_cmp(&evidence[b]))
                .unwrap();
            assert_eq!(best, start);
            let signs = Signs::rotated(&ANY, &Weights::of(&llr, &[0.0; 128]), start, inverts);
            let word = word_of(&telegram, false);
            let (found, sure) = signs.trailer(word);
            assert_eq!(found, trailer);
            assert!(sure > 0.8, "{sure}");
            let odds = 1.0 - (Words::of(&signs).log(word) - signs.log_exact()).exp();
            assert!(odds < 1e-6, "{odds}");
        }
    }
}
