//! Panel: spectrum around the field, return bands shaded, lines named.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::lines::around;
use super::style::{
    Area, BLUE, GREEN, INK, SMALL, VERMILLION, chart, headed, quantile, text, tick,
};
use super::{DrawError, View, sentence};
use crate::receiver::{BIT, NOMINAL_HZ, Samples, spectrum};

/// Shown on each side of the field.
pub(super) const REACH_HZ: f64 = 10_000.0;

/// Return bands of ISO 11785, Hz (encyclopedia article "ISO 11784 and ISO 11785").
const RETURN_BANDS_HZ: [(f64, f64); 2] = [(129_000.0, 133_200.0), (135_200.0, 139_400.0)];

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let carrier = view.carrier();
    let Some(around) = around(view, REACH_HZ).filter(|_| view.is_telling()) else {
        return samples_alone(area, view);
    };
    let remark = format!(
        "green: return bands; resolution {:.0} Hz",
        around.resolution_hz
    );
    let heading = if carrier {
        "Spectrum around the field"
    } else {
        "Spectrum of the ripple"
    };
    let area = headed(area, heading, &remark)?;
    let floor = quantile(around.points.iter().map(|point| point.1), 0.02);
    // Room for the names of lines above the strongest.
    let top = if carrier || view.reception.level_known {
        12.0
    } else {
        12.0 + quantile(around.points.iter().map(|point| point.1), 1.0)
    };
    let bottom = (floor / 10.0).floor() * 10.0 - 5.0;
    let from = if carrier { -REACH_HZ / 1e3 } else { 0.0 };
    let field_hz = view.reception.field.frequency_hz.unwrap_or(NOMINAL_HZ);
    let x_label = if carrier {
        format!("kHz from the field at {:.3} kHz", field_hz / 1e3)
    } else {
        "frequency, kHz".to_string()
    };
    let y_label = match (carrier, view.reception.level_known, view.about.unit) {
        (true, ..) => "dB re field".to_string(),
        (_, true, _) => "dB re level".into(),
        (_, _, "V") => "dB re 1 V".into(),
        (_, _, "of full scale") => "dB re full scale".into(),
        _ => "dB re 1".into(),
    };
    let mut chart = chart(&area, from..REACH_HZ / 1e3, bottom..top, &x_label, &y_label)?;
    // Without a carrier both bands lie on each other.
    let middle_hz = if carrier { field_hz } else { NOMINAL_HZ };
    chart.draw_series(RETURN_BANDS_HZ.iter().filter_map(|&(low, high)| {
        let low = ((low - middle_hz) / 1e3).max(from);
        let high = ((high - middle_hz) / 1e3).min(REACH_HZ / 1e3);
        (low < high).then(|| Rectangle::new([(low, bottom), (high, top)], GREEN.mix(0.18).filled()))
    }))?;
    let points = around.points.iter().map(|&(hz, db)| (hz / 1e3, db));
    chart.draw_series(LineSeries::new(points, BLUE.stroke_width(1)))?;
    let name = |at: (f64, f64), words: String, left: bool| {
        let side = if left { HPos::Right } else { HPos::Left };
        let shift = if left { -7 } else { 7 };
        EmptyElement::at(at)
            + Circle::new((0, 0), 4, VERMILLION.stroke_width(2))
            + Text::new(
                words,
                (shift, -4),
                text(SMALL, INK).pos(Pos::new(side, VPos::Bottom)),
            )
    };
    if carrier {
        chart.draw_series([name((0.0, 0.0), format!("field {field_hz:.1} Hz"), false)])?;
    } else if view.reception.level_known {
        chart.draw_series([name((0.0, 0.0), "mean level".into(), false)])?;
    }
    let bit_hz = field_hz / BIT as f64;
    chart.draw_series(around.lines.iter().map(|&(hz, db)| {
        let near = |k: f64| (hz.abs() - k * bit_hz).abs() < around.resolution_hz;
        let what = if near(1.0) {
            "bit rate ".to_string()
        } else if near(2.0) {
            "2 × bit rate ".into()
        } else {
            String::new()
        };
        let sign = if carrier && hz > 0.0 { "+" } else { "" };
        let words = format!("{what}{sign}{} kHz", tick((hz / 10.0).round() / 100.0));
        name((hz / 1e3, db.max(bottom)), words, beside_left(hz))
    }))?;
    Ok(())
}

/// Names of lines close below the field, or near the right edge, stand on the left.
fn beside_left(hz: f64) -> bool {
    hz > 0.5 * REACH_HZ || (-0.2 * REACH_HZ..0.0).contains(&hz)
}

/// Where no field was found: all that the samples hold.
fn samples_alone<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let found = view.about.samples.and_then(|samples| {
        let spectrum = spectrum(samples)?;
        (view.reception.rate_hz > 0.0).then_some((samples, spectrum))
    });
    let Some((samples, spectrum)) = found else {
        let area = headed(area, "Spectrum", "")?;
        return sentence::write(&area, "Too little was found to draw a spectrum of.");
    };
    let area = headed(area, "Spectrum of the samples", "highest in each column")?;
    let rate_hz = view.reception.rate_hz;
    let strongest = spectrum.power.iter().copied().fold(1e-300, f64::max);
    let complex = matches!(samples, Samples::Complex(_));
    let count = spectrum.power.len();
    let per = count.div_ceil(600).max(1);
    let shifted = |i: usize| if complex { (i + count / 2) % count } else { i };
    let middle = if complex { (count / 2) as f64 } else { 0.0 };
    let points: Vec<(f64, f64)> = (0..count)
        .step_by(per)
        .map(|i| {
            let lines = i..(i + per).min(count);
            let power = lines
                .map(|k| spectrum.power[shifted(k)])
                .fold(0.0, f64::max);
            let hz = (i as f64 - middle) / spectrum.lines as f64 * rate_hz;
            (hz / 1e3, 10.0 * (power / strongest).max(1e-20).log10())
        })
        .collect();
    let bottom = quantile(points.iter().map(|p| p.1), 0.02).min(-10.0) - 5.0;
    let (from, to) = (points[0].0, points[points.len() - 1].0);
    let x_label = if complex {
        "kHz from the centre"
    } else {
        "frequency, kHz"
    };
    let mut chart = chart(
        &area,
        from..to.max(from + 1e-3),
        bottom..6.0,
        x_label,
        "dB re strongest",
    )?;
    chart.draw_series(LineSeries::new(points, BLUE.stroke_width(1)))?;
    Ok(())
}
