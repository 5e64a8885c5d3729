//! A second reader about as strong as the field: removed as a steady tone, or burst by burst where it is switched.
//!
//! What two fields add up to beats, and a switched one has a comb of lines about its own: neither looks like a field with
//! a stray tone. With the steady field's phasor known, the rest has one of two sizes, nothing or the other field's.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::interference::{clock_lines, measure, remove_line};
use crate::receiver::dsp::phasor::{single, wide};

/// Cycles in which the other field is taken as either on or off: two bits, half a millisecond.
const BLOCK: usize = 64;

/// Left out around each switching, blocks: 2 ms, ten time constants of an antenna of Q 85.
const UNSETTLED: usize = 4;

/// Turns of measuring one field where the other is off: each leaves a third or less of the error before.
const ROUNDS: usize = 6;

/// The rest is of two sizes where what is called off stays below this share of what is called on (chosen, no source).
const CLEARLY_OFF: f64 = 0.35;

/// A switched field is off for at least this share of the time, and on for at least as much.
const LEAST_SHARE: f64 = 0.05;

/// A field about as strong as the one that the values are tuned to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OtherField {
    /// Its frequency.
    pub frequency_hz: f64,
    /// Its amplitude relative to the field's.
    pub level: f64,
}

impl OtherField {
    /// Measures the one that lies `place` cycles per value beside the field.
    pub fn measured(values: &[Complex32], place: f64, field_hz: f64) -> Self {
        let [own, other] = [0.0, place].map(|place| {
            measure(values, place)
                .amplitude
                .norm()
                .max(f64::MIN_POSITIVE)
        });
        Self {
            frequency_hz: field_hz * (1.0 + place),
            level: other / own,
        }
    }
}

/// A phasor that turns steadily.
#[derive(Clone, Copy)]
struct Turning {
    amplitude: Complex64,
    per_value: f64,
}

impl Turning {
    fn at(&self, index: usize) -> Complex64 {
        self.amplitude * Complex64::cis(TAU * (self.per_value * index as f64).fract())
    }

    /// From block means around an earlier guess: the mean, and the slope of what the phases still turn.
    fn fitted(guess: f64, means: &[(usize, Complex64)]) -> Self {
        let still: Vec<(f64, Complex64)> = means
            .iter()
            .map(|&(index, mean)| {
                let turn = Complex64::cis(-TAU * (guess * index as f64).fract());
                (index as f64, mean * turn)
            })
            .collect();
        let middle: Complex64 = still.iter().map(|(_, mean)| mean).sum();
        let count = still.len() as f64;
        let center = still.iter().map(|(index, _)| index).sum::<f64>() / count;
        let (mut along, mut spread) = (0.0, 0.0);
        for (index, mean) in &still {
            along += (index - center) * (mean * middle.conj()).arg();
            spread += (index - center).powi(2);
        }
        let slope = if spread > 0.0 { along / spread } else { 0.0 };
        let amplitude = still
            .iter()
            .map(|(index, mean)| mean * Complex64::cis(-slope * (index - center)))
            .sum::<Complex64>()
            / count;
        Self {
            amplitude: amplitude * Complex64::cis(-slope * center),
            per_value: guess + slope / TAU,
        }
    }
}

/// A second field may be as weak as this (−32 dB) and still stand out of any ripple's lines, whose strongest is half of the
/// ripple.
const WEAKER_FIELD: f64 = 0.025;

/// Weaker fields looked for, the own one among them.
const MOST_WEAKER: usize = 3;

/// Takes off the field that lies `place` cycles per value beside the one the values are tuned to.
pub fn remove_other_field(values: &mut [Complex32], place: f64) {
    let Some((own, bursts)) = switching(values) else {
        remove_line(values, place);
        return;
    };
    for burst in &bursts {
        let settled = burst.start + UNSETTLED..burst.end.saturating_sub(UNSETTLED);
        if let Some(other) = settled_field(values, &settled, place, own) {
            for index in blocks(&settled, values.len()) {
                values[index] -= single(other.at(index));
            }
        }
        // What is not settled holds the steady field and nothing else.
        let rising = burst.start.saturating_sub(1)..settled.start;
        let falling = settled.end.max(settled.start)..burst.end + UNSETTLED;
        for range in [rising, falling] {
            for index in blocks(&range, values.len()) {
                values[index] = single(own.at(index));
            }
        }
    }
}

/// The field's values without weaker fields beside it, for another try where they fall onto the telegram's own lines and
/// are not told from it; `None` where there are none.
pub fn remove_weaker_fields(values: &[Complex32]) -> Option<Vec<Complex32>> {
    let lines = clock_lines(values, WEAKER_FIELD, MOST_WEAKER);
    let (_, others) = lines.split_first()?;
    if others.is_empty() {
        return None;
    }
    let mut left = values.to_vec();
    for other in others {
        remove_other_field(&mut left, *other);
    }
    Some(left)
}

/// Values in a range of blocks.
fn blocks(range: &Range<usize>, count: usize) -> Range<usize> {
    (range.start * BLOCK).min(count)..(range.end * BLOCK).min(count)
}

