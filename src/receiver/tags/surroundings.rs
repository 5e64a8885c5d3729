//! What surrounds a number's boundaries: every telegram of it laid on the others in the order of its bits, a group of cells after the
//! other, in units of its own ripple; and what telegrams differ by from each other, which is noise.

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::attempt::Attempt;
use crate::receiver::dsp::phasor::wide;
use crate::receiver::fold::sums::{BIT, Fold, HALF, signs_along};
use crate::telegram::TELEGRAM_BITS;

/// Groups of cells around a boundary: four cycles each, as the receiver's band lets through next to nothing that is quicker.
pub const GROUPS: usize = 8;

/// Boundaries beside one, by what changes there: two before it and the one behind it.
pub const BESIDE: usize = 8;

/// Boundaries left out where a ripple begins, as the field and the tag's supply settle, …
const SETTLING: usize = 6;
/// … and where it ends.
const ENDING: usize = 3;

/// Stretches of one record that are kept beside their sum.
const STRETCHES: usize = 16;

type Group = [Complex64; GROUPS];

/// One boundary of one telegram.
pub struct Boundary {
    /// Its place in the order of the number's bits.
    pub place: usize,
    /// Which of the boundaries beside it change the sign.
    pub beside: usize,
    /// The ripple around it times its sign.
    pub around: Group,
}

/// Sums of telegrams, in the order of the number's bits.
#[derive(Clone)]
pub struct Sums {
    /// One for each boundary.
    pub sums: Vec<Group>,
    /// Telegrams in each.
    pub counts: [f64; TELEGRAM_BITS],
}

impl Sums {
    fn none() -> Self {
        Self {
            sums: vec![Group::default(); TELEGRAM_BITS],
            counts: [0.0; TELEGRAM_BITS],
        }
    }

    fn add(&mut self, place: usize, around: &Group, count: f64) {
        for (sum, value) in self.sums[place].iter_mut().zip(around) {
            *sum += value;
        }
        self.counts[place] += count;
    }
}

/// Surroundings of every boundary of a number's telegrams, times its signs.
#[derive(Clone)]
pub struct Surroundings {
    /// Of all telegrams.
    pub all: Sums,
    /// The same in stretches of whole telegrams.
    pub stretches: Vec<Sums>,
    /// Which of the boundaries beside one change the sign, 0 to 7.
    pub beside: [usize; TELEGRAM_BITS],
    /// Σ x·xᴴ over all boundaries of all telegrams, x a column of groups.
    products: DMatrix<Complex64>,
}

impl Surroundings {
    /// Those in the ripple of one attempt's span.
    pub fn of(ripple: &[Complex32], attempt: &Attempt) -> Self {
        let Attempt {
            decision,
            timing,
            inverts,
            ..
        } = attempt;
        let first = *timing - HALF as f64;
        let before = (first / BIT as f64).floor();
        let begin = (first - before * BIT as f64).round() as usize;
        let whole = ripple.get(begin..).unwrap_or_default().chunks_exact(BIT);
        let first = -(before as isize);
        let signs = signs_along(&decision.signs, *inverts, first - 2, whole.len() + 3);
        let boundaries: Vec<Boundary> = whole
            .enumerate()
            .map(|(k, cells)| {
                let place = first + k as isize - decision.start as isize;
                let signs = &signs[k..k + 4];
                let beside = (0..3).fold(0, |bits, at| {
                    2 * bits + usize::from(signs[at] != signs[at + 1])
                });
                let sign = f64::from(signs[2]);
                let group = |g: usize| {
                    let cells = &cells[g * BIT / GROUPS..(g + 1) * BIT / GROUPS];
                    cells.iter().map(|v| wide(*v)).sum::<Complex64>() * sign
                };
                let place = place.rem_euclid(TELEGRAM_BITS as isize) as usize;
                Boundary {
                    place,
                    beside,
                    around: std::array::from_fn(group),
                }
            })
            .collect();
        let settled = SETTLING..boundaries.len().saturating_sub(ENDING);
        Self::of_boundaries(boundaries.get(settled).unwrap_or_default())
    }

