//! The exact limit: a decoder that is told everything but the number and where its telegram starts.

use crate::linecode;
use crate::receiver::decision::{Boundaries, decide};
use crate::receiver::{BIT, HALF, Samples};
use crate::telegram::{TELEGRAM_BITS, Telegram};
use crate::world::{DirectSignal, NormalDeviates, View};
use rand::Rng;
use std::f64::consts::TAU;

use super::scene::{Recording, Scene};

/// Whether the limit is defined for a scene: one tag's ripple given outright, in a steady field seen directly.
pub fn can_be_told(scene: &Scene) -> bool {
    match scene {
        Scene::Direct { signal, .. } => {
            signal.view == View::Real
                && signal.tags.len() == 1
                && signal.pulses.is_none()
                && signal.noise_sigma > 0.0
        }
        Scene::Bench { .. } => false,
    }
}

/// The number, where its exact odds are good enough: frequency, phase, timing, parity, angle, amplitude and noise are told. Plain sums over
/// the samples.
///
/// `None` also where [`can_be_told`] says no.
pub fn told(scene: &Scene, recording: &Recording, odds: f64) -> Option<u64> {
    let Scene::Direct { signal, digitiser } = scene else {
        return None;
    };
    let Samples::Real(samples) = recording.signal().samples else {
        return None;
    };
    if !can_be_told(scene) {
        return None;
    }
    let step = digitiser.map_or(0.0, |digitiser| digitiser.step());
    let noise_var = signal.noise_sigma * signal.noise_sigma + step * step / 12.0;
    let boundaries = boundaries(signal, samples, noise_var);
    let decision = decide(&boundaries)?;
    (decision.odds_wrong <= odds).then_some(decision.telegram.code)
}

fn boundaries(signal: &DirectSignal, samples: &[f32], noise_var: f64) -> Boundaries {
    let tag = &signal.tags[0];
    let inverts = linecode::inverts(&tag.telegram.bits());
    // A start that the decoder is not told: boundary 0 is the first after the first sample.
    let first = tag.start_cycles % BIT as f64;
    let (mut sums, mut energies) = ([0.0; TELEGRAM_BITS], [0.0; TELEGRAM_BITS]);
    let phase = (signal.phase_deg + tag.angle_deg).to_radians();
    let mean_phase = signal.phase_deg.to_radians();
    let rate_hz = signal.rate_hz * (1.0 + signal.clock_ppm * 1e-6);
    for (n, &x) in samples.iter().enumerate() {
        let cycle = signal.field_hz * n as f64 / rate_hz;
        let turns = TAU * cycle.fract();
        // The field itself is known and taken off.
        let field = signal.amplitude * (turns + mean_phase).cos() + signal.offset;
        let ripple = f64::from(x) - field;
        let reference = (turns + phase).cos();
        let half = ((cycle - first) / HALF as f64).floor() as i64;
        // A half bit after boundary j belongs to j, one before it too, with the other sign.
        let (boundary, sign) = if half.rem_euclid(2) == 1 {
            (half.div_euclid(2) + 1, -1.0)
        } else {
            (half.div_euclid(2), 1.0)
        };
        let odd = boundary.div_euclid(TELEGRAM_BITS as i64) % 2 != 0;
        let sign = if odd && inverts { -sign } else { sign };
        let index = boundary.rem_euclid(TELEGRAM_BITS as i64) as usize;
        sums[index] += sign * ripple * reference;
        energies[index] += reference * reference;
    }
    Boundaries {
        sums,
        energies,
        noise_var,
        inverts,
        amplitude: Some(signal.amplitude * tag.depth),
    }
}

/// The same limit without samples: one folded telegram's boundary sums in white noise, γ = folded Eb/N0. True where the right number has
/// exact odds good enough.
pub fn told_sums(gamma: f64, odds: f64, generator: &mut impl Rng) -> bool {
    let normal = NormalDeviates::new();
    let telegram = Telegram::new(generator.next_u64());
    let bits = telegram.bits();
    let start = (generator.next_u64() % TELEGRAM_BITS as u64) as usize;
    let inverts = linecode::inverts(&bits);
    let signs = linecode::boundary_signs(&bits, 1);
    // A pulse of energy 1 and amplitude 1: noise variance 1/(2γ).
    let noise_var = 1.0 / (2.0 * gamma);
    let sums = std::array::from_fn(|j| {
        // Boundary j of the sums is boundary j − start of a telegram, the one before it where that is negative.
        let at = (j + TELEGRAM_BITS - start) % TELEGRAM_BITS;
        let sign = f64::from(signs[at]) * if j < start && inverts { -1.0 } else { 1.0 };
        sign + noise_var.sqrt() * normal.draw(generator)
    });
    decide(&Boundaries {
        sums,
        energies: [1.0; TELEGRAM_BITS],
        noise_var,
        inverts,
        amplitude: Some(1.0),
    })
    .is_some_and(|decision| decision.odds_wrong <= odds && decision.telegram.code == telegram.code)
}
