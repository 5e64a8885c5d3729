//! The plain amplitude receiver: what a simple reader does, given its best case.
//!
//! Band-pass, rectifier, low-pass, slicer, then hard decisions: a bit is 1 where both its halves lie on the same side of the slicer's
//! threshold (a 0 changes in mid-bit, a 1 does not), and a telegram is taken where all 11 header bits, the control bits and the CRC
//! are right. This is the textbook chain for a sliced biphase signal; it decides inside each bit and neither adds telegrams up nor corrects
//! anything, so one whole window of 101 bits without an error is what it needs ([`super::theory::captures_inside_bits`]).
//!
//! Its best case: it is told the field's frequency, so that its bit clock is exact; the low-pass is matched to half a bit (an
//! integrator, the best there is for ideal edges); the rectifier is ideal (the magnitude of the band-passed field, without a diode's
//! threshold or harmonics); and every telegram of the capture may be the one it reads.

use crate::receiver::{BIT, HALF, Samples, Signal};
use crate::telegram::{CODED_BITS, HEADER_BITS, TELEGRAM_BITS, Telegram};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Samples that a value of the band-passed field takes at least: with fewer, many values would be of one sample alone.
const SAMPLES_A_VALUE: f64 = 3.0;
/// Most field cycles in one value: a quarter of a bit, or edges would be lost.
const MOST_CYCLES: usize = 8;
/// Bits on each side that the slicer's threshold is the mean of. The code has no steady part, so the mean moves by at most 2 of
/// the 128 half bits' amplitudes.
const SLICER_BITS: usize = 32;
/// Below this share of the strongest level the field is off.
const OFF: f64 = 0.5;

/// Numbers in the capture, each once, in the order they come.
pub fn read(signal: &Signal<'_>, rectified: bool, field_hz: f64) -> Vec<u64> {
    let Some(rate_hz) = signal.rate_hz else {
        return Vec::new();
    };
    let cycles = cycles_a_value(rate_hz, field_hz);
    let levels = levels(signal, rectified, field_hz, rate_hz, cycles);
    let mut codes = Vec::new();
    for stretch in field_on(&levels, BIT / cycles) {
        for code in telegrams(stretch, HALF / cycles) {
            if !codes.contains(&code) {
                codes.push(code);
            }
        }
    }
    codes
}

fn cycles_a_value(rate_hz: f64, field_hz: f64) -> usize {
    let needed = SAMPLES_A_VALUE * field_hz / rate_hz;
    let mut cycles = 1;
    while (cycles as f64) < needed && cycles < MOST_CYCLES {
        cycles *= 2;
    }
    cycles
}

/// The rectified field, one value for every so many field cycles.
fn levels(
    signal: &Signal<'_>,
    rectified: bool,
    field_hz: f64,
    rate_hz: f64,
    cycles: usize,
) -> Vec<f64> {
    let per_sample = field_hz / rate_hz;
    let count = (signal.samples.len() as f64 * per_sample / cycles as f64) as usize;
    let place = |n: usize| (n as f64 * per_sample / cycles as f64) as usize;
    match signal.samples {
        Samples::Real(samples) if rectified || signal.logic => means(
            count,
            samples
                .iter()
                .enumerate()
                .map(|(n, &x)| (place(n), f64::from(x))),
        ),
        Samples::Real(samples) => {
            // Per value the carrier's double frequency would not average out: the steady field is removed first and
            // added again as its phasor.
            let turns: Vec<Complex64> = turns(samples.len(), per_sample);
            let field = steady_field(samples, &turns);
            let mixed = samples
                .iter()
                .zip(&turns)
                .enumerate()
                .map(|(n, (&x, turn))| {
                    let rest = f64::from(x) - (field * turn).re;
                    (place(n), 2.0 * rest * turn.conj())
                });
            means(count, mixed)
                .into_iter()
                .map(|rest| (field + rest).norm())
                .collect()
        }
        Samples::Complex(samples) => {
            let turns = turns(samples.len(), (field_hz - signal.centre_hz) / rate_hz);
            let mixed = samples
                .iter()
                .zip(&turns)
                .enumerate()
                .map(|(n, (x, turn))| {
                    let x = Complex64::new(f64::from(x.re), f64::from(x.im));
                    (place(n), x * turn.conj())
                });
            means(count, mixed).into_iter().map(|z| z.norm()).collect()
        }
    }
}

/// e^{jωn}.
fn turns(count: usize, cycles_a_sample: f64) -> Vec<Complex64> {
    // Worked out anew every 64 samples, so that errors do not add up.
    let step = Complex64::cis(TAU * cycles_a_sample);
    let mut turn = Complex64::ONE;
    (0..count)
        .map(|n| {
            if n % 64 == 0 {
                turn = Complex64::cis(TAU * (n as f64 * cycles_a_sample).fract());
            } else {
                turn *= step;
            }
            turn
        })
        .collect()
}

/// The steady field's phasor by least squares of x = Re{A·e^{jωn}} (and a constant, which is left out of the field).
fn steady_field(samples: &[f32], turns: &[Complex64]) -> Complex64 {
    let n = samples.len() as f64;
    let (mut sum, mut turned, mut twice, mut product) =
        (0.0, Complex64::ZERO, Complex64::ZERO, Complex64::ZERO);
    for (&x, turn) in samples.iter().zip(turns) {
        sum += f64::from(x);
        turned += turn;
        twice += turn * turn;
        product += f64::from(x) * turn.conj();
    }
    let mean = sum / n;
    // Normal equations of A and its conjugate: 2·Σ(x − mean)·e^{−jωn} = n·A + Σe^{−2jωn}·A*.
    let right = 2.0 * (product - mean * turned.conj());
    let mirror = twice.conj();
    let determinant = n * n - mirror.norm_sqr();
    if determinant <= 0.0 {
        return Complex64::ZERO;
    }
    (n * right - mirror * right.conj()) / determinant
}

