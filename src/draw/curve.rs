//! Curves over one quantity, for what is worked out instead of captured.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::DrawError;
use super::figure::svg;
use super::style::{Area, BLUE, GREEN, INK, SMALL, VERMILLION, chart, headed, plot_size, text};

/// One curve with its name.
#[derive(Clone, Debug)]
pub struct Curve {
    /// Name in the legend.
    pub name: String,
    /// Points from left to right.
    pub points: Vec<(f64, f64)>,
}

/// Up to three curves on common axes.
#[derive(Clone, Debug)]
pub struct Curves {
    /// Heading of the figure.
    pub heading: String,
    /// Label of the horizontal axis, with unit.
    pub x_label: String,
    /// Label of the vertical axis, with unit.
    pub y_label: String,
    /// The curves.
    pub curves: Vec<Curve>,
}

/// The curves as SVG.
///
/// # Errors
/// See [`super::figure_svg`].
pub fn curves_svg(curves: &Curves, size: (u32, u32)) -> Result<String, DrawError> {
    svg(size, |area| draw(area, curves))
}

fn draw<DB: DrawingBackend>(area: &Area<DB>, curves: &Curves) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let area = headed(area, &curves.heading, "")?;
    let all = || curves.curves.iter().flat_map(|curve| &curve.points);
    let ends = |value: fn(&(f64, f64)) -> f64| {
        all()
            .map(value)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            })
    };
    let (left, right) = ends(|point| point.0);
    let (low, high) = ends(|point| point.1);
    // Room for the legend above the highest.
    let height = (high - low).max(1e-9);
    let (bottom, top) = (
        if low >= 0.0 { 0.0 } else { low - 0.05 * height },
        high + (0.08 + 0.1 * curves.curves.len() as f64) * height,
    );
    let mut chart = chart(
        &area,
        left..right.max(left + 1e-9),
        bottom..top,
        &curves.x_label,
        &curves.y_label,
    )?;
    let (wide, tall) = plot_size(&area);
    let across = (right - left) / f64::from(wide);
    let down = (top - bottom) / f64::from(tall);
    for (row, (curve, ink)) in curves
        .curves
        .iter()
        .zip([BLUE, VERMILLION, GREEN])
        .enumerate()
    {
        chart.draw_series(LineSeries::new(
            curve.points.iter().copied(),
            ink.stroke_width(2),
        ))?;
        let y = top - down * (11.0 + 17.0 * row as f64);
        let start = left + 12.0 * across;
        chart.draw_series(LineSeries::new(
            [(start, y), (start + 22.0 * across, y)],
            ink.stroke_width(3),
        ))?;
        let style = text(SMALL, INK).pos(Pos::new(HPos::Left, VPos::Center));
        chart.draw_series([Text::new(
            curve.name.clone(),
            (start + 30.0 * across, y),
            style,
        )])?;
    }
    Ok(())
}
