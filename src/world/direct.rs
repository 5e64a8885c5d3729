//! Signals whose ripple is given outright (depth and angle), without a circuit model.
//!
//! x(t) = Re{(A0 + Σ R·s(t))·e^{j(ωt+φ)}} with s = ±1 and ideal edges at exact times. Samples are taken of that as it is: there is
//! no filter before the converter, so edges and field fold at low rates as they would in a fast sampling head.

use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;

use super::carrier::Carrier;
use super::normal::NormalDeviates;
use super::pulses::Pulses;
use super::random::{Stream, generator};
use super::ripple_tag::{LoadRuns, RippleTag};
use crate::telegram::{Identity, Telegram};

/// Samples worked out at a time.
pub const BLOCK_SAMPLES: usize = 4096;

/// What the samples show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SampleForm {
    /// The field itself; above half the sample rate it is seen folded.
    Real,
    /// An ideal rectifier: the magnitude of field and ripple.
    Envelope,
    /// Complex samples around a centre frequency, with the phasor's amplitude.
    Iq {
        /// Centre, Hz.
        centre_hz: f64,
    },
    /// Two levels, 0 and 1: whether the envelope (with its noise) is above that of the field alone.
    Logic,
}

/// A field, tags with given ripple, noise, and how they are sampled.
#[derive(Clone, Debug, PartialEq)]
pub struct DirectSignal {
    /// What the samples show.
    pub view: SampleForm,
    /// Sample rate as stated, Hz.
    pub rate_hz: f64,
    /// How much faster than stated the sampling clock runs, parts per million.
    pub clock_ppm: f64,
    /// Number of samples.
    pub samples: u64,
    /// Field frequency, Hz.
    pub field_hz: f64,
    /// Peak amplitude of the field, V.
    pub amplitude: f64,
    /// Phase of the field at the first sample, degrees (of a cosine).
    pub phase_deg: f64,
    /// Constant added to every sample (to the in-phase part of I/Q samples), V. Without effect in logic captures.
    pub offset: f64,
    /// Tags; none is a bare field.
    pub tags: Vec<RippleTag>,
    /// Switching of the field; `None` = always on.
    pub pulses: Option<Pulses>,
    /// Standard deviation of the white noise (of each quadrature), V.
    pub noise_sigma: f64,
    /// Seed of the noise.
    pub seed: u64,
}

impl DirectSignal {
    /// 100 ms at 500 kS/s of a bare field of 1 V at 134.2 kHz; change what is to be different.
    pub fn field() -> Self {
        Self {
            view: SampleForm::Real,
            rate_hz: 500e3,
            clock_ppm: 0.0,
            samples: 50_000,
            field_hz: 134_200.0,
            amplitude: 1.0,
            phase_deg: 0.0,
            offset: 0.0,
            tags: Vec::new(),
            pulses: None,
            noise_sigma: 0.0,
            seed: 1,
        }
    }

    /// The same with a clean ripple of 1 % at 30°.
    pub fn with_tag(identity: Identity) -> Self {
        Self {
            tags: vec![RippleTag {
                telegram: Telegram::new(identity.code()),
                flipped: 0,
                depth: 0.01,
                angle_deg: 30.0,
                start_cycles: 1000.0,
                sign: 1,
            }],
            ..Self::field()
        }
    }

    /// Starts sampling.
    pub fn source(&self) -> DirectSource<'_> {
        let rate_hz = self.rate_hz * (1.0 + self.clock_ppm * 1e-6);
        let shift_hz = match self.view {
            SampleForm::Iq { centre_hz } => self.field_hz - centre_hz,
            _ => self.field_hz,
        };
        let tags = self
            .tags
            .iter()
            .map(|tag| {
                let (sin, cos) = libm::sincos(tag.angle_deg.to_radians());
                let ripple = self.amplitude * tag.depth * Complex64::new(cos, sin);
                let runs = LoadRuns::new(tag, self.field_hz, rate_hz / self.field_hz, self.pulses);
                (ripple, runs)
            })
            .collect();
        DirectSource {
            signal: self,
            rate_hz,
            carrier: Carrier::new(shift_hz / rate_hz, self.phase_deg / 360.0),
            tags,
            normal: NormalDeviates::new(),
            noise: generator(self.seed, Stream::Noise),
            next: 0,
        }
    }

    /// All samples at once; the second vector (quadrature) is empty except for I/Q.
    pub fn samples(&self) -> (Vec<f64>, Vec<f64>) {
        let mut all = (Vec::new(), Vec::new());
        let mut block = (Vec::new(), Vec::new());
        let mut source = self.source();
        while source.next_block(&mut block.0, &mut block.1) > 0 {
            all.0.extend_from_slice(&block.0);
            if matches!(self.view, SampleForm::Iq { .. }) {
                all.1.extend_from_slice(&block.1);
            }
        }
        all
    }
}

