//! Samples → one complex value per field cycle: mix to zero, low-pass, evaluate at the field's cycles.
//!
//! The filter is one windowed-sinc kernel, evaluated where a field cycle falls between samples. Mixing is exact for
//! every sample; only the kernel's position is rounded, to 1/128 of a sample, which the field (constant after mixing)
//! does not notice because every shifted kernel sums to 1.

use std::ops::Range;

use multiversion::multiversion;
use num_complex::Complex32;

use super::edge::Edge;
use super::gap::Gap;
use super::kernel::{Design, Kernel, LANES};
use crate::receiver::dsp::phasor::{BLOCK, Bases, Oscillator, single};
use crate::receiver::signal::Samples;

/// Widest flat band. With the slope beyond it (−6 dB at 67 kHz) 98 % of the boundary pulse's energy is kept.
const WIDEST_PASS_HZ: f64 = 30_000.0;

/// Samples mixed at a time.
const CHUNK: usize = 1 << 13;

/// Bands are rounded down to a multiple of this, so that fields that differ by a little have the same kernel.
const BAND_STEP_HZ: f64 = 500.0;

/// Where the field is in the samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuning {
    /// Samples per second.
    pub rate_hz: f64,
    /// Frequency at which the samples show the field; 0 for envelopes.
    pub apparent_hz: f64,
    /// True frequency of the field: the rate of the values returned.
    pub field_hz: f64,
    /// Folding mirrors the band: the values are conjugated.
    pub mirrored: bool,
}

/// One complex value per field cycle.
#[derive(Clone, Debug)]
pub struct Cycles {
    /// Phasor of the field, peak amplitude in the unit of the samples.
    pub values: Vec<Complex32>,
    /// Cycle count, from the first sample, of `values[0]`: value i stands at time (first + i)/field_hz.
    pub first: usize,
    /// Rate of the values.
    pub field_hz: f64,
    /// Band the values keep on each side of the field, to the −6 dB point of the filter.
    pub band_hz: f64,
    /// What the filter makes of a sudden change of the ripple.
    pub edge: Edge,
    /// Where the record was interrupted; the values were mended there.
    pub gaps: Vec<Gap>,
}

/// Edges of the pass and stop bands: the band is as wide as the nearest image or offset allows.
fn bands(samples: &Samples<'_>, tuning: &Tuning) -> (f64, f64) {
    let rate = tuning.rate_hz;
    let carrier = tuning.apparent_hz.abs();
    let nearest = match samples {
        Samples::Complex(_) => rate,
        Samples::Real(_) if carrier == 0.0 => rate,
        Samples::Real(_) => {
            let image = (2.0 * carrier).rem_euclid(rate);
            image.min(rate - image).min(carrier)
        }
    };
    let rounded = |hz: f64| {
        if hz < 20.0 * BAND_STEP_HZ {
            return hz;
        }
        (hz / BAND_STEP_HZ).floor() * BAND_STEP_HZ
    };
    let pass = rounded((0.4 * nearest).min(WIDEST_PASS_HZ));
    // Whatever lies beyond field_hz − pass would fold into the pass band of the values.
    let stop = rounded((nearest - pass).min(tuning.field_hz - pass));
    (pass, stop)
}

/// One complex value per field cycle, for every cycle whose kernel lies within the samples; none where the samples are
/// fewer than the kernel.
pub fn to_cycles(samples: Samples<'_>, tuning: &Tuning) -> Cycles {
    let (pass_hz, stop_hz) = bands(&samples, tuning);
    let band_hz = 0.5 * (pass_hz + stop_hz);
    let design = Design {
        rate_hz: tuning.rate_hz,
        pass_hz,
        stop_hz,
    };
    let Some(kernel) = design.kernel(samples.len()) else {
        return Cycles {
            values: Vec::new(),
            first: 0,
            field_hz: tuning.field_hz,
            band_hz,
            edge: Edge::ideal(),
            gaps: Vec::new(),
        };
    };
    let step = tuning.rate_hz / tuning.field_hz;
    let lead = kernel.length / 2 - 1;
    let first = (lead as f64 / step).ceil() as usize;
    let used = samples.len() + lead - kernel.length;
    let end = ((used + 1) as f64 / step).ceil() as usize;
    let job = Job {
        samples,
        tuning,
        kernel: &kernel,
        step,
    };
    Cycles {
        values: job.halves(first..end.max(first)),
        first,
        field_hz: tuning.field_hz,
        band_hz,
        edge: Edge::of(
            |cycles| kernel.shape.at(cycles * step),
            kernel.shape.half / step,
        ),
        gaps: Vec::new(),
    }
}

/// Fewer cycles than this are done before a second thread has begun.
const WORTH_HALVING: usize = 1 << 14;

/// Samples to be mixed and filtered.
#[derive(Clone, Copy)]
struct Job<'a> {
    samples: Samples<'a>,
    tuning: &'a Tuning,
    kernel: &'a Kernel,
    /// Samples in a field cycle.
    step: f64,
}

