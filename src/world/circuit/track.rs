//! The computed history: exact pieces between switchings, evaluated at any time.

use super::modes::Modes;
use super::network::Network;
use super::probe::{Probe, Row};
use nalgebra::DVector;
use num_complex::Complex64;
use std::f64::consts::PI;
use std::sync::Arc;

/// One piece: nothing switches from `from_s` until the next piece.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub from_s: f64,
    pub network: Arc<Network>,
    pub modes: Arc<Modes>,
    /// Which drivers are on.
    pub on: Vec<bool>,
    /// How much of each mode is in the transient at `from_s`.
    pub split: DVector<Complex64>,
}

/// A probe's signal within a piece: Re of a sum of amplitude·exp(rate·(t − from)).
#[derive(Clone, Debug)]
pub(super) struct Terms {
    from_s: f64,
    /// Terms that turn with a field or ring near one.
    turning: Vec<(Complex64, Complex64)>,
    /// Aperiodic terms, which no slow phasor describes.
    decaying: Vec<(Complex64, Complex64)>,
}

impl Piece {
    /// Starts a piece from the real state at its beginning.
    pub fn start(
        from_s: f64,
        network: Arc<Network>,
        modes: Arc<Modes>,
        on: Vec<bool>,
        state: &DVector<f64>,
    ) -> Self {
        let mut transient = state.clone();
        for (reader, steady) in modes.steady.iter().enumerate() {
            if on[reader] {
                let turn = Complex64::cis(network.omega(reader) * from_s);
                transient -= steady.map(|value| (value * turn).re);
            }
        }
        let split = modes.split(&transient);
        Piece {
            from_s,
            network,
            modes,
            on,
            split,
        }
    }

    /// The state at a time.
    pub fn state(&self, at_s: f64) -> DVector<f64> {
        let growth = DVector::from_fn(self.split.len(), |mode, _| {
            self.split[mode] * exponential(self.modes.rates[mode] * (at_s - self.from_s))
        });
        let mut state = (&self.modes.vectors * growth).map(|value| value.re);
        for (reader, steady) in self.modes.steady.iter().enumerate() {
            if self.on[reader] {
                let turn = Complex64::cis(self.network.omega(reader) * at_s);
                state += steady.map(|value| (value * turn).re);
            }
        }
        state
    }

    /// The terms of a probe in this piece.
    pub fn terms(&self, row: &Row) -> Terms {
        let dot = |values: nalgebra::DVectorView<Complex64>| -> Complex64 {
            row.state
                .iter()
                .zip(values.iter())
                .map(|(weight, value)| value * *weight)
                .sum()
        };
        let mut turning = Vec::with_capacity(self.split.len());
        let mut decaying = Vec::new();
        for (reader, steady) in self.modes.steady.iter().enumerate() {
            if self.on[reader] {
                let omega = self.network.omega(reader);
                let settled = dot(steady.as_view()) + self.network.drive(reader) * row.feed[reader];
                turning.push((
                    settled * Complex64::cis(omega * self.from_s),
                    Complex64::new(0.0, omega),
                ));
            }
        }
        let slow = 1e-6 * self.network.omega(0);
        for (mode, &rate) in self.modes.rates.iter().enumerate() {
            let amplitude = dot(self.modes.vectors.column(mode).as_view()) * self.split[mode];
            // Conjugate pairs make a real signal: twice the one that turns forwards.
            if rate.im > slow {
                turning.push((2.0 * amplitude, rate));
            } else if rate.im >= -slow {
                decaying.push((amplitude, rate));
            }
        }
        Terms {
            from_s: self.from_s,
            turning,
            decaying,
        }
    }
}

impl Terms {
    /// The analytic signal without the aperiodic terms; its real part is the probe's signal but for those.
    pub fn analytic(&self, at_s: f64) -> Complex64 {
        let elapsed = at_s - self.from_s;
        self.turning
            .iter()
            .map(|(amplitude, rate)| amplitude * exponential(rate * elapsed))
            .sum()
    }

    fn all(&self) -> impl Iterator<Item = &(Complex64, Complex64)> {
        self.turning.iter().chain(&self.decaying)
    }
}

/// eᶻ, the same on every machine.
fn exponential(z: Complex64) -> Complex64 {
    let size = libm::exp(z.re);
    let (sin, cos) = libm::sincos(z.im);
    Complex64::new(size * cos, size * sin)
}

