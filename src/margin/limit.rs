//! The exact limit: a decoder that is told everything but the number and where its telegram starts.

use crate::linecode;
use crate::receiver::decision::{Boundaries, Known, decide};
use crate::receiver::{BIT, HALF, Samples};
use crate::telegram::{TELEGRAM_BITS, Telegram};
use crate::world::{NormalDeviates, SampleForm};
use num_complex::Complex64;
use rand::Rng;
use std::f64::consts::TAU;

use super::scene::{Recording, Scene};

/// Whether the limit is defined for a scene: one tag's ripple given outright, in a steady field seen directly.
pub fn can_be_told(scene: &Scene) -> bool {
    match scene {
        Scene::Direct { signal, .. } => {
            signal.view == SampleForm::Real
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
    sure_enough(&seen(scene, recording)?, odds)
}

/// The number decided for, where its odds are good enough.
fn sure_enough(boundaries: &Boundaries, odds: f64) -> Option<u64> {
    let decision = decide(boundaries)?;
    (decision.odds_wrong <= odds).then_some(decision.telegram.code)
}

/// What the told decoder sees of the boundaries.
fn seen(scene: &Scene, recording: &Recording) -> Option<Boundaries> {
    let Scene::Direct { signal, digitiser } = scene else {
        return None;
    };
    let Samples::Real(samples) = recording.signal().samples else {
        return None;
    };
    if !can_be_told(scene) {
        return None;
    }
    let tag = &signal.tags[0];
    let step = digitiser.map_or(0.0, |digitiser| digitiser.step());
    let cycles_per_sample = signal.field_hz / (signal.rate_hz * (1.0 + signal.clock_ppm * 1e-6));
    let turn = |n: usize, angle_deg: f64| {
        let turns = (cycles_per_sample * n as f64).fract();
        Complex64::cis(TAU * turns + (signal.phase_deg + angle_deg).to_radians())
    };
    let half = HALF as f64;
    let told = Told {
        cycles_per_sample,
        start_cycles: tag.start_cycles,
        inverts: linecode::inverts(&tag.telegram.bits()),
        noise_var: signal.noise_sigma * signal.noise_sigma + step * step / 12.0,
        known: Known::Nothing,
        pulse_bits: 0,
        pulse: |after: f64| {
            let inside = (-half..half).contains(&after);
            Complex64::new(if inside { after.signum() } else { 0.0 }, 0.0)
        },
        turn: |n: usize| signal.amplitude * tag.depth * turn(n, tag.angle_deg),
    };
    // The field itself is known and removed.
    let ripple = samples
        .iter()
        .enumerate()
        .map(|(n, &x)| f64::from(x) - signal.amplitude * turn(n, 0.0).re - signal.offset);
    Some(told.boundaries(ripple))
}

/// What the told decoder knows of a tag and a capture.
pub struct Told<P, T> {
    /// Field cycles from one sample to the next.
    pub cycles_per_sample: f64,
    /// Field cycles from the first sample to a telegram's start; which bit starts there is not made use of.
    pub start_cycles: f64,
    /// Each telegram is inverted against the one before.
    pub inverts: bool,
    /// Variance of the white noise in a sample.
    pub noise_var: f64,
    /// What is taken as known of the number.
    pub known: Known,
    /// Bits that a boundary's pulse goes on for after its own.
    pub pulse_bits: i64,
    /// What a boundary adds to the ripple so many field cycles after it, for a ripple of ±1.
    pub pulse: P,
    /// Phasor of the ripple, turned with the field to a sample.
    pub turn: T,
}

impl<P: Fn(f64) -> Complex64, T: Fn(usize) -> Complex64> Told<P, T> {
    /// The number in the ripple's samples (the field removed), where its exact odds are good enough.
    pub fn read(&self, ripple: impl Iterator<Item = f64>, odds: f64) -> Option<u64> {
        sure_enough(&self.boundaries(ripple), odds)
    }

    fn boundaries(&self, ripple: impl Iterator<Item = f64>) -> Boundaries {
        // A start that the decoder is not told: boundary 0 is the first after the first sample.
        let first = self.start_cycles % BIT as f64;
        let (mut sums, mut energies) = ([0.0; TELEGRAM_BITS], [0.0; TELEGRAM_BITS]);
        let (mut shared, mut energy) = (0.0, 0.0);
        for (n, x) in ripple.enumerate() {
            let cycle = self.cycles_per_sample * n as f64;
            let turn = (self.turn)(n);
            let nearest = ((cycle - first) / BIT as f64).round() as i64;
            let mut before = 0.0;
            for boundary in nearest - self.pulse_bits..=nearest + 1 {
                let odd = boundary.div_euclid(TELEGRAM_BITS as i64) % 2 != 0;
                let sign = if odd && self.inverts { -1.0 } else { 1.0 };
                let index = boundary.rem_euclid(TELEGRAM_BITS as i64) as usize;
                let after = cycle - first - (boundary * BIT as i64) as f64;
                let wave = ((self.pulse)(after) * turn).re;
                sums[index] += sign * wave * x;
                energies[index] += wave * wave;
                shared += wave * before;
                energy += wave * wave;
                before = wave;
            }
        }
        Boundaries {
            sums,
            energies,
            overlap: if energy > 0.0 { shared / energy } else { 0.0 },
            noise_var: self.noise_var,
            inverts: self.inverts,
            amplitude: Some(1.0),
            known: self.known,
        }
    }
}

/// The same limit without samples: one folded telegram's boundary sums in white noise, γ = folded Eb/N0. True where the right number has
/// exact odds good enough.
pub fn told_sums(gamma: f64, odds: f64, generator: &mut impl Rng) -> bool {
    let (boundaries, code) = drawn(gamma, generator);
    sure_enough(&boundaries, odds) == Some(code)
}

/// Boundary sums of a random telegram, and its code.
fn drawn(gamma: f64, generator: &mut impl Rng) -> (Boundaries, u64) {
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
    let boundaries = Boundaries {
        sums,
        energies: [1.0; TELEGRAM_BITS],
        overlap: 0.0,
        noise_var,
        inverts,
        amplitude: Some(1.0),
        known: Known::Nothing,
    };
    (boundaries, telegram.code)
}

#[cfg(test)]
mod tests {
    use super::super::trellis::Fold;
    use super::*;
    use crate::world::{DirectSignal, Stream, generator, noise_sigma, ripple_rms};

    /// Odds at which a number counts as read here.
    const ODDS: f64 = 1e-5;

    /// The limit's decision and the trellis over the same evidence: the same odds, and the same numbers read.
    fn agree(case: &str, boundaries: &Boundaries, fold: &Fold, sent: u64) {
        let decision = decide(boundaries).expect("a decision");
        let (fast, slow) = (decision.odds_wrong, fold.odds_wrong(decision.telegram.code));
        println!(
            "{case}: odds {fast:.6e}, trellis {slow:.6e}, right {}",
            decision.telegram.code == sent
        );
        if decision.telegram.code != sent {
            assert!(fold.odds_wrong(sent) > ODDS, "{case}: missed");
        }
        assert_eq!(fast <= ODDS, slow <= ODDS, "{case}");
    }

    fn on_samples(trials: std::ops::Range<u64>) {
        for trial in trials {
            let mut random = generator(trial, Stream::Tag(0));
            let mut signal =
                DirectSignal::with_tag(crate::telegram::Identity::from_code(random.next_u64()));
            let cycles = 4096.0 + (random.next_u64() % 8192) as f64;
            signal.samples = (cycles / signal.field_hz * signal.rate_hz) as u64;
            signal.phase_deg = (random.next_u64() % 360) as f64;
            signal.tags[0].start_cycles = (random.next_u64() % 4096) as f64 + 0.3;
            signal.tags[0].telegram.trailer = (random.next_u64() & 0xFF_FFFF) as u32;
            signal.seed = trial;
            let ebn0_db = 3.0 - 10.0 * (cycles / 4096.0).log10();
            let rms = ripple_rms(
                SampleForm::Real,
                1.0,
                signal.tags[0].depth,
                signal.tags[0].angle_deg,
            );
            signal.noise_sigma = noise_sigma(
                SampleForm::Real,
                ebn0_db,
                rms,
                signal.field_hz,
                signal.rate_hz,
            );
            let scene = Scene::Direct {
                signal,
                digitiser: None,
            };
            let recording = scene.record();
            let Scene::Direct { signal, .. } = &scene else {
                unreachable!()
            };
            let sent = signal.tags[0].telegram;
            agree(
                &format!("samples {trial}"),
                &seen(&scene, &recording).unwrap(),
                &folded(signal, &recording),
                sent.code,
            );
        }
    }

    /// Every sample against the half bit it falls in, by the field's own cycles.
    fn folded(signal: &DirectSignal, recording: &Recording) -> Fold {
        let Samples::Real(samples) = recording.signal().samples else {
            unreachable!()
        };
        let tag = &signal.tags[0];
        let ones = tag.telegram.bits().iter().filter(|&&bit| bit).count();
        let mut fold = Fold {
            for_plus: [0.0; 256],
            inverts: ones % 2 == 1,
        };
        for (n, &x) in samples.iter().enumerate() {
            let cycle = signal.field_hz / signal.rate_hz * n as f64;
            let field = TAU * cycle + signal.phase_deg.to_radians();
            let ripple = tag.depth * (field + tag.angle_deg.to_radians()).cos();
            let half = ((cycle - tag.start_cycles.rem_euclid(32.0)) / 16.0).floor() as i64;
            let inverted = fold.inverts && half.div_euclid(256) % 2 != 0;
            let sign = if inverted { -1.0 } else { 1.0 };
            let rest = f64::from(x) - field.cos();
            fold.for_plus[half.rem_euclid(256) as usize] +=
                sign * rest * ripple / signal.noise_sigma.powi(2);
        }
        fold
    }

    fn on_sums(trials: std::ops::Range<u64>) {
        for trial in trials {
            let mut random = generator(trial, Stream::Noise);
            let (boundaries, sent) = drawn(10f64.powf(0.3), &mut random);
            let mut fold = Fold {
                for_plus: [0.0; 256],
                inverts: boundaries.inverts,
            };
            for (bit, sum) in boundaries.sums.iter().enumerate() {
                fold.for_plus[2 * bit] = sum / boundaries.noise_var;
            }
            agree(&format!("sums {trial}"), &boundaries, &fold, sent);
        }
    }

    #[test]
    fn the_limit_decides_as_the_trellis_does() {
        on_samples(0..2);
        on_sums(0..2);
    }

    /// `cargo test --release margin::limit -- --ignored --nocapture`
    #[test]
    #[ignore = "minutes: all telegrams of 200 captures"]
    fn the_limit_decides_as_the_trellis_does_at_length() {
        on_samples(100..200);
        on_sums(100..200);
    }
}
