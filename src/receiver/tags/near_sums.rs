//! Whether what one number leaves of a ripple is made of numbers near to it.
//!
//! Three equal tags whose numbers differ by light words of the CRC's code can send, at every boundary, the majority's sign of a
//! fourth number that nobody sent. That number fits the sums as far as signs go, and what it leaves repeats. Another tag's
//! ripple repeats as well, but with signs of its own: numbers near to the one that was read explain hardly anything of it.

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::near_patterns::{nearest, turned_by_near_numbers};
use super::refine::{LEFT_BY_EDGES, Refined};
use crate::order::median;
use crate::receiver::fold::pulse_noise::noise_between_telegrams;
use crate::receiver::fold::sums::{BoundarySums, Fold, TELEGRAM};
use crate::telegram::TELEGRAM_BITS;

/// As many near numbers are tried together as tags in a field are to be expected at most.
const NUMBERS: usize = 3;

/// They explain it where they explain half, noise aside. Of signs that have nothing to do with the number the best of a thousand
/// patterns explains 2·ln(1000)/128 = 11 %, three of them a third. What a slow detector leaves they explain by more.
const EXPLAINED: f64 = 0.5;

/// Noise adds up to what it should within this share, four standard deviations of a sum of 128 squares.
const SURE: f64 = 0.35;

/// Noise alone has a near number that explains so much of it no oftener than this.
const SELDOM: f64 = 1e-4;

/// A tag that comes or goes, or a hole in the record, leaves its own ripple in a run of bits, and near numbers differ in runs of
/// bits, too. Where the ripple's height in so many parts of the telegram explains this much of two telegrams, it is the former.
const PARTS: usize = 8;
const COMES_AND_GOES: f64 = 0.7;

/// A part that has less than this of the telegram's mean height is missing. At the limit of what is read a part's height strays by a tenth.
const MISSING: f64 = 0.25;

/// What other tags send is in every stretch of a record, a hole in few of them: of up to so many stretches, each of whole
/// telegrams, …
const STRETCHES: usize = 16;
/// … of which the median must have this share of the mean of what is left.
const REPEATED: f64 = 0.5;

/// Whether a tag's number may be made of others': a part of its telegram is not there, or numbers near to it explain most of what it
/// leaves of a ripple.
pub fn may_be_made_of_others(ripple: &[Complex32], tag: &Refined, real: bool) -> bool {
    let ripple = &ripple[tag.attempt.span.clone()];
    let sums = Sums::of(ripple, &tag.plain, tag);
    if tag.attempt.telegrams < 2.0 && sums.lack_a_part() {
        return true;
    }
    let own = vec![sums.own.clone()];
    let Some(left) = left_by(&sums.seen, &own) else {
        return false;
    };
    let much = left.norm_squared() > LEFT_BY_EDGES * (&sums.seen - &left).norm_squared();
    // Little may be what the edges leave of their own: that depends on the bits beside them, and goes first.
    let (mut waves, left) = if much {
        (own, left)
    } else {
        let beside = sums.by_bits_beside(&tag.attempt.decision.signs, tag.attempt.inverts);
        match left_by(&sums.seen, &beside) {
            Some(left) => (beside, left),
            None => return false,
        }
    };
    let before = left.norm_squared();
    if !is_repeated(ripple, tag, &left).unwrap_or_else(|| !sums.is_uneven(before)) {
        return false;
    }
    let mut rest = left;
    for _ in 0..NUMBERS {
        waves.push(nearest(&sums.own, &rest, tag.attempt.decision.start));
        match left_by(&sums.seen, &waves) {
            Some(left) => rest = left,
            None => break,
        }
    }
    let explained = before - rest.norm_squared();
    if much && explained > EXPLAINED * before {
        return true;
    }
    let Some(noise) = noise_between_telegrams(ripple, real) else {
        return false;
    };
    let each = noise[usize::from(tag.attempt.inverts)] * if real { 1.0 } else { 2.0 };
    let noise = each * TELEGRAM_BITS as f64;
    let by_chance = each * NUMBERS as f64 * (turned_by_near_numbers().len() as f64).ln();
    let by_chance = if real { 2.0 * by_chance } else { by_chance };
    before > (1.0 + SURE) * noise && explained - by_chance > EXPLAINED * (before - noise)
}

