//! The telegram as an affine binary code on its boundary signs.
//!
//! Header, control bits and CRC tie the 102 boundary signs of bits 0…100 to 64 code bits and one starting sign: an
//! affine code of length 102 and dimension 65. A word is a `u128` whose bit `j` is 1 where boundary sign `j` is −1.
//!
//! With the fields of a usual animal tag taken as known, the code is a part of that one: reserved bits, data block flag
//! and trailer are 0, and of the country codes only those in use occur.

use std::sync::LazyLock;

use crate::telegram::{
    CODE_BITS, CODED_BITS, CRC_BITS, Identity, Part, TELEGRAM_BITS, Telegram, country_in_use,
    crc16, part_of,
};

/// Boundary signs tied together by the code: one before each of the coded bits and one after the last.
pub const CODED_SIGNS: usize = CODED_BITS + 1;
/// Code and CRC bits, the ones the CRC runs over.
pub const CHECKED_BITS: usize = CODE_BITS + CRC_BITS;
/// Bits of the country code, sent one after another with the control bits of the bytes between them.
pub const COUNTRY_BITS: usize = 10;
/// The code bit with the country code's least significant bit.
const COUNTRY_FROM: usize = 38;

/// Generator, offset and check columns of the code.
pub struct Code {
    /// Word of the all-zero code with starting sign +1.
    pub offset: u128,
    /// Row 0 inverts every sign; each other row adds a free code bit with the CRC bits it changes.
    pub rows: Vec<u128>,
    /// CRC register left by each free code bit and each CRC bit alone, in the order sent; a valid word sums to 0.
    pub syndromes: Vec<u16>,
    /// Kind of every telegram bit in the order sent.
    pub steps: [Step; TELEGRAM_BITS],
    /// Code bits that are not known beforehand.
    pub free: usize,
    /// Fixed bits that follow each other, from one telegram's end into the next.
    pub runs: Vec<FixedRun>,
    /// Boundary signs that no fixed bit ties to another.
    pub free_signs: i32,
    /// The country codes that occur; `None` = every one.
    pub countries: Option<Vec<u16>>,
}

/// Fixed bits that follow each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FixedRun {
    /// The first one, in the order sent.
    pub first: usize,
    /// Their values; those beyond the telegram's end are the next one's.
    pub values: Vec<bool>,
}

/// Runs of fixed bits, the telegram being a ring.
fn fixed_runs(steps: &[Step; TELEGRAM_BITS]) -> Vec<FixedRun> {
    let value = |place: usize| match steps[place % TELEGRAM_BITS] {
        Step::Fixed(value) => Some(value),
        _ => None,
    };
    let begins =
        |place: &usize| value(*place).is_some() && value(place + TELEGRAM_BITS - 1).is_none();
    let firsts = (0..TELEGRAM_BITS).filter(begins);
    firsts
        .map(|first| FixedRun {
            first,
            values: (first..first + TELEGRAM_BITS).map_while(value).collect(),
        })
        .collect()
}

/// What the decoder knows of a telegram bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The value is fixed.
    Fixed(bool),
    /// Code or CRC bit.
    Checked,
    /// Trailer bit: free and unchecked.
    Free,
}

/// Every telegram that the standard allows.
pub static ANY: LazyLock<Code> = LazyLock::new(|| Code::build(false));

/// Telegrams of usual tags: [`usual_fields`].
pub static USUAL: LazyLock<Code> = LazyLock::new(|| Code::build(true));

/// Whether a telegram has reserved bits, data block flag and trailer 0 and a country code in use.
pub fn usual_fields(telegram: &Telegram) -> bool {
    let identity = Identity::from_code(telegram.code);
    identity.reserved == 0
        && !identity.data_block
        && telegram.trailer == 0
        && country_in_use(identity.country)
}

