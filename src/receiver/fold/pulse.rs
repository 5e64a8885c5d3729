//! The boundary pulse as it arrives: fitted to the ripple once its signs are known, and laid out again as a waveform.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::shape::Shape;
use super::sums::{BIT, HALF};
use crate::receiver::dsp::phasor::{single, wide};
use crate::receiver::front::edge::Edge;

/// Pulse values before the boundary: half a bit, and as much again as the receiver's band smears it.
const BEFORE: usize = 2 * BIT;
/// Pulse values after the boundary: the tanks' memory. Q 60 leaves e^-6 of the ripple after four bits.
const AFTER: usize = 4 * BIT;

/// Response to one boundary: what +1 at a boundary adds to the ripple, from 64 cycles before it to 128 after.
#[derive(Clone, Debug)]
pub struct Pulse {
    values: Vec<Complex64>,
    /// Complex numbers that were free in fitting it.
    pub free: usize,
}

impl Pulse {
    /// Changes of the load between its two states, half a bit each, as the tanks and the receiver's band pass them, for a
    /// ripple of ±1. `fraction` (0…1) is where between two cells the boundary lies.
    pub fn of(shape: &Shape, fraction: f64, edge: &Edge) -> Self {
        let half = HALF as f64;
        let mut values: Vec<Complex64> = (0..BEFORE + AFTER)
            .map(|cell| {
                // A boundary "at" cell n comes between the values of cells n − 1 and n.
                let time = cell as f64 + 0.5 - BEFORE as f64 - fraction;
                let step = 2.0 * edge.at(time) - edge.at(time + half) - edge.at(time - half);
                Complex64::new(step, 0.0)
            })
            .collect();
        shape.smear(&mut values);
        Self { values, free: 1 }
    }

    /// Least-squares pulses for ripple with boundaries at `timing + 32·j` (whole cycles) of the given signs (0 =
    /// outside): first one bit either side of the boundary, then one with a memory of four bits if that dies away as a
    /// tank's memory must (another tag's copy of the telegram, shifted, does not).
    pub fn fits(ripple: &[Complex32], timing: isize, signs: &[i8]) -> Vec<Self> {
        let short = Self::fit::<2>(ripple, timing, signs);
        let long = Self::fit::<5>(ripple, timing, signs).filter(Self::dies_away);
        short.into_iter().chain(long).collect()
    }

    /// Fits `LAGS` bits from one bit before the boundary on. `None` where the signs do not determine it.
    ///
    /// Each of the 32 phases within a bit is a separate problem of `LAGS` unknowns with one shared matrix: the signs'
    /// autocorrelation.
    fn fit<const LAGS: usize>(ripple: &[Complex32], timing: isize, signs: &[i8]) -> Option<Self> {
        // Row of bit j: the signs of boundaries j + 1 (from before) down to j + 2 − LAGS, which reach its cells; 0 outside.
        let sign = |j: isize| -> f64 {
            let known = usize::try_from(j).ok().and_then(|j| signs.get(j));
            known.map_or(0.0, |&sign| f64::from(sign))
        };
        let rows: Vec<[f64; LAGS]> = (-1..signs.len() as isize)
            .map(|j| std::array::from_fn(|lag| sign(j + 1 - lag as isize)))
            .collect();
        let mut shared: Option<(Range<usize>, [[f64; LAGS]; LAGS])> = None;
        let mut values = vec![Complex64::default(); BEFORE + AFTER];
        for phase in 0..BIT {
            // Cell of row 0, and the rows whose cell lies in the ripple.
            let origin = timing - BIT as isize + phase as isize;
            let bits = |cells: isize| (cells.max(0) as usize).div_ceil(BIT).min(rows.len());
            let inside = bits(-origin)..bits(ripple.len() as isize - origin);
            let mut right = [Complex64::default(); LAGS];
            for k in inside.clone() {
                let value = wide(ripple[(origin + (BIT * k) as isize) as usize]);
                for (right, sign) in right.iter_mut().zip(rows[k]) {
                    *right += value * sign;
                }
            }
            // Most phases share their matrix with the one before.
            let matrix = match &shared {
                Some((rows, matrix)) if *rows == inside => *matrix,
                _ => {
                    let matrix = products(&rows[inside.clone()]);
                    shared = Some((inside, matrix));
                    matrix
                }
            };
            let solution = solve(matrix, right)?;
            for (lag, value) in solution.into_iter().enumerate() {
                values[BEFORE - BIT + lag * BIT + phase] = value;
            }
        }
        Some(Self {
            values,
            free: LAGS * BIT,
        })
    }

