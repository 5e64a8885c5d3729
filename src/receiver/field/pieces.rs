//! Field cycles → pieces: stretches of steady field, with the field divided out.

use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

use num_complex::{Complex32, Complex64};

use super::clock_moves::Bend;
use super::hills::Hills;
use super::interference::{StrayTone, remove_tones};
use super::track::{BLOCK, block_means, phase_advance, track};
use crate::receiver::dsp::phasor::{Oscillator, single, size};
use crate::receiver::dsp::retime::retime;
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::front::cycles::Cycles;
use crate::receiver::front::edge::Edge;

/// Cycles smoothed before deciding whether the field is on.
const SMOOTH: usize = 16;

/// The field is on where its level is above this share of the upper level.
const ON_SHARE: f64 = 0.5;

/// Levels in a row that a brief field lasts: 64 cycles, longer than an impulse rings in an antenna of Q 100.
const LASTING: usize = 4;
/// … and how far it is above all but the highest levels.
const BRIEF: f32 = 3.0;

/// A field is level where it stays within this share of its upper level; one that beats with a second field of a sixth of
/// its strength or more does so for a third of the time at most (derived).
const FLAT: f32 = 0.04;
/// See [`FLAT`]; the rest is the antenna's ring-up.
const MOSTLY: f64 = 0.7;

/// A stretch of field shorter than this holds no usable part of a telegram: 16 bits.
const SHORTEST: usize = 512;

/// Left out after the field comes on: 1.5 ms, seven time constants of an antenna of Q 90, by when its ring-up is 1e-3.
const RING_UP: usize = 201;
/// The field has come on where its level is above this share of the lowest levels later.
const SETTLED: f32 = 0.97;
/// Left out before it goes off.
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
    /// The piece begins where the record was interrupted while the field was on.
    pub after_gap: bool,
    /// Field over the piece.
    pub field: FieldFit,
    /// Steady tones removed, strongest first.
    pub tones: Vec<StrayTone>,
    /// Band the values hold on each side of the field, Hz.
    pub band_hz: f64,
    /// What the receiver's band makes of a sudden change of the ripple.
    pub edge: Arc<Edge>,
    /// Impulses that were cut out.
    pub impulses: usize,
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

/// The field's level over a few cycles at a time, and the level that all but the highest of them stay below: a reader that
/// saves power has its field on for a few parts in a hundred.
fn levels(values: &[Complex32]) -> Option<(Vec<f32>, f32)> {
    let smoothed: Vec<f32> = values
        .chunks(SMOOTH)
        .map(|chunk| chunk.iter().map(|v| size(*v)).sum::<f32>() / chunk.len() as f32)
        .collect();
    let mut sorted = smoothed.clone();
    let place = sorted.len().checked_sub(1)? * 49 / 50;
    let upper = *sorted.select_nth_unstable_by(place, f32::total_cmp).1;
    // What lasts for half a millisecond and is far above that is the field, and the rest is noise.
    let lasting = smoothed
        .windows(LASTING)
        .map(|some| some.iter().copied().fold(f32::INFINITY, f32::min))
        .fold(0.0, f32::max);
    let upper = if lasting > BRIEF * upper {
        lasting
    } else {
        upper
    };
    Some((smoothed, upper))
}

/// Whether one field is switched on and off, level while it is on: lines beside it are then its own. A second field would
/// beat with it.
pub fn is_one_switched_field(values: &[Complex32]) -> bool {
    let Some((levels, upper)) = levels(values) else {
        return false;
    };
    let count = |test: &dyn Fn(f32) -> bool| levels.iter().filter(|level| test(**level)).count();
    let on = count(&|level| level > upper * ON_SHARE as f32);
    let level = count(&|level| (level / upper - 1.0).abs() < FLAT);
    on < levels.len() && level as f64 > MOSTLY * on as f64
}

/// Whether the record begins while the field comes on: what is left of an antenna's ring-up buries a shallow ripple for many bits.
fn rises_at_first(values: &[Complex32]) -> bool {
    // Two telegrams hold a ripple's lower state often enough.
    let Some((levels, upper)) = levels(&values[..values.len().min(2 * TELEGRAM)]) else {
        return false;
    };
    let on = |level: &f32| *level > ON_SHARE as f32 * upper;
    let mut settled: Vec<f32> = levels.iter().copied().filter(on).collect();
    // A ripple has its lower state again and again.
    let place = settled.len() / 50;
    match levels.first() {
        Some(first) if on(first) => {
            let lower = *settled.select_nth_unstable_by(place, f32::total_cmp).1;
            *first < SETTLED * lower
        }
        _ => false,
    }
}

