//! A telegram that may be broken, on a grid that may be half a bit off → what header, control bits, CRC and decision make of it.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::decision::decided;
use super::{Unanswered, within};
use crate::linecode::{boundary_signs, inverts, load_states};
use crate::telegram::{HEADER_BITS, Part, TELEGRAM_BITS, crc16_bitwise, part_of};

/// The question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BrokenQuestion {
    /// The 128 bits sent, as 0 and 1.
    pub bits: String,
    /// Whether they are cut into bits half a bit late.
    pub shifted: bool,
    /// Eb/N0 after adding up, dB.
    pub ebn0_db: f64,
}

/// 128 bits from their digits.
pub(super) fn bits_of(text: &str) -> Result<[bool; TELEGRAM_BITS], Unanswered> {
    let bits: Option<Vec<bool>> = text
        .chars()
        .map(|digit| match digit {
            '0' => Some(false),
            '1' => Some(true),
            _ => None,
        })
        .collect();
    bits.and_then(|bits| bits.try_into().ok())
        .ok_or_else(|| Unanswered::new("bits: 128 digits, each 0 or 1, are needed"))
}

impl BrokenQuestion {
    pub(super) fn answer(&self) -> Result<Value, Unanswered> {
        let bits = bits_of(&self.bits)?;
        let ebn0_db = within("ebn0_db", self.ebn0_db, -40.0, 60.0)?;
        let (seen, steps) = if self.shifted {
            (half_a_bit_late(&bits), steps_inside(&bits))
        } else {
            let signs = boundary_signs(&bits, 1);
            (bits, std::array::from_fn(|place| f64::from(signs[place])))
        };
        let digits: String = seen
            .iter()
            .map(|&bit| if bit { '1' } else { '0' })
            .collect();
        let parts = || {
            seen.iter()
                .enumerate()
                .map(|(place, &bit)| (part_of(place), bit))
        };
        let divided = parts()
            .filter(|(part, _)| matches!(part, Part::Code { .. } | Part::Crc { .. }))
            .map(|(_, bit)| bit);
        // Half a bit late the level stands still between two bits where a whole 1 lies across: never so on the right grid.
        let standing = if self.shifted {
            bits.iter().filter(|&&bit| bit).count()
        } else {
            0
        };
        // γ = a²/(2·variance) with an amplitude of 1.
        let noise_var = 0.5 / 10f64.powf(ebn0_db / 10.0);
        Ok(json!({
            "seen": digits,
            "header": seen[..HEADER_BITS - 1].iter().all(|&bit| !bit) && seen[HEADER_BITS - 1],
            "controls_wrong": parts().filter(|&(part, bit)| part == Part::Control && !bit).count(),
            "crc_left": crc16_bitwise(divided),
            "standing": standing,
            "decision": decided(steps, noise_var),
        }))
    }
}

/// The bits between the middles of those sent: equal halves on either side of a boundary would be a 1, and the level always changes there.
fn half_a_bit_late(bits: &[bool; TELEGRAM_BITS]) -> [bool; TELEGRAM_BITS] {
    let mut states = load_states(bits, 1);
    states.push(if inverts(bits) { -1 } else { 1 });
    std::array::from_fn(|place| states[2 * place + 1] == states[2 * place + 2])
}

/// Half the steps in the middle of the bits, where such a grid looks for boundaries: none where a bit is 1.
fn steps_inside(bits: &[bool; TELEGRAM_BITS]) -> [f64; TELEGRAM_BITS] {
    let states = load_states(bits, 1);
    std::array::from_fn(|place| 0.5 * f64::from(states[2 * place + 1] - states[2 * place]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::telegram::{CODED_BITS, Identity, Telegram};

    fn ask(bits: &[bool], shifted: bool, ebn0_db: f64) -> Value {
        let bits = bits
            .iter()
            .map(|&bit| if bit { '1' } else { '0' })
            .collect();
        let question = BrokenQuestion {
            bits,
            shifted,
            ebn0_db,
        };
        question.answer().unwrap()
    }

    #[test]
    fn a_whole_telegram_is_read_and_a_broken_one_is_not_healed_where_it_is_strong() {
        let identity: Identity = "999:98765432109".parse().unwrap();
        let bits = Telegram::new(identity.code()).bits();
        let whole = ask(&bits, false, 14.0);
        assert_eq!(whole["decision"]["id"], identity.to_string());
        assert_eq!(whole["decision"]["read"], true);
        assert_eq!(whole["crc_left"], 0);
        assert_eq!(whole["header"], true);
        let mut left = Vec::new();
        for place in 0..TELEGRAM_BITS {
            let mut broken = bits;
            broken[place] = !broken[place];
            let answer = ask(&broken, false, 14.0);
            let part = part_of(place);
            assert_eq!(answer["header"], part != Part::Header);
            assert_eq!(answer["controls_wrong"], u8::from(part == Part::Control));
            let divided = matches!(part, Part::Code { .. } | Part::Crc { .. });
            assert_eq!(answer["crc_left"] != 0, divided, "{place}");
            if place < CODED_BITS {
                assert_eq!(answer["decision"]["read"], false, "{place}: {answer}");
            }
            left.push(answer["crc_left"].as_u64().unwrap());
        }
        // Division by a polynomial is linear: pages add up what single bits leave.
        let mut broken = bits;
        for place in [12, 40, 95] {
            broken[place] = !broken[place];
        }
        let together = ask(&broken, false, 14.0);
        assert_eq!(together["crc_left"], left[12] ^ left[40] ^ left[95]);
    }

    #[test]
    fn half_a_bit_late_nothing_fits() {
        let bits = Telegram::new(0x8000_F9D6_FEE0_E52D).bits();
        let late = ask(&bits, true, 14.0);
        // The level changes at every boundary: across it there are never equal halves.
        assert_eq!(late["seen"], "0".repeat(TELEGRAM_BITS));
        assert_eq!(late["standing"], bits.iter().filter(|&&bit| bit).count());
        assert_eq!(late["decision"]["read"], false);
        assert_eq!(late["header"], false);
    }
}
