//! When a tag was there: its known waveform against the ripple, a quarter of a telegram at a time.
//!
//! In each block the complex amplitudes of all tags read are fitted together, so that none counts for another. Over the blocks a
//! tag is either there or not, and changes seldom; the likeliest course of both (Viterbi, IEEE Trans. Inf. Theory 13, 1967) has
//! its ends where the ripple begins and ends, within a block where it stands out of the noise there.

use num_complex::{Complex32, Complex64};

use super::attempt::Attempt;
use crate::receiver::dsp::phasor::wide;
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::pulse::Pulse;
use crate::receiver::fold::sums::{BIT, TELEGRAM, signs_along};

/// Cycles in a block: a quarter of a telegram, 7.6 ms.
const CELLS: usize = TELEGRAM / 4;

/// What one change between there and not there costs, natural logarithm of its probability: a stay that is none (two changes) then
/// needs noise of 4.9 standard deviations (√(2·12)), of which a second of blocks holds one in 10^4.
const CHANGE: f64 = -6.0;

/// A tag counts as there from half of its mean ripple on, where it is strong from a quarter: while it comes and goes it is weaker
/// than in between. Six deviations of a block's noise are strong: half of them is passed by noise once in 700 blocks, and one block
/// makes no stay.
const STRONG: f64 = 6.0;

/// Turns of fitting the tags' amplitudes in a block, each with the others' taken off.
const TURNS: usize = 6;

/// Turns of measuring the amplitude where the tag is there and asking anew where that is.
const ROUNDS: usize = 4;

/// A stretch in which a tag was there, with what was measured of its ripple over it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stay {
    /// Its begin, seconds from the first sample.
    pub from_s: f64,
    /// Its end.
    pub to_s: f64,
    /// Rms ripple relative to the field.
    pub depth: f64,
    /// Ripple angle, radians in (−π/2, π/2].
    pub angle: f64,
    /// Eb/N0 of a single telegram's bits, as a ratio.
    pub ebn0: f64,
}

/// Stays of one tag that are nearer than this are one, seconds: a tag that is carried is not away for so short a time, and a reader's
/// pause or the seam of two windows is shorter (common practice, no source).
pub const ONE_STAY_S: f64 = 0.1;

impl Stay {
    /// All of a stretch of seconds, as an attempt measured it.
    pub fn throughout(attempt: &Attempt, (from_s, to_s): (f64, f64)) -> Self {
        Self {
            from_s,
            to_s,
            depth: attempt.depth,
            angle: attempt.angle,
            ebn0: attempt.ebn0,
        }
    }

    /// Its length, seconds.
    pub fn seconds(&self) -> f64 {
        self.to_s - self.from_s
    }

    /// Whether some moment belongs to both.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.from_s < other.to_s && other.from_s < self.to_s
    }

    /// Adds a stay that is one with this one.
    fn extend(&mut self, other: &Self) {
        let (own, more) = (self.seconds().max(1e-9), other.seconds().max(1e-9));
        let mean = |a: f64, b: f64| (a * own + b * more) / (own + more);
        // An axis has no direction: its double has.
        let axis = Complex64::from_polar(own * self.depth, 2.0 * self.angle)
            + Complex64::from_polar(more * other.depth, 2.0 * other.angle);
        self.angle = 0.5 * axis.arg();
        self.depth = mean(self.depth, other.depth);
        self.ebn0 = mean(self.ebn0, other.ebn0);
        self.from_s = self.from_s.min(other.from_s);
        self.to_s = self.to_s.max(other.to_s);
    }
}

/// Puts stays in order, and those together that are one.
pub fn in_order(mut stays: Vec<Stay>) -> Vec<Stay> {
    stays.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let mut all: Vec<Stay> = Vec::new();
    for stay in stays {
        match all.last_mut() {
            Some(last) if stay.from_s - last.to_s < ONE_STAY_S => last.extend(&stay),
            _ => all.push(stay),
        }
    }
    all
}

