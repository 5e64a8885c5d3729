//! The 128 bits of a telegram: header, code, CRC and trailer with their control bits.

use super::crc::crc16;

/// Bits of a whole telegram.
pub const TELEGRAM_BITS: usize = 128;
/// Ten 0s and a 1.
pub const HEADER_BITS: usize = 11;
/// Bits of the code, without control bits.
pub const CODE_BITS: usize = 64;
/// Bits of the CRC, without control bits.
pub const CRC_BITS: usize = 16;
/// Bits of the trailer, without control bits.
pub const TRAILER_BITS: usize = 24;
/// Bits up to the last control bit of the CRC: those the CRC and the fixed bits tie together (0…100).
pub const CODED_BITS: usize = HEADER_BITS + (CODE_BITS + CRC_BITS) / 8 * 9;

/// What a bit of the telegram belongs to; `bit` is the weight within its part (0 = least significant).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Header bit; only the last is 1.
    Header,
    /// Bit of the 64-bit code.
    Code {
        /// Weight within the code.
        bit: u8,
    },
    /// Bit of the CRC.
    Crc {
        /// Weight within the CRC.
        bit: u8,
    },
    /// Bit of the trailer.
    Trailer {
        /// Weight within the trailer.
        bit: u8,
    },
    /// Control bit after eight others, always 1.
    Control,
}

/// What the bit at `index` of the telegram (0 = first sent) belongs to.
///
/// # Panics
/// When `index` ≥ 128.
pub const fn part_of(index: usize) -> Part {
    assert!(index < TELEGRAM_BITS, "a telegram has 128 bits");
    if index < HEADER_BITS {
        return Part::Header;
    }
    let (group, within) = ((index - HEADER_BITS) / 9, (index - HEADER_BITS) % 9);
    if within == 8 {
        return Part::Control;
    }
    let bit = (group * 8 + within) as u8;
    if bit < 64 {
        Part::Code { bit }
    } else if bit < 80 {
        Part::Crc { bit: bit - 64 }
    } else {
        Part::Trailer { bit: bit - 80 }
    }
}

/// A telegram whose header, control bits and CRC are right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Telegram {
    /// The 64-bit code of ISO 11784.
    pub code: u64,
    /// The 24 trailer bits.
    pub trailer: u32,
}

/// Why 128 bits are not a telegram.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// The header is not ten 0s and a 1, in any rotation asked for.
    #[error("no header: nowhere do ten 0s stand before a 1")]
    Header,
    /// A control bit is 0.
    #[error("control bit at bit {index} is 0, it must be 1")]
    Control {
        /// Position in the telegram, 0 = first sent.
        index: usize,
    },
    /// The CRC sent is not the CRC of the code.
    #[error("CRC is {sent:04X}, the code {code:016X} needs {needed:04X}")]
    Crc {
        /// CRC found in the bits.
        sent: u16,
        /// CRC of the code found.
        needed: u16,
        /// The code found.
        code: u64,
        /// The trailer found.
        trailer: u32,
    },
}

impl Telegram {
    /// The telegram of a code, trailer 0.
    pub const fn new(code: u64) -> Self {
        Self { code, trailer: 0 }
    }

    /// CRC over the eight code bytes as sent.
    pub fn crc(&self) -> u16 {
        crc16(&self.code.to_le_bytes())
    }

    /// The 128 bits in the order sent.
    pub fn bits(&self) -> [bool; TELEGRAM_BITS] {
        let crc = self.crc();
        std::array::from_fn(|index| match part_of(index) {
            Part::Header => index == HEADER_BITS - 1,
            Part::Code { bit } => (self.code >> bit) & 1 == 1,
            Part::Crc { bit } => (crc >> bit) & 1 == 1,
            Part::Trailer { bit } => (self.trailer >> bit) & 1 == 1,
            Part::Control => true,
        })
    }

    /// Reads 128 bits that begin with the header.
    ///
    /// # Errors
    /// [`FrameError`] names the first thing wrong: header, then control bits, then CRC.
    pub fn from_bits(bits: &[bool; TELEGRAM_BITS]) -> Result<Self, FrameError> {
        let (mut code, mut crc, mut trailer) = (0u64, 0u16, 0u32);
        let mut bad_control = None;
        for (index, &value) in bits.iter().enumerate() {
            match part_of(index) {
                Part::Header if value != (index == HEADER_BITS - 1) => {
                    return Err(FrameError::Header);
                }
                Part::Header => {}
                Part::Code { bit } => code |= u64::from(value) << bit,
                Part::Crc { bit } => crc |= u16::from(value) << bit,
                Part::Trailer { bit } => trailer |= u32::from(value) << bit,
                Part::Control if !value => bad_control = bad_control.or(Some(index)),
                Part::Control => {}
            }
        }
        if let Some(index) = bad_control {
            return Err(FrameError::Control { index });
        }
        let telegram = Self { code, trailer };
        let needed = telegram.crc();
        if crc != needed {
            return Err(FrameError::Crc {
                sent: crc,
                needed,
                code,
                trailer,
            });
        }
        Ok(telegram)
    }

