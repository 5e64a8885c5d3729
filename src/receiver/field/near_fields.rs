//! Other fields so near to the own one that the two beat slowly, and what moves the own one.
//!
//! Two crystals differ by some 1 to 70 Hz. The comb between a telegram's lines cannot part fields that near, and the tracker
//! takes their beat for a field that strays. Here the field is slowed down until no ripple is left in it and a handful of
//! steady lines is fitted to it, frequencies and amplitudes together, which parts lines one beat apart. A line is another
//! field only if it is narrow and stands on one side: what modulates the own field (its supply, its gain, its phase) has
//! a mirror image of equal strength on the other side.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::track::track;
use crate::order::median;
use crate::receiver::dsp::phasor::{single, wide};
use crate::receiver::dsp::transform::forward;

/// Values between two slow values: 2.1 kHz of them.
const HOP: usize = 64;
/// Values in the Hann window of a slow value: nothing passes from 1049 Hz on, and of a ripple, whose data have no steady
/// part, some thousandth of its power.
const LENGTH: usize = 256;
/// Lines are looked for up to here, slow values' cycles (420 Hz): what folds onto them is 50 dB down.
const FARTHEST: f64 = 0.2;
/// Fewest slow values: one telegram.
const LEAST: usize = 64;
/// More are thinned out by averaging: the fit's cost grows with their number.
const MOST: usize = 8192;

/// Lines fitted, the own field among them.
const MOST_LINES: usize = 6;
/// A line counts whose power is this many times the median of all within reach. The largest of 4096 exponentially
/// distributed powers exceeds 25 times their mean, 36 times their median, with a probability of 6e-8.
const STANDS_OUT: f64 = 36.0;
/// Weaker lines are of no account: −66 dB, an eighth of the weakest ripple that a capture of a second shows.
const LEAST_LEVEL: f64 = 5e-4;

/// Beats in the record from which two fields are told from one that drifts: below one a parabola fits as well.
const LEAST_BEATS: f64 = 1.2;
/// A line's mirror image stays below this share of its amplitude: −12 dB. A supply that moves the level and, with a delay,
/// the phase by half as much makes its two sides 1 to 3 at the worst.
const MIRRORED: f64 = 0.25;
/// A stable line leaves this little of its power around its own place.
const LEFT: f64 = 0.06;
/// Lines of the transform around its place in which the rest is looked for.
const AROUND: isize = 4;

/// Steps of the fit; each at least halves its error, most of them square it.
const STEPS: usize = 12;

/// Another field, or one side of what modulates the own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NearField {
    /// Distance from the own field, cycles per value.
    pub offset: f64,
    /// Amplitude relative to the own field's.
    pub level: f64,
    /// Amplitude of its mirror image on the other side of the own field, relative to its own.
    pub mirrored: f64,
}

/// A steady line.
#[derive(Clone, Copy, Debug)]
struct Line {
    /// Cycles per slow value.
    turns: f64,
    /// At the middle of the slow values.
    amplitude: Complex64,
}

/// Takes other fields off the values of a steady field; says which they were, strongest first, and what the values were with them.
pub fn take_off_near_fields(values: &mut [Complex32]) -> (Vec<NearField>, Option<Vec<Complex32>>) {
    let (slow, hop) = slowed(values);
    let (lines, rest) = fitted(&slow);
    let (mut found, mut before) = (Vec::new(), None);
    let Some((own, beside)) = lines.split_first() else {
        return (found, before);
    };
    for line in beside {
        let offset = line.turns - own.turns;
        let count = slow.len() as f64;
        if (offset * count).abs() < LEAST_BEATS || !is_narrow(line, &rest, slow.len()) {
            continue;
        }
        let mirrored = mirror(own, line, &lines, &slow);
        if mirrored > MIRRORED {
            continue;
        }
        before.get_or_insert_with(|| values.to_vec());
        subtract(values, line, slow.len(), hop);
        found.push(NearField {
            offset: offset / hop as f64,
            level: size(line, hop) / size(own, hop),
            mirrored,
        });
    }
    found.sort_by(|a, b| b.level.total_cmp(&a.level));
    (found, before)
}

