//! The whole sheet, and panels alone.

use plotters::prelude::*;

use super::packed::packed;
use super::raster::{Raster, picture};
use super::style::{Area, INK, LABEL, MUTED, TITLE, inks, text, width_of};
use super::vector::Vector;
use super::{DrawError, View, beat, envelope, eye, level, phasor, spectrum, telegram};

/// Usual size of the whole figure, pixels.
pub const FIGURE_SIZE: (u32, u32) = (1200, 900);

/// Height of the title.
const TITLE_HEIGHT: u32 = 64;

/// Sizes drawn: below, the labels have no room; 4000 × 4000 pixels take 64 MB, and as much again while they are packed.
const SIDES: std::ops::RangeInclusive<u32> = 200..=4000;

/// One part of the figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Panel {
    /// Level of the field over the whole capture.
    Level,
    /// Spectrum around the field.
    Spectrum,
    /// Ripple in the phasor plane; without a carrier the distribution of its values.
    Phasor,
    /// Eye of the boundary signs.
    Eye,
    /// A few bits of the envelope.
    Envelope,
    /// The mean telegram with bits and fields.
    Telegram,
    /// The level as it came, over a beat with a second field; not on the sheet.
    Beat,
}

impl Panel {
    /// All panels in the order of the sheet.
    pub const ALL: [Self; 6] = [
        Self::Level,
        Self::Spectrum,
        Self::Phasor,
        Self::Eye,
        Self::Envelope,
        Self::Telegram,
    ];

    fn draw<DB: DrawingBackend>(self, area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
    where
        DB::ErrorType: 'static,
    {
        match self {
            Self::Level => level::draw(area, view),
            Self::Spectrum => spectrum::draw(area, view),
            Self::Phasor => phasor::draw(area, view),
            Self::Eye => eye::draw(area, view),
            Self::Envelope => envelope::draw(area, view),
            Self::Telegram => telegram::draw(area, view),
            Self::Beat => beat::draw(area, view),
        }
    }
}

/// The whole figure as PNG.
///
/// # Errors
/// [`DrawError`]: a size out of range, or the drawing library's own.
pub fn figure_png(view: &View<'_>, size: (u32, u32)) -> Result<Vec<u8>, DrawError> {
    png(size, |area| sheet(area, view))
}

/// The whole figure as SVG.
///
/// # Errors
/// See [`figure_png`].
pub fn figure_svg(view: &View<'_>, size: (u32, u32)) -> Result<String, DrawError> {
    svg(size, |area| sheet(area, view))
}

/// One panel as SVG.
///
/// # Errors
/// See [`figure_png`].
pub fn panel_svg(panel: Panel, view: &View<'_>, size: (u32, u32)) -> Result<String, DrawError> {
    svg(size, |area| panel.draw(area, view))
}

pub(super) fn png(
    size: (u32, u32),
    draw: impl FnOnce(&Area<Raster<'_>>) -> Result<(), DrawError>,
) -> Result<Vec<u8>, DrawError> {
    check(size)?;
    packed(&picture(size, draw)?, size, &inks())
}

pub(super) fn svg(
    size: (u32, u32),
    draw: impl FnOnce(&Area<Vector<'_>>) -> Result<(), DrawError>,
) -> Result<String, DrawError> {
    check(size)?;
    let mut page = String::new();
    {
        let area = Vector::new(&mut page, size).into_drawing_area();
        area.fill(&WHITE)?;
        draw(&area)?;
        area.present()?;
    }
    Ok(page)
}

/// A white sheet with its title, and beside it a name as far as there is room.
pub(super) fn titled<DB: DrawingBackend>(
    area: &Area<DB>,
    title: &str,
    name: &str,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let (width, _) = area.dim_in_pixel();
    area.draw(&Text::new(title.to_string(), (12, 8), text(TITLE, INK)))?;
    let left = 12.0 + width_of(title, TITLE) + 20.0;
    let name = shortened(name, f64::from(width) - left - 12.0);
    area.draw(&Text::new(
        name,
        (left as i32, 17),
        text(LABEL + 2.0, MUTED),
    ))?;
    Ok(())
}

fn check((width, height): (u32, u32)) -> Result<(), DrawError> {
    if SIDES.contains(&width) && SIDES.contains(&height) {
        Ok(())
    } else {
        Err(DrawError::Size { width, height })
    }
}

/// Title; level and spectrum; plane, eye and envelope; telegram.
fn sheet<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let (width, height) = area.dim_in_pixel();
    let (head, body) = area.split_vertically(TITLE_HEIGHT);
    title(&head, view)?;
    let body_height = height.saturating_sub(TITLE_HEIGHT);
    // What nothing can be written into needs no room.
    let (first, second) = match view.aligned {
        Some(_) => (25, 32),
        None => (36, 44),
    };
    let (upper, rest) = body.split_vertically(body_height * first / 100);
    let (middle, lower) = rest.split_vertically(body_height * second / 100);
    let (level, spectrum) = upper.split_horizontally(width * 45 / 100);
    let thirds = middle.split_evenly((1, 3));
    Panel::Level.draw(&level, view)?;
    Panel::Spectrum.draw(&spectrum, view)?;
    Panel::Phasor.draw(&thirds[0], view)?;
    Panel::Eye.draw(&thirds[1], view)?;
    Panel::Envelope.draw(&thirds[2], view)?;
    Panel::Telegram.draw(&lower, view)
}

fn title<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let (width, _) = area.dim_in_pixel();
    let verdict = view.title();
    area.draw(&Text::new(verdict.clone(), (12, 8), text(TITLE, INK)))?;
    let left = 12.0 + width_of(&verdict, TITLE) + 20.0;
    let name = shortened(view.about.name, f64::from(width) - left - 12.0);
    let place = (left as i32, 17);
    area.draw(&Text::new(name, place, text(LABEL + 2.0, MUTED)))?;
    area.draw(&Text::new(view.key_figures(), (12, 42), text(LABEL, INK)))?;
    Ok(())
}

/// The end of a long name, which tells most of a path. Characters that XML does not allow are replaced.
pub(super) fn shortened(name: &str, wide: f64) -> String {
    let clean: String = name
        .chars()
        .map(|c| {
            if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect();
    if width_of(&clean, LABEL + 2.0) <= wide {
        return clean;
    }
    // Longer than any sheet: no need to measure all of it.
    let skip = clean.chars().count().saturating_sub(400);
    let mut rest = clean.chars().skip(skip);
    loop {
        let short: String = std::iter::once('…').chain(rest.clone()).collect();
        if width_of(&short, LABEL + 2.0) <= wide || rest.next().is_none() {
            return short;
        }
    }
}
