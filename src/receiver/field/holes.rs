//! Stretches of samples that no antenna made: buffers that were lost and filled with one value, or with the one before.

use std::ops::Range;

use num_complex::Complex32;

use crate::receiver::signal::Samples;

/// Fewest samples in a row with one and the same value: a buffer has more, the flat tops of a clipped field fewer.
const LEAST_HELD: usize = 24;
/// … and field cycles they last: half a cycle of a clipped field, or of a comparator, is no hole.
const LEAST_HELD_CYCLES: f64 = 3.0;
/// Samples (or two field cycles, if that is more) over which the swing at either end of a hole is taken.
const SWING: usize = 12;
/// The swing right at the hole is at least this share of what it is further away. An antenna of Q 5 needs two cycles to
/// fall below it, and an input coupling through a capacitor many more to come to rest.
const FULL: f32 = 0.7;
/// What stands beside a hole is the signal, and not the rest of a quiet input.
const OF_ALL: f32 = 0.4;

/// Of a stretch of equal samples so many that lie evenly in it are looked at first; the others only where these are equal.
const LOOKS: usize = 16;

/// Sizes of buffers tried (samples): memories are divided into powers of two.
const BUFFERS: std::ops::RangeInclusive<u32> = 8..=16;
/// A signal that equals itself so often at other places as well is periodic, and nothing was repeated.
const PERIODIC: f64 = 0.02;

/// A stretch of samples that were not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hole {
    /// The samples.
    pub samples: Range<usize>,
    /// They are the ones before them once more; else one value all through.
    pub repeated: bool,
}

/// All holes, in order.
pub fn holes(samples: Samples<'_>, rate_hz: f64, field_hz: f64) -> Vec<Hole> {
    let cycle = rate_hz / field_hz;
    let mut found = match samples {
        Samples::Real(all) => [held(all, cycle, real_swing), repeated(all)],
        Samples::Complex(all) => [held(all, cycle, complex_swing), repeated(all)],
    }
    .concat();
    found.sort_by_key(|hole| (hole.samples.start, hole.samples.end));
    found.dedup_by(|later, earlier| later.samples.start < earlier.samples.end);
    found
}

fn real_swing(samples: &[f32]) -> f32 {
    let (low, high) = samples
        .iter()
        .fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), &x| {
            (low.min(x), high.max(x))
        });
    high - low
}

fn complex_swing(samples: &[Complex32]) -> f32 {
    let part = |of: fn(&Complex32) -> f32| {
        let values: Vec<f32> = samples.iter().map(of).collect();
        real_swing(&values)
    };
    part(|v| v.re).max(part(|v| v.im))
}

/// Runs of one value between full swings of the signal.
fn held<T: PartialEq>(all: &[T], cycle: f64, swing: fn(&[T]) -> f32) -> Vec<Hole> {
    let least = LEAST_HELD.max((LEAST_HELD_CYCLES * cycle).ceil() as usize);
    let near = SWING.max((2.0 * cycle).ceil() as usize);
    let mut found = Vec::new();
    let mut of_all = None;
    // A run that is long enough holds two places half its least length apart.
    let apart = least / 2;
    let mut to = 0;
    for look in (0..all.len().saturating_sub(apart)).step_by(apart) {
        if look < to || all[look] != all[look + apart] {
            continue;
        }
        let value = &all[look];
        let from = to
            + all[to..look]
                .iter()
                .rposition(|x| x != value)
                .map_or(0, |k| k + 1);
        to = all[look..]
            .iter()
            .position(|x| x != value)
            .map_or(all.len(), |count| look + count);
        if to - from >= least && from >= 8 * near && all.len() - to >= 8 * near {
            let (before, after) = (&all[from - 8 * near..from], &all[to..to + 8 * near]);
            let wide = [swing(before), swing(after)];
            let tight = [swing(&before[7 * near..]), swing(&after[..near])];
            let of_all = *of_all.get_or_insert_with(|| swing(all));
            let full = (0..2).all(|k| tight[k] > FULL * wide[k] && wide[k] > OF_ALL * of_all);
            if full {
                found.push(Hole {
                    samples: from..to,
                    repeated: false,
                });
            }
        }
    }
    found
}

