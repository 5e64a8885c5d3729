//! Panel: the mean telegram along the ripple's axis, with its bits and fields.

use std::ops::Range;

use plotters::prelude::*;

use super::aligned::Aligned;
use super::style::{
    Area, BLUE, GRID, INK, LEFT, MUTED, ORANGE, PURPLE, RIGHT, SKY, SMALL, ending, even, headed,
    middle, quantile, tick, width_of,
};
use super::{DrawError, View, answer, sentence};
use crate::receiver::BIT;
use crate::telegram::{Part, TELEGRAM_BITS, part_of};

/// Bits of a byte and its control bit.
const BYTE_BITS: usize = 9;
/// Most bits in a row: rows end where bytes do.
const ROW_BITS: usize = 4 * BYTE_BITS;
/// Most bits in a row where 36 would have less than a digit's width each.
const SHORT_ROW_BITS: usize = 2 * BYTE_BITS;
/// Below this width rows are short, pixels.
const NARROW: u32 = 700;
/// Height of the strip with the fields' names and of the one with the bits, pixels.
const STRIP: u32 = 18;

/// One field as a stretch of bits.
struct Field {
    bits: Range<usize>,
    name: String,
    tint: RGBColor,
}

/// Header, and bytes each with its control bit.
fn fields(bits: &[bool; TELEGRAM_BITS], certain: usize) -> Vec<Field> {
    let mut fields = vec![Field {
        bits: 0..11,
        name: "header".into(),
        tint: ORANGE,
    }];
    for from in (11..TELEGRAM_BITS).step_by(BYTE_BITS) {
        // Bytes are sent least significant bit first.
        let byte = (0..8).fold(0_u8, |byte, k| byte | (u8::from(bits[from + k]) << k));
        let (kind, number, tint) = match part_of(from) {
            Part::Code { bit } => ("code", bit / 8, SKY),
            Part::Crc { bit } => ("CRC", bit / 8, BLUE),
            Part::Trailer { bit } => ("trailer", bit / 8, PURPLE),
            Part::Header | Part::Control => ("", 0, GRID),
        };
        fields.push(Field {
            bits: from..from + BYTE_BITS,
            name: if from < certain {
                format!("{kind} {}: {byte:02X}", number + 1)
            } else {
                format!("{kind} {}, not certain", number + 1)
            },
            tint,
        });
    }
    fields
}

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let heading = "Telegram";
    let Some(aligned) = &view.aligned else {
        if let Some(reading) = view.answer() {
            return answer::draw(area, view, reading);
        }
        let area = headed(area, heading, "")?;
        let why = view.about.reason.unwrap_or_default();
        let words =
            format!("No number was read, so there is no telegram to lay out bit by bit. {why}");
        return sentence::write(&area, &words);
    };
    let smoothed = if aligned.is_smoothed() {
        ", smoothed over a quarter bit"
    } else {
        ""
    };
    let remark = format!(
        "mean ripple along its axis, {}{smoothed}; bytes in hexadecimal, sent least significant bit first; grey: \
         control bits",
        view.ripple_unit()
    );
    let area = headed(area, heading, &remark)?;
    let row_bits = if area.dim_in_pixel().0 < NARROW {
        SHORT_ROW_BITS
    } else {
        ROW_BITS
    };
    let along = view.mean_telegram().unwrap_or_default();
    let reach = 1.15 * quantile(along.iter().map(|y| y.abs()), 0.995).max(1e-9);
    let fields = fields(&aligned.bits, aligned.certain);
    let rows = rows(&fields, row_bits);
    for (strip, shown) in area.split_evenly((rows.len(), 1)).iter().zip(rows) {
        draw_row(strip, shown, row_bits, aligned, &fields, &along, reach)?;
    }
    Ok(())
}

/// As many whole fields a row as fit into `most` bits.
fn rows(fields: &[Field], most: usize) -> Vec<Range<usize>> {
    let mut rows: Vec<Range<usize>> = Vec::new();
    for field in fields {
        match rows.last_mut() {
            Some(row) if field.bits.end - row.start <= most => row.end = field.bits.end,
            _ => rows.push(field.bits.clone()),
        }
    }
    rows
}