/// When each of the tags read in a piece was there, in the order of `tags`; at least one stay each.
pub fn stays(piece: &Piece, field_hz: f64, tags: &[Attempt], real: bool) -> Vec<Vec<Stay>> {
    let ripple = &piece.ripple;
    let waves: Vec<Vec<Complex32>> = tags
        .iter()
        .map(|tag| waveform(piece, tag, ripple.len()))
        .collect();
    let blocks: Vec<Block> = (0..ripple.len() / CELLS)
        .map(|block| Block::of(ripple, &waves, block * CELLS))
        .collect();
    let fullness = (2.0 * piece.band_hz / field_hz).clamp(0.01, 1.0);
    let mut left: Vec<f64> = blocks.iter().map(|block| block.left).collect();
    left.sort_by(f64::total_cmp);
    let noise = left.get(left.len() / 2).copied().unwrap_or(0.0);
    // Of complex noise one part lies along the ripple.
    let part = if real { 1.0 } else { 0.5 };
    let cell_s = (piece.to_s - piece.from_s) / ripple.len().max(1) as f64;
    let at = |cell: usize| piece.from_s + cell as f64 * cell_s;
    tags.iter()
        .enumerate()
        .map(|(k, tag)| {
            let whole = (at(tag.span.start), at(tag.span.end));
            let used = tag.span.start.div_ceil(CELLS)..tag.span.end / CELLS;
            let mean = mean_amplitude(&blocks, k, used);
            let along: Vec<f64> = blocks
                .iter()
                .map(|block| (block.amplitudes[k] * mean.conj()).re / mean.norm().max(1e-300))
                .collect();
            let variances: Vec<f64> = blocks
                .iter()
                .map(|block| {
                    let energy = (block.energies[k] * fullness).max(1e-300);
                    // Ripple without noise still has edges between the samples.
                    (part * noise / energy).max(1e-6 * mean.norm_sqr())
                })
                .collect();
            let there = there(&along, &variances, mean.norm());
            let mut found: Vec<Stay> = Vec::new();
            for (from, to) in there {
                let to_cell = if to == blocks.len() {
                    ripple.len()
                } else {
                    to * CELLS
                };
                let here = mean_amplitude(&blocks, k, from..to);
                let share = here / mean;
                if !share.is_finite() {
                    continue;
                }
                // Over a span in which the tag was not all the time its depth is too small.
                let depth = if tag.ideal_edges {
                    here.norm()
                } else {
                    tag.depth * share.norm()
                };
                let angle = tag.angle + if real { 0.0 } else { share.arg() };
                found.push(Stay {
                    from_s: at(from * CELLS),
                    to_s: at(to_cell),
                    depth,
                    angle: 0.5 * Complex64::cis(2.0 * angle).arg(),
                    ebn0: tag.ebn0 * (depth / tag.depth).powi(2),
                });
            }
            if found.is_empty() {
                found.push(Stay::throughout(tag, whole));
            }
            in_order(found)
        })
        .collect()
}

/// The tag's ripple all over the piece, of unit size.
fn waveform(piece: &Piece, tag: &Attempt, length: usize) -> Vec<Complex32> {
    let timing = tag.span.start as f64 + tag.timing;
    let whole = timing.floor();
    // From a boundary before the first cell on.
    let before = whole.max(0.0) as usize / BIT + 4;
    let signs = signs_along(
        &tag.decision.signs,
        tag.inverts,
        -(before as isize),
        length / BIT + before + 4,
    );
    let mut wave = vec![Complex32::default(); length];
    let begin = whole as isize - (before * BIT) as isize;
    Pulse::of(&tag.shape, timing - whole, &piece.edge).add_to(&mut wave, begin, &signs, 1.0);
    wave
}

/// Amplitudes of all tags in one block.
struct Block {
    amplitudes: Vec<Complex64>,
    energies: Vec<f64>,
    /// Mean square of what they leave.
    left: f64,
}

impl Block {
    fn of(ripple: &[Complex32], waves: &[Vec<Complex32>], from: usize) -> Self {
        let cells = from..from + CELLS;
        let ripple = &ripple[cells.clone()];
        let product = |a: &[Complex32], b: &[Complex32]| -> Complex64 {
            let products = a.iter().zip(b).map(|(a, b)| wide(*a) * wide(*b).conj());
            products.sum()
        };
        let tags = waves.len();
        let waves: Vec<&[Complex32]> = waves.iter().map(|wave| &wave[cells.clone()]).collect();
        let shown: Vec<Complex64> = waves.iter().map(|wave| product(ripple, wave)).collect();
        let shared: Vec<Vec<Complex64>> = waves
            .iter()
            .map(|one| waves.iter().map(|other| product(other, one)).collect())
            .collect();
        let mut amplitudes = vec![Complex64::default(); tags];
        for _ in 0..if tags > 1 { TURNS } else { 1 } {
            for k in 0..tags {
                let others: Complex64 = (0..tags)
                    .filter(|other| *other != k)
                    .map(|other| amplitudes[other] * shared[k][other])
                    .sum();
                amplitudes[k] = (shown[k] - others) / shared[k][k].re.max(1e-300);
            }
        }
        let power: f64 = ripple.iter().map(|value| f64::from(value.norm_sqr())).sum();
        let explained: f64 = amplitudes
            .iter()
            .zip(&shown)
            .map(|(amplitude, shown)| (amplitude.conj() * shown).re)
            .sum();
        Self {
            amplitudes,
            energies: (0..tags).map(|k| shared[k][k].re).collect(),
            left: (power - explained).max(0.0) / CELLS as f64,
        }
    }
}