/// Adds value·ratioⁿ to the n-th sample: four interleaved series, so that one product need not wait for the last.
fn add_geometric(out: &mut [Complex64], value: Complex64, ratio: Complex64) {
    let mut lanes = [
        value,
        value * ratio,
        value * ratio * ratio,
        value * ratio * ratio * ratio,
    ];
    let stride = ratio.powi(4);
    for block in out.chunks_mut(4096) {
        // Decayed beyond any use, and denormal numbers are slow.
        if lanes[0].norm_sqr() < 1e-80 {
            return;
        }
        let (fours, rest) = block.as_chunks_mut::<4>();
        for four in fours {
            for (sample, lane) in four.iter_mut().zip(&mut lanes) {
                *sample += *lane;
                *lane *= stride;
            }
        }
        // Only the last block has a rest.
        for (sample, lane) in rest.iter_mut().zip(&lanes) {
            *sample += *lane;
        }
    }
}

/// A history of the circuits from time 0 on.
#[derive(Clone, Debug)]
pub struct Track {
    pub(super) pieces: Vec<Piece>,
    pub(super) end_s: f64,
    pub(super) edges: Vec<Vec<(f64, bool)>>,
    pub(super) on_times: Vec<Vec<[f64; 2]>>,
}

impl Track {
    /// Where the history ends.
    pub fn end_s(&self) -> f64 {
        self.end_s
    }

    /// When a tag's switch moved, and whether it closed.
    pub fn edges(&self, tag: usize) -> &[(f64, bool)] {
        &self.edges[tag]
    }

    /// From when to when a clocked tag sent. A tag with fixed switchings or none has no entry.
    pub fn on_times(&self, tag: usize) -> &[[f64; 2]] {
        &self.on_times[tag]
    }

    /// Phasors A(t) at from, from + step, … in the frame of `frequency_hz`: the signal is Re{A·e^{j2πft}} exactly. Right after
    /// a switching that makes a circuit aperiodic A is briefly not slow. After the end the last piece goes on.
    ///
    /// # Panics
    /// If the probe names a reader or tag that is not there ([`Probe::fits`]).
    pub fn phasors(
        &self,
        probe: &Probe,
        frequency_hz: f64,
        from_s: f64,
        step_s: f64,
        out: &mut [Complex64],
    ) {
        let frame = Complex64::new(0.0, 2.0 * PI * frequency_hz);
        let mut piece_index = self
            .pieces
            .partition_point(|p| p.from_s <= from_s)
            .saturating_sub(1);
        let mut done = 0;
        while done < out.len() {
            let piece = &self.pieces[piece_index];
            let until = match self.pieces.get(piece_index + 1) {
                Some(next) => {
                    // The first sample at or after the next piece's start belongs to it.
                    let count = ((next.from_s - from_s) / step_s).ceil().max(0.0);
                    (count as usize).clamp(done, out.len())
                }
                None => out.len(),
            };
            let part = &mut out[done..until];
            if !part.is_empty() {
                part.fill(Complex64::from(0.0));
                let terms = piece.terms(&probe.row(&piece.network, &piece.modes));
                let first_s = from_s + done as f64 * step_s;
                for (amplitude, rate) in terms.all() {
                    let ratio = exponential((rate - frame) * step_s);
                    let value =
                        amplitude * exponential(rate * (first_s - piece.from_s) - frame * first_s);
                    add_geometric(part, value, ratio);
                }
            }
            done = until;
            piece_index += 1;
        }
    }

    /// The probe's signal itself at from, from + step, …
    ///
    /// # Panics
    /// As [`Track::phasors`].
    pub fn samples(&self, probe: &Probe, from_s: f64, step_s: f64, out: &mut [f64]) {
        let mut phasors = vec![Complex64::from(0.0); out.len()];
        self.phasors(probe, 0.0, from_s, step_s, &mut phasors);
        for (sample, phasor) in out.iter_mut().zip(phasors) {
            *sample = phasor.re;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against powers one by one: a relative rounding error of at most n·ε.
    #[test]
    fn geometric_series() {
        for length in [0, 1, 3, 4, 7, 4096, 10_001] {
            let (value, ratio) = (
                Complex64::new(0.3, -2.0),
                Complex64::from_polar(0.9995, 0.37),
            );
            let mut out = vec![Complex64::new(1.0, 1.0); length];
            add_geometric(&mut out, value, ratio);
            for (n, got) in out.iter().enumerate() {
                let want = value * (ratio.ln() * n as f64).exp() + Complex64::new(1.0, 1.0);
                assert!(
                    (got - want).norm() < 2.0 * (n as f64 + 4.0) * f64::EPSILON,
                    "{n}"
                );
            }
        }
    }
}
