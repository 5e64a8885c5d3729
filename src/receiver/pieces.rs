//! Field cycles → pieces: stretches of steady field, with the field divided out.

use std::sync::Arc;

use num_complex::{Complex32, Complex64};

use super::edge::Edge;
use super::front::Cycles;
use super::interference::{StrayTone, remove_tones};

/// Cycles per block of the field tracker: four bits, 0.95 ms.
const BLOCK: usize = 128;

/// Blocks the tracker averages over: one telegram, whose mean ripple is nil.
const TRACK_BLOCKS: usize = 32;

/// Cycles smoothed before deciding whether the field is on.
const SMOOTH: usize = 16;

/// The field is on where its level is above this share of the upper level.
const ON_SHARE: f64 = 0.5;

/// A stretch of field shorter than this holds no usable part of a telegram: 16 bits.
const SHORTEST: usize = 512;

/// Left out after the field comes on: 1 ms, seven time constants of an antenna of Q 60, by when its ring-up is 1e-3.
const RING_UP: usize = 134;

/// Left out before the field goes off.
const RING_DOWN: usize = 16;

/// A drift of the field's phase by less than this share of a cycle moves nothing that matters: 1/50 of a cycle is
/// 1/800 of a half bit.
const DRIFT_CYCLES: f64 = 0.02;

/// A stretch of steady field with the ripple in it, relative to the field.
#[derive(Clone, Debug)]
pub struct Piece {
    /// r/A0 at each field cycle. Envelopes without a usable level keep their own unit.
    pub ripple: Vec<Complex32>,
    /// Time of the first value and of the end, seconds from the first sample.
    pub from_s: f64,
    /// End of the piece.
    pub to_s: f64,
    /// The piece begins where the field came on within the capture.
    pub after_start: bool,
    /// Field over the piece.
    pub field: FieldFit,
    /// Steady tones taken off, strongest first.
    pub tones: Vec<StrayTone>,
    /// Band the values hold on each side of the field, Hz.
    pub band_hz: f64,
    /// What the receiver's band makes of a sudden change of the ripple.
    pub edge: Arc<Edge>,
}

/// The field over one piece.
#[derive(Clone, Copy, Debug, Default)]
pub struct FieldFit {
    /// Frequency, Hz; of envelopes 0.
    pub frequency_hz: f64,
    /// Mean amplitude (peak).
    pub amplitude: f64,
    /// Largest departure of the tracked level from its mean, as a share of it.
    pub level_swing: f64,
    /// Weight of the frequency: blocks³·amplitude², what the inverse variance of a slope goes with.
    pub weight: f64,
}

/// Stretches where the field is on, as ranges of values. One range where the field never pauses.
pub fn on_ranges(cycles: &Cycles) -> Vec<(usize, usize)> {
    let values = &cycles.values;
    let smoothed: Vec<f32> = values
        .chunks(SMOOTH)
        .map(|chunk| chunk.iter().map(|v| v.norm()).sum::<f32>() / chunk.len() as f32)
        .collect();
    let mut sorted = smoothed.clone();
    sorted.sort_by(f32::total_cmp);
    let Some(&upper) = sorted.get(sorted.len().saturating_sub(1) * 9 / 10) else {
        return Vec::new();
    };
    let threshold = upper * ON_SHARE as f32;
    let mut ranges = Vec::new();
    let mut begun = None;
    for (i, &level) in smoothed.iter().chain([&0.0]).enumerate() {
        match (begun, level > threshold) {
            (None, true) => begun = Some(i),
            (Some(from), false) => {
                ranges.push((from * SMOOTH, (i * SMOOTH).min(values.len())));
                begun = None;
            }
            _ => {}
        }
    }
    ranges.retain(|(from, to)| to - from >= SHORTEST);
    ranges
}

/// Pieces of a capture with a carrier: bursts found, the field tracked and divided out, the ripple put onto the
/// field's own cycles.
pub fn with_carrier(cycles: &Cycles) -> Vec<Piece> {
    let ranges = on_ranges(cycles);
    let edge = Arc::new(cycles.edge.clone());
    let whole = cycles.values.len();
    ranges
        .iter()
        .filter_map(|&(from, to)| {
            let inner_from = if from > 0 { from + RING_UP } else { from };
            let inner_to = if to < whole { to - RING_DOWN } else { to };
            if inner_to < inner_from + SHORTEST {
                return None;
            }
            let mut values = cycles.values[inner_from..inner_to].to_vec();
            let tones = remove_tones(&mut values);
            let (mut ripple, field) = divide_out(&values, cycles.field_hz);
            blank_impulses(&mut ripple);
            let time = |index: usize| (cycles.first + index) as f64 / cycles.field_hz;
            Some(Piece {
                ripple,
                from_s: time(inner_from),
                to_s: time(inner_to),
                after_start: from > 0,
                field,
                tones,
                band_hz: cycles.band_hz,
                edge: Arc::clone(&edge),
            })
        })
        .collect()
}

