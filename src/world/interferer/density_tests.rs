//! Densities against what was asked for: averaged periodograms of N blocks scatter by 1/√N (textbook), five deviations are allowed.

use super::super::random::{Stream, generator};
use super::super::scenario::{BandNoise, Fsk, Impulses, PhaseNoise, Supply, Tone};
use super::*;
use rand::rngs::ChaCha8Rng;
use rustfft::FftPlanner;

const RATE_HZ: f64 = 1e6;
const POINTS: usize = 4096;
const BLOCKS: usize = 400;

fn random() -> ChaCha8Rng {
    generator(5, Stream::Interferer(9, 9))
}

/// One-sided density (unit²/Hz) of real samples, Hann window; bin k is at k·rate/points.
fn density(mut next: impl FnMut(&mut [f64])) -> Vec<f64> {
    let fft = FftPlanner::new().plan_fft_forward(POINTS);
    let window: Vec<f64> = (0..POINTS)
        .map(|i| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / POINTS as f64).cos())
        .collect();
    let power: f64 = window.iter().map(|w| w * w).sum();
    let mut sum = vec![0.0; POINTS / 2];
    for _ in 0..BLOCKS {
        let mut block = vec![0.0; POINTS];
        next(&mut block);
        let mut spectrum: Vec<Complex64> = block
            .iter()
            .zip(&window)
            .map(|(x, w)| Complex64::from(x * w))
            .collect();
        fft.process(&mut spectrum);
        for (sum, value) in sum.iter_mut().zip(&spectrum) {
            *sum += 2.0 * value.norm_sqr() / (power * RATE_HZ * BLOCKS as f64);
        }
    }
    sum
}

fn density_of(mut adder: Adder) -> Vec<f64> {
    density(|block| {
        let mut complex = vec![Complex64::ZERO; block.len()];
        adder(&mut complex);
        block.iter_mut().zip(complex).for_each(|(x, z)| *x = z.re);
    })
}

/// Mean of the density over bins in a band of frequencies, against the mean of the formula.
fn compare(got: &[f64], from_hz: f64, to_hz: f64, want: impl Fn(f64) -> f64, tolerance: f64) {
    let bin = RATE_HZ / POINTS as f64;
    let bins = (from_hz / bin).ceil() as usize..(to_hz / bin) as usize;
    let count = bins.len() as f64;
    let mean = bins
        .clone()
        .map(|k| got[k] / want(k as f64 * bin))
        .sum::<f64>()
        / count;
    // Neighbouring bins of a Hann window are not independent: half of them count.
    let scatter = 5.0 / (BLOCKS as f64 * count / 2.0).sqrt();
    assert!(
        (mean - 1.0).abs() < scatter + tolerance,
        "{from_hz}–{to_hz} Hz: {mean} ± {scatter}"
    );
}

#[test]
fn band_noise_has_the_density_asked_for() {
    let keys = BandNoise {
        centre_hz: 130e3,
        width_hz: 8e3,
        density_nv_per_rthz: 5e4,
    };
    let got = density_of(band_noise(&keys, RATE_HZ, random()));
    let want = |f: f64| 2.5e-9 / (1.0 + (2.0 * (f - 130e3) / 8e3).powi(2));
    // 1.5 %: the window of 244 Hz rounds the top of 8 kHz, and tails fold.
    for (from, to) in [(122e3, 126e3), (128e3, 132e3), (134e3, 140e3)] {
        compare(&got, from, to, want, 0.015);
    }
}

#[test]
fn pink_noise_has_the_density_asked_for() {
    let mut noise = PinkNoise::new(3e3, RATE_HZ, random());
    let got = density(|block| noise.add(block));
    let want = |f: f64| 9e-12 * 1e3 / f;
    for (from, to, folded) in [(2e3, 5e3, 0.03), (1e4, 3e4, 0.03), (1e5, 1.4e5, 0.1)] {
        compare(&got, from, to, want, folded);
    }
}

