//! Densities against what was asked for.
//!
//! The mean of a Hann periodogram is known exactly from the autocorrelation of what was asked for (window and folding included), so
//! the only tolerance is the scatter: averaged over N blocks and K bins it is 1/√(N·K/2), since neighbouring bins of a Hann window
//! are not independent and half of them count (textbook). Five deviations are allowed.

use super::super::Digitiser;
use super::super::normal::NormalDeviates;
use super::super::random::{Stream, generator, uniform};
use super::super::scenario::{BandNoise, Fsk, Hum, Impulses, PhaseNoise, Supply, Tone};
use super::*;
use rand::rngs::ChaCha8Rng;
use rustfft::FftPlanner;
use std::f64::consts::{PI, TAU};

const RATE_HZ: f64 = 1e6;
const POINTS: usize = 4096;
const BLOCKS: usize = 400;
const SECONDS: f64 = (POINTS * BLOCKS) as f64 / RATE_HZ;

fn random() -> ChaCha8Rng {
    generator(5, Stream::Interferer(9, 9))
}

fn window() -> Vec<f64> {
    (0..POINTS)
        .map(|i| 0.5 - 0.5 * (TAU * i as f64 / POINTS as f64).cos())
        .collect()
}

/// One-sided density (unit²/Hz) of real samples, Hann window; bin k is at k·rate/points.
fn density(mut next: impl FnMut(&mut [f64])) -> Vec<f64> {
    let fft = FftPlanner::new().plan_fft_forward(POINTS);
    let window = window();
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

/// The mean of such a periodogram of a process with this autocorrelation over the lag in seconds.
fn expected(autocorrelation: impl Fn(f64) -> f64) -> Vec<f64> {
    let window = window();
    let overlap = |lag: usize| -> f64 {
        window[lag..]
            .iter()
            .zip(&window)
            .map(|(a, b)| a * b)
            .sum::<f64>()
    };
    let mut lags: Vec<Complex64> = (0..POINTS)
        .map(|lag| {
            let twice = if lag == 0 { 1.0 } else { 2.0 };
            Complex64::from(twice * overlap(lag) * autocorrelation(lag as f64 / RATE_HZ))
        })
        .collect();
    FftPlanner::new()
        .plan_fft_forward(POINTS)
        .process(&mut lags);
    lags.truncate(POINTS / 2);
    let front = 2.0 / (RATE_HZ * overlap(0));
    lags.iter().map(|value| front * value.re).collect()
}

/// A density without structure as fine as the window.
fn smooth(density: impl Fn(f64) -> f64) -> Vec<f64> {
    let bin = RATE_HZ / POINTS as f64;
    (0..POINTS / 2).map(|k| density(k as f64 * bin)).collect()
}

/// Mean ratio of measured and expected density over the bins of a band.
fn compare(got: &[f64], want: &[f64], from_hz: f64, to_hz: f64, counted: f64) {
    let bin = RATE_HZ / POINTS as f64;
    let bins = (from_hz / bin).ceil() as usize..(to_hz / bin) as usize;
    let count = bins.len() as f64;
    let mean = bins.map(|k| got[k] / want[k]).sum::<f64>() / count;
    let scatter = 5.0 * (2.0 / (BLOCKS as f64 * count) + 1.0 / counted).sqrt();
    assert!(
        (mean - 1.0).abs() < scatter,
        "{from_hz} to {to_hz} Hz: {mean} ± {scatter}"
    );
}

/// Nothing beside the process itself is counted.
const NOTHING_COUNTED: f64 = f64::INFINITY;

#[test]
fn white_noise_has_the_density_asked_for() {
    let (normal, mut random) = (NormalDeviates::new(), random());
    let density_v2_per_hz = 4e-12;
    let sigma = (density_v2_per_hz * RATE_HZ / 2.0f64).sqrt();
    let got = density(|block| normal.add(sigma, block, &mut random));
    let want = smooth(|_| density_v2_per_hz);
    for (from, to) in [(1e3, 5e3), (5e3, 25e3), (25e3, 1e5), (1e5, 2e5), (2e5, 5e5)] {
        compare(&got, &want, from, to, NOTHING_COUNTED);
    }
}

/// step²/12 spread evenly up to half the rate (Bennett 1948, from memory), for a tone over many steps with noise of two steps.
#[test]
fn rounding_has_the_density_of_its_steps() {
    let digitiser = Digitiser {
        bits: 12,
        range: 1.0,
    };
    let (normal, mut random) = (NormalDeviates::new(), random());
    let mut index = 0;
    let got = density(|block| {
        for x in block {
            let mut value = [0.7 * turn(0.1342 * f64::from(index)).re];
            normal.add(2.0 * digitiser.step(), &mut value, &mut random);
            *x = digitiser.value(digitiser.code(value[0]).0) - value[0];
            index += 1;
        }
    });
    let want = smooth(|_| digitiser.density_v2_per_hz(RATE_HZ));
    for (from, to) in [(1e3, 1e5), (1e5, 1.5e5), (1.5e5, 5e5)] {
        compare(&got, &want, from, to, NOTHING_COUNTED);
    }
}

/// D²/(1 + (2(f − f₀)/w)²) has the autocorrelation ½·π·w·D²·e^{−πw|τ|}·cos 2πf₀τ (textbook).
#[test]
fn band_noise_has_the_density_asked_for() {
    let keys = BandNoise {
        centre_hz: 130e3,
        width_hz: 8e3,
        density_nv_per_rthz: 5e4,
    };
    let got = density_of(band_noise(&keys, RATE_HZ, random()));
    let want = expected(|lag_s| {
        0.5 * PI * 8e3 * 2.5e-9 * (-PI * 8e3 * lag_s).exp() * (TAU * 130e3 * lag_s).cos()
    });
    for (from, to) in [(6e4, 1.2e5), (122e3, 126e3), (128e3, 132e3), (134e3, 140e3)] {
        compare(&got, &want, from, to, NOTHING_COUNTED);
    }
}

/// From 10 kHz, forty bins, the window's width adds (bin/f)² = 6e-4 at most; the filter is good to 0.26 %, half of which is the mean of a wide band.
#[test]
fn pink_noise_has_the_density_asked_for() {
    let mut noise = PinkNoise::new(3e3, RATE_HZ, random());
    let got = density(|block| noise.add(block));
    let want = smooth(|f| 9e-12 * 1e3 / f);
    for (from, to) in [
        (1e4, 2e4),
        (2e4, 5e4),
        (5e4, 1e5),
        (1e5, 2e5),
        (2e5, 4e5),
        (4e5, 4.99e5),
    ] {
        compare(&got, &want, from, to, NOTHING_COUNTED);
    }
}

/// Campbell's theorem: λ·A²/2·(τ/2)·e^{−|t|/τ}·cos 2πft. Equal impulses, so that power scatters with their number alone.
#[test]
fn impulses_have_the_density_of_their_theorem() {
    let keys = Impulses {
        rate_per_s: 2e4,
        ring_hz: 140e3,
        decay_us: 20.0,
        ..Impulses::default()
    };
    let got = density_of(impulses(&keys, 0.3, RATE_HZ, random()));
    let want = expected(|lag_s| {
        2e4 * 0.09 / 2.0 * 10e-6 * (-lag_s / 20e-6).exp() * (TAU * 140e3 * lag_s).cos()
    });
    for (from, to) in [(8e4, 1.3e5), (132e3, 138e3), (138e3, 142e3), (145e3, 150e3)] {
        compare(&got, &want, from, to, 2e4 * SECONDS);
    }
}

/// Jitter j makes the phase of harmonic n walk: A²/2·e^{−2π²n²j²f₀|τ|}·cos 2πnf₀τ, harmonics 6 dB an octave down. In bursts the
/// autocorrelation is that of a gate with random phase, too: of share p and period T, (p·T − |τ|)/T for |τ| below the shorter side.
#[test]
fn supply_has_the_lines_asked_for() {
    for burst_hz in [0.0, 100.0] {
        let keys = Supply {
            fundamental_hz: 45e3,
            harmonics: 3,
            jitter_percent: 4.0,
            burst_hz,
            burst_percent: 60.0,
            ..Supply::default()
        };
        let got = density_of(supply(&keys, 1.0, RATE_HZ, random()));
        let gate = |lag_s: f64| {
            if burst_hz == 0.0 {
                1.0
            } else {
                // Blocks of 4.096 ms reach over a pause of 4 ms into the next burst.
                let on = (0.006 - lag_s).max(0.0) + (lag_s - 0.004).max(0.0);
                on / 0.010
            }
        };
        let want = expected(|lag_s| {
            let harmonic = |n: f64| {
                let level = 10f64.powf(-6.0 * n.log2() / 20.0);
                let walk = 2.0 * PI * PI * n * n * 0.04 * 0.04 * 45e3 * lag_s;
                0.5 * level * level * (-walk).exp() * (TAU * n * 45e3 * lag_s).cos()
            };
            gate(lag_s) * (harmonic(1.0) + harmonic(2.0) + harmonic(3.0))
        });
        // What is on counts once in a burst: 164 of them, their edges anywhere in a block, make up most of the scatter there.
        let counted = if burst_hz == 0.0 {
            NOTHING_COUNTED
        } else {
            SECONDS * burst_hz
        };
        for from in [40e3, 43e3, 46e3, 60e3, 88e3, 130e3, 137e3] {
            compare(&got, &want, from, from + 3e3, counted);
        }
    }
}

/// A clock whose frequency runs up and down evenly: the autocorrelation is averaged over the place in the sweep.
#[test]
fn a_spread_clock_fills_its_band() {
    let keys = Supply {
        fundamental_hz: 60e3,
        harmonics: 2,
        jitter_percent: 0.5,
        spread_percent: 5.0,
        spread_hz: 1000.0,
        ..Supply::default()
    };
    let got = density_of(supply(&keys, 1.0, RATE_HZ, random()));
    // Cycles of the triangle's integral from the start of a sweep, ½ period = one slope.
    let integral = |sweeps: f64| {
        let part = sweeps - sweeps.floor();
        let within = if part < 0.5 {
            part - 2.0 * part * part
        } else {
            2.0 * part * part - 3.0 * part + 1.0
        };
        within / 1000.0
    };
    let want = expected(|lag_s| {
        const PLACES: usize = 200;
        (0..PLACES)
            .map(|place| {
                let sweep = place as f64 / PLACES as f64;
                let drift = integral(sweep + 1000.0 * lag_s) - integral(sweep);
                let cycles = 60e3 * (lag_s + 0.05 * drift);
                let harmonic = |n: f64| {
                    let level = 10f64.powf(-6.0 * n.log2() / 20.0);
                    let walk = 2.0 * PI * PI * n * n * 0.005 * 0.005 * 60e3 * lag_s;
                    0.5 * level * level * (-walk).exp() * (TAU * n * cycles).cos()
                };
                (harmonic(1.0) + harmonic(2.0)) / PLACES as f64
            })
            .sum()
    });
    // Four sweeps in a block: all blocks are much alike, and the sweep's place within them scatters less than noise would.
    for (from, to) in [
        (57e3, 59e3),
        (59e3, 61e3),
        (61e3, 63e3),
        (115e3, 120e3),
        (120e3, 125e3),
    ] {
        compare(&got, &want, from, to, NOTHING_COUNTED);
    }
}

#[test]
fn a_tone_has_the_power_asked_for() {
    let bin = RATE_HZ / POINTS as f64;
    let power = |got: &[f64], from: f64, to: f64| -> f64 {
        got[(from / bin) as usize..(to / bin) as usize]
            .iter()
            .sum::<f64>()
            * bin
    };
    let keys = Tone {
        frequency_hz: 135.6e3,
        ..Tone::default()
    };
    let got = density_of(tone(&keys, 0.4, RATE_HZ, random()));
    // Outside twelve bins on both sides a Hann window leaves 1e-7 of the power.
    assert!((power(&got, 132e3, 139e3) / 0.08 - 1.0).abs() < 1e-6);
    let pulsed = Tone {
        on_ms: Some(50.0),
        off_ms: Some(50.0),
        ..Tone::default()
    };
    let got = density_of(tone(&pulsed, 0.4, RATE_HZ, random()));
    // 1.64 s hold 17 times 50 ms on, each rounded by 0.1 ms at both ends; windows with an edge weigh it by its place: 34 edges of half a
    // block each, at random.
    let want = 0.08 * 17.0 * 0.05 / SECONDS;
    assert!((power(&got, 125e3, 143e3) / want - 1.0).abs() < 0.02);
}

/// Two tones with continuous phase: Re e^{jΔφ} averaged over the place in a symbol; each symbol overlapped by δ gives cos(2π·shift·δ).
#[test]
fn fsk_has_the_density_asked_for() {
    let keys = Fsk {
        shift_hz: 2e3,
        baud: 2000.0,
        ..Fsk::default()
    };
    let got = density_of(fsk(&keys, 0.2, RATE_HZ, random()));
    let want = expected(|lag_s| {
        const PLACES: usize = 500;
        let symbol_s = 1.0 / 2000.0;
        let mean = (0..PLACES)
            .map(|place| {
                let first = (place as f64 + 0.5) / PLACES as f64 * symbol_s;
                let turned = |over_s: f64| (TAU * 2e3 * over_s).cos();
                if lag_s <= first {
                    return turned(lag_s);
                }
                let rest = lag_s - first;
                let whole = (rest / symbol_s).floor();
                turned(first) * turned(symbol_s).powf(whole) * turned(rest - whole * symbol_s)
            })
            .sum::<f64>()
            / PLACES as f64;
        0.5 * 0.04 * mean * (TAU * 129.1e3 * lag_s).cos()
    });
    for (from, to) in [(125.5e3, 127.5e3), (127.5e3, 130.5e3), (130.5e3, 132.5e3)] {
        compare(&got, &want, from, to, 2000.0 * SECONDS);
    }
}

/// Over whole periods each harmonic is exactly amplitude/n; the rest is nothing.
#[test]
fn hum_has_the_lines_asked_for() {
    let keys = Hum {
        mains_hz: 50.0,
        amplitude_v: 0.2,
        harmonics: 3,
    };
    let mut adder = hum(&keys, 20e3, random());
    let mut block = vec![Complex64::ZERO; 20_000];
    adder(&mut block);
    for n in 1..=6 {
        let sum: Complex64 = block
            .iter()
            .enumerate()
            .map(|(i, z)| turn(-f64::from(n) * 50.0 / 20e3 * i as f64) * z.re)
            .sum();
        let got = 2.0 * sum.norm() / block.len() as f64;
        let want = if n <= 3 { 0.2 / f64::from(n) } else { 0.0 };
        assert!((got - want).abs() < 1e-9, "{n}: {got}");
    }
}

/// A walk of D rad²/s and a white phase of variance σ²: ½·e^{−D|τ|/2}·cos ω₀τ, times e^{−σ²} between different samples. What was asked for,
/// 10⁻⁷ at 1 kHz and a floor of 10⁻¹⁰·⁵ over the carrier's power, is what that is
/// at offsets of many line widths, as far as folding adds little: (x/sin x)² − 1 with x = π·offset/rate is 0.3 % at 30 kHz.
#[test]
fn phase_noise_has_the_density_asked_for() {
    let keys = PhaseNoise {
        dbc_per_hz_at_1khz: -70.0,
        floor_dbc_per_hz: Some(-105.0),
    };
    let mut wander = PhaseWander::new(&keys, RATE_HZ, random());
    let mut cycles = uniform(&mut random());
    let got = density(|block| {
        for x in block {
            let mut z = [turn(cycles)];
            wander.turn(&mut z);
            *x = z[0].re;
            cycles += 0.2;
        }
    });
    let diffusion = 1e-7 * (TAU * 1e3f64).powi(2);
    let floor = 10f64.powf(-10.5) * RATE_HZ / 2.0;
    let want = expected(|lag_s| {
        let kept = if lag_s == 0.0 { 1.0 } else { (-floor).exp() };
        0.5 * kept * (-0.5 * diffusion * lag_s).exp() * (TAU * 200e3 * lag_s).cos()
    });
    for (from, to) in [(204e3, 210e3), (225e3, 235e3), (280e3, 300e3), (4e5, 4.9e5)] {
        compare(&got, &want, from, to, NOTHING_COUNTED);
        // The asked density by formula beside it: the floor of the carrier's negative frequency lies on top, the walk's other side folds.
        let formula = smooth(|f| {
            let walk = 1e-7 * 1e6 / (f - 200e3).powi(2);
            0.5 * (walk + 10f64.powf(-10.5))
        });
        if to > 240e3 {
            // Folding is a part of what is there.
            continue;
        }
        let bin = RATE_HZ / POINTS as f64;
        let middle = (0.5 * (from + to) / bin) as usize;
        assert!(
            (want[middle] / formula[middle] - 1.0).abs() < 0.01,
            "{} {}",
            want[middle],
            formula[middle]
        );
    }
}
