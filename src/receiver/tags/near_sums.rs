//! Whether what one number leaves of a ripple is made of numbers near to it.
//!
//! Three tags whose numbers differ by light words of the CRC's code can send, at every boundary, the majority's sign of a
//! fourth number that nobody sent. That number fits the sums as far as signs go, and the three are hardly to be told from it: what it
//! leaves is a small part of its ripple, in the shape of its edges rather than in their height, where tags begin a cycle apart. But it has
//! the signs of three numbers near to it of which each is the sum of the other two, and that is asked for: how much likelier the
//! best such three with edges of any shape make what is left.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::near_threes::{Patterns, orthonormal, whitened, without};
use super::surroundings::{BESIDE, GROUPS, Surroundings};
use crate::order::median;
use crate::telegram::TELEGRAM_BITS;

/// −2 ln Λ of a number's own noise exceeds this in one of ten thousand numbers: all of 13,646 sets of three against χ² with 48 degrees
/// of freedom where a value has two parts, with 24 where it has one (Bartlett's approximation; quantiles of scipy's).
const SURELY: [f64; 2] = [85.7, 125.6];

/// What is left is hardly more than noise up to this share more: four standard deviations of a sum of 2000 squares.
const SURE: f64 = 0.15;

/// Edges may leave this share of their power beyond what the bits beside them explain, in every telegram the same: circuits do, and ideal
/// edges that fall between samples. Three numbers that are hardly told from a fourth leave as little, but all of it is theirs.
const LEFT_BY_EDGES: f64 = 0.02;

/// Noise is known from so many boundaries that came again.
const LEAST_AGAIN: f64 = 64.0;

/// Tanks far out of tune leave so many times as much, which is known for what it is only where it is less than the noise.
const RINGING: f64 = 5.0;

/// A tag that comes or goes, or a hole in the record, leaves its own ripple in so many parts of the telegram, …
const PARTS: usize = 8;
/// … which noise does by this much in one of ten thousand numbers: χ² of 7 parts of 8 groups, of one part of a value and of two.
const UNEVEN: [f64; 2] = [104.7, 176.4];

/// What other tags send is in every stretch of a record, a hole in few of them: the median must have this share of the mean.
const REPEATED: f64 = 0.5;

/// A part that has less than this of the telegram's mean height is missing. At the limit of what is read a part's height strays by a tenth.
const MISSING: f64 = 0.25;

/// Whether next to nothing of the ripple is there in a part of the telegram: what bits it has is then the check's doing.
pub fn lack_a_part(around: &Surroundings) -> bool {
    let heights = around.heights(PARTS);
    heights.into_iter().flatten().any(|height| height < MISSING)
}

/// Whether numbers near to one make what it leaves likelier than noise does by far.
pub fn near_numbers_explain(around: &Surroundings, real: bool) -> bool {
    let scaled = |place: usize, g: usize| {
        around.all.sums[place][g] / around.all.counts[place].max(1.0).sqrt()
    };
    let seen = DMatrix::from_fn(TELEGRAM_BITS, GROUPS, scaled);
    let weights = DVector::from_fn(TELEGRAM_BITS, |place, _| around.all.counts[place].sqrt());
    let mut own = by_bits_beside(around, &weights);
    let left = without(&seen, &own);
    let (differences, again) = around.differences();
    let edges = LEFT_BY_EDGES * (seen.norm_squared() - left.norm_squared())
        / (TELEGRAM_BITS * GROUPS) as f64;
    let noise = (again >= LEAST_AGAIN).then(|| {
        let each = differences / Complex64::from(again);
        each + DMatrix::identity(GROUPS, GROUPS) * Complex64::from(edges)
    });
    let left = match &noise {
        Some(noise) if uneven(&left, noise, &own, &weights, real) => {
            own = with_parts(own, &weights);
            without(&seen, &own)
        }
        _ => left,
    };
    let places = weights.iter().filter(|weight| **weight > 0.0).count();
    let freedoms = places.saturating_sub(own.len()) as f64;
    let patterns = Patterns {
        left: &left,
        own: &own,
        weights: &weights,
        real,
    };
    let alone = left.ad_mul(&left);
    // What edges of a shape that nobody foresaw leave is more than noise, and has to be its own measure.
    let of_noise = noise.and_then(|noise| {
        let power = whitened(&left, &noise).norm_squared() / (freedoms * GROUPS as f64);
        let scale = Complex64::from(again * power.max(1.0));
        (power < 1.0 + SURE).then(|| noise * scale)
    });
    let (likelier, three) = match of_noise {
        Some(noise) => patterns.likelier(&(noise + alone), freedoms + again),
        None => patterns.likelier(
            &(alone
                + DMatrix::identity(GROUPS, GROUPS) * Complex64::from(RINGING * edges * freedoms)),
            freedoms,
        ),
    };
    likelier > SURELY[usize::from(!real)]
        && is_repeated(around, &(&seen - &left), &patterns.explained_by(three))
}

