//! Ripple without a telegram to lay it on: biphase data as a stream of bits, and when there was any.

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::wide;
use crate::receiver::fold::pulse_noise::every_pulse;
use crate::receiver::fold::sums::{BIT, HALF};

/// Longest period of a stream that is looked for, bits.
pub const LONGEST_PERIOD: usize = 512;

/// Bits of a stream looked at: a second holds 4194.
const MOST_BITS: usize = 4096;
/// Fewest bits that say anything about a period.
const LEAST_BITS: usize = 100;
/// Periods looked for, bits: shorter ones are found as their multiples.
const PERIODS: std::ops::RangeInclusive<usize> = 16..=LONGEST_PERIOD;
/// A stream repeats where so many of its bits agree; chance agreement of 100 bits at 0.95 has a probability of 1e-20.
const AGREES: f64 = 0.95;
/// Bits that must have been compared.
const LEAST_COMPARED: usize = 64;

/// Boundaries in one window of activity: 16 bits, 3.8 ms.
const WINDOW_BITS: usize = 16;

/// Bits of a telegram from the header to the eighth control bit.
const HEADED_BITS: usize = 11 + 72;
/// Boundaries of a header scatter less than this; noise does not.
const HEADED_SCATTER: f64 = 0.4;
/// Headers nearer to each other than this (cycles) are one: correlations up to 20 cycles off show it too.
const ONE_HEADER: usize = 200;

/// Cycles at which a telegram begins whose header and control bits are seen without folding.
pub fn headers(ripple: &[Complex32], real: bool) -> Vec<usize> {
    let ripple = &ripple[..ripple.len().min((MOST_BITS + 1) * BIT)];
    let mut found: Vec<(usize, f64)> = Vec::new();
    for timing in 0..BIT {
        let pulses = pulses(ripple, timing);
        for (index, window) in pulses.windows(HEADED_BITS + 1).enumerate() {
            // Two neighbours of like sign are a 0: the cheap test first.
            let same = |k: usize| (window[k] * window[k + 1].conj()).re > 0.0;
            if !(0..10).all(same) || same(10) {
                continue;
            }
            let controlled = (1..=8).all(|group| !same(10 + 9 * group));
            let (_, scatter) = power_and_scatter(window, real);
            if controlled && scatter < HEADED_SCATTER {
                // A boundary lies in the middle of its pulse.
                found.push((index * BIT + timing + HALF, scatter));
            }
        }
    }
    found.sort_unstable_by_key(|header| header.0);
    let near = found.chunk_by(|first, next| next.0 - first.0 < ONE_HEADER);
    near.filter_map(|one| one.iter().min_by(|a, b| a.1.total_cmp(&b.1)))
        .map(|header| header.0)
        .collect()
}

/// Biphase data as they stand.
#[derive(Clone, Debug)]
pub struct Stream {
    /// Bits in the order sent.
    pub bits: Vec<bool>,
    /// Scatter of the boundaries' size over its mean, of even and odd boundaries: noise alone has 0.75.
    pub scatter: [f64; 2],
    /// Bits after which the stream repeats.
    pub period_bits: Option<usize>,
}

impl Stream {
    /// The larger of the two scatters.
    pub fn worst(&self) -> f64 {
        self.scatter[0].max(self.scatter[1])
    }
}

/// When a ripple was there: its power in windows of 16 bits.
#[derive(Clone, Debug)]
pub struct Activity {
    /// Windows with and without, in order.
    pub active: Vec<bool>,
    /// Length of a window, seconds.
    pub window_s: f64,
    /// Power of the active windows over that of the others.
    pub ratio: f64,
    /// Median scatter of the boundaries' size in active windows: 0.75 for noise, small for biphase.
    pub scatter: f64,
}

impl Activity {
    /// How often a silence lies between two stretches of ripple.
    pub fn silences(&self) -> usize {
        let first = self.active.iter().position(|&a| a);
        let last = self.active.iter().rposition(|&a| a);
        match (first, last) {
            (Some(first), Some(last)) => self.active[first..=last]
                .windows(2)
                .filter(|pair| pair[0] && !pair[1])
                .count(),
            _ => 0,
        }
    }

    /// Share of windows with ripple.
    pub fn share(&self) -> f64 {
        self.active.iter().filter(|&&a| a).count() as f64 / self.active.len().max(1) as f64
    }
}

/// Correlation with the boundary pulses that begin at `timing + 32·j`.
fn pulses(ripple: &[Complex32], timing: usize) -> Vec<Complex64> {
    let sum = |half: &[Complex32]| half.iter().map(|v| wide(*v)).sum::<Complex64>();
    let bits = ripple.get(timing..).unwrap_or_default().chunks_exact(BIT);
    bits.map(|bit| (sum(&bit[HALF..]) - sum(&bit[..HALF])) / BIT as f64)
        .collect()
}

/// Energy of the pulses of each timing: along their common axis, and in all.
fn energies(ripple: &[Complex32]) -> [[f64; 2]; BIT] {
    let (mut powers, mut squares) = ([0.0; BIT], [Complex64::default(); BIT]);
    let mut begin = 0;
    every_pulse(ripple, |pulse| {
        powers[begin % BIT] += pulse.norm_sqr();
        squares[begin % BIT] += pulse * pulse;
        begin += 1;
    });
    std::array::from_fn(|k| [0.5 * (powers[k] + squares[k].norm()), powers[k]])
}