/// Whether numbers near to one of these signs explain most of what it leaves of boundary sums, in the order of its telegram; `noise` is
/// the variance of a real part where the energy is 1.
pub fn near_numbers_explain(sums: &BoundarySums, signs: &[i8; TELEGRAM_BITS], noise: f64) -> bool {
    let sums = Sums::of_signs(sums, signs);
    let mut waves = sums.by_bits_beside(signs, false);
    let Some(left) = left_by(&sums.seen, &waves) else {
        return false;
    };
    let before = left.norm_squared();
    if sums.is_uneven(before) {
        return false;
    }
    let boundaries = sums.own.iter().filter(|own| own.norm_sqr() > 0.0).count();
    let by_noise = 2.0 * noise * boundaries.saturating_sub(waves.len()) as f64;
    let (mut rest, mut first) = (left, None);
    for _ in 0..NUMBERS {
        waves.push(nearest(&sums.own, &rest, 0));
        let Some(left) = left_by(&sums.seen, &waves) else {
            break;
        };
        rest = left;
        first.get_or_insert(before - rest.norm_squared());
    }
    // Of noise a pattern explains 2σ²x with a probability of e^−x.
    let tried = turned_by_near_numbers().len() as f64;
    let surely = 2.0 * noise * (tried / SELDOM).ln();
    let by_chance = 2.0 * noise * (NUMBERS - 1) as f64 * tried.ln();
    let explained = before - rest.norm_squared() - by_chance;
    // Of a ripple that has nothing to do with the number the best patterns explain this share: twice that is not chance.
    let share = NUMBERS as f64 * tried.ln() / boundaries as f64;
    first.is_some_and(|first| first > surely) && explained > 2.0 * share * (before - by_noise)
}

/// Boundary sums of a ripple and of a tag's own waveform in it, with noise of the same power in each.
struct Sums {
    seen: DVector<Complex64>,
    own: DVector<Complex64>,
}

impl Sums {
    fn of(ripple: &[Complex32], own: &[Complex32], tag: &Refined) -> Self {
        let folded = |ripple| Fold::new(ripple, tag.attempt.inverts).boundaries(tag.attempt.timing);
        let (seen, own) = (folded(ripple), folded(own));
        let scales = seen.energies.map(|energy| {
            if energy > 0.0 {
                1.0 / energy.sqrt()
            } else {
                0.0
            }
        });
        let scaled = |sums: &[Complex64; TELEGRAM_BITS]| {
            DVector::from_fn(TELEGRAM_BITS, |j, _| sums[j] * scales[j])
        };
        Self {
            seen: scaled(&seen.sums),
            own: scaled(&own.sums),
        }
    }

    /// Of sums in which the number's own pulses are 1.
    fn of_signs(sums: &BoundarySums, signs: &[i8; TELEGRAM_BITS]) -> Self {
        let root = |j: usize| sums.energies[j].sqrt();
        let seen = |j: usize, _| match sums.energies[j] > 0.0 {
            true => sums.sums[j] / root(j),
            false => Complex64::default(),
        };
        let own = |j: usize, _| Complex64::from(f64::from(signs[j]) * root(j));
        Self {
            seen: DVector::from_fn(TELEGRAM_BITS, seen),
            own: DVector::from_fn(TELEGRAM_BITS, own),
        }
    }

