//! The telegram as an affine binary code on its boundary signs.
//!
//! Header, control bits and CRC tie the 102 boundary signs of bits 0…100 to 64 code bits and one starting sign: an
//! affine code of length 102 and dimension 65. A word is a `u128` whose bit `j` is 1 where boundary sign `j` is −1.

use std::sync::LazyLock;

use crate::telegram::{
    CODE_BITS, CODED_BITS, CRC_BITS, Part, TELEGRAM_BITS, Telegram, crc16, part_of,
};

/// Boundary signs tied together by the code: one before each of the coded bits and one after the last.
pub const CODED_SIGNS: usize = CODED_BITS + 1;
/// Free choices: 64 code bits and the starting sign.
pub const DIMENSION: usize = CODE_BITS + 1;
/// Code and CRC bits, the ones the CRC runs over.
pub const CHECKED_BITS: usize = CODE_BITS + CRC_BITS;

/// Generator, offset and check columns of the code.
pub struct Code {
    /// Word of the all-zero code with starting sign +1.
    pub offset: u128,
    /// Row 0 inverts every sign; row 1+i adds code bit i with the CRC bits it changes.
    pub rows: [u128; DIMENSION],
    /// CRC register left by each checked bit alone, in the order sent; a valid word sums to 0.
    pub syndromes: [u16; CHECKED_BITS],
    /// Kind of every telegram bit in the order sent.
    pub steps: [Step; TELEGRAM_BITS],
}

/// What the decoder knows of a telegram bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The value is fixed.
    Fixed(bool),
    /// Code or CRC bit with its index among the checked bits.
    Checked(u8),
    /// Trailer bit: free and unchecked.
    Free,
}

/// The one code there is.
pub static CODE: LazyLock<Code> = LazyLock::new(Code::build);

impl Code {
    fn build() -> Self {
        let offset = word_of(&Telegram::new(0), false);
        let mut rows = [0; DIMENSION];
        rows[0] = (1 << CODED_SIGNS) - 1;
        for (bit, row) in rows[1..].iter_mut().enumerate() {
            *row = word_of(&Telegram::new(1 << bit), false) ^ offset;
        }
        let syndromes = std::array::from_fn(|index| {
            // As sent, code then CRC, both least significant bit first.
            let mut bytes = [0u8; CHECKED_BITS / 8];
            bytes[index / 8] = 1 << (index % 8);
            crc16(&bytes)
        });
        let steps = std::array::from_fn(|index| match part_of(index) {
            Part::Header => Step::Fixed(index == crate::telegram::HEADER_BITS - 1),
            Part::Control => Step::Fixed(true),
            Part::Code { bit } => Step::Checked(bit),
            Part::Crc { bit } => Step::Checked(CODE_BITS as u8 + bit),
            Part::Trailer { .. } => Step::Free,
        });
        Self {
            offset,
            rows,
            syndromes,
            steps,
        }
    }

    /// The 64-bit code in a valid word.
    pub fn code_of(&self, word: u128) -> u64 {
        let flips = word ^ (word >> 1);
        (0..CODED_BITS).fold(0, |code, index| match self.steps[index] {
            Step::Checked(bit) if usize::from(bit) < CODE_BITS => {
                code | (((flips >> index) & 1) as u64) << bit
            }
            _ => code,
        })
    }
}

/// The word of a telegram: its first 102 boundary signs, bit 1 = sign −1.
pub fn word_of(telegram: &Telegram, starts_negative: bool) -> u128 {
    let mut sign = starts_negative;
    let mut word = u128::from(sign);
    for (index, &bit) in telegram.bits()[..CODED_BITS].iter().enumerate() {
        sign ^= bit;
        word |= u128::from(sign) << (index + 1);
    }
    word
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_telegram_is_a_word_and_gives_its_code_back() {
        let code = &*CODE;
        let mut value = 1u64;
        for _ in 0..200 {
            value = value
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(99);
            for negative in [false, true] {
                let mut word = code.offset ^ if negative { code.rows[0] } else { 0 };
                for bit in 0..CODE_BITS {
                    if (value >> bit) & 1 == 1 {
                        word ^= code.rows[1 + bit];
                    }
                }
                assert_eq!(word, word_of(&Telegram::new(value), negative));
                assert_eq!(code.code_of(word), value);
            }
        }
    }

    #[test]
    fn syndromes_of_valid_telegrams_sum_to_zero() {
        let telegram = Telegram::new(0x8000_F9D6_FEE0_E52D);
        let mut sum = 0;
        for (step, bit) in CODE.steps.iter().zip(telegram.bits()) {
            if let Step::Checked(index) = step
                && bit
            {
                sum ^= CODE.syndromes[usize::from(*index)];
            }
        }
        assert_eq!(sum, 0);
    }
}
