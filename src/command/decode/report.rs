//! `--report`: where it goes, and what goes into it.

use std::path::{Path, PathBuf};

use anyhow::Context;
use fieldripple::capture::write_atomically;
use fieldripple::decode::{Decoded, file_name};
use fieldripple::page::{ReportPage, Section};

use super::super::figure_file::keeps_captures;
use super::file_output::FileOutput;
use super::{Arguments, text};

/// A report being gathered, and the file it goes to.
pub struct ReportOutput<'a> {
    path: &'a Path,
    page: ReportPage,
    arguments: &'a Arguments,
}

impl<'a> ReportOutput<'a> {
    /// A report does not replace a capture.
    pub fn new(
        path: &'a Path,
        captures: &[PathBuf],
        arguments: &'a Arguments,
    ) -> anyhow::Result<Self> {
        keeps_captures(path, "--report", captures)?;
        Ok(Self {
            path,
            page: ReportPage::default(),
            arguments,
        })
    }
}

impl FileOutput for ReportOutput<'_> {
    fn add(&mut self, report: &Decoded) -> anyhow::Result<()> {
        let arguments = self.arguments;
        let mut settings = report.settings_told(&arguments.settings());
        let mut findings = report.findings.clone();
        if let Some(against) = &arguments.against {
            let path = against.display().to_string();
            settings.push(("compared with", file_name(&path).into()));
            for finding in &mut findings {
                finding.text = finding.text.replace(&path, file_name(&path));
            }
        }
        let mut section = Section::of(report, text::rows(report, false), settings);
        section.findings = &findings;
        section.joined = arguments.join;
        Ok(self.page.add(&section)?)
    }

    fn add_unreadable(&mut self, name: &str, error: &anyhow::Error) -> anyhow::Result<()> {
        let short = file_name(name);
        let why = format!("{error:#}").replace(name, short);
        Ok(self.page.add_unreadable(short, &why)?)
    }

    fn write(&mut self) -> anyhow::Result<()> {
        let words: Vec<String> = std::env::args().skip(1).map(|word| quoted(&word)).collect();
        let command = format!("fieldripple {}", words.join(" "));
        let program = concat!("fieldripple ", env!("CARGO_PKG_VERSION"));
        write_atomically(self.path, |writer| {
            self.page.write(&command, program, writer)
        })
        .with_context(|| format!("{}: the report cannot be written", self.path.display()))
    }
}

/// A word as a shell takes it; of a path only the file's name, as folders tell of people.
fn quoted(word: &str) -> String {
    let (option, path) = match word.split_once('=') {
        Some((option, path)) if option.starts_with("--") => (format!("{option}="), path),
        _ => (String::new(), word),
    };
    let word = &format!("{option}{}", file_name(path));
    let plain = |c: char| c.is_alphanumeric() || "-_./:=,+%@".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.into()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}
