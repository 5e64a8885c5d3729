//! The digitiser as its samples show it: size of a step, how many were used, and whether it was driven into its limits.

use crate::order::median;

/// Samples looked at, in stretches spread over the capture: enough for every level of twelve bits to come up.
const LOOK: usize = 1 << 16;
/// Stretches they are taken in.
const STRETCHES: usize = 16;

/// A sine spends at most √2 + 1 times as long in its outermost step as in the next (derived); flattened tops far longer.
const PILED_UP: f64 = 4.0;
/// Share of the samples at a limit from which its tops are flat; a sine 0.02 % too high has as much.
const AT_LIMIT: f64 = 0.006;

/// Steps, limits and how often samples sit at them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// Lowest and highest sample.
    pub lowest: f64,
    /// See `lowest`.
    pub highest: f64,
    /// Median distance between neighbouring values that occur.
    pub step: f64,
    /// Different values that occur.
    pub distinct: usize,
    /// Share of samples at the lowest value, and at the one step above it.
    pub at_lowest: [f64; 2],
    /// Share of samples at the highest value, and at the one step below it.
    pub at_highest: [f64; 2],
    /// Samples looked at.
    pub samples: usize,
}

impl Levels {
    /// Steps from the lowest sample to the highest.
    pub fn steps(&self) -> f64 {
        (self.highest - self.lowest) / self.step
    }

    /// Share of samples at the digitiser's limits, where a sine was driven into them.
    pub fn clipped_share(&self) -> Option<f64> {
        let share: f64 = [self.at_lowest, self.at_highest]
            .iter()
            .filter(|[at, next]| *at > AT_LIMIT && *at > PILED_UP * next)
            .map(|[at, _]| at)
            .sum();
        (share > 0.0).then_some(share)
    }
}

/// Measures the levels; `None` for fewer than 1000 samples or for samples that never change.
pub fn levels(samples: &[f32]) -> Option<Levels> {
    if samples.len() < 1000 {
        return None;
    }
    let mut sorted: Vec<f32> = if samples.len() <= LOOK {
        samples.to_vec()
    } else {
        let each = LOOK / STRETCHES;
        (0..STRETCHES)
            .flat_map(|k| {
                let from = k * (samples.len() - each) / (STRETCHES - 1);
                samples[from..from + each].iter().copied()
            })
            .collect()
    };
    sorted.sort_unstable_by(f32::total_cmp);
    let (lowest, highest) = (f64::from(sorted[0]), f64::from(sorted[sorted.len() - 1]));
    let mut gaps: Vec<f64> = sorted
        .windows(2)
        .map(|pair| f64::from(pair[1]) - f64::from(pair[0]))
        // What single precision and printed digits make of one and the same level.
        .filter(|gap| *gap > 1e-6 * (highest - lowest))
        .collect();
    let step = median(&mut gaps)?;
    let distinct = gaps.len() + 1;
    let share = |from: f64, to: f64| {
        let below = |value: f64| sorted.partition_point(|&x| f64::from(x) < value);
        (below(to) - below(from)) as f64 / sorted.len() as f64
    };
    Some(Levels {
        lowest,
        highest,
        step,
        distinct,
        at_lowest: [
            share(lowest - step, lowest + 0.5 * step),
            share(lowest + 0.5 * step, lowest + 1.5 * step),
        ],
        at_highest: [
            share(highest - 0.5 * step, highest + step),
            share(highest - 1.5 * step, highest - 0.5 * step),
        ],
        samples: sorted.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(amplitude: f64, limit: f64) -> Vec<f32> {
        (0..50_000)
            .map(|n| {
                let value = amplitude * (0.842_371 * f64::from(n)).sin();
                value.round().clamp(-limit, limit) as f32
            })
            .collect()
    }

    /// A rounded sine spends acos(1 − w/A)/π of its time in its outermost step of width w: at most √2 + 1 times what it
    /// spends in the next one (derived). Clipped by 2 % it spends 6 % at the limit.
    #[test]
    fn a_sine_in_its_range_and_one_beyond_it() {
        for amplitude in [20.0, 100.4, 120.9] {
            let levels = levels(&sine(amplitude, 1e9)).unwrap();
            assert_eq!(levels.step, 1.0);
            assert!(
                levels.at_highest[0] < 2.6 * levels.at_highest[1],
                "{levels:?}"
            );
            assert!((levels.steps() - 2.0 * amplitude.round()).abs() < 0.1);
        }
        let levels = levels(&sine(127.0 * 1.02, 127.0)).unwrap();
        let wanted = (1.0f64 / 1.02).acos() / std::f64::consts::PI;
        assert!((levels.at_lowest[0] - wanted).abs() < 0.01, "{levels:?}");
        assert!(
            levels.at_lowest[0] > 4.0 * levels.at_lowest[1],
            "{levels:?}"
        );
    }
}