    /// Reads 128 bits that begin anywhere in a repeating telegram; returns the telegram and the index of its first bit.
    ///
    /// # Errors
    /// The error of the rotation that got furthest.
    pub fn from_rotated_bits(bits: &[bool; TELEGRAM_BITS]) -> Result<(Self, usize), FrameError> {
        let mut best = FrameError::Header;
        for start in 0..TELEGRAM_BITS {
            let mut rotated = *bits;
            rotated.rotate_left(start);
            match (Self::from_bits(&rotated), best) {
                (Ok(telegram), _) => return Ok((telegram, start)),
                (Err(error @ FrameError::Crc { .. }), _)
                | (Err(error @ FrameError::Control { .. }), FrameError::Header) => best = error,
                _ => {}
            }
        }
        Err(best)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Identity, crc16_bitwise};
    use super::*;

    #[test]
    fn the_parts_add_up_to_128_bits() {
        let count = |wanted: fn(Part) -> bool| {
            (0..TELEGRAM_BITS)
                .filter(|&index| wanted(part_of(index)))
                .count()
        };
        assert_eq!(count(|p| p == Part::Header), HEADER_BITS);
        assert_eq!(count(|p| matches!(p, Part::Code { .. })), CODE_BITS);
        assert_eq!(count(|p| matches!(p, Part::Crc { .. })), CRC_BITS);
        assert_eq!(count(|p| matches!(p, Part::Trailer { .. })), TRAILER_BITS);
        assert_eq!(count(|p| p == Part::Control), 13);
    }

    /// Layout, order and CRC as recalled from ISO 11785 (from memory; worked out by hand once and kept).
    #[test]
    fn the_worked_example_as_sent() {
        let identity = Identity::new(999, 98_765_432_109).unwrap();
        let sent: String = Telegram::new(identity.code())
            .bits()
            .iter()
            .map(|&bit| if bit { '1' } else { '0' })
            .collect();
        assert_eq!(
            sent,
            "00000000001101101001101001111000001111011111111011010111100111111000000001000000011110110111101000011000000001000000001000000001"
        );
    }

    #[test]
    fn vectors_worked_out_from_the_conventions() {
        let made = |animal, retag, user, data_block, country, national| {
            let mut identity = Identity::new(country, national).unwrap();
            (identity.animal, identity.retag) = (animal, retag);
            (identity.user, identity.data_block) = (user, data_block);
            identity.code()
        };
        for (code, code_hex, crc) in [
            (
                made(true, 0, 0, false, 999, 1),
                0x8000_F9C0_0000_0001,
                0x2E44,
            ),
            (
                made(true, 0, 0, false, 999, 98_765_432_109),
                0x8000_F9D6_FEE0_E52D,
                0x85DB,
            ),
            (
                made(true, 0, 0, false, 276, 1_234_567_890),
                0x8000_4500_4996_02D2,
                0xBDD2,
            ),
            (
                made(true, 0, 0, false, 999, Identity::NATIONAL_MAX),
                0x8000_F9FF_FFFF_FFFF,
                0x250C,
            ),
            (
                made(false, 0, 0, false, 999, 1),
                0x0000_F9C0_0000_0001,
                0xAA4C,
            ),
            (
                made(true, 7, 31, true, 900, 1),
                0xFF81_E100_0000_0001,
                0x48AE,
            ),
        ] {
            assert_eq!(code, code_hex);
            assert_eq!(Telegram::new(code).crc(), crc, "{code:016X}");
        }
    }

    #[test]
    fn the_register_ends_at_zero_over_code_and_crc() {
        for code in [0, 1, 0x8000_F9D6_FEE0_E52D, u64::MAX] {
            let bits = Telegram::new(code).bits();
            let sent = (0..TELEGRAM_BITS)
                .filter(|&i| matches!(part_of(i), Part::Code { .. } | Part::Crc { .. }))
                .map(|i| bits[i]);
            assert_eq!(crc16_bitwise(sent), 0);
        }
    }

    #[test]
    fn any_rotation_is_found_and_any_flip_is_refused() {
        let telegram = Telegram {
            code: 0x8000_F9D6_FEE0_E52D,
            trailer: 0x0012_34AB,
        };
        let bits = telegram.bits();
        for start in 0..TELEGRAM_BITS {
            let mut rotated = bits;
            rotated.rotate_right(start);
            assert_eq!(Telegram::from_rotated_bits(&rotated), Ok((telegram, start)));
        }
        for index in 0..CODED_BITS {
            let mut flipped = bits;
            flipped[index] = !flipped[index];
            assert!(Telegram::from_bits(&flipped).is_err(), "bit {index}");
        }
    }
}