/// The one piece of a capture without a carrier. `level` (the mean) is divided out where it is the rectified field;
/// AC-coupled captures have none and keep their unit.
pub fn without_carrier(cycles: &Cycles, has_level: bool) -> Vec<Piece> {
    if cycles.values.len() < SHORTEST {
        return Vec::new();
    }
    let track = track(&cycles.values);
    let mean =
        cycles.values.iter().map(|v| f64::from(v.re)).sum::<f64>() / cycles.values.len() as f64;
    let scale = if has_level && mean != 0.0 {
        1.0 / mean
    } else {
        1.0
    };
    let ripple = cycles
        .values
        .iter()
        .enumerate()
        .map(|(i, v)| Complex32::new(((f64::from(v.re) - track.at(i).re) * scale) as f32, 0.0))
        .collect();
    let time = |index: usize| (cycles.first + index) as f64 / cycles.field_hz;
    vec![Piece {
        ripple,
        from_s: time(0),
        to_s: time(cycles.values.len()),
        after_start: false,
        field: FieldFit {
            amplitude: mean.abs(),
            ..FieldFit::default()
        },
        tones: Vec::new(),
        band_hz: cycles.band_hz,
        edge: Arc::new(cycles.edge.clone()),
    }]
}

/// Ripple values this many times the median size are an impulse's: of Gaussian noise one in 10^17 is.
const IMPULSE: f32 = 8.0;

/// Values around an impulse that its pulse through the front end's filter reaches.
const IMPULSE_REACH: usize = 6;

/// Sets the ripple to nothing where an impulse buries it.
fn blank_impulses(ripple: &mut [Complex32]) {
    let mut sizes: Vec<f32> = ripple.iter().map(|r| r.norm()).collect();
    if sizes.is_empty() {
        return;
    }
    let middle = sizes.len() / 2;
    let threshold = IMPULSE * *sizes.select_nth_unstable_by(middle, f32::total_cmp).1;
    let hit: Vec<usize> = (0..ripple.len())
        .filter(|&i| ripple[i].norm() > threshold)
        .collect();
    for i in hit {
        let upto = (i + IMPULSE_REACH + 1).min(ripple.len());
        ripple[i.saturating_sub(IMPULSE_REACH)..upto].fill(Complex32::default());
    }
}

fn divide_out(values: &[Complex32], field_hz: f64) -> (Vec<Complex32>, FieldFit) {
    let slope = phase_slope(values);
    let turned: Vec<Complex32> = values
        .iter()
        .enumerate()
        .map(|(i, &v)| v * single(Complex64::cis(-slope * i as f64)))
        .collect();
    let track = track(&turned);
    let mut ripple: Vec<Complex32> = turned
        .iter()
        .enumerate()
        .map(|(i, &v)| v * single(1.0 / track.at(i)) - 1.0)
        .collect();

    // Cycles by which the field runs ahead of the values' clock: the tag divides the field, so its time is the
    // field's.
    let (fine_slope, phases) = track.line();
    let ahead: Vec<f64> = phases
        .iter()
        .enumerate()
        .map(|(k, phase)| (phase + slope * track.middle(k)) / std::f64::consts::TAU)
        .collect();
    let middle = ahead[ahead.len() / 2];
    if ahead.iter().any(|a| (a - middle).abs() > DRIFT_CYCLES) {
        ripple = retime(&ripple, |i| {
            let (k, share) = track.place(i);
            let next = (k + 1).min(ahead.len() - 1);
            ahead[k] + share * (ahead[next] - ahead[k])
        });
    }
    let amplitudes: Vec<f64> = track.nodes.iter().map(|node| node.norm()).collect();
    let mean = amplitudes.iter().sum::<f64>() / amplitudes.len() as f64;
    let swing = amplitudes
        .iter()
        .map(|a| (a - mean).abs())
        .fold(0.0, f64::max)
        / mean.max(f64::MIN_POSITIVE);
    let frequency_hz = field_hz * (1.0 + (slope + fine_slope) / std::f64::consts::TAU);
    let blocks = values.len() as f64 / BLOCK as f64;
    let fit = FieldFit {
        frequency_hz,
        amplitude: mean,
        level_swing: swing,
        weight: blocks.powi(3) * mean * mean,
    };
    (ripple, fit)
}

