//! The 112 bits of a half-duplex (HDX) telegram: the same code, CRC and trailer without control bits.
//!
//! Length: the encyclopedia's article "ISO 11784 and ISO 11785". Header, order of the parts and bits: from memory of
//! ISO 11785.

use super::crc::crc16;
use super::frame::{CODE_BITS, CRC_BITS, TRAILER_BITS, Telegram};

/// Bits of a half-duplex telegram.
pub const HALF_DUPLEX_BITS: usize = HALF_DUPLEX_HEADER.len() + CODE_BITS + CRC_BITS + TRAILER_BITS;

/// The header, first bit sent first.
pub const HALF_DUPLEX_HEADER: [bool; 8] = [false, true, true, true, true, true, true, false];

/// Why 112 bits are not a half-duplex telegram.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HalfDuplexError {
    /// The first eight bits are not the header.
    #[error("no header: the first eight bits are not 01111110")]
    Header,
    /// The CRC sent is not the CRC of the code.
    #[error("CRC is {sent:04X}, the code {code:016X} needs {needed:04X}")]
    Crc {
        /// CRC found in the bits.
        sent: u16,
        /// CRC of the code found.
        needed: u16,
        /// The code found.
        code: u64,
    },
}

impl Telegram {
    /// The 112 bits of a half-duplex transponder in the order sent.
    pub fn half_duplex_bits(&self) -> [bool; HALF_DUPLEX_BITS] {
        let header = HALF_DUPLEX_HEADER.len();
        std::array::from_fn(|index| match index.checked_sub(header) {
            None => HALF_DUPLEX_HEADER[index],
            Some(bit) if bit < CODE_BITS => (self.code >> bit) & 1 == 1,
            Some(bit) if bit < CODE_BITS + CRC_BITS => (self.crc() >> (bit - CODE_BITS)) & 1 == 1,
            Some(bit) => (self.trailer >> (bit - CODE_BITS - CRC_BITS)) & 1 == 1,
        })
    }

    /// Reads 112 bits that begin with the header.
    ///
    /// # Errors
    /// [`HalfDuplexError`] names the first thing wrong.
    pub fn from_half_duplex_bits(bits: &[bool; HALF_DUPLEX_BITS]) -> Result<Self, HalfDuplexError> {
        let (header, rest) = bits.split_at(HALF_DUPLEX_HEADER.len());
        if header != HALF_DUPLEX_HEADER {
            return Err(HalfDuplexError::Header);
        }
        let number = |bits: &[bool]| {
            bits.iter()
                .rev()
                .fold(0u64, |number, &bit| number << 1 | u64::from(bit))
        };
        let (code, rest) = rest.split_at(CODE_BITS);
        let (crc, trailer) = rest.split_at(CRC_BITS);
        let (code, sent) = (number(code), number(crc) as u16);
        let needed = crc16(&code.to_le_bytes());
        if sent != needed {
            return Err(HalfDuplexError::Crc { sent, needed, code });
        }
        Ok(Self {
            code,
            trailer: number(trailer) as u32,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TELEGRAM: Telegram = Telegram {
        code: 0x8000_F9D6_FEE0_E52D,
        trailer: 0x0012_34AB,
    };

    /// Code and CRC as sent by the full-duplex telegram of the same number, its control bits taken out.
    #[test]
    fn code_and_crc_are_those_of_the_full_duplex_telegram() {
        let full: Vec<bool> = TELEGRAM.bits()[11..]
            .chunks(9)
            .flat_map(|group| &group[..8])
            .copied()
            .collect();
        let half = TELEGRAM.half_duplex_bits();
        assert_eq!(half.len(), 112);
        assert_eq!(half[8..], full);
        let header: String = half[..8]
            .iter()
            .map(|&b| char::from(b'0' + u8::from(b)))
            .collect();
        assert_eq!(header, "01111110");
    }

    #[test]
    fn any_flip_before_the_trailer_is_refused() {
        let bits = TELEGRAM.half_duplex_bits();
        assert_eq!(Telegram::from_half_duplex_bits(&bits), Ok(TELEGRAM));
        for index in 0..HALF_DUPLEX_BITS {
            let mut flipped = bits;
            flipped[index] = !flipped[index];
            let read = Telegram::from_half_duplex_bits(&flipped);
            assert_eq!(read.is_err(), index < 88, "bit {index}: {read:?}");
        }
    }
}