impl Code {
    pub(super) fn build(usual: bool) -> Self {
        let zero = Identity {
            reserved: if usual { u8::MAX } else { 0 },
            data_block: usual,
            ..Identity::from_code(0)
        };
        let zero = zero.code();
        let offset = word_of(&Telegram::new(0), false);
        let mut rows = vec![(1 << CODED_SIGNS) - 1];
        let mut syndromes = Vec::new();
        let mut free = 0;
        let steps = std::array::from_fn(|index| {
            let checked = match part_of(index) {
                Part::Header => {
                    return Step::Fixed(index == crate::telegram::HEADER_BITS - 1);
                }
                Part::Control => return Step::Fixed(true),
                Part::Trailer { .. } if usual => return Step::Fixed(false),
                Part::Trailer { .. } => return Step::Free,
                Part::Code { bit } if (zero >> bit) & 1 == 1 => return Step::Fixed(false),
                Part::Code { bit } => {
                    rows.push(word_of(&Telegram::new(1 << bit), false) ^ offset);
                    free += 1;
                    usize::from(bit)
                }
                Part::Crc { bit } => CODE_BITS + usize::from(bit),
            };
            // As sent, code then CRC, both least significant bit first.
            let mut bytes = [0u8; CHECKED_BITS / 8];
            bytes[checked / 8] = 1 << (checked % 8);
            syndromes.push(crc16(&bytes));
            Step::Checked
        });
        let runs = fixed_runs(&steps);
        let tied: usize = runs.iter().map(|run| run.values.len() + 1).sum();
        let countries = (0..=Identity::COUNTRY_MAX).filter(|country| country_in_use(*country));
        Self {
            offset,
            rows,
            syndromes,
            steps,
            free,
            free_signs: (TELEGRAM_BITS - tied) as i32,
            runs,
            countries: usual.then(|| countries.collect()),
        }
    }

    /// The checked bits (counted without the fixed ones) that are the country code.
    pub fn country_bits(&self) -> std::ops::Range<usize> {
        // The national number is sent before it and free in every code.
        COUNTRY_FROM..COUNTRY_FROM + COUNTRY_BITS
    }

    /// How much likelier a country code is than if all 1024 occurred.
    pub fn country_weight(&self, country: u16) -> f64 {
        match &self.countries {
            None => 1.0,
            Some(used) if used.binary_search(&country).is_ok() => {
                f64::from(1u16 << COUNTRY_BITS) / used.len() as f64
            }
            Some(_) => 0.0,
        }
    }
}

/// The 64-bit code in a valid word.
pub fn code_of(word: u128) -> u64 {
    let flips = word ^ (word >> 1);
    (0..CODED_BITS).fold(0, |code, index| match part_of(index) {
        Part::Code { bit } => code | (((flips >> index) & 1) as u64) << bit,
        _ => code,
    })
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

    fn draws() -> impl Iterator<Item = u64> {
        let next = |value: &u64| {
            let next = value.wrapping_mul(6_364_136_223_846_793_005);
            Some(next.wrapping_add(99))
        };
        std::iter::successors(Some(1), next).take(200)
    }

    #[test]
    fn every_telegram_is_a_word_and_gives_its_code_back() {
        let code = &*ANY;
        for value in draws() {
            for negative in [false, true] {
                let mut word = code.offset ^ if negative { code.rows[0] } else { 0 };
                for bit in 0..CODE_BITS {
                    if (value >> bit) & 1 == 1 {
                        word ^= code.rows[1 + bit];
                    }
                }
                assert_eq!(word, word_of(&Telegram::new(value), negative));
                assert_eq!(code_of(word), value);
            }
        }
    }

    #[test]
    fn syndromes_of_valid_telegrams_sum_to_zero() {
        let telegram = Telegram::new(0x8000_F9D6_FEE0_E52D);
        assert!(usual_fields(&telegram));
        for code in [&*ANY, &*USUAL] {
            let checked = code.steps.iter().zip(telegram.bits());
            let sum = checked
                .filter(|(step, _)| **step == Step::Checked)
                .zip(&code.syndromes)
                .filter(|((_, bit), _)| *bit)
                .fold(0, |sum, (_, syndrome)| sum ^ syndrome);
            assert_eq!(sum, 0);
        }
    }

    /// The words of usual telegrams are all words with the known bits 0, and their country bits are where they are said
    /// to be.
    #[test]
    fn usual_telegrams_are_a_part_of_all() {
        let code = &*USUAL;
        assert_eq!((code.free, code.rows.len()), (57, 58));
        assert_eq!(code.syndromes.len(), code.free + CRC_BITS);
        for (row, bit) in code.rows[1..].iter().zip((0..48).chain(55..64)) {
            assert_eq!(code_of(row ^ code.offset), 1 << bit);
        }
        for value in draws() {
            let telegram = Telegram::new(value);
            let identity = Identity::from_code(value);
            let plain = identity.reserved == 0 && !identity.data_block;
            let weight = code.country_weight(identity.country);
            assert_eq!(usual_fields(&telegram), plain && weight > 0.0);
        }
        // 249 countries and the issuer codes 900 to 999.
        assert_eq!(code.countries.as_ref().unwrap().len(), 349);
        assert!(!usual_fields(&Telegram {
            code: 0x8000_F9D6_FEE0_E52D,
            trailer: 1
        }));
    }
}