    /// The same where only the number is known, not where its boundaries lie.
    pub fn where_it_fits(ripple: &[Complex32], number: &Attempt) -> Self {
        let fold = Fold::new(ripple, number.inverts);
        let signs = &number.decision.signs;
        let mut best = (0.0, 0.0);
        for timing in 0..BIT {
            let seen = fold.boundaries(timing as f64);
            for bits in 0..TELEGRAM_BITS {
                let signs = signs_along(signs, number.inverts, -(bits as isize), TELEGRAM_BITS);
                let along = seen
                    .sums
                    .iter()
                    .zip(signs)
                    .map(|(y, sign)| y * f64::from(sign));
                let power = along.sum::<Complex64>().norm_sqr();
                if power > best.0 {
                    best = (power, (timing + bits * BIT) as f64);
                }
            }
        }
        let attempt = Attempt {
            timing: best.1,
            ..number.clone()
        };
        Self::of(ripple, &attempt)
    }

    /// Of boundaries one by one.
    pub fn of_boundaries(boundaries: &[Boundary]) -> Self {
        let pulse = |x: &Group| -> Complex64 {
            let (before, after) = x.split_at(GROUPS / 2);
            after.iter().sum::<Complex64>() - before.iter().sum::<Complex64>()
        };
        let own: Complex64 = boundaries.iter().map(|one| pulse(&one.around)).sum();
        let unit = own / (boundaries.len() * GROUPS).max(1) as f64;
        let each = boundaries.len().div_ceil(STRETCHES).max(1);
        let each = each.next_multiple_of(TELEGRAM_BITS);
        let mut all = Self {
            all: Sums::none(),
            stretches: vec![Sums::none(); boundaries.len().div_ceil(each)],
            beside: [0; TELEGRAM_BITS],
            products: DMatrix::zeros(GROUPS, GROUPS),
        };
        for (index, boundary) in boundaries.iter().enumerate() {
            let place = boundary.place;
            let x = boundary.around.map(|value| value / unit);
            all.all.add(place, &x, 1.0);
            all.stretches[index / each].add(place, &x, 1.0);
            all.beside[place] = boundary.beside;
            for column in 0..GROUPS {
                for row in 0..GROUPS {
                    all.products[(row, column)] += x[row] * x[column].conj();
                }
            }
        }
        all
    }

    /// Another piece's, of the same number.
    pub fn add(&mut self, other: &Self) {
        for place in 0..TELEGRAM_BITS {
            if self.all.counts[place] == 0.0 {
                self.beside[place] = other.beside[place];
            }
            (self.all).add(place, &other.all.sums[place], other.all.counts[place]);
        }
        self.stretches.extend(other.stretches.iter().cloned());
        self.products += &other.products;
    }

    /// What telegrams differ by from their mean: Σ x·xᴴ, and in how many boundaries.
    pub fn differences(&self) -> (DMatrix<Complex64>, f64) {
        let mut left = self.products.clone();
        let mut freedoms = 0.0;
        for (sum, &count) in self.all.sums.iter().zip(&self.all.counts) {
            if count > 0.0 {
                let sum = DVector::from_column_slice(sum);
                left -= &sum * sum.adjoint() / Complex64::from(count);
                freedoms += count - 1.0;
            }
        }
        (left, freedoms)
    }

