//! What there is between the lines that a tag's telegram can have: noise and strays.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::lines::{BELIEVED, TONES_A_PASS, peaks, standing_out};
use crate::receiver::dsp::phasor::power;
use crate::receiver::dsp::transform::{WINDOW_MEAN, forward, window};
use crate::receiver::fold::sums::TELEGRAM;

/// Where the difference passes less than this share of a tone's power, the other one decides alone.
const LEAST_GAIN: f64 = 0.2;

/// What lies this near to the field (lines of the transform) is its own unsteadiness.
const NEAR_FIELD_LINES: f64 = 8.0;

/// Cells of the differences that are compared at a time: a quarter of a telegram.
const COMPARED: usize = TELEGRAM / 4;

/// Means of so many cells pass 8 kHz to either side, where a telegram has most of its power; half a bit is twice as long.
const AVERAGED: usize = 8;

/// Over a telegram they stand out where their power is this many times the usual: six standard deviations of as many such means of noise, …
const COMES_OR_GOES: f64 = 1.3;
/// … to which each of its quarters that counts adds half as much at least.
const EACH: f64 = 1.15;

/// A tag that comes or goes leaves a telegram of its own in the differences, and a quarter for each end that lies between cells.
const LASTS: usize = 6;

/// What a telegram that repeats (sign 1) or repeats inverted (−1) leaves nothing in; nothing where it is to be left out.
pub fn difference(values: &[Complex32], sign: f32, left_out: &[Range<usize>]) -> Vec<Complex32> {
    let pairs = values.iter().zip(&values[TELEGRAM..]);
    let mut left: Vec<Complex32> = pairs.map(|(now, later)| now - later * sign).collect();
    for Range { start, end } in left_out {
        let upto = (*end).min(left.len());
        left[(*start).min(upto)..upto].fill(Complex32::default());
    }
    left
}

/// Which parts of the differences say nothing of noise and strays: those with cells that were mended, …
pub fn of_mended(mended: &[Range<usize>]) -> Vec<Range<usize>> {
    let both = |range: &Range<usize>| {
        [TELEGRAM, 0]
            .map(|before| range.start.saturating_sub(before)..range.end.saturating_sub(before))
    };
    mended.iter().flat_map(both).collect()
}

/// … and those in which a tag comes or goes: it does not repeat there in either way, over a telegram.
pub fn of_coming_and_going(values: &[Complex32], left_out: &[Range<usize>]) -> Vec<Range<usize>> {
    let powers = |sign: f32| -> Vec<f64> {
        // Each by itself: fresh memory for all would cost more than the sums.
        let of_quarter = |quarter: usize| {
            let (from, to) = (quarter * COMPARED, (quarter + 1) * COMPARED);
            let here: Vec<Range<usize>> = left_out
                .iter()
                .filter(|range| range.start < to && range.end > from)
                .map(|range| range.start.max(from) - from..range.end.min(to) - from)
                .collect();
            let left = difference(&values[from..to + TELEGRAM], sign, &here);
            let means: Vec<Complex32> = left
                .chunks_exact(AVERAGED)
                .map(|some| some.iter().sum())
                .collect();
            power(&means)
        };
        let quarters = (values.len() - TELEGRAM) / COMPARED;
        (0..quarters).map(of_quarter).collect()
    };
    let (same, turned) = crate::threads::join(|| powers(1.0), || powers(-1.0));
    let least: Vec<f64> = same.iter().zip(&turned).map(|(a, b)| a.min(*b)).collect();
    let mut sorted: Vec<f64> = least.iter().copied().filter(|power| *power > 0.0).collect();
    sorted.sort_by(f64::total_cmp);
    // Of a short record the half may be left of one that comes.
    let Some(usual) = sorted.get(sorted.len() / 4) else {
        return Vec::new();
    };
    let mut out = vec![false; least.len()];
    for (from, quarters) in least.windows(TELEGRAM / COMPARED).enumerate() {
        if quarters.iter().sum::<f64>() > COMES_OR_GOES * usual * quarters.len() as f64 {
            for (out, quarter) in out[from..].iter_mut().zip(quarters) {
                *out |= *quarter > EACH * usual;
            }
        }
    }
    let places: Vec<usize> = (0..least.len()).collect();
    let stands_out = |place: &usize| out[*place];
    let runs: Vec<Range<usize>> = places
        .chunk_by(|a, b| stands_out(a) == stands_out(b))
        .filter(|run| stands_out(&run[0]) && run.len() <= LASTS)
        .map(|run| run[0] * COMPARED..(run[0] + run.len()) * COMPARED)
        .collect();
    let all: usize = runs.iter().map(Range::len).sum();
    if 2 * all > values.len() - TELEGRAM {
        return Vec::new();
    }
    runs
}

/// A tone's turn from one telegram to the next.
pub fn after_a_telegram(per_value: f64) -> Complex64 {
    Complex64::cis(std::f64::consts::TAU * (per_value * TELEGRAM as f64).fract())
}