    /// Whether each bit after the first has at most half the energy of the one before (Q 60 leaves 4 %), or next to
    /// none of the whole.
    fn dies_away(&self) -> bool {
        let energy = |bit: usize| -> f64 {
            let from = BEFORE + bit * BIT;
            self.values[from..from + BIT]
                .iter()
                .map(|v| v.norm_sqr())
                .sum()
        };
        let total: f64 = self.values.iter().map(|v| v.norm_sqr()).sum();
        (1..AFTER / BIT).all(|bit| energy(bit) <= (0.5 * energy(bit - 1)).max(0.01 * total))
    }

    /// Adds (or with `gain` −1 removes) the waveform of boundaries at `timing + 32·j` of the given signs.
    pub fn add_to(&self, ripple: &mut [Complex32], timing: isize, signs: &[i8], gain: f64) {
        let values: Vec<Complex32> = self.values.iter().map(|v| single(v * gain)).collect();
        for (j, &sign) in signs.iter().enumerate().filter(|(_, sign)| **sign != 0) {
            let begin = timing + (BIT * j) as isize - BEFORE as isize;
            let outside = usize::try_from(-begin).unwrap_or(0).min(values.len());
            let from = usize::try_from(begin).unwrap_or(0).min(ripple.len());
            let sign = f32::from(sign);
            for (cell, value) in ripple[from..].iter_mut().zip(&values[outside..]) {
                *cell += value * sign;
            }
        }
    }
}

/// Σ row·rowᵀ.
fn products<const N: usize>(rows: &[[f64; N]]) -> [[f64; N]; N] {
    let mut matrix = [[0.0; N]; N];
    for row in rows {
        for (line, a) in matrix.iter_mut().zip(row) {
            for (sum, b) in line.iter_mut().zip(row) {
                *sum += a * b;
            }
        }
    }
    matrix
}

/// Gaussian elimination with pivoting; `None` where the matrix is close to singular.
fn solve<const N: usize>(
    mut matrix: [[f64; N]; N],
    mut right: [Complex64; N],
) -> Option<[Complex64; N]> {
    let scale = matrix.iter().flatten().fold(0.0f64, |m, v| m.max(v.abs()));
    for column in 0..N {
        let pivot = (column..N)
            .max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))?;
        if matrix[pivot][column].abs() <= 1e-6 * scale {
            return None;
        }
        matrix.swap(column, pivot);
        right.swap(column, pivot);
        for row in column + 1..N {
            let factor = matrix[row][column] / matrix[column][column];
            let pivot_row = matrix[column];
            for (value, pivot) in matrix[row].iter_mut().zip(pivot_row).skip(column) {
                *value -= factor * pivot;
            }
            let taken = right[column] * factor;
            right[row] -= taken;
        }
    }
    for column in (0..N).rev() {
        for k in column + 1..N {
            let known = right[k] * matrix[column][k];
            right[column] -= known;
        }
        right[column] /= matrix[column][column];
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_laid_out_pulse_is_fitted_back() {
        let signs: Vec<i8> = (0..300u32)
            .map(|j| {
                if j.wrapping_mul(2_654_435_761) >> 31 == 1 {
                    1
                } else {
                    -1
                }
            })
            .collect();
        let mut pulse = Pulse::of(&Shape::ideal(), 0.37, &Edge::ideal());
        pulse
            .values
            .iter_mut()
            .for_each(|v| *v *= Complex64::new(0.01, -0.003));
        let mut ripple = vec![Complex32::default(); 300 * BIT];
        pulse.add_to(&mut ripple, 11, &signs, 1.0);
        let fitted = &Pulse::fits(&ripple, 11, &signs)[0];
        for (a, b) in fitted.values.iter().zip(&pulse.values) {
            assert!((a - b).norm() < 1e-6);
        }
        fitted.add_to(&mut ripple, 11, &signs, -1.0);
        assert!(ripple.iter().all(|r| r.norm() < 1e-6));
    }
}
