//! How the tuned circuits shape the ripple: one complex pole, and the filter matched to it.
//!
//! A tank of bandwidth B whose resonance lies D off the field answers a change of the load with e^{−2π(B + jD)t}. Seen
//! through the filter matched to that, boundaries are again square pulses with a sum each, so everything that works on
//! ideal edges works on the filtered ripple; what differs is the energy of a pulse and that neighbours overlap.

use std::f64::consts::TAU;
use std::sync::LazyLock;

use num_complex::{Complex32, Complex64};

use super::sums::{BIT, Fold, HALF, TELEGRAM};

/// Below this bandwidth (cycles of the field, Hz over the field frequency) the memory outlasts the four bits that a
/// fitted pulse is laid out for: Q 130.
const NARROWEST: f64 = 0.004;

/// Above this the shape cannot be told from ideal edges: its rise takes a cycle.
const WIDEST: f64 = 0.1;

/// Bandwidths tried blind, in cycles per field cycle: 4.0, 2.0, 1.0 and 0.6 kHz of 134.2. A pole off by √2 loses 0.13 dB.
const BANDWIDTHS: [f64; 4] = [0.030, 0.015, 0.0075, 0.0045];

/// Detunings tried with each bandwidth, in bandwidths. Half a bandwidth off loses 0.26 dB.
const DETUNINGS: [f64; 5] = [0.0, -1.0, 1.0, -2.0, 2.0];

/// Bits until what a pulse leaves is forgotten when its energy is summed: e^−25 at the narrowest.
pub(in crate::receiver) const MEMORY_BITS: usize = 32;

/// The response of the two tuned circuits to a change of the load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shape {
    /// Bandwidth and detuning as shares of the field frequency; `None` = ideal edges.
    pole: Option<Complex64>,
    /// Energy of a boundary pulse, relative to one with ideal edges and the same load states.
    pub energy: f64,
    /// Correlation of a pulse with the next one, as a share of its energy.
    pub overlap: f64,
}

impl Shape {
    /// Edges that take no time.
    pub fn ideal() -> Self {
        Self {
            pole: None,
            energy: 1.0,
            overlap: 0.0,
        }
    }

    /// One pole of this bandwidth and detuning, in cycles per field cycle (Hz over the field frequency).
    pub fn one_pole(bandwidth: f64, detuning: f64) -> Self {
        let bandwidth = bandwidth.clamp(NARROWEST, WIDEST);
        let mut shape = Self {
            pole: Some(Complex64::new(bandwidth, detuning)),
            ..Self::ideal()
        };
        let mut pulse = vec![Complex64::default(); MEMORY_BITS * BIT];
        pulse[..HALF].fill(Complex64::new(-1.0, 0.0));
        pulse[HALF..BIT].fill(Complex64::new(1.0, 0.0));
        shape.smear(&mut pulse);
        let energy: f64 = pulse.iter().map(|v| v.norm_sqr()).sum();
        let overlap: f64 = pulse
            .iter()
            .zip(&pulse[BIT..])
            .map(|(a, b)| (a.conj() * b).re)
            .sum();
        shape.energy = energy / BIT as f64;
        shape.overlap = overlap / energy;
        shape
    }

