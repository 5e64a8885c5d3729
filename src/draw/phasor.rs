//! Panel: ripple in the plane of the phasor, with the two load states and the ripple angle.

use num_complex::Complex64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::style::{
    Area, BLUE, GHOST, INK, LABEL, MUTED, ORANGE, SKY, VERMILLION, axis_degrees, chart, headed,
    plot_size, quantile, text,
};
use super::{DrawError, View, ghost, sentence};

/// Cycles averaged into each point: an eighth of a bit, so that the way between the states still shows.
const AVERAGED: usize = 4;
/// Most points drawn.
const MOST_POINTS: usize = 2048;
/// Bars of the histogram that stands in for the plane without a carrier.
const BARS: usize = 60;

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    if !view.carrier() {
        return distribution(area, view);
    }
    let heading = "Ripple in the phasor plane";
    let Some(points) = points(view) else {
        let area = headed(area, heading, "")?;
        return sentence::write(&area, "No steady stretch of field was found.");
    };
    let remark = match (&view.aligned, view.tags_drawn()) {
        (Some(_), 1) => "rings: load states",
        (Some(_), 2) if view.mixes() => "rings: states of both tags",
        (Some(_), 2) => "rings: stronger tag only",
        (Some(_), _) => "several tags: a cloud for each mixture",
        (None, _) => "4 cycles a point",
    };
    let area = headed(area, heading, remark)?;
    let halves = view.aligned.as_ref().map(|aligned| aligned.half_bits());
    let percent = view.percent();
    let beside = view.beside.as_ref();
    let fixed = beside.and_then(|beside| beside.phasor_reach);
    let reach = fixed.or_else(|| reach(view)).unwrap_or(1.0);
    // One unit is equally long on both axes.
    let (width, height) = plot_size(&area);
    let per_pixel = 2.0 * reach / f64::from(width.min(height));
    let (x, y) = (
        0.5 * per_pixel * f64::from(width),
        0.5 * per_pixel * f64::from(height),
    );
    let mut chart = chart(
        &area,
        -x..x,
        -y..y,
        "in phase, % of the field",
        "quadrature, % of the field",
    )?;
    let inside = |v: &Complex64| v.re.abs() * percent < x && v.im.abs() * percent < y;
    let at = |v: Complex64| (v.re * percent, v.im * percent);
    chart.draw_series(
        points
            .iter()
            .filter(|v| inside(v))
            .map(|&v| Circle::new(at(v), 2, SKY.mix(0.7).filled())),
    )?;
    if let Some([one, .., other]) = beside.map(|beside| beside.states.as_slice()) {
        chart.draw_series([one, other].map(|&at| Circle::new(at, 7, GHOST.stroke_width(2))))?;
        chart.draw_series(ghost::ghost(&[*one, *other]))?;
    }
    let Some(aligned) = &view.aligned else {
        return Ok(());
    };
    let axis = Complex64::cis(aligned.angle);
    let long = x.hypot(y);
    let end = {
        // Up to the edge of the chart.
        let share = (x / axis.re.abs().max(1e-9))
            .min(y / axis.im.abs().max(1e-9))
            .min(long);
        axis * share
    };
    chart.draw_series(LineSeries::new(
        [(-end.re, -end.im), (end.re, end.im)],
        ORANGE.stroke_width(2),
    ))?;
    for (half, state) in halves.iter().flatten().filter(|(v, _)| inside(v)) {
        let ink = if *state > 0 { BLUE } else { VERMILLION };
        chart.draw_series([Circle::new(at(*half), 3, ink.mix(0.8).filled())])?;
    }
    let rings = states(view)
        .into_iter()
        .map(|state| Circle::new(state, 10, INK.stroke_width(2)));
    chart.draw_series(rings)?;
    let angle = if view.reception.clipped_share().is_some() {
        "spoilt by clipping".to_string()
    } else {
        format!("ripple angle {}°", axis_degrees(aligned.angle))
    };
    // In the corner that the axis does not pass through.
    let (side, at) = if aligned.angle >= 0.0 {
        (HPos::Left, -0.97 * x)
    } else {
        (HPos::Right, 0.97 * x)
    };
    let style = text(LABEL, INK).pos(Pos::new(side, VPos::Top));
    chart.draw_series([Text::new(angle, (at, 0.97 * y), style)])?;
    Ok(())
}

