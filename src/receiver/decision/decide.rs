//! The most likely number in a folded telegram, and how likely it is wrong.

use super::boundaries::Boundaries;
use super::code::{CODED_SIGNS, code_of};
use super::misfit::misfit_probability;
use super::search::{Found, likeliest_word, rotate};
use super::weighed::Evidence;
use crate::telegram::{TELEGRAM_BITS, Telegram};

/// One number with its evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// The number; its trailer is meaningful where `trailer_sure` says so.
    pub telegram: Telegram,
    /// Probability that all trailer bits are right.
    pub trailer_sure: f64,
    /// Boundary (index into the sums) at which bit 0 starts.
    pub start: usize,
    /// Most likely sign of each boundary sum.
    pub signs: [i8; TELEGRAM_BITS],
    /// Probability that the number is wrong, given that a telegram is there and what was taken as known; at least 1e-12.
    pub odds_wrong: f64,
    /// The same with nothing taken as known.
    pub odds_unaided: f64,
    /// Amplitude of the ripple in units of the sums.
    pub amplitude: f64,
    /// Probability that noise alone contradicts a right word as much as this one is contradicted.
    pub misfit: f64,
    /// Boundary signs (of the 102 coded) that the number contradicts.
    pub contradicted: u32,
    /// Natural logarithm of how likely the sums are under this hypothesis of timing and parity, up to a constant.
    pub log_likelihood: f64,
}

/// The likeliest word under one hypothesis of timing, parity and shape.
pub struct Likeliest {
    /// The 64-bit code it holds.
    pub code: u64,
    /// Most likely sign of each boundary sum.
    pub signs: [i8; TELEGRAM_BITS],
    /// Natural logarithm of how likely it makes the sums, against noise alone.
    pub log_likelihood: f64,
    /// Amplitude of the ripple in units of the sums.
    pub amplitude: f64,
    found: Found,
}

/// The likeliest word, for comparing hypotheses: without the exact odds, which take most of the time. `None` as for
/// [`decide`].
pub fn likeliest_number(boundaries: &Boundaries) -> Option<Likeliest> {
    let (found, amplitude) = likeliest(boundaries)?;
    Some(Likeliest {
        code: code_of(found.word),
        signs: found.signs_of(boundaries),
        log_likelihood: found.log_word(found.word) + boundaries.log_aside(amplitude),
        amplitude,
        found,
    })
}

impl Likeliest {
    /// The same as [`Likeliest::log_likelihood`] of all words together, this one or not.
    pub fn log_likelihood_of_all(&self, boundaries: &Boundaries) -> f64 {
        let evidence = Evidence::of(&self.found, boundaries, self.amplitude);
        evidence.log_total() + boundaries.log_aside(self.amplitude)
    }

    /// The exact probability that the word is wrong, given the boundaries it was found in; at least 1e-12.
    pub fn odds_wrong(&self, boundaries: &Boundaries) -> f64 {
        Evidence::of(&self.found, boundaries, self.amplitude).odds_wrong(&self.found)
    }

    /// The word as a decision, with the exact probability that it is wrong, given the boundaries it was found in.
    pub fn decision(&self, boundaries: &Boundaries) -> Decision {
        let (found, amplitude) = (&self.found, self.amplitude);
        let evidence = Evidence::of(found, boundaries, amplitude);
        let contradiction = Contradiction::of(found, boundaries, &self.signs, amplitude);
        let (trailer, trailer_sure) = found.trailer();
        Decision {
            telegram: Telegram {
                code: self.code,
                trailer,
            },
            trailer_sure,
            start: found.start,
            signs: self.signs,
            odds_wrong: evidence.odds_wrong(found),
            odds_unaided: evidence.odds_unaided(found),
            amplitude,
            misfit: contradiction.misfit,
            contradicted: contradiction.signs,
            log_likelihood: evidence.log_total() + boundaries.log_aside(amplitude),
        }
    }
}

/// The likeliest word, and the amplitude that fits it.
fn likeliest(boundaries: &Boundaries) -> Option<(Found, f64)> {
    let usable = boundaries.noise_var > 0.0
        && boundaries.noise_var.is_finite()
        && boundaries.sums.iter().all(|y| y.is_finite())
        && boundaries.energies.iter().sum::<f64>() > 0.0;
    if !usable {
        return None;
    }
    let guess = boundaries
        .amplitude
        .unwrap_or_else(|| boundaries.blind_amplitude());
    let first = likeliest_word(boundaries, guess)?;
    // The amplitude that fits the word replaces the one guessed without knowing it, and the search is run again.
    let fitting = boundaries.amplitude_along(&first.signs_of(boundaries));
    let amplitude = boundaries
        .amplitude
        .unwrap_or(if fitting > 0.0 { fitting } else { guess });
    Some((likeliest_word(boundaries, amplitude)?, amplitude))
}

