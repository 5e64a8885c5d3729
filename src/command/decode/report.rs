//! `--report`: where it goes, and what goes into it.

use std::path::{Path, PathBuf};

use anyhow::{Context, ensure};
use fieldripple::capture::write_atomically;
use fieldripple::decode::Decoded;
use fieldripple::page::{NumberRead, Opinion, ReportPage, Section};

use super::super::figure_file::replaces;
use super::{Arguments, figure, text};

/// Rows of the printed page that stand on top of the section, and those that have a place of their own.
const OUTCOME: [&str; 4] = ["certainty", "unread", "expected", "candidate"];
/// See [`OUTCOME`].
const ELSEWHERE: [&str; 3] = ["number", "finding", "note"];

/// A report being gathered, and the file it goes to.
pub struct ReportOutput<'a> {
    path: &'a Path,
    page: ReportPage,
}

/// Reads the value of `--report`.
pub fn file(value: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(value);
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    match ending.as_deref() {
        Some("html" | "htm") => Ok(path),
        _ => Err("a report's name must end in .html".into()),
    }
}

impl<'a> ReportOutput<'a> {
    /// A report does not replace a capture.
    pub fn new(path: &'a Path, captures: &[PathBuf]) -> anyhow::Result<Self> {
        ensure!(
            !captures.iter().any(|capture| replaces(path, capture)),
            "{}: --report would replace the capture itself; give another name",
            path.display()
        );
        Ok(Self {
            path,
            page: ReportPage::default(),
        })
    }

    /// Adds a capture.
    pub fn add(&mut self, report: &Decoded, arguments: &Arguments) -> anyhow::Result<()> {
        let rows = text::rows(report, false);
        let mut measured: Vec<(String, String)> = Vec::new();
        let mut outcome = Vec::new();
        let mut last = "";
        for (label, words) in rows {
            let words = words.replace("10^-12", "10⁻¹²");
            last = if label.is_empty() { last } else { label };
            if OUTCOME.contains(&last) || (last == "number" && label.is_empty()) {
                let mut sentence = words;
                if last == "certainty" {
                    sentence.insert_str(0, "Certainty: ");
                }
                outcome.push(sentence);
            } else if !ELSEWHERE.contains(&last) {
                measured.push((label.into(), words));
            }
        }
        let full = report.reception.readings.iter().map(|reading| NumberRead {
            telegram: reading.attempt.decision.telegram,
            trailer_certain: reading.trailer().is_some(),
            half_duplex: false,
        });
        let half = report.reception.others.half_duplex.iter();
        let half = half.map(|reading| NumberRead {
            telegram: reading.telegram,
            trailer_certain: reading.trailer().is_some(),
            half_duplex: true,
        });
        let section = Section {
            name: report.name(),
            opinion: if report.is_read() {
                Opinion::Read
            } else {
                Opinion::Unread
            },
            outcome,
            numbers: full.chain(half).collect(),
            measured,
            findings: &report.findings,
            remarks: report.remarks().to_vec(),
            settings: settings(report, arguments),
            view: (!arguments.join).then(|| figure::view(report)),
        };
        Ok(self.page.add(&section)?)
    }

    /// Adds a capture that could not be read.
    pub fn add_unreadable(&mut self, name: &str, error: &anyhow::Error) -> anyhow::Result<()> {
        Ok(self.page.add_unreadable(name, &format!("{error:#}"))?)
    }

    /// Writes the page; after an error nothing is left behind.
    pub fn write(&self) -> anyhow::Result<()> {
        let words: Vec<String> = std::env::args().skip(1).map(|word| quoted(&word)).collect();
        let command = format!("fieldripple {}", words.join(" "));
        let program = concat!("fieldripple ", env!("CARGO_PKG_VERSION"));
        write_atomically(self.path, |writer| {
            self.page.write(&command, program, writer)
        })
        .with_context(|| format!("{}: the report cannot be written", self.path.display()))
    }
}

/// A word as a shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./:=,+%@".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.into()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

fn settings(report: &Decoded, arguments: &Arguments) -> Vec<(String, String)> {
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut row = |label: &str, text: String| rows.push((label.into(), text));
    row("channel", report.channel().into());
    row(
        "sample rate",
        match (arguments.rate, report.reception.rate_assumed) {
            (Some(rate_hz), _) => format!("{rate_hz} Hz, as given with --rate"),
            (None, true) => "not stated; worked out from a field taken as 134.2 kHz".into(),
            (None, false) if report.reception.rate_hz > 0.0 => {
                format!("{} Hz, by the file", report.reception.rate_hz)
            }
            (None, false) => "not known".into(),
        },
    );
    row(
        "stretch",
        match arguments.to {
            Some(to) => format!("{} to {to} s", arguments.from),
            None if arguments.from > 0.0 => format!("from {} s to the end", arguments.from),
            None => "the whole capture".into(),
        },
    );
    row(
        "counts as read",
        format!(
            "a probability of {:e} or less that the number is wrong",
            arguments.odds
        ),
    );
    if arguments.scale != 1.0 {
        row(
            "probe factor",
            format!("{}: volts were multiplied by it", arguments.scale),
        );
    }
    if let Some(against) = &arguments.against {
        row("compared with", against.display().to_string());
    }
    if let Some(expected) = report.expected() {
        row("expected", expected.to_string());
    }
    rows
}
