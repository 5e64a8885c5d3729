//! Eigenvalues and eigenvectors of one switched circuit, and its answer to each reader's drive.

use super::clamp::Shunt;
use super::network::Network;
use nalgebra::{DMatrix, DVector, Schur};
use num_complex::Complex64;

/// Everything needed to evaluate one switch position exactly at any time.
#[derive(Debug)]
pub(super) struct Modes {
    /// Eigenvalues in 1/s.
    pub rates: DVector<Complex64>,
    /// Eigenvectors as columns, in state units.
    pub vectors: DMatrix<Complex64>,
    inverse: DMatrix<Complex64>,
    /// Settled answer of the state to each reader's drive alone, switched on.
    pub steady: Vec<DVector<Complex64>>,
    /// System matrix, kept for probes that take a derivative.
    pub matrix: DMatrix<f64>,
    /// Inputs per volt.
    pub inputs: Vec<DVector<f64>>,
}

impl Modes {
    /// Solves the network for these switches.
    pub fn new(network: &Network, closed: &[bool], clamps: &[Shunt]) -> Self {
        let linear = network.linear(closed, clamps);
        let scale = network.scale();
        let states = network.states();
        let size = network.omega(0);
        let scaled = DMatrix::from_fn(states, states, |row, column| {
            Complex64::from(linear.matrix[(row, column)] * scale[row] / scale[column] / size)
        });
        let (unitary, upper) = Schur::new(scaled).unpack();
        let values = upper.diagonal();
        let mut triangle = DMatrix::<Complex64>::identity(states, states);
        for column in 0..states {
            for row in (0..column).rev() {
                let sum: Complex64 = (row + 1..=column)
                    .map(|inner| upper[(row, inner)] * triangle[(inner, column)])
                    .sum();
                let mut gap = values[column] - values[row];
                // Equal eigenvalues are pushed apart by a rounding error, as LAPACK does; the result then is exact for a
                // circuit whose components differ by 1e-12.
                if gap.norm() < 1e-12 {
                    gap = Complex64::from(1e-12);
                }
                triangle[(row, column)] = sum / gap;
            }
        }
        let mut vectors = unitary * triangle;
        for column in 0..states {
            let norm = vectors.column(column).norm();
            for row in 0..states {
                vectors[(row, column)] /= norm * scale[row];
            }
        }
        let scaled_vectors = DMatrix::from_fn(states, states, |row, column| {
            vectors[(row, column)] * scale[row]
        });
        let inverse = scaled_vectors
            .try_inverse()
            .expect("eigenvectors of a triangular matrix with unit diagonal are independent");
        let inverse = DMatrix::from_fn(states, states, |row, column| {
            inverse[(row, column)] * scale[column]
        });
        let steady = (0..linear.inputs.len())
            .map(|reader| {
                let answer = settled_answer(
                    &linear.matrix,
                    &linear.inputs[reader],
                    network.omega(reader),
                );
                answer * network.drive(reader)
            })
            .collect();
        Modes {
            rates: values * Complex64::from(size),
            vectors,
            inverse,
            steady,
            matrix: linear.matrix,
            inputs: linear.inputs,
        }
    }

    /// How much of each mode is in this state.
    pub fn split(&self, state: &DVector<f64>) -> DVector<Complex64> {
        &self.inverse * state.map(Complex64::from)
    }
}

/// Solves (jω − A)·x = b.
pub(super) fn settled_answer(
    matrix: &DMatrix<f64>,
    input: &DVector<f64>,
    omega: f64,
) -> DVector<Complex64> {
    let system = DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |row, column| {
        let own = if row == column { omega } else { 0.0 };
        Complex64::new(-matrix[(row, column)], own)
    });
    system
        .lu()
        .solve(&input.map(Complex64::from))
        .expect("a circuit with resistance has no undamped resonance")
}

#[cfg(test)]
mod tests {
    use super::super::network::tests::{reader, tag};
    use super::super::parts::Modulator;
    use super::*;

    /// V·exp(Λt)·V⁻¹ is the matrix exponential (nalgebra's Padé form), also for a nearly critically damped tag (R = ½√(L/C)) and
    /// for two equal tanks that hardly couple.
    #[test]
    fn modes_are_the_matrix_exponential() {
        let critical = (2.4e-3_f64 / tag(30.0, 134_200.0, 1.0).capacitance_f).sqrt() / 2.0;
        let mut twin = tag(20.0, 134_200.0, 500.0);
        twin.modulator = Modulator::Capacitor {
            farad: 100e-12,
            ohm: 50.0,
        };
        for (tag, k) in [
            (tag(30.0, 134_200.0, 200.0), 0.01),
            (tag(30.0, 139_000.0, 20_000.0), 0.05),
            (tag(1e9, 134_200.0, critical), 1e-3),
            (tag(20.0, 134_200.0, 1e9), 1e-9),
            (twin, 0.02),
        ] {
            let network = Network::pair(reader(20.0, 134_200.0), tag, k).unwrap();
            for closed in [false, true] {
                let modes = Modes::new(&network, &[closed], &[Shunt::default()]);
                let time = 40e-6;
                let growth = DMatrix::from_diagonal(&modes.rates.map(|rate| (rate * time).exp()));
                let got = &modes.vectors * growth * &modes.inverse;
                let scale = network.scale();
                let linear = network.linear(&[closed], &[Shunt::default()]).matrix;
                let scaled = DMatrix::from_fn(linear.nrows(), linear.ncols(), |r, c| {
                    linear[(r, c)] * scale[r] / scale[c] * time
                });
                let want = scaled.exp();
                for r in 0..want.nrows() {
                    for c in 0..want.ncols() {
                        let value = got[(r, c)] * scale[r] / scale[c];
                        assert!(
                            (value - want[(r, c)]).norm() < 1e-6,
                            "{value} {}",
                            want[(r, c)]
                        );
                    }
                }
                // A passive circuit: nothing grows.
                assert!(
                    modes.rates.iter().all(|rate| rate.re <= 1e-3),
                    "{}",
                    modes.rates
                );
            }
        }
    }
}
