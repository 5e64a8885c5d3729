//! Whether the field's frequency drifts steadily or jumps, its level steady all the while.
//!
//! Two fields that beat slowly bend the phase too, but move the level as much. A supply that hums moves the frequency to and fro.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use crate::order::median;
use crate::receiver::dsp::phasor::{power, wide};
use crate::receiver::front::hypotheses::NOMINAL_HZ;

/// Values in a Hann window, and between two: 4.2 kHz, ±1 kHz pass.
const LENGTH: usize = 64;
/// See [`LENGTH`].
const HOP: usize = 32;
/// Steps over which a frequency is taken: 0.48 ms, which tells ±1 kHz.
const BASE: usize = 2;
/// Steps between two frequencies whose difference is noise where the frequency stands.
const APART: usize = 4;
/// Shortest record: 30 ms.
const LEAST: usize = 128;

/// The level is steady where nine tenths of it stay within this share of the median.
const STEADY: f64 = 0.05;

/// Degree of the phase's polynomial: the frequency's is four, an exponential creep over three time constants to 2 %.
const DEGREE: usize = 5;
/// Least bend of the phase, radians (rms) …
const LEAST_BEND: f64 = 0.02;
/// … and largest move of the level (rms) relative to it.
const LEVEL_TO_BEND: f64 = 0.25;
/// Least drift over the record that is worth a word, Hz, and least bend.
const LEAST_TOLD_HZ: f64 = 8.0;
/// See [`LEAST_TOLD_HZ`].
const LEAST_TOLD_BEND: f64 = 0.5;
/// The polynomial leaves less than this of the bend …
const LEFT: f64 = 0.1;
/// … and the frequency goes one way but for this share of its change.
const BACK: f64 = 0.1;

/// Least jump, Hz.
const LEAST_JUMP_HZ: f64 = 20.0;
/// Steps a plateau lasts at least: 3 ms.
const PLATEAU: usize = 13;
/// Steps from one plateau to the next at most: the window's length and the base.
const JUMP: usize = 12;
/// Share of the record that plateaus fill.
const FILLED: f64 = 0.7;

/// How the field's frequency moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ClockMoves {
    /// Evenly, one way.
    Drifts {
        /// Frequency at the end less that at the beginning, Hz.
        change_hz: f64,
        /// Seconds from the one to the other.
        seconds: f64,
        /// The phase's way.
        bend: Bend,
        /// It is worth a word.
        told: bool,
    },
    /// Between values it keeps for a while.
    Hops {
        /// Jumps seen.
        jumps: usize,
        /// Lowest and highest frequency kept, Hz.
        between_hz: [f64; 2],
    },
}

impl ClockMoves {
    /// Worth a word; a little drift is put straight without one.
    pub fn is_told(&self) -> bool {
        !matches!(self, Self::Drifts { told: false, .. })
    }
}

/// The way that the phase of a drifting field takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// Of the powers of a place from −1 to 1 over the values, radians.
    powers: [f64; DEGREE + 1],
    /// Values from one end to the other.
    reach: f64,
}

impl Bend {
    /// Of a field's values, if it drifts however little.
    pub fn of(values: &[Complex32]) -> Option<Self> {
        match clock_moves(values, NOMINAL_HZ)? {
            ClockMoves::Drifts { bend, .. } => Some(bend),
            ClockMoves::Hops { .. } => None,
        }
    }

    /// Mean advance of the phase over so many values, radians per value.
    pub fn slope(&self, count: usize) -> f64 {
        (self.at(count as f64) - self.at(0.0)) / count.max(1) as f64
    }

    /// Phase at a value, radians.
    pub fn at(&self, index: f64) -> f64 {
        // The slow values' windows have their middles here.
        let x = 2.0 * (index - 0.5 * (LENGTH - 1) as f64) / self.reach - 1.0;
        self.powers
            .iter()
            .rev()
            .fold(0.0, |sum, power| sum * x + power)
    }
}

