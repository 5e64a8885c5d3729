//! The spectrum around the field and the lines found in it.

use num_complex::Complex32;

use crate::receiver::{Samples, Spectrum, TELEGRAM, spectrum};

use super::View;
use super::untouched::{second_field, with_second_field};

/// Values a transform: one telegram, so that the tag's lines run together and what remains narrow is something else.
const LENGTH: usize = TELEGRAM;
/// Most transforms averaged: beyond 100 the curve is smooth to half a decibel.
const MOST: usize = 100;
/// The window spreads a line over ±4 lines of the transform.
const SPREAD: f64 = 4.0;
/// Lines named at most.
const NAMED: usize = 4;
/// The analysis window is two lines wide to noise (Harris, Proc. IEEE 66(1), 1978).
const WINDOW_LINES: f64 = 2.0;

/// Power around the field.
pub(super) struct Around {
    /// Hz from the field (from 0 without a carrier), and dB relative to the field.
    pub points: Vec<(f64, f64)>,
    /// Lines that are not the tag's nor the field: Hz from the field and dB.
    pub lines: Vec<(f64, f64)>,
    /// The strongest line where it lies too near to the field to be told from it: Hz from the field and dB.
    pub merged: Option<(f64, f64)>,
    /// Width over which noise is summed in each point, Hz.
    pub resolution_hz: f64,
}

/// Averages the spectrum within ±`reach_hz`; `None` where there are too few values.
pub(super) fn around(view: &View<'_>, reach_hz: f64) -> Option<Around> {
    let seen = view.reception.seen.as_ref()?;
    let put_back = with_second_field(view);
    let cycles = put_back.as_ref().unwrap_or(&seen.cycles);
    let index = |s: f64| ((s * cycles.field_hz).round() as usize).saturating_sub(cycles.first);
    let ranges: Vec<(usize, usize)> = if seen.pieces.is_empty() {
        vec![(0, cycles.values.len())]
    } else {
        let piece_range = |p: &crate::receiver::Piece| (index(p.from_s), index(p.to_s));
        seen.pieces.iter().map(piece_range).collect()
    };
    let stretches = ranges
        .iter()
        .filter_map(|&(from, to)| cycles.values.get(from..to.min(cycles.values.len())))
        .filter(|values| !values.is_empty());
    let whole = average(stretches)?;
    let carrier = view.carrier();
    let hz = |spectrum: &Spectrum, line: usize| {
        let half = spectrum.lines / 2;
        let signed = (line + half) % spectrum.lines;
        (signed as f64 - half as f64) / spectrum.lines as f64 * cycles.field_hz
    };
    // Real values split every line in two of half the amplitude.
    let sides = if carrier { 1.0 } else { 4.0 };
    let reference = if carrier {
        whole.power.iter().copied().fold(0.0, f64::max)
    } else if view.reception.level_known {
        whole.power[0]
    } else {
        1.0
    };
    let decibel = |power: f64| 10.0 * (sides * power / reference.max(1e-300)).max(1e-20).log10();
    let mut points: Vec<(f64, f64)> = (0..whole.power.len())
        .map(|line| (hz(&whole, line), decibel(whole.power[line])))
        .filter(|(f, _)| (if carrier { -reach_hz } else { 0.0 }..=reach_hz).contains(f))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));

    let spread_hz = SPREAD * cycles.field_hz / whole.lines as f64;
    let rest = rest(view)?;
    let rest_reference = if carrier || view.reception.level_known {
        1.0
    } else {
        reference
    };
    // What the receiver removed comes first; then what it left in.
    let taken_off = seen.pieces.iter().take(1).flat_map(|piece| {
        let level = piece.field.amplitude.max(1e-300);
        piece
            .tones
            .iter()
            .map(move |tone| (tone.per_value, (tone.amplitude.norm() / level).powi(2)))
    });
    let left_in = rest.tones(24).into_iter().map(|tone| {
        let power = sides * tone.amplitude * tone.amplitude / rest_reference;
        (tone.per_sample, power)
    });
    let second = second_field(view).filter(|_| carrier);
    let first = second.filter(|_| put_back.is_some());
    let first = first.map(|(hz, level)| (hz / seen.clock_hz, level * level));
    let mut lines: Vec<(f64, f64)> = Vec::new();
    for (per_value, power) in first.into_iter().chain(taken_off).chain(left_in) {
        let (f, db) = (per_value * seen.clock_hz, 10.0 * power.log10());
        // What is left of a line that was removed is that line.
        let known = lines.iter().any(|(hz, _)| (hz - f).abs() < spread_hz);
        if f.abs() > spread_hz && f.abs() < reach_hz && (carrier || f > 0.0) && !known {
            lines.push((f, db));
        }
    }
    lines.truncate(NAMED);
    Some(Around {
        points,
        lines,
        merged: second
            .filter(|(hz, _)| hz.abs() <= spread_hz)
            .map(|(hz, level)| (hz, 20.0 * level.log10())),
        resolution_hz: WINDOW_LINES * cycles.field_hz / whole.lines as f64,
    })
}

/// What the ripple holds beside the mean telegram.
fn rest(view: &View<'_>) -> Option<Spectrum> {
    let rests: Vec<Vec<Complex32>> = view
        .pieces()
        .iter()
        .enumerate()
        .map(|(k, piece)| {
            let values = piece.ripple.iter().enumerate();
            values
                .map(|(i, value)| match &view.aligned {
                    Some(aligned) => {
                        let mean = aligned.expected(k, i);
                        value - Complex32::new(mean.re as f32, mean.im as f32)
                    }
                    None => *value,
                })
                .collect()
        })
        .collect();
    average(rests.iter().map(Vec::as_slice))
}

fn average<'a>(stretches: impl Iterator<Item = &'a [Complex32]> + Clone) -> Option<Spectrum> {
    let longest = stretches.clone().map(<[Complex32]>::len).max()?;
    if longest < 64 {
        return None;
    }
    let length = LENGTH.min(1 << longest.ilog2());
    let available: usize = stretches.clone().map(|s| s.len() / (length / 2)).sum();
    let stride = (length / 2) * available.div_ceil(MOST).max(1);
    let mut sum: Option<Spectrum> = None;
    let mut count = 0.0;
    for stretch in stretches {
        for from in (0..(stretch.len() + 1).saturating_sub(length)).step_by(stride) {
            let one = spectrum(Samples::Complex(&stretch[from..from + length]))?;
            count += 1.0;
            match &mut sum {
                None => sum = Some(one),
                Some(sum) => sum
                    .power
                    .iter_mut()
                    .zip(one.power)
                    .for_each(|(a, b)| *a += b),
            }
        }
    }
    let mut mean = sum?;
    mean.power.iter_mut().for_each(|power| *power /= count);
    Some(mean)
}
