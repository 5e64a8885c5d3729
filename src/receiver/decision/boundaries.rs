//! What a fold says of the boundaries between bits.

use super::known::Known;
use crate::telegram::TELEGRAM_BITS;

/// Soft boundary signs of a folded telegram: `sums[j] = amplitude·(energies[j]·sign_j + what the neighbours' pulses
/// overlap) + noise`, the noise normal with variance `noise_var·energies[j]` and as correlated as the pulses overlap.
#[derive(Clone, Debug)]
pub struct Boundaries {
    /// Correlation with the boundary pulse, summed over the telegrams folded.
    pub sums: [f64; TELEGRAM_BITS],
    /// Number of whole boundary pulses in each sum.
    pub energies: [f64; TELEGRAM_BITS],
    /// Correlation of a pulse with its neighbour, as a share of its energy: 0 for ideal edges, down to −⅓ for tanks
    /// slower than the bits.
    pub overlap: f64,
    /// Noise variance of one whole boundary pulse's correlation.
    pub noise_var: f64,
    /// The fold took each telegram as inverted against the one before.
    pub inverts: bool,
    /// The amplitude where it is known from elsewhere; else it is estimated.
    pub amplitude: Option<f64>,
    /// What is taken as known of the number.
    pub known: Known,
}

impl Boundaries {
    /// Amplitude from the sums alone, signs unknown: E y² = a²e²(1 + 2·overlap²) + noise_var·e.
    pub(super) fn blind_amplitude(&self) -> f64 {
        let excess: f64 = self
            .sums
            .iter()
            .zip(&self.energies)
            .map(|(y, e)| y * y - self.noise_var * e)
            .sum();
        let squares: f64 = self.energies.iter().map(|e| e * e).sum();
        let weight = squares * (1.0 + 2.0 * self.overlap * self.overlap);
        // At least a quarter of what noise alone suggests, so that hopeless captures stay well-defined.
        let least = 0.25 * self.noise_var * self.energies.iter().sum::<f64>() / weight.max(1e-300);
        (excess / weight.max(1e-300)).max(least).sqrt()
    }

    pub(super) fn llr(&self, amplitude: f64) -> [f64; TELEGRAM_BITS] {
        std::array::from_fn(|j| 2.0 * amplitude * self.sums[j] / self.noise_var)
    }

    pub(super) fn amplitude_along(&self, signs: &[i8; TELEGRAM_BITS]) -> f64 {
        let along: f64 = self
            .sums
            .iter()
            .zip(signs)
            .map(|(y, &b)| y * f64::from(b))
            .sum();
        along / self.energy_of(signs).max(1e-300)
    }

    /// Energy that boundaries j and j + 1 share.
    fn shared(&self, j: usize) -> f64 {
        let next = self.energies[(j + 1) % TELEGRAM_BITS];
        self.overlap * (self.energies[j] * next).max(0.0).sqrt()
    }

    /// Energy of the ripple of unit amplitude with these signs.
    pub(super) fn energy_of(&self, signs: &[i8; TELEGRAM_BITS]) -> f64 {
        let own: f64 = self.energies.iter().sum();
        let pairs: f64 = (0..TELEGRAM_BITS)
            .map(|j| self.shared(j) * f64::from(signs[j] * self.after(signs, j)))
            .sum();
        own + 2.0 * pairs
    }

    /// Sign after boundary j, across the seam with its change.
    pub(super) fn after(&self, signs: &[i8; TELEGRAM_BITS], j: usize) -> i8 {
        match signs.get(j + 1) {
            Some(&sign) => sign,
            None if self.inverts => -signs[0],
            None => signs[0],
        }
    }

    /// How the log-likelihood depends on neighbouring signs: −overlap for equal, + for unequal ones.
    pub(super) fn overlaps(&self, amplitude: f64) -> [f64; TELEGRAM_BITS] {
        std::array::from_fn(|j| amplitude * amplitude * self.shared(j) / self.noise_var)
    }

    /// What the log-likelihood of a word leaves out, each sign and bit counted as a share of both its values there.
    pub(super) fn log_aside(&self, amplitude: f64) -> f64 {
        let signs: f64 = self
            .llr(amplitude)
            .iter()
            .map(|l| log_two_cosh(0.5 * l))
            .sum();
        let bits: f64 = self
            .overlaps(amplitude)
            .iter()
            .map(|o| log_two_cosh(*o) - std::f64::consts::LN_2)
            .sum();
        let energy: f64 = self.energies.iter().sum();
        signs + bits - 0.5 * amplitude * amplitude * energy / self.noise_var
    }

    /// Log-likelihood ratios once the signs are known: what neighbours add is removed.
    pub(super) fn llr_given(
        &self,
        signs: &[i8; TELEGRAM_BITS],
        amplitude: f64,
    ) -> [f64; TELEGRAM_BITS] {
        let mut llr = self.llr(amplitude);
        let overlaps = self.overlaps(amplitude);
        for j in 0..TELEGRAM_BITS {
            let next = (j + 1) % TELEGRAM_BITS;
            let after = self.after(signs, j);
            let turned = after * signs[next];
            llr[j] -= 2.0 * overlaps[j] * f64::from(after);
            llr[next] -= 2.0 * overlaps[j] * f64::from(signs[j] * turned);
        }
        llr
    }
}

fn log_two_cosh(x: f64) -> f64 {
    x.abs() + (-2.0 * x.abs()).exp().ln_1p()
}