    /// The own wave in parts, by the bits beside each boundary: two before it and the one after it.
    fn by_bits_beside(
        &self,
        signs: &[i8; TELEGRAM_BITS],
        inverts: bool,
    ) -> Vec<DVector<Complex64>> {
        let sign = |j: isize| {
            let sign = signs[j.rem_euclid(TELEGRAM_BITS as isize) as usize];
            let within = (0..TELEGRAM_BITS as isize).contains(&j);
            if inverts && !within { -sign } else { sign }
        };
        let beside = |j: usize| {
            let j = j as isize;
            (-2..1).fold(0, |bits, k| {
                2 * bits + usize::from(sign(j + k) != sign(j + k + 1))
            })
        };
        let parts = (0..8).map(|bits| {
            self.own.map_with_location(|j, _, value| {
                if beside(j) == bits {
                    value
                } else {
                    Complex64::default()
                }
            })
        });
        // A short record may leave a combination out.
        parts.filter(|part| part.norm_squared() > 0.0).collect()
    }

    /// Whether next to nothing of the wave is there in a part of the telegram: what bits it has is then the check's doing.
    fn lack_a_part(&self) -> bool {
        let all = self.own.dotc(&self.seen);
        let mean = all.norm_sqr() / self.own.norm_squared().max(f64::MIN_POSITIVE);
        let boundaries: Vec<usize> = (0..TELEGRAM_BITS).collect();
        boundaries.chunks(TELEGRAM_BITS / PARTS).any(|part| {
            let seen: Complex64 = part
                .iter()
                .map(|&j| self.own[j].conj() * self.seen[j])
                .sum();
            let own: f64 = part.iter().map(|&j| self.own[j].norm_sqr()).sum();
            (seen * all.conj()).re < MISSING * mean * own
        })
    }

    /// Whether the ripple's height in parts of the telegram explains what is left.
    fn is_uneven(&self, before: f64) -> bool {
        let parts: Vec<DVector<Complex64>> = (0..PARTS)
            .map(|part| {
                self.own.map_with_location(|j, _, value| {
                    if j * PARTS / TELEGRAM_BITS == part {
                        value
                    } else {
                        Complex64::default()
                    }
                })
            })
            .collect();
        left_by(&self.seen, &parts)
            .is_some_and(|left| left.norm_squared() < (1.0 - COMES_AND_GOES) * before)
    }
}

/// Whether what is left of a ripple is left throughout; `None` for less than three telegrams, which cannot be asked.
fn is_repeated(ripple: &[Complex32], tag: &Refined, left: &DVector<Complex64>) -> Option<bool> {
    let telegrams = ripple.len() / TELEGRAM;
    if telegrams < 3 {
        return None;
    }
    let each = telegrams.div_ceil(STRETCHES) * TELEGRAM;
    let mut shares: Vec<f64> = (0..telegrams * TELEGRAM)
        .step_by(each)
        .filter_map(|from| {
            let range = from..(from + each).min(ripple.len());
            let is_turned = tag.attempt.inverts && from / TELEGRAM % 2 == 1;
            let sums = Sums::of(&ripple[range.clone()], &tag.plain[range], tag);
            let share = left.dotc(&left_by(&sums.seen, &[sums.own])?).re;
            Some(if is_turned { -share } else { share })
        })
        .collect();
    let median = median(&mut shares)?;
    Some(median >= REPEATED * shares.iter().sum::<f64>() / shares.len() as f64)
}

/// What the best sum of waves leaves of what was seen; `None` where the waves are not independent.
fn left_by(seen: &DVector<Complex64>, waves: &[DVector<Complex64>]) -> Option<DVector<Complex64>> {
    let waves = DMatrix::from_columns(waves);
    let amplitudes = waves.ad_mul(&waves).cholesky()?.solve(&waves.ad_mul(seen));
    Some(seen - waves * amplitudes)
}

#[cfg(test)]
mod tests {
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use rand_distr::StandardNormal;

    use super::*;
    use crate::linecode::boundary_signs;
    use crate::receiver::tags::near::near_words;
    use crate::telegram::Telegram;

