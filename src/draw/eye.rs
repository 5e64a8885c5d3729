//! Panel: eye of the boundary signs, as the decision sees them.

use num_complex::Complex64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::aligned::Aligned;
use super::style::{Area, BLUE, INK, SMALL, VERMILLION, chart, headed, quantile, text};
use super::{DrawError, View, sentence};
use crate::receiver::{BIT, HALF};
use crate::telegram::TELEGRAM_BITS;

/// One trace each boundary: half the mean over the half bit after, less that before, at each moment within ±1 bit.
fn traces(aligned: &Aligned) -> Vec<Vec<f64>> {
    let turn = Complex64::cis(-aligned.angle);
    let reach = (BIT + HALF) as isize;
    (0..TELEGRAM_BITS as isize)
        .map(|boundary| {
            let middle = boundary * BIT as isize;
            let mut running = vec![0.0];
            for at in middle - reach..middle + reach {
                running.push(running[running.len() - 1] + (aligned.cell(at) * turn).re);
            }
            (HALF..=HALF + 2 * BIT)
                .map(|at| {
                    let after = running[at + HALF] - running[at];
                    let before = running[at] - running[at - HALF];
                    0.5 * (after - before) / HALF as f64
                })
                .collect()
        })
        .collect()
}

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let heading = "Eye of the boundaries";
    let Some(aligned) = &view.aligned else {
        let area = headed(area, heading, "")?;
        let words = if view.reception.others.half_duplex.is_empty() {
            "Nothing was read, so it is not known where bits begin: there is no eye to draw."
        } else {
            "A half-duplex tag answers in two tones and leaves no ripple: its answer is drawn below."
        };
        return sentence::write(&area, words);
    };
    let traces = traces(aligned);
    // Where the trailer is not certain, the sign is the one seen.
    let sign = |boundary: usize| {
        if boundary <= aligned.certain && boundary < TELEGRAM_BITS {
            f64::from(aligned.states[2 * boundary])
        } else {
            traces[boundary][BIT].signum()
        }
    };
    let signs: Vec<f64> = (0..TELEGRAM_BITS)
        .map(|k| sign(k) * traces[k][BIT])
        .collect();
    let mean = signs.iter().sum::<f64>() / signs.len() as f64;
    let least = signs.iter().copied().fold(f64::INFINITY, f64::min);
    let remark =
        format!("weakest {:.0} % of mean", 100.0 * least / mean.max(1e-300)).replace('-', "−");
    let area = headed(area, heading, &remark)?;
    let percent = view.percent();
    let own = 1.2 * percent * quantile(traces.iter().flatten().map(|y| y.abs()), 0.998).max(1e-12);
    let fixed = view.beside.as_ref().and_then(|beside| beside.eye_reach);
    let reach = fixed.unwrap_or(own);
    let y_label = format!("half the step, {}", view.ripple_unit());
    let mut chart = chart(
        &area,
        -1.0..1.0,
        -reach..reach,
        "bits from the boundary",
        &y_label,
    )?;
    for (boundary, trace) in traces.iter().enumerate() {
        let ink = if sign(boundary) > 0.0 {
            BLUE
        } else {
            VERMILLION
        };
        let points = trace.iter().enumerate();
        let points = points.map(|(k, y)| {
            (
                k as f64 / BIT as f64 - 1.0,
                (percent * y).clamp(-reach, reach),
            )
        });
        chart.draw_series(LineSeries::new(points, ink.mix(0.35).stroke_width(1)))?;
    }
    chart.draw_series(LineSeries::new(
        [(0.0, -reach), (0.0, reach)],
        INK.stroke_width(1),
    ))?;
    // Above the highest trace, left and right of the middle.
    for (at, words, ink) in [
        (-0.97, "step upward", BLUE),
        (0.05, "step downward", VERMILLION),
    ] {
        let y = 0.93 * reach;
        chart.draw_series(LineSeries::new(
            [(at, y), (at + 0.14, y)],
            ink.stroke_width(3),
        ))?;
        let style = text(SMALL, INK).pos(Pos::new(HPos::Left, VPos::Center));
        chart.draw_series([Text::new(words, (at + 0.18, y), style)])?;
    }
    Ok(())
}
