//! The 64-bit word of 125 kHz read-only tags: nine 1s, ten rows of four bits and a parity, four column parities, a 0.
//!
//! From memory; there is no public standard. Parities are even. The nine 1s occur nowhere else: every row of 1s has
//! parity 0, and the word ends with a 0.

/// Bits of the word.
pub const WORD_BITS: usize = 64;

const HEADER_BITS: usize = 9;
const ROWS: usize = 10;
const COLUMNS: usize = 4;

/// The 40 data bits of a 125 kHz read-only tag. They are no animal's number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ReadOnlyWord {
    data: u64,
}

impl ReadOnlyWord {
    /// Largest data.
    pub const MAX: u64 = (1 << (ROWS * COLUMNS)) - 1;

    /// The word of these 40 bits, most significant sent first; `None` for more than 40 bits.
    pub const fn new(data: u64) -> Option<Self> {
        if data > Self::MAX {
            None
        } else {
            Some(Self { data })
        }
    }

    /// The 40 bits.
    pub const fn data(self) -> u64 {
        self.data
    }

    /// The 64 bits in the order sent.
    pub fn bits(self) -> [bool; WORD_BITS] {
        let data = |row: usize, column: usize| {
            (self.data >> (ROWS * COLUMNS - 1 - row * COLUMNS - column)) & 1 == 1
        };
        std::array::from_fn(|index| match index.checked_sub(HEADER_BITS) {
            None => true,
            Some(_) if index == WORD_BITS - 1 => false,
            Some(place) => match (place / (COLUMNS + 1), place % (COLUMNS + 1)) {
                (ROWS, column) => (0..ROWS).fold(false, |odd, row| odd ^ data(row, column)),
                (row, COLUMNS) => (0..COLUMNS).fold(false, |odd, column| odd ^ data(row, column)),
                (row, column) => data(row, column),
            },
        })
    }

    /// Reads 64 bits that begin with the header; `None` unless header, every parity and the last bit are right.
    pub fn from_bits(bits: &[bool; WORD_BITS]) -> Option<Self> {
        let data = (0..ROWS * COLUMNS).fold(0, |data, place| {
            let index = HEADER_BITS + place / COLUMNS * (COLUMNS + 1) + place % COLUMNS;
            data << 1 | u64::from(bits[index])
        });
        let word = Self { data };
        (word.bits() == *bits).then_some(word)
    }

    /// Reads 64 bits that begin anywhere in the repeating word; returns the word and the index of its first bit.
    pub fn from_rotated_bits(bits: &[bool; WORD_BITS]) -> Option<(Self, usize)> {
        (0..WORD_BITS).find_map(|start| {
            let mut rotated = *bits;
            rotated.rotate_left(start);
            Self::from_bits(&rotated).map(|word| (word, start))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked out by hand from the layout (from memory): rows 0 1 … 9 of the data.
    #[test]
    fn a_word_written_out() {
        let sent: String = ReadOnlyWord::new(0x01_2345_6789)
            .unwrap()
            .bits()
            .iter()
            .map(|&bit| char::from(b'0' + u8::from(bit)))
            .collect();
        let rows = "00000 00011 00101 00110 01001 01010 01100 01111 10001 10010";
        // Columns: 8 and 9; 4 to 7; 2, 3, 6, 7; 1, 3, 5, 7, 9.
        let expected = format!("111111111 {rows} 0001 0").replace(' ', "");
        assert_eq!(sent, expected);
    }

    #[test]
    fn any_rotation_is_found_and_any_flip_is_refused() {
        for data in [0, 0x01_2345_6789, ReadOnlyWord::MAX, 0xFA_0000_BEEF] {
            let word = ReadOnlyWord::new(data).unwrap();
            for start in 0..WORD_BITS {
                let mut rotated = word.bits();
                rotated.rotate_right(start);
                assert_eq!(
                    ReadOnlyWord::from_rotated_bits(&rotated),
                    Some((word, start))
                );
            }
            for index in 0..WORD_BITS {
                let mut flipped = word.bits();
                flipped[index] = !flipped[index];
                // Where the word begins is known here: among all rotations a word of nearly all ones with one flip has
                // another that is valid.
                assert_eq!(ReadOnlyWord::from_bits(&flipped), None, "{index}");
            }
        }
        assert_eq!(ReadOnlyWord::new(1 << 40), None);
    }
}
