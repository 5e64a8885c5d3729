//! Noise around a frequency: a complex first-order process, Lorentzian in density.

use super::super::normal::NormalDeviates;
use super::super::scenario::BandNoise;
use super::{Adder, turn};
use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;

/// One-sided density D²/(1 + (2(f − f₀)/w)²) of the real part: the complex process has twice that at its side of zero, and the variance
/// π·w·D² in all.
pub fn band_noise(keys: &BandNoise, rate_hz: f64, mut random: ChaCha8Rng) -> Adder {
    let normal = NormalDeviates::new();
    let density = (keys.density_nv_per_rthz * 1e-9).powi(2);
    let stay = libm::exp(-std::f64::consts::PI * keys.width_hz / rate_hz);
    let step = turn(keys.centre_hz / rate_hz) * stay;
    // Half of the variance for each quadrature.
    let sigma = (std::f64::consts::PI * keys.width_hz * density / 2.0).sqrt();
    let kick = sigma * (1.0 - stay * stay).sqrt();
    let mut draw = move || {
        let re = normal.draw(&mut random);
        Complex64::new(re, normal.draw(&mut random))
    };
    let mut state = draw() * sigma;
    Box::new(move |block| {
        for sample in block {
            *sample += state;
            state = state * step + draw() * kick;
        }
    })
}