/// Looks at a steady field's own values, one a cycle of `clock_hz`.
pub fn clock_moves(values: &[Complex32], clock_hz: f64) -> Option<ClockMoves> {
    let slow = slowed(values);
    if slow.len() < LEAST || !is_steady(values) {
        return None;
    }
    hops(&slow, clock_hz).or_else(|| drift(&slow, clock_hz))
}

/// Scatter of the level, relative to it (rms).
fn scatter_of_level(slow: &[Complex64]) -> f64 {
    let count = slow.len() as f64;
    let mean = slow.iter().map(|v| v.norm()).sum::<f64>() / count;
    let square = slow.iter().map(|v| (v.norm() - mean).powi(2)).sum::<f64>() / count;
    square.sqrt() / mean.max(f64::MIN_POSITIVE)
}

fn slowed(values: &[Complex32]) -> Vec<Complex64> {
    let shape: Vec<f64> = (0..LENGTH)
        .map(|k| (1.0 - (TAU * (k as f64 + 0.5) / LENGTH as f64).cos()) / LENGTH as f64)
        .collect();
    let windows = values.windows(LENGTH).step_by(HOP);
    windows
        .map(|part| part.iter().zip(&shape).map(|(v, w)| wide(*v) * *w).sum())
        .collect()
}

fn median_of(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    median(&mut values).unwrap_or(0.0)
}

/// By the power, which no filter's slope changes where the frequency jumps.
fn is_steady(values: &[Complex32]) -> bool {
    let levels: Vec<f64> = values
        .chunks_exact(LENGTH)
        .map(|part| (power(part) / LENGTH as f64).sqrt())
        .collect();
    let usual = median_of(levels.iter().copied());
    let within = levels
        .iter()
        .filter(|level| (*level - usual).abs() < STEADY * usual);
    10 * within.count() >= 9 * levels.len()
}

fn drift(slow: &[Complex64], clock_hz: f64) -> Option<ClockMoves> {
    let count = slow.len();
    let mut phases = Vec::with_capacity(count);
    let mut phase = 0.0;
    phases.push(phase);
    for pair in slow.windows(2) {
        phase += (pair[1] * pair[0].conj()).arg();
        phases.push(phase);
    }
    let x = |k: usize| 2.0 * k as f64 / (count - 1) as f64 - 1.0;
    let fit = |degree: usize| -> Option<(DVector<f64>, f64)> {
        let matrix = DMatrix::from_fn(count, degree + 1, |k, power| x(k).powi(power as i32));
        let target = DVector::from_column_slice(&phases);
        let square = matrix.transpose() * &matrix;
        let solution = square.cholesky()?.solve(&(matrix.transpose() * &target));
        let left = ((target - matrix * &solution).norm_squared() / count as f64).sqrt();
        Some((solution, left))
    };
    let (_, straight) = fit(1)?;
    let (bent, left) = fit(DEGREE)?;
    let is_bent = straight > LEAST_BEND && left < LEFT * straight;
    if !is_bent || scatter_of_level(slow) > LEVEL_TO_BEND * straight {
        return None;
    }
    // Turns a step of x, to Hz.
    let seconds = (count - 1) as f64 * HOP as f64 / clock_hz;
    let frequency = |x: f64| {
        let slope: f64 = (1..=DEGREE)
            .map(|power| power as f64 * bent[power] * x.powi(power as i32 - 1))
            .sum();
        slope / TAU * 2.0 / seconds
    };
    // A polynomial's ends are loose.
    let path: Vec<f64> = (-18..=18).map(|k| frequency(f64::from(k) / 20.0)).collect();
    let change = path[path.len() - 1] - path[0];
    let back: f64 = path
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step| step * change < 0.0)
        .map(f64::abs)
        .sum();
    let change_hz = frequency(1.0) - frequency(-1.0);
    let bend = Bend {
        powers: std::array::from_fn(|power| bent[power]),
        reach: ((count - 1) * HOP) as f64,
    };
    (back < BACK * change.abs()).then_some(ClockMoves::Drifts {
        change_hz,
        seconds,
        bend,
        told: change.abs() > LEAST_TOLD_HZ && straight > LEAST_TOLD_BEND,
    })
}

