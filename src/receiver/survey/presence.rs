//! Whether anything repeats at a tag's rate with a tag's boundaries: seen some 6 dB below what can be read.
//!
//! Of the folded boundary sums the energy along their common axis is compared with the noise's. At a boundary the load
//! always changes; a quarter bit beside it the same correlation sees a quarter of the energy at most (derived, all data).
//! Something periodic that is no tag's has no such preference and does not pass, and a handful of tones that have it by accident, a
//! reader's dividers or a supply's harmonics, are few lines where data are many.

use num_complex::{Complex32, Complex64};

use super::telegrams;
use crate::receiver::dsp::phasor::single;
use crate::receiver::dsp::transform::forward;
use crate::receiver::fold::pulse_noise::flatness;
use crate::receiver::fold::sums::{BIT, BoundarySums, Fold, TELEGRAM, timing_peaks};
use crate::telegram::TELEGRAM_BITS;

/// Mean and standard deviation of ½(Σ|y|² + |Σy²|) of 128 boundary sums in white noise of variance 1 a part: 128 + half the
/// mean of |Σy²|, a Rayleigh variable of mean √(π/4·128·8) (derived); of real sums it is χ² with 128 degrees.
const COMPLEX_NOISE: [f64; 2] = [142.2, 13.6];
/// Share of |Σy²| in Σ|y|² that chance leaves of 128 boundary sums of circular noise, squared: π/(4·64).
const BY_CHANCE: f64 = 0.0123;
/// See [`COMPLEX_NOISE`].
const REAL_NOISE: [f64; 2] = [128.0, 16.0];

/// Standard deviations above noise from which something is there. The largest over 32 timings and both parities passes it in
/// fewer than one capture of noise in 200 (none of 600, see the test), and mostly far fewer: 6 standard deviations are
/// 1e-9 for a normal variable. What else passes must have the contrast too.
const STANDS_OUT: f64 = 6.0;

/// Of the excess at the boundary so much must be missing a quarter bit beside it; a tag's data leave 75 % and more missing.
const LEAST_CONTRAST: f64 = 0.5;

/// Data are spread over more lines of the telegram's spectrum than this: a mostly empty number (60 % zeros) over some ten, a number
/// drawn at random over 40 and more. Three tones are three.
const LEAST_LINES: f64 = 6.0;

/// Something that repeats as a tag does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Presence {
    /// Eb/N0 of the folded telegram, as a ratio.
    pub folded: f64,
    /// Standard deviations above noise.
    pub above: f64,
    /// Cycles from the first value to boundary 0.
    pub timing: f64,
    /// Each telegram is inverted against the one before.
    pub inverts: bool,
    /// Noise variance a part of one boundary pulse.
    pub noise_var: f64,
    /// Telegrams folded.
    pub telegrams: f64,
}

impl Presence {
    /// Rms of the ripple relative to the field: Eb/N0 of a ripple r is r²/(2·noise of a boundary pulse).
    pub fn depth(&self) -> f64 {
        (2.0 * self.noise_var * self.folded / self.telegrams).sqrt()
    }
}

/// Looks for a repeating ripple; `None` where none stands out, or where there is nothing to take the noise from.
pub fn presence(
    ripple: &[Complex32],
    between_telegrams: Option<[f64; 2]>,
    real: bool,
) -> Option<Presence> {
    if ripple.len() < TELEGRAM {
        return None;
    }
    [false, true]
        .into_iter()
        .filter_map(|inverts| {
            let noise = between_telegrams.map(|noise| noise[usize::from(inverts)]);
            with_parity(ripple, noise, inverts, real)
        })
        .max_by(|a, b| a.above.total_cmp(&b.above))
}

fn with_parity(
    ripple: &[Complex32],
    between_telegrams: Option<f64>,
    inverts: bool,
    real: bool,
) -> Option<Presence> {
    let fold = Fold::new(ripple, inverts);
    let scores = fold.timing_scores();
    let (_, timing) = timing_peaks(&scores).into_iter().next()?;
    let parts = if real { 1.0 } else { 2.0 };
    let (noise_var, independent) = match between_telegrams {
        // Pulses half a bit apart are nearly independent.
        Some(noise) => (noise, parts * (ripple.len() - TELEGRAM) as f64 / 16.0),
        None if real => return None,
        None => {
            let sums = fold.boundaries(timing);
            (sums.along(sums.axis()).1, TELEGRAM_BITS as f64)
        }
    };
    let scale = 1.0 / ((BIT * BIT) as f64 * telegrams(ripple.len()) * noise_var.max(1e-300));
    let at = |shift: usize| scores[(timing.round() as usize + shift) % BIT] * scale;
    let [mean, deviation] = if real {
        REAL_NOISE
    } else {
        // Noise of the field's phase alone has its energy along one axis, as a ripple has.
        let flat = flatness(ripple, inverts);
        let [_, circular] = COMPLEX_NOISE;
        [
            TELEGRAM_BITS as f64 * (1.0 + (flat * flat + BY_CHANCE).sqrt()),
            circular + (2.0 * REAL_NOISE[1] - circular) * flat,
        ]
    };
    let here = at(0);
    let beside = 0.5 * (at(BIT / 4) + at(3 * BIT / 4));
    let spread = deviation.hypot(mean * (2.0 / independent).sqrt());
    let above = (here - mean) / spread;
    let stands_out = above > STANDS_OUT
        && here - beside > LEAST_CONTRAST * (here - mean)
        && lines(&fold.boundaries(timing), inverts, parts * noise_var) > LEAST_LINES;
    // Timing and axis were chosen on the sums: two of the 128 values are free.
    let folded = 0.5 * (here / TELEGRAM_BITS as f64 - 1.0 - 2.0 / TELEGRAM_BITS as f64);
    stands_out.then_some(Presence {
        folded: folded.max(0.0),
        above,
        timing,
        inverts,
        noise_var,
        telegrams: telegrams(ripple.len()),
    })
}

