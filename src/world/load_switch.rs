//! A tag's load as a sequence of switchings, for whatever drives a switch across a coil.

use super::scenario::half_bits;
use crate::telegram::Telegram;

/// The load of a tag that sends over and over: a telegram, or two where the second is the first one inverted.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadSwitch {
    half_bits: Vec<bool>,
    start_cycles: f64,
}

impl LoadSwitch {
    /// Field cycles of a half bit.
    pub const HALF_BIT: f64 = 16.0;

    /// A telegram starts this many field cycles after the beginning, with the load closed (`sign` 1) or open (−1); before it the one
    /// ahead of it ends.
    pub fn new(telegram: &Telegram, start_cycles: f64, sign: i8) -> Self {
        let half_bits = half_bits(telegram).into_iter();
        Self {
            half_bits: half_bits.map(|closed| closed == (sign > 0)).collect(),
            start_cycles,
        }
    }

    /// The half bits of one round from a telegram's start on (true: closed): 256, or 512.
    pub fn half_bits(&self) -> &[bool] {
        &self.half_bits
    }

    /// Field cycles after which it begins again.
    pub fn round_cycles(&self) -> f64 {
        Self::HALF_BIT * self.half_bits.len() as f64
    }

    /// Whether the load is closed so many field cycles after the beginning.
    pub fn is_closed(&self, cycles: f64) -> bool {
        let half_bit = libm::floor((cycles - self.start_cycles) / Self::HALF_BIT);
        let round = self.half_bits.len() as f64;
        let place = half_bit - round * libm::floor(half_bit / round);
        // Rounding may leave the very end, which is the beginning.
        self.half_bits[place as usize % self.half_bits.len()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linecode;
    use crate::telegram::Identity;

    fn switch(national: u64, start_cycles: f64, sign: i8) -> (LoadSwitch, Telegram) {
        let telegram = Telegram::new(Identity::new(999, national).unwrap().code());
        (LoadSwitch::new(&telegram, start_cycles, sign), telegram)
    }

    /// The level changes at every bit start, a 0 has a second change in mid-bit, a 1 has none (encyclopedia article "ISO 11784 and
    /// ISO 11785"): from every start, across the seam.
    #[test]
    fn bits_are_where_the_code_says() {
        for (national, sign) in [(1, 1), (2, 1), (3, -1), (12_345, -1)] {
            let (load, telegram) = switch(national, 100.0, sign);
            let bits = telegram.bits();
            let at = |cycles: f64| load.is_closed(100.0 + cycles);
            assert_eq!(at(0.0), sign > 0);
            for telegrams in [-1.0, 0.0, 1.0, 2.0] {
                for (index, &bit) in bits.iter().enumerate() {
                    let from = 4096.0 * telegrams + 32.0 * index as f64;
                    assert_ne!(at(from - 1e-6), at(from), "{national} {index}");
                    assert_eq!(
                        at(from + 15.9) == at(from + 16.1),
                        bit,
                        "{national} {index}"
                    );
                }
            }
            let inverts = linecode::inverts(&bits);
            assert_eq!(load.half_bits().len(), if inverts { 512 } else { 256 });
            assert_eq!(at(0.0) != at(4096.0), inverts);
            assert_eq!(at(-3.0), at(load.round_cycles() - 3.0));
        }
    }
}
