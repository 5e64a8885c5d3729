//! Steady tones in a stretch of samples: where the field may be.

use std::ops::Range;
use std::sync::Arc;

use multiversion::multiversion;
use num_complex::{Complex32, Complex64};
use realfft::RealToComplex;
use rustfft::Fft;

use super::transform::{WINDOW_MEAN, forward, forward_real, window};
use crate::order::median;
use crate::receiver::signal::Samples;

/// Longest transform: 65 536 samples are 33 ms at 2 MS/s, lines 30 Hz apart.
const LONGEST: usize = 1 << 16;

/// Most segments averaged; they are spread over the whole stretch.
const SEGMENTS: usize = 12;

/// A tone must stand this far above the median power of its surroundings. The median of averaged noise power is near
/// its mean, and the largest of 65 536 exponentially distributed values is 10.4 dB above it; 15 dB leaves room.
const LEAST_ABOVE_FLOOR: f64 = 31.6;

/// The window spreads a tone over so many lines to each side.
const MAIN_LOBE: isize = 4;

/// A steady tone as the samples show it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// Frequency in cycles per sample: 0 … 0.5 for real samples, −0.5 … 0.5 for complex ones.
    pub per_sample: f64,
    /// Peak amplitude, in the unit of the samples.
    pub amplitude: f64,
    /// Power over the median of the surrounding spectrum, as a ratio.
    pub above_floor: f64,
}

/// Averaged power spectrum of a stretch, one value a line.
#[derive(Clone, Debug)]
pub struct Spectrum {
    /// Power of a tone of that amplitude: |amplitude|² for a tone in the middle of a line.
    pub power: Vec<f64>,
    /// Lines of the transform; real samples use the first half.
    pub lines: usize,
    /// The samples were complex: `power` covers all lines, negative frequencies in the upper half.
    pub complex: bool,
}

/// Averaged power spectrum over up to twelve segments spread over the samples; `None` for fewer than 64 samples.
pub fn spectrum(samples: Samples<'_>) -> Option<Spectrum> {
    let count = samples.len();
    if count < 64 {
        return None;
    }
    let lines = LONGEST.min(1 << count.ilog2());
    let window = window(lines);
    let complex = matches!(samples, Samples::Complex(_));
    let gain = WINDOW_MEAN * lines as f64 / if complex { 1.0 } else { 2.0 };
    // Half over each other, or a little more: less than half of a segment is left out, of a record that is hardly longer than one.
    let segments = SEGMENTS.min(1 + 2 * (count - lines) / lines);
    let kept = if complex { lines } else { lines / 2 };
    let share = 1.0 / (gain * gain * segments as f64);
    let over = |some: Range<usize>| {
        let mut transform = Transform::new(lines, complex);
        let mut power = vec![0.0; kept];
        for segment in some {
            let from = if segments > 1 {
                segment * (count - lines) / (segments - 1)
            } else {
                0
            };
            add_power(&mut power, transform.of(samples, from, &window), share);
        }
        power
    };
    let (mut power, others) =
        crate::threads::join(|| over(0..segments / 2), || over(segments / 2..segments));
    power
        .iter_mut()
        .zip(others)
        .for_each(|(sum, other)| *sum += other);
    Some(Spectrum {
        power,
        lines,
        complex,
    })
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn windowed(into: &mut [f32], samples: &[f32], window: &[f32]) {
    for ((value, sample), weight) in into.iter_mut().zip(samples).zip(window) {
        *value = sample * weight;
    }
}

#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn add_power(power: &mut [f64], lines: &[Complex32], share: f64) {
    for (sum, line) in power.iter_mut().zip(lines) {
        *sum += f64::from(line.norm_sqr()) * share;
    }
}

/// Transforms of windowed samples; real ones need half the work.
enum Transform {
    Complex(Arc<dyn Fft<f32>>, Vec<Complex32>),
    Real(Arc<dyn RealToComplex<f32>>, Vec<f32>, Vec<Complex32>),
}

impl Transform {
    fn new(lines: usize, complex: bool) -> Self {
        if complex {
            Self::Complex(forward(lines), vec![Complex32::default(); lines])
        } else {
            let fft = forward_real(lines);
            let (input, output) = (fft.make_input_vec(), fft.make_output_vec());
            Self::Real(fft, input, output)
        }
    }

    /// Lines from zero frequency on.
    fn of(&mut self, samples: Samples<'_>, from: usize, window: &[f32]) -> &[Complex32] {
        match (self, samples) {
            (Self::Complex(fft, buffer), Samples::Complex(all)) => {
                for ((b, x), w) in buffer.iter_mut().zip(&all[from..]).zip(window) {
                    *b = x * w;
                }
                fft.process(buffer);
                buffer
            }
            (Self::Real(fft, input, output), Samples::Real(all)) => {
                windowed(input, &all[from..], window);
                fft.process(input, output)
                    .expect("both buffers have the lengths the plan asked for");
                output
            }
            _ => unreachable!("made for the samples it is used with"),
        }
    }
}