/// Whether what was explained of the rest beside the own waves is there throughout; of fewer than three stretches that cannot be asked.
fn is_repeated(
    around: &Surroundings,
    own: &DMatrix<Complex64>,
    explained: &DMatrix<Complex64>,
) -> bool {
    if around.stretches.len() < 3 {
        return true;
    }
    let mut shares: Vec<f64> = (around.stretches.iter())
        .map(|stretch| {
            let share = |place: usize| -> f64 {
                let (count, all) = (stretch.counts[place], around.all.counts[place]);
                let products = (0..GROUPS).map(|g| {
                    let own = own[(place, g)] * count / all.max(1.0).sqrt();
                    ((stretch.sums[place][g] - own) * explained[(place, g)].conj()).re
                });
                products.sum::<f64>() / all.max(1.0).sqrt()
            };
            let boundaries: f64 = stretch.counts.iter().sum();
            (0..TELEGRAM_BITS).map(share).sum::<f64>() / boundaries.max(1.0)
        })
        .collect();
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    median(&mut shares).is_none_or(|median| median >= REPEATED * mean)
}

/// Waves of the number's own with edges of any shape, orthonormal: one shape for each combination of bits beside.
fn by_bits_beside(around: &Surroundings, weights: &DVector<f64>) -> Vec<DVector<f64>> {
    let of = |bits: usize| {
        weights.map_with_location(|place, _, weight| match around.beside[place] == bits {
            true => weight,
            false => 0.0,
        })
    };
    orthonormal(Vec::new(), (0..BESIDE).map(of))
}

/// Those and ones of another height in each part of the telegram.
fn with_parts(own: Vec<DVector<f64>>, weights: &DVector<f64>) -> Vec<DVector<f64>> {
    let of = |part: usize| {
        weights.map_with_location(
            |place, _, weight| match place * PARTS / TELEGRAM_BITS == part {
                true => weight,
                false => 0.0,
            },
        )
    };
    orthonormal(own, (1..PARTS).map(of))
}

/// Whether the ripple's height in parts of the telegram explains some of what is left.
fn uneven(
    left: &DMatrix<Complex64>,
    noise: &DMatrix<Complex64>,
    own: &[DVector<f64>],
    weights: &DVector<f64>,
    real: bool,
) -> bool {
    let parts = with_parts(own.to_vec(), weights);
    let left = whitened(left, noise);
    let explained = left.norm_squared() - without(&left, &parts[own.len()..]).norm_squared();
    let of_a_part = if real { 1.0 } else { 2.0 };
    of_a_part * explained > UNEVEN[usize::from(!real)]
}

#[cfg(test)]
mod tests {
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use rand_distr::StandardNormal;

    use super::*;
    use crate::linecode::boundary_signs;
    use crate::receiver::tags::near::nearest_words;
    use crate::receiver::tags::near_patterns::turned_by_near_numbers;
    use crate::receiver::tags::surroundings::Boundary;
    use crate::telegram::Telegram;

    const TELEGRAMS: usize = 3;

    fn signs_of(code: u64) -> Vec<i8> {
        boundary_signs(&Telegram::new(code).bits(), 1)
    }

    /// Telegrams of a number that was read, where this ripple was around every boundary, in noise of this size.
    fn around(
        read: u64,
        ripple: impl Fn(usize, usize, usize) -> f64,
        noise: f64,
        random: &mut ChaCha8Rng,
    ) -> Surroundings {
        let signs = signs_of(read);
        let at = |j: usize| signs[j % TELEGRAM_BITS];
        let boundaries: Vec<Boundary> = (0..TELEGRAMS * TELEGRAM_BITS)
            .map(|k| {
                let (telegram, place) = (k / TELEGRAM_BITS, k % TELEGRAM_BITS);
                let beside = (0..3).fold(0, |bits, k| {
                    let j = place + TELEGRAM_BITS + k - 2;
                    2 * bits + usize::from(at(j) != at(j + 1))
                });
                let mut drawn = || noise * random.sample::<f64, _>(StandardNormal);
                let mut group = |g: usize| {
                    let sent = ripple(telegram, place, g) * f64::from(at(place));
                    Complex64::new(sent + drawn(), drawn())
                };
                Boundary {
                    place,
                    beside,
                    around: std::array::from_fn(&mut group),
                }
            })
            .collect();
        Surroundings::of_boundaries(&boundaries)
    }

