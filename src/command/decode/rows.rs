//! A CSV file that is gathered row by row and appears whole.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context;
use fieldripple::capture::write_atomically;

use super::super::figure_file::keeps_captures;

/// The rows, and the file they go to.
pub struct Rows<'a> {
    path: &'a Path,
    rows: csv::Writer<Vec<u8>>,
}

impl<'a> Rows<'a> {
    /// A file that an option names, with its titles; it does not replace a capture.
    pub fn new(
        path: &'a Path,
        option: &str,
        captures: &[PathBuf],
        columns: &[&str],
    ) -> anyhow::Result<Self> {
        keeps_captures(path, option, captures)?;
        let mut rows = csv::Writer::from_writer(Vec::new());
        rows.write_record(columns)?;
        Ok(Self { path, rows })
    }

    /// Adds a row.
    pub fn add(&mut self, cells: &[&str]) -> anyhow::Result<()> {
        Ok(self.rows.write_record(cells)?)
    }

    /// Writes the file as far as it is known.
    pub fn write(&mut self) -> anyhow::Result<()> {
        self.rows.flush()?;
        let rows = self.rows.get_ref();
        write_atomically(self.path, |file| file.write_all(rows))
            .with_context(|| format!("{}: the rows cannot be written", self.path.display()))
    }
}

/// A value with so many digits behind the point; a cell stays empty where it is not known.
pub fn known(value: Option<f64>, digits: usize) -> String {
    value.map_or(String::new(), |value| format!("{value:.digits$}"))
}