/// Where clouds are to be expected: the two load states of a tag; with a second one its ripple added and removed at each, as both
/// change state on their own, unless it averages out. More tags make too many to be marked.
pub(super) fn states(view: &View<'_>) -> Vec<(f64, f64)> {
    let Some(aligned) = &view.aligned else {
        return Vec::new();
    };
    let own = aligned.load_states();
    let states = match view.reception.readings.as_slice() {
        _ if view.tags_drawn() == 1 => own.to_vec(),
        [_, _] if !view.mixes() => own.to_vec(),
        [_, other] if view.mixes() => {
            let other = Complex64::from_polar(other.attempt.depth, other.attempt.angle);
            own.iter()
                .flat_map(|&state| [state + other, state - other])
                .collect()
        }
        _ => Vec::new(),
    };
    let percent = view.percent();
    states
        .iter()
        .map(|state| (state.re * percent, state.im * percent))
        .collect()
}

/// Half the height that it takes to show nearly all.
pub(super) fn reach(view: &View<'_>) -> Option<f64> {
    let points = points(view)?;
    let halves = view.aligned.as_ref().map(|aligned| aligned.half_bits());
    let furthest = quantile(halves.iter().flatten().map(|(v, _)| v.norm()), 0.98);
    let spread = quantile(points.iter().map(|v| v.norm()), 0.99);
    Some(1.12 * (furthest.max(spread) * view.percent()).max(1e-9))
}

/// Mean telegram, or the ripple as it came, a few cycles to a point.
fn points(view: &View<'_>) -> Option<Vec<Complex64>> {
    let wide = |v: num_complex::Complex32| Complex64::new(f64::from(v.re), f64::from(v.im));
    let mean = |cells: &[Complex64]| cells.iter().sum::<Complex64>() / cells.len() as f64;
    if let Some(aligned) = &view.aligned {
        return Some(aligned.cells.chunks(AVERAGED).map(mean).collect());
    }
    let ripple = &view.pieces().first()?.ripple;
    let groups = ripple.len() / AVERAGED;
    let stride = groups.div_ceil(MOST_POINTS).max(1);
    let averaged = |group: &[num_complex::Complex32]| {
        group.iter().map(|&v| wide(v)).sum::<Complex64>() / group.len() as f64
    };
    Some(
        ripple
            .chunks(AVERAGED)
            .step_by(stride)
            .map(averaged)
            .collect(),
    )
}

/// Without a carrier there is no plane: how often each value occurs.
fn distribution<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let heading = "Values of the ripple";
    let Some(points) = points(view) else {
        let area = headed(area, heading, "")?;
        return sentence::write(&area, "No stretch of at least 16 bits was found.");
    };
    let remark = if view.aligned.is_some() {
        "mean telegram"
    } else {
        ""
    };
    let area = headed(area, heading, remark)?;
    let percent = view.percent();
    let values: Vec<f64> = points.iter().map(|v| v.re * percent).collect();
    let reach = 1.25 * quantile(values.iter().map(|v| v.abs()), 0.998).max(1e-9);
    let mut counts = [0.0; BARS];
    for value in &values {
        let place = (0.5 + 0.5 * value / reach) * BARS as f64;
        if (0.0..BARS as f64).contains(&place) {
            counts[place as usize] += 100.0 / values.len() as f64;
        }
    }
    let top = 1.3 * counts.iter().copied().fold(0.0, f64::max);
    let x_label = format!("ripple, {}", view.ripple_unit());
    let mut chart = chart(&area, -reach..reach, 0.0..top, &x_label, "share, %")?;
    let width = 2.0 * reach / BARS as f64;
    chart.draw_series(counts.iter().enumerate().map(|(bar, &share)| {
        let from = -reach + bar as f64 * width;
        Rectangle::new([(from, 0.0), (from + width, share)], SKY.filled())
    }))?;
    let Some(aligned) = &view.aligned else {
        return Ok(());
    };
    for (state, ink) in aligned.load_states().into_iter().zip([BLUE, VERMILLION]) {
        let at = state.re * percent;
        chart.draw_series(LineSeries::new(
            [(at, 0.0), (at, 0.9 * top)],
            ink.stroke_width(3),
        ))?;
    }
    let centre = Pos::new(HPos::Center, VPos::Center);
    let place = (0.0, 0.95 * top);
    let words = "lines: the two load states";
    chart.draw_series([Text::new(words, place, text(LABEL, MUTED).pos(centre))])?;
    Ok(())
}
