//! Steps of the recorder's gain: field, ripple and noise change together, between two samples.
//!
//! A tuned antenna takes Q/π cycles to another level, a second field that is switched turns the phase as well, and a field
//! that goes off leaves nothing: none of them looks like this. The steps are made good before anything is asked.

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::{size, wide};

/// Values in a block: two bits.
const BLOCK: usize = 64;
/// Blocks on either side of a step over which the level stands still.
const STILL: usize = 6;
/// Least step, of the logarithm: 0.6 dB. Ranges of instruments lie further apart, ripples are smaller.
const LEAST: f64 = 0.07;
/// Largest step: 12 dB; what is more is a field that goes on or off.
const MOST: f64 = 1.4;
/// The level stands still where it scatters by less than this share of the step.
const SCATTER: f64 = 0.15;
/// Values a step takes through the front end's filter; an antenna of Q 30 takes 20 from a tenth to nine tenths.
const WIDTH: usize = 8;
/// The phase stays, radians.
const TURN: f64 = 0.03;

/// A step of the gain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GainStep {
    /// Value from which the new gain holds.
    pub at: usize,
    /// New gain over the old one.
    pub ratio: f64,
}

/// The field over a block.
#[derive(Clone, Copy)]
struct Block {
    level: f64,
    direction: Complex64,
}

/// Finds steps and makes them good, to the gain at the beginning.
pub fn level_out(values: &mut [Complex32]) -> Vec<GainStep> {
    let blocks: Vec<Block> = values
        .chunks_exact(BLOCK)
        .map(|block| {
            let level = block.iter().map(|v| f64::from(size(*v))).sum::<f64>() / BLOCK as f64;
            let mean: Complex64 = block.iter().map(|v| wide(*v)).sum();
            let direction = mean / mean.norm().max(f64::MIN_POSITIVE);
            Block { level, direction }
        })
        .collect();
    let mut found: Vec<GainStep> = Vec::new();
    let mut block = STILL;
    while block + STILL + 1 < blocks.len() {
        match is_step(&blocks, block)
            .then(|| exactly(values, block))
            .flatten()
        {
            Some(step) => {
                found.push(step);
                block += STILL;
            }
            None => block += 1,
        }
    }
    let mut gain = 1.0;
    for (k, step) in found.iter().enumerate() {
        gain *= step.ratio;
        let to = found.get(k + 1).map_or(values.len(), |next| next.at);
        let back = (1.0 / gain) as f32;
        values[step.at..to].iter_mut().for_each(|v| *v *= back);
    }
    found
}

/// Whether the levels after and before a block stand still there and differ.
fn is_step(blocks: &[Block], block: usize) -> bool {
    let mean_and_scatter = |blocks: &[Block]| {
        let count = blocks.len() as f64;
        let mean = blocks.iter().map(|b| b.level).sum::<f64>() / count;
        let square = blocks.iter().map(|b| (b.level - mean).powi(2)).sum::<f64>() / count;
        (mean, square.sqrt())
    };
    let (before, scatter_before) = mean_and_scatter(&blocks[block - STILL..block]);
    let (after, scatter_after) = mean_and_scatter(&blocks[block + 1..=block + STILL]);
    if before <= 0.0 || after <= 0.0 {
        return false;
    }
    let ratio = after / before;
    let change = (after - before).abs();
    let within = ratio.ln().abs() > LEAST && ratio.ln().abs() < MOST;
    if !within || scatter_before.max(scatter_after) > SCATTER * change {
        return false;
    }
    // The phase goes on turning as it did.
    let between = |one: Block, next: Block| next.direction * one.direction.conj();
    let turn = |blocks: &[Block]| -> f64 {
        let pairs = blocks.windows(2);
        let sum: Complex64 = pairs
            .map(|pair| pair[0].level * pair[1].level * between(pair[0], pair[1]))
            .sum();
        sum.arg()
    };
    let steady =
        0.5 * (turn(&blocks[block - STILL..block]) + turn(&blocks[block + 1..=block + STILL]));
    let over = between(blocks[block - 1], blocks[block + 1]) * Complex64::cis(-2.0 * steady);
    over.arg().abs() < TURN
}

/// The value at which a step happens within three blocks; `None` where it takes longer than a step does.
fn exactly(values: &[Complex32], block: usize) -> Option<GainStep> {
    let from = (block - 1) * BLOCK;
    let part = &values[from..from + 3 * BLOCK];
    let mean = |part: &[Complex32]| {
        part.iter().map(|v| f64::from(size(*v))).sum::<f64>() / part.len() as f64
    };
    let (before, after) = (mean(&part[..BLOCK]), mean(&part[2 * BLOCK..]));
    let share = |value: &Complex32| (f64::from(size(*value)) - before) / (after - before);
    let first = part.iter().position(|v| share(v) > 0.5)?;
    // All lie on their side of it but for the few that the filter takes.
    let rise = part.iter().take(first).filter(|v| share(v) > 0.2).count()
        + part.iter().skip(first).filter(|v| share(v) < 0.8).count();
    let at = from + first;
    let still = STILL * BLOCK;
    let ratio = mean(values.get(at + WIDTH..at + still)?)
        / mean(&values[at.saturating_sub(still)..at - WIDTH]);
    (rise <= WIDTH).then_some(GainStep { at, ratio })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step up by 3 dB and one down by 1 dB are found to the value and go; a level that takes 40 values stays.
    #[test]
    fn steps_go_and_slow_changes_stay() {
        let gain = |n: usize| match n {
            0..7000 => 1.0,
            7000..15_000 => 1.41,
            _ => 1.26,
        };
        let mut values: Vec<Complex32> = (0..20_000)
            .map(|n| Complex32::from_polar(gain(n), 1e-3 * n as f32))
            .collect();
        let steps = level_out(&mut values);
        assert_eq!(
            steps.iter().map(|s| s.at).collect::<Vec<_>>(),
            [7000, 15_000]
        );
        let off = values.iter().map(|v| (v.norm() - 1.0).abs());
        assert!(
            off.clone().all(|off| off < 1e-3),
            "{steps:?}: {:?}",
            off.enumerate().find(|o| o.1 > 1e-3)
        );
        let mut slow: Vec<Complex32> = (0..20_000)
            .map(|n| {
                let rise = 1.0 - (-(n as f32 - 9000.0).max(0.0) / 20.0).exp();
                Complex32::new(1.0 + 0.3 * rise, 0.0)
            })
            .collect();
        assert!(level_out(&mut slow).is_empty());
    }
}
