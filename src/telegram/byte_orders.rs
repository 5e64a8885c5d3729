//! The orders in which a reader module may print the bytes of a telegram.
//!
//! Some print the bytes as they arrive (least significant first), some turn the number round, and some fill each byte
//! from the wrong end. Which it was cannot be told from one dump alone, so all are tried and all that could be are shown.

use super::crc::crc16;
use super::frame::Telegram;
use super::identity::Identity;
use super::meaning::objections;

/// Bytes of the code, the CRC and the trailer.
const CODE_BYTES: usize = 8;
const CRC_BYTES: usize = 2;
const TRAILER_BYTES: usize = 3;

/// How the bytes of a dump were put together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ByteOrder {
    /// Every part most significant byte first, code before CRC before trailer: as numbers are written.
    Written,
    /// In the order sent: least significant byte of the code first.
    Sent,
    /// The order sent, turned round as a whole: trailer, CRC, code, each most significant byte first.
    Reversed,
}

/// One way to read a dump.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Interpretation {
    /// Order of the bytes.
    pub order: ByteOrder,
    /// The bits of each byte are reversed: the first bit sent is its most significant.
    pub bits_reversed: bool,
    /// The 64-bit code.
    pub code: u64,
    /// The CRC in the dump, if there is one.
    pub crc_sent: Option<u16>,
    /// The trailer in the dump, if there is one.
    pub trailer: Option<u32>,
    /// What speaks against this reading; empty = plausible.
    pub objections: Vec<String>,
}

impl Interpretation {
    /// Nothing speaks against it.
    pub fn plausible(&self) -> bool {
        self.objections.is_empty()
    }

    /// The telegram; its trailer is 0 where the dump has none.
    pub fn telegram(&self) -> Telegram {
        Telegram {
            code: self.code,
            trailer: self.trailer.unwrap_or(0),
        }
    }

    /// The order in words.
    pub fn description(&self) -> String {
        let bytes = match self.order {
            ByteOrder::Written => "most significant byte first",
            ByteOrder::Sent => "bytes in the order sent, least significant first",
            ByteOrder::Reversed => "all bytes turned round: trailer, CRC, code",
        };
        let bits = if self.bits_reversed {
            "bits of each byte reversed"
        } else {
            "bits of each byte as they are"
        };
        format!("{bytes}, {bits}")
    }
}

/// Every way to read 8 bytes (the code), 10 (with CRC) or 13 (with CRC and trailer); `None` for other lengths. Plausible
/// ones come first. A CRC in the dump must fit.
///
/// ```
/// use fieldripple::telegram::byte_orders;
/// let read = byte_orders(&[0x2D, 0xE5, 0xE0, 0xFE, 0xD6, 0xF9, 0x00, 0x80]).unwrap();
/// assert_eq!(read[0].code, 0x8000_F9D6_FEE0_E52D);
/// assert!(read[0].plausible() && !read[1].plausible());
/// ```
pub fn byte_orders(bytes: &[u8]) -> Option<Vec<Interpretation>> {
    let (with_crc, with_trailer) = match bytes.len() {
        CODE_BYTES => (false, false),
        n if n == CODE_BYTES + CRC_BYTES => (true, false),
        n if n == CODE_BYTES + CRC_BYTES + TRAILER_BYTES => (true, true),
        _ => return None,
    };
    // Eight bytes turned round are the same as eight bytes written.
    let orders: &[ByteOrder] = if with_crc {
        &[ByteOrder::Written, ByteOrder::Sent, ByteOrder::Reversed]
    } else {
        &[ByteOrder::Written, ByteOrder::Sent]
    };
    let mut all = Vec::new();
    for &order in orders {
        for bits_reversed in [false, true] {
            let sent = in_order_sent(bytes, order, bits_reversed);
            let number = |range: std::ops::Range<usize>| {
                sent[range]
                    .iter()
                    .rev()
                    .fold(0u64, |value, &byte| value << 8 | u64::from(byte))
            };
            let code = number(0..8);
            let crc_sent = with_crc.then(|| number(8..10) as u16);
            let trailer = with_trailer.then(|| number(10..13) as u32);
            let mut objections = objections(&Identity::from_code(code));
            let needed = crc16(&code.to_le_bytes());
            if let Some(crc) = crc_sent.filter(|&crc| crc != needed) {
                objections.push(format!("CRC {crc:04X}, the code needs {needed:04X}"));
            }
            all.push(Interpretation {
                order,
                bits_reversed,
                code,
                crc_sent,
                trailer,
                objections,
            });
        }
    }
    all.sort_by_key(|interpretation| !interpretation.plausible());
    Some(all)
}

/// The bytes rearranged so that every part is least significant byte first, code before CRC before trailer.
fn in_order_sent(bytes: &[u8], order: ByteOrder, bits_reversed: bool) -> Vec<u8> {
    let mut sent = bytes.to_vec();
    match order {
        ByteOrder::Sent => {}
        ByteOrder::Reversed => sent.reverse(),
        ByteOrder::Written => {
            let (code, rest) = sent.split_at_mut(CODE_BYTES);
            code.reverse();
            let (crc, trailer) = rest.split_at_mut(CRC_BYTES.min(rest.len()));
            crc.reverse();
            trailer.reverse();
        }
    }
    if bits_reversed {
        for byte in &mut sent {
            *byte = byte.reverse_bits();
        }
    }
    sent
}

#[cfg(test)]
mod tests {
    use super::*;

    const CODE: u64 = 0x8000_F9D6_FEE0_E52D;
    const CRC: u16 = 0x85DB;
    const TRAILER: u32 = 0x0012_34AB;

    /// Round trip: whatever order a dump is made in, that order is among those found, and with a CRC it is the only one.
    #[test]
    fn every_order_is_found_again() {
        for length in [8, 10, 13] {
            let mut sent = CODE.to_le_bytes().to_vec();
            sent.extend(CRC.to_le_bytes());
            sent.extend(&TRAILER.to_le_bytes()[..3]);
            sent.truncate(length);
            for order in [ByteOrder::Written, ByteOrder::Sent, ByteOrder::Reversed] {
                for bits_reversed in [false, true] {
                    // Each rearrangement is its own inverse.
                    let dump = in_order_sent(&sent, order, bits_reversed);
                    let all = byte_orders(&dump).unwrap();
                    assert_eq!(all.len(), if length == 8 { 4 } else { 6 });
                    let plausible: Vec<_> = all.iter().filter(|i| i.plausible()).collect();
                    assert_eq!(plausible.len(), 1, "{dump:02X?}: {all:?}");
                    let found = plausible[0];
                    assert_eq!((found.code, found.bits_reversed), (CODE, bits_reversed));
                    assert_eq!(found.crc_sent, (length > 8).then_some(CRC));
                    assert_eq!(found.trailer, (length > 10).then_some(TRAILER));
                }
            }
        }
    }

    #[test]
    fn other_lengths_are_refused() {
        for length in [0, 7, 9, 11, 12, 14] {
            assert_eq!(byte_orders(&vec![0; length]), None);
        }
    }
}
