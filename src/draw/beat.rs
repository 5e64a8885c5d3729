//! Panel: the level of the field as it came, over a beat with a second field where there is one.

use plotters::prelude::*;

use super::style::{Area, BLUE, chart, headed, significant};
use super::untouched::{second_field, with_second_field};
use super::{DrawError, View, sentence};
use crate::receiver::{BIT, TELEGRAM};

/// Cycles shown at least: enough bits for a pattern, few enough to see each.
const LEAST: usize = 12 * BIT;
/// A beat is seen as one where it is shown to its end and a little further.
const BEATS: f64 = 1.5;
/// Cycles shown at most.
const MOST: usize = 2 * TELEGRAM;

/// Levels over a short time.
struct Stretch {
    /// Time (ms) and level (% of the field).
    points: Vec<(f64, f64)>,
    /// Duration, ms.
    ms: f64,
    /// Duration of a beat, ms.
    beat_ms: Option<f64>,
}

impl Stretch {
    fn of(view: &View<'_>) -> Option<Self> {
        let seen = view.reception.seen.as_ref()?;
        let piece = view.pieces().first()?;
        let level = piece.field.amplitude;
        if !view.carrier() || level <= 0.0 {
            return None;
        }
        let put_back = with_second_field(view);
        let cycles = put_back.as_ref().unwrap_or(&seen.cycles);
        let beat = second_field(view).map(|(offset_hz, _)| cycles.field_hz / offset_hz.abs());
        let wanted = beat.map_or(LEAST, |beat| (BEATS * beat).ceil() as usize);
        let index = |s: f64| ((s * cycles.field_hz).round() as usize).saturating_sub(cycles.first);
        let (from, to) = (
            index(piece.from_s),
            index(piece.to_s).min(cycles.values.len()),
        );
        let count = wanted.clamp(LEAST, MOST).min(to.checked_sub(from)?);
        // Past the beginning, where a burst still settles.
        let begin = from + ((to - from - count) / 2).min(TELEGRAM / 2);
        let ms = |cycle: f64| 1e3 * cycle / cycles.field_hz;
        let points: Vec<(f64, f64)> = (begin..begin + count)
            .map(|i| {
                let time = 1e3 * view.about.from_s + ms((cycles.first + i) as f64);
                (time, 100.0 * f64::from(cycles.values[i].norm()) / level)
            })
            .collect();
        (points.len() > 1).then(|| Self {
            points,
            ms: ms(count as f64),
            beat_ms: beat.filter(|beat| *beat <= count as f64).map(ms),
        })
    }

    fn ends(&self) -> (f64, f64) {
        let levels = self.points.iter().map(|point| point.1);
        levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), level| {
            (low.min(level), high.max(level))
        })
    }
}

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let area = headed(area, "Level as it came, close up", "")?;
    let Some(stretch) = Stretch::of(view) else {
        return sentence::write(&area, "No steady stretch of field was found.");
    };
    let (low, high) = stretch.ends();
    let room = 0.08 * (high - low).max(1e-6);
    let (first, last) = (
        stretch.points[0].0,
        stretch.points[stretch.points.len() - 1].0,
    );
    let mut chart = chart(
        &area,
        first..last,
        low - room..high + room,
        "time, ms",
        "level, % of the field",
    )?;
    chart.draw_series(LineSeries::new(stretch.points, BLUE.stroke_width(1)))?;
    Ok(())
}

/// What the panel shows.
pub(super) fn words(view: &View<'_>) -> String {
    let Some(stretch) = Stretch::of(view) else {
        return "Level of the field, close up: no steady stretch was found.".into();
    };
    let (low, high) = stretch.ends();
    let beat = stretch.beat_ms.map_or(String::new(), |ms| {
        format!(", up and down once in {} ms", significant(ms))
    });
    format!(
        "Level of the field as it came, nothing removed, over {} ms: between {} and {} % of the field{beat}.",
        significant(stretch.ms),
        significant(low),
        significant(high)
    )
}