impl Spectrum {
    /// Lines that stand out of their surroundings, strongest first, at most `most`. Lines next to zero frequency are
    /// left out: they are the offset.
    pub fn tones(&self, most: usize) -> Vec<Tone> {
        let count = self.power.len();
        let at = |i: isize| self.power[i.rem_euclid(count as isize) as usize];
        let floor = self.floor();
        let mut tones: Vec<Tone> = Vec::new();
        for line in 0..count as isize {
            let here = at(line);
            let above = here / floor.at(line as usize).max(f64::MIN_POSITIVE);
            if above < LEAST_ABOVE_FLOOR {
                continue;
            }
            let signed = if self.complex && line as usize >= count / 2 {
                line - count as isize
            } else {
                line
            };
            let near_edge = !self.complex && (line < 8 || line + 8 > count as isize);
            let peak = (1..=MAIN_LOBE).all(|d| here >= at(line - d) && here > at(line + d));
            if near_edge || !peak {
                continue;
            }
            // The window's main lobe is close to a Gaussian: a parabola through the logarithms finds its middle.
            let [left, middle, right] =
                [at(line - 1), here, at(line + 1)].map(|p| p.max(f64::MIN_POSITIVE).ln());
            let bend = left - 2.0 * middle + right;
            let shift = if bend < 0.0 {
                0.5 * (left - right) / bend
            } else {
                0.0
            };
            let shift = shift.clamp(-0.5, 0.5);
            let height = middle - 0.25 * (left - right) * shift;
            tones.push(Tone {
                per_sample: (signed as f64 + shift) / self.lines as f64,
                amplitude: height.exp().sqrt(),
                above_floor: above,
            });
        }
        tones.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
        tones.truncate(most);
        tones
    }

    /// A tone's share of all the power; an offset counts four times over.
    pub fn share_of(&self, tone: &Tone) -> f64 {
        let line = (tone.per_sample * self.lines as f64).round() as isize;
        let count = self.power.len() as isize;
        let near: f64 = (line - MAIN_LOBE..=line + MAIN_LOBE)
            .map(|line| self.power[line.rem_euclid(count) as usize])
            .sum();
        near / self.power.iter().sum::<f64>().max(f64::MIN_POSITIVE)
    }

    /// Median power around each line.
    pub fn floor(&self) -> Floor {
        Floor::of(&self.power)
    }
}

/// Median of the powers around each line, over blocks of about 1/64 of the spectrum; lines of no power (left out by
/// whoever made them) do not count.
pub struct Floor {
    medians: Vec<f64>,
    block: usize,
}

impl Floor {
    /// Of a spectrum.
    pub fn of(power: &[f64]) -> Self {
        let count = power.len();
        // Rounding of single-precision transforms: −130 dB of the strongest line.
        let rounding = 1e-13 * power.iter().copied().fold(0.0, f64::max);
        let block = (count / 64).max(16).min(count.max(1));
        let mut known: Vec<f64> = Vec::with_capacity(block);
        let medians = power
            .chunks(block)
            .map(|chunk| {
                known.clear();
                known.extend(chunk.iter().copied().filter(|p| *p > 0.0));
                median(&mut known).map_or(rounding, |median| median.max(rounding))
            })
            .collect();
        Self { medians, block }
    }

    /// Around a line.
    pub fn at(&self, line: usize) -> f64 {
        self.medians[line / self.block]
    }
}

/// Exact amplitude and phase of a tone of known frequency over the samples: x ≈ Re{A·e^{j2π·per_sample·n}}.
pub fn correlate(samples: &[f32], per_sample: f64) -> Complex64 {
    let mut sum = Complex64::default();
    for (n, &x) in samples.iter().enumerate() {
        let turns = (per_sample * n as f64).fract();
        sum += f64::from(x) * Complex64::cis(-std::f64::consts::TAU * turns);
    }
    sum * 2.0 / samples.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_is_found_where_it_is() {
        for per_sample in [0.0671, 0.2684, 0.41234] {
            let samples: Vec<f32> = (0..40_000)
                .map(|n| {
                    (0.7 * (std::f64::consts::TAU * per_sample * n as f64 + 1.0).cos() + 0.7) as f32
                })
                .collect();
            let tones = spectrum(Samples::Real(&samples)).unwrap().tones(3);
            assert!(
                (tones[0].per_sample - per_sample).abs() < 0.02 / 32768.0,
                "{tones:?}"
            );
            assert!((tones[0].amplitude - 0.7).abs() < 0.007, "{tones:?}");
            assert!((correlate(&samples, per_sample).norm() - 0.7).abs() < 1e-3);
        }
    }
}
