//! Curves of the share read against one number, with bands.

use plotters::prelude::*;

use super::DrawError;
use super::shares::{ShareFigure, colour, name};
use super::style::{Area, GRID, INK, LABEL, MUTED, SMALL, chart, text, width_of};
use crate::margin::Contestant;

/// Height of the row of names.
const NAMES: u32 = 30;
/// Tint of a band: two ninths, one of the half-tones that packed pictures keep.
const BAND: f64 = 2.0 / 9.0;

/// Pixels by which a curve is broader than the one drawn over it.
const BROADER: u32 = 3;

/// Radius of a point, and of a ring around one, pixels.
const DOT: i32 = 3;
/// See [`DOT`].
const RING: i32 = 6;

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
    // The program's own curve above the plain receiver's, and the limit, which it may cover, as rings around it.
    let receivers = figure.table.receivers();
    let is_limit = |one: &&Contestant| **one == Contestant::Limit;
    // Curves that run together are seen beside each other: the lower one is the broader.
    let below = receivers.iter().filter(|one| !is_limit(one)).rev();
    let broader = (0..below.clone().count()).rev();
    let limit = receivers.iter().filter(is_limit).map(|one| (one, 0));
    for (&receiver, broader) in below.zip(broader).chain(limit) {
        let ink = colour(receiver);
        let (stroke, dot) = (2 + BROADER * broader as u32, DOT + broader as i32);
        let mut own: Vec<_> = rows.iter().filter(|row| row.receiver == receiver).collect();
        own.sort_by(|a, b| a.values[0].total_cmp(&b.values[0]));
        let points: Vec<(f64, f64)> = own
            .iter()
            .map(|row| (row.values[0], 100.0 * row.tally.share()))
            .collect();
        if receiver == Contestant::Limit {
            let ring = ink.stroke_width(2);
            chart.draw_series(points.iter().map(|&point| Circle::new(point, RING, ring)))?;
            chart.draw_series(LineSeries::new(points, ink.stroke_width(1)))?;
            continue;
        }
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
        chart.draw_series(LineSeries::new(
            points.iter().copied(),
            ink.stroke_width(stroke),
        ))?;
        chart.draw_series(
            points
                .iter()
                .map(|&point| Circle::new(point, dot, ink.filled())),
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
    let own = receivers
        .iter()
        .map(|&one| (name(one, figure.table), colour(one), Some(one)));
    let theory = figure
        .theory
        .iter()
        .map(|(name, _)| (name.as_str(), MUTED, None));
    for (words, ink, receiver) in own.chain(theory) {
        let middle = (left + 15, 14);
        let line = [(left, middle.1), (left + 30, middle.1)];
        match receiver {
            Some(Contestant::Limit) => {
                area.draw(&Circle::new(middle, RING, ink.stroke_width(2)))?;
            }
            Some(_) => {
                let band = [(left, 7), (left + 30, 21)];
                area.draw(&Rectangle::new(band, ink.mix(BAND).filled()))?;
                area.draw(&Circle::new(middle, DOT, ink.filled()))?;
            }
            None => {}
        }
        area.draw(&PathElement::new(line, ink.stroke_width(2)))?;
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