/// Phase advance per value, radians: least-squares slope through the unwrapped phases of block means.
fn phase_slope(values: &[Complex32]) -> f64 {
    let block = BLOCK.min(values.len().max(2) / 2).max(1);
    let means = block_means(values, block);
    if means.len() < 2 {
        return 0.0;
    }
    // A first guess from neighbouring blocks keeps the unwrapping from slipping.
    let advance: Complex64 = means.windows(2).map(|pair| pair[1] * pair[0].conj()).sum();
    let guess = advance.arg();
    let mut phases = Vec::with_capacity(means.len());
    let mut turned = 0.0;
    for (k, mean) in means.iter().enumerate() {
        let phase = (mean * Complex64::cis(-guess * k as f64)).arg();
        if let Some(&last) = phases.last() {
            let step: f64 = phase + turned - last;
            turned -= std::f64::consts::TAU * (step / std::f64::consts::TAU).round();
        }
        phases.push(phase + turned);
    }
    (guess + slope_of(&phases)) / block as f64
}

fn slope_of(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    if values.len() < 2 {
        return 0.0;
    }
    let middle = 0.5 * (n - 1.0);
    let along: f64 = values
        .iter()
        .enumerate()
        .map(|(k, v)| (k as f64 - middle) * v)
        .sum();
    along * 12.0 / (n * (n * n - 1.0))
}

fn block_means(values: &[Complex32], block: usize) -> Vec<Complex64> {
    values
        .chunks_exact(block)
        .map(|chunk| {
            chunk
                .iter()
                .map(|v| Complex64::new(v.re.into(), v.im.into()))
                .sum::<Complex64>()
                / block as f64
        })
        .collect()
}

/// The slowly changing field: a straight line through each point's surroundings, one node a block.
struct Track {
    nodes: Vec<Complex64>,
    block: usize,
}

fn track(values: &[Complex32]) -> Track {
    let block = BLOCK.min(values.len().max(1));
    let means = block_means(values, block);
    let count = means.len();
    // Below three telegrams there is too little to tell drift from ripple: one line through everything.
    let window = if count >= 3 * TRACK_BLOCKS {
        TRACK_BLOCKS
    } else {
        count
    };
    let nodes = (0..count)
        .map(|k| {
            let from = k.saturating_sub(window / 2).min(count - window);
            line_at(&means[from..from + window], (k - from) as f64)
        })
        .collect();
    Track { nodes, block }
}

/// Value at `place` of the least-squares line through `values` at 0, 1, 2 …
fn line_at(values: &[Complex64], place: f64) -> Complex64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<Complex64>() / n;
    if values.len() < 3 {
        return mean;
    }
    let middle = 0.5 * (n - 1.0);
    let slope = values
        .iter()
        .enumerate()
        .map(|(k, v)| v * (k as f64 - middle))
        .sum::<Complex64>()
        * (12.0 / (n * (n * n - 1.0)));
    mean + slope * (place - middle)
}

impl Track {
    fn middle(&self, node: usize) -> f64 {
        (node as f64 + 0.5) * self.block as f64 - 0.5
    }

    /// Node before a value and how far it lies towards the next; beyond the ends the outer line goes on.
    fn place(&self, index: usize) -> (usize, f64) {
        let x = (index as f64 + 0.5) / self.block as f64 - 0.5;
        let last = self.nodes.len().saturating_sub(2);
        let node = (x.max(0.0) as usize).min(last);
        (node, x - node as f64)
    }

    fn at(&self, index: usize) -> Complex64 {
        let (node, share) = self.place(index);
        match self.nodes.get(node + 1) {
            Some(next) => self.nodes[node] + share * (next - self.nodes[node]),
            None => self.nodes[node],
        }
    }