/// Values relative to the sum of the fields, on the own field again: of `before`, with all fields in it, and `own`, without the
/// others. Where the sum all but vanishes there is nothing to be had.
pub fn relative_to_sum(before: &[Complex32], own: &[Complex32]) -> Vec<Complex32> {
    /// Share of the own field below which the sum drives no tag.
    const LEAST_SUM: f64 = 0.25;
    let track = track(own);
    let parts = before.iter().zip(own).enumerate();
    parts
        .map(|(index, (before, own))| {
            let field = track.at(index);
            let sum = field + wide(*before) - wide(*own);
            if sum.norm() < LEAST_SUM * field.norm() {
                single(field)
            } else {
                single(wide(*before) * field / sum)
            }
        })
        .collect()
}

/// Averages over a Hann window every `hop` values.
fn slowed(values: &[Complex32]) -> (Vec<Complex64>, usize) {
    if values.len() < LENGTH {
        return (Vec::new(), HOP);
    }
    let hop = HOP;
    let shape: Vec<f64> = (0..LENGTH)
        .map(|k| (1.0 - (TAU * (k as f64 + 0.5) / LENGTH as f64).cos()) / LENGTH as f64)
        .collect();
    let count = ((values.len() - LENGTH) / hop + 1).min(MOST);
    let slow = (0..count)
        .map(|k| {
            let part = &values[k * hop..k * hop + LENGTH];
            part.iter().zip(&shape).map(|(v, w)| wide(*v) * *w).sum()
        })
        .collect();
    (slow, hop)
}

/// What the window leaves of a line: a Hann window's transform (Harris, Proc. IEEE 66(1), 1978).
fn passed(turns: f64, hop: usize) -> f64 {
    let x = turns / hop as f64 * LENGTH as f64;
    if x.abs() < 1e-6 {
        return 1.0;
    }
    let sinc = (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x);
    sinc / (1.0 - x * x)
}

fn size(line: &Line, hop: usize) -> f64 {
    line.amplitude.norm() / passed(line.turns, hop)
}

/// Moments of slow values, from their middle.
fn moment(index: usize, count: usize) -> f64 {
    index as f64 - 0.5 * (count as f64 - 1.0)
}

fn subtract(values: &mut [Complex32], line: &Line, count: usize, hop: usize) {
    let amplitude = line.amplitude / passed(line.turns, hop);
    // The middle of the slow values, in values.
    let middle = 0.5 * ((count - 1) * hop + LENGTH - 1) as f64;
    let per_value = line.turns / hop as f64;
    for (n, value) in values.iter_mut().enumerate() {
        let at = amplitude * Complex64::cis(TAU * per_value * (n as f64 - middle));
        *value -= Complex32::new(at.re as f32, at.im as f32);
    }
}

/// Steady lines in slow values, strongest first, and what they leave.
fn fitted(slow: &[Complex64]) -> (Vec<Line>, Vec<Complex64>) {
    let mut lines: Vec<Line> = Vec::new();
    let mut rest = slow.to_vec();
    if slow.len() < LEAST {
        return (lines, rest);
    }
    while lines.len() < MOST_LINES {
        let Some(turns) = standing_out(&rest, lines.first()) else {
            break;
        };
        let mut more = lines.clone();
        more.push(Line {
            turns,
            amplitude: Complex64::default(),
        });
        let Some(left) = refine(&mut more, slow) else {
            break;
        };
        // Two lines on one place are one that is not steady.
        let apart = |a: &Line, b: &Line| ((a.turns - b.turns) * slow.len() as f64).abs() > 0.5;
        let count = more.len();
        if (1..count).any(|k| (0..k).any(|j| !apart(&more[j], &more[k]))) {
            break;
        }
        (lines, rest) = (more, left);
    }
    lines.sort_by(|a, b| b.amplitude.norm().total_cmp(&a.amplitude.norm()));
    (lines, rest)
}