/// Over how many lines of the telegram's spectrum its power is spread: (ΣS)²/ΣS². Of a line's power P with noise N, S is P − N and
/// S² is P² − 4·N·P + 2·N² in the mean (derived: a fixed line and circular noise). `noise` is that of one boundary pulse.
fn lines(sums: &BoundarySums, inverts: bool, noise: f64) -> f64 {
    let half_line = if inverts {
        -std::f64::consts::PI / TELEGRAM_BITS as f64
    } else {
        0.0
    };
    let mut spectrum: Vec<Complex32> = sums
        .sums
        .iter()
        .enumerate()
        .map(|(j, sum)| single(sum * Complex64::cis(half_line * j as f64)))
        .collect();
    forward(TELEGRAM_BITS).process(&mut spectrum);
    let noise = noise * sums.energies.iter().sum::<f64>();
    let (mut power, mut squares) = (0.0, 0.0);
    for line in spectrum {
        let seen = f64::from(line.norm_sqr());
        power += seen - noise;
        squares += seen * seen - 4.0 * noise * seen + 2.0 * noise * noise;
    }
    if squares > 0.0 {
        power * power / squares
    } else {
        TELEGRAM_BITS as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linecode;
    use crate::receiver::fold::pulse_noise::noise_between_telegrams;
    use crate::telegram::Telegram;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    fn of(ripple: &[Complex32]) -> Option<Presence> {
        presence(ripple, noise_between_telegrams(ripple, false), false)
    }

    /// A reader's dividers leave lines in step with the telegram and with its boundaries: a square wave of 32 cycles, whole.
    #[test]
    fn lines_in_step_are_no_presence() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(41);
        let mut noise = || -> f32 {
            0.01 * <StandardNormal as Distribution<f32>>::sample(&StandardNormal, &mut rng)
        };
        let values: Vec<Complex32> = (0..6 * TELEGRAM)
            .map(|n| {
                let state = if n / 32 % 2 == 0 { 0.005 } else { -0.005 };
                Complex32::new(0.6 * state + noise(), 0.8 * state + noise())
            })
            .collect();
        let fold = Fold::new(&values, false);
        let timing = timing_peaks(&fold.timing_scores())[0].1;
        let spread = lines(&fold.boundaries(timing), false, 0.0);
        assert!(spread < LEAST_LINES, "{spread}");
        assert_eq!(of(&values), None);
        let tag = ripple(42, 6 * TELEGRAM, 0.005, 0.01);
        assert!(of(&tag).is_some());
    }

    fn ripple(seed: u64, values: usize, depth: f32, sigma: f32) -> Vec<Complex32> {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(seed);
        let bits = Telegram::new(0x8000_F9C0_075B_CD15).bits();
        let states = linecode::load_states(&bits, 1);
        let flip = linecode::inverts(&bits);
        (0..values)
            .map(|n| {
                let sign = if flip && n / TELEGRAM % 2 == 1 { -1 } else { 1 };
                let state = f32::from(states[n / 16 % 256] * sign);
                let (a, b): (f32, f32) = (
                    StandardNormal.sample(&mut rng),
                    StandardNormal.sample(&mut rng),
                );
                Complex32::new(
                    0.6 * depth * state + sigma * a,
                    0.8 * depth * state + sigma * b,
                )
            })
            .collect()
    }

    /// Folded Eb/N0 of ripple r in noise σ a part and a value: N·r²·32/(2σ²).
    #[test]
    fn the_level_is_right_and_noise_stays_silent() {
        for folded_db in [-1.0f64, 3.0, 10.0] {
            let mut sum = 0.0;
            let values = 13_000;
            let depth = 0.01f32;
            let energy = telegrams(values) * 32.0 * f64::from(depth * depth) / 2.0;
            let sigma = (energy / 10f64.powf(folded_db / 10.0)).sqrt() as f32;
            for seed in 0..20 {
                let found = of(&ripple(seed, values, depth, sigma)).unwrap();
                sum += found.folded / 20.0;
            }
            // 20 captures with a spread of up to 0.7 dB each: 0.16 dB, times 4; the timing's triangle takes up to 0.2.
            assert!(
                (10.0 * sum.log10() - folded_db).abs() < 0.85,
                "{folded_db}: {}",
                10.0 * sum.log10()
            );
        }
        for seed in 0..300 {
            for values in [5000, 13_000] {
                let found = of(&ripple(seed, values, 0.0, 1.0));
                assert!(found.is_none(), "{seed} {found:?}");
            }
        }
    }
}
