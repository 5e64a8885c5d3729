//! Differential biphase: bits ↔ boundary signs ↔ load states.
//!
//! The load state changes at every bit start; a 0 has a second change in mid-bit, a 1 has none. The *boundary sign* is
//! the state just after the change at a bit start (the state before it is the opposite). A 1 flips the next boundary
//! sign, a 0 repeats it.

/// Boundary signs of a run of bits: one before each bit and one after the last, so one more than there are bits.
/// `first` is the sign (±1) at the start of the first bit.
pub fn boundary_signs(bits: &[bool], first: i8) -> Vec<i8> {
    let mut signs = Vec::with_capacity(bits.len() + 1);
    let mut sign = first;
    signs.push(sign);
    for &bit in bits {
        if bit {
            sign = -sign;
        }
        signs.push(sign);
    }
    signs
}

/// The bits between consecutive boundary signs: 1 where the sign flips.
pub fn bits_between(signs: &[i8]) -> Vec<bool> {
    signs.windows(2).map(|pair| pair[0] != pair[1]).collect()
}

/// Load state (±1) in each half bit; `first` is the boundary sign at the start of the first bit.
pub fn load_states(bits: &[bool], first: i8) -> Vec<i8> {
    boundary_signs(bits, first)
        .iter()
        .zip(bits)
        .flat_map(|(&sign, &bit)| [sign, if bit { sign } else { -sign }])
        .collect()
}

/// Whether the load state after these bits is inverted: the number of ones is odd.
pub fn inverts(bits: &[bool]) -> bool {
    bits.iter().filter(|&&bit| bit).count() % 2 == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "The level changes at every bit start; a 0 has a second change in mid-bit, a 1 has none"
    /// (encyclopedia article "ISO 11784 and ISO 11785").
    #[test]
    fn levels_change_where_the_code_says() {
        let bits = [false, true, true, false, true, false, false];
        for first in [1, -1] {
            let states = load_states(&bits, first);
            assert_eq!(states[0], first);
            for (index, &bit) in bits.iter().enumerate() {
                assert_eq!(states[2 * index] != states[2 * index + 1], !bit);
                if index > 0 {
                    assert_ne!(states[2 * index - 1], states[2 * index]);
                }
            }
            assert_eq!(bits_between(&boundary_signs(&bits, first)), bits);
            assert_eq!(
                inverts(&bits),
                boundary_signs(&bits, first).last() != Some(&first)
            );
        }
    }
}
