//! The report: one page about one or several captures.

use std::io::Write;

use minijinja::context;
use serde::Serialize;

use super::PageError;
use super::bits::{Group, groups};
use super::sheet::{environment, inline_svg, style_sheet};
use crate::draw::{Panel, View, panel_svg};
use crate::findings::Finding;
use crate::receiver::needed_db;
use crate::telegram::{Field, Identity, Telegram, fields};

/// Size of the panels: at 380 px of page they are shown nearly as large as they are drawn.
const PANEL: (u32, u32) = (400, 320);
/// The telegram where there is room, and on a phone.
const TELEGRAM_WIDE: (u32, u32) = (1100, 420);
/// See [`TELEGRAM_WIDE`].
const TELEGRAM_NARROW: (u32, u32) = (400, 700);

/// Bytes behind the CRC (ISO 11785, from memory).
const TRAILER_BYTES: usize = 3;
/// Odds of a wrong number at which the page says what a single telegram needs.
const USUAL_ODDS: f64 = 1e-5;

/// What a capture comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Opinion {
    /// A number was read, and it is the one expected if one was.
    Read,
    /// None was, or another.
    Unread,
}

/// Everything that the report says of a capture.
pub struct Section<'a> {
    /// The capture's name.
    pub name: &'a str,
    /// Its outcome.
    pub opinion: Opinion,
    /// Sentences below the numbers: how sure they are, or why there is none.
    pub outcome: Vec<String>,
    /// Numbers read.
    pub numbers: Vec<NumberRead>,
    /// What was measured: label and text.
    pub measured: Vec<(String, String)>,
    /// Named reasons.
    pub findings: &'a [Finding],
    /// Remarks on the file.
    pub remarks: Vec<String>,
    /// Settings that the capture was read with.
    pub settings: Vec<(String, String)>,
    /// What is drawn; `None` where several captures were joined.
    pub view: Option<View<'a>>,
}

impl Section<'_> {
    /// Its numbers in a line, or that there are none.
    pub fn verdict(&self) -> String {
        let digits = |read: &NumberRead| Identity::from_code(read.telegram.code).to_string();
        let numbers: Vec<String> = self.numbers.iter().map(digits).collect();
        match numbers.as_slice() {
            [] => "nothing read".into(),
            numbers => numbers.join(", "),
        }
    }
}

/// What the list says of a capture that could not be read.
pub(super) const UNREADABLE: &str = "could not be opened";

/// A number that was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NumberRead {
    /// What was sent.
    pub telegram: Telegram,
    /// Its trailer is certain.
    pub trailer_certain: bool,
    /// It came from a half-duplex transponder, whose telegram has another layout.
    pub half_duplex: bool,
}

/// The page as it grows, a section a capture.
#[derive(Debug, Default)]
pub struct ReportPage {
    sections: Vec<String>,
    contents: Vec<Entry>,
}

/// A line of the list on top.
#[derive(Debug, Serialize)]
struct Entry {
    name: String,
    verdict: String,
}

#[derive(Serialize)]
struct Number {
    digits: String,
    code_hex: String,
    crc_hex: String,
    groups: Vec<Group>,
    fields: Vec<FieldRow>,
    trailer_certain: bool,
    half_duplex: Option<String>,
}

#[derive(Serialize)]
struct FieldRow {
    bits: &'static str,
    name: &'static str,
    value: u64,
    meaning: String,
}

#[derive(Serialize)]
struct Figure {
    svg: String,
    narrow_svg: Option<String>,
    caption: &'static str,
}

/// The section of a capture as HTML; `place` is its number on the page, from 1, and makes its id.
///
/// # Errors
/// A figure that cannot be drawn, a template that cannot be filled.
pub fn section_html(section: &Section<'_>, place: usize) -> Result<String, PageError> {
    let numbers: Vec<Number> = section.numbers.iter().map(number).collect();
    let panels = match &section.view {
        Some(view) => panels(view)?,
        None => Vec::new(),
    };
    let telegram = match &section.view {
        Some(view) if section.numbers.iter().any(|number| !number.half_duplex) => {
            Some(telegram(view)?)
        }
        _ => None,
    };
    let findings: Vec<_> = section
        .findings
        .iter()
        .map(|finding| {
            let evidence: Vec<(String, String)> = finding
                .evidence
                .iter()
                .map(|(key, value)| (key.clone(), shown(value)))
                .collect();
            let false_alarm = finding.false_alarm.map(|share| format!("{share:.3}"));
            context! { code => finding.code, text => finding.text, evidence, false_alarm }
        })
        .collect();
    filled(
        include_str!("section.html"),
        context! {
            place,
            name => section.name,
            opinion => section.opinion,
            outcome => section.outcome,
            measured => section.measured,
            remarks => section.remarks,
            settings => section.settings,
            numbers,
            panels,
            telegram,
            findings,
        },
    )
}

/// The section of a capture that could not be read, as [`section_html`].
///
/// # Errors
/// A template that cannot be filled.
pub fn unreadable_html(name: &str, why: &str, place: usize) -> Result<String, PageError> {
    filled(
        include_str!("unreadable.html"),
        context! { place, name, why },
    )
}

