//! What numbers near to one turn over of its boundaries, and which of them explains most of what is left of a ripple.

use std::sync::OnceLock;

use nalgebra::DVector;
use num_complex::Complex64;

use super::near::near_words;
use crate::linecode::boundary_signs;
use crate::telegram::{TELEGRAM_BITS, Telegram};

/// The wave of that near number which explains most of what is left.
pub(super) fn nearest(
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
pub(super) fn turned_by_near_numbers() -> &'static [u128] {
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
}
