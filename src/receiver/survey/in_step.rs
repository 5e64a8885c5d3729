//! What changes the field in step, many times a second: lines equally far above and below it. A tag that starts anew all the
//! time does that, and so does a supply; the tag alone sends bits in between, clocked by the field.

use num_complex::{Complex32, Complex64};

use super::lines::Line;
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

/// The pair that the strongest line beside the field belongs to. `ripple` has the field alone taken off.
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
    (-4..=4)
        .map(|step| {
            laid(
                ripple,
                period * (1.0 + 0.125 * f64::from(step) / turns / turns.sqrt()),
                cells,
            )
        })
        .any(|wave| has_boundaries(&wave))
}

fn laid(ripple: &[Complex32], period: f64, cells: usize) -> Vec<Complex64> {
    let mut wave = vec![Complex64::default(); cells];
    for (n, value) in ripple.iter().enumerate() {
        let cell = (n as f64 % period) as usize;
        if cell < cells {
            wave[cell] += wide(*value);
        }
    }
    wave
}

fn has_boundaries(wave: &[Complex64]) -> bool {
    let cells = wave.len();
    let mut sums = vec![Complex64::default(); 2 * cells + 1];
    for k in 0..2 * cells {
        sums[k + 1] = sums[k] + wave[k % cells];
    }
    // Energy of a boundary at each place.
    let energy: Vec<f64> = (0..cells)
        .map(|k| {
            let middle = k + HALF;
            (sums[middle + HALF] - 2.0 * sums[middle] + sums[middle - HALF]).norm_sqr()
        })
        .collect();
    let total: f64 = energy.iter().sum::<f64>() / cells as f64;
    let reach = LEAST_BITS * BIT;
    (0..cells).any(|from| {
        let row = |off: usize| (0..LEAST_BITS).map(move |j| (from + off + j * BIT) % cells);
        let at = |off: usize| row(off).map(|k| energy[k]).sum::<f64>() / LEAST_BITS as f64;
        let here = at(0);
        // The bits are what the change is about, not some corner of it.
        here > total
            && row(0).all(|k| energy[k] > ALIKE * here)
            && from + reach <= 2 * cells
            && here - 0.5 * (at(BIT / 4) + at(cells - BIT / 4)) > CONTRAST * here
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Seven bits of biphase and a silence of a bit, over and over, and a wave with the same period and its harmonic.
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
            let ripple: Vec<Complex32> = (0..60_000)
                .map(|n| Complex32::new(1e-3 * wave(f64::from(n) % period) as f32, 0.0))
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
