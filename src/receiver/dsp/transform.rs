//! Plans of transforms, and the window in front of them: making them takes longer than using them once, so they are kept.

use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use realfft::{RealFftPlanner, RealToComplex};
use rustfft::{Fft, FftPlanner};

use super::kept::Kept;
use super::phasor::{BLOCK, Oscillator, single};

/// Four-term Blackman–Harris window, side lobes −92 dB (Harris, Proc. IEEE 66(1), 1978).
const WINDOW: [f64; 4] = [0.35875, 0.48829, 0.14128, 0.01168];

/// The window's mean: what it leaves of a tone.
pub const WINDOW_MEAN: f64 = WINDOW[0];

/// The window's mean square: what it leaves of noise.
pub const WINDOW_MEAN_SQUARE: f64 = WINDOW[0] * WINDOW[0]
    + 0.5 * (WINDOW[1] * WINDOW[1] + WINDOW[2] * WINDOW[2] + WINDOW[3] * WINDOW[3]);

static COMPLEX: LazyLock<Mutex<FftPlanner<f32>>> = LazyLock::new(|| Mutex::new(FftPlanner::new()));
static REAL: LazyLock<Mutex<RealFftPlanner<f32>>> =
    LazyLock::new(|| Mutex::new(RealFftPlanner::new()));
static WINDOWS: Kept<[f32]> = Kept::new();

/// A planner by itself; one whose owner panicked has at worst a plan less.
fn with<P, T>(planner: &Mutex<P>, plan: impl FnOnce(&mut P) -> T) -> T {
    plan(&mut planner.lock().unwrap_or_else(PoisonError::into_inner))
}

/// Transform of complex values, not scaled.
pub fn forward(lines: usize) -> Arc<dyn Fft<f32>> {
    with(&COMPLEX, |planner| planner.plan_fft_forward(lines))
}

/// Inverse transform of complex values, not scaled: back and forth multiplies by `lines`.
pub fn inverse(lines: usize) -> Arc<dyn Fft<f32>> {
    with(&COMPLEX, |planner| planner.plan_fft_inverse(lines))
}

/// Transform of real values to the lines from zero frequency to half the rate, not scaled.
pub fn forward_real(lines: usize) -> Arc<dyn RealToComplex<f32>> {
    with(&REAL, |planner| planner.plan_fft_forward(lines))
}

/// The window's `count` values.
pub fn window(count: usize) -> Arc<[f32]> {
    WINDOWS.get(|window| window.len() == count, || made(count))
}

fn made(count: usize) -> Arc<[f32]> {
    let [mean, once, twice, thrice] = WINDOW.map(|share| share as f32);
    let oscillator = Oscillator::new(1.0 / count.max(1) as f64);
    let mut values = vec![0.0; count];
    for (values, base) in values.chunks_mut(BLOCK).zip(oscillator.bases(0)) {
        let base = single(base);
        for (value, turn) in values.iter_mut().zip(oscillator.within_block()) {
            // cos 2x = 2cos²x − 1, cos 3x = (2·cos 2x − 1)·cos x
            let cos = turn.re * base.re - turn.im * base.im;
            let double = 2.0 * cos * cos - 1.0;
            *value = mean - once * cos + twice * double - thrice * (2.0 * double - 1.0) * cos;
        }
    }
    values.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the definition; the oscillator errs by a few units of single precision.
    #[test]
    fn the_window_is_the_published_sum_of_cosines() {
        for count in [64, 1000, 4096] {
            let kept = window(count);
            assert!(Arc::ptr_eq(&kept, &window(count)));
            for (n, value) in kept.iter().enumerate() {
                let angle = std::f64::consts::TAU * n as f64 / count as f64;
                let exact: f64 = (0..4)
                    .map(|k| [1.0, -1.0][k % 2] * WINDOW[k] * (k as f64 * angle).cos())
                    .sum();
                assert!((f64::from(*value) - exact).abs() < 2e-6, "{count}: {n}");
            }
        }
    }
}
