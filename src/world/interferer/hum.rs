//! Mains hum; a real signal, added behind the detector.

use super::super::random::uniform;
use super::super::scenario::Hum;
use super::{Adder, turn};
use rand::rngs::ChaCha8Rng;

pub fn hum(keys: &Hum, rate_hz: f64, mut random: ChaCha8Rng) -> Adder {
    let keys = keys.clone();
    let start = uniform(&mut random);
    let mut index = 0u64;
    Box::new(move |block| {
        for sample in block {
            let cycles = index as f64 * (keys.mains_hz / rate_hz) + start;
            for n in 1..=keys.harmonics {
                let n = f64::from(n);
                *sample += turn(cycles * n) * (keys.amplitude_v / n);
            }
            index += 1;
        }
    })
}
