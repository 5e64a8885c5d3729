//! Which boundaries of a telegram near numbers turn over, and sums of anything over those.

use std::sync::OnceLock;

use multiversion::multiversion;

use super::near::nearest_words;
use crate::linecode::boundary_signs;
use crate::telegram::{TELEGRAM_BITS, Telegram};

/// Values of a boundary that are added up side by side.
pub const WIDTH: usize = 32;

/// Boundaries whose sets have a table: four, so that all tables stay in the nearest cache.
const TOGETHER: usize = 4;
const SETS: usize = 1 << TOGETHER;

/// Sums over every set of boundaries, made from tables of the sets within each four.
pub struct SumsOverBoundaries(Vec<[f32; WIDTH]>);

impl SumsOverBoundaries {
    /// Of the values of every boundary.
    pub fn new(values: &[[f32; WIDTH]; TELEGRAM_BITS]) -> Self {
        let mut tables = vec![[0.0; WIDTH]; TELEGRAM_BITS / TOGETHER * SETS];
        for (values, table) in values
            .chunks_exact(TOGETHER)
            .zip(tables.chunks_exact_mut(SETS))
        {
            for set in 1..SETS {
                let lowest = set.trailing_zeros() as usize;
                let mut sums = table[set & (set - 1)];
                sums.iter_mut()
                    .zip(values[lowest])
                    .for_each(|(sum, value)| *sum += value);
                table[set] = sums;
            }
        }
        Self(tables)
    }

    /// Over the boundaries that are 1s of a word.
    pub fn over(&self, set: u128) -> [f32; WIDTH] {
        let mut sums = [0.0; WIDTH];
        add_tables(&mut sums, &self.0, set);
        sums
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add_tables(sums: &mut [f32; WIDTH], tables: &[[f32; WIDTH]], set: u128) {
    let mut all = [0.0; WIDTH];
    for (place, table) in tables.chunks_exact(SETS).enumerate() {
        let set = (set >> (place * TOGETHER)) as usize % SETS;
        for (sum, value) in all.iter_mut().zip(&table[set]) {
            *sum += value;
        }
    }
    *sums = all;
}

/// The boundaries of a telegram whose signs each of the nearest numbers turns over, as 1s of a word; whatever the number, for the line
/// code and the CRC are linear.
pub fn turned_by_near_numbers() -> &'static [u128] {
    static TURNED: OnceLock<Vec<u128>> = OnceLock::new();
    TURNED.get_or_init(|| of_either_kind().concat())
}

/// Every two of them that are of one kind, by their places, and what the number that is apart from one by the other turns over. Three that
/// are products of each other are there once.
pub fn sets_of_three() -> &'static [(u16, u16, u128)] {
    static THREES: OnceLock<Vec<(u16, u16, u128)>> = OnceLock::new();
    THREES.get_or_init(|| {
        let mut threes = Vec::new();
        let mut first = 0;
        for kind in of_either_kind() {
            for (k, one) in kind.iter().enumerate() {
                for (other, before) in kind[..k].iter().enumerate() {
                    let product = one ^ before;
                    let again = kind[..k].contains(&product);
                    if !again {
                        threes.push(((first + k) as u16, (first + other) as u16, product));
                    }
                }
            }
            first += kind.len();
        }
        threes
    })
}

/// What neighbours in a series turn over, and numbers a lightest word away.
fn of_either_kind() -> [Vec<u128>; 2] {
    let signs = |code: u64| boundary_signs(&Telegram::new(code).bits(), 1);
    let plain = signs(0);
    nearest_words().map(|words| {
        let others = words.iter().map(|word| signs(*word));
        // One that inverts where the other does not is told from it by every second telegram.
        let alike = others.filter(|other| other[TELEGRAM_BITS] == plain[TELEGRAM_BITS]);
        let turned = alike.map(|other| {
            let turned = (0..TELEGRAM_BITS).filter(|j| other[*j] != plain[*j]);
            turned.fold(0, |set, j| set | 1 << j)
        });
        turned.collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_near_numbers_turn_over_does_not_hang_on_the_number() {
        let signs = |code: u64| boundary_signs(&Telegram::new(code).bits(), 1);
        let number = 1 << 63 | 999 << 38 | 4_711;
        let plain = signs(number);
        let words = nearest_words().concat();
        let mut near = (words.iter().map(|apart| signs(number ^ apart)))
            .filter(|other| other[TELEGRAM_BITS] == plain[TELEGRAM_BITS]);
        for turned in turned_by_near_numbers() {
            let other = near.next().expect("as many numbers");
            for bit in 0..TELEGRAM_BITS {
                assert_eq!(other[bit] != plain[bit], turned >> bit & 1 == 1);
            }
        }
        assert!(near.next().is_none());
    }

    #[test]
    fn sums_over_sets_are_those_one_by_one() {
        let values: [[f32; WIDTH]; TELEGRAM_BITS] =
            std::array::from_fn(|j| std::array::from_fn(|k| ((j * 37 + k * 11) % 64) as f32));
        let sums = SumsOverBoundaries::new(&values);
        for &set in turned_by_near_numbers().iter().step_by(17) {
            let slow: [f32; WIDTH] = std::array::from_fn(|k| {
                let inside = (0..TELEGRAM_BITS).filter(|j| set >> j & 1 == 1);
                inside.map(|j| values[j][k]).sum()
            });
            assert_eq!(sums.over(set), slow);
        }
    }
}
