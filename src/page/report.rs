//! The report: one page about one or several captures.

use std::io::Write;

use minijinja::context;
use serde::Serialize;

use super::PageError;
use super::bits::{Group, groups};
use super::evidence::in_words;
use super::figures::figures;
use super::record::{SCRIPT, STYLE, as_json};
use super::sheet::{controls_sheet, environment};
use crate::draw::View;
use crate::findings::Finding;
use crate::receiver::needed_db;
use crate::telegram::{Field, Identity, Telegram, fields};

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
    pub name: String,
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
    /// The file, or the files that were joined: name, date, SHA-256; label and text of each.
    pub sources: Vec<Vec<(String, String)>>,
    /// Settings that the capture was read with.
    pub settings: Vec<(String, String)>,
    /// What is drawn.
    pub view: View<'a>,
    /// Several captures were joined: of them the record alone is drawn, one after the other.
    pub joined: bool,
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

/// The section of a capture as HTML; `place` is its number on the page, from 1, and makes its id.
///
/// # Errors
/// A figure that cannot be drawn, a template that cannot be filled.
pub fn section_html(section: &Section<'_>, place: usize) -> Result<String, PageError> {
    let numbers: Vec<Number> = section.numbers.iter().map(number).collect();
    let answers = section
        .numbers
        .iter()
        .filter(|read| read.half_duplex)
        .count();
    let ripples = section.numbers.len() - answers;
    let figures = match section.joined {
        true => None,
        false => Some(figures(&section.view, ripples, answers)?),
    };
    let record = section.view.record();
    let findings: Vec<_> = section
        .findings
        .iter()
        .map(|finding| {
            let evidence = in_words(&finding.evidence);
            let false_alarm = finding
                .false_alarm
                .map(|share| format!("{:.1}", 100.0 * share));
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
            figures,
            record_json => record.as_ref().map(as_json),
            record,
            findings,
            sources => section.sources,
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
        self.push(&section.name, section.verdict(), html);
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
            css => format!("{}{STYLE}", controls_sheet()),
            script => SCRIPT,
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
