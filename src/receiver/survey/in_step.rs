//! What changes the field in step, many times a second: lines equally far above and below it. A tag that starts anew all the
//! time does that, and so does a supply; the tag alone sends bits in between, clocked by the field.

use num_complex::{Complex32, Complex64};

use super::line::Line;
use crate::receiver::dsp::phasor::wide;
use crate::receiver::fold::sums::{BIT, HALF};

/// Two lines stand equally far from the field: tones this near are found to half a hertz.
const PAIR_HZ: f64 = 1.5;
/// … and are about equally strong: the antenna's tuning favours one a little.
const PAIR_RATIO: f64 = 2.0;

/// Boundaries in a row that hold bits.
const LEAST_BITS: usize = 4;
/// Each of them has this share of their mean energy: a tag's are all alike, a spike of a supply fills one.
const ALIKE: f64 = 0.25;
/// Their mean energy exceeds the noise's so many times: that of four exponentially distributed powers does with a probability
/// of 3e-9 (derived), and some 10^4 places and periods are tried.
const CLEAR: f64 = 7.0;
/// Of their energy so much must be missing a quarter bit to either side. A tag's load always changes at a boundary, so with
/// ideal edges 75 % and more are (derived, all data), behind slow tanks a little less; of a wave nothing is.
const CONTRAST: f64 = 0.5;

/// A pair of lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InStep {
    /// Changes a second.
    pub rate_hz: f64,
    /// Amplitude of the stronger line relative to the field's.
    pub level: f64,
    /// Lines at multiples of the rate, of all that were found beside the field.
    pub lines: [usize; 2],
    /// What happens from one change to the next holds bits clocked by the field.
    pub holds_bits: bool,
}

/// The pair that the strongest line beside the field belongs to. `ripple` has only the field removed.
pub fn in_step(
    lines: &[Line],
    field_hz: f64,
    ripple: impl FnOnce() -> Vec<Complex32>,
) -> Option<InStep> {
    let near: Vec<&Line> = lines.iter().filter(|line| line.near).collect();
    let (strongest, others) = near.split_first()?;
    let offset_hz = strongest.frequency_hz - field_hz;
    let other = others
        .iter()
        .find(|line| (field_hz - line.frequency_hz - offset_hz).abs() < PAIR_HZ)?;
    if strongest.level > PAIR_RATIO * other.level {
        return None;
    }
    let rate_hz = 0.5 * (strongest.frequency_hz - other.frequency_hz).abs();
    let of_it = near.iter().filter(|line| {
        let times = (line.frequency_hz - field_hz) / rate_hz;
        (times - times.round()).abs() * rate_hz < PAIR_HZ
    });
    let period = field_hz / rate_hz;
    Some(InStep {
        rate_hz,
        level: strongest.level,
        lines: [of_it.count(), near.len()],
        holds_bits: period > ((LEAST_BITS + 1) * BIT) as f64 && holds_bits(&ripple(), period),
    })
}

/// Lays the ripple on itself every `period` cycles and looks for boundaries in it.
fn holds_bits(ripple: &[Complex32], period: f64) -> bool {
    let cells = period.floor() as usize;
    if ripple.len() < 8 * cells || cells < (LEAST_BITS + 1) * BIT {
        return false;
    }
    // The rate is known to a part of a line; the slip that leaves over the whole stretch is made good by trying.
    let turns = ripple.len() as f64 / period;
    (-4..=4).any(|step| {
        let over = 0.125 * f64::from(step) / turns / turns.sqrt();
        has_boundaries(&laid(ripple, period * (1.0 + over), cells))
    })
}

/// Sums of the odd periods and of the even ones.
fn laid(ripple: &[Complex32], period: f64, cells: usize) -> [Vec<Complex64>; 2] {
    let mut waves = [0, 1].map(|_| vec![Complex64::default(); cells]);
    for (n, value) in ripple.iter().enumerate() {
        let periods = n as f64 / period;
        let cell = (periods.fract() * period) as usize;
        if cell < cells {
            waves[periods as usize % 2][cell] += wide(*value);
        }
    }
    waves
}

/// Boundary sums at each place of a period.
fn boundaries(wave: &[Complex64]) -> Vec<Complex64> {
    let cells = wave.len();
    let mut sums = vec![Complex64::default(); cells + 2 * BIT + 1];
    for k in 0..cells + 2 * BIT {
        sums[k + 1] = sums[k] + wave[k % cells];
    }
    let at = |middle: usize| sums[middle + HALF] - 2.0 * sums[middle] + sums[middle - HALF];
    (0..cells).map(|k| at(k + HALF)).collect()
}

fn has_boundaries([odd, even]: &[Vec<Complex64>; 2]) -> bool {
    let cells = odd.len();
    let parts: Vec<(Complex64, Complex64)> =
        boundaries(odd).into_iter().zip(boundaries(even)).collect();
    let mean = |power: fn(&(Complex64, Complex64)) -> f64| {
        parts.iter().map(power).sum::<f64>() / cells as f64
    };
    // What the two halves of the periods do not share is noise, and their sum holds as much of it.
    let noise = mean(|(a, b)| (a - b).norm_sqr());
    let total = mean(|(a, b)| (a + b).norm_sqr());
    let energy: Vec<f64> = parts.iter().map(|(a, b)| (a + b).norm_sqr()).collect();
    (0..cells).any(|from| {
        let row = |off: usize| (0..LEAST_BITS).map(move |j| (from + off + j * BIT) % cells);
        let at = |off: usize| row(off).map(|k| energy[k]).sum::<f64>() / LEAST_BITS as f64;
        let here = at(0);
        // The bits are what the change is about, not some corner of it.
        here > CLEAR * noise
            && here > total
            && row(0).all(|k| energy[k] > ALIKE * here)
            && here - 0.5 * (at(BIT / 4) + at(cells - BIT / 4)) > CONTRAST * here
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Seven bits of biphase and a silence of a bit, over and over, and a wave with the same period and its harmonic, in noise.
    #[test]
    fn bits_are_told_from_waves_and_spikes() {
        let period = 241.3;
        let bits = [1, 0, 0, 1, 1, 0, 1];
        let mut states = Vec::new();
        let mut state = 1.0;
        for bit in bits {
            state = -state;
            states.push(state);
            if bit == 0 {
                state = -state;
            }
            states.push(state);
        }
        let of = |wave: &dyn Fn(f64) -> f64| {
            let ripple: Vec<Complex32> = (0..60_000u32)
                .map(|n| {
                    let hash = n.wrapping_mul(2_654_435_761) >> 8;
                    let noise = 2e-3 * ((hash % 199) as f32 / 99.0 - 1.0);
                    Complex32::new(1e-3 * wave(f64::from(n) % period) as f32 + noise, noise)
                })
                .collect();
            holds_bits(&ripple, period)
        };
        assert!(of(&|at| states
            .get((at / 16.0) as usize)
            .copied()
            .unwrap_or(0.0)));
        assert!(!of(
            &|at| (TAU * at / period).sin() + 0.3 * (2.0 * TAU * at / period).cos()
        ));
        assert!(!of(&|at| if at < 20.0 { 1.0 } else { 0.0 }));
        assert!(!of(&|at| if at < 120.0 { 1.0 } else { -1.0 }));
    }
}
