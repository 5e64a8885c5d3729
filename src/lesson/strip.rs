//! Blank strips: a piece of the waveform to be decoded with a pencil, and the same filled in.

use std::fmt::Write;

use super::parts::Form;
use super::steps::{BitRow, steps};
use crate::page::escaped;
use crate::receiver::BIT;
use crate::telegram::Telegram;

/// Width of a bit, units of the drawing.
const BIT_WIDE: f64 = 40.0;
/// Height of the waveform.
const WAVE_TALL: f64 = 60.0;
/// Height of a row of boxes.
const BOX_TALL: f64 = 24.0;
/// Bits of a strip: the one before the byte, the byte, its control bit.
const BITS: usize = 10;

/// A strip that begins with this bit. `wave` is the mean telegram, a value a field cycle.
pub(super) fn strip(
    form: Form,
    telegram: &Telegram,
    wave: &[f64],
    from: usize,
    filled: bool,
) -> String {
    let steps = &steps(telegram)[from..from + BITS];
    match form {
        Form::Text => text(steps, filled),
        Form::Page => page(steps, wave, from, filled),
    }
}

fn row(steps: &[BitRow], filled: bool, cell: impl Fn(&BitRow) -> String) -> String {
    let cells: Vec<String> = steps
        .iter()
        .map(|step| if filled { cell(step) } else { "__".into() })
        .collect();
    cells.join(" ")
}

/// In a terminal the half bits stand in for the waveform.
fn text(steps: &[BitRow], filled: bool) -> String {
    let halves: Vec<String> = steps
        .iter()
        .map(|step| step.halves.iter().collect())
        .collect();
    format!(
        "    half bits  {}\n    bits       {}\n",
        halves.join(" "),
        row(steps, filled, |step| format!("{} ", u8::from(step.bit)))
    )
}

fn page(steps: &[BitRow], wave: &[f64], from: usize, filled: bool) -> String {
    let (wide, tall) = (BIT_WIDE * BITS as f64, WAVE_TALL + 2.0 * BOX_TALL);
    let piece = &wave[from * BIT..((from + BITS) * BIT).min(wave.len())];
    let most = piece
        .iter()
        .fold(1e-9_f64, |most, value| most.max(value.abs()));
    let halves: Vec<String> = steps
        .iter()
        .map(|step| step.halves.iter().collect())
        .collect();
    let words = format!(
        "Waveform of {BITS} bits in half bits: {}{}",
        halves.join(" "),
        match filled {
            true => format!(
                "; bits {}",
                row(steps, true, |step| u8::from(step.bit).to_string())
            ),
            false => "; below it empty boxes for half bits and bits".into(),
        }
    );
    let mut svg = format!(
        "<figure class=\"strip\"><svg class=\"own\" viewBox=\"0 0 {wide} {tall}\" role=\"img\" aria-label=\"{0}\"><title>{0}</title>",
        escaped(&words)
    );
    for (place, step) in steps.iter().enumerate() {
        let left = BIT_WIDE * place as f64;
        for half in 0..2 {
            let x = left + 0.5 * BIT_WIDE * f64::from(half);
            let _ = write!(
                svg,
                "<rect x=\"{x}\" y=\"{WAVE_TALL}\" width=\"{}\" height=\"{BOX_TALL}\"/>",
                0.5 * BIT_WIDE
            );
            if filled {
                let _ = write!(
                    svg,
                    "<text x=\"{}\" y=\"{}\">{}</text>",
                    x + 0.25 * BIT_WIDE,
                    WAVE_TALL + 17.0,
                    step.halves[half as usize]
                );
            }
        }
        let _ = write!(
            svg,
            "<rect x=\"{left}\" y=\"{}\" width=\"{BIT_WIDE}\" height=\"{BOX_TALL}\"/><line x1=\"{left}\" y1=\"0\" x2=\"{left}\" y2=\"{WAVE_TALL}\"/>",
            WAVE_TALL + BOX_TALL
        );
        if filled {
            let _ = write!(
                svg,
                "<text x=\"{}\" y=\"{}\">{}</text>",
                left + 0.5 * BIT_WIDE,
                WAVE_TALL + BOX_TALL + 17.0,
                u8::from(step.bit)
            );
        }
    }
    let points: Vec<String> = piece
        .iter()
        .enumerate()
        .map(|(cycle, value)| {
            let x = BIT_WIDE * cycle as f64 / BIT as f64;
            let y = 0.5 * WAVE_TALL * (1.0 - 0.85 * value / most);
            format!("{x:.1},{y:.1}")
        })
        .collect();
    let _ = write!(
        svg,
        "<polyline points=\"{}\"/></svg></figure>",
        points.join(" ")
    );
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blank_strip_tells_no_bit() {
        let telegram = Telegram::new(0x8000_F9D6_FEE0_E52D);
        let wave = vec![0.5; 128 * BIT];
        let blank = strip(Form::Page, &telegram, &wave, 10, false);
        let filled = strip(Form::Page, &telegram, &wave, 10, true);
        assert!(!blank.contains("<text") && !blank.contains("bits 1"));
        assert_eq!(filled.matches("<text").count(), 30);
        // Bit 10 ends the header; the byte 2D follows, least significant bit first, and a control bit.
        let text = strip(Form::Text, &telegram, &wave, 10, true);
        let bits: String = text
            .lines()
            .nth(1)
            .unwrap()
            .split_whitespace()
            .skip(1)
            .collect();
        assert_eq!(bits, "1101101001");
    }
}
