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
        add_tables(&mut sums, &self.0, set, 1.0);
        sums
    }

    /// Over all boundaries, those that are 1s of a word turned over; `whole` is what they give as they are.
    pub fn turned(&self, whole: &[f32; WIDTH], set: u128) -> [f32; WIDTH] {
        let mut sums = *whole;
        add_tables(&mut sums, &self.0, set, -2.0);
        sums
    }

    /// Squares of those, added up: of the first half of the values and of the second.
    pub fn powers_of_halves(&self, whole: &[f32; WIDTH], set: u128) -> [f32; 2] {
        powers_of_halves(whole, &self.0, set)
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add_tables(sums: &mut [f32; WIDTH], tables: &[[f32; WIDTH]], set: u128, times: f32) {
    let over = over(tables, set);
    for (sum, over) in sums.iter_mut().zip(over) {
        *sum += times * over;
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn powers_of_halves(whole: &[f32; WIDTH], tables: &[[f32; WIDTH]], set: u128) -> [f32; 2] {
    const LANES: usize = 8;
    let over = over(tables, set);
    let mut powers = [[0.0f32; LANES]; 2];
    for (k, (whole, over)) in whole.iter().zip(over).enumerate() {
        let value = whole - 2.0 * over;
        powers[k / (WIDTH / 2)][k % LANES] += value * value;
    }
    powers.map(|lanes| lanes.iter().sum())
}

#[inline(always)]
fn over(tables: &[[f32; WIDTH]], set: u128) -> [f32; WIDTH] {
    let mut sums = [0.0; WIDTH];
    for (place, table) in tables.chunks_exact(SETS).enumerate() {
        let set = (set >> (place * TOGETHER)) as usize % SETS;
        for (sum, value) in sums.iter_mut().zip(&table[set]) {
            *sum += value;
        }
    }
    sums
}

/// The boundaries of a telegram whose signs each of the nearest numbers turns over, as 1s of a word: neighbours in a series, and numbers a
/// lightest word away. Whatever the number, for the line code and the CRC are linear.
pub fn turned_by_near_numbers() -> &'static [Vec<u128>; 2] {
    static TURNED: OnceLock<[Vec<u128>; 2]> = OnceLock::new();
    TURNED.get_or_init(|| {
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
        for turned in turned_by_near_numbers().iter().flatten() {
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
        for &set in turned_by_near_numbers().iter().flatten().step_by(17) {
            let slow: [f32; WIDTH] = std::array::from_fn(|k| {
                let inside = (0..TELEGRAM_BITS).filter(|j| set >> j & 1 == 1);
                inside.map(|j| values[j][k]).sum()
            });
            assert_eq!(sums.over(set), slow);
            let whole = sums.over(u128::MAX);
            let turned = sums.turned(&whole, set);
            let slow: [f32; WIDTH] = std::array::from_fn(|k| whole[k] - 2.0 * slow[k]);
            assert_eq!(turned, slow);
            let halves = slow
                .chunks(WIDTH / 2)
                .map(|half| half.iter().map(|x| x * x).sum::<f32>());
            let powers = sums.powers_of_halves(&whole, set);
            assert!(
                powers
                    .iter()
                    .zip(halves)
                    .all(|(power, slow)| (power / slow - 1.0).abs() < 1e-5)
            );
        }
    }
}