/// Campbell's theorem. The number of impulses (1.6 s at 20 000/s) scatters by 0.6 %.
#[test]
fn impulses_have_the_density_of_their_theorem() {
    let keys = Impulses {
        rate_per_s: 2e4,
        ring_hz: 140e3,
        decay_us: 20.0,
        ..Impulses::default()
    };
    let got = density_of(impulses(&keys, 0.3, RATE_HZ, random()));
    let want = |f: f64| {
        let offset = std::f64::consts::TAU * (f - 140e3);
        2e4 * 0.09 / 2.0 / (1.0 / (20e-6f64).powi(2) + offset * offset)
    };
    // Sharp fronts fold at 1 MS/s: at 20 dB below the top the tails of four images add up to 2 %.
    for (from, to) in [(132e3, 138e3), (138e3, 142e3), (145e3, 150e3)] {
        compare(&got, from, to, want, 0.03);
    }
}

/// The lines of a jittering supply: Lorentzian, power A²/2 each, 2π·n²·j²·f₀ wide.
#[test]
fn supply_lines_have_the_power_and_width_of_their_jitter() {
    let keys = Supply {
        fundamental_hz: 45e3,
        harmonics: 3,
        jitter_percent: 2.0,
        ..Supply::default()
    };
    let got = density_of(supply(&keys, 1.0, RATE_HZ, random()));
    for n in [1.0, 2.0, 3.0f64] {
        let width = std::f64::consts::TAU * n * n * 4e-4 * 45e3;
        let level = 10f64.powf(-6.0 * n.log2() / 20.0);
        let want = |f: f64| {
            let offset = 2.0 * (f - n * 45e3) / width;
            level * level / 2.0 * 2.0 / (std::f64::consts::PI * width) / (1.0 + offset * offset)
        };
        // Line of 113 Hz and window of 366 Hz: beyond a kilohertz the window adds 2 %; the tail of the other lines counts too.
        let from = n * 45e3 + if n == 1.0 { 2e3 } else { width };
        compare(&got, from, from + 3e3, want, 0.06);
    }
}

#[test]
fn tone_and_fsk_have_the_power_asked_for() {
    let bin = RATE_HZ / POINTS as f64;
    let power = |got: &[f64], from: f64, to: f64| -> f64 {
        got[(from / bin) as usize..(to / bin) as usize]
            .iter()
            .sum::<f64>()
            * bin
    };
    let got = density_of(tone(
        &Tone {
            frequency_hz: 135.6e3,
            ..Tone::default()
        },
        0.4,
        RATE_HZ,
        random(),
    ));
    assert!((power(&got, 134e3, 137e3) / 0.08 - 1.0).abs() < 1e-3);
    let pulsed = Tone {
        on_ms: Some(50.0),
        off_ms: Some(50.0),
        ..Tone::default()
    };
    let got = density_of(tone(&pulsed, 0.4, RATE_HZ, random()));
    // 1.64 s hold 17 times 50 ms on, each rounded by 0.1 ms at both ends.
    let want = 0.08 * 17.0 * 0.05 / (BLOCKS as f64 * POINTS as f64 / RATE_HZ);
    assert!((power(&got, 130e3, 139e3) / want - 1.0).abs() < 0.02);
    let keys = Fsk {
        shift_hz: 2e3,
        ..Fsk::default()
    };
    let got = density_of(fsk(&keys, 0.2, RATE_HZ, random()));
    let (low, high) = (power(&got, 126e3, 129e3), power(&got, 129.2e3, 132e3));
    assert!(((low + high) / 0.02 - 1.0).abs() < 0.01, "{low} {high}");
    // 328 symbols: their share of ones scatters by 5.5 % of a half.
    assert!((low / high - 1.0).abs() < 0.55, "{low} {high}");
}

#[test]
fn phase_noise_has_the_density_asked_for() {
    let keys = PhaseNoise {
        dbc_per_hz_at_1khz: -70.0,
        floor_dbc_per_hz: Some(-105.0),
    };
    let mut wander = PhaseWander::new(&keys, RATE_HZ, random());
    let mut index = 0;
    let got = density(|block| {
        for x in block {
            let mut z = [turn(f64::from(index) * 0.2)];
            wander.turn(&mut z);
            *x = z[0].re;
            index += 1;
        }
    });
    // Sideband density over the carrier's power ½.
    let want = |f: f64| {
        let offset = (f - 200e3) / 1e3;
        0.5 * (1e-7 / (offset * offset) + 10f64.powf(-10.5))
    };
    for (from, to) in [(204e3, 210e3), (225e3, 235e3), (280e3, 300e3)] {
        compare(&got, from, to, want, 0.03);
    }
}
