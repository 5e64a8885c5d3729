//! Panel: a few bits of the envelope, as an amplitude detector sees them.

use plotters::prelude::*;

use super::style::{Area, BLUE, SKY, VERMILLION, chart, headed, quantile};
use super::untouched::lacks_tones;
use super::{DrawError, View, sentence};
use crate::receiver::{BIT, TELEGRAM};

/// Bits shown: enough for a pattern, few enough to see each.
const BITS: usize = 12;

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let heading = if lacks_tones(view) {
        "Envelope, steady tones taken off"
    } else {
        "Envelope, close up"
    };
    let Some((seen, piece)) = view.reception.seen.as_ref().zip(view.pieces().first()) else {
        let area = headed(area, heading, "")?;
        let words = "No steady stretch of field of at least 16 bits was found.";
        return sentence::write(&area, words);
    };
    let aligned = view.aligned.as_ref();
    let area = headed(
        area,
        heading,
        if aligned.is_some() {
            "red: mean telegram"
        } else {
            ""
        },
    )?;
    // Past the beginning, where a burst still settles.
    let count = piece.ripple.len();
    let begin = (count.saturating_sub(BITS * BIT) / 2).min(TELEGRAM / 2);
    let end = (begin + BITS * BIT).min(count);
    let percent = view.percent();
    let time = |i: usize| 1e3 * (view.about.from_s + piece.from_s + i as f64 / seen.clock_hz);
    let measured: Vec<(f64, f64)> = (begin..end)
        .map(|i| (time(i), percent * f64::from(piece.ripple[i].re)))
        .collect();
    let reach = 1.15 * quantile(measured.iter().map(|(_, y)| y.abs()), 1.0).max(1e-9);
    let unit = view.ripple_unit();
    let y_label = format!("change, {unit}");
    let mut chart = chart(
        &area,
        time(begin)..time(end),
        -reach..reach,
        "time, ms",
        &y_label,
    )?;
    let ink = if aligned.is_some() { SKY } else { BLUE };
    chart.draw_series(LineSeries::new(measured, ink.stroke_width(1)))?;
    if let Some(aligned) = aligned {
        let mean = (begin..end).map(|i| (time(i), percent * aligned.smoothed_in(0, i).re));
        chart.draw_series(LineSeries::new(mean, VERMILLION.stroke_width(2)))?;
    }
    Ok(())
}
