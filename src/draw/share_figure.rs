//! The sheet with the shares read: curves for one number varied, maps for two.

use plotters::prelude::*;

use super::figure::{png, svg};
use super::sentence::{LINE, wrap};
use super::shares::ShareFigure;
use super::style::{Area, INK, LABEL, MUTED, TITLE, text};
use super::{DrawError, share, share_map};

/// Usual size, pixels.
pub const SHARE_FIGURE_SIZE: (u32, u32) = (1000, 560);

/// Height of title and a remark of one line.
const HEAD: u32 = 66;

/// The figure as PNG.
///
/// # Errors
/// [`DrawError`]: a size out of range, or the drawing library's own.
pub fn share_png(figure: &ShareFigure<'_>, size: (u32, u32)) -> Result<Vec<u8>, DrawError> {
    png(size, |area| sheet(area, figure))
}

/// The figure as SVG.
///
/// # Errors
/// See [`share_png`].
pub fn share_svg(figure: &ShareFigure<'_>, size: (u32, u32)) -> Result<String, DrawError> {
    svg(size, |area| sheet(area, figure))
}

fn sheet<DB: DrawingBackend>(area: &Area<DB>, figure: &ShareFigure<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let lines = wrap(&figure.remark, f64::from(area.dim_in_pixel().0) - 28.0);
    let further = LINE as u32 * lines.len().saturating_sub(1) as u32;
    let (head, body) = area.split_vertically(HEAD + further);
    head.draw(&Text::new(
        "Captures read".to_string(),
        (12, 8),
        text(TITLE, INK),
    ))?;
    for (row, line) in lines.into_iter().enumerate() {
        let place = (14, 43 + row as i32 * LINE);
        head.draw(&Text::new(line, place, text(LABEL, MUTED)))?;
    }
    match figure.labels.len() {
        2 => share_map::draw(&body, figure),
        _ => share::draw(&body, figure),
    }
}
