//! Captures without a valid tag: none may give a number.
//!
//! ```text
//! cargo bench --bench false_numbers -- CAPTURES [SEED]
//! ```
//!
//! 70 ms at 500 kS/s each, in turn: a bare field, noise alone, a 125 kHz field with a Manchester tag (64 cycles a bit) and one
//! with an FSK tag (field/8 and field/10), a 134.2 kHz field that Manchester data modulates with 32 cycles a bit, random
//! biphase data, half-duplex tones in a pause of the field. Noise from next to nothing to as strong as the ripple.

use std::f64::consts::TAU;

use fieldripple::receiver::{Samples, Signal, receive};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

const RATE_HZ: f64 = 500e3;
const SAMPLES: usize = 35_000;
const DEPTH: f64 = 0.02;

/// What is in a capture.
const KINDS: [&str; 7] = [
    "bare field",
    "noise alone",
    "125 kHz, Manchester, 64 cycles",
    "125 kHz, FSK field/8 and /10",
    "134.2 kHz, Manchester, 32 cycles",
    "134.2 kHz, random biphase",
    "half duplex in a pause",
];

fn main() {
    let numbers: Vec<u64> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with("--"))
        .map(|argument| argument.parse().expect("a whole number"))
        .collect();
    let (captures, seed) = match numbers.as_slice() {
        [captures] => (*captures, 1),
        [captures, seed] => (*captures, *seed),
        _ => {
            println!("give CAPTURES [SEED]; nothing was run");
            return;
        }
    };
    let with_number: Vec<bool> = (0..captures)
        .into_par_iter()
        .map(|index| {
            let samples = capture(index as usize % KINDS.len(), index, seed);
            let signal = Signal {
                samples: Samples::Real(&samples),
                rate_hz: Some(RATE_HZ),
                centre_hz: 0.0,
                logic: false,
            };
            !receive(&signal, 1e-5).readings.is_empty()
        })
        .collect();
    println!("{captures} captures without a valid tag, seed {seed}");
    for (kind, name) in KINDS.iter().enumerate() {
        let of_kind: Vec<&bool> = with_number.iter().skip(kind).step_by(KINDS.len()).collect();
        let numbers = of_kind.iter().filter(|number| ***number).count();
        println!("{name:34} {numbers} of {} gave a number", of_kind.len());
    }
}

fn capture(kind: usize, index: u64, seed: u64) -> Vec<f32> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(index);
    let field_hz = if kind == 2 || kind == 3 {
        125e3
    } else {
        134.2e3 + rng.random_range(-300.0..300.0)
    };
    let sigma = DEPTH * 10f64.powf(rng.random_range(-2.0..1.0));
    let angle = rng.random_range(-90.0f64..90.0).to_radians();
    let phase = rng.random_range(0.0..TAU);
    let start = rng.random_range(0.0..4096.0);
    let data: Vec<bool> = (0..400).map(|_| rng.random()).collect();
    // Random biphase: a change at each bit's start, a second one in its middle for a 0.
    let mut level = false;
    let halves: Vec<bool> = data
        .iter()
        .flat_map(|&bit| {
            let first = !level;
            level = if bit { first } else { !first };
            [first, level]
        })
        .collect();
    let tone_offset_hz = rng.random_range(-2000.0..2000.0);
    let mut tone_turns = 0.0;
    (0..SAMPLES)
        .map(|n| {
            let time = n as f64 / RATE_HZ;
            let cycle = field_hz * time + start;
            // Data repeat after 64 bits, as a tag's do.
            let manchester = |cycles_a_bit: f64| {
                let place = cycle / cycles_a_bit;
                data[place as usize % 64] ^ (place.fract() >= 0.5)
            };
            let state = match kind {
                2 => manchester(64.0),
                3 => {
                    let divider = if data[(cycle / 50.0) as usize % 96] {
                        8.0
                    } else {
                        10.0
                    };
                    (cycle / divider).fract() < 0.5
                }
                4 => manchester(32.0),
                5 => halves[(cycle / 16.0) as usize % halves.len()],
                _ => false,
            };
            let pause = kind == 6 && (0.045..0.065).contains(&time);
            let field = if kind == 1 || pause { 0.0 } else { 1.0 };
            let ripple = match kind {
                2..=5 if state => DEPTH,
                2..=5 => -DEPTH,
                _ => 0.0,
            };
            let turns = TAU * (field_hz * time).fract() + phase;
            let mut value = field * (turns.cos() + ripple * (turns + angle).cos());
            if pause {
                let one = data[((time - 0.046).max(0.0) * 8000.0) as usize];
                let tone_hz = tone_offset_hz + if one { 124.2e3 } else { 134.2e3 };
                tone_turns += tone_hz / RATE_HZ;
                value += 3.0 * DEPTH * (TAU * tone_turns.fract()).cos();
            }
            let noise: f64 = StandardNormal.sample(&mut rng);
            (value + sigma * noise) as f32
        })
        .collect()
}
