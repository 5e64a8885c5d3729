//! Map of the share read against two numbers, a panel a receiver.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::DrawError;
use super::shares::{ShareFigure, colour, name};
use super::style::{
    Area, BELOW, INK, LABEL, LEFT, MUTED, RIGHT, SMALL, headed, middle, text, tick, width_of,
};
use crate::margin::{Contestant, Tally};

/// Pixels that a cell needs for its number.
const CELL: (i32, i32) = (34, 18);

pub(super) fn draw<DB: DrawingBackend>(
    area: &Area<DB>,
    figure: &ShareFigure<'_>,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let receivers = figure.table.receivers();
    for (panel, &receiver) in area
        .split_evenly((1, receivers.len()))
        .iter()
        .zip(receivers)
    {
        map(panel, figure, receiver)?;
    }
    Ok(())
}

fn map<DB: DrawingBackend>(
    area: &Area<DB>,
    figure: &ShareFigure<'_>,
    receiver: Contestant,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let area = headed(
        area,
        name(receiver, figure.table),
        "captures read, %: the darker, the more",
    )?;
    let rows = figure.table.rows();
    let axis = |index: usize| {
        let mut values: Vec<f64> = rows.iter().map(|row| row.values[index]).collect();
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let (upward, across) = (axis(0), axis(1));
    let (width, height) = area.dim_in_pixel();
    let (left, right) = (LEFT as i32, width as i32 - RIGHT as i32);
    let (top, bottom) = (4, height as i32 - BELOW as i32);
    let x = |column: usize| left + (right - left) * column as i32 / across.len().max(1) as i32;
    let y = |row: usize| bottom - (bottom - top) * row as i32 / upward.len().max(1) as i32;
    let tally = |up: f64, side: f64| -> Option<Tally> {
        let found =
            |row: &&crate::margin::Row| row.receiver == receiver && row.values == [up, side];
        rows.iter().find(found).map(|row| row.tally)
    };
    for (row, &up) in upward.iter().enumerate() {
        for (column, &side) in across.iter().enumerate() {
            let Some(tally) = tally(up, side) else {
                continue;
            };
            let corners = [(x(column), y(row + 1)), (x(column + 1), y(row))];
            // Ninths are the half-tones that packed pictures keep.
            let shade = (8.0 * tally.share()).round() / 9.0;
            area.draw(&Rectangle::new(
                corners,
                colour(receiver).mix(shade).filled(),
            ))?;
            area.draw(&Rectangle::new(corners, MUTED.stroke_width(1)))?;
            let (wide, high) = (corners[1].0 - corners[0].0, corners[1].1 - corners[0].1);
            if wide >= CELL.0 && high >= CELL.1 {
                let ink = if shade > 0.5 { WHITE } else { INK };
                let place = (corners[0].0 + wide / 2, corners[0].1 + high / 2);
                let words = format!("{:.0}", (100.0 * tally.share()).floor());
                area.draw(&Text::new(words, place, middle(SMALL, ink)))?;
            }
        }
    }
    ticks(
        &area,
        &across,
        |column| (x(column) + x(column + 1)) / 2,
        bottom,
    )?;
    let upright = |row: usize| (y(row) + y(row + 1)) / 2;
    // As many as have room.
    let every = (20 * upward.len() as i32 / (bottom - top).max(1) + 1) as usize;
    for (row, value) in upward.iter().enumerate().step_by(every) {
        let style = text(SMALL, MUTED).pos(Pos::new(HPos::Right, VPos::Center));
        area.draw(&Text::new(tick(*value), (left - 6, upright(row)), style))?;
    }
    let centred = |words: &str| ((left + right) as f64 - width_of(words, LABEL)) / 2.0;
    let label = &figure.labels[1];
    let place = (centred(label).max(4.0) as i32, height as i32 - 24);
    area.draw(&Text::new(label.clone(), place, text(LABEL, INK)))?;
    let style = text(LABEL, INK)
        .transform(FontTransform::Rotate270)
        .pos(Pos::new(HPos::Center, VPos::Top));
    area.draw(&Text::new(
        figure.labels[0].clone(),
        (6, (top + bottom) / 2),
        style,
    ))?;
    Ok(())
}

/// Values below the columns, as many as have room.
fn ticks<DB: DrawingBackend>(
    area: &Area<DB>,
    values: &[f64],
    place: impl Fn(usize) -> i32,
    bottom: i32,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let widest = values
        .iter()
        .map(|&value| width_of(&tick(value), SMALL))
        .fold(0.0, f64::max);
    let step = f64::from((place(1) - place(0)).max(1));
    let every = ((widest + 10.0) / step).ceil().max(1.0) as usize;
    for (column, &value) in values.iter().enumerate().step_by(every) {
        let style = text(SMALL, MUTED).pos(Pos::new(HPos::Center, VPos::Top));
        area.draw(&Text::new(tick(value), (place(column), bottom + 5), style))?;
    }
    Ok(())
}