/// Reads the number: the likeliest word over the likeliest starts, with the exact probability that it is wrong.
/// `None` where the sums hold nothing (no energy or no noise level).
pub fn decide(boundaries: &Boundaries) -> Option<Decision> {
    Some(likeliest_number(boundaries)?.decision(boundaries))
}

/// What in the sums speaks against a word.
struct Contradiction {
    /// Coded signs.
    signs: u32,
    /// Probability that noise alone contradicts a right word as much.
    misfit: f64,
}

impl Contradiction {
    fn of(
        found: &Found,
        boundaries: &Boundaries,
        signs: &[i8; TELEGRAM_BITS],
        amplitude: f64,
    ) -> Self {
        let llr = boundaries.llr_given(signs, amplitude);
        let rotated = rotate(&llr, found.start, boundaries.inverts);
        let (mut cost, mut contradicted) = (0.0, 0);
        for (j, value) in rotated[..CODED_SIGNS].iter().enumerate() {
            if ((found.word >> j) & 1 == 1) != (*value < 0.0) {
                cost += value.abs();
                contradicted += 1;
            }
        }
        let means = std::array::from_fn(|j| {
            let energy = boundaries.energies[(found.start + j) % TELEGRAM_BITS];
            2.0 * amplitude * amplitude * energy / boundaries.noise_var
        });
        Self {
            signs: contradicted,
            misfit: misfit_probability(&means, cost),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::code::{ANY, word_of};
    use super::super::known::Known;
    use super::super::signs::{Signs, Weights};
    use super::super::words::Words;
    use super::*;
    use crate::linecode;
    use crate::telegram::Identity;
    use rand::{RngExt, SeedableRng};
    use rand_distr::{Distribution, StandardNormal};

    fn noisy(
        telegram: &Telegram,
        start: usize,
        ebn0_db: f64,
        rng: &mut rand::rngs::ChaCha8Rng,
    ) -> Boundaries {
        let bits = telegram.bits();
        let inverts = linecode::inverts(&bits);
        let signs = linecode::boundary_signs(&bits, 1);
        let gamma = 10f64.powf(ebn0_db / 10.0);
        let noise_var = 1.0 / (2.0 * gamma);
        let mut sums = [0.0; TELEGRAM_BITS];
        for (j, &sign) in signs[..TELEGRAM_BITS].iter().enumerate() {
            let index = start + j;
            let turned = if index >= TELEGRAM_BITS && inverts {
                -1.0
            } else {
                1.0
            };
            let noise: f64 = StandardNormal.sample(rng);
            sums[index % TELEGRAM_BITS] = turned * f64::from(sign) + noise_var.sqrt() * noise;
        }
        Boundaries {
            sums,
            energies: [1.0; TELEGRAM_BITS],
            overlap: 0.0,
            noise_var,
            inverts,
            amplitude: None,
            known: Known::Nothing,
        }
    }

    /// Exact odds ≤ 1e-5 are had by half of single telegrams at 3.01 dB and by 85 % at 3.8 dB (exact sum over CRC
    /// register × sign, derived). 200 trials: three binomial standard deviations.
    #[test]
    fn half_of_all_telegrams_are_sure_at_the_known_level() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(17);
        let trials = 200;
        for (ebn0_db, share) in [(3.01, 0.5), (3.8, 0.85)] {
            let mut sure = 0;
            for _ in 0..trials {
                let telegram = Telegram::new(rng.random());
                let start = rng.random_range(0..128);
                let decision = decide(&noisy(&telegram, start, ebn0_db, &mut rng)).unwrap();
                if decision.odds_wrong <= 1e-5 {
                    sure += 1;
                    assert_eq!(decision.telegram.code, telegram.code);
                }
            }
            let found = f64::from(sure) / f64::from(trials);
            let sigma = (share * (1.0 - share) / f64::from(trials)).sqrt();
            // The amplitude is estimated here, which shifts the share by a few per cent.
            assert!(
                (found - share).abs() < 3.0 * sigma + 0.05,
                "{ebn0_db} dB: {found} against {share}"
            );
        }
    }

    #[test]
    fn one_flipped_bit_in_a_clean_telegram_does_not_fit() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(18);
        for flip in [12, 40, 75, 90] {
            let bits = Telegram::new(rng.random()).bits();
            let mut flipped = bits;
            flipped[flip] = !flipped[flip];
            let inverts = linecode::inverts(&flipped);
            let signs = linecode::boundary_signs(&flipped, 1);
            let sums = std::array::from_fn(|j| {
                let noise: f64 = StandardNormal.sample(&mut rng);
                f64::from(signs[j]) + 0.15 * noise
            });
            let found = decide(&Boundaries {
                sums,
                energies: [1.0; 128],
                overlap: 0.0,
                noise_var: 0.0225,
                inverts,
                amplitude: None,
                known: Known::Nothing,
            })
            .unwrap();
            assert!(found.misfit < 1e-6, "bit {flip}: {found:?}");
        }
    }

