//! Whether samples went through a lossy transform coder.
//!
//! Such coders cut a signal into frames that overlap by half, take cosines of each, and keep those only that are strong, in
//! coarse steps. Taken again in the same frames, most cosines are nothing at all; in any other frames, and of any signal
//! that was never coded, none is. Only the sine window is looked for, the one in most use (common practice, no source).

use std::f64::consts::PI;

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::{single, size};
use crate::receiver::dsp::transform::forward;

/// Half lengths of frames tried.
const HALVES: [usize; 4] = [256, 512, 1024, 2048];
/// A cosine is nothing below this share of the frame's largest: −86 dB, four times what 16 bits leave.
const NOTHING: f32 = 5e-5;
/// Share of a frame's cosines that are nothing: in the right frames, …
const MOSTLY: f64 = 0.5;
/// … and of those that are something so much more are in any other frames. Of what was never coded all frames are alike.
const FEWER: f64 = 0.55;
/// Frames looked at besides the one found.
const AGAIN: usize = 5;

/// Cosines followed from sample to sample, to find the frames worth a look.
const FOLLOWED: usize = 32;
/// Frames worth a look, and as many others, spread evenly, to compare them with.
const WORTH: usize = 16;

/// Length of the frames of a coder that the samples went through.
pub fn frames_of_coder(samples: &[f32]) -> Option<usize> {
    let half = HALVES.into_iter().find(|&half| {
        // Away from the beginning, where a record may fade in.
        let from = samples.len() / 3;
        let Some(part) = samples.get(from..from + 3 * half) else {
            return false;
        };
        let cosines = Cosines::new(half);
        let mut shares: Vec<(f64, usize)> = worth_a_look(part, &cosines)
            .into_iter()
            .map(|off| (cosines.nothing(&part[off..off + 2 * half]), off))
            .collect();
        shares.sort_by(|a, b| b.0.total_cmp(&a.0));
        let ((share, best), second) = (shares[0], shares[1].0);
        // Frames all over the record must say the same: an impulse leaves one that looks like it.
        let again = |nth: usize| {
            let last = (samples.len() - from - best) / half - 2;
            let place = from + best + last * nth / AGAIN * half;
            samples
                .get(place..place + 2 * half)
                .is_some_and(|frame| cosines.nothing(frame) > MOSTLY)
        };
        share > MOSTLY && 1.0 - share < FEWER * (1.0 - second) && (1..=AGAIN).all(again)
    })?;
    Some(2 * half)
}

/// Where the frames begin in which most of a few cosines are nothing, and some others.
///
/// The sine window makes of each cosine the difference of two lines of a plain transform, and those are carried on from
/// one sample to the next.
fn worth_a_look(part: &[f32], cosines: &Cosines) -> Vec<usize> {
    let half = cosines.after.len();
    let least = NOTHING * cosines.largest(&part[..2 * half]);
    let line = |k: usize| {
        let step = Complex64::cis(PI * k as f64 / half as f64);
        let sum: Complex64 = part[..2 * half]
            .iter()
            .rev()
            .fold(Complex64::default(), |sum, x| sum * step + f64::from(*x));
        (sum, step.conj())
    };
    let mut followed: Vec<_> = (0..FOLLOWED)
        .map(|nth| {
            // Odd and even ones in turn.
            let k = nth * half / FOLLOWED + nth % 2;
            let begin = 0.5 * PI * (k as f64 + 0.5);
            let turn = |k: usize| Complex64::cis(begin + 0.5 * PI * k as f64 / half as f64);
            ([line(k), line(k + 1)], [turn(k), turn(k + 1)])
        })
        .collect();
    let mut counts: Vec<(usize, usize)> = (0..half)
        .map(|off| {
            let change = f64::from(part[off + 2 * half]) - f64::from(part[off]);
            let mut none = 0;
            for (lines, turns) in &mut followed {
                let cosine = 0.5 * (turns[1] * lines[1].0 - turns[0] * lines[0].0).im;
                none += usize::from(cosine.abs() < f64::from(least));
                for (sum, back) in lines {
                    *sum = (*sum + change) * *back;
                }
            }
            (none, off)
        })
        .collect();
    counts.sort_by_key(|(none, off)| (std::cmp::Reverse(*none), *off));
    let most = counts[..WORTH].iter().map(|(_, off)| *off);
    let others = counts[WORTH..].iter().map(|(_, off)| *off);
    let step = (half - WORTH) / WORTH;
    most.chain(others.step_by(step).take(WORTH)).collect()
}

