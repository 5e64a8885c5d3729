//! The CRC by long division, as it is done on paper.

use crate::telegram::{CODE_BITS, CRC_BITS, Telegram};

/// x^16 + x^12 + x^5 + 1, the highest power first (ISO 11785, from memory; CRC-16/KERMIT in the catalogue of parametrised
/// CRC algorithms, where it stands with its bits reversed).
pub(super) const DIVISOR: &str = "10001000000100001";

/// One subtraction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Subtraction {
    /// Place of the window's first bit in the dividend, 0 = first.
    pub at: usize,
    /// The 17 bits over the divisor.
    pub window: String,
    /// What is left of them.
    pub result: String,
    /// Bits of the dividend that are written down behind it before the next step.
    pub brought_down: String,
}

/// The whole division.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Division {
    /// The 64 bits of the code as sent with sixteen 0s behind them.
    pub dividend: String,
    /// The subtractions.
    pub steps: Vec<Subtraction>,
    /// The last sixteen bits: the CRC in the order sent.
    pub remainder: String,
}

/// Divides a telegram's code.
pub(super) fn divide(telegram: &Telegram) -> Division {
    let mut bits: Vec<bool> = (0..CODE_BITS)
        .map(|bit| (telegram.code >> bit) & 1 == 1)
        .chain([false; CRC_BITS])
        .collect();
    let divisor: Vec<bool> = DIVISOR.bytes().map(|digit| digit == b'1').collect();
    let digits = |bits: &[bool]| -> String {
        bits.iter()
            .map(|&bit| if bit { '1' } else { '0' })
            .collect()
    };
    let dividend = digits(&bits);
    let mut steps: Vec<Subtraction> = Vec::new();
    for at in 0..CODE_BITS {
        if !bits[at] {
            continue;
        }
        let window = digits(&bits[at..at + divisor.len()]);
        if let Some(last) = steps.last_mut() {
            last.brought_down = dividend[last.at + divisor.len()..at + divisor.len()].into();
        }
        for (bit, subtracted) in bits[at..].iter_mut().zip(&divisor) {
            *bit ^= subtracted;
        }
        steps.push(Subtraction {
            at,
            window,
            result: digits(&bits[at..at + divisor.len()]),
            brought_down: String::new(),
        });
    }
    if let Some(last) = steps.last_mut() {
        last.brought_down = dividend[last.at + divisor.len()..].into();
    }
    Division {
        dividend,
        steps,
        remainder: digits(&bits[CODE_BITS..]),
    }
}

impl Division {
    /// The remainder as a number: the first bit sent is the least significant.
    pub fn crc(&self) -> u16 {
        self.remainder
            .bytes()
            .enumerate()
            .fold(0, |crc, (bit, digit)| {
                crc | (u16::from(digit == b'1') << bit)
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By another way than the crate's CRC, for codes that begin and end in every manner.
    #[test]
    fn the_remainder_is_the_crc() {
        let mut code = 0x8000_F9D6_FEE0_E52D_u64;
        for _ in 0..500 {
            let telegram = Telegram::new(code);
            assert_eq!(divide(&telegram).crc(), telegram.crc(), "{code:016X}");
            // Steps of a linear congruential generator (Knuth's MMIX).
            code = code
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
        }
        for code in [0, 1, 1 << 63, u64::MAX] {
            assert_eq!(
                divide(&Telegram::new(code)).crc(),
                Telegram::new(code).crc()
            );
        }
    }

    /// What a pupil does: takes the result without its leading 0s, writes the brought-down bits behind it, and has the next window.
    #[test]
    fn every_step_leads_to_the_next() {
        let division = divide(&Telegram::new(0x8000_F9C0_075B_CD15));
        assert!(division.steps.len() > 10);
        for pair in division.steps.windows(2) {
            let joined = format!("{}{}", pair[0].result, pair[0].brought_down);
            assert_eq!(
                joined.trim_start_matches('0'),
                pair[1].window.trim_start_matches('0')
            );
            assert_eq!(pair[1].window.len(), 17);
        }
        let last = division.steps.last().unwrap();
        let joined = format!("{}{}", last.result, last.brought_down);
        assert_eq!(joined[joined.len() - 16..], division.remainder);
        assert_eq!(joined[..joined.len() - 16].trim_matches('0'), "");
    }
}