fn hops(slow: &[Complex64], clock_hz: f64) -> Option<ClockMoves> {
    let step_s = HOP as f64 / clock_hz;
    let frequencies: Vec<f64> = slow
        .iter()
        .zip(&slow[BASE..])
        .map(|(now, later)| (later * now.conj()).arg() / (TAU * BASE as f64 * step_s))
        .collect();
    let scatter = median_of(
        frequencies
            .iter()
            .zip(&frequencies[APART..])
            .map(|(now, later)| (later - now).abs()),
    );
    let within = (4.0 * scatter).max(5.0);
    // (from, to, frequency)
    let mut plateaus: Vec<(usize, usize, f64)> = Vec::new();
    let mut from = 0;
    while from + PLATEAU <= frequencies.len() {
        let mut sum: f64 = frequencies[from..from + PLATEAU].iter().sum();
        let mut to = from + PLATEAU;
        let mean = sum / PLATEAU as f64;
        if frequencies[from..to]
            .iter()
            .any(|f| (f - mean).abs() > within)
        {
            from += 1;
            continue;
        }
        while to < frequencies.len() && (frequencies[to] - sum / (to - from) as f64).abs() < within
        {
            sum += frequencies[to];
            to += 1;
        }
        plateaus.push((from, to, sum / (to - from) as f64));
        from = to;
    }
    let least = LEAST_JUMP_HZ.max(2.0 * within);
    let jumps = plateaus
        .windows(2)
        .filter(|pair| pair[1].0 - pair[0].1 <= JUMP && (pair[1].2 - pair[0].2).abs() > least)
        .count();
    let filled: usize = plateaus
        .iter()
        .map(|(from, to, _)| to - from + JUMP / 2)
        .sum();
    let lowest = plateaus.iter().map(|p| p.2).fold(f64::INFINITY, f64::min);
    let highest = plateaus
        .iter()
        .map(|p| p.2)
        .fold(f64::NEG_INFINITY, f64::max);
    (jumps >= 2 && filled as f64 > FILLED * frequencies.len() as f64).then_some(ClockMoves::Hops {
        jumps,
        between_hz: [clock_hz + lowest, clock_hz + highest],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(hertz: impl Fn(f64) -> f64, beside: f64) -> Vec<Complex32> {
        let mut phase = 0.0;
        (0..27_000)
            .map(|n| {
                let t = f64::from(n) / 134_200.0;
                phase += TAU * hertz(t) / 134_200.0;
                let other = Complex64::from_polar(beside, TAU * 6.0 * t);
                let v = Complex64::cis(phase) + other;
                Complex32::new(v.re as f32, v.im as f32)
            })
            .collect()
    }

    /// 60 Hz in 0.2 s, three places 5 ms each, a steady field, one that beats at 6 Hz, one whose frequency swings at 50 Hz.
    #[test]
    fn drifts_hops_and_beats_are_told_apart() {
        let of = |values: Vec<Complex32>| clock_moves(&values, 134_200.0);
        let drifting = of(field(|t| 300.0 * t, 0.0));
        assert!(
            matches!(drifting, Some(ClockMoves::Drifts { change_hz, .. }) if (change_hz - 60.0).abs() < 2.0),
            "{drifting:?}"
        );
        let places = [0.0, 90.0, -150.0];
        let hopping = of(field(|t| places[(t / 0.005) as usize % 3], 0.0));
        assert!(
            matches!(hopping, Some(ClockMoves::Hops { jumps, .. }) if jumps > 30),
            "{hopping:?}"
        );
        let little = of(field(|t| 20.0 * t, 0.0));
        assert!(
            matches!(little, Some(ClockMoves::Drifts { change_hz, told: false, .. }) if (change_hz - 4.0).abs() < 0.5),
            "{little:?}"
        );
        assert_eq!(of(field(|_| 3.0, 0.0)), None);
        assert_eq!(of(field(|_| 3.0, 0.6)), None);
        assert_eq!(of(field(|t| 20.0 * (TAU * 50.0 * t).sin(), 0.0)), None);
    }
}
