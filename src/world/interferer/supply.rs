//! A switching supply: harmonics of one clock that jitters, is spread, and may only run in bursts.

use super::super::normal::NormalDeviates;
use super::super::random::uniform;
use super::super::scenario::Supply;
use super::{Adder, turn};
use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;

/// Jitter of a period by the part j from period to period is a random walk of the phase: its variance grows by j² cycles² a period, and
/// harmonic n becomes a line of the shape of a resonance, 2π·n²·j²·f₀ wide at half power.
pub fn supply(keys: &Supply, amplitude_v: f64, rate_hz: f64, mut random: ChaCha8Rng) -> Adder {
    let keys = keys.clone();
    let normal = NormalDeviates::new();
    let mut cycles = uniform(&mut random);
    let mut sweep = uniform(&mut random);
    let mut mains = uniform(&mut random);
    let jitter = keys.jitter_percent / 100.0;
    let step_sigma = jitter * (keys.fundamental_hz / rate_hz).sqrt();
    let levels: Vec<f64> = (1..=keys.harmonics)
        .map(|n| {
            let octaves = libm::log2(f64::from(n));
            amplitude_v * libm::pow(10.0, -keys.rolloff_db_per_octave * octaves / 20.0)
        })
        .collect();
    Box::new(move |block| {
        for sample in block {
            let on = keys.burst_hz == 0.0 || mains < keys.burst_percent / 100.0;
            if on {
                let first = turn(cycles);
                let mut power = Complex64::ONE;
                for level in &levels {
                    power *= first;
                    *sample += power * *level;
                }
            }
            // Triangle between −1 and 1.
            let triangle = 4.0 * (sweep - 0.5).abs() - 1.0;
            let spread = 1.0 + keys.spread_percent / 100.0 * triangle;
            cycles += keys.fundamental_hz * spread / rate_hz;
            if step_sigma > 0.0 {
                cycles += step_sigma * normal.draw(&mut random);
            }
            cycles -= libm::floor(cycles);
            sweep += keys.spread_hz / rate_hz;
            sweep -= libm::floor(sweep);
            mains += keys.burst_hz / rate_hz;
            mains -= libm::floor(mains);
        }
    })
}