    /// Height of the ripple in so many parts of the telegram, relative to the whole; `None` of parts that are not in the record.
    pub fn heights(&self, parts: usize) -> Vec<Option<f64>> {
        let mean = |places: std::ops::Range<usize>| {
            let count: f64 = self.all.counts[places.clone()].iter().sum();
            let mut sum = Group::default();
            for (sum, g) in sum.iter_mut().zip(0..) {
                *sum = places.clone().map(|place| self.all.sums[place][g]).sum();
            }
            (count > 0.0).then(|| sum.map(|value| value / count))
        };
        let along =
            |a: &Group, b: &Group| -> f64 { a.iter().zip(b).map(|(a, b)| (a * b.conj()).re).sum() };
        let Some(all) = mean(0..TELEGRAM_BITS) else {
            return vec![None; parts];
        };
        let each = TELEGRAM_BITS / parts;
        (0..parts)
            .map(|part| {
                let here = mean(part * each..(part + 1) * each)?;
                Some(along(&here, &all) / along(&all, &all).max(f64::MIN_POSITIVE))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linecode::boundary_signs;
    use crate::receiver::decision::{Boundaries, Known, decide};
    use crate::receiver::fold::shape::Shape;
    use crate::telegram::Telegram;

    /// A number's ideal ripple from some cell on, and the attempt that says so.
    fn ripple_of(code: u64, timing: usize, length: usize) -> (Vec<Complex32>, Attempt) {
        let signs = boundary_signs(&Telegram::new(code).bits(), 1);
        let inverts = signs[TELEGRAM_BITS] != signs[0];
        let signs: [i8; TELEGRAM_BITS] = std::array::from_fn(|j| signs[j]);
        let all = signs_along(&signs, inverts, -4, length / BIT + 8);
        let mut ripple = vec![Complex32::default(); length];
        for (k, sign) in all.iter().enumerate() {
            let middle = timing as isize + (k as isize - 4) * BIT as isize;
            for (at, side) in (middle - HALF as isize..middle + HALF as isize).zip(0..) {
                let before = if side < HALF { -1.0 } else { 1.0 };
                if let Some(value) = usize::try_from(at).ok().and_then(|at| ripple.get_mut(at)) {
                    *value = Complex32::new(0.6, 0.8) * f32::from(*sign) * before;
                }
            }
        }
        let sums = Fold::new(&ripple, inverts).boundaries(timing as f64);
        let decision = decide(&Boundaries {
            sums: sums.along(sums.axis()).0,
            energies: sums.energies,
            overlap: 0.0,
            noise_var: 0.01,
            inverts,
            amplitude: None,
            known: Known::Nothing,
        })
        .expect("a telegram");
        assert_eq!(decision.telegram.code, code);
        let attempt = Attempt {
            decision,
            span: 0..length,
            timing: timing as f64,
            inverts,
            angle: 0.0,
            depth: 1.0,
            shape: Shape::ideal(),
            telegrams: 1.0,
            ebn0: 10.0,
            ideal_edges: true,
        };
        (ripple, attempt)
    }

    /// Where the boundaries are taken from the attempt and where they are searched for: in each place a pulse along the sign.
    #[test]
    fn every_boundary_lies_in_its_place() {
        for code in [1 << 63 | 999 << 38 | 4_711, 1 << 63 | 999 << 38 | 4_712] {
            for timing in [3, 20, 31] {
                let (ripple, attempt) = ripple_of(code, timing, 9_000);
                for around in [
                    Surroundings::of(&ripple, &attempt),
                    Surroundings::where_it_fits(&ripple, &attempt),
                ] {
                    let all: f64 = around.all.counts.iter().sum();
                    let begin = (timing + HALF) % BIT;
                    let whole = (9_000 - begin) / BIT;
                    assert_eq!(all as usize, whole - SETTLING - ENDING);
                    for (sum, count) in around.all.sums.iter().zip(around.all.counts) {
                        for (g, value) in sum.iter().enumerate() {
                            let pulse = if g < GROUPS / 2 { -1.0 } else { 1.0 };
                            assert!((value - pulse * count).norm() < 1e-5, "{code:X} {timing}");
                        }
                    }
                    assert!(around.differences().0.norm() < 1e-4);
                    assert_eq!(around.differences().1, all - 128.0);
                }
            }
        }
    }
}