/// The timing of the largest of some values.
fn largest(values: impl Iterator<Item = f64>) -> usize {
    let best = (0..).zip(values).max_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(0, |(timing, _)| timing)
}

/// Reads the ripple as biphase at the timing with the most energy.
pub fn stream(ripple: &[Complex32], real: bool) -> Option<Stream> {
    let ripple = &ripple[..ripple.len().min((MOST_BITS + 1) * BIT)];
    if ripple.len() < (LEAST_BITS + 2) * BIT {
        return None;
    }
    let in_all = energies(ripple).into_iter().map(|[_, in_all]| in_all);
    let best = pulses(ripple, largest(in_all));
    let square: Complex64 = best.iter().map(|y| y * y).sum();
    let axis = if real { 0.0 } else { 0.5 * square.arg() };
    let turn = Complex64::cis(-axis);
    let along: Vec<f64> = best.iter().map(|y| (y * turn).re).collect();
    let scatter = [0, 1].map(|first| {
        let sizes: Vec<f64> = along
            .iter()
            .skip(first)
            .step_by(2)
            .map(|y| y.abs())
            .collect();
        let complex: Vec<Complex64> = sizes.iter().map(|&s| Complex64::new(s, 0.0)).collect();
        power_and_scatter(&complex, true).1
    });
    let bits: Vec<bool> = along
        .windows(2)
        .map(|pair| (pair[0] > 0.0) != (pair[1] > 0.0))
        .collect();
    Some(Stream {
        period_bits: period(&bits),
        bits,
        scatter,
    })
}

/// Smallest number of bits after which the stream repeats and which is no period of nothing but one bit.
fn period(bits: &[bool]) -> Option<usize> {
    let ones = bits.iter().filter(|&&bit| bit).count();
    if ones == 0 || ones == bits.len() {
        return None;
    }
    PERIODS.into_iter().find(|&lag| {
        let compared = bits.len().saturating_sub(lag);
        compared >= LEAST_COMPARED.max(lag / 4) && {
            let same = bits
                .iter()
                .zip(&bits[lag..])
                .filter(|(a, b)| a == b)
                .count();
            same as f64 >= AGREES * compared as f64
        }
    })
}

/// Tells windows with ripple from windows without; `None` where their powers do not fall into two kinds.
pub fn activity(ripple: &[Complex32], real: bool, field_hz: f64) -> Option<Activity> {
    /// Two kinds are this far apart: 10 dB. Windows of noise alone scatter by a third.
    const APART: f64 = 10.0;
    let window = WINDOW_BITS * BIT;
    let powers: Vec<(f64, f64)> = ripple
        .chunks_exact(window)
        .map(|chunk| {
            let along = energies(chunk).into_iter().map(|[along, _]| along);
            let best = pulses(chunk, largest(along));
            power_and_scatter(&best, real)
        })
        .collect();
    let (powers, scatters): (Vec<f64>, Vec<f64>) = powers.into_iter().unzip();
    if powers.len() < 8 {
        return None;
    }
    let mut sorted = powers.clone();
    sorted.sort_by(f64::total_cmp);
    // The widest step in the logarithm divides the two kinds; at least a tenth of the windows is of either.
    let edge = (powers.len() / 10).max(1);
    let (at, _) = (edge..sorted.len() - edge + 1)
        .map(|k| (k, sorted[k] / sorted[k - 1].max(f64::MIN_POSITIVE)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let threshold = (sorted[at - 1] * sorted[at]).sqrt();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let ratio = mean(&sorted[at..]) / mean(&sorted[..at]).max(f64::MIN_POSITIVE);
    let active: Vec<bool> = powers.iter().map(|&power| power > threshold).collect();
    let mut of_active: Vec<f64> = active
        .iter()
        .zip(&scatters)
        .filter(|(active, _)| **active)
        .map(|(_, scatter)| *scatter)
        .collect();
    of_active.sort_by(f64::total_cmp);
    let scatter = of_active.get(of_active.len() / 2).copied()?;
    (ratio > APART).then_some(Activity {
        active,
        scatter,
        window_s: window as f64 / field_hz,
        ratio,
    })
}

/// Energy of boundaries along their common axis, and the scatter of their size over its mean.
fn power_and_scatter(pulses: &[Complex64], real: bool) -> (f64, f64) {
    let square: Complex64 = pulses.iter().map(|y| y * y).sum();
    let axis = if real { 0.0 } else { 0.5 * square.arg() };
    let turn = Complex64::cis(-axis);
    let sizes: Vec<f64> = pulses.iter().map(|y| (y * turn).re.abs()).collect();
    let count = sizes.len().max(1) as f64;
    let power = sizes.iter().map(|s| s * s).sum::<f64>();
    let mean = sizes.iter().sum::<f64>() / count;
    let scatter = (power / count - mean * mean).max(0.0).sqrt() / mean.max(f64::MIN_POSITIVE);
    (power, scatter)
}