    /// Shapes tried where ideal edges give no number. `real`: no carrier, so no detuning shows.
    pub fn bank(real: bool) -> &'static [Self] {
        static ALL: LazyLock<Vec<Shape>> = LazyLock::new(|| Shape::grid(&DETUNINGS));
        static UNDETUNED: LazyLock<Vec<Shape>> = LazyLock::new(|| Shape::grid(&[0.0]));
        if real { &UNDETUNED } else { &ALL }
    }

    fn grid(detunings: &[f64]) -> Vec<Self> {
        BANDWIDTHS
            .iter()
            .flat_map(|&bandwidth| {
                detunings
                    .iter()
                    .map(move |&detuning| Self::one_pole(bandwidth, detuning * bandwidth))
            })
            .collect()
    }

    /// Shapes one step of `share` of the bandwidth away.
    pub fn neighbours(&self, share: f64, real: bool) -> Vec<Self> {
        let Some(pole) = self.pole else {
            return Vec::new();
        };
        let (bandwidth, detuning) = (pole.re, pole.im);
        let mut near = vec![
            Self::one_pole(bandwidth * (1.0 + share), detuning),
            Self::one_pole(bandwidth / (1.0 + share), detuning),
        ];
        if !real {
            near.push(Self::one_pole(bandwidth, detuning + share * bandwidth));
            near.push(Self::one_pole(bandwidth, detuning - share * bandwidth));
        }
        near
    }

    /// Whether edges take no time.
    pub fn is_ideal(&self) -> bool {
        self.pole.is_none()
    }

    /// What a cycle leaves of the ripple before.
    fn decay(&self) -> Option<Complex64> {
        self.pole.map(|pole| (-TAU * pole).exp())
    }

    /// Running backwards, what the matched filter takes of a cycle, and what it keeps of those behind.
    pub(in crate::receiver) fn backwards(&self) -> (Complex64, Complex64) {
        let decay = self.decay().unwrap_or_default().conj();
        (1.0 - decay, decay)
    }

    /// The load's pulse → the ripple's: the pole's response, in place.
    pub fn smear(&self, pulse: &mut [Complex64]) {
        let Some(decay) = self.decay() else { return };
        let mut before = Complex64::default();
        for value in pulse {
            before = *value * (1.0 - decay) + before * decay;
            *value = before;
        }
    }

    /// Cells → what the filter matched to the shape makes of them, in place: its response backwards in time, from what it kept of those
    /// behind. Gives what it keeps of these.
    pub(in crate::receiver) fn filter_backwards(
        &self,
        cells: &mut [Complex64],
        behind: Complex64,
    ) -> Complex64 {
        let (gain, decay) = self.backwards();
        let mut after = behind;
        for cell in cells.iter_mut().rev() {
            after = *cell * gain + after * decay;
            *cell = after;
        }
        after
    }

    /// A fold seen through the filter matched to the shape, around the telegram.
    pub fn matched_fold(&self, fold: &Fold) -> Fold {
        if self.is_ideal() {
            return fold.clone();
        }
        let seam = if fold.inverts { -1.0 } else { 1.0 };
        // Once around over what the narrowest shape remembers, so that the seam is nowhere.
        let mut beyond = fold.sums[..(MEMORY_BITS * BIT).min(TELEGRAM)].to_vec();
        beyond.iter_mut().for_each(|cell| *cell *= seam);
        let behind = self.filter_backwards(&mut beyond, Complex64::default());
        let mut sums = fold.sums.clone();
        self.filter_backwards(&mut sums, behind);
        Fold {
            sums,
            counts: fold.counts.clone(),
            inverts: fold.inverts,
        }
    }

    /// A stretch seen through the filter matched to the shape.
    pub fn matched(&self, ripple: &[Complex32]) -> Vec<Complex32> {
        let mut filtered = ripple.to_vec();
        let Some(decay) = self.decay() else {
            return filtered;
        };
        let single = |value: Complex64| Complex32::new(value.re as f32, value.im as f32);
        let (gain, decay) = (single(1.0 - decay.conj()), single(decay.conj()));
        let mut after = Complex32::default();
        for value in filtered.iter_mut().rev() {
            after = *value * gain + after * decay;
            *value = after;
        }
        filtered
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Energies and overlaps of a pulse through one pole, integrated in continuous time (scipy.integrate.quad).
    ///
    /// The discrete pulse is exact at the ends of cells. A sum over cells errs from the integral by 1/12 of the jumps of
    /// the derivative of |g|² (Euler–Maclaurin), which at the three changes of the load add up to 6|s| at most.
    #[test]
    fn energy_and_overlap_are_those_of_the_integral() {
        let field = 134_200.0;
        for (bandwidth_hz, detuning_hz, energy_db, overlap) in [
            (3400.0, 0.0, -3.26645, -0.150274),
            (3400.0, 3400.0, -0.15728, -0.021530),
            (1100.0, 0.0, -8.94183, -0.236090),
            (1100.0, 1100.0, -4.74884, -0.318593),
            (1100.0, -2200.0, 0.82318, -0.325897),
        ] {
            let shape = Shape::one_pole(bandwidth_hz / field, detuning_hz / field);
            let found_db = 10.0 * shape.energy.log10();
            let step = TAU * f64::hypot(bandwidth_hz, detuning_hz) / field;
            let share = 0.5 * step / (BIT as f64 * 10f64.powf(energy_db / 10.0));
            let tolerance_db = 10.0 * share.ln_1p() / std::f64::consts::LN_10 + 1e-4;
            let about = format!("{bandwidth_hz} {detuning_hz}: {found_db} {shape:?}");
            assert!((found_db - energy_db).abs() < tolerance_db, "{about}");
            // Products of two pulses err alike.
            assert!((shape.overlap - overlap).abs() < 2.0 * share, "{about}");
        }
    }

    /// A train of smeared pulses gives, matched, sums of energy and overlap times the signs.
    #[test]
    fn matched_sums_are_energy_and_overlap() {
        let shape = Shape::one_pole(0.0082, 0.004);
        let sign = |j: usize| if (j * j + j / 3) % 5 < 2 { -1.0 } else { 1.0 };
        let mut train = vec![Complex64::default(); 2 * TELEGRAM];
        for j in 0..256 {
            for k in 0..BIT {
                let step = if k < HALF { -1.0 } else { 1.0 };
                // The pulse of boundary j lies half a bit to either side of it.
                let cell = (j * BIT + k + 2 * TELEGRAM - HALF) % (2 * TELEGRAM);
                train[cell] += sign(j % 128) * step;
            }
        }
        shape.smear(&mut train);
        let ripple: Vec<Complex32> = train[TELEGRAM..]
            .iter()
            .map(|v| Complex32::new(v.re as f32, v.im as f32))
            .collect();
        let sums = shape
            .matched_fold(&Fold::new(&ripple, false))
            .boundaries(0.0);
        for j in 0..128 {
            let near = sign((j + 1) % 128) + sign((j + 127) % 128);
            let expected = shape.energy * (sign(j) + shape.overlap * near);
            // What lies two and more bits apart is below 5 % of the energy each way.
            assert!(
                (sums.sums[j].re - expected).abs() < 0.12 * shape.energy,
                "{j}: {} {expected}",
                sums.sums[j]
            );
        }
    }
}
