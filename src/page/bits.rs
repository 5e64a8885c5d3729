//! The telegram bit by bit: header, bytes with their control bits, and what they hold.

use serde::Serialize;

use crate::telegram::{HEADER_BITS, Part, TELEGRAM_BITS, Telegram, part_of};

/// One stretch of a telegram: the header, or a byte with its control bit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Group {
    /// "header", "code 1" … "code 8", "CRC 1", "CRC 2", "trailer 1" … "trailer 3".
    pub name: String,
    /// Index of its first bit, 0 = first sent.
    pub first: usize,
    /// Index of its last bit.
    pub last: usize,
    /// Bits as sent, without the control bit.
    pub bits: String,
    /// The control bit; none behind the header.
    pub control: Option<char>,
    /// The byte in hexadecimal; none for the header.
    pub hex: Option<String>,
}

impl Group {
    /// Takes its value away: it is not known well enough to be printed.
    pub(super) fn blank(&mut self) {
        self.bits = "?".repeat(self.bits.len());
        self.control = self.control.map(|_| '?');
        self.hex = None;
    }
}

/// The fourteen stretches in the order sent.
pub fn groups(telegram: &Telegram) -> Vec<Group> {
    let bits = telegram.bits();
    let digit = |bit: bool| if bit { '1' } else { '0' };
    let digits = |from: usize, to: usize| {
        bits[from..to]
            .iter()
            .map(|&bit| digit(bit))
            .collect::<String>()
    };
    let mut groups = vec![Group {
        name: "header".into(),
        first: 0,
        last: HEADER_BITS - 1,
        bits: digits(0, HEADER_BITS),
        control: None,
        hex: None,
    }];
    for from in (HEADER_BITS..TELEGRAM_BITS).step_by(9) {
        // Bytes are sent least significant bit first.
        let byte = (0..8).fold(0_u8, |byte, k| byte | (u8::from(bits[from + k]) << k));
        let (kind, number) = match part_of(from) {
            Part::Code { bit } => ("code", bit / 8),
            Part::Crc { bit } => ("CRC", bit / 8),
            Part::Trailer { bit } => ("trailer", bit / 8),
            Part::Header | Part::Control => {
                unreachable!("bytes begin after the header and after control bits")
            }
        };
        groups.push(Group {
            name: format!("{kind} {}", number + 1),
            first: from,
            last: from + 8,
            bits: digits(from, from + 8),
            control: Some(digit(bits[from + 8])),
            hex: Some(format!("{byte:02X}")),
        });
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_spell_the_telegram() {
        let telegram = Telegram::new(0x8000_F9D6_FEE0_E52D);
        let groups = groups(&telegram);
        assert_eq!(groups.len(), 14);
        let sent: String = groups
            .iter()
            .flat_map(|group| group.bits.chars().chain(group.control))
            .collect();
        let bits: String = telegram
            .bits()
            .iter()
            .map(|&bit| if bit { '1' } else { '0' })
            .collect();
        assert_eq!(sent, bits);
        let code: String = groups[1..9]
            .iter()
            .rev()
            .filter_map(|group| group.hex.clone())
            .collect();
        assert_eq!(code, "8000F9D6FEE0E52D");
        let crc: String = groups[9..11]
            .iter()
            .rev()
            .filter_map(|group| group.hex.clone())
            .collect();
        assert_eq!(crc, "85DB");
    }
}
