//! A ghost of a curve: what another capture showed, in figures that are compared.

use plotters::prelude::*;

use super::style::GHOST;

/// A ghost of a curve.
pub(super) fn ghost(
    points: &[(f64, f64)],
) -> DashedLineSeries<std::vec::IntoIter<(f64, f64)>, u32> {
    DashedLineSeries::new(points.to_vec(), 4, 3, GHOST.stroke_width(2))
}
