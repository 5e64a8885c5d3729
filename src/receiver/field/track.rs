//! The field's slow changes: followed by curves through block means, so that the ripple averages out.

use std::iter::Sum;
use std::ops::{Mul, Range};

use multiversion::multiversion;
use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::single;

/// Cycles per block of the field tracker: four bits, 0.95 ms.
pub const BLOCK: usize = 128;

/// Blocks the tracker averages over: one telegram, whose mean ripple is nil.
const TRACK_BLOCKS: usize = 32;

/// The slowly changing field: a curve through each point's surroundings, one node a block.
pub struct Track {
    /// The field at each block's middle.
    pub nodes: Vec<Complex64>,
    block: usize,
}

/// The field from one node's middle to the next's: its value at the first and what it changes by from each to the next.
struct Line {
    range: Range<usize>,
    field: Complex64,
    step: Complex64,
}

/// Degree of the curves that the field is followed by. Of a second field that beats five times a second a straight line through a telegram
/// leaves a twenty-fifth, which buries a ripple seventy decibels below; this leaves a millionth, and takes some 2e-5 of a ripple's energy.
const DEGREE: usize = 5;

/// Below three telegrams the level's noise is told from its drift by one line through everything.
const SHORT_BLOCKS: usize = 3 * TRACK_BLOCKS;

/// Fewer blocks than this cannot tell a curve from their own noise: a straight line.
const LEAST_FOR_CURVE: usize = 8;

/// Tracks the field through a stretch.
pub fn track(values: &[Complex32]) -> Track {
    let block = BLOCK.min(values.len().max(1));
    let means = block_means(values, block);
    let degree = match means.len() {
        0..LEAST_FOR_CURVE => 1,
        _ => DEGREE,
    };
    let nodes = smoothed(&means, TRACK_BLOCKS, degree);
    Track { nodes, block }
}

/// Takes from a part of the ripple, which stands beside a field of size 1, what the tracker counts as the field's.
pub fn take_slow_changes(part: &mut [Complex32]) {
    let track = track(part);
    for Line { range, field, step } in track.lines(part.len()) {
        for (k, value) in (0..).zip(&mut part[range]) {
            *value -= single(field + step * f64::from(k));
        }
    }
}

/// Each value as the polynomial through the `window` values around it has it.
fn smoothed<T: Copy + Mul<f64, Output = T> + Sum>(
    values: &[T],
    window: usize,
    degree: usize,
) -> Vec<T> {
    let count = values.len();
    let window = window.min(count);
    let weights = smoothing_weights(window, degree);
    (0..count)
        .map(|k| {
            let from = k.saturating_sub(window / 2).min(count - window);
            let around = values[from..from + window].iter();
            around.zip(&weights[k - from]).map(|(&v, &w)| v * w).sum()
        })
        .collect()
}

/// Weights of `window` equally spaced values in the least-squares polynomial through them, at each of their places (Savitzky & Golay,
/// Analytical Chemistry 36, 1964), from polynomials orthogonal over those places.
fn smoothing_weights(window: usize, degree: usize) -> Vec<Vec<f64>> {
    let degree = if window < 3 { 0 } else { degree };
    let middle = 0.5 * (window as f64 - 1.0);
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for power in 0..=degree {
        let mut next: Vec<f64> = (0..window)
            .map(|k| ((k as f64 - middle) / middle.max(1.0)).powi(power as i32))
            .collect();
        let dot = |a: &[f64], b: &[f64]| -> f64 { a.iter().zip(b).map(|(a, b)| a * b).sum() };
        for other in &basis {
            let share = dot(&next, other);
            next.iter_mut()
                .zip(other)
                .for_each(|(a, b)| *a -= share * b);
        }
        let size = dot(&next, &next).sqrt();
        next.iter_mut().for_each(|a| *a /= size);
        basis.push(next);
    }
    let weight = |place: usize, k: usize| basis.iter().map(|p| p[place] * p[k]).sum();
    (0..window)
        .map(|place| (0..window).map(|k| weight(place, k)).collect())
        .collect()
}

impl Track {
    /// The field's level at each node, without what noise makes of it: by straight lines, of short stretches by one.
    pub fn levels(&self) -> Vec<f64> {
        let norms: Vec<f64> = self.nodes.iter().map(|node| node.norm()).collect();
        let window = match norms.len() {
            ..SHORT_BLOCKS => norms.len(),
            _ => TRACK_BLOCKS,
        };
        smoothed(&norms, window, 1)
    }

    /// Index of a node's middle.
    pub fn middle(&self, node: usize) -> f64 {
        (node as f64 + 0.5) * self.block as f64 - 0.5
    }

    /// Node before a value and how far it lies towards the next; beyond the ends the outer line goes on.
    pub fn place(&self, index: usize) -> (usize, f64) {
        let x = (index as f64 + 0.5) / self.block as f64 - 0.5;
        let last = self.nodes.len().saturating_sub(2);
        let node = (x.max(0.0) as usize).min(last);
        (node, x - node as f64)
    }

    /// The field at a value.
    pub fn at(&self, index: usize) -> Complex64 {
        let (node, share) = self.place(index);
        match self.nodes.get(node + 1) {
            Some(next) => self.nodes[node] + share * (next - self.nodes[node]),
            None => self.nodes[node],
        }
    }

