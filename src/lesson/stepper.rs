//! The stepper through a telegram: waveform, half bits, bits, bytes and fields together.

use std::fmt::Write;

use super::parts::Form;
use super::steps::{BitRow, code_places, places_in_words, steps};
use crate::page::{Group, escaped, groups};
use crate::receiver::BIT;
use crate::telegram::{CODE_BITS, Identity, Telegram, fields};

/// Width of a bit in a card, units of its drawing.
const BIT_WIDE: f64 = 26.0;
/// Height of the waveform, and of the whole card.
const WAVE_TALL: f64 = 46.0;
/// See [`WAVE_TALL`].
const CARD_TALL: f64 = 92.0;

/// The stepper, or the same as lines of text. `wave` is the mean telegram, a value a field cycle.
pub(super) fn stepper(form: Form, telegram: &Telegram, wave: &[f64]) -> String {
    let steps = steps(telegram);
    let groups = groups(telegram);
    match form {
        Form::Text => text(telegram, &groups, &steps),
        Form::Page => page(telegram, &groups, &steps, wave),
    }
}

fn text(telegram: &Telegram, groups: &[Group], steps: &[BitRow]) -> String {
    let mut text = String::new();
    for group in groups {
        let control = group.control.map_or(String::new(), |bit| format!(" {bit}"));
        let byte = group
            .hex
            .as_ref()
            .map_or(String::new(), |hex| format!("  byte {hex}"));
        let _ = writeln!(
            text,
            "    bits {:>3}–{:<3} {:<9} {}{control}{byte}\n      half bits  {}",
            group.first,
            group.last,
            group.name,
            group.bits,
            halves(&steps[group.first..=group.last])
        );
    }
    text.push_str("\n| bits of the code | field | value | meaning |\n|---|---|---|---|\n");
    for field in fields(&Identity::from_code(telegram.code)) {
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} |",
            field.bits, field.name, field.value, field.meaning
        );
    }
    text
}

/// Half bits in pairs.
pub(super) fn halves(steps: &[BitRow]) -> String {
    let pairs: Vec<String> = steps
        .iter()
        .map(|step| step.halves.iter().collect())
        .collect();
    pairs.join(" ")
}

fn page(telegram: &Telegram, groups: &[Group], steps: &[BitRow], wave: &[f64]) -> String {
    let last = steps.len() - 1;
    let mut page = format!(
        "<div class=\"stepper\" id=\"telegram\">\n<div class=\"head\"><div class=\"controls\"><p><label for=\"bit\">Bit: <output for=\"bit\">0</output></label><input type=\"range\" id=\"bit\" min=\"0\" max=\"{last}\" step=\"1\" value=\"0\"></p><p><button type=\"button\" data-move=\"-1\">One bit back</button> <button type=\"button\" data-move=\"1\">One bit on</button></p></div>\n<ol class=\"words\" start=\"0\" aria-live=\"polite\">\n"
    );
    for step in steps {
        let _ = writeln!(
            page,
            "<li data-bit=\"{}\">{}</li>",
            step.index,
            escaped(&step.words())
        );
    }
    page.push_str("</ol></div>\n<div class=\"cards\">\n");
    let reach = 1.15
        * wave
            .iter()
            .fold(0.0_f64, |reach, value| reach.max(value.abs()))
            .max(1e-9);
    for group in groups {
        page.push_str(&card(group, steps, wave, reach));
    }
    page.push_str("</div>\n<table class=\"fields\"><thead><tr><th scope=\"col\">Bits of the code</th><th scope=\"col\">Field</th><th scope=\"col\">Value</th><th scope=\"col\">Meaning</th></tr></thead><tbody>\n");
    let places = code_places(telegram);
    for (field, (_, from, to)) in fields(&Identity::from_code(telegram.code))
        .into_iter()
        .zip(places)
    {
        // Bit 64 of the standard is sent first.
        let sent = |iso: usize| {
            let bit = CODE_BITS - iso;
            11 + bit + bit / 8
        };
        let _ = writeln!(
            page,
            "<tr data-from=\"{}\" data-to=\"{}\"><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            sent(to),
            sent(from),
            field.bits,
            field.name,
            field.value,
            escaped(&field.meaning)
        );
    }
    page.push_str("</tbody></table>\n</div>");
    page
}