    /// An eighth of the telegram at so much of the others' height.
    #[test]
    fn a_part_that_is_missing_is_noticed() {
        let own = DVector::from_fn(TELEGRAM_BITS, |j, _| {
            Complex64::from(if j % 3 == 0 { 1.0 } else { -1.0 })
        });
        for (height, missing) in [(-1.0, true), (0.0, true), (0.2, true), (0.35, false)] {
            let seen = own.map_with_location(|j, _, value| {
                let in_part = (48..64).contains(&j);
                value * Complex64::new(0.3, -0.4) * if in_part { height } else { 1.0 }
            });
            let sums = Sums {
                seen,
                own: own.clone(),
            };
            assert_eq!(sums.lack_a_part(), missing, "{height}");
        }
    }

    /// Every boundary is in one part, together with those that have the same changes beside them.
    #[test]
    fn the_own_wave_is_parted_by_the_bits_beside() {
        let own = DVector::from_fn(TELEGRAM_BITS, |j, _| Complex64::new(1.0 + j as f64, 0.0));
        let sums = Sums {
            seen: own.clone(),
            own,
        };
        let mut signs = [1; TELEGRAM_BITS];
        // One boundary alone is turned over.
        signs[40] = -1;
        let parts = sums.by_bits_beside(&signs, false);
        let whole: DVector<Complex64> = parts.iter().sum();
        assert_eq!(whole, sums.own);
        // Changes two before, one before and behind: 40 has the last two, 39 the last, 41 the first two, 42 the first.
        let together = |one: usize, other: usize| {
            parts
                .iter()
                .any(|part| part[one].norm() > 0.0 && part[other].norm() > 0.0)
        };
        assert_eq!(parts.len(), 5);
        assert!(together(0, 100));
        for (place, one) in (39..43).enumerate() {
            assert!(!together(one, 0), "{one}");
            assert!(
                (39..43).skip(place + 1).all(|other| !together(one, other)),
                "{one}"
            );
        }
    }

    /// Sums of one number's signs, or of three that are each other's neighbours, of which a fourth is left; in noise that hides a single
    /// boundary.
    #[test]
    fn near_numbers_explain_what_a_sum_of_them_leaves() {
        let mut random = ChaCha8Rng::seed_from_u64(77);
        let mut normal = || random.sample::<f64, _>(StandardNormal);
        let signs = |code: u64| boundary_signs(&Telegram::new(code).bits(), 1);
        let read = 1 << 63 | 999 << 38 | 4_711;
        let plain: [i8; TELEGRAM_BITS] = std::array::from_fn(|j| signs(read)[j]);
        // Those that invert with the next telegram where the number does.
        let light: Vec<u64> = near_words()
            .filter(|word| {
                *word >= 1 << 20 && signs(read ^ word)[TELEGRAM_BITS] == signs(read)[TELEGRAM_BITS]
            })
            .take(40)
            .collect();
        let noise: f64 = 0.02;
        let mut told = 0;
        for trial in 0..200 {
            let (one, other) = (light[trial % 40], light[(7 * trial + 3) % 40]);
            let three = [read ^ one, read ^ other, read ^ one ^ other].map(signs);
            let mut sums = |levels: [f64; 4]| {
                let mut sums = BoundarySums::default();
                for j in 0..TELEGRAM_BITS {
                    let beside: f64 = (three.iter().zip(levels))
                        .map(|(signs, level)| level * f64::from(signs[j]))
                        .sum();
                    let sent = beside + levels[3] * f64::from(plain[j]);
                    let drawn = Complex64::new(normal(), normal()) * noise.sqrt();
                    sums.sums[j] = sent + drawn;
                    sums.energies[j] = 1.0;
                }
                near_numbers_explain(&sums, &plain, noise)
            };
            assert!(!sums([0.0, 0.0, 0.0, 1.0]), "{trial}: one number alone");
            told += usize::from(one != other && sums([0.4, 0.4, -0.35, 0.6]));
        }
        // Words that turn over long runs look like a tag that comes and goes.
        assert!(told > 120, "{told}");
    }
}