/// The samples of a [`DirectSignal`], block by block.
#[derive(Debug)]
pub struct DirectSource<'a> {
    signal: &'a DirectSignal,
    rate_hz: f64,
    carrier: Carrier,
    tags: Vec<(Complex64, LoadRuns)>,
    normal: NormalDeviates,
    noise: ChaCha8Rng,
    next: u64,
}

impl DirectSource<'_> {
    /// Replaces the content of the vectors by the next samples and returns how many there are; 0 at the end. The second is
    /// the quadrature of I/Q samples, scratch space otherwise.
    pub fn next_block(&mut self, re: &mut Vec<f64>, im: &mut Vec<f64>) -> usize {
        self.next_samples(BLOCK_SAMPLES, re, im)
    }

    /// The same for at most `most` samples.
    pub(super) fn next_samples(
        &mut self,
        most: usize,
        re: &mut Vec<f64>,
        im: &mut Vec<f64>,
    ) -> usize {
        let signal = self.signal;
        let first = self.next;
        let count = (signal.samples - first).min(most as u64) as usize;
        let last = first + count as u64;
        self.next = last;
        re.clear();
        re.resize(count, signal.amplitude);
        im.clear();
        im.resize(count, 0.0);
        for (ripple, runs) in &mut self.tags {
            runs.over(first, last, |from, to, state| {
                let (add_re, add_im) = (ripple.re * state, ripple.im * state);
                re[from..to].iter_mut().for_each(|re| *re += add_re);
                im[from..to].iter_mut().for_each(|im| *im += add_im);
            });
        }
        if let Some(pulses) = signal.pulses {
            for (k, (re, im)) in re.iter_mut().zip(im.iter_mut()).enumerate() {
                let strength = pulses.strength((first + k as u64) as f64 / self.rate_hz);
                *re *= strength;
                *im *= strength;
            }
        }
        match signal.view {
            SampleForm::Real | SampleForm::Iq { .. } => self.carrier.rotate(first, re, im),
            SampleForm::Envelope | SampleForm::Logic => {
                for (re, im) in re.iter_mut().zip(im.iter()) {
                    *re = (*re * *re + *im * *im).sqrt();
                }
            }
        }
        if signal.noise_sigma > 0.0 {
            match signal.view {
                SampleForm::Iq { .. } => {
                    for (re, im) in re.iter_mut().zip(im.iter_mut()) {
                        *re += signal.noise_sigma * self.normal.draw(&mut self.noise);
                        *im += signal.noise_sigma * self.normal.draw(&mut self.noise);
                    }
                }
                _ => self.normal.add(signal.noise_sigma, re, &mut self.noise),
            }
        }
        match signal.view {
            SampleForm::Logic => re
                .iter_mut()
                .for_each(|re| *re = f64::from(u8::from(*re > signal.amplitude))),
            _ if signal.offset != 0.0 => re.iter_mut().for_each(|re| *re += signal.offset),
            _ => {}
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::super::noise_level::{noise_sigma, ripple_rms};
    use super::*;

    fn signal(view: SampleForm, rate_hz: f64) -> DirectSignal {
        DirectSignal {
            view,
            rate_hz,
            clock_ppm: 0.0,
            samples: 10_000,
            field_hz: 134_200.0,
            amplitude: 2.0,
            phase_deg: 40.0,
            offset: 0.1,
            tags: vec![RippleTag {
                telegram: Telegram::new(0x8000_F9C0_0000_0001),
                flipped: 0,
                depth: 0.05,
                angle_deg: 60.0,
                start_cycles: 100.25,
                sign: 1,
            }],
            pulses: None,
            noise_sigma: 0.0,
            seed: 1,
        }
    }

    /// The definition, one sample at a time.
    #[test]
    fn samples_follow_the_formula() {
        for (view, rate_hz) in [
            (SampleForm::Real, 1e6),
            (SampleForm::Real, 192e3),
            (SampleForm::Envelope, 48e3),
            (SampleForm::Iq { centre_hz: 133e3 }, 50e3),
        ] {
            let signal = signal(view, rate_hz);
            let (re, im) = signal.samples();
            assert_eq!(re.len() as u64, signal.samples);
            let states = {
                let mut states = vec![0.0; re.len()];
                LoadRuns::new(&signal.tags[0], 134_200.0, rate_hz / 134_200.0, None).over(
                    0,
                    re.len() as u64,
                    |from, to, state| states[from..to].fill(state),
                );
                states
            };
            for n in 0..re.len() {
                let t = n as f64 / rate_hz;
                let ripple = Complex64::from_polar(0.05, 60f64.to_radians());
                let phasor = 2.0 * (1.0 + states[n] * ripple);
                let shift = match view {
                    SampleForm::Iq { centre_hz } => 134_200.0 - centre_hz,
                    _ => 134_200.0,
                };
                let phase = std::f64::consts::TAU * shift * t + 40f64.to_radians();
                let rotated = phasor * Complex64::from_polar(1.0, phase);
                let expected = match view {
                    SampleForm::Real => rotated.re + 0.1,
                    SampleForm::Envelope => phasor.norm() + 0.1,
                    _ => {
                        assert!((im[n] - rotated.im).abs() < 1e-9);
                        rotated.re + 0.1
                    }
                };
                assert!((re[n] - expected).abs() < 1e-9, "{view:?} {n}");
            }
        }
    }

    /// 5 % beside 200 000 samples: the variance of a variance estimate is 2σ⁴/N, so five deviations are 1.6 %.
    #[test]
    fn the_noise_in_the_samples_has_the_ebn0_asked_for() {
        for (view, rate_hz, seen) in [
            (SampleForm::Real, 1e6, 0.5),
            (SampleForm::Real, 192e3, 0.5),
            (SampleForm::Envelope, 48e3, 1.0),
            (SampleForm::Iq { centre_hz: 134e3 }, 50e3, 1.0),
        ] {
            let mut quiet = signal(view, rate_hz);
            quiet.samples = 200_000;
            let rms = ripple_rms(view, 2.0, 0.05, 60.0);
            let mut noisy = quiet.clone();
            noisy.noise_sigma = noise_sigma(view, 7.0, rms, 134_200.0, rate_hz);
            let ((a, aq), (b, bq)) = (quiet.samples(), noisy.samples());
            let power = |a: &[f64], b: &[f64]| {
                a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum::<f64>() / a.len() as f64
            };
            let n0 = 2.0 * power(&a, &b) / rate_hz;
            let ebn0_db = 10.0 * (seen * rms * rms * 32.0 / 134_200.0 / n0).log10();
            assert!((ebn0_db - 7.0).abs() < 0.07, "{view:?}: {ebn0_db}");
            if matches!(view, SampleForm::Iq { .. }) {
                let ratio = power(&aq, &bq) / power(&a, &b);
                assert!((ratio - 1.0).abs() < 0.023, "{ratio}");
            }
        }
    }

    #[test]
    fn the_first_samples_of_a_seed_are_frozen() {
        let mut signal = signal(SampleForm::Real, 1e6);
        signal.noise_sigma = 0.25;
        signal.seed = 42;
        let (samples, _) = signal.samples();
        let bits: Vec<u64> = samples[..4].iter().map(|x| x.to_bits()).collect();
        assert_eq!(bits, FROZEN, "{:?}", &samples[..4]);
    }

    const FROZEN: [u64; 4] = [
        4610922595091711388,
        13806060586417640740,
        13832890420030041754,
        13835075809873886327,
    ];
}