/// A byte with its control bit, or the header.
fn card(group: &Group, steps: &[BitRow], wave: &[f64], reach: f64) -> String {
    let count = group.last + 1 - group.first;
    let wide = BIT_WIDE * count as f64;
    let heading = match &group.hex {
        Some(hex) => format!("{}: {hex}", group.name),
        None => group.name.clone(),
    };
    let words = format!(
        "{heading}, bits {} to {}: {}",
        group.first, group.last, group.bits
    );
    let mut card = format!(
        "<div class=\"card\" data-first=\"{}\" data-last=\"{}\"><h3>{heading} <small>bits {}–{}</small></h3><svg viewBox=\"0 0 {wide} {CARD_TALL}\" role=\"img\" aria-label=\"{words}\"><title>{words}</title>",
        group.first, group.last, group.first, group.last
    );
    for (place, step) in steps[group.first..=group.last].iter().enumerate() {
        let left = BIT_WIDE * place as f64;
        let points: Vec<String> = wave
            [step.index * BIT..=((step.index + 1) * BIT).min(wave.len() - 1)]
            .iter()
            .enumerate()
            .map(|(cycle, value)| {
                let x = left + BIT_WIDE * cycle as f64 / BIT as f64;
                let y = 0.5 * WAVE_TALL * (1.0 - value / reach);
                format!("{x:.1},{y:.1}")
            })
            .collect();
        let control = if group.control.is_some() && step.index == group.last {
            " control-bit"
        } else {
            ""
        };
        let _ = write!(
            card,
            "<g class=\"bit{control}\" data-bit=\"{}\"><rect x=\"{left}\" y=\"0\" width=\"{BIT_WIDE}\" height=\"{CARD_TALL}\"/><polyline points=\"{}\"/><text class=\"half\" x=\"{}\" y=\"62\">{}</text><text class=\"half\" x=\"{}\" y=\"62\">{}</text><text class=\"digit\" x=\"{}\" y=\"84\">{}</text></g>",
            step.index,
            points.join(" "),
            left + 0.25 * BIT_WIDE,
            step.halves[0],
            left + 0.75 * BIT_WIDE,
            step.halves[1],
            left + 0.5 * BIT_WIDE,
            u8::from(step.bit)
        );
    }
    card.push_str("</svg>");
    let places = places_in_words(&steps[group.first..=group.last]);
    if !places.is_empty() {
        let _ = write!(card, "<p>{}</p>", escaped(&places));
    }
    card.push_str("</div>\n");
    card
}

/// Bits as a table: boundary, half bits, bit; ten at a time, so that a phone holds them.
pub(super) fn biphase(form: Form, telegram: &Telegram, from: usize, to: usize) -> String {
    steps(telegram)[from..to]
        .chunks(10)
        .map(|ten| biphase_rows(form, ten))
        .collect::<Vec<_>>()
        .join("\n")
}

fn biphase_rows(form: Form, steps: &[BitRow]) -> String {
    let row = |name: &str, cell: &dyn Fn(&BitRow) -> String| -> String {
        let cells: Vec<String> = steps.iter().map(cell).collect();
        match form {
            Form::Text => format!("    {name:<10} {}\n", cells.join("  ")),
            Form::Page => format!(
                "<tr><th scope=\"row\">{name}</th><td>{}</td></tr>\n",
                cells.join("</td><td>")
            ),
        }
    };
    let rows = [
        row("boundary", &|step| {
            if step.sign > 0 { "↑ " } else { "↓ " }.into()
        }),
        row("half bits", &|step| step.halves.iter().collect()),
        row("bit", &|step| format!("{} ", u8::from(step.bit))),
    ]
    .concat();
    match form {
        Form::Text => rows,
        Form::Page => format!("<table class=\"biphase even\">\n{rows}</table>"),
    }
}