    /// Makes of values what they are relative to the field, less 1.
    pub fn take_off(&self, values: &mut [Complex32]) {
        for line in self.lines(values.len()) {
            along_line(&mut values[line.range], line.field, line.step);
        }
    }

    /// The lines that the field follows through so many values.
    fn lines(&self, count: usize) -> impl Iterator<Item = Line> {
        // The line through two nodes holds from the one's middle to the other's.
        let half = self.block / 2;
        let lines = self.nodes.len().saturating_sub(1).max(1);
        let end = move |node: usize| match node + 1 == lines {
            true => count,
            false => ((node + 1) * self.block + half).min(count),
        };
        let begin = move |node: usize| if node == 0 { 0 } else { end(node - 1) };
        let line = move |node: usize| {
            let range = begin(node)..end(node);
            let field = self.at(range.start);
            let step = self.at(range.start + 1) - field;
            Line { range, field, step }
        };
        (0..lines).map(line)
    }

    /// Slope (radians a value) of the line through the nodes' unwrapped phases, and the phases.
    pub fn line(&self) -> (f64, Vec<f64>) {
        let mut phases: Vec<f64> = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            let phase = node.arg();
            let turns = phases
                .last()
                .map_or(0.0, |last| ((phase - last) / std::f64::consts::TAU).round());
            phases.push(phase - turns * std::f64::consts::TAU);
        }
        (slope_of(&phases) / self.block as f64, phases)
    }
}

/// Divides values by a field that changes by `step` from one to the next, and removes 1.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn along_line(values: &mut [Complex32], field: Complex64, step: Complex64) {
    for (k, value) in (0..values.len() as i32).zip(values) {
        let field = field + step * f64::from(k);
        let inverse = field.conj() * (1.0 / field.norm_sqr());
        *value = *value * single(inverse) - 1.0;
    }
}

/// Least-squares slope of equally spaced values, a value.
pub fn slope_of(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    if values.len() < 2 {
        return 0.0;
    }
    let middle = 0.5 * (n - 1.0);
    let along: f64 = values
        .iter()
        .enumerate()
        .map(|(k, v)| (k as f64 - middle) * v)
        .sum();
    along * 12.0 / (n * (n * n - 1.0))
}

/// Phase advance from one block mean to the next, radians: least-squares slope through the unwrapped phases.
pub fn phase_advance(means: &[Complex64]) -> f64 {
    if means.len() < 2 {
        return 0.0;
    }
    // A first guess from neighbouring blocks keeps the unwrapping from slipping.
    let advance: Complex64 = means.windows(2).map(|pair| pair[1] * pair[0].conj()).sum();
    let guess = advance.arg();
    let mut phases = Vec::with_capacity(means.len());
    let mut turned = 0.0;
    for (k, mean) in means.iter().enumerate() {
        let phase = (mean * Complex64::cis(-guess * k as f64)).arg();
        if let Some(&last) = phases.last() {
            let step: f64 = phase + turned - last;
            turned -= std::f64::consts::TAU * (step / std::f64::consts::TAU).round();
        }
        phases.push(phase + turned);
    }
    guess + slope_of(&phases)
}

/// Means of whole blocks.
pub fn block_means(values: &[Complex32], block: usize) -> Vec<Complex64> {
    values
        .chunks_exact(block)
        .map(|chunk| {
            chunk
                .iter()
                .map(|v| Complex64::new(v.re.into(), v.im.into()))
                .sum::<Complex64>()
                / block as f64
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A curve of that degree is followed exactly, at the ends too.
    #[test]
    fn curves_are_followed() {
        for (window, degree) in [(1, 0), (2, 0), (5, 1), (8, 5), (32, 5), (32, 1)] {
            for (place, weights) in smoothing_weights(window, degree).iter().enumerate() {
                let degree = degree as i32;
                let curve = |k: usize| (k as f64 / window as f64 - 0.3).powi(degree);
                let found: f64 = (0..window).map(|k| weights[k] * curve(k)).sum();
                assert!((found - curve(place)).abs() < 1e-11, "{window}: {found}");
            }
        }
    }

    /// Against the field at each value one by one; lengths of no block, less than three telegrams and more.
    #[test]
    fn values_along_the_line_are_those_one_by_one() {
        for count in [1, 77, 128, 333, 5000, 14_000] {
            let values: Vec<Complex32> = (0..count)
                .map(|i| {
                    let slow = 1.0 + 0.1 * (1e-3 * f64::from(i)).sin();
                    single(Complex64::from_polar(slow, 2e-4 * f64::from(i)))
                })
                .collect();
            let track = track(&values);
            let mut relative = values.clone();
            track.take_off(&mut relative);
            for (i, value) in relative.iter().enumerate() {
                let field = track.at(i);
                let exact = Complex64::new(values[i].re.into(), values[i].im.into()) / field - 1.0;
                // Three roundings of a value of size 1 to single precision.
                let error = (Complex64::new(value.re.into(), value.im.into()) - exact).norm();
                assert!(error < 3e-7, "{count}: {i}: {error}");
            }
        }
    }
}
