//! Whether what a number leaves is the same in all pieces of a record.
//!
//! Several tags that begin together can send, at most boundaries, the signs of a number that none of them sent, and a piece of a telegram
//! or less cannot tell what they leave from noise. But noise differs from piece to piece, and they do not.

use num_complex::{Complex32, Complex64};

use super::attempt::Attempt;
use super::near_sums::near_numbers_explain;
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::pulse_noise::noise_between_telegrams;
use crate::receiver::fold::sums::{BoundarySums, Fold};
use crate::telegram::TELEGRAM_BITS;

/// This share of a number's own power and more is much to leave. Half of the signs are the same in every telegram, and there several
/// tags add up: three equal ones that make a fourth number leave a fifth of its power, unequal ones less. An eighth (chosen, no source).
const MUCH_LEFT: f64 = 0.125;

/// What is left at a boundary is as much as pieces differ there if it is noise; six times that, with 16 boundaries in which two pieces
/// meet, it is once in ten thousand (F distribution).
const THE_SAME: f64 = 6.0;

/// A quarter telegram that is there twice has 64 independent differences between the two: noise is this many times them less than once
/// in ten thousand (F distribution).
const SURELY_MORE: f64 = 2.0;

/// Parts of a value in which noise is.
const PARTS: f64 = 2.0;

/// Boundaries beside one, by what changes there: two before it and the one behind it.
const BESIDE: usize = 8;

/// Boundaries that pieces have in common, added up, and one by one.
#[derive(Clone)]
pub struct Together {
    /// Boundary sums of all pieces, of noise as large as their energies.
    pub sums: BoundarySums,
    /// Σ|y|²/E over all boundaries of all pieces.
    square: f64,
    /// How many those are.
    count: usize,
}

impl Together {
    /// One piece.
    pub fn of(sums: BoundarySums) -> Self {
        let (mut square, mut count) = (0.0, 0);
        for (y, &energy) in sums.sums.iter().zip(&sums.energies) {
            if energy > 0.0 {
                square += y.norm_sqr() / energy;
                count += 1;
            }
        }
        Self {
            sums,
            square,
            count,
        }
    }

    /// These and those.
    pub fn and(mut self, other: &Self) -> Self {
        for j in 0..TELEGRAM_BITS {
            self.sums.sums[j] += other.sums.sums[j];
            self.sums.energies[j] += other.sums.energies[j];
        }
        self.square += other.square;
        self.count += other.count;
        self
    }

    /// Whether a number of these signs leaves much against its own power, and the same in all pieces where they meet.
    pub fn leave_the_same(&self, signs: &[i8; TELEGRAM_BITS]) -> bool {
        let Left {
            power,
            own,
            boundaries,
        } = self.left(signs);
        let each = power / (PARTS * boundaries as f64).max(1.0);
        let noise = self.between();
        noise.is_some_and(|noise| power > MUCH_LEFT * own && each > THE_SAME * noise)
    }

    /// Variance of a part of the noise, from what pieces differ by where they meet; `None` where they do not.
    fn between(&self) -> Option<f64> {
        let (mut met, mut boundaries) = (0.0, 0);
        for (y, &energy) in self.sums.sums.iter().zip(&self.sums.energies) {
            if energy > 0.0 {
                met += y.norm_sqr() / energy;
                boundaries += 1;
            }
        }
        let freedoms = PARTS * (self.count - boundaries) as f64;
        (freedoms > 0.0).then(|| (self.square - met).max(0.0) / freedoms)
    }

    /// Whether pieces meet at as many boundaries as a telegram has, so that noise is known from them, and numbers near to one of these
    /// signs explain what it leaves of them all.
    fn leave_near_numbers(&self, signs: &[i8; TELEGRAM_BITS]) -> bool {
        let often = self.count >= 2 * TELEGRAM_BITS;
        let noise = self.between().filter(|_| often);
        noise.is_some_and(|noise| near_numbers_explain(&self.sums, signs, noise))
    }

    /// What a number of these signs leaves.
    fn left(&self, signs: &[i8; TELEGRAM_BITS]) -> Left {
        let along = |j: usize| self.sums.sums[j] * f64::from(signs[j]);
        // What the edges leave of their own depends on the bits beside them: it is the number's, not what it leaves.
        let mut own = [(Complex64::default(), 0.0); BESIDE];
        for j in 0..TELEGRAM_BITS {
            let own = &mut own[beside(signs, j)];
            *own = (own.0 + along(j), own.1 + self.sums.energies[j]);
        }
        let own = own.map(|(sum, energy)| sum / f64::max(energy, f64::MIN_POSITIVE));
        let mut left = Left::default();
        for j in 0..TELEGRAM_BITS {
            let (energy, own) = (self.sums.energies[j], own[beside(signs, j)]);
            if energy > 0.0 {
                left.power += (along(j) - own * energy).norm_sqr() / energy;
                left.own += own.norm_sqr() * energy;
                left.boundaries += 1;
            }
        }
        left
    }
}

/// What a number leaves of boundary sums.
#[derive(Default)]
struct Left {
    /// Its power, over all boundaries.
    power: f64,
    /// The number's own.
    own: f64,
    boundaries: usize,
}

/// Whether a number leaves much of a ripple against its own power that is there in the next telegram again.
pub fn leaves_much(ripple: &[Complex32], attempt: &Attempt) -> bool {
    let ripple = &ripple[attempt.span.clone()];
    let Some(noise) = noise_between_telegrams(ripple, false) else {
        return false;
    };
    let sums = Fold::new(ripple, attempt.inverts).boundaries(attempt.timing);
    let left = Together::of(sums).left(&attempt.decision.signs);
    let noise = noise[usize::from(attempt.inverts)] * PARTS * left.boundaries as f64;
    left.power > SURELY_MORE * noise && left.power - noise > MUCH_LEFT * left.own
}

