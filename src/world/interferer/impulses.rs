//! Ringing impulses at random times (a Poisson process).

use super::super::random::uniform;
use super::super::scenario::Impulses;
use super::{Adder, turn};
use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;

/// Each is amplitude·e^{−t/τ}·cos(2πft + φ) with φ at random; by Campbell's theorem (textbook) their one-sided density is
/// λ·A²/2·|H|² with |H|² = 1/(1/τ² + (2π(f − f₀))²).
pub fn impulses(keys: &Impulses, amplitude_v: f64, rate_hz: f64, mut random: ChaCha8Rng) -> Adder {
    let decay_s = keys.decay_us * 1e-6;
    let (ring_hz, rate_per_s) = (keys.ring_hz, keys.rate_per_s);
    let ring = move |elapsed_s: f64| turn(ring_hz * elapsed_s) * libm::exp(-elapsed_s / decay_s);
    let step = ring(1.0 / rate_hz);
    let mut state = Complex64::ZERO;
    // Samples from the present one to the next impulse.
    let wait = move |random: &mut ChaCha8Rng| {
        if rate_per_s > 0.0 {
            -libm::log(1.0 - uniform(random)) / rate_per_s * rate_hz
        } else {
            f64::INFINITY
        }
    };
    let mut next = wait(&mut random);
    Box::new(move |block| {
        for sample in block {
            while next <= 0.0 {
                let phase = turn(uniform(&mut random));
                state += phase * ring(-next / rate_hz) * amplitude_v;
                next += wait(&mut random);
            }
            *sample += state;
            state *= step;
            next -= 1.0;
        }
    })
}
