//! A bench with given values → the ripple that it would make.

use std::sync::Arc;

use num_complex::Complex64;
use rustfft::{Fft, FftPlanner};

use super::FitError;
use super::parameters::{Parts, Thought, Values};
use super::record::Lines;
use crate::telegram::TELEGRAM_BITS;
use crate::world::circuit::Probe;
use crate::world::link::{PHASORS_A_CYCLE, sent_phasors};

/// The bench as thought with a number to send.
pub(super) struct Model {
    /// Circuits.
    pub parts: Parts,
    /// Where the signal is taken from.
    pub probe: Probe,
    /// Half bits of a period, true: load closed.
    half_bits: Vec<bool>,
    fft: Arc<dyn Fft<f64>>,
}

/// What a bench does at its probe while a tag sends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sent {
    /// Field at the probe, peak V.
    pub field_v: f64,
    /// Rms of the ripple over the field.
    pub depth: f64,
}

impl Model {
    pub fn new(
        thought: &Thought<'_>,
        field_hz: f64,
        half_bits: Vec<bool>,
    ) -> Result<Self, FitError> {
        let place = thought.place.place();
        let parts = Parts::new(thought, field_hz)?;
        let tag = Some((thought.transponder, &place));
        let points = half_bits.len() * crate::receiver::HALF * PHASORS_A_CYCLE;
        Ok(Self {
            parts,
            probe: thought.antennas.probe(&thought.listening.tap, tag),
            half_bits,
            fft: FftPlanner::new().plan_fft_forward(points),
        })
    }

    /// The same number sent with the load open where it was closed.
    pub fn inverted(&self) -> Self {
        Self {
            parts: self.parts.clone(),
            probe: self.probe.clone(),
            half_bits: self.half_bits.iter().map(|closed| !closed).collect(),
            fft: self.fft.clone(),
        }
    }

    /// Phasors of a period over their mean, and that.
    fn relative(
        &self,
        values: &Values,
        half_bits: &[bool],
        late_cycles: f64,
    ) -> Result<(Complex64, Vec<Complex64>), FitError> {
        let network = self.parts.network(values)?;
        let mut phasors = sent_phasors(&network, &self.probe, half_bits, late_cycles)?;
        let mean = phasors.iter().sum::<Complex64>() / phasors.len().max(1) as f64;
        for phasor in &mut phasors {
            *phasor = *phasor / mean - 1.0;
        }
        Ok((mean, phasors))
    }

    /// The ripple's lines, as the receiver's band leaves them; the tag switches so many cycles after a crossing.
    pub fn lines(
        &self,
        values: &Values,
        late_cycles: f64,
        lines: &Lines,
    ) -> Result<Vec<Complex64>, FitError> {
        let (_, mut ripple) = self.relative(values, &self.half_bits, late_cycles)?;
        self.fft.process(&mut ripple);
        let count = ripple.len() as i32;
        let taken = lines.numbers.iter().zip(&lines.kept).map(|(&n, kept)| {
            let line = ripple[n.rem_euclid(count) as usize];
            line * (kept / PHASORS_A_CYCLE as f64)
        });
        Ok(taken.collect())
    }

    /// Field and depth over the first telegram, over and over.
    pub fn sent(&self, values: &Values) -> Result<Sent, FitError> {
        let telegram = &self.half_bits[..2 * TELEGRAM_BITS];
        let (field, ripple) = self.relative(values, telegram, 0.0)?;
        let power: f64 = ripple.iter().map(Complex64::norm_sqr).sum();
        Ok(Sent {
            field_v: field.norm(),
            depth: (power / ripple.len() as f64).sqrt(),
        })
    }
}
