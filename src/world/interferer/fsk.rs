//! An FSK transmitter with random data and continuous phase.

use super::super::random::uniform;
use super::super::scenario::Fsk;
use super::{Adder, turn};
use rand::rngs::ChaCha8Rng;

pub fn fsk(keys: &Fsk, amplitude_v: f64, rate_hz: f64, mut random: ChaCha8Rng) -> Adder {
    let keys = keys.clone();
    let mut cycles = uniform(&mut random);
    let mut left = uniform(&mut random);
    let mut high = uniform(&mut random) < 0.5;
    Box::new(move |block| {
        for sample in block {
            *sample += turn(cycles) * amplitude_v;
            let shift_hz = if high { keys.shift_hz } else { -keys.shift_hz };
            cycles += (keys.centre_hz + shift_hz) / rate_hz;
            cycles -= libm::floor(cycles);
            left -= keys.baud / rate_hz;
            if left <= 0.0 {
                left += 1.0;
                high = uniform(&mut random) < 0.5;
            }
        }
    })
}
