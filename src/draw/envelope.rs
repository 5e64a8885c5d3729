//! Panel: a few bits of the envelope, as an amplitude detector sees them.

use std::ops::Range;

use plotters::prelude::*;

use super::style::{Area, BLUE, SKY, VERMILLION, chart, headed, quantile};
use super::untouched::lacks_tones;
use super::{DrawError, View, ghost, sentence};
use crate::receiver::{BIT, Piece, Seen, TELEGRAM};

/// Bits shown: enough for a pattern, few enough to see each.
const BITS: usize = 12;

/// Values of the first piece that are shown: past its beginning, where a burst still settles.
fn shown<'a>(view: &'a View<'_>) -> Option<(&'a Seen, &'a Piece, Range<usize>)> {
    let seen = view.reception.seen.as_ref()?;
    let piece = view.pieces().first()?;
    let count = piece.ripple.len();
    let begin = (count.saturating_sub(BITS * BIT) / 2).min(TELEGRAM / 2);
    Some((seen, piece, begin..(begin + BITS * BIT).min(count)))
}

/// Moment of a value of the piece, ms.
fn time_ms(view: &View<'_>, seen: &Seen, piece: &Piece, i: usize) -> f64 {
    1e3 * (view.about.from_s + piece.from_s + i as f64 / seen.clock_hz)
}

/// What was measured.
fn measured(view: &View<'_>) -> Vec<(f64, f64)> {
    let Some((seen, piece, shown)) = shown(view) else {
        return Vec::new();
    };
    let value = |i: usize| view.percent() * f64::from(piece.ripple[i].re);
    shown
        .map(|i| (time_ms(view, seen, piece, i), value(i)))
        .collect()
}

/// The mean telegram at the same moments; empty where nothing was read.
pub(super) fn mean(view: &View<'_>) -> Vec<(f64, f64)> {
    let Some(((seen, piece, shown), aligned)) = shown(view).zip(view.aligned.as_ref()) else {
        return Vec::new();
    };
    let value = |i: usize| view.percent() * aligned.smoothed_in(0, i).re;
    shown
        .map(|i| (time_ms(view, seen, piece, i), value(i)))
        .collect()
}

/// Half the height that it takes to show all.
pub(super) fn reach(view: &View<'_>) -> Option<f64> {
    let measured = measured(view);
    let most = quantile(measured.iter().map(|(_, y)| y.abs()), 1.0);
    (!measured.is_empty()).then(|| 1.15 * most.max(1e-9))
}

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let heading = if lacks_tones(view) {
        "Envelope, steady tones removed"
    } else {
        "Envelope, close up"
    };
    let beside = view.beside.as_ref();
    let fixed = beside.and_then(|beside| beside.envelope_reach);
    let Some(reach) = fixed.or_else(|| reach(view)) else {
        let area = headed(area, heading, "")?;
        let words = "No steady stretch of field of at least 16 bits was found.";
        return sentence::write(&area, words);
    };
    let other = beside.map_or(&[][..], |beside| &beside.envelope);
    let (measured, mean) = (measured(view), mean(view));
    let remark = match (mean.is_empty(), other.is_empty()) {
        (false, false) => "red: mean telegram; grey: ghost",
        (false, true) => "red: mean telegram",
        (true, false) => "grey: ghost",
        (true, true) => "",
    };
    let area = headed(area, heading, remark)?;
    let times = || measured.iter().chain(other).map(|(ms, _)| *ms);
    let (from_ms, to_ms) = (
        times().fold(f64::INFINITY, f64::min),
        times().fold(f64::NEG_INFINITY, f64::max),
    );
    let y_label = format!("change, {}", view.ripple_unit());
    let mut chart = chart(&area, from_ms..to_ms, -reach..reach, "time, ms", &y_label)?;
    let ink = if mean.is_empty() { BLUE } else { SKY };
    let inside = measured.iter().map(|&(ms, y)| (ms, y.clamp(-reach, reach)));
    chart.draw_series(LineSeries::new(inside, ink.stroke_width(1)))?;
    if !other.is_empty() {
        chart.draw_series(ghost::ghost(other))?;
    }
    if !mean.is_empty() {
        chart.draw_series(LineSeries::new(mean, VERMILLION.stroke_width(2)))?;
    }
    Ok(())
}
