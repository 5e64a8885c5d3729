//! The carrier e^{jωt} at the sample times, fast and the same everywhere.

use num_complex::Complex64;

/// Samples between two phases that are worked out anew.
const STEP: usize = 64;

/// Rotates complex envelopes by e^{j(ωt+φ)}.
///
/// A table of e^{jωk} for 64 samples is turned by the phase of every 64th sample, which is worked out from the sample's
/// index: errors do not add up (a recurrence over all samples would need renormalising and still drift in phase).
#[derive(Clone, Debug)]
pub(super) struct Carrier {
    cycles_per_sample: f64,
    start_cycles: f64,
    table: [Complex64; STEP],
}

/// e^{2πj·cycles}
fn turn(cycles: f64) -> Complex64 {
    let (sin, cos) = libm::sincos((cycles - cycles.floor()) * std::f64::consts::TAU);
    Complex64::new(cos, sin)
}

impl Carrier {
    pub(super) fn new(cycles_per_sample: f64, start_cycles: f64) -> Self {
        Self {
            cycles_per_sample,
            start_cycles,
            table: std::array::from_fn(|k| turn(k as f64 * cycles_per_sample)),
        }
    }

    /// Multiplies the envelope of the samples from index `first` by the carrier.
    pub(super) fn rotate(&self, first: u64, re: &mut [f64], im: &mut [f64]) {
        for (step, (re, im)) in re.chunks_mut(STEP).zip(im.chunks_mut(STEP)).enumerate() {
            let index = first as f64 + (step * STEP) as f64;
            let anchor = turn(index * self.cycles_per_sample + self.start_cycles);
            for ((re, im), entry) in re.iter_mut().zip(im.iter_mut()).zip(&self.table) {
                let cos = anchor.re * entry.re - anchor.im * entry.im;
                let sin = anchor.re * entry.im + anchor.im * entry.re;
                (*re, *im) = (*re * cos - *im * sin, *re * sin + *im * cos);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against one libm call a sample. Phases are products of an index below 2^30 and a rounded ratio: 2^30·2^-53 cycles.
    #[test]
    fn the_table_agrees_with_a_sine_for_every_sample() {
        for (cycles_per_sample, start) in [(0.1342, 0.0), (0.698_958_333, 0.25), (-0.01, 0.9)] {
            let carrier = Carrier::new(cycles_per_sample, start);
            for first in [0u64, 1000, 1 << 30] {
                let (mut re, mut im) = (vec![1.0; 1000], vec![0.0; 1000]);
                carrier.rotate(first, &mut re, &mut im);
                for k in 0..1000 {
                    let cycles = (first + k as u64) as f64 * cycles_per_sample + start;
                    let slow = turn(cycles);
                    let error = (re[k] - slow.re).abs().max((im[k] - slow.im).abs());
                    assert!(error < 2e-6, "{first}+{k}: {error}");
                    if first == 0 {
                        assert!(error < 2e-12, "{k}: {error}");
                    }
                }
            }
        }
    }
}