    /// A usual number is surer with the fields taken as known, by about the bits that are; one with an unusual field is
    /// still read, and says that it did not need them.
    #[test]
    fn usual_fields_help_usual_numbers_and_spare_the_others() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(20);
        let (mut unaided, mut aided) = (0, 0);
        for _ in 0..60 {
            let national: u64 = rng.random_range(0..1 << 38);
            let telegram = Telegram::new(Identity::new(999, national).unwrap().code());
            let start = rng.random_range(0..128);
            let mut boundaries = noisy(&telegram, start, 2.8, &mut rng);
            let plain = decide(&boundaries).unwrap();
            boundaries.known = Known::UsualFields;
            let decision = decide(&boundaries).unwrap();
            assert!(plain.odds_unaided == plain.odds_wrong);
            unaided += u32::from(plain.odds_wrong <= 1e-5);
            aided += u32::from(decision.odds_wrong <= 1e-5);
            if decision.odds_wrong <= 1e-5 {
                assert_eq!(decision.telegram, telegram);
            }
        }
        assert!(aided >= unaided + 5, "{aided} {unaided}");
        let odd = Telegram {
            code: 0x80AB_F9D6_FEE0_E52D,
            trailer: 0x1234,
        };
        let mut boundaries = noisy(&odd, 3, 12.0, &mut rng);
        boundaries.known = Known::UsualFields;
        let decision = decide(&boundaries).unwrap();
        assert_eq!(decision.telegram, odd);
        assert!(decision.odds_unaided <= 1e-9 && decision.odds_wrong <= 1e-9);
    }

    /// Near the limit the word found is as likely as all others together: doubtful with either knowledge of what is usual, the more
    /// so where it is not.
    #[test]
    fn a_doubtful_word_is_doubtful_with_either_knowledge() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(21);
        for known in [Known::Nothing, Known::UsualFields] {
            for _ in 0..300 {
                let telegram = Telegram {
                    code: rng.random(),
                    trailer: rng.random_range(0..1 << 24),
                };
                let ebn0_db = rng.random_range(-1.0..2.5);
                let mut boundaries = noisy(&telegram, 3, ebn0_db, &mut rng);
                boundaries.known = known;
                let decision = decide(&boundaries).unwrap();
                let sure = decision.odds_wrong.min(decision.odds_unaided) < 1e-5;
                assert!(
                    !sure || decision.telegram.code == telegram.code,
                    "{known:?}, {ebn0_db} dB: {decision:?}"
                );
            }
        }
    }

    /// The chain of signs and bits against the plain quadratic form: log p(y|b) = a·b·y/σ² − a²·bᵀCb/2σ² + constant.
    #[test]
    fn overlapping_pulses_count_as_the_quadratic_form_does() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(19);
        let (amplitude, noise_var, overlap) = (0.7, 0.4, -0.24);
        let mut telegram = || Telegram::new(rng.random());
        let (one, other) = (telegram(), telegram());
        let mut boundaries = noisy(&one, 0, 3.0, &mut rng);
        boundaries.noise_var = noise_var;
        boundaries.overlap = overlap;
        let plain = |word: u128| {
            let sign = |j: usize| if (word >> j) & 1 == 1 { -1.0 } else { 1.0 };
            let (mut along, mut energy) = (0.0, 0.0);
            for j in 0..CODED_SIGNS {
                along += boundaries.sums[j] * sign(j);
                energy += 1.0;
                if j > 0 {
                    energy += 2.0 * overlap * sign(j) * sign(j - 1);
                }
            }
            amplitude * along / noise_var - 0.5 * amplitude * amplitude * energy / noise_var
        };
        let (llr, overlaps) = (boundaries.llr(amplitude), boundaries.overlaps(amplitude));
        let signs = Signs::rotated(&ANY, &Weights::of(&llr, &overlaps), 0, boundaries.inverts);
        let tail = signs.tail();
        let chain = |word: u128| {
            let (first, last) = (
                (word & 1) as usize,
                (word >> (CODED_SIGNS - 1) & 1) as usize,
            );
            Words::of(&signs).log(word) - tail[first][last].ln()
        };
        let words = [
            word_of(&one, false),
            word_of(&other, false),
            word_of(&other, true),
        ];
        for word in words {
            let (slow, fast) = (plain(word) - plain(words[0]), chain(word) - chain(words[0]));
            assert!((slow - fast).abs() < 1e-9, "{slow} {fast}");
        }
    }
}
