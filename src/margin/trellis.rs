//! The slow obvious version of the exact limit: from the samples to the odds of the number sent without anything of the receiver or of
//! the telegram's own code. Written from the coding rules alone (ISO 11784/11785 as in the encyclopedia article of that name: the load
//! changes at every bit start, a 0 has a second change in mid-bit; CRC x^16 + x^12 + x^5 + 1 over the code bits as sent, whose register
//! ends at 0 after the CRC bits).

use rayon::prelude::*;

const BITS: usize = 128;
const STATES: usize = 1 << 17;

/// What a place in the telegram holds.
#[derive(Clone, Copy)]
enum Place {
    Fixed(usize),
    /// A code or CRC bit; the CRC's register runs over it.
    Checked,
    Trailer,
}

/// Header 00000000001, then 8 data bytes, 2 bytes of CRC and 3 of trailer, a 1 after each.
fn places() -> [Place; BITS] {
    std::array::from_fn(|index| match index {
        0..10 => Place::Fixed(0),
        10 => Place::Fixed(1),
        _ if (index - 11) % 9 == 8 => Place::Fixed(1),
        _ if (index - 11) / 9 < 10 => Place::Checked,
        _ => Place::Trailer,
    })
}

/// A bit shifted into the CRC's register, the first one sent at the top.
fn shifted(register: usize, bit: usize) -> usize {
    let feedback = (register >> 15) ^ bit;
    ((register << 1) & 0xFFFF) ^ if feedback == 1 { 0x1021 } else { 0 }
}

/// The code's bits as sent, least significant first, and their CRC.
fn sent_bits(code: u64) -> Vec<usize> {
    let mut bits: Vec<usize> = (0..64).map(|k| (code >> k & 1) as usize).collect();
    let mut register = bits.iter().fold(0, |register, &bit| shifted(register, bit));
    for _ in 0..16 {
        let bit = register >> 15;
        bits.push(bit);
        register = shifted(register, bit);
    }
    assert_eq!(register, 0);
    bits
}

/// Log-likelihood of load state + over its average with −, for each half bit of the fold: `for_plus[h]`, half bit 0 where the telegram
/// with `start` = 0 begins.
pub struct Fold {
    pub for_plus: [f64; 2 * BITS],
    /// Every second telegram is inverted.
    pub inverts: bool,
}

impl Fold {
    /// Probability that something else than a telegram with this code was sent, all codes, starts and trailers being equally likely
    /// beforehand.
    pub fn odds_wrong(&self, code: u64) -> f64 {
        let sent = sent_bits(code);
        let sums: Vec<(f64, f64)> = (0..BITS)
            .into_par_iter()
            .map(|start| (self.sum(start, None), self.sum(start, Some(&sent))))
            .collect();
        let all: f64 = sums.iter().map(|sum| sum.0).sum();
        let own: f64 = sums.iter().map(|sum| sum.1).sum();
        1.0 - own / all
    }

    /// Sum over the telegrams that begin at a bit of the fold: of all codes, or of the one given.
    fn sum(&self, start: usize, given: Option<&[usize]>) -> f64 {
        (0..2).map(|first| self.sum_from(start, first, given)).sum()
    }

    /// … with the first half bit's load state, 0 = +.
    fn sum_from(&self, start: usize, first: usize, given: Option<&[usize]>) -> f64 {
        // Register × load state in the bit before: it changes at every bit start.
        let mut states = vec![0.0f64; STATES];
        states[1 - first] = 1.0;
        let mut checked = 0;
        for (index, place) in places().into_iter().enumerate() {
            let slot = (start + index) % BITS;
            let turned = self.inverts && start + index >= BITS;
            // Weights of both load states, 1 on average, in each half.
            let weights = [2 * slot, 2 * slot + 1].map(|half| {
                let log = if turned { -1.0 } else { 1.0 } * self.for_plus[half];
                [log, -log].map(|log| 2.0 / (1.0 + (-2.0 * log).exp()))
            });
            let mut next = vec![0.0f64; STATES];
            for (state, &value) in states
                .iter()
                .enumerate()
                .filter(|(_, value)| **value != 0.0)
            {
                let (register, before) = (state >> 1, state & 1);
                for bit in 0..2 {
                    let possible = match place {
                        Place::Fixed(fixed) => fixed == bit,
                        Place::Checked => given.is_none_or(|given| given[checked] == bit),
                        Place::Trailer => true,
                    };
                    if !possible {
                        continue;
                    }
                    let register = match place {
                        Place::Checked => shifted(register, bit),
                        _ => register,
                    };
                    let early = 1 - before;
                    let late = if bit == 0 { before } else { early };
                    next[register << 1 | late] += value * weights[0][early] * weights[1][late];
                }
            }
            checked += usize::from(matches!(place, Place::Checked));
            if checked == 80 {
                // Only telegrams whose CRC fits go on.
                next[2..].fill(0.0);
            }
            states = next;
        }
        // The next telegram's first state closes the fold.
        states[(1 - first) ^ usize::from(self.inverts)]
    }
}
