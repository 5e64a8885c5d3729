//! Where the result of each capture goes: the terminal, and the files asked for.

use std::path::PathBuf;

use fieldripple::decode::Decoded;
use fieldripple::findings::compare;
use fieldripple::receiver::Reception;

use super::file_output::FileOutput;
use super::table::{BriefTable, TableOutput};
use super::visits::VisitsOutput;
use super::{Arguments, json_line, text};
#[cfg(feature = "cli")]
use super::{export::ExportOutput, figure::FigureOutput, report::ReportOutput};
use crate::command::{closed_pipe, complain, print};

/// Everything that is printed and written, capture by capture.
pub struct Outputs<'a> {
    arguments: &'a Arguments,
    /// A capture to compare with, and its name.
    other: Option<(String, Reception)>,
    files: Vec<Box<dyn FileOutput + 'a>>,
    brief: Option<BriefTable>,
    look: text::Look,
    first: bool,
    /// Nobody reads what is printed.
    closed: bool,
    all_read: bool,
    failed: bool,
}

/// How it all went.
pub struct Outcome {
    /// A number was read in every capture, or nobody asked any more.
    pub all_read: bool,
    /// Some capture could not be read, or some file not written.
    pub failed: bool,
}

impl<'a> Outputs<'a> {
    /// Nothing yet, for these captures.
    pub fn new(
        arguments: &'a Arguments,
        captures: &[PathBuf],
        other: Option<(String, Reception)>,
    ) -> anyhow::Result<Self> {
        Ok(Self {
            arguments,
            other,
            files: files(arguments, captures)?,
            brief: (arguments.brief && !arguments.json).then(|| BriefTable::new(captures)),
            look: text::Look::of_output(),
            first: true,
            closed: false,
            all_read: true,
            failed: false,
        })
    }

    /// Adds a capture.
    pub fn add(&mut self, mut decoded: Decoded) -> anyhow::Result<()> {
        self.all_read &= decoded.is_read();
        if let Some((name, other)) = &self.other {
            let compared = compare(&decoded.reception, other, name, self.arguments.odds);
            decoded.findings.push(compared);
        }
        let text = self.text(&decoded);
        self.print(&text)?;
        self.each_file(|file| file.add(&decoded));
        Ok(())
    }

    /// Adds a capture that cannot be read.
    pub fn add_unreadable(&mut self, name: &str, error: &anyhow::Error) {
        self.fail(error);
        self.each_file(|file| file.add_unreadable(name, error));
    }

    /// Writes the files.
    pub fn finish(mut self) -> Outcome {
        self.each_file(|file| file.write());
        Outcome {
            all_read: self.all_read || self.closed,
            failed: self.failed,
        }
    }

    fn text(&mut self, decoded: &Decoded) -> String {
        let first = std::mem::take(&mut self.first);
        if self.arguments.json {
            return json_line(decoded);
        }
        match &self.brief {
            Some(brief) if first => brief.titles() + &brief.row(decoded),
            Some(brief) => brief.row(decoded),
            None => text::page(decoded, first, self.look),
        }
    }

    fn print(&mut self, text: &str) -> anyhow::Result<()> {
        if !self.closed
            && let Err(error) = print(text)
        {
            // Who closes the output may still want the files.
            self.closed = closed_pipe(&error) && !self.files.is_empty();
            if !self.closed {
                return Err(error);
            }
        }
        Ok(())
    }

    /// What one file cannot take, the others still get.
    fn each_file(&mut self, mut into: impl FnMut(&mut dyn FileOutput) -> anyhow::Result<()>) {
        let errors: Vec<_> = self
            .files
            .iter_mut()
            .filter_map(|file| into(file.as_mut()).err())
            .collect();
        for error in errors {
            self.fail(&error);
        }
    }

    fn fail(&mut self, error: &anyhow::Error) {
        self.failed = true;
        complain(error);
    }
}

/// The files asked for.
fn files<'a>(
    arguments: &'a Arguments,
    captures: &[PathBuf],
) -> anyhow::Result<Vec<Box<dyn FileOutput + 'a>>> {
    let mut files: Vec<Box<dyn FileOutput + 'a>> = Vec::new();
    #[cfg(feature = "cli")]
    {
        if let Some(file) = &arguments.figure {
            files.push(Box::new(FigureOutput::new(file, captures)?));
        }
        if let Some(file) = &arguments.export {
            files.push(Box::new(ExportOutput::new(file, captures)?));
        }
        if let Some(path) = &arguments.report {
            files.push(Box::new(ReportOutput::new(path, captures, arguments)?));
        }
    }
    if let Some(path) = &arguments.visits {
        files.push(Box::new(VisitsOutput::new(path, captures)?));
    }
    if let Some(path) = &arguments.table {
        files.push(Box::new(TableOutput::new(path, captures)?));
    }
    Ok(files)
}
