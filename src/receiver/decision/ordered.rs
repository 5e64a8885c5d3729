//! Ordered-statistics decoding: the most likely words of the code given soft boundary signs.
//!
//! As many of the most reliable independent signs as the code has free choices (65 in that of every telegram) are taken as they are (and with up to two of them inverted), everything else
//! follows from the code. Fossorier & Lin, IEEE Trans. Inf. Theory 41(5), 1995.

use super::code::{CODED_SIGNS, Code};

/// A word of the code and what it costs: the sum of |LLR| over the signs it contradicts, and twice the overlap of each
/// pair of equal signs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// The word, bit 1 = sign −1.
    pub word: u128,
    /// Without overlap 0 = agrees with every sign.
    pub cost: f64,
}

/// What the search is given of the 102 boundary signs.
#[derive(Clone, Debug)]
pub struct Soft {
    /// Log-likelihood ratios, positive = sign +1.
    pub llr: [f64; CODED_SIGNS],
    /// See [`super::Signs::rotated`]: of boundaries j and j + 1; the last is not used.
    pub overlap: [f64; CODED_SIGNS],
    /// How sure each sign is, its neighbours considered: the order in which they are trusted.
    pub posterior: [f64; CODED_SIGNS],
}

/// Best words, cheapest first, at most `keep`.
///
/// ```text
/// cost(word) = Σ |llr_j| over j where word and sign of llr_j differ  +  Σ 2·overlap_j where signs j and j + 1 are equal
/// ```
pub fn ordered_statistics(code: &Code, soft: &Soft, keep: usize) -> Vec<Candidate> {
    let posterior = &soft.posterior;
    let mut order: [usize; CODED_SIGNS] = std::array::from_fn(|j| j);
    order.sort_by(|&a, &b| posterior[b].abs().total_cmp(&posterior[a].abs()));
    let hard_of = |llr: &[f64; CODED_SIGNS]| {
        (0..CODED_SIGNS).fold(0u128, |word, j| word | u128::from(llr[j] < 0.0) << j)
    };
    let trusted = hard_of(posterior);

    // Gauss–Jordan on the most reliable positions: row k ends with a 1 at pivot k only.
    let mut rows = code.rows.clone();
    let dimension = rows.len();
    let mut rank = 0;
    let mut base = code.offset;
    let mut pivots = [0; CODED_SIGNS];
    for &position in &order {
        if rank == dimension {
            break;
        }
        let mask = 1u128 << position;
        let Some(found) = (rank..dimension).find(|&k| rows[k] & mask != 0) else {
            continue;
        };
        rows.swap(rank, found);
        let pivot = rows[rank];
        for (k, row) in rows.iter_mut().enumerate() {
            if k != rank && *row & mask != 0 {
                *row ^= pivot;
            }
        }
        if (base ^ trusted) & mask != 0 {
            base ^= pivot;
        }
        pivots[rank] = position;
        rank += 1;
    }
    // Later pivots never touch earlier pivot positions, so `base` agrees with the trusted signs on all of them.
    let hard = hard_of(&soft.llr);
    let contradictions = CostTable::new(&soft.llr.map(f64::abs));
    let pairs: [f64; CODED_SIGNS] = std::array::from_fn(|j| {
        if j + 1 < CODED_SIGNS {
            soft.overlap[j]
        } else {
            0.0
        }
    });
    let overlaps = pairs.iter().any(|overlap| *overlap != 0.0);
    let equal_pairs = overlaps.then(|| CostTable::new(&pairs.map(|overlap| 2.0 * overlap)));
    let cost_of = |word: u128| {
        let pairs = (equal_pairs.as_ref()).map_or(0.0, |pairs| pairs.cost(!(word ^ (word >> 1))));
        contradictions.cost(word ^ hard) + pairs
    };
    let mut best: Vec<Candidate> = Vec::with_capacity(keep + 1);
    let mut offer = |word: u128| {
        let cost = cost_of(word);
        if best.len() < keep || cost < best[best.len() - 1].cost {
            let place = best.partition_point(|other| other.cost <= cost);
            best.insert(place, Candidate { word, cost });
            best.truncate(keep);
        }
    };
    offer(base);
    let hopeless = Hopeless::new(soft, &pivots[..rank], base ^ hard, || {
        let mut costs = vec![cost_of(base)];
        costs.extend(rows.iter().map(|row| cost_of(base ^ row)));
        costs.sort_by(f64::total_cmp);
        costs.get(keep.wrapping_sub(1)).copied()
    });
    for i in 0..dimension {
        let once = base ^ rows[i];
        offer(once);
        for (j, row) in rows.iter().enumerate().skip(i + 1) {
            if !hopeless.are(i, j) {
                offer(once ^ row);
            }
        }
    }
    best
}

/// Pairs of trusted signs that cost more by themselves, inverted, than the words kept do in all.
struct Hopeless {
    /// What inverting each trusted sign adds.
    added: [f64; CODED_SIGNS],
    /// Pairs that add more are hopeless.
    most: f64,
}

