//! What of a capture a bench is fitted to: the ripple as lines of a spectrum, with the noise on each.

use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

use num_complex::{Complex32, Complex64};
use rustfft::{Fft, FftPlanner};

use crate::receiver::{Edge, Piece};

/// Slower changes are taken for the field's: the receiver follows it by curves of the fifth degree through a telegram of 30.5 ms, which go along
/// with what changes up to some 6/(2·30.5 ms) = 100 times a second. Four times that.
const SLOWEST_HZ: f64 = 400.0;
/// What the receiver's band leaves of a line that is used. Beyond it the values hold what lies a field's frequency away.
const FLAT: f64 = 0.97;
/// Grid on which the receiver's answer to a step is differentiated, a cycle: its own.
const STEPS_A_CYCLE: f64 = 16.0;
/// Values faded in and out at the ends of a stretch that is no whole number of periods: four bits.
const FADE: usize = 128;
/// Values that a stretch is cut to a multiple of.
const EVEN: usize = 128;
/// Noise is taken as even over so many Hz: narrower than a converter's hill, wide enough for some hundred values.
const EVEN_HZ: f64 = 1000.0;

/// Lines of one period of the load, those that are used.
pub(super) struct Lines {
    /// Field cycles in the period.
    pub period: usize,
    /// Numbers of the lines, negative below the field.
    pub numbers: Vec<i32>,
    /// What the receiver's band leaves of each.
    pub kept: Vec<f64>,
    fft: Arc<dyn Fft<f64>>,
    inverse: Arc<dyn Fft<f64>>,
}

impl Lines {
    /// Lines of periods of so many field cycles that the receiver's band passes.
    pub fn new(period: usize, field_hz: f64, edge: &Edge) -> Self {
        let spacing_hz = field_hz / period as f64;
        let highest = (0.5 * field_hz / spacing_hz) as i32;
        let lowest = (SLOWEST_HZ / spacing_hz).ceil() as i32;
        let band = (lowest..highest)
            .map(|number| (number, passed(edge, f64::from(number) / period as f64)))
            .take_while(|(_, kept)| *kept >= FLAT);
        let (mut numbers, mut kept) = (Vec::new(), Vec::new());
        for (number, share) in band {
            numbers.extend([number, -number]);
            kept.extend([share, share]);
        }
        let mut planner = FftPlanner::new();
        Self {
            period,
            numbers,
            kept,
            fft: planner.plan_fft_forward(period),
            inverse: planner.plan_fft_inverse(period),
        }
    }

    fn index(&self, number: i32) -> usize {
        number.rem_euclid(self.period as i32) as usize
    }

    /// The used lines of values of one period.
    pub fn of(&self, mut values: Vec<Complex64>) -> Vec<Complex64> {
        self.fft.process(&mut values);
        self.numbers
            .iter()
            .map(|&n| values[self.index(n)])
            .collect()
    }

    /// The values of one period with these lines.
    pub fn back(&self, lines: &[Complex64]) -> Vec<Complex64> {
        let mut values = vec![Complex64::default(); self.period];
        for (&number, line) in self.numbers.iter().zip(lines) {
            values[self.index(number)] = line / self.period as f64;
        }
        self.inverse.process(&mut values);
        values
    }

    /// Lines of what comes so many cycles later.
    pub fn later(&self, lines: &[Complex64], cycles: f64) -> Vec<Complex64> {
        let turn = -TAU * cycles / self.period as f64;
        let turned = lines.iter().zip(&self.numbers);
        turned
            .map(|(line, &n)| line * Complex64::cis(turn * f64::from(n)))
            .collect()
    }
}

/// What a symmetric low-pass with this answer to a step leaves at a frequency (cycles a field cycle).
fn passed(edge: &Edge, frequency: f64) -> f64 {
    let steps = (edge.reach() * STEPS_A_CYCLE).ceil().max(1.0);
    let width = edge.reach() / steps;
    let half: f64 = (0..steps as usize)
        .map(|k| {
            let from = k as f64 * width;
            let change = edge.at(from + width) - edge.at(from);
            change * (TAU * frequency * (from + 0.5 * width)).cos()
        })
        .sum();
    2.0 * half
}