fn draw_row<DB: DrawingBackend>(
    area: &Area<DB>,
    shown: Range<usize>,
    row_bits: usize,
    aligned: &Aligned,
    fields: &[Field],
    along: &[f64],
    reach: f64,
) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let (width, height) = area.dim_in_pixel();
    let left = LEFT as i32;
    // A bit is equally wide in all rows.
    let per_bit = f64::from(width.saturating_sub(LEFT + RIGHT)) / row_bits as f64;
    let right = left + (per_bit * shown.len() as f64).round() as i32;
    let x = |bit: f64| left + ((bit - shown.start as f64) * per_bit).round() as i32;
    let strip = STRIP as i32;
    let (wave_top, wave_bottom) = (2 * strip + 2, (height as i32 - 6).max(2 * strip + 12));
    let y = |value: f64| {
        let share = (value / reach).clamp(-1.0, 1.0);
        let half = 0.5 * f64::from(wave_bottom - wave_top);
        wave_top + (half * (1.0 - share)).round() as i32
    };
    for field in fields {
        if !shown.contains(&field.bits.start) {
            continue;
        }
        let (x0, x1) = (x(field.bits.start as f64), x(field.bits.end as f64));
        area.draw(&Rectangle::new(
            [(x0, 0), (x1, 2 * strip)],
            field.tint.mix(0.35).filled(),
        ))?;
        area.draw(&PathElement::new(
            [(x0, 0), (x0, wave_bottom)],
            MUTED.stroke_width(1),
        ))?;
        if width_of(&field.name, SMALL) < f64::from(x1 - x0) {
            let place = ((x0 + x1) / 2, strip / 2 + 1);
            area.draw(&Text::new(field.name.clone(), place, middle(SMALL, INK)))?;
        }
    }
    for bit in shown.clone() {
        let (x0, x1) = (x(bit as f64), x(bit as f64 + 1.0));
        if part_of(bit) == Part::Control {
            area.draw(&Rectangle::new(
                [(x0, strip), (x1, 2 * strip)],
                MUTED.mix(0.35).filled(),
            ))?;
        }
        let digit = match (bit < aligned.certain, aligned.bits[bit]) {
            (true, true) => "1",
            (true, false) => "0",
            (false, _) => "?",
        };
        let place = ((x0 + x1) / 2, strip + strip / 2 + 1);
        let ink = if bit < aligned.certain { INK } else { MUTED };
        area.draw(&Text::new(digit, place, even(SMALL, ink)))?;
        area.draw(&PathElement::new(
            [(x0, wave_top), (x0, wave_bottom)],
            GRID.stroke_width(1),
        ))?;
    }
    // A round value a little below the highest.
    let mark = round_below(0.8 * reach);
    for value in [mark, 0.0, -mark] {
        area.draw(&PathElement::new(
            [(left, y(value)), (right, y(value))],
            GRID.stroke_width(1),
        ))?;
        if value == 0.0 && y(0.0) - y(mark) < SMALL as i32 {
            continue;
        }
        let words = tick(value);
        area.draw(&Text::new(
            words,
            (left - 6, y(value)),
            ending(SMALL, MUTED),
        ))?;
    }
    area.draw(&PathElement::new(
        [(left, wave_top), (left, wave_bottom)],
        INK.stroke_width(1),
    ))?;
    let first = shown.start * BIT;
    let points: Vec<(i32, i32)> = along[first..shown.end * BIT]
        .iter()
        .enumerate()
        .map(|(i, &value)| (x((first + i) as f64 / BIT as f64), y(value)))
        .collect();
    area.draw(&PathElement::new(points, BLUE.stroke_width(2)))?;
    Ok(())
}

/// The largest of 1, 2, 5 × 10^n that is not above the value.
fn round_below(value: f64) -> f64 {
    let ten = 10_f64.powf(value.log10().floor());
    [5.0, 2.0, 1.0]
        .into_iter()
        .map(|step| step * ten)
        .find(|step| *step <= value)
        .unwrap_or(ten)
}