/// Stretches where the field is on long enough for a part of a telegram, as ranges of values. One range where the field never
/// pauses.
pub fn on_ranges(cycles: &Cycles) -> Vec<(usize, usize)> {
    let mut ranges = all_on_ranges(cycles);
    ranges.retain(|(from, to)| to - from >= SHORTEST);
    ranges
}

/// Stretches where the field is on, however brief.
pub fn all_on_ranges(cycles: &Cycles) -> Vec<(usize, usize)> {
    let values = &cycles.values;
    let Some((smoothed, upper)) = levels(values) else {
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
    ranges
}

/// A stretch of field between the gaps of the record that break it: begin, end, whether it begins behind one.
fn between_gaps(
    cycles: &Cycles,
    from: usize,
    to: usize,
) -> impl Iterator<Item = (usize, usize, bool)> {
    let breaks: Vec<(usize, usize)> = cycles
        .gaps
        .iter()
        .filter(|gap| gap.breaks() && gap.from > from && gap.to < to)
        .map(|gap| (gap.from, gap.to))
        .collect();
    let begins =
        std::iter::once((from, false)).chain(breaks.clone().into_iter().map(|g| (g.1, true)));
    let ends: Vec<usize> = breaks.iter().map(|g| g.0).chain([to]).collect();
    begins
        .zip(ends)
        .map(|((from, after_gap), to)| (from, to, after_gap))
}

/// Where in a stretch the field was put in the place of what the record lost, from the stretch's begin.
fn mended_within(cycles: &Cycles, stretch: Range<usize>) -> Vec<Range<usize>> {
    let gaps = cycles.gaps.iter();
    gaps.map(|gap| gap.from.max(stretch.start)..gap.to.min(stretch.end))
        .filter(|range| !range.is_empty())
        .map(|range| range.start - stretch.start..range.end - stretch.start)
        .collect()
}

/// Pieces of a capture with a carrier: bursts found, the field tracked and divided out, the ripple put onto the
/// field's own cycles.
pub fn with_carrier(cycles: &Cycles) -> Vec<Piece> {
    bursts(cycles, remove_tones)
}

/// The same with all tones left in: a ripple that comes and goes has lines beside those of one that repeats, which pass for tones.
pub fn with_carrier_and_tones(cycles: &Cycles) -> Vec<Piece> {
    bursts(cycles, |_, _| (Vec::new(), None))
}

type Tones = (Vec<StrayTone>, Option<Hills>);

fn bursts(
    cycles: &Cycles,
    take_tones: impl Fn(&mut [Complex32], &[Range<usize>]) -> Tones,
) -> Vec<Piece> {
    let ranges = on_ranges(cycles);
    let rises = rises_at_first(&cycles.values);
    let edge = Arc::new(cycles.edge.clone());
    let whole = cycles.values.len();
    ranges
        .iter()
        .flat_map(|&(from, to)| {
            let comes_on = from > 0 || rises;
            let inner_from = if comes_on { from + RING_UP } else { from };
            let inner_to = if to < whole { to - RING_DOWN } else { to };
            between_gaps(cycles, inner_from, inner_to).map(move |span| (from, span))
        })
        .filter_map(|(from, (inner_from, inner_to, after_gap))| {
            if inner_to < inner_from + SHORTEST {
                return None;
            }
            let mut values = cycles.values[inner_from..inner_to].to_vec();
            // A field that drifts is put straight first, onto the values' own clock: elsewhere, or spread over many lines, it would pass for tones.
            let bend = Bend::of(&values);
            if let Some(bend) = &bend {
                values = straightened(values, bend);
            }
            let (tones, hills) =
                take_tones(&mut values, &mended_within(cycles, inner_from..inner_to));
            let (mut ripple, field) = divide_out(values, cycles.field_hz, bend.as_ref());
            let impulses = blank_impulses(&mut ripple);
            if let Some(hills) = hills {
                hills.weigh(&mut ripple);
            }
            let time = |index: usize| (cycles.first + index) as f64 / cycles.field_hz;
            Some(Piece {
                ripple,
                from_s: time(inner_from),
                to_s: time(inner_to),
                after_start: from > 0 && !after_gap,
                after_gap,
                field,
                tones,
                band_hz: cycles.band_hz,
                edge: Arc::clone(&edge),
                impulses,
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
        after_gap: false,
        field: FieldFit {
            amplitude: mean.abs(),
            ..FieldFit::default()
        },
        tones: Vec::new(),
        band_hz: cycles.band_hz,
        edge: Arc::new(cycles.edge.clone()),
        impulses: 0,
    }]
}

/// Ripple values this many times the median size are an impulse's: of Gaussian noise one in 10^17 is, …
const IMPULSE: f32 = 8.0;
/// … and this many times what single precision rounds a field to.
const ROUNDED: f32 = 64.0 * f32::EPSILON;

/// Values around an impulse that its pulse through the front end's filter reaches.
const IMPULSE_REACH: usize = 6;

/// What is buried for longer than this (cycles) is no impulse but a ripple that comes and goes: a tag carried past.
const LONGEST_IMPULSE: usize = 48;

/// Sets the ripple to nothing where an impulse buries it; returns the number of impulses.
fn blank_impulses(ripple: &mut [Complex32]) -> usize {
    let mut sizes: Vec<f32> = ripple.iter().map(|r| size(*r)).collect();
    if sizes.is_empty() {
        return 0;
    }
    let place = sizes.len() / 2;
    let usual = *sizes.select_nth_unstable_by(place, f32::total_cmp).1;
    let threshold = (IMPULSE * usual).max(ROUNDED);
    let hit = (0..ripple.len()).filter(|&i| size(ripple[i]) > threshold);
    let mut spans: Vec<(usize, usize)> = Vec::new();
    for i in hit {
        match spans.last_mut() {
            Some(last) if i - last.1 <= 2 * IMPULSE_REACH => last.1 = i,
            _ => spans.push((i, i)),
        }
    }
    spans.retain(|(from, to)| to - from <= LONGEST_IMPULSE);
    for &(from, to) in &spans {
        let upto = (to + IMPULSE_REACH + 1).min(ripple.len());
        ripple[from.saturating_sub(IMPULSE_REACH)..upto].fill(Complex32::default());
    }
    spans.len()
}

/// Takes a drift from the phase of the field, and from its time: the telegrams of a tag lie on each other in the field's cycles, and
/// in those of the clock they would pass for tones that do not repeat.
fn straightened(mut values: Vec<Complex32>, bend: &Bend) -> Vec<Complex32> {
    for (index, value) in values.iter_mut().enumerate() {
        *value *= single(Complex64::cis(-bend.at(index as f64)));
    }
    retime(&values, |i| bend.at(i as f64) / TAU)
}

/// Divides the field out of its values, of which `bend` was taken already.
fn divide_out(
    mut values: Vec<Complex32>,
    field_hz: f64,
    bend: Option<&Bend>,
) -> (Vec<Complex32>, FieldFit) {
    let slope = phase_slope(&values);
    Oscillator::new(-slope / TAU).turn(&mut values, Complex64::ONE);
    let track = track(&values);
    track.take_off(&mut values);
    let mut ripple = values;

    // Cycles by which the field runs ahead of the values' clock: the tag divides the field, so its time is the
    // field's.
    let (fine_slope, phases) = track.line();
    let ahead: Vec<f64> = phases
        .iter()
        .enumerate()
        .map(|(k, phase)| (phase + slope * track.middle(k)) / TAU)
        .collect();
    let middle = ahead[ahead.len() / 2];
    if ahead.iter().any(|a| (a - middle).abs() > DRIFT_CYCLES) {
        ripple = retime(&ripple, |i| {
            let (k, share) = track.place(i);
            let next = (k + 1).min(ahead.len() - 1);
            ahead[k] + share * (ahead[next] - ahead[k])
        });
    }
    let amplitudes = track.levels();
    let mean = amplitudes.iter().sum::<f64>() / amplitudes.len() as f64;
    let swing = amplitudes
        .iter()
        .map(|a| (a - mean).abs())
        .fold(0.0, f64::max)
        / mean.max(f64::MIN_POSITIVE);
    let bent_slope = bend.map_or(0.0, |bend| bend.slope(ripple.len()));
    let frequency_hz = field_hz * (1.0 + (slope + fine_slope + bent_slope) / TAU);
    let blocks = ripple.len() as f64 / BLOCK as f64;
    let fit = FieldFit {
        frequency_hz,
        amplitude: mean,
        level_swing: swing,
        weight: blocks.powi(3) * mean * mean,
    };
    (ripple, fit)
}

/// Phase advance per value, radians.
fn phase_slope(values: &[Complex32]) -> f64 {
    let block = BLOCK.min(values.len().max(2) / 2).max(1);
    phase_advance(&block_means(values, block)) / block as f64
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
                    TAU * 3.7 * f64::from(i) / field_hz,
                ))
            })
            .collect();
        let cycles = Cycles {
            values,
            first: 10,
            field_hz,
            band_hz: 30e3,
            edge: Edge::ideal(),
            gaps: Vec::new(),
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
            gaps: Vec::new(),
        };
        let pieces = with_carrier(&cycles);
        assert_eq!(pieces.len(), 4);
        assert!(!pieces[0].after_start && pieces[1].after_start);
    }
}
