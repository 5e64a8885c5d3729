//! A bench with given values → the ripple that it would make.

use std::sync::Arc;

use num_complex::Complex64;
use rustfft::{Fft, FftPlanner};

use super::FitError;
use super::parameters::{Parts, Thought, Values};
use super::record::Lines;
use crate::receiver::HALF;
use crate::telegram::TELEGRAM_BITS;
use crate::world::circuit::Probe;
use crate::world::link::{MIXED_A_CYCLE, sent_mixed};

/// The bench as thought with a number to send.
pub(super) struct Model {
    /// Circuits.
    pub parts: Parts,
    /// Where the signal is taken from, the tag as thought.
    probe: Probe,
    /// Half bits of a period, true: load closed.
    half_bits: Vec<bool>,
    fft: Arc<dyn Fft<f64>>,
    telegram_fft: Arc<dyn Fft<f64>>,
}

/// A turn of 1 mm has more than this, H, a metre in front of the usual antenna.
const LEAST_MUTUAL_H: f64 = 1e-15;

/// Half bits of a telegram.
const TELEGRAM_HALVES: usize = 2 * TELEGRAM_BITS;

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
        let mut planner = FftPlanner::new();
        let mut plan = |halves: usize| planner.plan_fft_forward(halves * HALF * MIXED_A_CYCLE);
        Ok(Self {
            parts,
            probe: thought.antennas.probe(&thought.listening.tap, tag),
            fft: plan(half_bits.len()),
            telegram_fft: plan(TELEGRAM_HALVES),
            half_bits,
        })
    }

    /// The same number sent with the load open where it was closed.
    pub fn inverted(&self) -> Self {
        Self {
            parts: self.parts.clone(),
            probe: self.probe.clone(),
            half_bits: self.half_bits.iter().map(|closed| !closed).collect(),
            fft: self.fft.clone(),
            telegram_fft: self.telegram_fft.clone(),
        }
    }

    /// The probe on a bench with these values: a tag's coil of more effective area is heard more by both coils.
    fn probe_with(&self, values: &Values) -> Probe {
        let mut probe = self.probe.clone();
        if let Probe::PickUp { mutual_h } = &mut probe
            && let Some(tag) = mutual_h.last_mut()
        {
            *tag *= values[2] / self.parts.thought[2];
        }
        probe
    }

    /// Whether the probe is a coil that has nothing of the antenna's flux: rounding is what is left of it across the field.
    pub fn is_deaf(&self) -> bool {
        match &self.probe {
            Probe::PickUp { mutual_h } => mutual_h[0].abs() < LEAST_MUTUAL_H,
            _ => false,
        }
    }

    /// The field, and what a receiver has before it filters over it, less 1.
    fn relative(
        &self,
        values: &Values,
        half_bits: &[bool],
        late_cycles: f64,
    ) -> Result<(Complex64, Vec<Complex64>), FitError> {
        let network = self.parts.network(values)?;
        let mut mixed = sent_mixed(&network, &self.probe_with(values), half_bits, late_cycles)?;
        let mean = mixed.iter().sum::<Complex64>() / mixed.len().max(1) as f64;
        for value in &mut mixed {
            *value = *value / mean - 1.0;
        }
        Ok((mean, mixed))
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
            line * (kept / MIXED_A_CYCLE as f64)
        });
        Ok(taken.collect())
    }

    /// Field and depth over the first telegram, over and over: all within half the field's frequency.
    pub fn sent(&self, values: &Values) -> Result<Sent, FitError> {
        let telegram = &self.half_bits[..TELEGRAM_HALVES];
        let (field, mut ripple) = self.relative(values, telegram, 0.0)?;
        self.telegram_fft.process(&mut ripple);
        let count = ripple.len();
        let highest = TELEGRAM_HALVES * HALF / 2;
        let lines = ripple[1..highest].iter().chain(&ripple[count - highest..]);
        let power: f64 = lines.map(Complex64::norm_sqr).sum();
        Ok(Sent {
            field_v: field.norm(),
            depth: power.sqrt() / count as f64,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::parameters::Parameter;
    use super::*;
    use crate::receiver::Edge;
    use crate::telegram::{Identity, Telegram};
    use crate::world::link::{Antennas, Link, link};
    use crate::world::scenario::{Scenario, half_bits};

    fn model(settings: &str) -> (Model, Link) {
        let scenario = Scenario::read(settings, &[]).unwrap();
        let station = scenario.reader.station(false).unwrap();
        let tag = &scenario.tag[0];
        let transponder = tag.transponder(scenario.field_hz());
        let listening = scenario.listening().unwrap();
        let telegram = Telegram::new(Identity::new(999, 271_828_182_846).unwrap().code());
        let half_bits = half_bits(&telegram);
        let antennas = Antennas::alone(&station);
        let place = tag.place;
        let thought = Thought {
            antennas,
            transponder: &transponder,
            place: &place,
            listening: &listening,
        };
        let link = link(
            &antennas,
            &transponder,
            &place.place(),
            &listening,
            &half_bits,
        )
        .unwrap();
        (Model::new(&thought, 134_200.0, half_bits).unwrap(), link)
    }

    const BENCH: &str = "[reader]\ntuned_hz = 136648\ncoil_ohm = 20\n[[tag]]\ntuned_hz = 131274\ninductance_mh = 7\nmodulation_ohm = 21000\ndistance_mm = 50\n";

    /// The same circuits asked for their ripple in two ways: what lies within half the field's frequency, and as phasors, whose jumps where the load
    /// switches are of the order of 1/(4Q) of the step, 1 % here.
    #[test]
    fn depth_is_that_of_the_link() {
        let (model, link) = model(BENCH);
        let sent = model.sent(&model.parts.thought).unwrap();
        assert!(
            (sent.depth / link.sent.depth - 1.0).abs() < 1e-2,
            "{sent:?} {link:?}"
        );
        assert!(
            (0.1 * sent.field_v / link.signal_v - 1.0).abs() < 1e-3,
            "{sent:?}"
        );
    }

    /// Slopes by steps of a hundredth of a spread and of a tenth of that: they differ by what the ripple bends, as a straight line through ten times as
    /// much shows (at most a tenth), and by nothing that jumps.
    #[test]
    fn slopes_do_not_depend_on_the_step() {
        let (model, _) = model(BENCH);
        let lines = Lines::new(4096, 134_200.0, &Edge::ideal());
        let thought = model.parts.thought;
        let norm = |values: &[Complex64]| values.iter().map(|v| v.norm_sqr()).sum::<f64>().sqrt();
        for late in [0.0, 0.1, 0.4, 0.85] {
            let here = model.lines(&thought, late, &lines).unwrap();
            for (k, parameter) in Parameter::ALL.iter().enumerate() {
                let slope = |step: f64| -> Vec<Complex64> {
                    let mut values = thought;
                    values[k] *= (step * parameter.spread()).exp();
                    let there = model.lines(&values, late, &lines).unwrap();
                    there
                        .iter()
                        .zip(&here)
                        .map(|(a, b)| (a - b) / step)
                        .collect()
                };
                let first = slope(1e-2);
                let apart = |step: f64| {
                    let other = slope(step);
                    let apart: Vec<Complex64> =
                        first.iter().zip(&other).map(|(a, b)| a - b).collect();
                    norm(&apart) / norm(&first)
                };
                let (wide, narrow) = (apart(1e-1), apart(1e-3));
                println!("{late} {parameter:?}: {wide} {narrow}");
                assert!(
                    wide < 0.15 && narrow < 0.02,
                    "{late} {parameter:?}: {wide} {narrow}"
                );
            }
        }
    }
}