/// What the pieces that gave one number have in common, in the order of its telegram.
pub struct OfNumber {
    /// Its 64 bits.
    pub code: u64,
    together: Together,
    signs: [i8; TELEGRAM_BITS],
}

impl OfNumber {
    /// The first piece that gave it, as the only one there.
    pub fn of(piece: &Piece, attempt: &Attempt) -> Self {
        let signs = in_order(attempt, |j| attempt.decision.signs[j]);
        Self {
            code: attempt.decision.telegram.code,
            together: Together::of(in_units_of_its_own(piece, attempt, &signs)),
            signs,
        }
    }

    /// Another one.
    pub fn add(&mut self, piece: &Piece, attempt: &Attempt) {
        let other = Together::of(in_units_of_its_own(piece, attempt, &self.signs));
        self.together = self.together.clone().and(&other);
    }

    /// Whether it may be a sum of others, by what it leaves in all pieces: much and always the same, or what numbers near to it send.
    pub fn may_be_a_sum(&self) -> bool {
        self.together.leave_the_same(&self.signs) || self.together.leave_near_numbers(&self.signs)
    }
}

/// A value of each boundary, in the order of the telegram's bits.
fn in_order<T>(attempt: &Attempt, value: impl Fn(usize) -> T) -> [T; TELEGRAM_BITS] {
    std::array::from_fn(|bit| value((bit + attempt.decision.start) % TELEGRAM_BITS))
}

/// Boundary sums in which the number's own pulses are 1, with these signs: depth and angle may differ from piece to piece.
fn in_units_of_its_own(
    piece: &Piece,
    attempt: &Attempt,
    signs: &[i8; TELEGRAM_BITS],
) -> BoundarySums {
    let fold = Fold::new(&piece.ripple[attempt.span.clone()], attempt.inverts);
    let seen = fold.boundaries(attempt.timing);
    // Half a pulse at an end has something else in its other half.
    let energies = in_order(attempt, |j| Some(seen.energies[j]).filter(|e| *e > 0.99));
    let along = in_order(attempt, |j| {
        seen.sums[j] * f64::from(attempt.decision.signs[j])
    });
    let (mut sum, mut energy) = (Complex64::default(), 0.0);
    for (along, whole) in along.iter().zip(&energies) {
        if let Some(whole) = whole {
            sum += along;
            energy += whole;
        }
    }
    let own = sum / f64::max(energy, f64::MIN_POSITIVE);
    let mut sums = BoundarySums::default();
    for bit in 0..TELEGRAM_BITS {
        if let Some(energy) = energies[bit] {
            sums.sums[bit] = along[bit] / own * f64::from(signs[bit]);
            sums.energies[bit] = energy;
        }
    }
    sums
}

/// Which of the boundaries beside one change the sign.
fn beside(signs: &[i8; TELEGRAM_BITS], j: usize) -> usize {
    let sign = |back: usize| signs[(j + TELEGRAM_BITS + 1 - back) % TELEGRAM_BITS];
    (0..3).fold(0, |bits, back| {
        2 * bits + usize::from(sign(back) != sign(back + 1))
    })
}

#[cfg(test)]
mod tests {
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use rand_distr::StandardNormal;

    use super::*;

    /// Three pieces of 96 boundaries each with the sums of three numbers' signs, levels as given, in noise of this size.
    fn pieces(
        numbers: &[[i8; TELEGRAM_BITS]; 3],
        levels: [f64; 3],
        noise: f64,
        random: &mut ChaCha8Rng,
    ) -> Together {
        (0..3)
            .map(|piece| {
                let mut part = BoundarySums::default();
                for j in (0..96).map(|j| (j + 40 * piece) % TELEGRAM_BITS) {
                    let sent: f64 = (numbers.iter().zip(levels))
                        .map(|(signs, level)| level * f64::from(signs[j]))
                        .sum();
                    let mut drawn = || noise * random.sample::<f64, _>(StandardNormal);
                    part.sums[j] = Complex64::new(sent + drawn(), drawn());
                    part.energies[j] = 1.0;
                }
                Together::of(part)
            })
            .reduce(|all, part| all.and(&part))
            .unwrap()
    }

    #[test]
    fn sums_of_three_are_told_from_one_in_noise() {
        let mut random = ChaCha8Rng::seed_from_u64(11);
        for _ in 0..100 {
            let drawn: [[i8; TELEGRAM_BITS]; 4] = std::array::from_fn(|_| {
                std::array::from_fn(|_| if random.random() { 1 } else { -1 })
            });
            // Half of the signs are every telegram's.
            let numbers: [[i8; TELEGRAM_BITS]; 3] = std::array::from_fn(|number| {
                std::array::from_fn(|j| drawn[if j % 2 == 0 { 3 } else { number }][j])
            });
            let majority = std::array::from_fn(|j| {
                let sum: i8 = numbers.iter().map(|signs| signs[j]).sum();
                sum.signum()
            });
            let equal = pieces(&numbers, [1.0, 0.9, 0.8], 0.1, &mut random);
            assert!(equal.leave_the_same(&majority));
            for noise in [0.01, 0.1, 0.5, 1.0] {
                let alone = pieces(&numbers, [1.0, 0.0, 0.0], noise, &mut random);
                assert!(!alone.leave_the_same(&numbers[0]), "noise {noise}");
            }
        }
    }
}