impl Job<'_> {
    /// Sample with which the kernel of a cycle begins.
    fn begin(&self, cycle: usize) -> usize {
        (cycle as f64 * self.step).floor() as usize - (self.kernel.length / 2 - 1)
    }

    /// Values of a range of cycles, on two threads where there are.
    fn halves(&self, cycles: Range<usize>) -> Vec<Complex32> {
        if cycles.len() < WORTH_HALVING {
            return self.values(cycles, 0);
        }
        let middle = cycles.start + cycles.len() / 2;
        let (mut first, second) = crate::threads::join(
            || self.values(cycles.start..middle, cycles.end - middle),
            || self.values(middle..cycles.end, 0),
        );
        first.extend(second);
        first
    }

    /// With room for `more` values.
    fn values(&self, cycles: Range<usize>, more: usize) -> Vec<Complex32> {
        let mut values = Vec::with_capacity(cycles.len() + more);
        // A real carrier's phasor has half its power at the mirror frequency.
        let gain = match self.samples {
            Samples::Real(_) if self.tuning.apparent_hz != 0.0 => 2.0,
            _ => 1.0,
        };
        let per_sample = self.tuning.apparent_hz / self.tuning.rate_hz;
        // Whole blocks of the oscillator, so that a value does not depend on where the work was divided.
        let mut taken = self.begin(cycles.start) / BLOCK * BLOCK;
        let mut mixer = Mixer::new(per_sample, gain, (taken / BLOCK) as u64);
        let (mut re, mut im): (Vec<f32>, Vec<f32>) = (Vec::new(), Vec::new());
        let mut lanes: Vec<Lanes> = Vec::new();
        // Sample index of re[0].
        let mut origin = taken;
        let mut next = cycles.start;
        while next < cycles.end && taken < self.samples.len() {
            let upto = (taken + CHUNK).min(self.samples.len());
            match self.samples {
                Samples::Real(all) => mixer.real(&all[taken..upto], &mut re, &mut im),
                Samples::Complex(all) => mixer.complex(&all[taken..upto], &mut re, &mut im),
            }
            taken = upto;
            let wanted = next..cycles.end;
            through_kernel(
                self.kernel,
                self.step,
                [&re, &im],
                origin,
                wanted,
                &mut lanes,
            );
            next += lanes.len();
            values.extend(lanes.drain(..).map(|both| {
                let [re, im] = both.map(total);
                Complex32::new(re, if self.tuning.mirrored { -im } else { im })
            }));
            let keep_from = self.begin(next).min(origin + re.len());
            re.drain(..keep_from - origin);
            im.drain(..keep_from - origin);
            origin = keep_from;
        }
        values
    }
}

/// Eight partial sums of a value's real part, and of its imaginary part.
type Lanes = [[f32; 8]; 2];

/// Appends those of the cycles whose kernels end within the mixed samples, of which the first is sample `origin`. Their
/// partial sums are added up elsewhere: together the compiler takes them for short vectors.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn through_kernel(
    kernel: &Kernel,
    step: f64,
    mixed: [&[f32]; 2],
    origin: usize,
    cycles: Range<usize>,
    lanes: &mut Vec<Lanes>,
) {
    let (length, positions) = (kernel.length, kernel.positions as f64);
    for cycle in cycles {
        let place = cycle as f64 * step;
        let whole = place as i64;
        let at = whole as usize - (length / 2 - 1) - origin;
        if at + length > mixed[0].len() {
            break;
        }
        // Rounded; the library's own way of it takes longer than the kernel.
        let position = ((place - whole as f64) * positions + 0.5) as i64 as usize;
        let taps = &kernel.taps[position * length..(position + 1) * length];
        let mut both = Lanes::default();
        for (lanes, part) in both.iter_mut().zip(mixed) {
            products(taps, &part[at..at + length], lanes);
        }
        lanes.push(both);
    }
}

/// Sums of every eighth product; lengths are equal and multiples of [`LANES`].
#[inline(always)]
fn products(taps: &[f32], samples: &[f32], sums: &mut [f32; 8]) {
    let (mut low, mut high) = ([0f32; 8], [0f32; 8]);
    let (taps, _) = taps.as_chunks::<LANES>();
    let (samples, _) = samples.as_chunks::<LANES>();
    for (tap, sample) in taps.iter().zip(samples) {
        for lane in 0..8 {
            low[lane] += tap[lane] * sample[lane];
        }
        for lane in 0..8 {
            high[lane] += tap[8 + lane] * sample[8 + lane];
        }
    }
    for lane in 0..8 {
        sums[lane] = low[lane] + high[lane];
    }
}