/// Buffers that hold once more what the one before them held.
fn repeated<T: PartialEq>(all: &[T]) -> Vec<Hole> {
    let mut found = Vec::new();
    for size in BUFFERS.map(|power| 1usize << power) {
        if all.len() < 3 * size {
            break;
        }
        if !may_repeat(all, size) {
            continue;
        }
        let mut runs: Vec<Range<usize>> = Vec::new();
        let (mut run, mut equal, mut changing) = (0, 0usize, 0usize);
        for place in size..all.len() {
            if all[place] == all[place - size] {
                run += 1;
                equal += 1;
                changing += usize::from(all[place] != all[place - 1]);
            } else {
                // Another value than the one before at least half of the time: not one that is held.
                if run + 2 >= size && run < 2 * size && 2 * changing > run {
                    runs.push(place - run..place);
                }
                (run, changing) = (0, 0);
            }
        }
        let inside: usize = runs.iter().map(ExactSizeIterator::len).sum();
        let elsewhere = equal - inside;
        if elsewhere as f64 <= PERIODIC.max(0.5 * chance(all)) * all.len() as f64 {
            found.extend(runs.into_iter().map(|samples| Hole {
                samples,
                repeated: true,
            }));
        }
    }
    found
}

/// Whether there may be a stretch of two samples less than a buffer's that equals the one a buffer before it.
fn may_repeat<T: PartialEq>(all: &[T], size: usize) -> bool {
    let looks = (size..all.len()).step_by(size / LOOKS);
    let mut equal = 0;
    looks.into_iter().any(|place| {
        equal = if all[place] == all[place - size] {
            equal + 1
        } else {
            0
        };
        equal == LOOKS - 1
    })
}

/// How often two samples far apart are equal by chance: those of a few levels often are.
fn chance<T: PartialEq>(all: &[T]) -> f64 {
    // A prime, so that no common period of field and samples is met.
    const APART: usize = 997;
    let pairs = all.len().saturating_sub(APART);
    let equal = (0..pairs).step_by(7).filter(|&k| all[k] == all[k + APART]);
    2.5 * equal.count() as f64 / pairs.div_ceil(7).max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(count: usize, field_hz: f64) -> Vec<f32> {
        // Noise of a thousandth, from a congruence (Numerical Recipes' constants), rounded to sixteen bits.
        let mut state = 1u32;
        (0..count)
            .map(|n| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = f64::from(state) / 4e9 - 0.5;
                let x = (std::f64::consts::TAU * field_hz / 500e3 * n as f64).cos() + 2e-3 * noise;
                (16_384.0 * x).round() as f32
            })
            .collect()
    }

    #[test]
    fn lost_buffers_are_found_and_switched_fields_are_not() {
        let mut samples = field(60_000, 134_205.0);
        let copy = samples[8192..12_288].to_vec();
        samples[12_288..16_384].copy_from_slice(&copy);
        samples[32_768..33_024].fill(0.0);
        // The field pauses and rings for half a cycle's time constants: nothing of that is a hole.
        for (k, x) in samples[40_000..42_000].iter_mut().enumerate() {
            *x = (f64::from(*x) * (-(k as f64) / 50.0).exp()).round() as f32;
        }
        let found = holes(Samples::Real(&samples), 500e3, 134_200.0);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!(found[0].repeated && found[0].samples.contains(&14_000));
        assert!(found[0].samples.len() >= 4096 && found[0].samples.len() < 4100);
        assert_eq!(found[1].samples, 32_768..33_024);
    }

    #[test]
    fn periodic_and_coarse_signals_have_no_holes() {
        // 125 kHz at 500 kS/s: four samples a cycle, for ever the same.
        let steady: Vec<f32> = (0..20_000).map(|n| [0.0, 9.0, 0.0, -9.0][n % 4]).collect();
        assert_eq!(holes(Samples::Real(&steady), 500e3, 125e3), []);
        let coarse: Vec<f32> = field(40_000, 134_187.0)
            .iter()
            .map(|x| (x / 4096.0).round())
            .collect();
        assert_eq!(holes(Samples::Real(&coarse), 500e3, 134_200.0), []);
    }
}