/// Power of slow values behind a Hann window, each line's as that of a steady line, four places a line.
fn spectrum(slow: &[Complex64]) -> Vec<f64> {
    let count = slow.len();
    let lines = (4 * count).next_power_of_two();
    let mut buffer: Vec<Complex32> = slow
        .iter()
        .enumerate()
        .map(|(k, v)| {
            let hann = 1.0 - (TAU * (k as f64 + 0.5) / count as f64).cos();
            let v = v * hann / count as f64;
            Complex32::new(v.re as f32, v.im as f32)
        })
        .collect();
    buffer.resize(lines, Complex32::default());
    forward(lines).process(&mut buffer);
    buffer.iter().map(|v| f64::from(v.norm_sqr())).collect()
}

/// The strongest line that stands out, cycles per slow value.
fn standing_out(rest: &[Complex64], own: Option<&Line>) -> Option<f64> {
    let power = spectrum(rest);
    let lines = power.len();
    let signed = |line: usize| {
        let line = line as f64 / lines as f64;
        if line >= 0.5 { line - 1.0 } else { line }
    };
    let within: Vec<usize> = (0..lines)
        .filter(|&line| signed(line).abs() < FARTHEST)
        .collect();
    let &best = within
        .iter()
        .max_by(|a, b| power[**a].total_cmp(&power[**b]))?;
    let mut sorted: Vec<f64> = within.iter().map(|&line| power[line]).collect();
    let median = median(&mut sorted)?;
    let least = own.map_or(0.0, |own| (LEAST_LEVEL * own.amplitude.norm()).powi(2));
    (power[best] > STANDS_OUT * median && power[best] > least).then(|| signed(best))
}

/// Least squares over all amplitudes and frequencies at once (Gauss and Newton); what is left of the values.
fn refine(lines: &mut [Line], slow: &[Complex64]) -> Option<Vec<Complex64>> {
    let mut left = amplitudes(lines, slow)?;
    let mut best = power(&left);
    for _ in 0..STEPS {
        let steps = frequency_steps(lines, &left)?;
        let mut share = 1.0;
        let better = loop {
            let mut trial = lines.to_vec();
            for (line, step) in trial.iter_mut().zip(&steps) {
                // No line runs away farther than the transform's own width.
                line.turns += share * step.clamp(-0.5 / slow.len() as f64, 0.5 / slow.len() as f64);
            }
            let trial_left = amplitudes(&mut trial, slow)?;
            let this = power(&trial_left);
            if this < best {
                break Some((trial, trial_left, this));
            }
            share *= 0.25;
            if share < 0.01 {
                break None;
            }
        };
        let Some((trial, trial_left, this)) = better else {
            break;
        };
        let gained = best - this;
        lines.copy_from_slice(&trial);
        (left, best) = (trial_left, this);
        if gained < 1e-6 * best {
            break;
        }
    }
    Some(left)
}

fn power(values: &[Complex64]) -> f64 {
    values.iter().map(Complex64::norm_sqr).sum()
}

/// Phasors of the lines over the slow values, one column each.
fn columns(turns: impl Iterator<Item = f64>, count: usize) -> Vec<Vec<Complex64>> {
    turns
        .map(|turns| {
            let step = Complex64::cis(TAU * turns);
            let mut now = Complex64::cis(TAU * turns * moment(0, count));
            (0..count)
                .map(|_| {
                    let this = now;
                    now *= step;
                    this
                })
                .collect()
        })
        .collect()
}

/// Amplitudes of known frequencies; what is left.
fn amplitudes(lines: &mut [Line], slow: &[Complex64]) -> Option<Vec<Complex64>> {
    let columns = columns(lines.iter().map(|line| line.turns), slow.len());
    let solution = solve(&columns, slow)?;
    let mut left = slow.to_vec();
    for ((line, column), amplitude) in lines.iter_mut().zip(&columns).zip(solution) {
        line.amplitude = amplitude;
        left.iter_mut()
            .zip(column)
            .for_each(|(left, c)| *left -= amplitude * c);
    }
    Some(left)
}

