//! Panel of a half-duplex tag: the frequency of its answer over time, with the bits that were read from it.

use num_complex::Complex64;
use plotters::prelude::*;

use super::style::{
    Area, BLUE, GRID, INK, LEFT, ORANGE, RIGHT, SMALL, VERMILLION, chart, even, headed,
};
use super::{DrawError, View, sentence};
use crate::receiver::HalfDuplexReading;

/// Cycles of a bit, whatever its tone (encyclopedia article "ISO 11784 and ISO 11785").
const BIT_CYCLES: f64 = 16.0;
/// Values over which the advance of the phase is averaged: half a bit.
const MEAN: usize = 8;
/// Bits shown beside the answer.
const BESIDE_BITS: f64 = 4.0;
/// Height of the strip with the bits, pixels.
const STRIP: u32 = 18;
/// Pixels that a digit needs.
const DIGIT: f64 = 8.5;

/// Where each bit of the last answer begins, and where it ends: seconds.
fn edges(reading: &HalfDuplexReading) -> Vec<f64> {
    let length = |bit: &bool| {
        BIT_CYCLES
            / if *bit {
                reading.one_hz
            } else {
                reading.zero_hz
            }
    };
    let mut at = reading.to_s - reading.bits.iter().map(length).sum::<f64>();
    let mut edges = vec![at];
    for bit in &reading.bits {
        at += length(bit);
        edges.push(at);
    }
    edges
}

pub(super) fn draw<DB: DrawingBackend>(
    area: &Area<DB>,
    view: &View<'_>,
    reading: &HalfDuplexReading,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let remark = "frequency over half a bit; orange: tone of a 0, red: of a 1; header first, then the code, least significant bit first";
    let area = headed(area, "Half-duplex answer", remark)?;
    let edges = edges(reading);
    let (begin, end) = (edges[0], edges[edges.len() - 1]);
    let beside = BESIDE_BITS * (end - begin) / reading.bits.len() as f64;
    let shown: Vec<(f64, f64)> = view.reception.seen.as_ref().map_or_else(Vec::new, |seen| {
        let cycles = &seen.cycles;
        let index = |at_s: f64| {
            let place = (at_s - view.about.from_s) * cycles.field_hz - cycles.first as f64;
            (place.max(0.0) as usize).min(cycles.values.len())
        };
        let values = &cycles.values[index(begin - beside)..index(end + beside)];
        let first_s = (cycles.first + index(begin - beside)) as f64 / cycles.field_hz;
        values
            .windows(MEAN + 1)
            .enumerate()
            .map(|(n, some)| {
                let advance: Complex64 = some
                    .windows(2)
                    .map(|pair| pair[1] * pair[0].conj())
                    .map(|v| Complex64::new(v.re.into(), v.im.into()))
                    .sum();
                let hertz = cycles.field_hz * (1.0 + advance.arg() / std::f64::consts::TAU);
                let middle = first_s + (n as f64 + 0.5 * MEAN as f64) / cycles.field_hz;
                (1e3 * (view.about.from_s + middle), 1e-3 * hertz)
            })
            .collect()
    });
    if shown.is_empty() {
        return sentence::write(
            &area,
            "The number comes from a half-duplex answer in another part of the capture than the one that is drawn.",
        );
    }
    let (low, high) = (
        1e-3 * reading.one_hz.min(reading.zero_hz) - 6.0,
        1e-3 * reading.one_hz.max(reading.zero_hz) + 6.0,
    );
    let (from, to) = (1e3 * (begin - beside), 1e3 * (end + beside));
    let (strip, below) = area.split_vertically(STRIP);
    let mut chart = chart(&below, from..to, low..high, "time, ms", "frequency, kHz")?;
    for at in &edges {
        let line = [(1e3 * at, low), (1e3 * at, high)];
        chart.draw_series(LineSeries::new(line, GRID.stroke_width(1)))?;
    }
    for (hertz, ink) in [(reading.zero_hz, ORANGE), (reading.one_hz, VERMILLION)] {
        let line = [(from, 1e-3 * hertz), (to, 1e-3 * hertz)];
        chart.draw_series(LineSeries::new(line, ink.stroke_width(2)))?;
    }
    let inside = shown
        .into_iter()
        .filter(|(at, _)| (from..=to).contains(at))
        .map(|(at, khz)| (at, khz.clamp(low, high)));
    chart.draw_series(LineSeries::new(inside, BLUE.stroke_width(1)))?;
    let width = f64::from(strip.dim_in_pixel().0.saturating_sub(LEFT + RIGHT));
    let x = |at_s: f64| f64::from(LEFT) + width * (1e3 * at_s - from) / (to - from);
    if x(edges[1]) - x(edges[0]) >= DIGIT {
        for (pair, bit) in edges.windows(2).zip(&reading.bits) {
            let place = (0.5 * (x(pair[0]) + x(pair[1]))) as i32;
            let digit = if *bit { "1" } else { "0" };
            strip.draw(&Text::new(
                digit,
                (place, STRIP as i32 / 2),
                even(SMALL, INK),
            ))?;
        }
    }
    Ok(())
}