    /// An edge of a sign, some groups late.
    fn edge(sign: i8, late: f64, g: usize) -> f64 {
        let after = (g as f64 + 0.5 - GROUPS as f64 / 2.0 - late).clamp(-0.5, 0.5);
        2.0 * after * f64::from(sign)
    }

    #[test]
    fn of_a_number_alone_near_numbers_explain_nothing() {
        let mut random = ChaCha8Rng::seed_from_u64(77);
        for trial in 0..150 {
            let read = 1 << 63 | random.random::<u64>() >> 1;
            let signs = signs_of(read);
            let faults: Vec<f64> = (0..TELEGRAM_BITS * GROUPS)
                .map(|_| 0.05 * random.sample::<f64, _>(StandardNormal))
                .collect();
            let gone = random.random_range(0..TELEGRAM_BITS);
            let height = |telegram: usize, place: usize| match trial % 3 {
                // A hole in one of the telegrams.
                2 if telegram == 1 && (gone..gone + 40).contains(&place) => 0.0,
                _ => 1.0,
            };
            let fault = |place: usize, g: usize| match trial % 3 {
                1 => faults[place * GROUPS + g],
                _ => 0.0,
            };
            let ripple = |telegram: usize, place: usize, g: usize| {
                height(telegram, place) * edge(signs[place], 0.2, g) + fault(place, g)
            };
            let noise = [0.02, 0.2, 1.0][trial / 3 % 3];
            let alone = around(read, ripple, noise, &mut random);
            assert!(!near_numbers_explain(&alone, false), "{trial}");
        }
    }

    /// Two of them turned over make a fourth number out of three that begin a little apart, and what it leaves is told.
    #[test]
    fn near_numbers_explain_what_a_sum_of_them_leaves() {
        let mut random = ChaCha8Rng::seed_from_u64(78);
        let words = nearest_words()[1];
        let mut told = 0;
        for _ in 0..60 {
            let read = 1 << 63 | random.random::<u64>() >> 1;
            let mut word = || words[random.random_range(0..words.len())];
            let (one, other) = (word(), word());
            let three = [read ^ one ^ other, read ^ one, read ^ other].map(signs_of);
            let ripple = |_: usize, place: usize, g: usize| {
                edge(three[0][place], 0.0, g)
                    - 0.9 * edge(three[1][place], 0.25, g)
                    - 0.8 * edge(three[2][place], 0.5, g)
            };
            let sums = around(read, ripple, 0.3, &mut random);
            told += usize::from(one != other && near_numbers_explain(&sums, false));
        }
        assert!(told > 50, "{told}");
    }

    #[test]
    fn a_part_that_is_missing_is_noticed() {
        let mut random = ChaCha8Rng::seed_from_u64(79);
        let read = 1 << 63 | 999 << 38 | 4_711;
        let signs = signs_of(read);
        for (height, missing) in [(-1.0, true), (0.0, true), (0.2, true), (0.35, false)] {
            let ripple = |_: usize, place: usize, g: usize| {
                let here = if (48..64).contains(&place) {
                    height
                } else {
                    1.0
                };
                here * edge(signs[place], 0.0, g)
            };
            let around = around(read, ripple, 0.01, &mut random);
            assert_eq!(lack_a_part(&around), missing, "{height}");
        }
    }

    /// As many sets of three as the quantile of the best one's odds counts: every two patterns of a kind with their product, which in a
    /// series is one of the kind, and so is there three times.
    #[test]
    fn sets_are_as_many_as_the_threshold_counts() {
        let mut sets = 0.0;
        for kind in turned_by_near_numbers() {
            for (k, one) in kind.iter().enumerate() {
                let each = |other: &u128| match kind.contains(&(one ^ other)) {
                    true => 1.0 / 3.0,
                    false => 1.0,
                };
                sets += kind[..k].iter().map(each).sum::<f64>();
            }
        }
        assert!((sets - 13_646.0).abs() < 1e-6, "{sets}");
    }
}