/// Mean of what falls into each place; a place without any repeats the one before.
fn means<T>(count: usize, values: impl Iterator<Item = (usize, T)>) -> Vec<T>
where
    T: Copy + Default + std::ops::AddAssign + std::ops::Div<f64, Output = T>,
{
    let mut sums = vec![(T::default(), 0u32); count];
    for (place, value) in values {
        if let Some(sum) = sums.get_mut(place) {
            sum.0 += value;
            sum.1 += 1;
        }
    }
    let mut last = T::default();
    sums.into_iter()
        .map(|(sum, count)| {
            if count > 0 {
                last = sum / f64::from(count);
            }
            last
        })
        .collect()
}

/// Stretches of at least one telegram's coded bits in which the field is on.
fn field_on(levels: &[f64], bit: usize) -> impl Iterator<Item = &[f64]> {
    let strongest = levels.iter().copied().fold(0.0, f64::max);
    levels
        .split(move |&level| level < OFF * strongest)
        .filter(move |stretch| stretch.len() >= CODED_BITS * bit)
}

/// Numbers in one stretch; `half` values make half a bit.
fn telegrams(levels: &[f64], half: usize) -> Vec<u64> {
    // Sums up to each value: the integrator over any half bit is a difference of two.
    let mut sums = Vec::with_capacity(levels.len() + 1);
    sums.push(0.0);
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    for level in levels {
        sums.push(sums[sums.len() - 1] + level - mean);
    }
    let bit = 2 * half;
    // The bit clock: where the level changes most between one half bit and the next, as it does at every boundary.
    let change = |phase: usize| -> f64 {
        (phase + bit..)
            .step_by(bit)
            .take_while(|at| at + half < sums.len())
            .map(|at| (sums[at + half] - 2.0 * sums[at] + sums[at - half]).powi(2))
            .sum()
    };
    let Some(phase) = (0..bit).max_by(|&a, &b| change(a).total_cmp(&change(b))) else {
        return Vec::new();
    };
    let halves: Vec<f64> = (phase..)
        .step_by(half)
        .take_while(|at| at + half < sums.len())
        .map(|at| sums[at + half] - sums[at])
        .collect();
    decided(&sliced(&halves))
}

/// Above or below the mean of the surroundings.
fn sliced(halves: &[f64]) -> Vec<bool> {
    let mut sums = Vec::with_capacity(halves.len() + 1);
    sums.push(0.0);
    for half in halves {
        sums.push(sums[sums.len() - 1] + half);
    }
    let reach = 2 * SLICER_BITS;
    halves
        .iter()
        .enumerate()
        .map(|(at, half)| {
            let (from, to) = (at.saturating_sub(reach), (at + reach).min(halves.len()));
            *half > (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

/// Telegrams whose header, control bits and CRC are right.
fn decided(states: &[bool]) -> Vec<u64> {
    let bits: Vec<bool> = states
        .chunks_exact(2)
        .map(|pair| pair[0] == pair[1])
        .collect();
    let header =
        |window: &&[bool]| !window[..HEADER_BITS - 1].contains(&true) && window[HEADER_BITS - 1];
    bits.windows(CODED_BITS)
        .filter(header)
        .filter_map(|window| {
            // The trailer is not part of the number: its control bits are set, its data left 0.
            let mut whole = Telegram::new(0).bits();
            whole[..CODED_BITS].copy_from_slice(window);
            debug_assert_eq!(whole.len(), TELEGRAM_BITS);
            Telegram::from_bits(&whole)
                .ok()
                .map(|telegram| telegram.code)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linecode;

    /// Written out from the definition: one sample every 1/500 kS/s of a field whose amplitude follows the load.
    fn capture(code: u64, depth: f64, angle: f64, seconds: f64) -> Vec<f32> {
        let bits = Telegram::new(code).bits();
        let mut states = linecode::load_states(&bits, 1);
        if linecode::inverts(&bits) {
            states.extend(linecode::load_states(&bits, -1));
        }
        (0..(seconds * 500e3) as usize)
            .map(|n| {
                let cycle = 134_200.0 * n as f64 / 500e3;
                let half = ((cycle + 777.0) / HALF as f64) as usize % states.len();
                let phasor = 1.0 + depth * f64::from(states[half]) * Complex64::cis(angle);
                (phasor * Complex64::cis(TAU * cycle + 0.4)).re as f32
            })
            .collect()
    }

    fn read_real(samples: &[f32]) -> Vec<u64> {
        let signal = Signal {
            samples: Samples::Real(samples),
            rate_hz: Some(500e3),
            centre_hz: 0.0,
            logic: false,
        };
        read(&signal, false, 134_200.0)
    }

    #[test]
    fn reads_amplitude_and_not_phase() {
        let code = 0x8000_F9C0_075B_CD15;
        assert_eq!(read_real(&capture(code, 0.01, 0.0, 0.07)), [code]);
        assert_eq!(read_real(&capture(code, 0.001, 0.0, 0.07)), [code]);
        assert_eq!(
            read_real(&capture(code, 0.01, 60f64.to_radians(), 0.07)),
            [code]
        );
        assert!(read_real(&capture(code, 0.01, 90f64.to_radians(), 0.07)).is_empty());
        // Fewer than 101 bits.
        assert!(read_real(&capture(code, 0.01, 0.0, 0.024)).is_empty());
        assert!(read_real(&[]).is_empty());
    }
}
