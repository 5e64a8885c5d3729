//! Where the result of each capture goes: the terminal, and the files asked for.

use std::path::PathBuf;

use fieldripple::decode::Decoded;
use fieldripple::findings::compare;
use fieldripple::receiver::Reception;

use super::report::ReportOutput;
use super::table::{BriefTable, TableOutput};
use super::visits::VisitsOutput;
use super::{Arguments, figure, json_line, text};
use crate::command::{closed_pipe, complain, print};

/// Everything that is printed and written, capture by capture.
pub struct Outputs<'a> {
    arguments: &'a Arguments,
    /// A capture to compare with, and its name.
    other: Option<(String, Reception)>,
    page: Option<ReportOutput<'a>>,
    visits: Option<VisitsOutput<'a>>,
    table: Option<TableOutput<'a>>,
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
        let report = arguments.report.as_deref();
        let visits = arguments.visits.as_deref();
        let table = arguments.table.as_deref();
        Ok(Self {
            arguments,
            other,
            page: report
                .map(|path| ReportOutput::new(path, captures))
                .transpose()?,
            visits: visits
                .map(|path| VisitsOutput::new(path, captures))
                .transpose()?,
            table: table
                .map(|path| TableOutput::new(path, captures))
                .transpose()?,
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
        if let Some(figure) = &self.arguments.figure
            && let Err(error) = figure::draw(figure, &decoded)
        {
            self.fail(&error);
        }
        if let Some(export) = &self.arguments.export
            && let Err(error) = export.write(&decoded)
        {
            self.fail(&error);
        }
        if let Some(page) = &mut self.page {
            page.add(&decoded, self.arguments)?;
        }
        if let Some(visits) = &mut self.visits {
            visits.add(&decoded)?;
        }
        if let Some(table) = &mut self.table {
            table.add(&decoded)?;
        }
        Ok(())
    }

    /// Adds a capture that cannot be read.
    pub fn add_unreadable(&mut self, name: &str, error: &anyhow::Error) -> anyhow::Result<()> {
        self.fail(error);
        if let Some(page) = &mut self.page {
            page.add_unreadable(name, error)?;
        }
        if let Some(table) = &mut self.table {
            table.add_unreadable(name)?;
        }
        Ok(())
    }

    /// Writes the files.
    pub fn finish(mut self) -> Outcome {
        let page = self.page.take().map(|page| page.write());
        let visits = self.visits.as_mut().map(VisitsOutput::write);
        let table = self.table.take().map(TableOutput::write);
        for written in [page, visits, table].into_iter().flatten() {
            if let Err(error) = written {
                self.fail(&error);
            }
        }
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
            let writes_files = self.arguments.figure.is_some()
                || self.arguments.export.is_some()
                || self.page.is_some()
                || self.visits.is_some()
                || self.table.is_some();
            self.closed = closed_pipe(&error) && writes_files;
            if !self.closed {
                return Err(error);
            }
        }
        Ok(())
    }

    fn fail(&mut self, error: &anyhow::Error) {
        self.failed = true;
        complain(error);
    }
}
