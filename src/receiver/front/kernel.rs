//! The front end's low-pass: a Kaiser-windowed sinc, laid out at many positions between two samples.

use std::sync::Arc;

use multiversion::multiversion;

use crate::receiver::dsp::kept::Kept;

/// Kernel positions per sample at up to 2 MS/s, and the rounding (4 ns) that above that takes fewer.
const POSITIONS: usize = 128;
const POSITION_S: f64 = 1.0 / (128.0 * 2e6);

/// Stop-band attenuation: an offset or image as large as the field stays 40 dB below a ripple of 0.3 %.
const ATTENUATION_DB: f64 = 90.0;

/// Taps multiplied side by side: two vectors of eight for each part, so that sums do not wait for each other.
pub const LANES: usize = 16;

/// Terms of the Bessel function's power series: the next is 1e-20 of the sum for every argument the window takes.
const TERMS: usize = 30;

static KERNELS: Kept<Kernel> = Kept::new();

/// A low-pass for samples of one rate.
pub struct Kernel {
    /// `positions` + 1 shifted kernels of `length` taps.
    pub taps: Vec<f32>,
    /// Steps from one sample to the next.
    pub positions: usize,
    /// Taps of one kernel, a multiple of [`LANES`].
    pub length: usize,
    /// The kernel as a function of time.
    pub shape: Shape,
    design: Design,
}

/// What a kernel is made for.
#[derive(Clone, Copy, PartialEq)]
pub struct Design {
    /// Samples per second.
    pub rate_hz: f64,
    /// End of the pass band.
    pub pass_hz: f64,
    /// Begin of the stop band.
    pub stop_hz: f64,
}

impl Design {
    /// The kernel; `None` where it is longer than `longest`. Making one takes as long as filtering a tenth of a second, so
    /// those used last are kept.
    pub fn kernel(self, longest: usize) -> Option<Arc<Kernel>> {
        if self.span() + 10.0 > longest as f64 {
            return None;
        }
        let fits = |kernel: &Kernel| kernel.design == self;
        Some(KERNELS.get(fits, || Arc::new(Kernel::new(self))))
    }

    /// Samples that the kernel reaches over, by Kaiser's design formula.
    fn span(self) -> f64 {
        let width = (self.stop_hz - self.pass_hz).max(100.0);
        (ATTENUATION_DB - 7.95) / (14.36 * width) * self.rate_hz
    }
}

impl Kernel {
    fn new(design: Design) -> Self {
        let Design {
            rate_hz,
            pass_hz,
            stop_hz,
        } = design;
        let span = design.span();
        let length = (span.ceil() as usize + 2).next_multiple_of(LANES);
        let positions = ((1.0 / (rate_hz * POSITION_S)).ceil() as usize).clamp(1, POSITIONS);
        let shape = Shape {
            half: 0.5 * span + 0.5,
            beta: 0.1102 * (ATTENUATION_DB - 8.7),
            cut: 0.5 * (pass_hz + stop_hz) / rate_hz,
        };
        let mut taps = vec![0.0; (positions + 1) * length];
        let coefficients = bessel_coefficients();
        let mut row = vec![0.0; length];
        // The kernel is symmetric: the last position is the first one backwards, and so on.
        for position in 0..=positions / 2 {
            let shift = position as f64 / positions as f64;
            let begin = -((length / 2 - 1) as f64) - shift;
            shape.fill(begin, &coefficients, &mut row);
            let sum: f64 = row.iter().sum();
            let (first, last) = (position * length, (positions - position) * length);
            for (k, tap) in row.iter().enumerate() {
                let tap = (tap / sum) as f32;
                taps[first + k] = tap;
                taps[last + length - 1 - k] = tap;
            }
        }
        Self {
            taps,
            positions,
            length,
            shape,
            design,
        }
    }
}

/// Kaiser-windowed sinc as a function of time in samples.
pub struct Shape {
    /// Time from the middle to either end.
    pub half: f64,
    beta: f64,
    cut: f64,
}

impl Shape {
    /// Value `x` samples from the middle, of 1 times the window's peak there.
    pub fn at(&self, x: f64) -> f64 {
        let inside = 1.0 - (x / self.half).powi(2);
        if inside <= 0.0 {
            return 0.0;
        }
        self.sinc(x) * bessel_i0(self.beta * inside.sqrt())
    }

    fn sinc(&self, x: f64) -> f64 {
        let angle = std::f64::consts::TAU * self.cut * x;
        if angle == 0.0 {
            1.0
        } else {
            angle.sin() / angle
        }
    }

    /// Values at `begin`, `begin` + 1 … : as [`Shape::at`], all at once.
    fn fill(&self, begin: f64, coefficients: &[f64; TERMS], row: &mut [f64]) {
        let inside = |k: usize| 1.0 - ((begin + k as f64) / self.half).powi(2);
        let quarters: Vec<f64> = (0..row.len())
            .map(|k| 0.25 * self.beta * self.beta * inside(k))
            .collect();
        power_series(coefficients, &quarters, row);
        for (k, value) in row.iter_mut().enumerate() {
            *value *= if inside(k) <= 0.0 {
                0.0
            } else {
                self.sinc(begin + k as f64)
            };
        }
    }
}

/// Modified Bessel function I0, by its power series (all terms positive; converges for every argument).
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-17 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// I0(x) = Σ c_k·(x²/4)^k with c_k = 1/(k!)², highest power first.
fn bessel_coefficients() -> [f64; TERMS] {
    let mut coefficients = [1.0; TERMS];
    for k in 1..TERMS {
        let last = coefficients[TERMS - k];
        coefficients[TERMS - 1 - k] = last / (k * k) as f64;
    }
    coefficients
}

/// Horner's scheme at many places side by side.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn power_series(coefficients: &[f64; TERMS], places: &[f64], values: &mut [f64]) {
    values.fill(0.0);
    for coefficient in coefficients {
        for (value, place) in values.iter_mut().zip(places) {
            *value = *value * place + coefficient;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every tap against the formula for it alone; the scale is that the taps of a position sum to 1.
    #[test]
    fn taps_are_the_windowed_sinc_at_their_place() {
        for (rate_hz, pass_hz, stop_hz) in [(2e6, 30e3, 104e3), (100e3, 6400.0, 9500.0)] {
            let design = Design {
                rate_hz,
                pass_hz,
                stop_hz,
            };
            let kernel = design.kernel(100_000).unwrap();
            assert!(Arc::ptr_eq(&kernel, &design.kernel(100_000).unwrap()));
            assert!(design.kernel(100).is_none());
            for position in 0..=kernel.positions {
                let shift = position as f64 / kernel.positions as f64;
                let exact: Vec<f64> = (0..kernel.length)
                    .map(|k| k as f64 - (kernel.length / 2 - 1) as f64 - shift)
                    .map(|x| kernel.shape.at(x))
                    .collect();
                let sum: f64 = exact.iter().sum();
                let taps = &kernel.taps[position * kernel.length..][..kernel.length];
                for (tap, exact) in taps.iter().zip(&exact) {
                    assert!((f64::from(*tap) - exact / sum).abs() < 1e-8, "{position}");
                }
            }
        }
        // Handbook of Mathematical Functions (Abramowitz, Stegun), table 9.8: e^−5·I0(5) and e^−8·I0(8).
        for (x, scaled) in [(5.0, 0.183_540_812_6), (8.0, 0.143_431_782_0)] {
            assert!((bessel_i0(x) * f64::exp(-x) - scaled).abs() < 1e-9, "{x}");
        }
    }
}