impl Hopeless {
    /// Rounding of a sum of costs.
    const ROUNDING: f64 = 1e-4;

    /// `contradicted`: signs that the word with none inverted contradicts; `kept`: what the words kept cost at most.
    fn new(
        soft: &Soft,
        pivots: &[usize],
        contradicted: u128,
        kept: impl FnOnce() -> Option<f64>,
    ) -> Self {
        let mut added = [0.0; CODED_SIGNS];
        // Pairs of equal signs may make a word cheaper than its contradictions.
        let overlaps = soft.overlap[..CODED_SIGNS - 1]
            .iter()
            .any(|overlap| *overlap != 0.0);
        let Some(kept) = kept().filter(|_| !overlaps) else {
            return Self {
                added,
                most: f64::INFINITY,
            };
        };
        let mut anyway = 0.0;
        for (added, &position) in added.iter_mut().zip(pivots) {
            let cost = soft.llr[position].abs();
            *added = if (contradicted >> position) & 1 == 1 {
                anyway += cost;
                -cost
            } else {
                cost
            };
        }
        let rounding = Self::ROUNDING * (kept.abs() + anyway + 1.0);
        Self {
            added,
            most: kept - anyway + rounding,
        }
    }

    fn are(&self, i: usize, j: usize) -> bool {
        self.added[i] + self.added[j] > self.most
    }
}

/// Costs of the 256 patterns of each byte of a word.
struct CostTable([[f32; 256]; CODED_SIGNS.div_ceil(8)]);

impl CostTable {
    fn new(costs_of_signs: &[f64; CODED_SIGNS]) -> Self {
        let mut table = [[0f32; 256]; CODED_SIGNS.div_ceil(8)];
        for (byte, costs) in table.iter_mut().enumerate() {
            for pattern in 1..256usize {
                let lowest = pattern.trailing_zeros() as usize;
                let position = 8 * byte + lowest;
                let own = if position < CODED_SIGNS {
                    costs_of_signs[position] as f32
                } else {
                    0.0
                };
                costs[pattern] = costs[pattern & (pattern - 1)] + own;
            }
        }
        Self(table)
    }

    fn cost(&self, differences: u128) -> f64 {
        let bytes = differences.to_le_bytes();
        self.0
            .iter()
            .zip(bytes)
            .map(|(costs, byte)| costs[usize::from(byte)])
            .sum::<f32>()
            .into()
    }
}

#[cfg(test)]
mod tests {
    use super::super::code::{ANY, word_of};
    use super::*;
    use crate::telegram::Telegram;
    use rand::{RngExt, SeedableRng};

    #[test]
    fn a_few_wrong_weak_signs_are_mended() {
        let telegram = Telegram::new(0x8000_F9D6_FEE0_E52D);
        let word = word_of(&telegram, true);
        let mut llr: [f64; CODED_SIGNS] = std::array::from_fn(|j| {
            let sign = if (word >> j) & 1 == 1 { -1.0 } else { 1.0 };
            sign * (4.0 + (j % 7) as f64)
        });
        for j in [3, 30, 31, 64, 77, 98] {
            llr[j] *= -0.2;
        }
        let soft = Soft {
            llr,
            overlap: [0.0; CODED_SIGNS],
            posterior: llr,
        };
        let best = ordered_statistics(&ANY, &soft, 2);
        assert_eq!(best[0].word, word);
        assert!(best[1].cost > best[0].cost);
    }

    /// Leaving hopeless pairs out changes nothing, also where signs were not seen and words are alike. An overlap too small to count has
    /// all pairs tried.
    #[test]
    fn hopeless_pairs_are_not_among_the_best() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(24);
        for round in 0..200 {
            let word = word_of(&Telegram::new(rng.random()), rng.random());
            let (strength, noise) = [(0.0, 2.0), (1.0, 3.0), (6.0, 4.0), (30.0, 12.0)][round % 4];
            let llr: [f64; CODED_SIGNS] = std::array::from_fn(|j| {
                if round % 3 == 0 && j % 4 == 0 {
                    return 0.0;
                }
                let sign = if (word >> j) & 1 == 1 { -1.0 } else { 1.0 };
                sign * strength + rng.random_range(-noise..noise)
            });
            // The fixed bits may make a sign the other one than it was seen.
            let posterior = llr.map(|llr| llr + rng.random_range(-1.0..1.0));
            let fast = Soft {
                llr,
                overlap: [0.0; CODED_SIGNS],
                posterior,
            };
            let slow = Soft {
                overlap: [1e-300; CODED_SIGNS],
                ..fast.clone()
            };
            for keep in [1, 3, 24] {
                let best = ordered_statistics(&ANY, &fast, keep);
                assert_eq!(
                    best,
                    ordered_statistics(&ANY, &slow, keep),
                    "round {round}, {keep}"
                );
            }
        }
    }
}