/// One stretch of ripple, or a fold of one.
pub(super) struct Record {
    /// Values; of a fold one period.
    values: Vec<Complex64>,
    /// Field cycles from the load's period's begin to the first value, as far as it was found out.
    pub place: f64,
    /// Whole periods on top of each other, if it is a fold.
    folded: bool,
    /// What is used of the spectrum.
    pub spectrum: Vec<Complex64>,
    /// Variance of the noise on each.
    pub noise: Vec<f64>,
    /// Frequency of each, cycles a field cycle.
    pub frequencies: Vec<f64>,
    bins: Vec<usize>,
    fade: Vec<f64>,
    fft: Arc<dyn Fft<f64>>,
}

impl Record {
    /// The part of a piece in which its tag was there. Two periods and more are laid on top of each other, and what lies between their lines is
    /// the noise; of less the noise is not known until a bench is fitted.
    pub fn new(piece: &Piece, span: Range<usize>, lines: &Lines) -> Self {
        let ripple = &piece.ripple[span];
        let period = lines.period;
        if ripple.len() >= 2 * period {
            return Self::fold(ripple, lines);
        }
        // Whole bits: transforms of lengths with large prime factors take several times as long.
        let ripple = &ripple[..ripple.len() / EVEN * EVEN];
        let count = ripple.len();
        let fade: Vec<f64> = (0..count)
            .map(|k| {
                let from_end = (k.min(count - 1 - k) as f64 + 0.5) / FADE as f64;
                (0.25 * TAU * from_end.min(1.0)).sin().powi(2)
            })
            .collect();
        let mut planner = FftPlanner::new();
        let fft = planner.plan_fft_forward(count);
        let highest = lines.numbers.iter().copied().max().unwrap_or(0);
        let limit = f64::from(highest) / period as f64;
        let slowest = lines.numbers.iter().copied().map(i32::abs).min();
        let least = f64::from(slowest.unwrap_or(0)) / period as f64;
        let (mut bins, mut frequencies) = (Vec::new(), Vec::new());
        for bin in 0..count {
            let share = bin as f64 / count as f64;
            let frequency = if share > 0.5 { share - 1.0 } else { share };
            if (least..=limit).contains(&frequency.abs()) {
                bins.push(bin);
                frequencies.push(frequency);
            }
        }
        let mut record = Self {
            values: ripple.iter().map(|&v| wide(v)).collect(),
            place: 0.0,
            folded: false,
            spectrum: Vec::new(),
            noise: Vec::new(),
            frequencies,
            bins,
            fade,
            fft,
        };
        record.spectrum = record.faded(&record.values);
        // To begin with as much on all: a hundredth of the ripple's.
        let power: f64 = record.spectrum.iter().map(|v| v.norm_sqr()).sum();
        let mean = 1e-2 * power / record.spectrum.len().max(1) as f64;
        record.noise = vec![mean.max(f64::MIN_POSITIVE); record.spectrum.len()];
        record
    }

    fn fold(ripple: &[Complex32], lines: &Lines) -> Self {
        let period = lines.period;
        let mut values = vec![Complex64::default(); period];
        let mut counts = vec![0.0; period];
        for (k, &value) in ripple.iter().enumerate() {
            values[k % period] += wide(value);
            counts[k % period] += 1.0;
        }
        for (value, count) in values.iter_mut().zip(&counts) {
            *value /= *count;
        }
        let frequencies: Vec<f64> = lines
            .numbers
            .iter()
            .map(|&n| f64::from(n) / period as f64)
            .collect();
        // What differs from one period to the next, made as large as the noise of a single one.
        let mut powers = vec![0.0; frequencies.len()];
        let mut rows = 0.0;
        for (row, part) in ripple.chunks_exact(period).enumerate() {
            let rest = part.iter().enumerate().map(|(k, &value)| {
                let count = counts[(row * period + k) % period];
                (wide(value) - values[k]) * f64::sqrt(count / (count - 1.0))
            });
            for (sum, line) in powers.iter_mut().zip(lines.of(rest.collect())) {
                *sum += line.norm_sqr();
            }
            rows += 1.0;
        }
        let share: f64 = counts.iter().map(|count| 1.0 / count).sum::<f64>() / period as f64;
        let single: Vec<f64> = powers.iter().map(|power| power / rows).collect();
        let noise = evened(&single, &frequencies)
            .into_iter()
            .map(|power| power * share)
            .collect();
        Self {
            spectrum: lines.of(values.clone()),
            values,
            place: 0.0,
            folded: true,
            noise,
            frequencies,
            bins: Vec::new(),
            fade: Vec::new(),
            fft: lines.fft.clone(),
        }
    }