/// The other field while it is on and settled, the phases of its blocks followed from one to the next.
fn settled_field(
    values: &[Complex32],
    settled: &Range<usize>,
    place: f64,
    own: Turning,
) -> Option<Turning> {
    // Three blocks at least: less says nothing of its frequency.
    if settled.len() < 3 {
        return None;
    }
    let means: Vec<(usize, Complex64)> = settled
        .clone()
        .map(|block| {
            // A block is long against the beat: the fields are told apart before they are averaged.
            let range = blocks(&(block..block + 1), values.len());
            let middle = (range.start + range.end) / 2;
            let sum: Complex64 = range
                .clone()
                .map(|index| {
                    let back = Complex64::cis(-TAU * (place * (index as f64 - middle as f64)));
                    (wide(values[index]) - own.at(index)) * back
                })
                .sum();
            (middle, sum / range.len().max(1) as f64)
        })
        .collect();
    let steps: Complex64 = means
        .windows(2)
        .map(|pair| pair[1].1 * pair[0].1.conj())
        .sum();
    // The nearest frequency to the one seen that turns a block's phase this far.
    let turns = steps.arg() / TAU;
    let whole = (place * BLOCK as f64 - turns).round();
    Some(Turning::fitted((turns + whole) / BLOCK as f64, &means))
}

/// The steady field, and the blocks in which another one is on beside it; `None` where that one is not switched.
fn switching(values: &[Complex32]) -> Option<(Turning, Vec<Range<usize>>)> {
    let count = values.len() / BLOCK;
    if count < 8 {
        return None;
    }
    let seen = measure(values, 0.0);
    let mut own = Turning {
        amplitude: seen.amplitude,
        per_value: seen.per_value,
    };
    let mut on = Vec::new();
    let mut clear = false;
    for _ in 0..ROUNDS {
        // A mean over a block would let the beat cancel: sizes are averaged.
        let sizes: Vec<f64> = (0..count)
            .map(|block| {
                let range = blocks(&(block..block + 1), values.len());
                let power: f64 = range
                    .map(|index| (wide(values[index]) - own.at(index)).norm_sqr())
                    .sum();
                (power / BLOCK as f64).sqrt()
            })
            .collect();
        let mut sorted = sizes.clone();
        sorted.sort_by(f64::total_cmp);
        let strong = sorted[count * 19 / 20];
        on = sizes
            .iter()
            .map(|size| *size > 0.5 * strong)
            .collect::<Vec<bool>>();
        // Only what has been off for a while and stays so is the steady field alone.
        let alone: Vec<usize> = (UNSETTLED..count - 1)
            .filter(|&block| on[block - UNSETTLED..=block + 1].iter().all(|on| !on))
            .collect();
        if (alone.len() as f64) < LEAST_SHARE * count as f64 {
            return None;
        }
        let left: f64 = alone.iter().map(|&block| sizes[block]).sum::<f64>() / alone.len() as f64;
        clear = left < CLEARLY_OFF * strong;
        let means: Vec<(usize, Complex64)> = alone
            .iter()
            .map(|&block| {
                let range = blocks(&(block..block + 1), values.len());
                let sum: Complex64 = values[range.clone()].iter().map(|&v| wide(v)).sum();
                ((range.start + range.end) / 2, sum / BLOCK as f64)
            })
            .collect();
        own = Turning::fitted(own.per_value, &means);
    }
    let share = on.iter().filter(|on| **on).count() as f64 / count as f64;
    if !clear || !(LEAST_SHARE..=1.0 - LEAST_SHARE).contains(&share) {
        return None;
    }
    let mut bursts: Vec<Range<usize>> = Vec::new();
    for block in (0..count).filter(|&block| on[block]) {
        match bursts.last_mut() {
            Some(burst) if burst.end == block => burst.end = block + 1,
            _ => bursts.push(block..block + 1),
        }
    }
    Some((own, bursts))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A steady field with a square ripple of 1 % and a second one, on for 50 of every 70 ms, as strong or three times
    /// so: outside the switchings the ripple is left as it was.
    #[test]
    fn a_switched_field_goes_and_the_ripple_stays() {
        let clean: Vec<Complex32> = (0..67_100usize)
            .map(|n| {
                let sign = if (n / 16).wrapping_mul(2_654_435_761) >> 7 & 1 == 1 {
                    1.0
                } else {
                    -1.0
                };
                Complex32::new(1.0, 0.01 * sign)
            })
            .collect();
        for (offset_hz, level) in [(37.0, 1.0), (571.0, 1.0), (-571.0, 3.16), (2718.3, 3.16)] {
            let per_value = offset_hz / 134_200.0;
            let on = |n: usize| n % 9394 < 6710;
            let mut values = clean.clone();
            for (n, v) in values.iter_mut().enumerate().filter(|(n, _)| on(*n)) {
                *v += single(Complex64::from_polar(
                    level,
                    TAU * per_value * n as f64 + 1.0,
                ));
            }
            remove_other_field(&mut values, per_value);
            let settled =
                |n: usize| (0..=6).all(|k| on(n.saturating_sub(k * BLOCK)) == on(n + 2 * BLOCK));
            let (mut left, mut counted) = (0.0, 0usize);
            for n in (0..clean.len()).filter(|&n| settled(n)) {
                left += f64::from((values[n] - clean[n]).norm_sqr());
                counted += 1;
            }
            assert!(counted > clean.len() / 2);
            let left = left / counted as f64;
            // Both fields are fitted through blocks that hold ripple: a few per cent of its power of 1e-4.
            assert!(left < 5e-6, "{offset_hz} Hz, {level}: {left:e}");
        }
    }
}