/// Complex least squares.
fn solve(columns: &[Vec<Complex64>], target: &[Complex64]) -> Option<Vec<Complex64>> {
    let n = columns.len();
    let dot = |a: &[Complex64], b: &[Complex64]| -> Complex64 {
        a.iter().zip(b).map(|(a, b)| a.conj() * b).sum()
    };
    let square = DMatrix::from_fn(n, n, |i, j| dot(&columns[i], &columns[j]));
    let right = DVector::from_fn(n, |i, _| dot(&columns[i], target));
    let solution = square.lu().solve(&right)?;
    Some(solution.iter().copied().collect())
}

/// By how much each frequency is off, to first order, the amplitudes free to follow.
fn frequency_steps(lines: &[Line], left: &[Complex64]) -> Option<Vec<f64>> {
    let count = left.len();
    let n = lines.len();
    // Real unknowns: both parts of each amplitude, and the frequency.
    let mut square = DMatrix::<f64>::zeros(3 * n, 3 * n);
    let mut right = DVector::<f64>::zeros(3 * n);
    let columns = columns(lines.iter().map(|line| line.turns), count);
    let mut row = vec![Complex64::default(); 3 * n];
    for (k, left) in left.iter().enumerate() {
        let along = TAU * moment(k, count);
        for (j, line) in lines.iter().enumerate() {
            let phasor = columns[j][k];
            row[3 * j] = phasor;
            row[3 * j + 1] = phasor * Complex64::I;
            row[3 * j + 2] = phasor * line.amplitude * Complex64::I * along;
        }
        for a in 0..3 * n {
            right[a] += row[a].re * left.re + row[a].im * left.im;
            for b in 0..=a {
                square[(a, b)] += row[a].re * row[b].re + row[a].im * row[b].im;
            }
        }
    }
    for a in 0..3 * n {
        for b in 0..a {
            square[(b, a)] = square[(a, b)];
        }
    }
    let solution = square.lu().solve(&right)?;
    Some((0..n).map(|j| solution[3 * j + 2]).collect())
}

/// Whether what is left around a line's place is little beside it.
fn is_narrow(line: &Line, rest: &[Complex64], count: usize) -> bool {
    let at = |off: f64| -> f64 {
        let turns = line.turns + off / count as f64;
        let sum: Complex64 = rest
            .iter()
            .enumerate()
            .map(|(k, v)| v * Complex64::cis(-TAU * turns * moment(k, count)))
            .sum();
        (sum / count as f64).norm_sqr()
    };
    let around: f64 = (-AROUND..=AROUND).map(|place| at(place as f64)).sum();
    // Noise alone leaves its share at each place.
    let noise = power(rest) / (count as f64).powi(2) * (2 * AROUND + 1) as f64;
    around < LEFT * line.amplitude.norm_sqr() + 2.0 * noise
}

/// Amplitude of a line's mirror image about the own field, relative to the line's.
fn mirror(own: &Line, line: &Line, lines: &[Line], slow: &[Complex64]) -> f64 {
    let turns = 2.0 * own.turns - line.turns;
    let count = slow.len() as f64;
    // What was fitted there stands for it.
    if let Some(there) = lines
        .iter()
        .find(|other| ((other.turns - turns) * count).abs() < 0.75)
    {
        return there.amplitude.norm() / line.amplitude.norm();
    }
    let mut all: Vec<Line> = lines.to_vec();
    all.push(Line {
        turns,
        amplitude: Complex64::default(),
    });
    match amplitudes(&mut all, slow) {
        Some(_) => all[all.len() - 1].amplitude.norm() / line.amplitude.norm(),
        None => f64::INFINITY,
    }
}
