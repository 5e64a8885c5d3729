//! 125 kHz read-only tags: the ripple of a word in Manchester code, over and over.

use num_complex::{Complex32, Complex64};

use crate::telegram::{ReadOnlyWord, WORD_BITS};

/// Field cycles of a bit that are tried (64 is common practice, 32 its faster variant; from memory).
const CYCLES_PER_BIT: [usize; 2] = [64, 32];

/// Probability of a wrong bit that a word may have and still be shown. Nine 1s, fourteen parities and a 0 guard it besides:
/// random bits pass these in one of 2^24 places.
const LEAST_SURE: f64 = 1e-5;

/// A 125 kHz tag's word. No animal's number.
#[derive(Clone, Copy, Debug)]
pub struct ReadOnlyTag {
    /// The word; its parities are right.
    pub word: ReadOnlyWord,
    /// Field cycles of a bit.
    pub cycles_per_bit: usize,
    /// Probability that noise made one of the 64 bits wrong.
    pub odds_wrong: f64,
    /// Words laid on each other.
    pub words: usize,
    /// Ripple depth, as a share of the field.
    pub depth: f64,
    /// Ripple angle, radians.
    pub angle: f64,
}

/// Looks for the word in a stretch of ripple, one value a field cycle.
pub fn read_only(ripple: &[Complex32]) -> Option<ReadOnlyTag> {
    CYCLES_PER_BIT
        .into_iter()
        .find_map(|cycles| at_rate(ripple, cycles))
}

fn at_rate(ripple: &[Complex32], cycles_per_bit: usize) -> Option<ReadOnlyTag> {
    let round = WORD_BITS * cycles_per_bit;
    let words = ripple.len() / round;
    if words == 0 {
        return None;
    }
    let mut folded = vec![Complex64::default(); round];
    for word in ripple.chunks_exact(round) {
        for (sum, value) in folded.iter_mut().zip(word) {
            *sum += Complex64::new(value.re.into(), value.im.into()) / words as f64;
        }
    }
    let mut begins: Vec<(f64, usize, Vec<Complex64>)> = (0..cycles_per_bit)
        .map(|begin| {
            let bits = bits_at(&folded, begin, cycles_per_bit);
            (bits.iter().map(Complex64::norm_sqr).sum(), begin, bits)
        })
        .collect();
    begins.sort_by(|a, b| b.0.total_cmp(&a.0));
    // The best begin, and the best half a bit beside it: a word of few changes in its bits is as good there.
    let best = begins[0].1;
    let half = cycles_per_bit / 2;
    let beside = begins
        .iter()
        .find(|(_, begin, _)| (begin.abs_diff(best) as isize - half as isize).abs() <= 2)
        .map(|(_, _, bits)| bits);
    [Some(&begins[0].2), beside]
        .into_iter()
        .flatten()
        .find_map(|bits| decide(bits, cycles_per_bit, words))
}

/// First half minus second half of each bit.
fn bits_at(folded: &[Complex64], begin: usize, cycles_per_bit: usize) -> Vec<Complex64> {
    let half = cycles_per_bit / 2;
    let sum =
        |from: usize| -> Complex64 { (0..half).map(|k| folded[(from + k) % folded.len()]).sum() };
    (0..WORD_BITS)
        .map(|bit| {
            let from = begin + bit * cycles_per_bit;
            sum(from) - sum(from + half)
        })
        .collect()
}

fn decide(bits: &[Complex64], cycles_per_bit: usize, words: usize) -> Option<ReadOnlyTag> {
    // The ripple lies on a line through 0: squares add up to twice its angle.
    let squares: Complex64 = bits.iter().map(|bit| bit * bit).sum();
    let angle = 0.5 * squares.arg();
    let turned: Vec<Complex64> = bits
        .iter()
        .map(|bit| bit * Complex64::cis(-angle))
        .collect();
    // Beside the line there is noise alone (and what two tanks bend of the ripple, which only makes this more careful).
    let noise = (turned.iter().map(|bit| bit.im * bit.im).sum::<f64>() / WORD_BITS as f64).sqrt();
    let odds_wrong: f64 = turned
        .iter()
        .map(|bit| {
            0.5 * libm::erfc(bit.re.abs() / noise.max(f64::MIN_POSITIVE) / std::f64::consts::SQRT_2)
        })
        .sum();
    if odds_wrong > LEAST_SURE {
        return None;
    }
    let word = [false, true].into_iter().find_map(|inverted| {
        let bits = std::array::from_fn(|k| (turned[k].re > 0.0) != inverted);
        ReadOnlyWord::from_rotated_bits(&bits)
    });
    let size = turned.iter().map(|bit| bit.re.abs()).sum::<f64>() / WORD_BITS as f64;
    word.map(|(word, _)| ReadOnlyTag {
        word,
        cycles_per_bit,
        odds_wrong,
        words,
        depth: size / cycles_per_bit as f64,
        angle,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ripple of a word written out: ±depth at an angle, beginning anywhere, with a little noise of a fixed pattern beside it.
    fn ripple(data: u64, cycles: usize, begin: usize, count: usize) -> Vec<Complex32> {
        let bits = ReadOnlyWord::new(data).unwrap().bits();
        (0..count)
            .map(|n| {
                let place = (n + begin) % (WORD_BITS * cycles);
                let first = place % cycles < cycles / 2;
                let state = if bits[place / cycles] == first {
                    0.01
                } else {
                    -0.01
                };
                let wobble = ((n * 7919) % 101) as f32 / 101.0 - 0.5;
                Complex32::new(0.6, 0.8) * state + Complex32::new(0.004 * wobble, -0.004 * wobble)
            })
            .collect()
    }

    #[test]
    fn words_are_read_at_both_rates_from_any_begin() {
        for cycles in [64, 32] {
            for (data, begin) in [
                (0x01_2345_6789, 0),
                (0xFF_FFFF_FFFF, 1234),
                (0, 17),
                (0xA5_5A0F_F0C3, 2000),
            ] {
                let tag = read_only(&ripple(data, cycles, begin, 9000)).unwrap();
                assert_eq!((tag.word.data(), tag.cycles_per_bit), (data, cycles));
                assert!((tag.depth - 0.01).abs() < 5e-4, "{tag:?}");
                // 0.6 + 0.8j is at 53.1°, or at −126.9°.
                let angle_deg = tag.angle.to_degrees();
                assert!(
                    (angle_deg - 53.1).abs() < 1.0 || (angle_deg + 126.9).abs() < 1.0,
                    "{tag:?}"
                );
            }
        }
    }

    #[test]
    fn less_than_a_word_or_a_damaged_one_is_not_read() {
        assert!(read_only(&ripple(0x01_2345_6789, 64, 0, 2000)).is_none());
        let mut damaged = ripple(0x01_2345_6789, 64, 0, 8192);
        for word in damaged.chunks_mut(4096) {
            word[20 * 64..21 * 64]
                .iter_mut()
                .for_each(|value| *value = -*value);
        }
        assert!(read_only(&damaged).is_none());
    }
}