/// Cosines of a frame: Σ x·w·cos(π/N·(n + ½ + N/2)(k + ½)), by a transform of twice N.
struct Cosines {
    /// Window of each sample, with half a line's turn, which makes lines k + ½.
    before: Vec<Complex32>,
    /// Turn of each line.
    after: Vec<Complex32>,
}

impl Cosines {
    fn new(half: usize) -> Self {
        let double = 2 * half;
        let before = |n: usize| {
            let window = (PI * (n as f64 + 0.5) / double as f64).sin();
            Complex64::from_polar(window, -PI * n as f64 / double as f64)
        };
        let after = |k: usize| {
            Complex64::cis(-PI / half as f64 * (0.5 + 0.5 * half as f64) * (k as f64 + 0.5))
        };
        Self {
            before: (0..double).map(|n| single(before(n))).collect(),
            after: (0..half).map(|k| single(after(k))).collect(),
        }
    }

    /// Lines of a frame, of which the cosines are the real parts.
    fn lines(&self, frame: &[f32]) -> impl Iterator<Item = Complex32> {
        let mut buffer: Vec<Complex32> = frame
            .iter()
            .zip(&self.before)
            .map(|(x, before)| before * x)
            .collect();
        forward(frame.len()).process(&mut buffer);
        buffer
            .into_iter()
            .zip(&self.after)
            .map(|(line, after)| line * after)
    }

    /// Size of a frame's largest line.
    fn largest(&self, frame: &[f32]) -> f32 {
        self.lines(frame).map(size).fold(0.0, f32::max)
    }

    /// Share of a frame's cosines that are nothing.
    fn nothing(&self, frame: &[f32]) -> f64 {
        let cosines: Vec<f32> = self.lines(frame).map(|line| line.re.abs()).collect();
        let largest = cosines.iter().copied().fold(0.0, f32::max);
        let none = cosines.iter().filter(|c| **c < NOTHING * largest).count();
        none as f64 / cosines.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise and a tone, coded frame by frame by the sums written out; as they were they are not coded.
    #[test]
    fn coded_samples_are_told_from_others() {
        let half = 256;
        let plain: Vec<f32> = (0..6000u32)
            .map(|n| {
                let hash = n.wrapping_mul(2_654_435_761) >> 8;
                (0.8428 * f64::from(n)).sin() as f32 + 0.01 * ((hash % 199) as f32 / 99.0 - 1.0)
            })
            .collect();
        assert_eq!(frames_of_coder(&plain), None);
        let cosine = |n: usize, k: usize| {
            (PI / half as f64 * (n as f64 + 0.5 + 0.5 * half as f64) * (k as f64 + 0.5)).cos()
        };
        let window = |n: usize| (PI * (n as f64 + 0.5) / (2 * half) as f64).sin();
        let mut coded = vec![0.0f64; plain.len()];
        for from in (77..plain.len() - 2 * half).step_by(half) {
            let lines: Vec<f64> = (0..half)
                .map(|k| {
                    (0..2 * half)
                        .map(|n| f64::from(plain[from + n]) * window(n) * cosine(n, k))
                        .sum()
                })
                .collect();
            let largest = lines.iter().fold(0.0f64, |a, b| a.max(b.abs()));
            let step = largest * 0.01;
            for n in 0..2 * half {
                let sum: f64 = (0..half)
                    .map(|k| (lines[k] / step).round() * step * cosine(n, k))
                    .sum();
                coded[from + n] += sum * window(n) * 2.0 / half as f64;
            }
        }
        let coded: Vec<f32> = coded.into_iter().map(|x| x as f32).collect();
        assert_eq!(frames_of_coder(&coded), Some(512));
    }
}
