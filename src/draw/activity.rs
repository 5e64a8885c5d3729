//! Panel: how often a line of two levels changes over the capture.

use plotters::prelude::*;

use super::style::{Area, BLUE, GREEN, chart, headed};
use super::{DrawError, View};
use crate::receiver::{NOMINAL_HZ, Samples};

/// Most stretches in which changes are counted.
const MOST: usize = 80;
/// Bits that a stretch has at least: fewer would show the number's own bits.
const LEAST_BITS: f64 = 8.0;

/// Changes a millisecond, stretch by stretch: middle of each in seconds, and the count.
fn changes(samples: Samples<'_>, rate_hz: f64) -> Vec<(f64, f64)> {
    let Samples::Real(all) = samples else {
        return Vec::new();
    };
    let least = LEAST_BITS * 32.0 / NOMINAL_HZ * rate_hz;
    let per = (all.len() / MOST).max(least as usize).max(2);
    let (low, high) = all
        .iter()
        .fold((f32::MAX, f32::MIN), |(low, high), &value| {
            (low.min(value), high.max(value))
        });
    let middle = 0.5 * (low + high);
    let is_high = |value: &f32| *value > middle;
    let counted = |(at, stretch): (usize, &[f32])| {
        let turns = stretch
            .windows(2)
            .filter(|two| is_high(&two[0]) != is_high(&two[1]));
        let length_s = (stretch.len() - 1) as f64 / rate_hz;
        let from_s = (at * per) as f64 / rate_hz;
        (
            from_s + 0.5 * length_s,
            1e-3 * turns.count() as f64 / length_s,
        )
    };
    // What is left at the end is too short to count in.
    let stretches = all.chunks(per).enumerate();
    stretches
        .filter(|(_, stretch)| 2 * stretch.len() > per)
        .map(counted)
        .collect()
}

pub(super) fn draw<DB: DrawingBackend>(
    area: &Area<DB>,
    view: &View<'_>,
    samples: Samples<'_>,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let rate_hz = view.reception.rate_hz;
    let from_s = view.about.from_s;
    let counted = changes(samples, rate_hz);
    let pieces = view.pieces();
    let remark = match pieces.len() {
        0 => "",
        _ => "green: in use",
    };
    let area = headed(area, "Changes of the line", remark)?;
    let end_s = from_s + samples.len() as f64 / rate_hz;
    let (scale, x_label) = match end_s - from_s < 2.0 {
        true => (1e3, "time, ms"),
        false => (1.0, "time, s"),
    };
    let most = counted.iter().map(|(_, count)| *count).fold(0.0, f64::max);
    let top = (1.2 * most).max(10.0);
    let mut chart = chart(
        &area,
        from_s * scale..end_s * scale,
        0.0..top,
        x_label,
        "changes a millisecond",
    )?;
    let points = counted
        .iter()
        .map(|(at_s, count)| ((from_s + at_s) * scale, *count));
    chart.draw_series(LineSeries::new(points, BLUE.stroke_width(2)))?;
    chart.draw_series(pieces.iter().map(|piece| {
        let x = |at_s: f64| (from_s + at_s) * scale;
        Rectangle::new(
            [(x(piece.from_s), 0.03 * top), (x(piece.to_s), 0.07 * top)],
            GREEN.filled(),
        )
    }))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_wave_is_counted_as_often_as_it_changes() {
        // 4 kHz for 100 ms: 8 changes a millisecond.
        let rate_hz = 100e3;
        let line: Vec<f32> = (0..10_000)
            .map(|k| f32::from(u8::from(k / 12 % 2 == 0)))
            .collect();
        let counted = changes(Samples::Real(&line), rate_hz);
        assert!(counted.len() > 40);
        for (at_s, count) in counted {
            assert!((count - 100.0 / 12.0).abs() < 1.0, "{at_s}: {count}");
        }
    }
}
