//! Curves of the share read against one number, with bands.

use plotters::prelude::*;

use super::DrawError;
use super::share_figure::ShareFigure;
use super::style::{
    Area, BLUE, GREEN, GRID, INK, LABEL, MUTED, SMALL, VERMILLION, chart, text, width_of,
};
use crate::margin::Contestant;

/// Height of the row of names.
const NAMES: u32 = 30;
/// Tint of a band: two ninths, one of the half-tones that packed pictures keep.
const BAND: f64 = 2.0 / 9.0;

/// Colour of a receiver, here and in maps.
pub(super) const fn colour(receiver: Contestant) -> RGBColor {
    match receiver {
        Contestant::Own => BLUE,
        Contestant::Plain => VERMILLION,
        Contestant::Limit => GREEN,
    }
}

/// Name of a receiver, here and in maps.
pub(super) const fn name(receiver: Contestant) -> &'static str {
    match receiver {
        Contestant::Own => "ripplemark",
        Contestant::Plain => "plain amplitude receiver",
        Contestant::Limit => "exact limit",
    }
}

pub(super) fn draw<DB: DrawingBackend>(
    area: &Area<DB>,
    figure: &ShareFigure<'_>,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let (head, area) = area.split_vertically(NAMES);
    names(&head, figure)?;
    let rows = figure.table.rows();
    let values = || rows.iter().map(|row| row.values[0]);
    let (mut from, mut to) = values().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), value| {
        (a.min(value), b.max(value))
    });
    if from >= to {
        (from, to) = (from - 0.5, to + 0.5);
    }
    let room = 0.02 * (to - from);
    let mut chart = chart(
        &area,
        from - room..to + room,
        0.0..102.0,
        &figure.labels[0],
        "captures read, %",
    )?;
    chart.draw_series(LineSeries::new(
        [(from - room, 50.0), (to + room, 50.0)],
        MUTED.stroke_width(1),
    ))?;
    for (_, theory) in &figure.theory {
        let points = theory
            .iter()
            .filter(|point| (from..=to).contains(&point.0))
            .map(|&(value, share)| (value, 100.0 * share));
        chart.draw_series(LineSeries::new(points, MUTED.stroke_width(2)))?;
    }
    // The program's own curve last, above the others.
    for &receiver in figure.table.receivers().iter().rev() {
        let ink = colour(receiver);
        let mut own: Vec<_> = rows.iter().filter(|row| row.receiver == receiver).collect();
        own.sort_by(|a, b| a.values[0].total_cmp(&b.values[0]));
        let ends = |high: bool| {
            own.iter()
                .map(move |row| {
                    let (low, top) = row.tally.interval();
                    (row.values[0], 100.0 * if high { top } else { low })
                })
                .collect::<Vec<_>>()
        };
        let mut outline = ends(false);
        outline.extend(ends(true).into_iter().rev());
        chart.draw_series([Polygon::new(outline, ink.mix(BAND).filled())])?;
        let points: Vec<(f64, f64)> = own
            .iter()
            .map(|row| (row.values[0], 100.0 * row.tally.share()))
            .collect();
        chart.draw_series(LineSeries::new(points.iter().copied(), ink.stroke_width(2)))?;
        chart.draw_series(
            points
                .iter()
                .map(|&point| Circle::new(point, 3, ink.filled())),
        )?;
    }
    Ok(())
}

/// A row with a piece of each line and what it is.
fn names<DB: DrawingBackend>(area: &Area<DB>, figure: &ShareFigure<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let mut left = 14;
    let receivers = figure.table.receivers();
    let own = receivers.iter().map(|&one| (name(one), colour(one), true));
    let theory = figure
        .theory
        .iter()
        .map(|(name, _)| (name.as_str(), MUTED, false));
    for (words, ink, measured) in own.chain(theory) {
        if measured {
            area.draw(&Rectangle::new(
                [(left, 7), (left + 30, 21)],
                ink.mix(BAND).filled(),
            ))?;
        }
        area.draw(&PathElement::new(
            [(left, 14), (left + 30, 14)],
            ink.stroke_width(2),
        ))?;
        if measured {
            area.draw(&Circle::new((left + 15, 14), 3, ink.filled()))?;
        }
        area.draw(&Text::new(
            words.to_string(),
            (left + 38, 5),
            text(LABEL, INK),
        ))?;
        left += 38 + width_of(words, LABEL) as i32 + 28;
    }
    let remark = "bands: 95 %";
    area.draw(&Text::new(remark, (left, 6), text(SMALL, MUTED)))?;
    let (width, _) = area.dim_in_pixel();
    let ruler = [
        (14, NAMES as i32 - 2),
        (width as i32 - 14, NAMES as i32 - 2),
    ];
    area.draw(&PathElement::new(ruler, GRID.stroke_width(1)))?;
    Ok(())
}