fn filled(template: &str, values: minijinja::Value) -> Result<String, PageError> {
    Ok(environment().render_named_str("section.html", template, values)?)
}

impl ReportPage {
    /// Adds the section of a capture.
    ///
    /// # Errors
    /// As [`section_html`].
    pub fn add(&mut self, section: &Section<'_>) -> Result<(), PageError> {
        let html = section_html(section, self.sections.len() + 1)?;
        self.push(section.name, section.verdict(), html);
        Ok(())
    }

    /// Adds a section that says why a capture could not be read.
    ///
    /// # Errors
    /// A template that cannot be filled.
    pub fn add_unreadable(&mut self, name: &str, why: &str) -> Result<(), PageError> {
        let html = unreadable_html(name, why, self.sections.len() + 1)?;
        self.push(name, UNREADABLE.into(), html);
        Ok(())
    }

    fn push(&mut self, name: &str, verdict: String, html: String) {
        let name = name.into();
        self.contents.push(Entry { name, verdict });
        self.sections.push(html);
    }

    /// Writes the page. `command` is what was typed, `program` names the program and its version.
    ///
    /// # Errors
    /// A template that cannot be filled, or whatever the writer reports.
    pub fn write(
        &self,
        command: &str,
        program: &str,
        writer: &mut impl Write,
    ) -> Result<(), PageError> {
        let title = match self.contents.as_slice() {
            [one] => format!("{}: {}", one.verdict, one.name),
            several => format!("{} captures", several.len()),
        };
        let values = context! {
            title,
            css => style_sheet(),
            contents => self.contents,
            sections => self.sections,
            single_db => format!("{:.1}", needed_db(USUAL_ODDS)),
            command,
            program,
        };
        let page =
            environment().render_named_str("report.html", include_str!("report.html"), values)?;
        writer.write_all(page.as_bytes())?;
        Ok(())
    }
}

fn number(read: &NumberRead) -> Number {
    let NumberRead {
        telegram,
        trailer_certain,
        half_duplex,
    } = *read;
    let identity = Identity::from_code(telegram.code);
    let row = |field: Field| FieldRow {
        bits: field.bits,
        name: field.name,
        value: field.value,
        meaning: field.meaning,
    };
    Number {
        digits: identity.to_string(),
        code_hex: format!("{:016X}", telegram.code),
        crc_hex: format!("{:04X}", telegram.crc()),
        groups: if half_duplex {
            Vec::new()
        } else {
            let mut groups = groups(&telegram);
            for group in groups.iter_mut().rev().take(TRAILER_BYTES) {
                if !trailer_certain {
                    group.blank();
                }
            }
            groups
        },
        half_duplex: half_duplex.then(|| {
            let bits = telegram.half_duplex_bits();
            let certain = bits.len()
                - if trailer_certain {
                    0
                } else {
                    8 * TRAILER_BYTES
                };
            let digit = |(place, &bit): (usize, &bool)| match (place < certain, bit) {
                (true, true) => '1',
                (true, false) => '0',
                (false, _) => '?',
            };
            bits.iter().enumerate().map(digit).collect()
        }),
        fields: fields(&identity).into_iter().map(row).collect(),
        trailer_certain,
    }
}

fn panels(view: &View<'_>) -> Result<Vec<Figure>, PageError> {
    [
        (Panel::Level, "Level of the field over the capture. A steady field is a flat line; green marks the stretches that were used."),
        (Panel::Spectrum, "Spectrum around the field. The tag's ripple lies in the shaded return bands; single lines are something else."),
        (Panel::Phasor, "Ripple in the plane of the phasor. Along 0° only the amplitude changes, along 90° only the phase, which an amplitude receiver cannot see."),
        (Panel::Eye, "Eye of the boundaries: the step at every bit boundary. The gap in the middle is the room that noise has."),
        (Panel::Envelope, "A few bits of the envelope, as an amplitude receiver gets them."),
    ]
    .into_iter()
    .map(|(panel, caption)| {
        Ok(Figure {
            svg: inline_svg(&panel_svg(panel, view, PANEL)?, &view.words(panel)),
            narrow_svg: None,
            caption,
        })
    })
    .collect()
}

fn telegram(view: &View<'_>) -> Result<Figure, PageError> {
    let words = view.words(Panel::Telegram);
    let wide = panel_svg(Panel::Telegram, view, TELEGRAM_WIDE)?;
    let narrow = panel_svg(Panel::Telegram, view, TELEGRAM_NARROW)?;
    Ok(Figure {
        svg: inline_svg(&wide, &words),
        narrow_svg: Some(inline_svg(&narrow, &words)),
        caption: "The mean telegram, all telegrams of the capture laid on each other, with the bits read from it.",
    })
}

/// A measured value without digits that mean nothing.
fn shown(value: &serde_json::Value) -> String {
    match value.as_f64() {
        Some(number) if number.fract() == 0.0 && number.abs() < 1e15 => format!("{number}"),
        Some(number) if (1e-3..1e7).contains(&number.abs()) => {
            let digits = (3 - number.abs().log10().floor() as i32).max(0) as usize;
            format!("{number:.digits$}")
        }
        Some(number) => format!("{number:.3e}"),
        None => value
            .as_str()
            .map_or_else(|| value.to_string(), str::to_string),
    }
}
