//! Whether what one number leaves of a ripple is made of numbers near to it.
//!
//! Three equal tags whose numbers differ by light words of the CRC's code can send, at every boundary, the majority's sign of a
//! fourth number that nobody sent. That number fits the sums as far as signs go, and what it leaves repeats. Another tag's
//! ripple repeats as well, but with signs of its own: numbers near to the one that was read explain hardly anything of it.

use std::sync::OnceLock;

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::near::near_words;
use super::refine::{LEFT_BY_EDGES, Refined};
use crate::linecode::boundary_signs;
use crate::order::median;
use crate::receiver::fold::pulse_noise::noise_between_telegrams;
use crate::receiver::fold::sums::{Fold, TELEGRAM};
use crate::telegram::{TELEGRAM_BITS, Telegram};

/// As many near numbers are tried together as tags in a field are to be expected at most.
const NUMBERS: usize = 3;

/// They explain it where they explain half, noise aside. Of signs that have nothing to do with the number the best of a thousand
/// patterns explains 2·ln(1000)/128 = 11 %, three of them a third. What a slow detector leaves they explain by more.
const EXPLAINED: f64 = 0.5;

/// Noise adds up to what it should within this share, four standard deviations of a sum of 128 squares.
const SURE: f64 = 0.35;

/// A tag that comes or goes, or a hole in the record, leaves its own ripple in a run of bits, and near numbers differ in runs of
/// bits, too. Where the ripple's height in so many parts of the telegram explains this much of two telegrams, it is the former.
const PARTS: usize = 8;
const COMES_AND_GOES: f64 = 0.7;

/// What other tags send is in every stretch of a record, a hole in few of them: of up to so many stretches, each of whole
/// telegrams, …
const STRETCHES: usize = 16;
/// … of which the median must have this share of the mean of what is left.
const REPEATED: f64 = 0.5;

/// Whether numbers near to a tag's explain most of what it leaves of a ripple.
pub fn are_near_numbers_left(ripple: &[Complex32], tag: &Refined, real: bool) -> bool {
    let ripple = &ripple[tag.attempt.span.clone()];
    let sums = Sums::of(ripple, &tag.plain, tag);
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

/// The wave of that near number which explains most of what is left.
fn nearest(
    own: &DVector<Complex64>,
    left: &DVector<Complex64>,
    start: usize,
) -> DVector<Complex64> {
    let boundary = |bit: usize| (bit + start) % TELEGRAM_BITS;
    let together: [Complex64; TELEGRAM_BITS] =
        std::array::from_fn(|bit| own[boundary(bit)].conj() * left[boundary(bit)]);
    let all: Complex64 = together.iter().sum();
    let of_bytes = sums_of_bytes(&together);
    let along = |turned: &u128| {
        let bytes = turned.to_le_bytes().into_iter().zip(&of_bytes);
        let turned: Complex64 = bytes.map(|(byte, sums)| sums[usize::from(byte)]).sum();
        (all - 2.0 * turned).norm_sqr()
    };
    let mut wave = own.clone();
    let best = turned_by_near_numbers()
        .iter()
        .map(|turned| (along(turned), turned))
        .max_by(|(a, _), (b, _)| a.total_cmp(b));
    let best = best.map_or(0, |(_, turned)| *turned);
    for bit in (0..TELEGRAM_BITS).filter(|bit| (best >> bit) & 1 == 1) {
        wave[boundary(bit)] *= -1.0;
    }
    wave
}

/// Sums of the values at the 1s of every byte of a word.
fn sums_of_bytes(values: &[Complex64; TELEGRAM_BITS]) -> Vec<[Complex64; 256]> {
    let of_byte = |values: &[Complex64]| {
        let mut sums = [Complex64::default(); 256];
        for pattern in 1..256usize {
            let lowest = pattern.trailing_zeros() as usize;
            sums[pattern] = sums[pattern & (pattern - 1)] + values[lowest];
        }
        sums
    };
    values.chunks_exact(8).map(of_byte).collect()
}

/// The boundaries of a telegram whose signs each near number turns over, as 1s of a word; whatever the number, for the line code and
/// the CRC are linear.
fn turned_by_near_numbers() -> &'static [u128] {
    static TURNED: OnceLock<Vec<u128>> = OnceLock::new();
    TURNED.get_or_init(|| {
        let signs = |code: u64| boundary_signs(&Telegram::new(code).bits(), 1);
        let plain = signs(0);
        let by_bit: [(u128, bool); 64] = std::array::from_fn(|bit| {
            let other = signs(1 << bit);
            let turned = |j: usize| u128::from(other[j] != plain[j]) << j;
            let all = (0..TELEGRAM_BITS).map(turned).sum();
            (all, other[TELEGRAM_BITS] != plain[TELEGRAM_BITS])
        });
        near_words()
            .map(|word| {
                let bits = (0..64).filter(|bit| (word >> bit) & 1 == 1);
                bits.fold((0, false), |(turned, inverts), bit| {
                    (turned ^ by_bit[bit].0, inverts ^ by_bit[bit].1)
                })
            })
            // One that inverts where the other does not is told from it by every second telegram.
            .filter(|(_, inverts)| !inverts)
            .map(|(turned, _)| turned)
            .collect()
    })
}

/// What the best sum of waves leaves of what was seen; `None` where the waves are not independent.
fn left_by(seen: &DVector<Complex64>, waves: &[DVector<Complex64>]) -> Option<DVector<Complex64>> {
    let waves = DMatrix::from_columns(waves);
    let amplitudes = waves.ad_mul(&waves).cholesky()?.solve(&waves.ad_mul(seen));
    Some(seen - waves * amplitudes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_near_numbers_turn_over_does_not_hang_on_the_number() {
        let signs = |code: u64| boundary_signs(&Telegram::new(code).bits(), 1);
        let number = 1 << 63 | 999 << 38 | 4_711;
        let plain = signs(number);
        let mut near = near_words()
            .map(|apart| signs(number ^ apart))
            .filter(|other| other[TELEGRAM_BITS] == plain[TELEGRAM_BITS]);
        for turned in turned_by_near_numbers() {
            let other = near.next().expect("as many numbers");
            for bit in 0..TELEGRAM_BITS {
                let is_turned = (turned >> bit) & 1 == 1;
                assert_eq!(other[bit] != plain[bit], is_turned);
            }
        }
        assert!(near.next().is_none());
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
}