    /// Whether its noise was measured, not taken from what a bench leaves.
    pub fn noise_is_known(&self) -> bool {
        self.folded
    }

    /// The record's values laid into one period: to find out where it begins.
    pub fn in_a_period(&self, lines: &Lines) -> Vec<Complex64> {
        let mut sums = vec![Complex64::default(); lines.period];
        for (k, value) in self.values.iter().enumerate() {
            sums[k % lines.period] += value;
        }
        lines.of(sums)
    }

    fn faded(&self, values: &[Complex64]) -> Vec<Complex64> {
        let mut values: Vec<Complex64> =
            values.iter().zip(&self.fade).map(|(v, f)| v * *f).collect();
        self.fft.process(&mut values);
        self.bins.iter().map(|&bin| values[bin]).collect()
    }

    /// What the record's spectrum is if the load's period has these lines and begins so many cycles later than was found out.
    pub fn predicted(&self, period: &[Complex64], later: f64, lines: &Lines) -> Vec<Complex64> {
        let here = lines.later(period, later - self.place);
        if self.folded {
            return here;
        }
        let values = lines.back(&here);
        let tiled: Vec<Complex64> = values
            .iter()
            .copied()
            .cycle()
            .take(self.values.len())
            .collect();
        self.faded(&tiled)
    }

    /// Takes what a bench leaves for the noise, where that is not known otherwise.
    pub fn take_noise_from(&mut self, predicted: &[Complex64]) {
        if self.folded {
            return;
        }
        let left: Vec<f64> = self
            .spectrum
            .iter()
            .zip(predicted)
            .map(|(a, b)| (a - b).norm_sqr())
            .collect();
        self.noise = evened(&left, &self.frequencies);
    }

    /// Periods of values that it holds.
    pub fn periods(&self, lines: &Lines) -> f64 {
        self.values.len() as f64 / lines.period as f64
    }
}

/// Means of powers over frequencies that are near each other.
fn evened(powers: &[f64], frequencies: &[f64]) -> Vec<f64> {
    // Of the nominal field: a fraction of a per cent changes nothing here.
    let band = |frequency: f64| (frequency * crate::receiver::NOMINAL_HZ / EVEN_HZ).floor() as i32;
    let mut sums: std::collections::BTreeMap<i32, (f64, f64)> = std::collections::BTreeMap::new();
    for (power, &frequency) in powers.iter().zip(frequencies) {
        let sum = sums.entry(band(frequency)).or_default();
        sum.0 += power;
        sum.1 += 1.0;
    }
    frequencies
        .iter()
        .map(|&frequency| {
            let (sum, count) = sums[&band(frequency)];
            (sum / count).max(f64::MIN_POSITIVE)
        })
        .collect()
}

fn wide(value: Complex32) -> Complex64 {
    Complex64::new(value.re.into(), value.im.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge() -> Edge {
        // A raised cosine of ±4 cycles: some answer to a step that is not ideal.
        Edge::of(|x| 1.0 + (0.25 * TAU * 0.5 * x).cos(), 4.0)
    }

    /// The answer to a step against the low-pass's own transform: of 1 + cos(πx/4) within ±4 it is sinc(8f)/(1 − (8f)²) (textbook).
    #[test]
    fn a_band_passes_what_its_step_says() {
        for frequency in [0.0, 0.01, 0.03, 0.06] {
            let x = 8.0 * frequency;
            let sinc = if x == 0.0 {
                1.0
            } else {
                (0.5 * TAU * x).sin() / (0.5 * TAU * x)
            };
            let want = sinc / (1.0 - x * x);
            // Straight lines between sixteenths of a cycle.
            let got = passed(&edge(), frequency);
            assert!((got - want).abs() < 2e-3, "{frequency}: {got} {want}");
        }
    }

    /// What comes so many whole cycles later is the same values further on.
    #[test]
    fn later_is_further_on() {
        let lines = Lines::new(4096, 134_200.0, &edge());
        let smooth: Vec<Complex64> = (0..4096)
            .map(|k| {
                let turn = TAU * f64::from(k) / 4096.0;
                Complex64::cis(40.0 * turn) * 0.3 - Complex64::cis(-55.0 * turn)
            })
            .collect();
        let moved = lines.back(&lines.later(&lines.of(smooth.clone()), 7.0));
        for (k, value) in moved.iter().enumerate() {
            assert!((value - smooth[(k + 4096 - 7) % 4096]).norm() < 1e-9, "{k}");
        }
    }
}