    /// Slope (radians a value) of the line through the nodes' unwrapped phases, and the phases.
    fn line(&self) -> (f64, Vec<f64>) {
        let mut phases: Vec<f64> = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            let phase = node.arg();
            let turns = phases
                .last()
                .map_or(0.0, |last| ((phase - last) / std::f64::consts::TAU).round());
            phases.push(phase - turns * std::f64::consts::TAU);
        }
        (slope_of(&phases) / self.block as f64, phases)
    }
}

/// Half width of the interpolator, and its positions per value.
const REACH: isize = 6;
const POSITIONS: usize = 64;

/// Evaluates `values` at i − ahead(i): where the field has run ahead, cycle i came earlier.
///
/// Windowed sinc over 12 values; the values hold nothing above half their rate less a quarter, where it is flat to
/// 0.1 %.
pub fn retime(values: &[Complex32], ahead: impl Fn(usize) -> f64) -> Vec<Complex32> {
    let width = 2 * REACH as usize;
    let table: Vec<f32> = (0..=POSITIONS)
        .flat_map(|position| {
            let shift = position as f64 / POSITIONS as f64;
            let raw: Vec<f64> = (0..width)
                .map(|k| {
                    let x = k as f64 - (REACH - 1) as f64 - shift;
                    let window = (0.5 * std::f64::consts::PI * x / REACH as f64)
                        .cos()
                        .max(0.0)
                        .powi(2);
                    let angle = std::f64::consts::PI * x;
                    window
                        * if angle.abs() < 1e-12 {
                            1.0
                        } else {
                            angle.sin() / angle
                        }
                })
                .collect();
            let sum: f64 = raw.iter().sum();
            raw.into_iter().map(move |tap| (tap / sum) as f32)
        })
        .collect();
    let count = values.len();
    let mut shifted = Vec::with_capacity(count);
    for i in 0..count {
        let place = i as f64 - ahead(i);
        let whole = place.floor();
        let position = ((place - whole) * POSITIONS as f64).round() as usize;
        let begin = whole as isize - (REACH - 1);
        let taps = &table[position * width..(position + 1) * width];
        let mut sum = Complex32::default();
        for (k, tap) in taps.iter().enumerate() {
            let at = begin + k as isize;
            if at >= 0 && (at as usize) < count {
                sum += values[at as usize] * *tap;
            }
        }
        shifted.push(sum);
    }
    shifted
}

fn single(value: Complex64) -> Complex32 {
    Complex32::new(value.re as f32, value.im as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A steady field 3.7 Hz off the values' rate: the offset is measured and the rest is nothing.
    #[test]
    fn an_offset_field_divides_out() {
        let field_hz = 134_200.0;
        let values = (0..40_000)
            .map(|i| {
                single(Complex64::from_polar(
                    0.5,
                    std::f64::consts::TAU * 3.7 * f64::from(i) / field_hz,
                ))
            })
            .collect();
        let cycles = Cycles {
            values,
            first: 10,
            field_hz,
            band_hz: 30e3,
            edge: Edge::ideal(),
        };
        let pieces = with_carrier(&cycles);
        assert_eq!(pieces.len(), 1);
        assert!(
            (pieces[0].field.frequency_hz - field_hz - 3.7).abs() < 1e-4,
            "{:?}",
            pieces[0].field
        );
        assert!((pieces[0].field.amplitude - 0.5).abs() < 1e-4);
        assert!(pieces[0].ripple.iter().all(|r| r.norm() < 1e-3));
    }

    #[test]
    fn pauses_split_the_field_into_pieces() {
        let values = (0..30_000)
            .map(|i| Complex32::new(if i % 8000 < 6000 { 1.0 } else { 0.01 }, 0.0))
            .collect();
        let cycles = Cycles {
            values,
            first: 0,
            field_hz: 134_200.0,
            band_hz: 30e3,
            edge: Edge::ideal(),
        };
        let pieces = with_carrier(&cycles);
        assert_eq!(pieces.len(), 4);
        assert!(!pieces[0].after_start && pieces[1].after_start);
    }

    #[test]
    fn retiming_moves_a_slow_wave_by_what_is_asked() {
        let wave = |x: f64| Complex64::cis(0.3 * x);
        let values: Vec<Complex32> = (0..500).map(|i| single(wave(f64::from(i)))).collect();
        let moved = retime(&values, |_| 0.4);
        for (i, value) in moved.iter().enumerate().skip(10).take(480) {
            assert!((value - single(wave(i as f64 - 0.4))).norm() < 3e-3, "{i}");
        }
    }
}