/// What there is between a tag's lines: the spectra of both differences, and the smaller one's power at each line.
pub struct Between {
    same: Vec<Complex32>,
    turned: Vec<Complex32>,
    /// Power of noise and strays, 0 where neither difference passes them.
    pub power: Vec<f64>,
    /// Length of the differences before padding.
    pub count: usize,
}

impl Between {
    pub fn of(values: &[Complex32], left_out: &[Range<usize>]) -> Self {
        let count = values.len() - TELEGRAM;
        let lines = count.next_power_of_two();
        let shape = window(count);
        let fft = forward(lines);
        let seen = |sign: f32| {
            let mut buffer = difference(values, sign, left_out);
            buffer
                .iter_mut()
                .zip(shape.iter())
                .for_each(|(v, w)| *v *= w);
            buffer.resize(lines, Complex32::default());
            fft.process(&mut buffer);
            buffer
        };
        let (same, turned) = crate::threads::join(|| seen(1.0), || seen(-1.0));
        // Both numbers of lines are powers of two: the gains repeat from one line of a telegram to the next.
        let period = lines / TELEGRAM;
        let gains: Vec<[f64; 2]> = (0..period)
            .map(|line| {
                let angle = std::f64::consts::TAU * line as f64 / period as f64;
                [2.0 - 2.0 * angle.cos(), 2.0 + 2.0 * angle.cos()]
            })
            .collect();
        let power = (0..lines)
            .map(|line| {
                let gains = gains[line % period];
                let powers = [same[line], turned[line]].map(|v| f64::from(v.norm_sqr()));
                let distance = line.min(lines - line) as f64 / lines as f64 * count as f64;
                match gains.map(|gain| gain > LEAST_GAIN && distance > NEAR_FIELD_LINES) {
                    [true, true] => (powers[0] / gains[0]).min(powers[1] / gains[1]),
                    // On a line of one comb: the other difference holds that comb's ripple too, so nothing is said
                    // here; a tone's skirts beside the line are seen.
                    _ => 0.0,
                }
            })
            .collect();
        Self {
            same,
            turned,
            power,
            count,
        }
    }

    /// Which difference shows a line better.
    fn is_better_turned(&self, line: usize) -> bool {
        let turn = after_a_telegram(line as f64 / self.power.len() as f64);
        let corrected =
            |v: Complex32, gain: Complex64| f64::from(v.norm_sqr()) / gain.norm_sqr().max(1e-9);
        corrected(self.turned[line], 1.0 + turn) < corrected(self.same[line], 1.0 - turn)
    }

    /// Lines that stand out of their surroundings and hold at least this power, strongest first.
    pub fn stray_lines(&self, least: f64) -> Vec<StrayLine> {
        let lines = self.power.len();
        // The front end's band is not flat, so lines are compared with their surroundings.
        let Some(standing_out) = standing_out(&self.power) else {
            return Vec::new();
        };
        let strongest = self.power.iter().copied().fold(0.0, f64::max);
        let least = least * (WINDOW_MEAN * self.count as f64).powi(2);
        // Main lobe of the window: four lines of the unpadded transform to each side.
        let reach = (4.0 * lines as f64 / self.count as f64).ceil() as usize + 1;
        peaks(
            &standing_out,
            reach as isize,
            least.max(BELIEVED * strongest),
            TONES_A_PASS,
        )
        .into_iter()
        .map(|per_value| StrayLine {
            per_value,
            turned: self.is_better_turned(
                (per_value * lines as f64).round().rem_euclid(lines as f64) as usize,
            ),
        })
        .collect()
    }
}

/// A tone's line, and the difference in which it is seen better.
pub struct StrayLine {
    pub per_value: f64,
    pub turned: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    /// A ripple of two telegrams in a row that come at a third of the record, in noise; and noise alone.
    #[test]
    fn a_tag_that_comes_is_left_out_and_noise_is_not() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(11);
        for inverts in [false, true] {
            let mut noise = || -> f32 { StandardNormal.sample(&mut rng) };
            let mut values: Vec<Complex32> = (0..12 * TELEGRAM)
                .map(|_| Complex32::new(noise(), noise()))
                .collect();
            assert_eq!(
                of_coming_and_going(&values, &[]),
                Vec::<Range<usize>>::new()
            );
            let comes = 4 * TELEGRAM;
            for (n, value) in values.iter_mut().enumerate().skip(comes) {
                let half_bit = (n % TELEGRAM / 16) as u32;
                let sign = (half_bit.wrapping_mul(2_654_435_761) >> 30) & 1 == 1;
                let turned = inverts && n / TELEGRAM % 2 == 1;
                value.re += if sign != turned { 3.0 } else { -3.0 };
            }
            let found = of_coming_and_going(&values, &[]);
            let is_left_out = |cell: usize| found.iter().any(|range| range.contains(&cell));
            assert!((comes - TELEGRAM..comes).all(is_left_out), "{found:?}");
            // Beside it a quarter may count that noise alone would not.
            let near = comes - 2 * TELEGRAM..comes + TELEGRAM;
            let is_near = |range: &Range<usize>| near.start <= range.start && range.end <= near.end;
            assert!(found.iter().all(is_near), "{inverts}: {found:?}");
        }
    }
}