/// Sum of eight lanes by halves: one after another they would wait for each other longer than the kernel takes.
fn total([a, b, c, d, e, f, g, h]: [f32; 8]) -> f32 {
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

/// Real samples of a block times base and turns.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn mix(
    samples: &[f32],
    turns: &[[f32; BLOCK]; 2],
    base: Complex32,
    re: &mut [f32],
    im: &mut [f32],
) {
    let turns = turns[0].iter().zip(&turns[1]);
    for (((x, (wre, wim)), re), im) in samples.iter().zip(turns).zip(re).zip(im) {
        *re = x * (wre * base.re - wim * base.im);
        *im = x * (wre * base.im + wim * base.re);
    }
}

/// Multiplies samples by gain·e^{−j2π·per_sample·n}, whole blocks at a time but for the last.
struct Mixer {
    bases: Bases,
    turns: [Complex32; BLOCK],
    /// Their real and imaginary parts.
    parts: [[f32; BLOCK]; 2],
    gain: f64,
}

impl Mixer {
    fn new(per_sample: f64, gain: f64, first_block: u64) -> Self {
        let oscillator = Oscillator::new(-per_sample);
        let turns = *oscillator.within_block();
        Self {
            bases: oscillator.bases(first_block),
            turns,
            parts: [turns.map(|turn| turn.re), turns.map(|turn| turn.im)],
            gain,
        }
    }

    fn real(&mut self, samples: &[f32], re: &mut Vec<f32>, im: &mut Vec<f32>) {
        let from = re.len();
        re.resize(from + samples.len(), 0.0);
        im.resize(from + samples.len(), 0.0);
        let parts = re[from..]
            .chunks_mut(BLOCK)
            .zip(im[from..].chunks_mut(BLOCK));
        let blocks = samples.chunks(BLOCK).zip(parts);
        for ((block, (re, im)), base) in blocks.zip(&mut self.bases) {
            mix(block, &self.parts, single(base * self.gain), re, im);
        }
    }

    fn complex(&mut self, samples: &[Complex32], re: &mut Vec<f32>, im: &mut Vec<f32>) {
        for (block, base) in samples.chunks(BLOCK).zip(&mut self.bases) {
            let base = single(base * self.gain);
            for (x, w) in block.iter().zip(&self.turns) {
                let mixed = x * w * base;
                re.push(mixed.re);
                im.push(mixed.im);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    /// The slow version: at each cycle the field's phasor is a direct sum with the kernel computed on the spot.
    fn slow(samples: &[f32], tuning: &Tuning, cycle: usize) -> Complex64 {
        let (pass, stop) = bands(&Samples::Real(samples), tuning);
        let design = Design {
            rate_hz: tuning.rate_hz,
            pass_hz: pass,
            stop_hz: stop,
        };
        let kernel = design.kernel(samples.len()).unwrap();
        let place = cycle as f64 * tuning.rate_hz / tuning.field_hz;
        let position = ((place - place.floor()) * kernel.positions as f64).round() as usize;
        let begin = place.floor() as usize - (kernel.length / 2 - 1);
        let mut sum = Complex64::default();
        for k in 0..kernel.length {
            let n = begin + k;
            let angle = -std::f64::consts::TAU * tuning.apparent_hz * n as f64 / tuning.rate_hz;
            sum += 2.0
                * f64::from(samples[n])
                * f64::from(kernel.taps[position * kernel.length + k])
                * Complex64::cis(angle);
        }
        if tuning.mirrored { sum.conj() } else { sum }
    }

    #[test]
    fn the_field_becomes_its_phasor_at_every_rate() {
        let field_hz = 134_187.3;
        for (rate_hz, apparent_hz, mirrored) in [
            (2e6, field_hz, false),
            (500e3, field_hz, false),
            (192e3, 192e3 - field_hz, true),
            (100e3, field_hz - 100e3, false),
        ] {
            let tuning = Tuning {
                rate_hz,
                apparent_hz,
                field_hz,
                mirrored,
            };
            // 90 000 samples cross several chunks; the offset is as large as the field.
            let samples: Vec<f32> = (0..90_000)
                .map(|n| {
                    (0.8 * (std::f64::consts::TAU * field_hz * f64::from(n) / rate_hz + 0.6).cos()
                        + 0.8) as f32
                })
                .collect();
            let cycles = to_cycles(Samples::Real(&samples), &tuning);
            let wanted = Complex64::from_polar(0.8, 0.6);
            for (i, value) in cycles.values.iter().enumerate() {
                let value = Complex64::new(value.re.into(), value.im.into());
                // Offset and image each 90 dB down (Kaiser's formula is good to a few dB), rounding of f32 sums.
                assert!(
                    (value - wanted).norm() < 0.8 * 1.6e-4,
                    "{rate_hz}: value {i} is {value}"
                );
            }
            for i in [0, 1, 777, cycles.values.len() - 1] {
                let value = cycles.values[i];
                let value = Complex64::new(value.re.into(), value.im.into());
                assert!(
                    (value - slow(&samples, &tuning, cycles.first + i)).norm() < 1e-5,
                    "{rate_hz}: {i}"
                );
            }
        }
    }
}
