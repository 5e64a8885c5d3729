//! The telegram bit by bit: half bits, meaning and place of every bit, for the stepper and for paper.

use crate::linecode::{boundary_signs, load_states};
use crate::play::raised;
use crate::telegram::{CODE_BITS, Identity, Part, Telegram, fields, part_of};

/// One bit with what is to be said about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct BitRow {
    /// Index in the telegram, 0 = first sent.
    pub index: usize,
    /// Its value.
    pub bit: bool,
    /// Load state just after the boundary in front of it.
    pub sign: i8,
    /// Its two half bits as signs.
    pub halves: [char; 2],
    /// Bit of ISO 11784 that it is, 1 the most significant; none outside the code.
    pub code_bit: Option<usize>,
    /// Field of the code that it belongs to, and the exponent of its weight there.
    pub place: Option<(&'static str, usize)>,
    /// What it is, in a sentence.
    pub meaning: String,
}

/// All 128 bits; the first begins with load state +1.
pub(super) fn steps(telegram: &Telegram) -> Vec<BitRow> {
    let bits = telegram.bits();
    let states = load_states(&bits, 1);
    let signs = boundary_signs(&bits, 1);
    let places = code_places(telegram);
    let digit = |state: i8| if state > 0 { '+' } else { '−' };
    (0..bits.len())
        .map(|index| {
            let part = part_of(index);
            let code_bit = match part {
                Part::Code { bit } => Some(CODE_BITS - usize::from(bit)),
                _ => None,
            };
            let place = code_bit.map(|iso| place(iso, &places));
            BitRow {
                index,
                bit: bits[index],
                sign: signs[index],
                halves: [digit(states[2 * index]), digit(states[2 * index + 1])],
                code_bit,
                place,
                meaning: meaning(part, place),
            }
        })
        .collect()
}

/// Fields that some bits belong to with the weights they have there, in the order sent; empty outside the code.
pub(super) fn places_in_words(steps: &[BitRow]) -> String {
    let places: Vec<(&'static str, usize)> = steps.iter().filter_map(|step| step.place).collect();
    let parts: Vec<String> = places
        .chunk_by(|one, next| one.0 == next.0)
        .map(|field| {
            let (name, first) = field[0];
            let (_, last) = field[field.len() - 1];
            match first == last {
                true => format!("{name}, weight 2{}", raised(first)),
                false => format!("{name}, weights 2{} to 2{}", raised(first), raised(last)),
            }
        })
        .collect();
    parts.join("; ")
}

/// Name and range (of ISO 11784) of every field.
pub(super) fn code_places(telegram: &Telegram) -> Vec<(&'static str, usize, usize)> {
    fields(&Identity::from_code(telegram.code))
        .into_iter()
        .map(|field| {
            let mut ends = field.bits.split('–').map(|end| end.parse().unwrap_or(0));
            let from = ends.next().unwrap_or(0);
            (field.name, from, ends.next().unwrap_or(from))
        })
        .collect()
}

/// Field of a bit of ISO 11784, and the exponent of its weight.
fn place(iso: usize, places: &[(&'static str, usize, usize)]) -> (&'static str, usize) {
    let (name, _, to) = places
        .iter()
        .find(|(_, from, to)| (*from..=*to).contains(&iso))
        .expect("the fields cover all 64 bits");
    (name, to - iso)
}

fn meaning(part: Part, place: Option<(&'static str, usize)>) -> String {
    match part {
        Part::Header => "It belongs to the header: ten 0s and a 1 mark the beginning".into(),
        Part::Control => "It is a control bit: a 1 after every eight bits, so that ten 0s occur nowhere but in the header".into(),
        Part::Crc { bit } => format!("It is bit {bit} of the CRC"),
        Part::Trailer { bit } => format!("It is bit {bit} of the trailer"),
        Part::Code { bit } => {
            let iso = CODE_BITS - usize::from(bit);
            let field = place.map_or(String::new(), |(name, exponent)| {
                format!(": {name}, weight 2{}", raised(exponent))
            });
            format!("It is bit {iso} of the code{field}")
        }
    }
}

impl BitRow {
    /// A sentence for the stepper.
    pub fn words(&self) -> String {
        let [first, second] = self.halves;
        let inside = if self.bit {
            "no change in mid-bit, so it is a 1 and the next boundary steps the other way"
        } else {
            "a change in mid-bit, so it is a 0 and the next boundary steps the same way again"
        };
        format!(
            "Bit {}: the boundary in front steps {}; half bits {first} {second}, {inside}. {}.",
            self.index,
            if self.sign > 0 { "up" } else { "down" },
            self.meaning
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_add_up_to_the_number() {
        let telegram = Telegram::new(Identity::new(999, 98_765_432_109).unwrap().code());
        let sum = |name: &str| -> u64 {
            steps(&telegram)
                .iter()
                .filter(|step| step.bit)
                .filter_map(|step| step.place)
                .filter(|(field, _)| field.contains(name))
                .map(|(_, exponent)| 1_u64 << exponent)
                .sum()
        };
        assert_eq!(sum("national number"), 98_765_432_109);
        assert_eq!(sum("country or issuer"), 999);
        assert_eq!(sum("animal flag"), 1);
    }

    /// "The level changes at every bit start; a 0 has a second change in mid-bit" (encyclopedia article "ISO 11784 and ISO 11785").
    #[test]
    fn half_bits_follow_the_line_code() {
        let steps = steps(&Telegram::new(0x8000_F9C0_0000_0001));
        for pair in steps.windows(2) {
            assert_eq!(pair[0].halves[0] == pair[0].halves[1], pair[0].bit);
            assert_ne!(pair[0].halves[1], pair[1].halves[0]);
            assert_eq!(pair[1].sign > 0, pair[1].halves[0] == '+');
        }
    }
}