fn mean_amplitude(blocks: &[Block], tag: usize, used: std::ops::Range<usize>) -> Complex64 {
    let used = blocks.get(used).unwrap_or_default();
    let energy: f64 = used.iter().map(|block| block.energies[tag]).sum();
    let sum: Complex64 = used
        .iter()
        .map(|block| block.amplitudes[tag] * block.energies[tag])
        .sum();
    sum / energy.max(1e-300)
}

/// Blocks (first, and the one after the last) in which a ripple of about this amplitude is there.
fn there(along: &[f64], variances: &[f64], amplitude: f64) -> Vec<(usize, usize)> {
    let mut amplitude = amplitude;
    let mut found = Vec::new();
    for _ in 0..ROUNDS {
        let gains: Vec<f64> = along
            .iter()
            .zip(variances)
            .map(|(&along, &variance)| {
                let least = (STRONG * variance.sqrt()).clamp(0.5 * amplitude, amplitude);
                least * (along - 0.5 * least) / variance
            })
            .collect();
        found = likeliest_course(&gains);
        let count: usize = found.iter().map(|(from, to)| to - from).sum();
        let inside = found.iter().flat_map(|&(from, to)| &along[from..to]);
        let mean = inside.sum::<f64>() / count.max(1) as f64;
        if count == 0 || (mean / amplitude - 1.0).abs() < 0.01 {
            break;
        }
        amplitude = mean;
    }
    found
}

/// Stretches whose gains are worth two changes each; none at the ends.
fn likeliest_course(gains: &[f64]) -> Vec<(usize, usize)> {
    // Best sum so far with the tag away and there, and from which of the two each came.
    let (mut away, mut there) = (0.0f64, 0.0f64);
    let mut came: Vec<[bool; 2]> = Vec::with_capacity(gains.len());
    for (index, gain) in gains.iter().enumerate() {
        let change = if index == 0 {
            f64::NEG_INFINITY
        } else {
            CHANGE
        };
        let left = there + change > away;
        let arrived = away + change > there;
        let next_away = if left { there + change } else { away };
        let next_there = if arrived { away + change } else { there } + gain;
        came.push([left, !arrived]);
        (away, there) = (next_away, next_there);
    }
    let mut now_there = there > away;
    let mut found: Vec<(usize, usize)> = Vec::new();
    for index in (0..gains.len()).rev() {
        if now_there {
            match found.last_mut() {
                Some(last) if last.0 == index + 1 => last.0 = index,
                _ => found.push((index, index + 1)),
            }
        }
        now_there = came[index][usize::from(now_there)];
    }
    found.reverse();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two stretches with a gap that is long enough, one that is not, and a spike that pays for no change.
    #[test]
    fn the_course_changes_where_it_pays() {
        let mut gains = vec![-2.0; 45];
        gains[5..15].fill(2.0);
        gains[25..45].fill(2.0);
        gains[30] = -3.0;
        // Going on through the gap costs 9·2 − 5, two changes 12.
        gains[20] = 5.0;
        assert_eq!(likeliest_course(&gains), [(5, 15), (25, 45)]);
        assert_eq!(likeliest_course(&[]), []);
        assert_eq!(likeliest_course(&[1.0]), [(0, 1)]);
    }

    #[test]
    fn stays_that_are_near_are_one() {
        let stay = |from_s: f64, to_s: f64, angle: f64| Stay {
            from_s,
            to_s,
            depth: 0.01,
            angle,
            ebn0: 10.0,
        };
        let all = in_order(vec![
            stay(2.0, 3.0, 1.5),
            stay(0.0, 1.0, 0.0),
            stay(3.05, 4.0, -1.5),
        ]);
        assert_eq!(all.len(), 2);
        assert_eq!((all[1].from_s, all[1].to_s), (2.0, 4.0));
        // Either side of 90°, not 0°.
        assert!(all[1].angle.abs() > 1.5, "{}", all[1].angle);
    }
}
