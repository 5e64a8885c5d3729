//! A steady or pulsed carrier.

use super::super::pulses::Pulses;
use super::super::random::uniform;
use super::super::scenario::Tone;
use super::{Adder, turn};
use rand::rngs::ChaCha8Rng;

pub fn tone(keys: &Tone, amplitude_v: f64, rate_hz: f64, mut random: ChaCha8Rng) -> Adder {
    let drawn = uniform(&mut random);
    let start = keys.phase_deg.map_or(drawn, |degrees| degrees / 360.0);
    let step = keys.frequency_hz / rate_hz;
    let pulses = keys.on_ms.zip(keys.off_ms).map(|(on_ms, off_ms)| Pulses {
        on_s: on_ms * 1e-3,
        off_s: off_ms * 1e-3,
    });
    let mut index = 0u64;
    Box::new(move |block| {
        for sample in block {
            let at = index as f64;
            let strength = pulses.map_or(1.0, |pulses| pulses.strength(at / rate_hz));
            *sample += turn(at * step + start) * (amplitude_v * strength);
            index += 1;
        }
    })
}
